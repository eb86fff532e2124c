"""`mirror`: the block on the left, and again reflected on the right.

The right side is built by the left side's own arithmetic in mirrored space, from the landmarks of
the right side seen in the mirror, so that both sides of a character that is not symmetric are kept.
"""

from __future__ import annotations

from somite.findings import Code
from somite.scope import Scope
from somite.syntax import Statement

MIRROR_IN_MIRROR = Code("mirror-in-mirror")

WORDS = ("mirror",)
CLAUSES: frozenset[str] = frozenset()
BLOCK: frozenset[str] | None = None


def declare(statement: Statement, scope: Scope) -> None:
    """Declare the block for each side."""
    if scope.side is not None:
        raise scope.stop(
            MIRROR_IN_MIRROR,
            statement,
            "a mirror block stands inside another one",
            help="one reflection is enough: take the inner block out",
        )
    left = scope.child(side="left")
    scope.build.declare_block(statement.block, left)
    right = scope.child(side="right", mirrored=not scope.mirrored)
    scope.build.declare_block(statement.block, right)
