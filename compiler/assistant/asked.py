"""What a recipe asks of a sheet, and where each answer is used, through parts as it is handed on.

What comes in is a recipe as it was read; what goes out is its requests in order, each with the text
of its default and of its range as written and the places that use it. Nothing here reads a sheet.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from somite import statements
from somite.expansion.scope import Scope
from somite.expansion.state import Build, Space, Stop
from somite.findings import Finding, in_order
from somite.library import Parts
from somite.opening import no_recipe
from somite.pipeline import Read
from somite.sheet import Request
from somite.statements.part import needs_of
from somite.statements.recipe import Head, head_of
from somite.statements.sheet import requests_of
from somite.syntax import (
    Argument,
    Between,
    Binary,
    Call,
    Clause,
    Document,
    Items,
    Reference,
    Statement,
    Triple,
    Unary,
    Word,
)

DEEPEST = 1
"""How many parts within parts a name is followed into; of those further in, the name is told."""

_TOLD_TOGETHER = {"check": "checks", "when": "conditions"}


@dataclass(frozen=True, slots=True)
class Asked:
    """A request with its default and its range as the recipe writes them, and who uses it."""

    request: Request
    default: str | None
    range: str | None
    uses: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Questions:
    """A recipe's head and everything that it asks for, in its order."""

    head: Head
    asked: tuple[Asked, ...]


def questions(read: Read) -> tuple[Questions | None, tuple[Finding, ...]]:
    """What a recipe asks for; None where it has no head to say its units and axes."""
    document = read.document
    build = Build(parts=read.parts.visible, body=statements.BODY)
    build.takers = statements.takers
    scope = Scope(build, document, Space(), statements.TOP)
    heads = [line for line in document.statements if line.word == "recipe"]
    if not heads:
        return None, (no_recipe(document),)
    try:
        head = head_of(heads[0], scope)
    except Stop as stop:
        build.report(stop.finding)
        return None, in_order(build.findings)
    lines = [
        line
        for statement in document.statements
        if statement.word == "sheet"
        for line in statement.block
    ]
    ranges = dict(_ranges(lines, document))
    asked = tuple(
        Asked(
            request,
            None if default is None else _written(default.arguments[0], document),
            ranges.get(request.name),
            _unique(_uses(request.name, document, document.statements, read.parts, ())),
        )
        for request, default, _ in requests_of(lines, scope)
    )
    return Questions(head, asked), in_order(build.findings)


def _written(node: Argument, document: Document) -> str:
    return " ".join(document.source.text[node.start : node.end].split())


def _ranges(lines: list[Statement], document: Document) -> Iterator[tuple[str, str]]:
    """The range of each name that has one, as written: `2 cm..3 m`."""
    for line in lines:
        pieces = [piece for piece in line.arguments if isinstance(piece, Clause)]
        terms = next((piece for piece in pieces if piece.word == "terms_in"), None)
        for piece in pieces:
            if piece.word == "asked" and terms is not None:
                yield _name(piece), _written(terms.arguments[0], document)


def _name(piece: Clause) -> str:
    word = piece.arguments[0]
    assert isinstance(word, Word)
    return word.text


# ---- who uses a name -----------------------------------------------------------------------------


def _uses(
    name: str,
    document: Document,
    block: tuple[Statement, ...],
    parts: Parts,
    within: tuple[str, ...],
) -> Iterator[str]:
    """The statements of a block that name it, once each: `chain leg`; `spine as "stations": …`."""
    for statement in block:
        if statement.word in ("recipe", "part", "import"):
            continue
        if statement.word == "sheet":
            for line in statement.block:
                yield from _defaults(name, line)
            continue
        if statement.word == "needs":
            yield from _defaults(name, statement)
            continue
        facts = [*statement.arguments, *statement.clauses]
        if statement.word == "use":
            yield from _handed_on(name, statement, document, parts, within)
            facts = [fact for fact in facts if not _is_with(fact)]
        if statement.word == "check":
            facts += [fact for line in statement.block for fact in (*line.arguments, *line.clauses)]
        if any(_mentions(fact, name) for fact in facts):
            yield _called(statement, document)
        if statement.word == "check":
            continue
        yield from _uses(name, document, statement.block, parts, within)


