"""Nodes: world = mount · T(move) · R(turn) · S(size), a group of equal nodes at a time.

A mount is either carried whole by one transform, which is one matrix product a node, or assembled
from a place, a turn and a size that come from different ones. A linear part is always A · R(turn)
with A the size that was inherited: nothing, an even scale, or a stretch that may shear.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple, TypeAlias

import numpy as np

from somite.evaluate.algebra import (
    Array,
    Index,
    composed,
    determinant,
    product,
    rotation,
    rows,
    transformed,
    turns_from_angles,
)
from somite.evaluate.channels import SMALLEST
from somite.evaluate.state import LINEAR, PLACE, TURN, State

SizeKind: TypeAlias = Literal["one", "even", "any"]
BLOCK = 8192
"""Turns, of nodes in poses, that are worked out together."""
MANY = 48
"""From so many poses on, a product a node costs less than gathering nodes for one product."""


class Size(NamedTuple):
    """Which inherited size: none, a row of `scales`, or a row of `stretches`."""

    kind: SizeKind
    row: int = 0


ONE = Size("one")


@dataclass(slots=True)
class Carried:
    """Nodes at rest under one transform each: slots `target` = slots `source` times `rest`."""

    target: list[int]
    source: list[int]
    rest: Array
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


@dataclass(slots=True)
class Mount:
    """Where the mounts of a group come from: places, turns, inherited sizes.

    `whole` is set where one transform a node carries all three; `offsets` (n, 1, 4) and `turnings`
    (n, 4, 4) are None where all are nothing.
    """

    place_from: Sequence[int]
    turn_from: Sequence[int]
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


@dataclass(slots=True)
class Local:
    """What a group of nodes has of its own: rows of channels, and what its size makes.

    `made` is the kind of size that comes of it, with rows in `scales` or `stretches` (-1 where
    nobody asks for it).
    """

    moves: slice | Index | None = None
    turns: slice | Index | None = None
    sizes: slice | Index | None = None
    extras: slice | Index | None = None
    made: SizeKind = "one"
    made_rows: Sequence[int] = ()

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
