"""`when CONDITION`: the block only if the condition holds for this sheet."""

from __future__ import annotations

from somite.expansion.mentions import mention
from somite.expansion.scope import Scope
from somite.syntax import Statement

WORDS = ("when",)
CLAUSES: frozenset[str] | None = None  # Those of the statement around it.
BLOCK: frozenset[str] | None = None


def declare(statement: Statement, scope: Scope) -> None:
    """Declare the block if the condition holds."""
    if scope.truth(statement.arguments[0]):
        scope.build.declare_block(statement.block, scope)
    else:  # Last, when what stands below is declared, too.
        scope.build.last.append(lambda: mention(statement.block, scope))
