"""The plan of an evaluation: steps over arrays, made once for a settled rig.

In comes a settled rig and which parts of its nodes may be other than at rest, out go steps in
order, equal operations of one level gathered into one step, and where everything lies in the
arrays. Evaluating does no more than run the steps: names and graphs end here.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from somite.evaluate import lay_chains, lay_mounts, measures
from somite.evaluate.algebra import Array, rows
from somite.evaluate.channels import Alive, Channel
from somite.evaluate.laying import Laying, Mounted, mount_of, whole_of
from somite.evaluate.live import Written, number
from somite.evaluate.nodes import (
    Carried,
    Free,
    LinearOnly,
    Local,
    PlaceOnly,
    TurnOnly,
)
from somite.evaluate.state import Sizes, State, Step
from somite.ir import Face, Feed, Follow, Gauge, Reach, Ride, Twist
from somite.settle import Settled


@dataclass(frozen=True, slots=True)
class Layout:
    """Steps, the sizes of the arrays, and rows by name: of nodes, of channels, of results."""

    steps: tuple[Step, ...]
    sizes: Sizes
    slots: dict[str, int]
    moves: dict[str, int]
    turns: dict[str, int]
    scaled: dict[str, int]
    dials: dict[str, int]
    gauges: dict[str, int]
    curves: dict[str, int]
    bounds: dict[str, Bounds]
    chosen: tuple[tuple[str, int], ...]

    def run(self, state: State) -> None:
        """Evaluate a state."""
        for step in self.steps:
            step.run(state)


@dataclass(frozen=True, slots=True)
class Bounds:
    """Lowest, highest and default values of some rows of channels, constant over poses."""

    low: Array
    high: Array
    default: Array

    def within(self, values: Array) -> bool:
        """Bring values within their bounds, and say whether they all were."""
        if not values.size:
            return True
        least, most = values.min(axis=-1), values.max(axis=-1)  # not a number in either shows
        if ((least >= self.low[..., 0]) & (most <= self.high[..., 0])).all():
            return True
        np.clip(values, self.low, self.high, out=values)
        return False


def layout(
    settled: Settled,
    table: Mapping[str, Channel],
    alive: Alive,
    slots: Mapping[str, int] | None = None,
) -> Layout:
    """The plan for a rig. `slots` keeps the order of nodes of another plan of the same rig."""
    if slots is None:
        slots = _order(_laid(Laying(settled, table, alive, None)))
    laying = _laid(Laying(settled, table, alive, slots))
    return Layout(
        laying.steps(),
        laying.counts,
        laying.slots,
        laying.moves,
        laying.turns,
        laying.scaled,
        laying.dials,
        laying.gauges,
        laying.curve_rows,
        _bounds(laying),
        tuple([(name, row) for name, row in laying.dials.items() if table[name].options]),
    )


def _bounds(laying: Laying) -> dict[str, Bounds]:
    found = {}
    parts = {"move": laying.moves, "turn": laying.turns, "size": laying.scaled}
    for part, rows_of in parts.items():
        held = [laying.table[f"{node}.{part}.{axis}"] for node in rows_of for axis in "xyz"]
        found[part] = _bounds_of(held, (len(rows_of), 3, 1))
    dials = [laying.table[name] for name in laying.dials]
    found["dial"] = _bounds_of(dials, (len(dials), 1))
    return found


def _bounds_of(channels: list[Channel], shape: tuple[int, ...]) -> Bounds:
    return Bounds(
        np.array([one.low for one in channels]).reshape(shape),
        np.array([one.high for one in channels]).reshape(shape),
        np.array([one.default for one in channels]).reshape(shape),
    )


def _order(laying: Laying) -> dict[str, int]:
    """Slots so that the nodes of one step lie side by side."""
    numbers = [number for group in laying.grouped() for number in group]
    names = [laying.node_operations[k] for k in numbers if k in laying.node_operations]
    return {name: k + 1 for k, name in enumerate(names)}


def _laid(laying: Laying) -> Laying:
    for step in laying.settled.plan.steps:
        if step in laying.nodes:
            _node(laying, step)
        elif step in laying.constraints:
            _constraint(laying, step)
        elif step in laying.feeds:
            _feed(laying, laying.feeds[step])
        elif step in laying.gauges:
            _gauge(laying, laying.settled.rig.gauges[laying.gauges[step]])
        else:
            node, _, aspect = step.rpartition(".")
            _aspect(laying, node, aspect)
    for name in laying.curves:
        lay_chains.points(laying, name)
    return laying


def _constraint(laying: Laying, name: str) -> None:
    constraint = laying.constraints[name]
    match constraint:
        case Follow():
            lay_mounts.follow(laying, constraint)
        case Face():
            lay_mounts.face(laying, constraint)
        case Ride():
            lay_chains.ride(laying, constraint)
        case Reach():
            lay_chains.reach(laying, constraint)
        case Twist():
            lay_chains.twist(laying, constraint)


# ---- nodes ---------------------------------------------------------------------------------------


def _node(laying: Laying, name: str) -> None:
    """A node taken whole: carried by one transform, or with parts of its own."""
    mounted = laying.mounted(name)
    slot = laying.slot(name)
    own = _own_parts(laying, name)
    needs = [*laying.mount_needs(mounted), *_own_needs(laying, name)]
    operation = laying.operation(needs)
    laying.provide(operation, ("place", slot), ("turn", slot), ("linear", slot))
    if laying.inherited.sized(name):
        laying.provide(operation, ("size", laying.inherited.own(name)))
    member = (slot, name, mounted)
    if mounted.whole and not any(own):
        laying.add(operation, "carried", (), member, _carried)
    else:
        form = (*mounted.form, *own)
        laying.add(operation, "free", form, member, lambda held: _free(laying, held))
    laying.node_operations[operation] = name


def _own_parts(laying: Laying, name: str) -> tuple[Hashable, ...]:
    """Which parts a node has of its own, and what kind of size comes of them."""
    made = laying.inherited.own(name).kind if laying.inherited.sized(name) else None
    return (
        name in laying.moves,
        name in laying.turns,
        name in laying.scaled,
        name in laying.extras,
        made,
    )


def _own_needs(laying: Laying, name: str) -> list[tuple[str, Hashable]]:
    needs: list[tuple[str, Hashable]] = []
    for part, held in (("move", laying.moves), ("size", laying.scaled)):
        if name in held:
            for axis in "xyz":
                needs.extend(laying.channel_needs(f"{name}.{part}.{axis}"))
    if name in laying.turns:
        laying.turn_within(name)
        needs.append(("local", name))
    if name in laying.extras:
        needs.append(("extra", name))
    return needs


def _carried(held: list[Any]) -> Step:
    held = sorted(held, key=lambda member: member[0])
    rest = np.stack([whole_of(mounted) for _, _, mounted in held])
    return Carried(
        [slot for slot, _, _ in held], [mounted.place.slot for _, _, mounted in held], rest
    )


def _free(laying: Laying, held: list[Any]) -> Step:
    held = sorted(held, key=lambda member: member[0])
    names = [name for _, name, _ in held]
    target = rows([slot for slot, _, _ in held])
    return Free(target, mount_of([mounted for _, _, mounted in held]), _local(laying, names))


def _local(laying: Laying, names: list[str]) -> Local:
    def of(held: Mapping[str, int]) -> Any:
        return rows([held[name] for name in names]) if names[0] in held else None

    local = Local(of(laying.moves), of(laying.turns), of(laying.scaled), of(laying.extras))
    if laying.inherited.sized(names[0]):
        made = [laying.inherited.own(name) for name in names]
        local.made = made[0].kind
        local.made_rows = [size.row if size in laying.asked else -1 for size in made]
    return local


def _aspect(laying: Laying, name: str, aspect: str) -> None:
    """The place, the turn or the linear part of a node that is taken apart."""
    mounted = laying.mounted(name)
    slot = laying.slot(name)
    apart = Mounted(mounted.place, mounted.turn, mounted.size, False)
    if aspect == "place":
        needs = [
            *laying.mount_needs(apart),
            *[k for axis in "xyz" for k in laying.channel_needs(f"{name}.move.{axis}")],
        ]
    elif aspect == "turn":
        needs = [("turn", mounted.turn.slot)]
        if name in laying.turns:
            laying.turn_within(name)
            needs.append(("local", name))
    else:
        needs = [("turn", slot), ("size", mounted.size), *_own_needs(laying, name)]
    operation = laying.operation(needs)
    member = (aspect, slot, name, apart)
    laying.add(
        operation, f"node {aspect}", operation, member, lambda held: _apart(laying, *held[0])
    )
    laying.provide(operation, ("linear" if aspect == "size" else aspect, slot))
    if aspect == "size":
        if laying.inherited.sized(name):
            laying.provide(operation, ("size", laying.inherited.own(name)))
        laying.node_operations[operation] = name


def _apart(laying: Laying, aspect: str, slot: int, name: str, mounted: Mounted) -> Step:
    """The step of one aspect. As every step that keeps a size for others, it is made when all is
    laid: who asks for the size is not known before.
    """
    target, mount = rows([slot]), mount_of([mounted])
    if aspect == "place":
        return PlaceOnly(target, mount, _row(laying.moves, name))
    if aspect == "turn":
        return TurnOnly(target, mount, _row(laying.turns, name))
    return LinearOnly(target, mount, _local(laying, [name]))


def _row(held: Mapping[str, int], name: str) -> Any:
    return rows([held[name]]) if name in held else None


# ---- live numbers --------------------------------------------------------------------------------


def _feed(laying: Laying, feed: Feed) -> None:
    """A live number that drives a channel, within the channel's limits."""
    channel = laying.table[feed.target]
    needs = list(measures.needs(laying, feed.value))
    value = number(feed.value, laying.channel, lambda one: measures.measure(laying, one))
    low, high = channel.low, channel.high
    if channel.part == "dial":
        row = laying.dials[feed.target]

        def keep(state: State, found: Any) -> None:
            state.dials[row] = np.clip(found, low, high)
    else:
        held = {"move": laying.moves, "turn": laying.turns, "size": laying.scaled}[channel.part]
        row, part = held[channel.node], f"{channel.part}s"
        even = channel.part == "size" and laying.nodes[channel.node].size_even
        axis = slice(0, 3) if even else channel.axis

        def keep(state: State, found: Any) -> None:
            getattr(state, part)[row, axis] = np.clip(found, low, high)

    operation = laying.operation(needs)
    laying.alone(operation, "feed", Written(value, keep))
    laying.provide(operation, ("channel", feed.target))


def _gauge(laying: Laying, gauge: Gauge) -> None:
    row = laying.gauges[gauge.name]
    value = number(gauge.value, laying.channel, lambda one: measures.measure(laying, one))

    def keep(state: State, found: Any) -> None:
        state.gauges[row] = found

    operation = laying.operation(measures.needs(laying, gauge.value))
    laying.alone(operation, "gauge", Written(value, keep))
    laying.provide(operation, ("gauge", gauge.name))
