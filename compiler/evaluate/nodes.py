"""Nodes: world = mount · T(move) · R(turn) · S(size), a group of equal nodes at a time.

A mount is either carried whole by one transform, which is one matrix product a node, or assembled
from a place, a turn and a size that come from different ones. A linear part is always A · R(turn)
with A the size that was inherited: nothing, an even scale, or a stretch that may shear.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from somite.evaluate.algebra import (
    Array,
    Index,
    composed,
    determinant,
    numbers,
    product,
    rotation,
    rows,
    transformed,
    turns_from_angles,
)
from somite.evaluate.channels import SMALLEST
from somite.evaluate.scalar import nodes as scalar
from somite.evaluate.state import LINEAR, PLACE, TURN, Size, SizeKind, State
from somite.ir import Quaternion, Vector
from somite.spatial.rotation import IDENTITY, ORDERS
from somite.spatial.vector import ZERO

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer

BLOCK = 8192
"""Turns, of nodes in poses, that are worked out together."""
MANY = 48
"""From so many poses on, a product a node costs less than gathering nodes for one product."""


@dataclass(slots=True)
class Carried:
    """Nodes at rest under one transform each: slots `target` = slots `source` times `rest`.

    `places` and `turns` tell the same of their rest.
    """

    target: list[int]
    source: list[int]
    rest: Array
    places: Sequence[Vector]
    turns: Sequence[Quaternion]
    target_rows: slice | Index = field(init=False)
    source_rows: slice | Index = field(init=False)

    def __post_init__(self) -> None:
        self.target_rows, self.source_rows = rows(self.target), rows(self.source)

    def run(self, state: State) -> None:
        """Place the nodes."""
        world = state.world
        if state.poses >= MANY or len(self.target) == 1:
            for target, source, rest in zip(self.target, self.source, self.rest, strict=True):
                np.matmul(rest, world[source], out=world[target])
        else:
            world[self.target_rows] = np.matmul(self.rest, world[self.source_rows])

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        encode_carried(writer, self.target, self.source, self.places, self.turns)


@dataclass(slots=True)
class Turned:
    """Turns within their mounts, from channels, of nodes of one turn order."""

    rows: slice | Index
    order: str

    def run(self, state: State) -> None:
        """Work out the turns, some nodes at a time, which keeps them near."""
        if isinstance(self.rows, slice):
            count = max(1, BLOCK // state.poses)
            for start in range(self.rows.start, self.rows.stop, count):
                some = slice(start, min(start + count, self.rows.stop))
                turns_from_angles(state.turns[some], self.order, state.local[some])
            return
        angles = state.turns[self.rows]
        made = np.empty((len(angles), 4, angles.shape[-1]))
        state.local[self.rows] = turns_from_angles(angles, self.order, made)

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        first, second, third, parity = ORDERS[self.order]
        axes = [axis * writer.lanes for axis in (first, second, third)]
        writer.add(
            scalar.angled,
            [
                (writer.local(row), writer.turn(row), *axes, writer.constant(parity))
                for row in numbers(self.rows)
            ],
        )


@dataclass(slots=True)
class Mount:
    """Where the mounts of a group come from: places, turns, inherited sizes.

    `whole` is set where one transform a node carries all three; `offsets` (n, 1, 4) and `turnings`
    (n, 4, 4) are None where all are nothing; `rest_places` and `rest_turns` are what they are made
    of.
    """

    place_from: Sequence[int]
    turn_from: Sequence[int]
    rest_places: Sequence[Vector]
    rest_turns: Sequence[Quaternion]
    offsets: Array | None
    turnings: Array | None
    size_kind: SizeKind
    size_rows: slice | Index
    whole: Array | None = None
    place_rows: slice | Index = field(init=False)
    turn_rows: slice | Index = field(init=False)

    def __post_init__(self) -> None:
        self.place_rows, self.turn_rows = rows(self.place_from), rows(self.turn_from)

    def places(self, state: State) -> Array:
        """(n, 3, poses)."""
        if self.offsets is None:
            return np.asarray(state.world[self.place_rows, :3, 3])
        if state.poses < MANY:
            held = state.world[self.place_rows, :3]
            return np.asarray(np.matmul(self.offsets[:, None], held)[:, :, 0])
        found = np.empty((len(self.place_from), 3, 1, state.poses))
        for k, source in enumerate(self.place_from):
            np.matmul(self.offsets[k], state.world[source, :3], out=found[k])
        return found[:, :, 0]

    def turns(self, state: State) -> Array:
        """(n, 4, poses)."""
        held = state.world[self.turn_rows, TURN]
        return held if self.turnings is None else np.matmul(self.turnings, held)

    def linear(self, state: State, turns: Array, out: Array | None = None) -> Array:
        """A · R of turns: (n, 3, 3, poses)."""
        made = rotation(turns, out)
        if self.size_kind == "even":
            made *= state.scales[self.size_rows][:, None, None, :]
        elif self.size_kind == "any":
            made[...] = composed(state.stretches[self.size_rows], made)
        return made

    def all(self, state: State, out: Array) -> None:
        """The whole mounts (n, 4, 4, poses) of one transform each."""
        assert self.whole is not None
        if state.poses >= MANY:
            for k, source in enumerate(self.place_from):
                np.matmul(self.whole[k], state.world[source], out=out[k])
        else:
            np.matmul(self.whole, state.world[self.place_rows], out=out)

    def encode(
        self, writer: Writer, targets: Sequence[int], moves: Sequence[int], turns: Sequence[int]
    ) -> None:
        """Have slots (addresses) placed in the mounts, moved and turned by vectors and quaternions.

        `moves` and `turns` are addresses, or none.
        """
        still = not moves and not turns
        nothing = writer.fixed(0.0, 0.0, 0.0), writer.fixed(0.0, 0.0, 0.0, 1.0)
        carried: list[tuple[int, ...]] = []
        free: list[tuple[int, ...]] = []
        apart: list[int] = []
        for k, (place, turn) in enumerate(zip(self.rest_places, self.rest_turns, strict=True)):
            source, turned = self.place_from[k], self.turn_from[k]
            bare = self.size_kind == "one" and writer.size_of_slot(source)[0] == scalar.ONE
            held = writer.slot(source)
            rest = writer.constant(*place, *turn)
            if still and bare and (place != ZERO or source == turned):
                carried.append((targets[k], held, writer.slot(turned), rest))
            elif bare and source == turned:
                own = (moves[k] if moves else nothing[0], turns[k] if turns else nothing[1])
                free.append((targets[k], held, rest, *own))
            else:
                apart.append(k)
        writer.add(scalar.carried, carried)
        writer.add(scalar.free, free)
        self._encode_apart(writer, apart, targets, moves, turns)

    def _encode_apart(
        self,
        writer: Writer,
        some: Sequence[int],
        targets: Sequence[int],
        moves: Sequence[int],
        turns: Sequence[int],
    ) -> None:
        """Have some of the slots placed, turned, moved and turned within, one after another."""
        to = [targets[k] for k in some]
        places, rests = [self.rest_places[k] for k in some], [self.rest_turns[k] for k in some]
        encode_places(writer, to, [self.place_from[k] for k in some], places)
        encode_turns(writer, to, [self.turn_from[k] for k in some], rests)
        if moves:
            self.encode_moves(writer, some, to, to, [moves[k] for k in some])
        if turns:
            writer.add(scalar.turned_by, zip(to, [turns[k] for k in some], strict=True))

    def encode_places(self, writer: Writer, targets: Sequence[int]) -> None:
        """Have the mounts' places written to slots."""
        encode_places(writer, targets, self.place_from, self.rest_places)

    def encode_turns(self, writer: Writer, targets: Sequence[int]) -> None:
        """Have the mounts' turns written to slots."""
        encode_turns(writer, targets, self.turn_from, self.rest_turns)

    def encode_moves(
        self,
        writer: Writer,
        some: Sequence[int],
        targets: Sequence[int],
        mounts: Sequence[int],
        moves: Sequence[int],
    ) -> None:
        """Have places moved along the axes of some of the mounts, whose turns are in slots."""
        sizes = self.encoded_sizes(writer)
        told = zip(targets, mounts, moves, [sizes[k] for k in some], strict=True)
        room = writer.scratch(3)
        writer.add(scalar.moved, [(*one, *size, room) for *one, size in told])

    def encoded_sizes(self, writer: Writer) -> list[tuple[int, int]]:
        """Kinds and addresses of the inherited sizes."""
        kind = self.size_kind
        return [writer.size_of(Size(kind, row)) for row in numbers(self.size_rows)]


