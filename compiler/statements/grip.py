"""`grip NAME owns 1..2`, in a curve's block: a transform that owns control points of the curve."""

from __future__ import annotations

from somite.expansion.curves import OWNS, owned_points, worked
from somite.expansion.entities import CurveEntity, NodeEntity
from somite.expansion.nodes import NODE, declare_node, emit_node, leading, placed
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.ir import Frame, Vector
from somite.spatial import vector
from somite.syntax import Clause, Statement

WORDS = ("grip",)
CLAUSES = NODE | {"owns"}
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the grip in its curve; it stands amid its points unless it says where."""
    records = records_of(scope)
    curve = records.curve_of[id(scope.space)]
    entity = declare_node(statement, scope, "grip", CLAUSES)
    entity.compute = lambda: _placed(entity, curve)
    pieces = [
        piece
        for clause in entity.clauses.get("owns", ())
        for piece in clause.arguments
        if isinstance(piece, Clause)
    ]
    if not pieces:
        raise scope.stop(
            OWNS,
            statement,
            f'grip "{entity.dotted}" owns no control point',
            help="say which it owns, counted from 1: owns 1..2",
        )
    for piece in pieces:
        records.owned.setdefault(curve.dotted, []).append((entity, piece))

    def emit() -> None:
        records.nodes.append(emit_node(entity))
        records.constraints.extend(leading(entity))

    records.later(entity, emit)


def _placed(entity: NodeEntity, curve: CurveEntity) -> tuple[Frame, bool]:
    return placed(entity, entity.scope, None if "at" in entity.clauses else _amid(entity, curve))


def _amid(entity: NodeEntity, curve: CurveEntity) -> Vector:
    """The mean of the points it owns, each by its share."""
    points = worked(curve).spline.points
    total = (0.0, 0.0, 0.0)
    weight = 0.0
    for clause in entity.clauses.get("owns", ()):
        for piece in clause.arguments:
            assert isinstance(piece, Clause)
            for point, share in owned_points(piece, entity.scope, len(points)):
                total = vector.add(total, vector.scaled(points[point], share))
                weight += share
    return vector.scaled(total, 1.0 / weight) if weight > 0.0 else points[0]
