"""`output NAME = live EXPRESSION`: a live number that leaves the rig."""

from __future__ import annotations

from somite.expansion.scope import Scope
from somite.statements.gauge import declare_gauge
from somite.syntax import Statement

WORDS = ("output",)
CLAUSES = frozenset({"about", "was"})
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the output; its value is read when every name is known."""
    declare_gauge(statement, scope, output=True)
