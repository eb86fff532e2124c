"""Two bones that reach for a goal: where the elbow goes, in closed form.

The law of cosines (Euclid, Elements II.12 and II.13) gives how far along the line from root to
goal the elbow lies, and Pythagoras how far off it; the pole says to which side.
"""

from __future__ import annotations

from typing import Generic, NamedTuple

from somite.spatial.component import T, Vector, choose, choose_all, sqrt
from somite.spatial.vector import (
    X,
    along,
    dot,
    length,
    perpendicular,
    rejected,
    subtract,
    unit,
)

_PARALLEL = 1e-20  # square of the sine below which a direction lies on the line to the goal


class Reach(NamedTuple, Generic[T]):
    """Where the elbow and the end of two bones come to lie."""

    elbow: Vector[T]
    end: Vector[T]


def reach(
    root: Vector[T],
    goal: Vector[T],
    upper: T,
    lower: T,
    pole: Vector[T],
    fallback: Vector[T],
) -> Reach[T]:
    """Return the elbow, and the end as near the goal as bones of these lengths can bring it.

    ``pole`` is the direction (any length) to which the elbow bends; where it lies on the line
    from root to goal, ``fallback`` is taken, and where that does too, ``perpendicular`` of the
    line. A goal out of reach, too far or too near, is approached along its line; one at the root
    itself is sought at right angles to the pole. Lengths are not negative.
    """
    side = unit(pole, fallback)
    way = subtract(goal, root)
    ahead = unit(way, perpendicular(unit(side, X)))
    bend = _bend(ahead, pole, fallback)
    farthest = upper + lower
    nearest = choose(upper > lower, upper - lower, lower - upper)
    apart = length(way)
    apart = choose(apart > farthest, farthest, choose(apart < nearest, nearest, apart))
    at_root = apart <= 0.0
    divisor = choose(at_root, 1.0, apart + apart)
    forward = choose(at_root, 0.0, (apart * apart + (upper - lower) * (upper + lower)) / divisor)
    forward = choose(forward > upper, upper, choose(forward < -upper, -upper, forward))
    sideways = sqrt((upper - forward) * (upper + forward))
    end = along(root, ahead, apart)
    elbow = along(along(root, ahead, forward), bend, sideways)
    return Reach(elbow, end)


def _bend(ahead: Vector[T], pole: Vector[T], fallback: Vector[T]) -> Vector[T]:
    """Return the unit direction at right angles to ``ahead`` on the side of the pole."""
    first = rejected(unit(pole, ahead), ahead)
    vague = dot(first, first) < _PARALLEL
    if vague is False:
        return unit(rejected(first, ahead), ahead)
    second = rejected(unit(fallback, ahead), ahead)
    second = choose_all(dot(second, second) < _PARALLEL, perpendicular(ahead), second)
    return unit(rejected(choose_all(vague, second, first), ahead), ahead)
