"""`import PART from library` or `from "FILE"`: parts from other files of the project."""

from __future__ import annotations

from somite.expansion.scope import Scope
from somite.syntax import Statement

WORDS = ("import",)
CLAUSES: frozenset[str] = frozenset()
BLOCK: frozenset[str] = frozenset()


def declare(statement: Statement, scope: Scope) -> None:
    """Imports are read before everything else, by `somite.library`."""
