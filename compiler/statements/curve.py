"""`curve NAME through A, B` or `shaped by A, B`: a B-spline whose control points grips own."""

from __future__ import annotations

from dataclasses import dataclass

from somite.clauses import excuses_of, gather, only, text_of
from somite.entities import CurveEntity, NodeEntity
from somite.findings import Code
from somite.ir import Curve, Share
from somite.nodes import parent_of
from somite.records import records_of
from somite.scope import CIRCULAR_PLACE, UNWIND, Scope, Space, Stop
from somite.spatial import arc, spline
from somite.spatial import curve as spatial_curve
from somite.syntax import Clause, Statement, Word

CURVE_SHAPE = Code("curve-shape")

WORDS = ("curve",)
CLAUSES = frozenset({"through", "shaped", "degree", "points", "parameters", "under", "about"}) | {
    "excuse",
    "was",
}
BLOCK = frozenset({"grip", "repeat", "when", "mirror"})

MOST_POINTS = 1_000
MOST_DEGREE = 9

EXPONENTS = {"chord": 1.0, "centripetal": 0.5}


@dataclass(slots=True)
class Worked:
    """A curve's shape in its scope's space, and its table of lengths."""

    spline: spline.Curve[float]
    table: arc.ArcTable[float]


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the curve, then its grips in a space of their own."""
    head = statement.arguments[0]
    assert isinstance(head, Clause)
    word, name = scope.full_name(head)
    entity = CurveEntity(name, statement, scope, kind="curve")
    scope.declare(word, entity)
    entity.clauses = gather(statement, scope, CLAUSES)
    inner = Space(prefix=name, things=entity.grips, outer=scope.space, sided=scope.side is not None)
    grip_scope = scope.child(space=inner, allowed=BLOCK)
    records = records_of(scope)
    records.curve_of[id(inner)] = entity
    scope.build.declare_block(statement.block, grip_scope)
    records.later(entity, lambda: records.curves.append(_emit(entity)))


def worked(entity: CurveEntity) -> Worked:
    """The curve's shape and lengths, worked out once."""
    if isinstance(entity.shape, Worked):
        return entity.shape
    scope = entity.scope
    if entity.failed:
        raise Stop(None)
    if entity.computing:
        raise scope.stop(
            CIRCULAR_PLACE,
            entity.statement,
            f'the place of "{entity.dotted}" depends on itself',
            help=UNWIND,
        )
    entity.computing = True
    try:
        entity.shape = _worked(entity)
    except Stop:
        entity.failed = True
        raise
    finally:
        entity.computing = False
    return entity.shape


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


def _emit(entity: CurveEntity) -> Curve:
    scope = entity.scope
    shape = worked(entity).spline
    points = shape.points
    if scope.mirrored:
        points = tuple([scope.build.reflected(point) for point in points])
    shares: list[Share] = []
    for grip, owned in records_of(scope).owned.get(entity.dotted, ()):
        shares.extend(_shares(entity, grip, owned, len(points)))
    under = only(entity.clauses, "under")
    parent: NodeEntity | None = None
    if under is not None:
        parent = parent_of(entity, scope)  # type: ignore[arg-type]
    shares.sort(key=lambda share: (share.point, share.grip))
    return Curve(
        name=entity.dotted,
        spelled="",
        degree=shape.degree,
        knots=shape.knots,
        points=points,
        shares=tuple(shares),
        parent=parent.dotted if parent else None,
        about=text_of(only(entity.clauses, "about")),
        excuses=excuses_of(entity.clauses, scope),
        origin=entity.origin,
    )


def _shares(entity: CurveEntity, grip: NodeEntity, owned: Clause, count: int) -> list[Share]:
    from somite.statements.grip import owned_points

    return [
        Share(point, grip.dotted, share, (grip.scope.site(owned), *grip.scope.trail))
        for point, share in owned_points(owned, grip.scope, count)
    ]
