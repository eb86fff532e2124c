"""Clamped B-splines: basis, points, derivatives, and changes that leave the shape alone.

Knots and degree are plain numbers; control points are in component form, so the same curve can
be followed through ten thousand poses of its points, and a parameter may be an array as well.
Parameters outside the domain count as its nearer end. Source of equations and algorithms: L.
Piegl and W. Tiller, The NURBS Book, 2nd edition, 1997 (P&T).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Generic, NamedTuple

from somite.spatial.component import T, Vector, choose, choose_all
from somite.spatial.vector import TINY, X, add, dot, lerp, negated, unit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class CurveError(ValueError):
    """What was asked of a curve cannot be had; the message says why, in the user's words."""


class Curve(NamedTuple, Generic[T]):
    """A clamped B-spline: ``count + degree + 1`` knots that never fall, degree, ``count`` points.

    The first and the last knot are repeated ``degree + 1`` times, an inner one at most
    ``degree`` times.
    """

    knots: tuple[float, ...]
    degree: int
    points: tuple[Vector[T], ...]


def clamped_knots(
    count: int, degree: int, interior: Sequence[float] | None = None
) -> tuple[float, ...]:
    """Return knots on [0, 1] for ``count`` control points; no interior means evenly spaced.

    Raises CurveError when there are too few points for the degree, or when ``interior`` has not
    ``count - degree - 1`` values.
    """
    if degree < 1:
        raise CurveError(f"a curve has degree 1 or more, not {degree}")
    inner = count - degree - 1
    if inner < 0:
        raise CurveError(
            f"a curve of degree {degree} needs at least {degree + 1} points, not {count}"
        )
    if interior is None:
        interior = [k / (inner + 1) for k in range(1, inner + 1)]
    if len(interior) != inner:
        raise CurveError(f"{count} points need {inner} inner knots, not {len(interior)}")
    return (0.0,) * (degree + 1) + tuple(interior) + (1.0,) * (degree + 1)


def domain(curve: Curve[T]) -> tuple[float, float]:
    """Return the first and the last parameter."""
    return curve.knots[0], curve.knots[-1]


def spans(knots: Sequence[float]) -> list[tuple[float, float]]:
    """Return (start, end) of every stretch between two different knots, in order."""
    return [(a, b) for a, b in pairwise(knots) if a < b]


def basis(knots: Sequence[float], degree: int, u: T) -> tuple[int, tuple[T, ...]]:
    """Return (span, values): the ``degree + 1`` basis functions that are not zero at u.

    ``values[j]`` belongs to control point ``span - degree + j`` (for an array of parameters the
    span is an array too). Source: P&T algorithm A2.2 (M. G. Cox; C. de Boor, 1972).
    """
    u = _within(knots, u)
    span = span_at(knots, degree, u)
    return span, tuple(_triangle(_knots_around(knots, degree, span), degree, u)[degree])


def basis_derivatives(
    knots: Sequence[float], degree: int, u: T, order: int
) -> tuple[int, tuple[tuple[T, ...], ...]]:
    """Return (span, rows): row k holds the k-th derivatives of the functions ``basis`` returns.

    Rows 0 to ``order``, at a knot those from the right (from the left at the last). Source: P&T
    equation 2.7, applied k times to the functions of degree ``degree - k``.
    """
    u = _within(knots, u)
    span = span_at(knots, degree, u)
    near = _knots_around(knots, degree, span)
    triangle = _triangle(near, degree, u)
    rows = [tuple(triangle[degree])]
    for k in range(1, order + 1):
        if k > degree:
            rows.append(tuple([value * 0.0 for value in rows[0]]))
            continue
        row: list[T] = triangle[degree - k]
        for q in range(degree - k + 1, degree + 1):
            row = _differentiated(near, degree, q, row)
        rows.append(tuple(row))
    return span, tuple(rows)


def _differentiated(near: Sequence[float], degree: int, q: int, row: list[T]) -> list[T]:
    """Return the derivatives of the functions of degree q from values of those of degree q - 1."""
    raised: list[T] = []
    before: T = row[0] * 0.0
    for r in range(q):
        slope = row[r] * float(q) / (near[degree + r] - near[degree - q + r])
        raised.append(before - slope)
        before = slope
    raised.append(before)
    return raised