@dataclass(slots=True)
class Local:
    """What a group of nodes has of its own: rows of channels, and what its size makes.

    `made` is the kind of size that comes of it, with rows in `scales` or `stretches` (-1 where
    nobody asks for it); `own` are the sizes themselves.
    """

    moves: slice | Index | None = None
    turns: slice | Index | None = None
    sizes: slice | Index | None = None
    extras: slice | Index | None = None
    made: SizeKind = "one"
    made_rows: Sequence[int] = ()
    own: Sequence[Size] = ()

    def scaling(self, state: State) -> Array | None:
        """Sizes along the nodes' own axes (n, 3, poses), or None."""
        found: Array | None = None
        if self.sizes is not None:
            found = np.maximum(state.sizes[self.sizes], SMALLEST)
        if self.extras is not None:
            extra = state.extras[self.extras]
            found = extra if found is None else found * extra
        return found


@dataclass(slots=True)
class Free:
    """Nodes with channels of their own, or mounts that are assembled."""

    target: slice | Index
    mount: Mount
    local: Local

    def run(self, state: State) -> None:
        """Place the nodes."""
        if isinstance(self.target, slice):
            self._fill(state, state.world[self.target])
        else:
            made = np.empty((len(self.target), *state.world.shape[1:]))
            self._fill(state, made)
            state.world[self.target] = made

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        local, slots = self.local, numbers(self.target)
        moves = [] if local.moves is None else [writer.move(row) for row in numbers(local.moves)]
        turns = [] if local.turns is None else [writer.local(row) for row in numbers(local.turns)]
        targets = [writer.slot(slot) for slot in slots]
        self.mount.encode(writer, targets, moves, turns)
        encode_sizes(writer, slots, self.mount.encoded_sizes(writer), local)

    def _fill(self, state: State, out: Array) -> None:
        mount, local = self.mount, self.local
        places, turns, linear = out[PLACE], out[:, TURN], out[LINEAR]
        if mount.whole is not None:
            mount.all(state, out)
        else:
            places[...] = mount.places(state)
            turns[...] = mount.turns(state)
            if local.moves is not None or local.turns is None:
                mount.linear(state, turns, linear)
        if local.moves is not None:
            places += transformed(linear, state.moves[local.moves])
        if local.turns is not None:
            product(turns, state.local[local.turns], turns)
            mount.linear(state, turns, linear)
        resize(state, mount, local, turns, linear)