def _defaults(name: str, line: Statement) -> Iterator[str]:
    """What a request or a need is worth by default, where that is worked out from the name."""
    pieces = [piece for piece in line.arguments if isinstance(piece, Clause)]
    if any(piece.word != "asked" and _mentions(piece, name) for piece in pieces):
        for piece in pieces:
            if piece.word == "asked":
                yield f"the default of {_name(piece)}"


def _is_with(fact: Argument) -> bool:
    return isinstance(fact, Clause) and fact.word == "with"


def _handed_on(
    name: str, use: Statement, document: Document, parts: Parts, within: tuple[str, ...]
) -> Iterator[str]:
    """The uses inside a part of what a `use` gives it, under the part's own name for it."""
    part_word = use.arguments[0]
    assert isinstance(part_word, Word)
    found = parts.visible.get(document.source.name, {}).get(part_word.text)
    for clause in use.clauses:
        if not _is_with(clause):
            continue
        for given in clause.arguments:
            if not isinstance(given, Clause) or not _mentions(given.arguments[1], name):
                continue
            need = _name(given)
            if found is not None and _is_choice(need, found[0]):
                # The word that is given is one of the choices, whatever else bears it.
                continue
            inner: tuple[str, ...] = ()
            if found is not None and len(within) < DEEPEST and part_word.text not in within:
                part, where = found
                inside = _uses(need, where, part.block, parts, (*within, part_word.text))
                inner = _unique(inside)
            called = _called(use, document).removeprefix("use ")
            yield f"{called}, as its {need}" + (f" ({_listed(inner)})" if inner else "")


def _is_choice(need: str, part: Statement) -> bool:
    return any(kind == "choice" and word.text == need for kind, word, _, _ in needs_of(part))


def _unique(names: Iterator[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


def _listed(names: tuple[str, ...], most: int = 6) -> str:
    if len(names) > most:
        return ", ".join(names[:most]) + f" and {len(names) - most} more"
    return ", ".join(names)


def _called(statement: Statement, document: Document) -> str:
    """A statement as a person names it: `chain leg`, `use spine`, `feed foot.roll`.

    Checks and conditions are not told one by one.
    """
    if statement.word in _TOLD_TOGETHER:
        return _TOLD_TOGETHER[statement.word]
    named = [one for one in statement.arguments if not isinstance(one, Clause)]
    declared = [
        one for one in statement.arguments if isinstance(one, Clause) and one.word == "declared"
    ]
    first = declared[0] if declared else named[0] if named else None
    word = statement.word.partition("_")[0]
    return word if first is None else f"{word} {_written(first, document)}"


def _mentions(node: Argument, name: str) -> bool:
    """Whether an expression or a clause refers to a name by its first word."""
    waiting: list[object] = [node]
    while waiting:
        one = waiting.pop()
        if isinstance(one, Reference):
            if one.path and one.path[0] == name:
                return True
            waiting.extend(one.path)
        elif isinstance(one, Clause | Call):
            waiting.extend(one.arguments)
        elif isinstance(one, Items):
            waiting.extend(one.members)
        elif isinstance(one, Triple):
            waiting.extend((one.x, one.y, one.z))
        elif isinstance(one, Between):
            waiting.extend((one.first, one.second, one.share))
        elif isinstance(one, Unary):
            waiting.append(one.operand)
        elif isinstance(one, Binary):
            waiting.append(one.left)
            if one.operator not in ("is", "is not") or not isinstance(one.right, Reference):
                waiting.append(one.right)  # Else it is a word to choose.
    return False