def span_at(knots: Sequence[float], degree: int, u: T) -> int:
    """Return the index i with knots[i] <= u < knots[i + 1]; the last such at the end."""
    last = len(knots) - degree - 2
    if isinstance(u, (float, int)):
        span = bisect_right(knots, u) - 1
        return degree if span < degree else last if span > last else span
    import numpy as np

    found: Any = np.clip(np.searchsorted(np.asarray(knots), u, side="right") - 1, degree, last)
    return found  # type: ignore[no-any-return]  # an array of spans for an array of parameters


def _within(knots: Sequence[float], u: T) -> T:
    return choose(u < knots[0], knots[0], choose(u > knots[-1], knots[-1], u))


def _knots_around(knots: Sequence[float], degree: int, span: int) -> Sequence[float]:
    """Return the ``2 degree`` knots that matter in a span: near[degree - 1] <= u < near[degree].

    For an array of spans each of them is an array.
    """
    if isinstance(span, int):
        return knots[span - degree + 1 : span + degree + 1]
    import numpy as np

    table: Any = np.asarray(knots)
    return [table[span - degree + 1 + i] for i in range(2 * degree)]


def _triangle(near: Sequence[float], degree: int, u: T) -> list[list[T]]:
    """Return the values of the functions of every degree from 0 that are not zero at u."""
    one = u * 0.0 + 1.0
    triangle = [[one]]
    for q in range(1, degree + 1):
        row: list[T] = []
        saved = one * 0.0
        below = triangle[-1]
        for r in range(q):
            right, left = near[degree + r], near[degree - q + r]
            share = below[r] / (right - left)
            row.append(saved + (right - u) * share)
            saved = (u - left) * share
        row.append(saved)
        triangle.append(row)
    return triangle


def point_at(curve: Curve[T], u: T) -> Vector[T]:
    """Return the point of the curve at a parameter."""
    span, values = basis(curve.knots, curve.degree, u)
    return _combined(values, _points_of(curve, span))


def derivatives_at(curve: Curve[T], u: T, order: int) -> tuple[Vector[T], ...]:
    """Return the point and its derivatives by the parameter, up to ``order``."""
    span, rows = basis_derivatives(curve.knots, curve.degree, u, order)
    points = _points_of(curve, span)
    return tuple([_combined(row, points) for row in rows])


def tangent_at(curve: Curve[T], u: T) -> Vector[T]:
    """Return the unit tangent.

    Where the first derivative vanishes, it is the direction in which the curve leaves the point
    (at the end: reaches it), found from the first derivative that does not vanish; a curve that
    is a single point gives +X.
    """
    return point_and_tangent_at(curve, u)[1]


def point_and_tangent_at(curve: Curve[T], u: T) -> tuple[Vector[T], Vector[T]]:
    """Return the point and the unit tangent (as ``tangent_at``) at a parameter."""
    point, first = derivatives_at(curve, u, 1)
    still = dot(first, first) < TINY
    if still is False:
        return point, unit(first, X)
    best: Vector[T] = first
    arriving = u >= curve.knots[-1]
    for k, higher in enumerate(derivatives_at(curve, u, curve.degree)[2:], start=2):
        signed: Vector[T] = choose_all(arriving & (k % 2 == 0), negated(higher), higher)
        best = choose_all(dot(best, best) < TINY, signed, best)
    return point, unit(best, X)


def _combined(weights: Sequence[T], points: Sequence[Vector[T]]) -> Vector[T]:
    x, y, z = points[0]
    weight = weights[0]
    x, y, z = weight * x, weight * y, weight * z
    for weight, (a, b, c) in zip(weights[1:], points[1:], strict=True):
        x = x + weight * a
        y = y + weight * b
        z = z + weight * c
    return x, y, z


