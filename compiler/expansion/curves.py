"""Curves while a recipe is expanded: their shape, worked out once, and the points a grip owns.

In goes a curve's statement with its clauses, out comes a spline in its scope's own space with its
table of lengths. What a curve is for is not known here.
"""

from __future__ import annotations

from dataclasses import dataclass

from somite.expansion.clauses import only
from somite.expansion.entities import CurveEntity
from somite.expansion.scope import Scope
from somite.findings import Code
from somite.spatial import arc, spline
from somite.spatial import curve as spatial_curve
from somite.syntax import Clause, Word
from somite.units import NUMBER

CURVE_SHAPE = Code("curve-shape")
MOST_POINTS = 1_000
MOST_DEGREE = 9
EXPONENTS = {"chord": 1.0, "centripetal": 0.5}
OWNS = Code("owns")


@dataclass(slots=True)
class Worked:
    """A curve's shape in its scope's space, and its table of lengths."""

    spline: spline.Curve[float]
    table: arc.ArcTable[float]


def worked(entity: CurveEntity) -> Worked:
    """The curve's shape and lengths, worked out once."""
    if isinstance(entity.shape, Worked):
        return entity.shape
    shape = entity.scope.once(entity, lambda: _worked(entity))
    entity.shape = shape
    return shape


def _worked(entity: CurveEntity) -> Worked:
    scope, clauses = entity.scope, entity.clauses
    through, shaped = only(clauses, "through"), only(clauses, "shaped")
    if (through is None) == (shaped is None):
        raise scope.stop(
            CURVE_SHAPE,
            entity.statement,
            "expected either the places that the curve runs through or its control points, found "
            + ("neither" if through is None else "both"),
            help="write: curve path through pelvis, waist, nape",
        )
    stated = only(clauses, "degree")
    degree = 3 if stated is None else scope.whole(stated.arguments[0])
    if not 1 <= degree <= MOST_DEGREE:
        raise scope.stop(
            CURVE_SHAPE,
            stated or entity.statement,
            f"expected a degree from 1 to {MOST_DEGREE}, found {degree}",
            help="3 is usual",
        )
    source = through or shaped
    assert source is not None
    if shaped is not None:
        _check_shaped(entity)
    places = scope.positions(source.arguments)
    if len(places) > MOST_POINTS:
        raise scope.stop(
            CURVE_SHAPE, source, f"expected at most {MOST_POINTS} places, found {len(places)}"
        )
    try:
        if shaped is not None:
            made = spline.Curve(spline.clamped_knots(len(places), degree), degree, tuple(places))
        else:
            made = spatial_curve.fit(
                places, degree, _count(entity, len(places), degree), _exponent(entity)
            )
        return Worked(made, arc.arc_table(made))
    except spline.CurveError as mistake:
        raise scope.stop(
            CURVE_SHAPE,
            source,
            str(mistake),
            help="give it more places, fewer points or a lower degree",
        ) from None


def _count(entity: CurveEntity, places: int, degree: int) -> int:
    points = only(entity.clauses, "points")
    if points is None:
        return max(places, degree + 1)
    count = entity.scope.whole(points.arguments[0])
    if not degree + 1 <= count <= MOST_POINTS:
        raise entity.scope.stop(
            CURVE_SHAPE,
            points,
            f"a curve of degree {degree} has {degree + 1} to {MOST_POINTS} points, found {count}",
        )
    return count


def _exponent(entity: CurveEntity) -> float:
    clause = only(entity.clauses, "parameters")
    if clause is None:
        return 1.0
    word = clause.arguments[0]
    assert isinstance(word, Word)
    if word.text not in EXPONENTS:
        raise entity.scope.stop(
            CURVE_SHAPE, word, f'expected chord or centripetal, found "{word.text}"'
        )
    return EXPONENTS[word.text]


def owned_points(piece: Clause, scope: Scope, count: int) -> list[tuple[int, float]]:
    """Control points (counted from zero) and shares that one item of `owns` states."""
    numbers = list(piece.arguments)
    share = 1.0
    if len(numbers) > 1 and _has_share(piece, scope.document.source.text):
        share = scope.number(numbers.pop(), NUMBER)
        if not 0.0 < share <= 1.0:
            raise scope.stop(
                OWNS, piece, f"expected a share above 0 up to 100%, found {share * 100:g}%"
            )
    first = scope.whole(numbers[0])
    last = scope.whole(numbers[1]) if len(numbers) > 1 else first
    if not 1 <= first <= last <= count:
        raise scope.stop(
            OWNS,
            piece,
            f"expected control points from 1 to {count}, found {first}"
            + (f"..{last}" if last != first else ""),
            help="control points are counted from 1 at the start of the curve",
        )
    return [(point - 1, share) for point in range(first, last + 1)]


def _has_share(piece: Clause, text: str) -> bool:
    return "by" in text[piece.arguments[-2].end : piece.arguments[-1].start].split()


def _check_shaped(entity: CurveEntity) -> None:
    """Control points that are given are neither counted nor spaced."""
    for word in ("points", "parameters"):
        clause = only(entity.clauses, word)
        if clause is not None:
            raise entity.scope.stop(
                CURVE_SHAPE,
                clause,
                f'"{word}" belongs to a curve that runs through places, and this one is shaped by '
                "its control points",
                help="leave it out, or let the curve run through the places",
            )
