"""Recipe text in its canonical form: what `somite fmt` writes.

Words stay as they are and in their order; only blanks, indentation and blank lines change, and
comments stay where they were said. Text that can not be read is not touched.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from functools import cache

from somite import parse
from somite.findings import Finding
from somite.syntax import Call, Document, Items, Statement, Unary
from somite.text import Source

STEP = 2
"""Blanks for a step of indentation."""
WIDTH = 100
"""Columns up to which lines inside brackets are joined."""

SIGNS = r"\.\.|->|<=|>=|[-+*/=<>(),\[\]]"
GLUED_BEFORE = frozenset({")", "]", ",", ".."})
GLUED_AFTER = frozenset({"(", "[", ".."})


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str
    text: str
    start: int


@dataclass(slots=True)
class _Marks:
    """Offsets at which something begins that is spaced in its own way."""

    clauses: set[int]
    calls: set[int]
    lists: set[int]
    minuses: set[int]


def formatted(source: Source) -> tuple[str | None, tuple[Finding, ...]]:
    """The canonical text of a recipe, or None with the findings that hinder reading it.

    Idempotent, and it parses to the same tree but for offsets.
    """
    document, findings = parse.parse(source)
    if findings:
        return None, findings
    marks = _marks(document)
    lines: list[str] = []
    levels = [0]
    waiting: list[tuple[int, str]] = []  # Comments and blank lines before the next statement.
    for width, tokens in _lines(source):
        if not tokens:
            waiting.append((-1, ""))
            continue
        if len(tokens) == 1 and tokens[0].kind == "COMMENT":
            waiting.append((width, _comment(tokens[0].text)))
            continue
        before = list(levels)
        while width < levels[-1]:
            levels.pop()
        if width > levels[-1]:
            levels.append(width)
        _release(waiting, before, levels, lines)
        lines.extend(_statement(tokens, len(levels) - 1, marks))
    _release(waiting, levels, [0], lines)
    while lines and not lines[-1]:
        lines.pop()
    return "\n".join(lines) + "\n" if lines else "", ()


def _release(
    waiting: list[tuple[int, str]], before: list[int], after: list[int], lines: list[str]
) -> None:
    """Write waiting comments, each at the level it was said at, and at most one blank line."""
    for width, text in waiting:
        if width < 0:
            if lines and lines[-1]:
                lines.append("")
            continue
        if width in before:
            level = before.index(width)
        elif width in after:
            level = after.index(width)
        else:
            level = len(after) - 1
        lines.append(" " * (STEP * level) + text)
    waiting.clear()


def _comment(text: str) -> str:
    """A comment with a blank after its sign; `#!` and rows of signs stay."""
    text = text.rstrip()
    if len(text) > 1 and text[1] not in " #!":
        return "# " + text[1:]
    return text


# ---- reading -------------------------------------------------------------------------------------


def _lines(source: Source) -> Iterator[tuple[int, list[_Token]]]:
    """Logical lines: indentation width and tokens; a line end in brackets is a BREAK."""
    pattern = _pattern()
    text = source.text
    tokens: list[_Token] = []
    width = 0
    depth = 0
    for number, start in enumerate(source.starts, 1):
        line = source.line(number)
        bare = line.lstrip(" \t\f")
        if depth == 0:
            blank = line[: len(line) - len(bare)]
            width = len(blank.expandtabs(parse.TAB))
        elif bare.strip():
            tokens.append(_Token("BREAK", "", start))
        for match in pattern.finditer(text, start, start + len(line)):
            kind = match.lastgroup or ""
            tokens.append(_Token(kind, match.group(), match.start()))
            if match.group() in ("(", "["):
                depth += 1
            elif match.group() in (")", "]"):
                depth -= 1
        if depth == 0:
            if tokens or number < len(source.starts) or line.strip():
                yield width, tokens
            tokens = []
    if tokens:
        yield width, tokens


@cache
def _pattern() -> re.Pattern[str]:
    """Longest words first: an axis before a sign, a quantity before a number."""
    terminals = {t.name: t.pattern.to_regexp() for t in parse.parser().terminals}
    kinds = ("STRING", "ONE_SIDED", "AXIS", "QUANTITY", "NUMBER", "WORD")
    parts = [f"(?P<{kind}>{terminals[kind]})" for kind in kinds]
    parts += [rf"(?P<SIGN>{SIGNS})", f"(?P<DOTS>{terminals['DOTS']})"]
    return re.compile("|".join(["(?P<COMMENT>#[^\n]*)", *parts]))


def _marks(document: Document) -> _Marks:
    marks = _Marks(set(), set(), set(), set())
    waiting: list[object] = [*document.statements, *document.stray]
    marks.clauses.update(clause.start for clause in document.stray)
    while waiting:
        node = waiting.pop()
        if isinstance(node, tuple):
            waiting.extend(node)
            continue
        if not is_dataclass(node):
            continue
        if isinstance(node, Statement):
            # The first clause of a head reads on from it; the others stand apart.
            marks.clauses.update(clause.start for clause in node.clauses[1:])
        elif isinstance(node, Call):
            marks.calls.add(node.start)
        elif isinstance(node, Items):
            marks.lists.add(node.start)
        elif isinstance(node, Unary) and node.operator == "-":
            marks.minuses.add(node.start)
        waiting.extend(getattr(node, field.name) for field in fields(node))
    return marks


# ---- writing -------------------------------------------------------------------------------------


def _statement(tokens: list[_Token], level: int, marks: _Marks) -> list[str]:
    """One logical line: joined if it fits and holds no comment inside, else broken as it was."""
    indent = " " * (STEP * level)
    trailing = ""
    if tokens[-1].kind == "COMMENT":
        trailing = "  " + _comment(tokens[-1].text)
        tokens = tokens[:-1]
    inside = any(token.kind == "COMMENT" for token in tokens)
    joined = _joined([token for token in tokens if token.kind != "BREAK"], marks)
    if not inside and len(indent) + len(joined) <= WIDTH:
        return [indent + joined + trailing]
    pieces: list[list[_Token]] = [[]]
    for token in tokens:
        if token.kind == "BREAK":
            pieces.append([])
        else:
            pieces[-1].append(token)
    pieces = [piece for piece in pieces if piece]
    written = [indent + _joined(pieces[0], marks)]
    written += [indent + " " * (2 * STEP) + _joined(piece, marks) for piece in pieces[1:]]
    written[-1] += trailing
    return written


def _joined(tokens: list[_Token], marks: _Marks) -> str:
    text = ""
    before: _Token | None = None
    for token in tokens:
        if before is not None:
            text += _space(before, token, marks)
        text += _comment(token.text) if token.kind == "COMMENT" else _written(token)
        before = token
    return text


def _written(token: _Token) -> str:
    if token.kind != "QUANTITY":
        return token.text
    number = token.text.rstrip("%abcdefghijklmnopqrstuvwxyz \t")
    unit = token.text[len(number) :].strip()
    return number + unit if unit == "%" else f"{number} {unit}"


def _space(before: _Token, token: _Token, marks: _Marks) -> str:
    if token.kind == "COMMENT":
        return "  "
    if token.text in GLUED_BEFORE or before.text in GLUED_AFTER or token.kind == "DOTS":
        return ""
    if before.text == "-" and before.start in marks.minuses:
        return ""
    if token.text == "(" and before.start in marks.calls:
        return ""
    if token.text == "[" and token.start not in marks.lists:
        return ""
    if token.start in marks.clauses:
        return "  "
    return " "
