"""Frames that follow a curve without turning about it: rotation-minimising frames.

A frame is a unit tangent and a reference at right angles to it; the reference is carried along
by double reflection: W. Wang, B. Juettler, D. Zheng and Y. Liu, "Computation of rotation
minimizing frames", ACM Transactions on Graphics 27(1), article 2, 2008. Its error falls with the
fourth power of the step; on circles, and on any curve in a plane or on a sphere carried from the
normal, there is none.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

from somite.spatial.component import T, Vector, choose, choose_all
from somite.spatial.rotation import rotated, shortest_arc
from somite.spatial.spline import Curve, point_and_tangent_at
from somite.spatial.vector import along, dot, perpendicular, rejected, subtract, unit

_STILL = 1e-24  # a step this small against the coordinates (squares compared) is no step
_LEAST = 1e-300  # a square so small has lost its digits, and its inverse is not finite
_SAME = 1e-24  # square of the difference below which two unit tangents are one


def squared_to(tangent: Vector[T], reference: Vector[T]) -> Vector[T]:
    """Return the unit vector nearest ``reference`` at right angles to a unit tangent.

    A reference along the tangent gives ``perpendicular(tangent)``.
    """
    side = rejected(unit(reference, tangent), tangent)
    vague = dot(side, side) < _SAME
    spare = perpendicular(tangent) if vague is not False else side
    return unit(rejected(choose_all(vague, spare, side), tangent), spare)


def transport(
    reference: Vector[T], samples: Sequence[tuple[Vector[T], Vector[T]]]
) -> list[Vector[T]]:
    """Return the reference at each sample, carried from the first without turning.

    ``samples`` are (point, unit tangent) along a curve; ``reference`` is squared to the first
    tangent. A step of no length turns the reference with the tangent by the shortest arc.
    """
    found: list[Vector[T]] = [squared_to(samples[0][1], reference)] if samples else []
    for (start, before), (end, after) in pairwise(samples):
        found.append(_carried(found[-1], start, before, end, after))
    return found


def _carried(
    reference: Vector[T], start: Vector[T], before: Vector[T], end: Vector[T], after: Vector[T]
) -> Vector[T]:
    """Return the reference after one step: reflected in the step, then onto the new tangent."""
    step = subtract(end, start)
    step_square = dot(step, step)
    still = step_square <= _STILL * (dot(start, start) + dot(end, end)) + _LEAST
    share = 2.0 / choose(still, 1.0, step_square)
    across = along(reference, step, -(share * dot(step, reference)))
    ahead = along(before, step, -(share * dot(step, before)))
    change = subtract(after, ahead)
    change_square = dot(change, change)
    lost = still | (change_square < _SAME)
    share = 2.0 / choose(lost, 1.0, change_square)
    carried = along(across, change, -(share * dot(change, across)))
    if lost is not False:
        turned = rotated(shortest_arc(before, after), reference)
        carried = choose_all(lost, turned, carried)
    return unit(rejected(carried, after), reference)


def frames_along(
    curve: Curve[T], parameters: Sequence[T], start_reference: Vector[T], substeps: int = 8
) -> list[tuple[Vector[T], Vector[T]]]:
    """Return (unit tangent, unit reference) at each parameter, carried from the first.

    ``start_reference`` belongs to the first parameter and is squared to its tangent; between
    two parameters the frame takes ``substeps`` equal steps of the parameter. Raises ValueError
    for fewer than one substep.
    """
    if substeps < 1:
        raise ValueError(f"at least one substep is needed, not {substeps}")
    if not parameters:
        return []
    still = isinstance(curve.points[0][0], float) and isinstance(parameters[0], float)
    walk = _walked_once if still else _walked
    samples: Sequence[tuple[Vector[T], Vector[T]]] = walk(curve, tuple(parameters), substeps)
    references = transport(start_reference, samples)
    return [(samples[k][1], references[k]) for k in range(0, len(samples), substeps)]


def _walked(
    curve: Curve[T], parameters: tuple[T, ...], substeps: int
) -> tuple[tuple[Vector[T], Vector[T]], ...]:
    """Return (point, unit tangent) at the parameters and at the substeps between them."""
    walked = list(parameters[:1])
    for a, b in pairwise(parameters):
        for k in range(1, substeps):
            walked.append(a + (b - a) * (k / substeps))
        walked.append(b)
    return tuple([point_and_tangent_at(curve, u) for u in walked])


# A chain is placed along a curve and then settled on it: the second walk is the first one.
_walked_once = lru_cache(maxsize=256)(_walked)
