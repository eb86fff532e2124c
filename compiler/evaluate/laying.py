"""Laying a plan: what every operation needs to know to find its place among the steps.

It knows slots, rows, and operations with what they read and write; equal operations that are ready
together become one step. What each statement of a rig does is not known here but beside its
operation.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from somite.evaluate.algebra import affine, right_product, rows
from somite.evaluate.channels import Alive, Channel
from somite.evaluate.follow import Weights, weights_of
from somite.evaluate.inherited import Inherited
from somite.evaluate.live import Fixed, Kept, Number
from somite.evaluate.nodes import Mount, Turned
from somite.evaluate.state import ONE, Size, Sizes, Step
from somite.ir import Amount, Constraint, Dial, Follow, Quaternion, Reach, Ride, Vector
from somite.order import written
from somite.settle import Settled
from somite.spatial.rotation import IDENTITY
from somite.spatial.vector import ZERO

WORLD_SLOT = 0
Key = tuple[str, Hashable]
GIVEN: frozenset[Key] = frozenset(
    [("place", WORLD_SLOT), ("turn", WORLD_SLOT), ("linear", WORLD_SLOT), ("size", ONE)]
)
"""What no operation writes and every one may read."""
Make = Callable[[list[Any]], Step]


@dataclass(frozen=True, slots=True)
class Source:
    """Where one part of a mount comes from: a slot, and what stands between."""

    slot: int
    place: Vector = ZERO
    turn: Quaternion = IDENTITY


@dataclass(frozen=True, slots=True)
class Mounted:
    """A node's mount: where its place, turn and size come from; `whole` if from one transform."""

    place: Source
    turn: Source
    size: Size
    whole: bool

    @property
    def form(self) -> tuple[Hashable, ...]:
        """What equal mounts have in common.

        A place that is another's as it stands is read without that one's linear part, which may
        not be there yet, or never: it is not gathered with places that rest offsets lead to.
        """
        return self.whole, self.size.kind, self.whole or self.place.place == ZERO


@dataclass(slots=True)
class Operation:
    """One operation under way: what it waits for, and how it and its equals are made one step."""

    after: frozenset[int]
    form: str = ""
    member: Any = None
    make: Make | None = None