def resize(state: State, mount: Mount, local: Local, turns: Array, linear: Array) -> None:
    """Apply sizes to linear parts, and keep what nodes below or followers ask for."""
    scaling = local.scaling(state)
    if scaling is None:
        return
    linear *= scaling[:, None, :, :]
    if local.made == "even":
        inherited = state.scales[mount.size_rows] if mount.size_kind == "even" else 1.0
        scales = inherited * scaling[:, 0]
        for k, row in enumerate(local.made_rows):
            if row >= 0:
                state.scales[row] = scales[k]
    elif local.made == "any":
        for k, row in enumerate(local.made_rows):
            if row >= 0:
                back = rotation(turns[k]).swapaxes(0, 1)
                state.stretches[row] = composed(linear[k], back)


@dataclass(slots=True)
class PlaceOnly:
    """The place of a node that is taken apart."""

    target: slice | Index
    mount: Mount
    moves: slice | Index | None

    def run(self, state: State) -> None:
        """Place the node; its move is made in its mount's own axes."""
        places = self.mount.places(state)
        if self.moves is not None:
            linear = self.mount.linear(state, self.mount.turns(state))
            places = places + transformed(linear, state.moves[self.moves])
        state.world[self.target, :3, 3] = places

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        targets = [writer.slot(slot) for slot in numbers(self.target)]
        self.mount.encode_places(writer, targets)
        if self.moves is not None:
            turned = [writer.scratch(7) for _ in targets]
            self.mount.encode_turns(writer, turned)
            moves = [writer.move(row) for row in numbers(self.moves)]
            self.mount.encode_moves(writer, range(len(targets)), targets, turned, moves)


@dataclass(slots=True)
class TurnOnly:
    """The turn of a node that is taken apart."""

    target: slice | Index
    mount: Mount
    turns: slice | Index | None

    def run(self, state: State) -> None:
        """Turn the node."""
        turns = self.mount.turns(state)
        if self.turns is not None:
            turns = product(turns, state.local[self.turns], np.empty(turns.shape))
        state.world[self.target, TURN] = turns

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        targets = [writer.slot(slot) for slot in numbers(self.target)]
        self.mount.encode_turns(writer, targets)
        if self.turns is not None:
            turns = [writer.local(row) for row in numbers(self.turns)]
            writer.add(scalar.turned_by, zip(targets, turns, strict=True))


@dataclass(slots=True)
class LinearOnly:
    """The linear part of a node that is taken apart, once it is turned."""

    target: slice | Index
    mount: Mount
    local: Local

    def run(self, state: State) -> None:
        """Work the linear part out."""
        turns = state.world[self.target, TURN]
        linear = self.mount.linear(state, turns)
        resize(state, self.mount, self.local, turns, linear)
        state.world[self.target, :3, :3] = linear

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        sizes = self.mount.encoded_sizes(writer)
        encode_sizes(writer, numbers(self.target), sizes, self.local)


