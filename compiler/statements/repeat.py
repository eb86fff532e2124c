"""`repeat k in 1..n`: the block once for each whole number, at expansion only and bounded."""

from __future__ import annotations

from somite.expansion.scope import Scope
from somite.expansion.state import MOST_REPEATS, TOO_LARGE, Lazy
from somite.expansion.values import Quantity
from somite.findings import Code
from somite.syntax import Clause, Statement, Word

REPEAT_CLAUSES = Code("repeat-clauses")

WORDS = ("repeat",)
CLAUSES: frozenset[str] = frozenset()
BLOCK: frozenset[str] | None = None  # What the block around it takes.


def declare(statement: Statement, scope: Scope) -> None:
    """Declare the block once for each number of the range."""
    word, bounds = statement.arguments
    assert isinstance(word, Word) and isinstance(bounds, Clause)
    scope.check_word(word)
    if statement.clauses:
        raise scope.stop(
            REPEAT_CLAUSES,
            statement.clauses[0],
            "expected statements to repeat, found a clause",
            help="repeat whole statements; a clause is said once",
        )
    first = scope.whole(bounds.arguments[0])
    last = scope.whole(bounds.arguments[1])
    if last - first >= MOST_REPEATS:
        raise scope.stop(
            TOO_LARGE,
            bounds,
            f"expected at most {MOST_REPEATS} repetitions, found {last - first + 1}",
            help="is the count what you meant? give it a range in the sheet block",
        )
    for number in range(first, last + 1):
        scope.counted(statement)
        inner = scope.child()
        inner.names[word.text] = Lazy(
            scope, scope.site(word), f'"{word.text}"', value=Quantity(float(number)), used=True
        )
        scope.build.declare_block(statement.block, inner)
