"""Curves through landmarks: parameters, knots, interpolation, least squares, and refinement.

This is the face of the curve mathematics: the basis and the evaluation of splines (``spline``)
and arc length (``arc``) are offered from here as well. Source of equations: L. Piegl and W.
Tiller, The NURBS Book, 2nd edition, 1997, chapter 9 (P&T).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from somite.spatial.arc import (
    ArcTable,
    arc_length,
    arc_table,
    length_at_parameter,
    parameter_at_length,
)
from somite.spatial.component import Vector, sqrt
from somite.spatial.spline import (
    Curve,
    CurveError,
    basis,
    basis_derivatives,
    clamped_knots,
    derivatives_at,
    domain,
    elevate,
    insert_knot,
    point_and_tangent_at,
    point_at,
    spans,
    tangent_at,
)
from somite.spatial.vector import along, distance

__all__ = [
    "ArcTable",
    "Curve",
    "CurveError",
    "arc_length",
    "arc_table",
    "averaged_knots",
    "basis",
    "basis_derivatives",
    "chord_parameters",
    "clamped_knots",
    "derivatives_at",
    "domain",
    "elevate",
    "fit",
    "insert_knot",
    "interpolate",
    "least_squares",
    "length_at_parameter",
    "parameter_at_length",
    "point_and_tangent_at",
    "point_at",
    "refine",
    "spans",
    "spread_knots",
    "tangent_at",
]

_SINGULAR = 1e-13  # a pivot this small beside 1, the size of basis values, is none


def fit(
    points: Sequence[Vector[float]], degree: int, count: int, exponent: float = 1.0
) -> Curve[float]:
    """Return a curve of ``count`` control points from the first landmark to the last.

    As many control points as landmarks, or more: through every landmark; with fewer landmarks
    than ``degree + 1`` the curve through them has a lower degree and is then elevated, and knots
    are inserted at even arc length, neither of which changes the shape. Fewer control points:
    least squares. ``exponent`` as in ``chord_parameters``. Raises CurveError, with a message for
    the user, when there is no such curve.
    """
    if degree < 1:
        raise CurveError(f"a curve has degree 1 or more, not {degree}")
    if count <= degree:
        raise CurveError(
            f"a curve of degree {degree} needs at least {degree + 1} points, not {count}"
        )
    if count < len(points):
        return least_squares(points, degree, count, exponent)
    curve = interpolate(points, max(1, min(degree, len(points) - 1)), exponent)
    return refine(elevate(curve, degree), count)


def chord_parameters(points: Sequence[Vector[float]], exponent: float = 1.0) -> tuple[float, ...]:
    """Return a parameter for each point, from 0 to 1, by the distances between neighbours.

    ``exponent`` 1.0 is chord length (P&T 9.4 and 9.5), 0.5 centripetal (P&T 9.6; E. T. Y. Lee,
    Computer-Aided Design 21, 1989), 0.0 even. Raises ValueError for other exponents, CurveError
    for fewer than two points or points all in one place.
    """
    if exponent not in (0.0, 0.5, 1.0):
        raise ValueError(f"the exponent is 0, 0.5 or 1, not {exponent}")
    if len(points) < 2:
        raise CurveError(f"a curve needs at least 2 points to run through, not {len(points)}")
    total = 0.0
    reached = [total]
    for a, b in pairwise(points):
        step = distance(a, b)
        total = total + (step if exponent == 1.0 else sqrt(step) if exponent == 0.5 else 1.0)
        reached.append(total)
    if total == 0.0:
        raise CurveError("the points a curve runs through are all at the same place")
    return (*[step / total for step in reached[:-1]], 1.0)


def averaged_knots(parameters: Sequence[float], degree: int) -> tuple[float, ...]:
    """Return clamped knots for interpolation: inner knots are means of ``degree`` parameters.

    Source: P&T equation 9.8 (C. de Boor, A Practical Guide to Splines, 1978).
    """
    interior: list[float] = []
    for j in range(1, len(parameters) - degree):
        total = 0.0
        for parameter in parameters[j : j + degree]:
            total = total + parameter
        interior.append(total / degree)
    return clamped_knots(len(parameters), degree, interior)


def spread_knots(parameters: Sequence[float], degree: int, count: int) -> tuple[float, ...]:
    """Return clamped knots for least squares, so that every span holds parameters.

    Source: P&T equations 9.68 and 9.69. Needs more parameters than control points.
    """
    step = len(parameters) / (count - degree)
    interior: list[float] = []
    for j in range(1, count - degree):
        i = int(j * step)
        share = j * step - i
        interior.append((1.0 - share) * parameters[i - 1] + share * parameters[i])
    return clamped_knots(count, degree, interior)


def interpolate(
    points: Sequence[Vector[float]], degree: int, exponent: float = 1.0
) -> Curve[float]:
    """Return the curve through every point, with as many control points.

    Raises CurveError for too few points or two neighbours at one place. Source: P&T 9.2.1.
    """
    parameters = chord_parameters(points, exponent)
    for k, (a, b) in enumerate(pairwise(parameters), start=1):
        if a == b or points[k - 1] == points[k]:
            raise CurveError(f"points {k} and {k + 1} of a curve are at the same place")
    knots = averaged_knots(parameters, degree)
    matrix = [_basis_row(knots, degree, u) for u in parameters[1:-1]]
    inner = _solved(
        [row[1:-1] for row in matrix],
        [
            along(along(point, points[0], -row[0]), points[-1], -row[-1])
            for row, point in zip(matrix, points[1:-1], strict=True)
        ],
    )
    return Curve(knots, degree, (_plain(points[0]), *inner, _plain(points[-1])))


def least_squares(
    points: Sequence[Vector[float]], degree: int, count: int, exponent: float = 1.0
) -> Curve[float]:
    """Return the curve of ``count`` control points nearest the points, its ends on the end points.

    Nearest in the sum of squared distances at the points' parameters. ``count`` is less than
    the number of points. Raises CurveError where the points do not determine the curve. Source:
    P&T 9.4.1, equations 9.61 to 9.67.
    """
    parameters = chord_parameters(points, exponent)
    if not degree < count < len(points):
        raise CurveError(
            f"{len(points)} points cannot be fitted by {count} control points of degree {degree}"
        )
    knots = spread_knots(parameters, degree, count)
    rows = [_basis_row(knots, degree, u) for u in parameters[1:-1]]
    rests = [
        along(along(point, points[0], -row[0]), points[-1], -row[-1])
        for row, point in zip(rows, points[1:-1], strict=True)
    ]
    inner = range(1, count - 1)
    normal = [[0.0] * len(inner) for _ in inner]
    right: list[Vector[float]] = [(0.0, 0.0, 0.0) for _ in inner]
    for row, rest in zip(rows, rests, strict=True):
        for i in inner:
            if row[i] == 0.0:
                continue
            right[i - 1] = along(right[i - 1], rest, row[i])
            target = normal[i - 1]
            for j in inner:
                target[j - 1] = target[j - 1] + row[i] * row[j]
    solved = _solved(normal, right)
    return Curve(knots, degree, (_plain(points[0]), *solved, _plain(points[-1])))


def refine(curve: Curve[float], count: int) -> Curve[float]:
    """Return the same shape with knots inserted until there are ``count`` control points.

    A curve of one span is cut at even arc length. One of several spans has its longest piece cut
    again and again, every span evenly, so that no new knot comes to lie on an old one. Raises
    CurveError for a curve without length, or one that has more control points already.
    """
    missing = count - len(curve.points)
    if missing < 0:
        raise CurveError(f"a curve of {len(curve.points)} points cannot be refined to {count}")
    if missing == 0:
        return curve
    table = arc_table(curve)
    ends = [
        (length_at_parameter(table, a), length_at_parameter(table, b))
        for a, b in spans(curve.knots)
    ]
    cuts = [0] * len(ends)
    for _ in range(missing):
        pieces = [(end - start) / (cut + 1) for (start, end), cut in zip(ends, cuts, strict=True)]
        cuts[pieces.index(max(pieces))] += 1
    for (start, end), cut in zip(ends, cuts, strict=True):
        for k in range(1, cut + 1):
            at = start + (end - start) * (k / (cut + 1))
            curve = insert_knot(curve, parameter_at_length(table, at))
    return curve


def _basis_row(knots: Sequence[float], degree: int, u: float) -> list[float]:
    """Return the values at u of all basis functions."""
    span, values = basis(knots, degree, u)
    row = [0.0] * (len(knots) - degree - 1)
    row[span - degree : span + 1] = values
    return row


def _plain(point: Vector[float]) -> Vector[float]:
    x, y, z = point
    return float(x), float(y), float(z)


def _solved(
    matrix: Sequence[Sequence[float]], right: Sequence[Vector[float]]
) -> list[Vector[float]]:
    """Return the solution of a square system: Gaussian elimination, rows exchanged for the pivot.

    Raises CurveError for a singular matrix. Of equal pivots the first is taken; zeros are
    skipped, so that a banded matrix costs little more than its band.
    """
    rows = [list(row) for row in matrix]
    values = list(right)
    size = len(rows)
    for k in range(size):
        best = max(range(k, size), key=lambda i: (abs(rows[i][k]), -i))
        rows[k], rows[best] = rows[best], rows[k]
        values[k], values[best] = values[best], values[k]
        pivot_row, pivot = rows[k], rows[k][k]
        if abs(pivot) < _SINGULAR:
            raise CurveError("the points do not determine a curve of this degree and size")
        used = [j for j in range(k + 1, size) if pivot_row[j] != 0.0]
        for i in range(k + 1, size):
            row = rows[i]
            if row[k] != 0.0:
                factor = row[k] / pivot
                for j in used:
                    row[j] = row[j] - factor * pivot_row[j]
                values[i] = along(values[i], values[k], -factor)
    for k in range(size - 1, -1, -1):
        row, (x, y, z) = rows[k], values[k]
        for j in range(k + 1, size):
            if row[j] != 0.0:
                x, y, z = along((x, y, z), values[j], -row[j])
        values[k] = (x / row[k], y / row[k], z / row[k])
    return values
