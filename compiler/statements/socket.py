"""`socket NAME at P`: a named place on the rig for a prop, a rider or another rig."""

from __future__ import annotations

from somite.expansion.nodes import NODE, declare_node, emit_node, leading
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.syntax import Statement

WORDS = ("socket",)
CLAUSES = NODE
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the socket, a group with a marked role; its record is made when names are known."""
    entity = declare_node(statement, scope, "group", CLAUSES)
    entity.kind = "socket"
    records = records_of(scope)

    def emit() -> None:
        records.nodes.append(emit_node(entity, socket=True))
        records.constraints.extend(leading(entity))

    records.later(entity, emit)
