"""Recipes of many revisions read one after another, what is the same in them read once.

In come sources, out come syntax trees, as `somite.parse` makes them. A recipe is read statement by
statement; where something stands further down than before, its offsets are moved and no more.
Whatever is not plainly statements one below another is read as a whole.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache
from operator import attrgetter
from typing import Any

from somite import parse
from somite.findings import Finding
from somite.syntax import Document
from somite.text import Source

_QUIET = re.compile(r'"[^"\n]*"|#[^\n]*')
_LINE = re.compile(r"[^\n]*\n|[^\n]+")
_TAIL = re.compile(r"\n(?:[ \t\f]*(?:#[^\n]*)?\n)*(?:[ \t\f]*(?:#[^\n]*)?)\Z")
"""Blank lines and comments below a statement, which belong to no line of it."""
_Made = tuple[Document, tuple[Finding, ...]]


@dataclass(slots=True)
class Reader:
    """Reads sources, and keeps the statements that it has read."""

    _blocks: dict[str, Document | None] = field(default_factory=dict)
    _whole: dict[tuple[str, str], _Made] = field(default_factory=dict)

    def __call__(self, source: Source) -> _Made:
        """The syntax tree of a source, with the findings of reading it."""
        key = (source.name, source.text)
        if key not in self._whole:
            self._whole[key] = self._read(source)
        return self._whole[key]

    def _read(self, source: Source) -> _Made:
        statements: list[Any] = []
        stray: list[Any] = []
        cut = blocks(source.text)
        if cut is None:
            return parse.parse(source)
        for start, text in cut:
            if text not in self._blocks:
                made, findings = parse.parse(Source(source.name, text))
                self._blocks[text] = None if findings or made.poisoned else made
            block = self._blocks[text]
            if block is None:
                return parse.parse(source)
            statements += [moved(one, start) for one in block.statements]
            stray += [moved(one, start) for one in block.stray]
        return Document(source, tuple(statements), tuple(stray)), ()


def blocks(text: str) -> list[tuple[int, str]] | None:
    """The statements of a text with what is below them, each with its offset.

    None where something stands before the first that belongs to none.
    """
    starts: list[int] = []
    depth = at = 0
    for line in _LINE.findall(text):
        quiet = _QUIET.sub("", line)
        if depth == 0 and line[0] not in " \t\f\n#":
            starts.append(at)
        elif not starts and quiet.strip():
            return None
        depth += sum(map(quiet.count, "([")) - sum(map(quiet.count, ")]"))
        at += len(line)
    ends = [*starts[1:], len(text)]
    return [
        (start, _TAIL.sub("\n", text[start:end])) for start, end in zip(starts, ends, strict=True)
    ]


def moved(node: Any, by: int) -> Any:
    """A syntax node as it is that many characters further down."""
    if by == 0:
        return node
    if isinstance(node, tuple):
        return tuple([one if type(one) in _PLAIN else moved(one, by) for one in node])
    kind: Any = type(node)
    values, places = _parts(kind)
    if places is None:
        return node
    # One call a node, not one a value: this is done for all that is below what changed.
    return kind(
        *[
            one + by if is_place else one if type(one) in _PLAIN else moved(one, by)
            for one, is_place in zip(values(node), places, strict=True)
        ]
    )


_PLAIN = frozenset({str, int, float, bool, type(None)})
_PLACES = frozenset({"start", "end"})


@cache
def _parts(kind: Any) -> tuple[Callable[[Any], tuple[Any, ...]], tuple[bool, ...] | None]:
    """What gives the values of a syntax node, and which are offsets; None for another thing."""
    names = [one.name for one in fields(kind)] if is_dataclass(kind) else []
    if not _PLACES.issubset(names):
        return tuple, None
    return attrgetter(*names), tuple([name in _PLACES for name in names])
