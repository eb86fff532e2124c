"""`let NAME = VALUE`: a built value with a name."""

from __future__ import annotations

from somite.expansion.scope import Scope
from somite.expansion.state import DECLARED_TWICE, Lazy
from somite.findings import Code, Severity
from somite.syntax import Expression, Statement, Word

UNUSED_LET = Code("unused-let", Severity.WARNING)

WORDS = ("let",)
CLAUSES: frozenset[str] = frozenset()
BLOCK: frozenset[str] = frozenset()


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the name; the value is worked out when it is first asked for."""
    word, expression = statement.arguments
    assert isinstance(word, Word)
    scope.check_word(word)
    there = scope.names.get(word.text)
    if there is not None:
        raise scope.stop(
            DECLARED_TWICE,
            word,
            f'"{word.text}" is declared twice',
            help="give one of them another name",
            related=[(there.site, "first declared here")],
        )
    lazy = Lazy(scope, scope.site(word), f'"{word.text}"', expression=_expression(expression))
    scope.names[word.text] = lazy
    scope.build.lets.append(lazy)


def _expression(argument: object) -> Expression:
    return argument  # type: ignore[return-value]
