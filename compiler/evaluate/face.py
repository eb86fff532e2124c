"""Facing: a mount turned so that an axis points at a mark, another as near up as it can be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from somite.evaluate.algebra import Index, Parts, arc, half_of, numbers, planes, stack
from somite.evaluate.nodes import Mount
from somite.evaluate.scalar import face as scalar
from somite.evaluate.state import TURN, State
from somite.ir import Vector
from somite.spatial.rotation import product, rotated
from somite.spatial.vector import cross, dot, subtract

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer

NEAR = 1e-20
"""Square of the sine under which up lies along the way to the mark, and says nothing."""


@dataclass(slots=True)
class Faced:
    """Faces with the same axes: n nodes.

    A mark in the same place, or up along the way, leaves the mount's own directions. `mount` has
    the nodes' mounts without the face; `marks` and `ups` are slots, whose `up_axis` is up;
    `offsets` are components (n, 1); `near` is the distance (metres) under which a mark counts as
    being in the same place.
    """

    target: slice | Index
    mount: Mount
    marks: slice | Index
    ups: slice | Index
    axis: Vector
    up_own: Vector
    up_axis: Vector
    offsets: Parts
    near: float

    def run(self, state: State) -> None:
        """Turn."""
        place = planes(self.mount.places(state))
        carried = planes(self.mount.turns(state))
        way = subtract(planes(state.world[self.marks, :3, 3]), place)
        own = rotated(carried, self.axis)
        square = dot(way, way)
        here = square < self.near * self.near
        if here.any():
            way = tuple([np.where(here, a, b) for a, b in zip(own, way, strict=True)])
            square = np.where(here, 1.0, square)
        size = np.sqrt(square)
        ahead: Parts = tuple([one / size for one in way])
        swung = product(arc(own, ahead), carried)
        up = rotated(planes(state.world[self.ups, TURN]), self.up_axis)
        across = rotated(swung, self.up_own)
        vague = 1.0 - dot(up, ahead) ** 2 < NEAR
        cosine, sine = dot(across, up), dot(cross(ahead, across), up)
        if vague.any():
            cosine, sine = np.where(vague, 1.0, cosine), np.where(vague, 0.0, sine)
        half_cosine, half_sine = half_of(cosine, sine)
        x, y, z = self.axis
        roll = (x * half_sine, y * half_sine, z * half_sine, half_cosine)
        turned = product(product(swung, roll), self.offsets)
        shape = (len(size), 4, state.poses)
        state.world[self.target, TURN] = stack(turned, shape)

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        mounts = [writer.scratch(7) for _ in numbers(self.target)]
        self.mount.encode_places(writer, mounts)
        self.mount.encode_turns(writer, mounts)
        members = []
        told = zip(*map(numbers, (self.target, self.marks, self.ups)), strict=True)
        for k, (target, mark, up) in enumerate(told):
            offset = [part[k, 0] for part in self.offsets]
            fixed = (*self.axis, *self.up_own, *self.up_axis, *offset, self.near)
            slots = (writer.slot(target), mounts[k], writer.slot(mark), writer.slot(up))
            members.append((*slots, writer.scratch(4), writer.constant(*fixed)))
        writer.add(scalar.faced, members)
