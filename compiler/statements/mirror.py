"""`mirror`: the block on the left, and again reflected on the right.

The right side is built by the left side's own arithmetic in mirrored space, from the landmarks of
the right side seen in the mirror, so that both sides of a character that is not symmetric are kept.
In the block the word `side` is the choice left or right: `when side is right`.
"""

from __future__ import annotations

from somite.expansion.scope import Scope
from somite.expansion.state import Lazy
from somite.expansion.values import Choice
from somite.findings import Code
from somite.syntax import Statement

MIRROR_IN_MIRROR = Code("mirror-in-mirror")

WORDS = ("mirror",)
CLAUSES: frozenset[str] = frozenset()
BLOCK: frozenset[str] | None = None

SIDES = ("left", "right")


def declare(statement: Statement, scope: Scope) -> None:
    """Declare the block for each side."""
    if scope.side is not None:
        raise scope.stop(
            MIRROR_IN_MIRROR,
            statement,
            "a mirror block stands inside another one",
            help="one reflection is enough: take the inner block out",
        )
    for side in SIDES:
        inner = scope.child(side=side, mirrored=scope.mirrored != (side == "right"))
        inner.names["side"] = Lazy(
            scope, scope.site(statement), '"side"', value=Choice(side, SIDES), used=True
        )
        scope.build.declare_block(statement.block, inner)
