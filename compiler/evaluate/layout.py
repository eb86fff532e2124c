"""The plan of an evaluation: steps over arrays, made once for a settled rig.

In comes a settled rig and which parts of its nodes may be other than at rest, out go steps in
order, equal operations of one level gathered into one step, and where everything lies in the
arrays. Evaluating does no more than run the steps: names and graphs end here.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from somite.evaluate import lay_chains, lay_mounts, measures
from somite.evaluate.algebra import Array, rows
from somite.evaluate.channels import Alive, Channel
from somite.evaluate.laying import WORLD_SLOT, Laying, Mounted, mount_of, whole_of
from somite.evaluate.live import Kept, Written, number
from somite.evaluate.nodes import (
    Carried,
    Free,
    LinearOnly,
    Local,
    PlaceOnly,
    TurnOnly,
)
from somite.evaluate.scalar.writer import Program, Writer
from somite.evaluate.state import ONE, Size, Sizes, State, Step
from somite.ir import Face, Feed, Follow, Gauge, Reach, Ride, Twist
from somite.settle import Settled
from somite.spatial.rotation import IDENTITY


@dataclass(frozen=True, slots=True)
class Layout:
    """Steps, the sizes of the arrays, and rows by name: of nodes, of results, and of channels.

    `rows` has the row of each channel that may be other than at rest, in the order moves, turns,
    sizes, dials; `driven` are those that feeds write; `rest` has what all channels are at rest.
    `sized` tells sizes of nodes' slots, and `handed` to which node's slot what a constraint writes
    to a slot of its own is handed on as it is: a program writes it there.
    """

    steps: tuple[Step, ...]
    sizes: Sizes
    slots: dict[str, int]
    rows: dict[str, int]
    gauges: dict[str, int]
    curves: dict[str, int]
    driven: tuple[int, ...]
    bounds: Bounds
    sized: dict[int, Size]
    handed: dict[int, int]
    rest: list[float]
    _programs: dict[int, Program] = field(default_factory=dict)

    def program(self, lanes: int) -> Program:
        """The plan as numbers, for so many lanes."""
        found = self._programs.get(lanes)
        if found is None:
            found = self._programs[lanes] = self.written(lanes)
        return found

    def written(self, lanes: int, unwritten: float = 0.0) -> Program:
        """The plan written as numbers; `unwritten` is what its memory has where nothing is yet."""
        writer = Writer(self.sizes, self.sized, self.handed, lanes)
        for step in self.steps:
            writer.step(step.encode)
        return writer.program(self.rest, unwritten)

    def run(self, state: State) -> None:
        """Evaluate a state."""
        for step in self.steps:
            step.run(state)


@dataclass(frozen=True, slots=True)
class Bounds:
    """Lowest and highest values of channels, and what they are at rest: (rows, 1)."""

    low: Array
    high: Array
    rest: Array

    def within(self, values: Array) -> bool:
        """Bring values within their bounds, and say whether they all were."""
        if not values.size:
            return True
        least, most = values.min(axis=-1), values.max(axis=-1)  # not a number in either shows
        if ((least >= self.low[:, 0]) & (most <= self.high[:, 0])).all():
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
    rows = _rows(laying)
    own = laying.inherited.own
    bounds = _bounds([table[name] for name in rows])
    return Layout(
        laying.steps(),
        laying.counts,
        laying.slots,
        rows,
        laying.gauges,
        laying.curve_rows,
        _driven(laying, rows),
        bounds,
        {slot: own(name) for name, slot in laying.slots.items() if own(name) != ONE},
        laying.handed,
        bounds.rest.ravel().tolist(),
    )


def _rows(laying: Laying) -> dict[str, int]:
    """Rows of channels by name."""
    parts = (("move", laying.moves), ("turn", laying.turns), ("size", laying.scaled))
    names = [f"{node}.{part}.{axis}" for part, held in parts for node in held for axis in "xyz"]
    return {name: row for row, name in enumerate([*names, *laying.dials])}


def _driven(laying: Laying, rows: Mapping[str, int]) -> tuple[int, ...]:
    """Rows of channels that feeds write: of an even size all three."""
    written = set(laying.feed_of)
    for target in laying.feed_of:
        channel = laying.table[target]
        if channel.part == "size" and laying.nodes[channel.node].size_even:
            written |= {f"{channel.node}.size.{axis}" for axis in "xyz"}
    return tuple([row for name, row in rows.items() if name in written])


def _bounds(channels: list[Channel]) -> Bounds:
    low, high, rest = (
        np.array([getattr(one, what) for one in channels]).reshape(-1, 1)
        for what in ("low", "high", "default")
    )
    return Bounds(low, high, np.clip(rest, low, high))


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
    turned = mounted.turn
    held = turned.slot == WORLD_SLOT or turned.slot in laying.names
    if not held and turned.slot not in laying.together and turned.turn == IDENTITY:
        laying.handed[turned.slot] = slot


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
    if name in laying.moves:
        for axis in "xyz":
            needs.extend(laying.channel_needs(f"{name}.move.{axis}"))
    if name in laying.turns:
        laying.turn_within(name)
        needs.append(("local", name))
    return needs + _size_needs(laying, name)


def _size_needs(laying: Laying, name: str) -> list[tuple[str, Hashable]]:
    needs: list[tuple[str, Hashable]] = []
    if name in laying.scaled:
        for axis in "xyz":
            needs.extend(laying.channel_needs(f"{name}.size.{axis}"))
    if name in laying.extras:
        needs.append(("extra", name))
    return needs


def _carried(held: list[Any]) -> Step:
    held = sorted(held, key=lambda member: member[0])
    rest = np.stack([whole_of(mounted) for _, _, mounted in held])
    mounts = [mounted for _, _, mounted in held]
    return Carried(
        [slot for slot, _, _ in held],
        [mounted.place.slot for mounted in mounts],
        rest,
        [mounted.place.place for mounted in mounts],
        [mounted.turn.turn for mounted in mounts],
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
        local.own = made
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
        needs = [("turn", slot), ("size", mounted.size), *_size_needs(laying, name)]
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
    if channel.part == "dial":
        kept = [Kept("dial", laying.dials[feed.target])]
    else:
        held = {"move": laying.moves, "turn": laying.turns, "size": laying.scaled}[channel.part]
        row = held[channel.node]
        even = channel.part == "size" and laying.nodes[channel.node].size_even
        axes = range(3) if even else (channel.axis,)
        kept = [Kept(channel.part, row, axis) for axis in axes]
    operation = laying.operation(needs)
    step = Written(value, kept, channel.low, channel.high)
    laying.alone(operation, "feed", step)
    laying.provide(operation, ("channel", feed.target))


def _gauge(laying: Laying, gauge: Gauge) -> None:
    value = number(gauge.value, laying.channel, lambda one: measures.measure(laying, one))
    kept = [Kept("gauge", laying.gauges[gauge.name])]
    operation = laying.operation(measures.needs(laying, gauge.value))
    laying.alone(operation, "gauge", Written(value, kept))
    laying.provide(operation, ("gauge", gauge.name))
