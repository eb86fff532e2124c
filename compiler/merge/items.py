"""A recipe as items: statements and facts with what they mean, and the lines they are written on.

In comes a parsed document, out comes a tree of items. Two items mean the same when their values
and their children's are equal, in whatever order and however they are written; the key says which
items of two revisions are about the same thing. Nothing here knows of merging.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Literal, TypeAlias

from somite.syntax import Argument, Clause, Document, Reference, Statement, Word

Meaning: TypeAlias = tuple[Hashable, frozenset[tuple["Meaning", int]]]
"""What an item says, with what its children say, whose order does not matter."""

LISTS = frozenset(
    {"request", "needs", "offers", "import", "list", "lock", "only", "ignores", "with"}
)
"""Words whose arguments are lists, of which two people may change different members."""


@dataclass(frozen=True, slots=True)
class Element:
    """A member of a list: what it is about, what it says, and where it is written."""

    key: Hashable
    value: Hashable
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Item:
    """A statement, or a fact of one.

    `start` and `end` are the offsets of its own words (a statement's head without its facts);
    `first` and `last` those of the whole lines that it and its block take up, without the comments
    above; `above` is where these begin. `alone` says that no other item shares its line. `value`
    is what its own words mean; of a list, `rest` is what they mean without its `elements`.
    """

    kind: Literal["statement", "fact"]
    word: str
    key: tuple[Hashable, ...]
    value: Hashable
    start: int
    end: int
    above: int
    first: int
    last: int
    head_last: int
    alone: bool
    comments: tuple[str, ...]
    aside: str
    elements: tuple[Element, ...] = ()
    rest: Hashable = None
    children: tuple[Item, ...] = ()

    @property
    def meaning(self) -> Meaning:
        """What it says, with what its children say."""
        return (self.value, frozenset(Counter([c.meaning for c in self.children]).items()))

    def leaves(self) -> Iterator[Hashable]:
        """What its children say, each by itself: for telling how alike two items are."""
        for child in self.children:
            yield child.value
            yield from child.leaves()


def items_of(document: Document) -> Item:
    """The whole of a document as one item, whose children are its statements."""
    text = document.source.text
    reading = _Reading(text)
    children = reading.children(document.stray, document.statements, 0)
    return Item(
        *("statement", "", (), ("document",), 0, 0, 0, 0, len(text), 0, True, (), ""),
        children=children,
    )


def bare(node: object) -> Hashable:
    """A syntax node as plain values, without where it stands."""
    if isinstance(node, tuple):
        return tuple([bare(one) for one in node])
    if isinstance(node, Word):
        return ("Word", node.text)
    if is_dataclass(node):
        kept = [getattr(node, field.name) for field in fields(node) if field.name not in _PLACES]
        return (type(node).__name__, *[bare(one) for one in kept])
    assert isinstance(node, Hashable)
    return node


_PLACES = frozenset({"start", "end"})


def line_end(text: str, offset: int) -> int:
    """Behind the line end that follows an offset, or at the end of the text."""
    found = text.find("\n", offset)
    return len(text) if found < 0 else found + 1


def closed(text: str, start: int, end: int) -> int:
    """The end of words with the brackets behind them that they opened.

    The run of an expression in brackets is that of what is inside.
    """
    depth = 0
    for found in _BRACKETS.finditer(text, start):
        sign = found[0]
        if found.start() >= end and depth <= 0:
            break
        if sign in "([":
            depth += 1
        elif sign in ")]":
            depth -= 1
            end = max(end, found.end())
    return end


_BRACKETS = re.compile(r'"[^"\n]*"|#[^\n]*|[()\[\]]')


class _Reading:
    """Reads one document."""

    def __init__(self, text: str) -> None:
        self.text = text

    def line_start(self, offset: int) -> int:
        return self.text.rfind("\n", 0, offset) + 1

    def same_line(self, end: int, start: int) -> bool:
        return "\n" not in self.text[end:start]

    def children(
        self, clauses: Sequence[Clause], block: Sequence[Statement], start: int
    ) -> tuple[Item, ...]:
        """The items that stand behind an offset, in order."""
        found: list[Item] = []
        pieces: list[Clause | Statement] = sorted([*clauses, *block], key=lambda one: one.start)
        before = start
        for at, piece in enumerate(pieces):
            after = pieces[at + 1].start if at + 1 < len(pieces) else None
            if isinstance(piece, Clause):
                item = self.fact(piece, before, after)
            else:
                item = self.statement(piece, before)
            found.append(item)
            before = item.last if item.alone else item.end
        return tuple(found)

    def fact(self, clause: Clause, before: int, after: int | None) -> Item:
        end = closed(self.text, clause.start, clause.end)
        joined_before = self.same_line(before, clause.start) and before != self.line_start(before)
        joined_after = after is not None and self.same_line(end, after)
        first, last = self.line_start(clause.start), line_end(self.text, end)
        above = first if joined_before else self.above(before, first)
        elements, rest = _elements(clause.word, clause.arguments)
        return Item(
            "fact",
            clause.word,
            _fact_key(clause),
            _value(clause.word, clause.arguments, elements, rest),
            clause.start,
            end,
            above,
            first,
            last,
            last,
            not joined_before and not joined_after,
            () if joined_before else _comments(self.text[above:first]),
            "" if joined_after else _aside(self.text[end:last]),
            elements,
            rest,
        )

    def statement(self, one: Statement, before: int) -> Item:
        head_end = one.start + len(one.word)
        if one.arguments:
            head_end = closed(self.text, one.start, one.arguments[-1].end)
        on_head = head_end
        for clause in one.clauses:
            if self.same_line(on_head, clause.start):
                on_head = closed(self.text, clause.start, clause.end)
        head_last = line_end(self.text, on_head)
        ends = [piece.end for piece in one.clauses] + [piece.end for piece in one.block]
        last = max([head_last, *[line_end(self.text, end) for end in ends]])
        first = self.line_start(one.start)
        above = self.above(before, first)
        children = self.children(one.clauses, one.block, head_end)
        last = max([last, *[child.last for child in children]])
        elements, rest = _elements(one.word, one.arguments)
        return Item(
            "statement",
            one.word,
            _statement_key(one),
            _value(one.word, one.arguments, elements, rest),
            one.start,
            head_end,
            above,
            first,
            last,
            head_last,
            True,
            _comments(self.text[above:first]),
            _aside(self.text[on_head:head_last]) if on_head == head_end else "",
            elements,
            rest,
            children,
        )

    def above(self, before: int, first: int) -> int:
        """Where the comments above a line begin: behind the line of the item before."""
        return min(
            first, before if before == self.line_start(before) else line_end(self.text, before)
        )


def _comments(text: str) -> tuple[str, ...]:
    return tuple([line.strip() for line in text.splitlines() if line.strip().startswith("#")])


def _aside(text: str) -> str:
    """The comment at the end of a line, from its last item on."""
    return text.strip() if text.strip().startswith("#") else ""


# ---- keys and values -----------------------------------------------------------------------------


def _name_of(one: Argument) -> Hashable:
    """A declared name as it is written: `leg` or `leg[k]`."""
    if isinstance(one, Clause):
        words = [bare(part) for part in one.arguments]
        first = one.arguments[0]
        name = first.text if isinstance(first, Word) else ""
        return name if len(words) == 1 else (name, *words[1:])
    return one.text if isinstance(one, Word) else bare(one)


NAMED = frozenset({"place", "group", "socket", "joint", "control", "chain", "curve", "grip"}) | {
    *("gauge", "output", "let", "list", "use"),
}


def _statement_key(one: Statement) -> tuple[Hashable, ...]:
    word, arguments = one.word, one.arguments
    if word in NAMED:
        return ("name", _name_of(arguments[1] if word == "use" else arguments[0]))
    if word in ("request", "needs", "offers"):
        asked = [piece for piece in arguments if isinstance(piece, Clause)]
        return (word, _name_of(asked[0].arguments[0]) if asked else None)
    if word == "import":
        return (word, bare(arguments[-1]))
    if word.startswith("pose") or word.startswith("feed"):
        return (word[:4], _path(arguments[0]))
    if word in ("reach", "twist"):
        return (word, _path(arguments[0]))
    if word in ("recipe", "sheet", "mirror"):
        return (word,)
    return (word, *[_name_of(one) for one in arguments])


def _path(one: Argument) -> Hashable:
    if isinstance(one, Reference) and all(isinstance(part, str | int) for part in one.path):
        return ".".join([str(part) for part in one.path])
    return bare(one)


def _fact_key(clause: Clause) -> tuple[Hashable, ...]:
    word, arguments = clause.word, clause.arguments
    if word in ("follow", "land", "each"):
        takes = [one for one in arguments if isinstance(one, Clause) and "for" in one.word]
        return (word, *[bare(one.arguments) for one in takes])
    if word == "limit":
        return (word, *[one.text for one in arguments[:-1] if isinstance(one, Word)])
    if word in ("set", "shown"):
        return (word, _path(arguments[0]))
    if word == "excuse":
        return (word, bare(arguments[0]))
    if word == "with":
        given = arguments[0]
        return (word, _name_of(given.arguments[0]) if isinstance(given, Clause) else None)
    if word == "expect":
        return (word, bare(arguments))
    return (word,)


def _value(
    word: str, arguments: Sequence[Argument], elements: Sequence[Element], rest: Hashable
) -> Hashable:
    if elements:
        return list_value(word, rest, [one.value for one in elements])
    return (word, bare(tuple(arguments)))


def list_value(word: str, rest: Hashable, values: Sequence[Hashable]) -> Hashable:
    """What a list says: its members in any order, but those of a named list."""
    return (word, rest, tuple(values) if word == "list" else frozenset(values))


def _elements(word: str, arguments: Sequence[Argument]) -> tuple[tuple[Element, ...], Hashable]:
    """The members of a list, and what remains without them."""
    if word not in LISTS:
        return (), None
    members: list[Element] = []
    rest: list[Hashable] = []
    for at, one in enumerate(arguments):
        member = _is_member(word, at, one, len(arguments))
        if member:
            key = _name_of(one.arguments[0]) if isinstance(one, Clause) else bare(one)
            members.append(Element(key, bare(one), one.start, one.end))
        else:
            rest.append(bare(one))
    return tuple(members), tuple(rest)


def _is_member(word: str, at: int, one: Argument, count: int) -> bool:
    if word in ("request", "needs"):
        return isinstance(one, Clause) and one.word == "asked"
    if word == "import":
        return isinstance(one, Word) and one.kind == "WORD" and at < count - 2
    if word == "list":
        return at > 0
    return True
