"""Facing: a mount turned so that an axis points at a mark, another as near up as it can be."""

from __future__ import annotations

from dataclasses import dataclass

from somite.evaluate.algebra import Array, planes, stack
from somite.evaluate.nodes import Mount
from somite.evaluate.state import TURN, State
from somite.ir import Quaternion, Vector
from somite.spatial.component import choose_all
from somite.spatial.rotation import product, quaternion_from_axes, rotated
from somite.spatial.vector import cross, dot, subtract, unit

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
        way = subtract(planes(state.world[self.mark, :3, 3]), place)  # type: ignore[arg-type]
        own = rotated(carried, self.axis)  # type: ignore[type-var]
        here = dot(way, way) < self.near * self.near
        ahead = unit(choose_all(here, own, way), own)
        up = rotated(planes(state.world[self.up, TURN]), self.up_axis)  # type: ignore[type-var]
        aside = cross(ahead, up)
        vague = dot(aside, aside) < NEAR
        up = choose_all(vague, rotated(carried, self.up_own), up)  # type: ignore[type-var]
        exact = quaternion_from_axes(self.axis, ahead, self.up_own, up)  # type: ignore[arg-type]
        turned: tuple[Array, ...] = product(exact, self.offset)  # type: ignore[arg-type]
        state.world[self.target, TURN] = stack(turned, (4, state.poses))
