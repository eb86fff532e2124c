"""`curve NAME through A, B` or `shaped by A, B`: a B-spline whose control points grips own."""

from __future__ import annotations

from somite.expansion.clauses import excuses_of, gather, only, text_of
from somite.expansion.curves import owned_points, worked
from somite.expansion.entities import CurveEntity, NodeEntity
from somite.expansion.nodes import parent_of
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.expansion.state import Space
from somite.ir import Curve, Share
from somite.syntax import Clause, Statement

WORDS = ("curve",)
CLAUSES = frozenset({"through", "shaped", "degree", "points", "parameters", "under", "about"}) | {
    "excuse",
    "was",
}
BLOCK = frozenset({"grip", "repeat", "when", "mirror"})


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


def _emit(entity: CurveEntity) -> Curve:
    scope = entity.scope
    shape = worked(entity).spline
    points = shape.points
    if scope.mirrored:
        points = tuple([scope.build.reflected(point) for point in points])
    shares: list[Share] = []
    for grip, owned in records_of(scope).owned.get(entity.dotted, ()):
        shares.extend(_shares(grip, owned, len(points)))
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


def _shares(grip: NodeEntity, owned: Clause, count: int) -> list[Share]:
    return [
        Share(point, grip.dotted, share, (grip.scope.site(owned), *grip.scope.trail))
        for point, share in owned_points(owned, grip.scope, count)
    ]
