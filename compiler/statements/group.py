"""`group NAME at P`: a transform that no animator touches; it can be driven."""

from __future__ import annotations

from somite.expansion.nodes import NODE, declare_node, emit_node, leading
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.syntax import Statement

WORDS = ("group",)
CLAUSES = NODE
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the group; its record is made when every name is known."""
    entity = declare_node(statement, scope, "group", CLAUSES)
    records = records_of(scope)

    def emit() -> None:
        records.nodes.append(emit_node(entity))
        records.constraints.extend(leading(entity))

    records.later(entity, emit)