def scale_of(state: State, size: Size) -> Array | float:
    """The even scale of an inherited size: the cube root of how it changes volumes."""
    if size.kind == "one":
        return 1.0
    if size.kind == "even":
        return np.asarray(state.scales[size.row])
    return np.asarray(np.cbrt(determinant(state.stretches[size.row])))


@dataclass(slots=True)
class EvenOf:
    """The even scale of a stretch, kept as a size of its own."""

    source: Size
    row: int

    def run(self, state: State) -> None:
        """Keep the scale."""
        state.scales[self.row] = scale_of(state, self.source)

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        _, stretch = writer.size_of(self.source)
        writer.add(scalar.evened, [(writer.scale(self.row), stretch)])


# ---- as operations of a program ------------------------------------------------------------------


def encoded_scale(writer: Writer, size: Size) -> int:
    """The address of a size's even scale, as `scale_of`."""
    if size.kind == "one":
        return writer.fixed(1.0)
    if size.kind == "even":
        return writer.scale(size.row)
    scale = writer.scratch(1)
    writer.add(scalar.evened, [(scale, writer.stretch(size.row))])
    return scale


def encode_places(
    writer: Writer, targets: Sequence[int], sources: Sequence[int], offsets: Sequence[Vector]
) -> None:
    """Have places at offsets in slots written to other slots (addresses)."""
    same, rigid = [], []
    sized: dict[int, list[tuple[int, ...]]] = {scalar.EVEN: [], scalar.ANY: []}
    for target, source, offset in zip(targets, sources, offsets, strict=True):
        held, (kind, size) = writer.slot(source), writer.size_of_slot(source)
        if offset == ZERO:
            if held != target:
                same.append((target, held))
        elif kind == scalar.ONE:
            rigid.append((target, held, writer.constant(*offset)))
        else:
            sized[kind].append((target, held, size, writer.constant(*offset)))
    writer.add(scalar.placed_same, same)
    writer.add(scalar.placed_rigid, rigid)
    writer.add(scalar.placed_scaled, sized[scalar.EVEN])
    writer.add(scalar.placed_stretched, sized[scalar.ANY])


def encode_turns(
    writer: Writer, targets: Sequence[int], sources: Sequence[int], turns: Sequence[Quaternion]
) -> None:
    """Have turns at rest in slots written to other slots (addresses)."""
    same, turned = [], []
    for target, source, turn in zip(targets, sources, turns, strict=True):
        if turn == IDENTITY:
            if writer.slot(source) != target:
                same.append((target, writer.slot(source)))
        else:
            turned.append((target, writer.slot(source), writer.constant(*turn)))
    writer.add(scalar.turned_same, same)
    writer.add(scalar.turned_rest, turned)


def encode_carried(
    writer: Writer,
    targets: Sequence[int],
    sources: Sequence[int],
    places: Sequence[Vector],
    turns: Sequence[Quaternion],
) -> None:
    """Have slots carried by one slot each."""
    kinds = [writer.size_of_slot(source)[0] for source in sources]
    rigid = [k for k, kind in enumerate(kinds) if kind == scalar.ONE]
    members = []
    for k in rigid:
        carrier = writer.slot(sources[k])
        rest = writer.constant(*places[k], *turns[k])
        members.append((writer.slot(targets[k]), carrier, carrier, rest))
    writer.add(scalar.carried, members)
    sized = [k for k, kind in enumerate(kinds) if kind != scalar.ONE]
    to, held = [writer.slot(targets[k]) for k in sized], [sources[k] for k in sized]
    encode_places(writer, to, held, [places[k] for k in sized])
    encode_turns(writer, to, held, [turns[k] for k in sized])


def encode_sizes(
    writer: Writer, slots: Sequence[int], sizes: Sequence[tuple[int, int]], local: Local
) -> None:
    """Have the sizes that nodes make worked out, as `resize`.

    `sizes` are kinds and addresses of what they inherit.
    """
    if local.sizes is None and local.extras is None:
        return
    members = []
    for k, slot in enumerate(slots):
        own = 0 if local.sizes is None else writer.size(numbers(local.sizes)[k])
        along = 0 if local.extras is None else writer.extra(numbers(local.extras)[k])
        members.append((writer.slot(slot), own, along, *sizes[k], *writer.size_of(local.own[k])))
    writer.add(scalar.resized, members)
