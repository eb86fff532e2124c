"""`place NAME at P`: a position and a turn with a name; it is no node and does not move."""

from __future__ import annotations

from somite.expansion.clauses import gather
from somite.expansion.entities import Placed
from somite.expansion.nodes import PLACING, placed
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.syntax import Clause, Statement

WORDS = ("place",)
CLAUSES = PLACING | {"about"}
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the place under its name."""
    head = statement.arguments[0]
    assert isinstance(head, Clause)
    word, name = scope.full_name(head)
    entity = Placed(name, statement, scope, kind="place")
    entity.compute = lambda: placed(entity, scope)
    scope.declare(word, entity)
    entity.clauses = gather(statement, scope, CLAUSES)

    def work_out() -> None:
        entity.own_frame()

    records_of(scope).later(entity, work_out)