class Laying:
    """One plan under way."""

    def __init__(
        self,
        settled: Settled,
        table: Mapping[str, Channel],
        alive: Alive,
        slots: Mapping[str, int] | None,
    ) -> None:
        rig = settled.rig
        self.settled, self.table, self.alive = settled, table, alive
        self.nodes = {node.name: node for node in rig.nodes}
        self.chains = {chain.name: chain for chain in rig.chains}
        self.curves = {curve.name: curve for curve in rig.curves}
        self.constraints: dict[str, Constraint] = {one.name: one for one in rig.constraints}
        self.feeds = {feed.name: feed for feed in rig.feeds}
        self.feed_of = {feed.target: feed.name for feed in rig.feeds}
        self.gauges = {gauge.name: k for k, gauge in enumerate(rig.gauges)}
        self.dials = _numbered(name for name, one in table.items() if one.part == "dial")
        self.moves, self.turns, self.scaled = (
            _numbered(sorted(node for node, held in alive if held == part))
            for part in ("move", "turn", "size")
        )
        self.slots = dict(slots or {node.name: k + 1 for k, node in enumerate(rig.nodes)})
        self.names = {slot: name for name, slot in self.slots.items()}
        self.counts = Sizes(
            slots=len(self.slots) + 1,
            nodes=len(self.slots),
            moves=len(self.moves),
            turns=len(self.turns),
            sizes=len(self.scaled),
            dials=len(self.dials),
            gauges=len(self.gauges),
            points=tuple([len(curve.points) for curve in rig.curves]),
        )
        self.curve_rows = _numbered(curve.name for curve in rig.curves)
        self.extras: dict[str, int] = {}
        self.ride_ends: dict[str, tuple[int, int]] = {}
        self.rest_ends: dict[str, tuple[Quaternion, Quaternion]] = {}
        self.places_written: dict[str, Source] = {}
        self.turns_written: dict[str, Source] = {}
        self.ready: dict[Key, int] = {}
        self.operations: list[Operation] = []
        self.node_operations: dict[int, str] = {}
        self.handed: dict[int, int] = {}
        self.together: set[int] = set()
        self.asked: set[Size] = set()
        self.inherited = self._inherited()

    def _inherited(self) -> Inherited:
        writers: dict[tuple[str, str], Constraint] = {}
        for constraint in self.settled.rig.constraints:
            for node, parts in written(constraint, self.chains):
                for part in parts:
                    writers[node, part] = constraint
        found = Inherited(self.nodes, writers, self.alive, self.counts)
        for constraint in self.settled.rig.constraints:
            if isinstance(constraint, Follow):
                weights = self._weights(constraint)
                if weights is not None:
                    found.weights[constraint.name] = weights
            elif isinstance(constraint, Ride):
                found.carriers[constraint.name] = self.settled.rides[constraint.name].carrier
            if isinstance(constraint, Ride | Reach) and may_be(constraint.stretch):
                for joint in self.chains[constraint.chain].joints:
                    found.stretched.add(joint)
                    self.extras[joint] = len(self.extras)
        self.counts.extras = len(self.extras)
        return found

    def _weights(self, follow: Follow) -> Weights | None:
        """The weights of a follow, or None where they are stated and sum to nothing."""
        stated = [leader.weight for leader in follow.leaders]
        if follow.dial is None:
            return weights_of(stated, None, None) if sum(stated) > 0.0 else None
        owner = self.nodes.get(follow.dial.rpartition(".")[0])
        found: Dial | None = None
        for dial in owner.dials if owner is not None else ():
            if follow.dial == f"{owner.name if owner else ''}.{dial.name}":
                found = dial
        return weights_of(stated, found, self.dials.get(follow.dial))

    # ---- slots and operations --------------------------------------------------------------------

    def slot(self, name: str | None) -> int:
        """The slot of a node, or of the world."""
        return WORLD_SLOT if name is None else self.slots.get(name, WORLD_SLOT)

    def spare(self, count: int = 1) -> int:
        """The first of so many new slots that only constraints write."""
        first = self.counts.slots
        self.counts.slots += count
        return first

    def operation(self, needs: Iterable[Key]) -> int:
        """The number of a new operation that reads these, all of which were provided before."""
        ready = self.ready
        after = frozenset([ready[key] for key in needs if key not in GIVEN])
        self.operations.append(Operation(after))
        return len(self.operations) - 1

    def provide(self, operation: int, *keys: Key) -> None:
        """After an operation, these can be read."""
        for key in keys:
            self.ready[key] = operation

    def add(self, operation: int, kind: str, form: Hashable, member: Any, make: Make) -> None:
        """Say what an operation is; those of one kind and form are equals."""
        held = self.operations[operation]
        held.form, held.member, held.make = f"{kind} {form!r}", member, make

    def alone(self, operation: int, kind: str, step: Step) -> None:
        """Say that an operation is a step of its own."""
        self.add(operation, kind, operation, step, lambda held: step)

    def grouped(self) -> list[list[int]]:
        """Operations gathered into groups of equals, each after all that it reads.

        Equals of one rank, which is how many of their own form come before them, make one group
        where they can: of the forms that are ready, the one goes first of whose rank the largest
        share is ready.
        """
        ranks = self._ranks()
        waiting = [len(one.after) for one in self.operations]
        readers: list[list[int]] = [[] for _ in self.operations]
        left = Counter(zip((one.form for one in self.operations), ranks, strict=True))
        ready: dict[tuple[str, int], list[int]] = {}
        for number, one in enumerate(self.operations):
            for before in one.after:
                readers[before].append(number)
            if not one.after:
                ready.setdefault((one.form, ranks[number]), []).append(number)
        groups: list[list[int]] = []
        while ready:
            chosen = min(
                ready, key=lambda one: (-len(ready[one]) / left[one], -len(ready[one]), one)
            )
            group = ready.pop(chosen)
            left[chosen] -= len(group)
            groups.append(group)
            for number in (after for before in group for after in readers[before]):
                waiting[number] -= 1
                if not waiting[number]:
                    key = (self.operations[number].form, ranks[number])
                    ready.setdefault(key, []).append(number)
        return groups

    def _ranks(self) -> list[int]:
        """How many operations of its own form lie before each, one behind the other."""
        before: list[dict[str, int]] = []
        found = []
        for one in self.operations:
            most: dict[str, int] = {}
            for number in one.after:
                for form, count in before[number].items():
                    if count > most.get(form, 0):
                        most[form] = count
            found.append(most.get(one.form, 0))
            most[one.form] = found[-1] + 1
            before.append(most)
        return found

    def steps(self) -> tuple[Step, ...]:
        """The steps in order."""
        found = []
        for group in self.grouped():
            make = self.operations[group[0]].make
            assert make is not None
            found.append(make([self.operations[number].member for number in group]))
        return tuple(found)

    # ---- mounts ----------------------------------------------------------------------------------

    def place_source(self, name: str) -> Source:
        """Where a node's mount is: what was written, or the parent with the rest between."""
        if name in self.places_written:
            return self.places_written[name]
        return Source(self.slot(self.nodes[name].parent), self.settled.locals[name].place)

    def turn_source(self, name: str) -> Source:
        """How a node's mount is turned."""
        if name in self.turns_written:
            return self.turns_written[name]
        local = self.settled.locals[name].turn
        return Source(self.slot(self.nodes[name].parent), turn=local)

    def mounted(self, name: str) -> Mounted:
        """A node's mount."""
        place, turn, size = (
            self.place_source(name),
            self.turn_source(name),
            self.inherited.mount(name),
        )
        self.asked.add(size)
        whole = place.slot == turn.slot and size == self._own_of_slot(place.slot)
        return Mounted(place, turn, size, whole)

    def _own_of_slot(self, slot: int) -> Size | None:
        if slot == WORLD_SLOT:
            return self.inherited.own(None)
        name = self.names.get(slot)
        return None if name is None else self.inherited.own(name)

    def place_needs(self, source: Source) -> Iterator[Key]:
        """What a place is read from."""
        yield "place", source.slot
        if source.place != ZERO:
            yield "linear", source.slot

    def mount_needs(self, mounted: Mounted) -> Iterator[Key]:
        """What a mount is read from."""
        yield from self.place_needs(mounted.place)
        yield "turn", mounted.turn.slot
        yield "size", mounted.size
        if mounted.whole:
            yield "linear", mounted.place.slot

    # ---- channels --------------------------------------------------------------------------------

    def channel_needs(self, name: str) -> Iterator[Key]:
        """What a channel, dial or gauge is read from."""
        if name in self.gauges:
            yield "gauge", name
        elif name in self.feed_of:
            yield "channel", name

    def channel(self, name: str) -> Number:
        """The present value of a channel, dial or gauge."""
        if name in self.gauges:
            return Kept("gauge", self.gauges[name])
        held = self.table[name]
        if held.part == "dial":
            return Kept("dial", self.dials[name])
        by_part = {"move": self.moves, "turn": self.turns, "size": self.scaled}
        found = by_part[held.part].get(held.node)
        return Fixed(held.default) if found is None else Kept(held.part, found, held.axis)

    def amount(self, amount: Amount) -> Number:
        """The present value of an amount."""
        if amount.channel is not None:
            return self.channel(amount.channel)
        return Fixed(amount.value)

    def amount_needs(self, amount: Amount) -> Iterator[Key]:
        """What an amount is read from."""
        if amount.channel is not None:
            yield from self.channel_needs(amount.channel)

    def turn_within(self, name: str) -> None:
        """Have a node's own turn worked out from its channels."""
        if name not in self.turns or ("local", name) in self.ready:
            return
        needs = [key for axis in "xyz" for key in self.channel_needs(f"{name}.turn.{axis}")]
        operation = self.operation(needs)
        order = self.nodes[name].order
        self.add(operation, "local", order, self.turns[name], lambda held: _turned(held, order))
        self.provide(operation, ("local", name))


