"""Travel: the whole rig moves, turns and scales with the control that carries all.

A similarity is given to that control, and to whatever stays in the world; every place, turn and
size must be mapped by it, at rest and in seeded poses. To give it, the rig on trial gets a node
that stands for the world: what stays in the world hangs on it and what follows the world follows
it, so that leaving something in the world is no breach.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from somite.evaluate import Evaluator, Posed
from somite.evaluate.algebra import Array
from somite.findings import Code
from somite.ir import Follow, Frame, Leader, Node, Quaternion, Rig, Vector
from somite.laws.law import Breach, Law
from somite.laws.motion import (
    angle_words,
    angles,
    distances,
    length_words,
    spreads,
)
from somite.laws.trial import Trial, Values
from somite.order import Plan
from somite.settle import Settled
from somite.spatial.rotation import (
    conjugate,
    euler_from_quaternion,
    matrix_from_quaternion,
    normalised,
    product,
    rotated,
)
from somite.units import metres_per

LAW_TRAVEL = Code("law-travel")

STAND_IN = "world of the trial"
"""The node that stands for the world; no recipe can name it."""
CLOSE = 1e-6
"""In heights of the scaled rig, radians, and shares of the scale."""
SIMILARITIES = 3
SEEDED = 4
SCALES = (0.1, 10.0)
FURTHEST = 10.0


@dataclass(frozen=True, slots=True)
class Similarity:
    """Scale, then turn, then move."""

    scale: float
    turn: Quaternion
    move: Vector

    def words(self, trial: Trial) -> str:
        """How it is told."""
        scale = metres_per(trial.rig.unit)
        move = ", ".join(f"{value / scale:.4g}" for value in self.move)
        turn = 2.0 * np.degrees(np.arccos(min(1.0, abs(self.turn[3]))))
        return f"moved by ({move}) {trial.rig.unit}, turned {turn:.4g} deg, scaled {self.scale:.4g}"


def breaches(trial: Trial) -> Iterator[Breach]:
    """What is not mapped by the similarity, told of the statement furthest upstream."""
    if not trial.carriers:
        return
    carrier = trial.carriers[0]
    evaluator = Evaluator(_with_world(trial.settled, carrier))
    similarities = list(_similarities(trial))
    seeded: list[Values] = [{}, *trial.seeded(SEEDED, "travel", (0.05, 0.3))]
    pairs = [(similarities[0], values) for values in seeded]
    pairs += [(one, {}) for one in similarities[1:]]
    before = _posed(evaluator, [values for _, values in pairs])
    after = _posed(evaluator, [{**values, **_given(carrier, one)} for one, values in pairs])
    misses = _Misses.of(trial, before, after, [one for one, _ in pairs])
    yield from _told(trial, carrier, misses, pairs, before, after)


def _similarities(trial: Trial) -> Iterator[Similarity]:
    chance = random.Random(f"{trial.seed} travel")
    for _ in range(SIMILARITIES):
        turn = normalised(tuple(chance.gauss(0.0, 1.0) for _ in range(4)))  # type: ignore[arg-type]
        move = tuple(chance.uniform(-FURTHEST, FURTHEST) * trial.far for _ in range(3))
        low, high = (float(np.log(bound)) for bound in SCALES)
        yield Similarity(float(np.exp(chance.uniform(low, high))), turn, move)  # type: ignore[arg-type]


def _with_world(settled: Settled, carrier: Node) -> Settled:
    """The rig with a node for the world, the carrier free of locks and limits."""
    rig = settled.rig
    world = Node(STAND_IN, STAND_IN, "group", None, Frame())
    nodes: list[Node] = [world]
    for node in rig.nodes:
        if node.name == carrier.name:
            node = replace(node, locks=(), limits=(), size_even=False)
        if node.stays_in_world and node.parent is None:
            node = replace(node, parent=STAND_IN)
        nodes.append(node)
    constraints = [
        replace(one, leaders=tuple(_led(leader) for leader in one.leaders))
        if isinstance(one, Follow)
        else one
        for one in rig.constraints
    ]
    changed: Rig = replace(rig, nodes=tuple(nodes), constraints=tuple(constraints))
    plan = Plan((STAND_IN, *settled.plan.steps), settled.plan.split)
    return replace(settled, rig=changed, plan=plan, locals={STAND_IN: Frame(), **settled.locals})


def _led(leader: Leader) -> Leader:
    return replace(leader, node=STAND_IN) if leader.node is None else leader


def _given(carrier: Node, one: Similarity) -> dict[str, float]:
    """The channels of the carrier and of the world that make a similarity.

    The carrier stands on a rest mount Q, p: its turn is Q⁻¹ R Q and its move takes p to where the
    similarity has it.
    """
    found: dict[str, float] = {}
    for name, rest, order in (
        (STAND_IN, Frame(), "xyz"),
        (carrier.name, carrier.rest, carrier.order),
    ):
        back = conjugate(rest.turn)
        turn = euler_from_quaternion(product(product(back, one.turn), rest.turn), order)
        goal = _mapped(one, np.array(rest.place))
        move = rotated(back, tuple(goal - np.array(rest.place)))
        for k, axis in enumerate("xyz"):
            found[f"{name}.move.{axis}"] = float(move[k])
            found[f"{name}.turn.{axis}"] = float(turn[k])
            found[f"{name}.size.{axis}"] = one.scale
    return found


def _mapped(one: Similarity, places: Array) -> Array:
    matrix = np.array(matrix_from_quaternion(one.turn))
    return np.asarray(one.scale * (places @ matrix.T) + np.array(one.move))


def _parts(turns: Array) -> Any:
    """The components of turns (nodes, 4), for `somite.spatial`."""
    return tuple(turns.T)


def _posed(evaluator: Evaluator, rows: list[Values]) -> Posed:
    table = evaluator.channels
    names = sorted({name for row in rows for name in row} or {next(iter(table))})
    return evaluator.pose(
        {name: np.array([row.get(name, table[name].default) for row in rows]) for name in names}
    )


@dataclass(frozen=True, slots=True)
class _Misses:
    """How far each node is from where a similarity takes it: (poses, nodes) each."""

    places: Array
    turns: Array
    sizes: Array

    @classmethod
    def of(cls, trial: Trial, before: Posed, after: Posed, ones: list[Similarity]) -> _Misses:
        places = np.stack([_mapped(one, before.places[k]) for k, one in enumerate(ones)])
        scales = np.array([one.scale for one in ones])
        matrices = np.array([matrix_from_quaternion(one.turn) for one in ones])
        linears = matrices[:, None] @ before.linears
        turns = np.stack(
            [
                np.stack(product(one.turn, _parts(before.turns[k])), axis=-1)
                for k, one in enumerate(ones)
            ]
        )
        far = (scales * trial.far)[:, None]
        return cls(
            distances(places, after.places) / far,
            angles(turns, after.turns),
            spreads(linears, after.linears / scales[:, None, None, None]),
        )


def _told(
    trial: Trial,
    carrier: Node,
    misses: _Misses,
    pairs: list[tuple[Similarity, Values]],
    before: Posed,
    after: Posed,
) -> Iterator[Breach]:
    wrong = (misses.places > CLOSE) | (misses.turns > CLOSE) | (misses.sizes > CLOSE)
    bad = {after.names[k] for k in np.flatnonzero(wrong.any(axis=0))} - {STAND_IN}
    if not bad:
        return
    for name in trial.upstream(bad):
        at = after.index[name]
        row = int(np.argmax(wrong[:, at]))
        one, values = pairs[row]
        parts = [
            part
            for part, off in (
                ("move", misses.places),
                ("turn", misses.turns),
                ("size", misses.sizes),
            )
            if off[row, at] > CLOSE
        ]
        found, mend = _described(trial, carrier, name, row, misses, before, after)
        pose = "at rest" if not values else f"in seeded pose {row}"
        below = len(trial.reached([name]) & bad) - 1
        more = f", and {below} more with it" if below else ""
        yield Breach(
            trial.explaining(name, parts[0]),
            f'expected "{name}" to go with "{carrier.name}", which carries all, found that it'
            f" {found}{more} ({pose}, {one.words(trial)}; seed {trial.seed})",
            mend,
            trial.excusers(name),
        )


def _described(
    trial: Trial, carrier: Node, name: str, row: int, misses: _Misses, before: Posed, after: Posed
) -> tuple[str, str]:
    """What it does instead, and the likeliest mend."""
    at_before, at_after = before.index[name], after.index[name]
    stayed = distances(before.places[row, at_before], after.places[row, at_after])
    unturned = angles(before.turns[row, at_before], after.turns[row, at_after])
    place, turn, size = (
        float(array[row, at_after]) for array in (misses.places, misses.turns, misses.sizes)
    )
    apart = length_words(trial.rig, place * trial.far)
    hang = f'hang it under what "{carrier.name}" carries, or let it follow that'
    if place > CLOSE and float(stayed) <= CLOSE * trial.far and float(unturned) <= CLOSE:
        return "stays behind", f"{hang}; if it is meant to stay, say so: stays in world"
    if place <= CLOSE and turn <= CLOSE and size > CLOSE:
        return "does not scale", f"{hang} for size too"
    if place <= CLOSE and turn > CLOSE:
        return f"is off in turn by {angle_words(turn)}", f"{hang} for turn too"
    return (
        f"is {apart} (at the rig's own scale) from where it should be",
        f"{hang}, once: for move, turn and size, and not by two ways",
    )


LAW = Law(
    2,
    "travel",
    "moving, turning or scaling the control that carries all moves everything with it",
    LAW_TRAVEL,
    breaches,
)
