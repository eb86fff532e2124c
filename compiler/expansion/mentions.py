"""Values that are named in lines which are left out for this sheet: they are used all the same.

What comes in is a block or a default that is not worked out, and the scope in which it stands;
what it names is marked as used, and so is what those values are made of. Nothing is worked out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields, is_dataclass

from somite.expansion.scope import Scope
from somite.syntax import Argument, Reference, Statement


def mention(left_out: Iterable[Statement | Argument], scope: Scope) -> None:
    """Mark what is named in lines or values that are left out."""
    for name in _names(left_out):
        lazy = scope.lazy(name)
        if lazy is not None and not lazy.used:
            lazy.used = True
            if lazy.expression is not None:
                mention([lazy.expression], lazy.scope)


def _names(left_out: Iterable[object]) -> Iterator[str]:
    waiting = list(left_out)
    while waiting:
        piece = waiting.pop()
        if isinstance(piece, tuple):
            waiting.extend(piece)
        elif is_dataclass(piece):
            if isinstance(piece, Reference) and isinstance(piece.path[0], str):
                yield piece.path[0]
            waiting.extend(getattr(piece, field.name) for field in fields(piece))
