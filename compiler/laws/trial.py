"""What the laws share: a rig to be tried, seeded poses, and who depends on whom.

In comes a settled rig and a seed, out go poses in batches (one call of the evaluator for many),
ranges over which channels are tried, and the statements that explain what a node did. Nothing here
knows any law.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from somite.evaluate import Channel, Evaluator, Posed
from somite.evaluate.algebra import Array
from somite.evaluate.channels import FAR, TURNED
from somite.ir import Chain, Curve, Dial, Node
from somite.laws.law import Statement
from somite.order import Wiring, written
from somite.settle import Settled
from somite.units import PI

Values = Mapping[str, float]

MOVED = 0.5
"""How far a move without limits is tried, in heights of the rig."""
TURNED_BY = 170.0 / 180.0 * PI
"""How far a turn without limits is tried: short of the half turn, beyond which it is another."""
SIZED = 2.0
"""How much larger or smaller a size without limits is tried."""
WORKING = {"move": 0.1, "turn": 0.5 * PI}
"""How far an animator is taken to go where there are no limits: in heights, and in radians.

Further out every rig folds somewhere: a back rides a curve that doubles up on itself, a hand
passes between its shoulder and its pole.
"""


@dataclass(slots=True)
class Poses:
    """Poses gathered to be evaluated together, each by the number it was given."""

    evaluator: Evaluator
    rows: list[Values] = field(default_factory=list)

    def add(self, values: Values) -> int:
        """Take a pose; its number."""
        self.rows.append(values)
        return len(self.rows) - 1

    def posed(self) -> Posed:
        """All of them, in the order they were given; the rest pose where there are none."""
        table = self.evaluator.channels
        count = max(1, len(self.rows))
        found: dict[str, Array] = {}
        for number, row in enumerate(self.rows):
            for name, value in row.items():
                if name not in found:
                    found[name] = np.full(count, table[name].default)
                found[name][number] = value
        if not found and table:
            name = next(iter(table))
            found[name] = np.full(count, table[name].default)
        return self.evaluator.pose(dict(sorted(found.items())))


def span(channel: Channel, far: float) -> tuple[float, float]:
    """Between what a channel is tried: its limits, or a working range where it has none."""
    low, high = channel.low, channel.high
    if channel.part == "size":
        return max(low, 1.0 / SIZED), min(high, SIZED)
    if channel.part == "turn":
        wide, most = TURNED_BY, TURNED
    elif channel.part == "move":
        wide, most = MOVED * far, FAR
    else:
        wide, most = {"length": MOVED * far, "angle": PI, "number": 1.0}[channel.unit], FAR
    return (
        channel.default - wide if low <= -most else low,
        channel.default + wide if high >= most else high,
    )


def reversed_edges(wiring: Wiring) -> dict[str, set[str]]:
    """What each node, constraint, feed, gauge and curve reads: names by name."""
    before: dict[str, set[str]] = {}
    for first, second in wiring.edges():
        before.setdefault(second, set()).add(first)
    for curve in wiring.rig.curves:
        owners = before.setdefault(curve.name, set())
        owners.update(share.grip for share in curve.shares)
        if curve.parent is not None:
            owners.add(curve.parent)
    return before


class Trial:
    """One rig on trial. Lengths are metres; `far` is the height, by which distances are judged."""

    def __init__(self, settled: Settled, seed: int, evaluator: Evaluator | None = None) -> None:
        self.settled = settled
        self.rig = settled.rig
        self.seed = seed
        self.evaluator = evaluator or Evaluator(settled)
        self.channels = self.evaluator.channels
        self.far = self.rig.height if self.rig.height > 0.0 else 1.0
        self.nodes: dict[str, Node] = {node.name: node for node in self.rig.nodes}
        self.chains: dict[str, Chain] = {chain.name: chain for chain in self.rig.chains}
        self.curves: dict[str, Curve] = {curve.name: curve for curve in self.rig.curves}
        self.controls = tuple(node for node in self.rig.nodes if node.kind == "control")
        self.joints = tuple(node for node in self.rig.nodes if node.kind == "joint")
        self.carriers = tuple(node for node in self.rig.nodes if node.carries_all)
        self.dials: dict[str, Dial] = {
            f"{node.name}.{dial.name}": dial for node in self.rig.nodes for dial in node.dials
        }
        self.before = reversed_edges(Wiring(self.rig))
        self._heights: dict[str, float] = {}

    # ---- poses ---------------------------------------------------------------------------------

    def poses(self) -> Poses:
        """An empty batch."""
        return Poses(self.evaluator)

    @cached_property
    def rest(self) -> Posed:
        """The rig at its defaults."""
        return self.evaluator.pose()

    @cached_property
    def free(self) -> tuple[Channel, ...]:
        """Channels and dials of controls that an animator can set."""
        names = {node.name for node in self.controls}
        even = {node.name for node in self.controls if node.size_even}
        return tuple(
            channel
            for channel in self.channels.values()
            if (channel.node in names or channel.part == "dial")
            and not channel.locked
            and not channel.driven
            and not (channel.part == "size" and channel.axis > 0 and channel.node in even)
        )

    def span(self, channel: Channel) -> tuple[float, float]:
        """Between what a channel is tried: its limits, or a working range where it has none."""
        return span(channel, self.height(channel.node))

    def height(self, node: str) -> float:
        """The height of the rig that a node belongs to: on a socket, that rig's own.

        A rider's hand is moved as far as a rider's, however large the mount is.
        """
        home = self.rig.home(node)
        if home is None:
            return self.far
        if home.name not in self._heights:
            origin = home.ground.place
            within = f"{home.name}."
            own = [one.rest.place for one in self.rig.nodes if one.name.startswith(within)]
            sides = [
                max(0.0, *[place[axis] - origin[axis] for place in own])
                - min(0.0, *[place[axis] - origin[axis] for place in own])
                for axis in range(3)
            ]
            self._heights[home.name] = max(sides) or self.far
        return self._heights[home.name]

    def working(self, channel: Channel) -> tuple[float, float]:
        """Between what an animator is taken to use a channel: its limits, else a working range."""
        low, high = self.span(channel)
        if channel.part not in WORKING:
            return low, high
        far = self.height(channel.node) if channel.part == "move" else 1.0
        wide = WORKING[channel.part] * far
        most = FAR if channel.part == "move" else TURNED
        return (
            -wide if channel.low <= -most else low,
            wide if channel.high >= most else high,
        )

    def seeded(
        self, count: int, what: str, amounts: tuple[float, float] = (0.1, 0.6)
    ) -> list[dict[str, float]]:
        """Random poses of all free channels, from the seed and a word; later ones go further.

        Moves, turns and sizes keep to a share of their range (from the first amount to the
        second); dials take their whole range.
        """
        chance = random.Random(f"{self.seed} {what}")
        found = []
        for number in range(count):
            amount = amounts[0] + (amounts[1] - amounts[0]) * number / max(1, count - 1)
            found.append(
                {
                    channel.name: self.drawn(channel, chance, amount)
                    for channel in self.free
                    if not self.nodes[channel.node].carries_all or channel.part == "dial"
                }
            )
        return found

    def drawn(self, channel: Channel, chance: random.Random, amount: float) -> float:
        """A random value of a channel, within a share of its range; a dial's whole range."""
        low, high = self.span(channel)
        drawn = chance.random()
        if channel.options:
            return float(min(len(channel.options) - 1, int(drawn * len(channel.options))))
        value = low + (high - low) * drawn
        if channel.part == "dial":
            return value
        return channel.default + (value - channel.default) * amount

    def extremes(self, channel: Channel) -> tuple[float, ...]:
        """The values of a dial that are furthest from its default; every option of a choice."""
        if channel.options:
            values = tuple(float(k) for k in range(len(channel.options)))
        else:
            values = self.span(channel)
        return tuple(value for value in values if value != channel.default)

    # ---- causes --------------------------------------------------------------------------------

    @cached_property
    def steps(self) -> tuple[str, ...]:
        """Nodes, constraints, feeds and gauges, each after what it reads; each once."""
        found: dict[str, None] = {}
        for step in self.settled.plan.steps:
            name = step.rpartition(".")[0] if step not in self.before else step
            known = step in self.nodes or step in self.before
            found.setdefault(step if known else name)
        return tuple(found)

    def reached(self, sources: Collection[str]) -> set[str]:
        """Everything that depends on one of these, these included."""
        found = set(sources)
        for step in self.steps:
            if not found.isdisjoint(self.before.get(step, ())):
                found.add(step)
        for curve in self.rig.curves:
            if not found.isdisjoint(self.before[curve.name]):
                found.add(curve.name)
        return found

    def upstream(self, bad: Collection[str]) -> list[str]:
        """Those that depend on no other of them, in the order of the plan."""
        tainted: set[str] = set()
        found: list[str] = []
        steps = [*self.steps, *self.curves]
        for step in steps:
            below = any(one in tainted for one in self.before.get(step, ()))
            if step in bad and not below:
                found.append(step)
            if below or step in bad:
                tainted.add(step)
        return found or [step for step in steps if step in bad][:1]

    def above(self, name: str) -> Iterable[str]:
        """A node and what it depends on, nearest first."""
        seen = {name: None}
        waiting = [name]
        for one in waiting:
            for other in sorted(self.before.get(one, ())):
                if other not in seen:
                    seen[other] = None
                    waiting.append(other)
        return seen

    # ---- statements ----------------------------------------------------------------------------

    @cached_property
    def statements(self) -> dict[str, Statement]:
        """Every statement by the name of what it makes."""
        records = (
            *self.rig.gauges,
            *self.rig.chains,
            *self.rig.curves,
            *self.rig.nodes,
            *self.rig.constraints,
            *self.rig.feeds,
        )
        found = {}
        for record in records:
            excuses = getattr(record, "excuses", ())
            found[record.name] = Statement(record.name, record.origin, excuses)
        return found

    @cached_property
    def writers(self) -> dict[tuple[str, str], str]:
        """The constraint that writes a part (move, turn, size) of a node's mount."""
        return {
            (node, part): constraint.name
            for constraint in self.rig.constraints
            for node, parts in written(constraint, self.chains)
            for part in parts
        }

    def explaining(self, node: str, part: str) -> Statement:
        """The statement that says how a part (move, turn, size) of a node's mount moves."""
        return self.statements[self.writers.get((node, part), node)]

    def excusers(self, node: str) -> tuple[Statement, ...]:
        """The statements of a node itself: its own, its chain's, and the constraints on it."""
        names = [node, *(self.writers[node, p] for p in _PARTS if (node, p) in self.writers)]
        chain = self.nodes[node].chain if node in self.nodes else None
        if chain is not None:
            names.append(chain)
        return tuple(self.statements[name] for name in dict.fromkeys(names))


_PARTS = ("move", "turn", "size")
