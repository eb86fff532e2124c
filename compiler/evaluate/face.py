"""Facing: a mount turned so that an axis points at a mark, another as near up as it can be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from somite.evaluate.algebra import arc, half_of, planes, stack
from somite.evaluate.nodes import Mount
from somite.evaluate.state import TURN, State
from somite.ir import Quaternion, Vector
from somite.spatial.rotation import product, rotated
from somite.spatial.vector import cross, dot, subtract

NEAR = 1e-20
"""Square of the sine under which up lies along the way to the mark, and says nothing."""


@dataclass(slots=True)
class Faced:
    """One face. A mark in the same place, or up along the way, leaves the mount's own directions.

    `mount` is the node's mount without the face; `up` the slot whose `up_axis` is up; `near` the
    distance (metres) under which a mark counts as being in the same place.
    """

    target: int
    mount: Mount
    mark: int
    up: int
    axis: Vector
    up_own: Vector
    up_axis: Vector
    offset: Quaternion
    near: float

    def run(self, state: State) -> None:
        """Turn."""
        place = planes(self.mount.places(state)[0])
        carried = planes(self.mount.turns(state)[0])
        way = subtract(planes(state.world[self.mark, :3, 3]), place)
        own = rotated(carried, self.axis)
        square = dot(way, way)
        here = square < self.near * self.near
        size = np.sqrt(np.where(here, 1.0, square))
        ahead = tuple([np.where(here, a, b / size) for a, b in zip(own, way, strict=True)])
        swung = product(arc(own, ahead), carried)
        up = rotated(planes(state.world[self.up, TURN]), self.up_axis)
        aside = cross(ahead, rotated(swung, self.up_own))
        vague = dot(up, up) - dot(up, ahead) ** 2 < NEAR
        cosine = np.where(vague, 1.0, dot(rotated(swung, self.up_own), up))
        sine = np.where(vague, 0.0, dot(aside, up))
        half_cosine, half_sine = half_of(cosine, sine)
        x, y, z = self.axis
        roll = (x * half_sine, y * half_sine, z * half_sine, half_cosine)
        turned = product(product(swung, roll), self.offset)
        state.world[self.target, TURN] = stack(turned, (4, state.poses))