def _points_of(curve: Curve[T], span: int) -> Sequence[Vector[T]]:
    """Return the ``degree + 1`` control points at work in a span (or in an array of spans)."""
    if isinstance(span, int):
        return curve.points[span - curve.degree : span + 1]
    columns = [stacked([point[i] for point in curve.points]) for i in (0, 1, 2)]
    chosen: list[Any] = [
        tuple([picked(column, span - curve.degree + j) for column in columns])
        for j in range(curve.degree + 1)
    ]
    return chosen


def stacked(values: Sequence[T]) -> NDArray[np.float64]:
    """Return components as one array, the sequence along a new first axis."""
    import numpy as np

    return np.stack(np.broadcast_arrays(*values))


def picked(table: NDArray[np.float64], index: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return ``table[index]`` element by element over the table's other axes, broadcast."""
    import numpy as np

    shape = np.broadcast_shapes(table.shape[1:], index.shape)
    lead = (1,) * (len(shape) - (table.ndim - 1))
    table = np.broadcast_to(
        table.reshape(table.shape[:1] + lead + table.shape[1:]), table.shape[:1] + shape
    )
    taken = np.take_along_axis(table, np.broadcast_to(index, shape)[None], axis=0)
    return np.asarray(taken[0])


def insert_knot(curve: Curve[float], u: float) -> Curve[float]:
    """Return the same shape with one more knot, at u, and one more control point.

    Raises CurveError where u is not inside the domain or is already a knot ``degree`` times.
    Source: P&T equation 5.15 (W. Boehm, 1980).
    """
    knots, degree, points = curve
    span = span_at(knots, degree, u)
    present = knots.count(u)
    if not knots[0] < u < knots[-1] or present >= degree:
        raise CurveError(f"a knot cannot be inserted at {u}")
    moved: list[Vector[float]] = []
    for i in range(span - degree + 1, span - present + 1):
        share = (u - knots[i]) / (knots[i + degree] - knots[i])
        moved.append(lerp(points[i - 1], points[i], share))
    return Curve(
        (*knots[: span + 1], u, *knots[span + 1 :]),
        degree,
        (*points[: span - degree + 1], *moved, *points[span - present :]),
    )


def elevate(curve: Curve[float], degree: int) -> Curve[float]:
    """Return the same shape with a higher degree; every knot is repeated once more a step.

    Raises CurveError for a lower degree. Each new control point is the mean of the polar form
    with one argument left out in turn (L. Ramshaw, Computer Aided Geometric Design 6, 1989).
    """
    if degree < curve.degree:
        raise CurveError(f"a curve of degree {curve.degree} cannot be lowered to {degree}")
    while curve.degree < degree:
        curve = _elevated_once(curve)
    return curve


def _elevated_once(curve: Curve[float]) -> Curve[float]:
    old, raised = curve.knots, curve.degree + 1
    knots = tuple(
        [
            knot
            for i, knot in enumerate(old)
            for _ in range(2 if i + 1 == len(old) or old[i + 1] != knot else 1)
        ]
    )
    points: list[Vector[float]] = []
    for i in range(len(knots) - raised - 1):
        arguments = knots[i + 1 : i + 1 + raised]
        centre = 0.0
        for argument in arguments:
            centre = centre + argument
        span = span_at(old, curve.degree, centre / raised)
        total = _polar_form(curve, span, arguments[1:])
        for k in range(1, raised):
            total = add(total, _polar_form(curve, span, arguments[:k] + arguments[k + 1 :]))
        points.append((total[0] / raised, total[1] / raised, total[2] / raised))
    points[0], points[-1] = curve.points[0], curve.points[-1]
    return Curve(knots, raised, tuple(points))


def _polar_form(curve: Curve[float], span: int, arguments: Sequence[float]) -> Vector[float]:
    """Return the polar form of the piece in a span: de Boor's steps, one argument each."""
    knots, degree = curve.knots, curve.degree
    near = knots[span - degree + 1 : span + degree + 1]
    row = list(curve.points[span - degree : span + 1])
    for step, u in enumerate(arguments):
        for j in range(degree - step):
            low, high = near[j + step], near[j + degree]
            row[j] = lerp(row[j], row[j + 1], (u - low) / (high - low))
        row.pop()
    return row[0]