def _turned(held: list[Any], order: str) -> Step:
    return Turned(rows(sorted(held)), order)


def _numbered(names: Iterable[str]) -> dict[str, int]:
    return {name: k for k, name in enumerate(names)}


def may_be(amount: Amount) -> bool:
    """Whether an amount may be other than zero."""
    return amount.channel is not None or amount.value != 0.0


def mount_of(mounts: Sequence[Mounted]) -> Mount:
    """The mounts of a group, which are of one form."""
    first = mounts[0]
    return Mount(
        [one.place.slot for one in mounts],
        [one.turn.slot for one in mounts],
        [one.place.place for one in mounts],
        [one.turn.turn for one in mounts],
        offsets_of([one.place for one in mounts]),
        turnings_of([one.turn for one in mounts]),
        first.size.kind,
        rows([one.size.row for one in mounts]),
        np.stack([whole_of(one) for one in mounts]) if first.whole else None,
    )


def whole_of(mounted: Mounted) -> Any:
    """The matrices (4, 4, 4) that take a slot's rows to those of the mount."""
    rest = affine(mounted.place.place, mounted.turn.turn).T
    return np.stack([rest, rest, rest, right_product(mounted.turn.turn)])


def offsets_of(sources: Sequence[Source]) -> Any:
    """Rest offsets as rows (n, 1, 4), or None where there are none.

    With any offset the linear parts of all the sources are read.
    """
    if all(source.place == ZERO for source in sources):
        return None
    return np.array([[[*source.place, 1.0]] for source in sources])


def turnings_of(sources: Sequence[Source]) -> Any:
    """Rest turns as matrices (n, 4, 4), or None where there are none."""
    if all(source.turn == IDENTITY for source in sources):
        return None
    return np.stack([right_product(source.turn) for source in sources])
