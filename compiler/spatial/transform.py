"""Rigid frames: a place and a turn. They compose like 4x4 matrices and never shear.

``world_from_hip`` composed with ``hip_from_knee`` is ``world_from_knee``: frames are named by
what they lead from and to, and inner names meet.
"""

from __future__ import annotations

from typing import TypeAlias

from somite.spatial.component import Quaternion, T, Vector
from somite.spatial.rotation import (
    IDENTITY,
    conjugate,
    matrix_from_quaternion,
    product,
    rotated,
)
from somite.spatial.vector import ZERO, add, subtract

Frame: TypeAlias = tuple[Vector[T], Quaternion[T]]
"""(place, turn): a point p of the frame lies at place + turn.p outside it."""

REST: Frame[float] = (ZERO, IDENTITY)


def composed(a: Frame[T], b: Frame[T]) -> Frame[T]:
    """Return a.b: the frame b as seen from where a is placed."""
    return add(a[0], rotated(a[1], b[0])), product(a[1], b[1])


def inverse(a: Frame[T]) -> Frame[T]:
    """Return the frame that undoes a (its turn a unit quaternion)."""
    back = conjugate(a[1])
    x, y, z = rotated(back, a[0])
    return (-x, -y, -z), back


def relative(a: Frame[T], b: Frame[T]) -> Frame[T]:
    """Return inverse(a).b: where b stands as seen from a."""
    back = conjugate(a[1])
    return rotated(back, subtract(b[0], a[0])), product(back, b[1])


def point_through(a: Frame[T], point: Vector[T]) -> Vector[T]:
    """Return a point of the frame as seen from outside it."""
    return add(a[0], rotated(a[1], point))


def point_within(a: Frame[T], point: Vector[T]) -> Vector[T]:
    """Return an outside point as seen from within the frame."""
    return rotated(conjugate(a[1]), subtract(point, a[0]))


def matrix_from_frame(
    a: Frame[T], size: Vector[T] | Vector[float] | None = None
) -> tuple[Quaternion[T], Quaternion[T], Quaternion[T], Quaternion[float]]:
    """Return the four rows of T(place).R(turn).S(size) for column vectors; no size means one."""
    (x, y, z), turn = a
    (a0, a1, a2), (b0, b1, b2), (c0, c1, c2) = matrix_from_quaternion(turn)
    last = (0.0, 0.0, 0.0, 1.0)
    if size is None:
        return (a0, a1, a2, x), (b0, b1, b2, y), (c0, c1, c2, z), last
    i, j, k = size
    return (
        (a0 * i, a1 * j, a2 * k, x),
        (b0 * i, b1 * j, b2 * k, y),
        (c0 * i, c1 * j, c2 * k, z),
        last,
    )
