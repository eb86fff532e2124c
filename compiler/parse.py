"""Text to syntax tree. The only module that knows the parser library.

A sound file is read in one pass. After a mistake the file is read again line by line, each line by
itself, so that every mistake is reported in one run and costs no more than its own line.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from lark import Lark, TextSlice, Token
from lark.exceptions import UnexpectedInput

from somite.findings import Code, Finding, in_order
from somite.grammar import heads, load
from somite.syntax import (
    Argument,
    Between,
    Binary,
    Call,
    Clause,
    Direction,
    Document,
    Expression,
    Items,
    Number,
    Reference,
    Statement,
    Text,
    Triple,
    Unary,
    Word,
)
from somite.syntax_messages import SYNTAX, Stopped, mistake_in
from somite.text import Source
from somite.units import quantity, quantity_in

if TYPE_CHECKING:
    from lark.parsers.lalr_interactive_parser import InteractiveParser

UNEVEN_INDENT = Code("uneven-indent")
UNCLOSED_BRACKET = Code("unclosed-bracket")
TOO_DEEP = Code("too-deep")
LINE_TOO_LONG = Code("line-too-long")
TOO_MANY_MISTAKES = Code("too-many-mistakes")

MOST_TOKENS = 2_000
"""Tokens on one logical line; longer lines are refused rather than nested without bound."""
MOST_LEVELS = 64
"""Steps of indentation, and brackets within brackets."""
MOST_MISTAKES = 200

TAB = 4

OPEN = frozenset({"LPAR", "LSQB"})
CLOSE = frozenset({"RPAR", "RSQB"})
KEPT = frozenset({"WORD", "STRING", "NUMBER", "QUANTITY", "AXIS"})


class _Refused(Exception):
    """The quick pass met what only the careful pass reports; never leaves this module."""


class Indentation:
    """The postlexer: line ends and indentation to tokens, nothing inside brackets."""

    always_accept = ("_NL", "WORD")

    def process(self, stream: Iterator[Token]) -> Iterator[Token]:
        """Pass tokens on, adding _INDENT and _DEDENT, and a last _NL where the file lacks one."""
        levels = [0]
        depth = 0
        count = 0
        last: Token | None = None
        ended: Token | None = None
        new = Token.new_borrow_pos
        for token in stream:
            kind = token.type
            if ended is not None:
                # Only now is it sure that a line follows; what ends the file has no level.
                indent = _width(ended.rpartition("\n")[2])
                if indent > levels[-1]:
                    levels.append(indent)
                    if len(levels) > MOST_LEVELS:
                        raise _Refused
                    yield new("_INDENT", "", ended)
                else:
                    while indent < levels[-1]:
                        levels.pop()
                        yield new("_DEDENT", "", ended)
                    if indent != levels[-1]:
                        raise _Refused
                ended = None
            if kind == "_NL":
                if depth:
                    continue
                count = 0
                yield token
                ended = last = token
                continue
            if kind in OPEN:
                depth += 1
                if depth > MOST_LEVELS:
                    raise _Refused
            elif kind in CLOSE:
                depth -= 1
            count += 1
            if count > MOST_TOKENS:
                raise _Refused
            last = token
            yield token
        if depth > 0:
            raise _Refused
        if last is not None:
            if last.type != "_NL":
                yield new("_NL", "", last)
            while len(levels) > 1:
                levels.pop()
                yield new("_DEDENT", "", last)


def _width(blank: str) -> int:
    if "\t" in blank or "\f" in blank:
        return len(blank.replace("\f", "").expandtabs(TAB))
    return len(blank)


# ---- building the tree ---------------------------------------------------------------------------
# One function a rule, called while parsing with every token of the rule. Only words that carry
# meaning are kept.


def _start(child: Any) -> Any:
    return child.start_pos if type(child) is Token else child.start


def _end(child: Any) -> Any:
    return child.end_pos if type(child) is Token else child.end


def _word(token: Any) -> Word:
    return Word(token.type, str(token), token.start_pos, token.end_pos)


def _arguments(children: list[Any]) -> tuple[Argument, ...]:
    return tuple(
        [
            _word(child) if type(child) is Token else child
            for child in children
            if type(child) is not Token or child.type in KEPT
        ]
    )


def _all_words(children: list[Any]) -> tuple[Argument, ...]:
    return tuple(
        [
            _word(child) if type(child) is Token else child
            for child in children
            if type(child) is not Token or child.type != "COMMA"
        ]
    )


def _answers(children: list[Any]) -> tuple[Argument, ...]:
    return _all_words(children[1:])


def _clause(word: str, keep: Callable[[list[Any]], tuple[Argument, ...]]) -> Callable[..., Clause]:
    def build(children: list[Any]) -> Clause:
        return Clause(word, keep(children), _start(children[0]), _end(children[-1]))

    return build


def _statement(children: list[Any]) -> Statement:
    head = children[0]
    last = children[-1]
    if type(last) is list:
        clauses = [child for child in children[1:-2]]
        block = [item for item in last if type(item) is Statement]
        for item in last:
            if type(item) is tuple:
                clauses.extend(item)
        ended = children[-3]
        return Statement(
            head.word, head.arguments, tuple(clauses), tuple(block), head.start, ended.end
        )
    ended = children[-2]
    return Statement(head.word, head.arguments, tuple(children[1:-1]), (), head.start, ended.end)


def _facts(children: list[Any]) -> tuple[Clause, ...]:
    return tuple(children[:-1])


def _block(children: list[Any]) -> list[Any]:
    return children[1:-1]


def _lines(children: list[Any]) -> list[Any]:
    return [child for child in children if type(child) is not Token]


def _number(children: list[Any]) -> Number:
    token = children[0]
    if token.type == "NUMBER":
        value, dimension = quantity(token, None)
    else:
        value, dimension = quantity_in(str(token))
    return Number(value, dimension, token.start_pos, token.end_pos)


def _text(children: list[Any]) -> Text:
    token = children[0]
    return Text(token[1:-1], token.start_pos, token.end_pos)


def _direction(children: list[Any]) -> Direction:
    token = children[0]
    return Direction(str(token), token.start_pos, token.end_pos)


def _segments(dotted: str) -> tuple[str | int, ...]:
    # A number too long to be meant stays a word, which nothing has.
    return tuple(
        [int(part) if part.isdigit() and len(part) < 16 else part for part in dotted.split(".")]
    )


def _ref(children: list[Any]) -> Reference:
    token = children[0]
    if "." in token:
        return Reference(_segments(token), token.start_pos, token.end_pos)
    return Reference((str(token),), token.start_pos, token.end_pos)


def _ref_index(children: list[Any]) -> Reference:
    base, _, index, closing = children
    return Reference((*base.path, index), base.start, closing.end_pos)


def _ref_dots(children: list[Any]) -> Reference:
    base, dots = children
    return Reference((*base.path, *_segments(dots[1:])), base.start, dots.end_pos)


def _call(children: list[Any]) -> Call:
    name = children[0]
    arguments = tuple([child for child in children[1:] if type(child) is not Token])
    return Call(str(name), arguments, name.start_pos, children[-1].end_pos)


def _vector(children: list[Any]) -> Triple:
    return Triple(
        children[1], children[3], children[5], children[0].start_pos, children[-1].end_pos
    )


def _items(children: list[Any]) -> Items:
    members = tuple([child for child in children if type(child) is not Token])
    return Items(members, children[0].start_pos, children[-1].end_pos)


def _between(children: list[Any]) -> Between:
    return Between(children[1], children[3], children[5], children[0].start_pos, children[5].end)


def _binary(operator: str) -> Callable[[list[Any]], Binary]:
    def build(children: list[Any]) -> Binary:
        left, right = children[0], children[-1]
        return Binary(operator, left, right, left.start, right.end)

    return build


def _negative(children: list[Any]) -> Unary:
    return Unary("-", children[1], children[0].start_pos, children[1].end)


def _negation(children: list[Any]) -> Unary:
    return Unary("not", children[1], children[0].start_pos, children[1].end)


def _inner(children: list[Any]) -> Expression:
    inner: Expression = children[1]
    return inner


_BINARY = {
    "add": "+",
    "subtract": "-",
    "multiply": "*",
    "divide": "/",
    "either": "or",
    "both": "and",
    "is_": "is",
    "is_not": "is not",
    "less": "<",
    "at_most": "<=",
    "more": ">",
    "at_least": ">=",
}

_ANSWERS = frozenset(
    {"import_", "needs", "denser", "spacing", "spread", "starts", "ends", "lean", "lean_axis"}
)
"""Rules in which a keyword after the first is an answer: `spacing even`."""

_NAMED_BY_FIRST = frozenset({"request", "shape"})
"""Rules whose first keyword is an answer too: `point pelvis`, `ring 3 cm`."""

_RENAMED = {"import_": "import", "lean_axis": "lean"}

_BUILDERS: dict[str, Callable[..., Any]] = {
    "start": _lines,
    "alone": _lines,
    "statement": _statement,
    "facts": _facts,
    "block": _block,
    "number": _number,
    "text": _text,
    "direction": _direction,
    "ref": _ref,
    "ref_index": _ref_index,
    "ref_dots": _ref_dots,
    "call": _call,
    "vector": _vector,
    "items": _items,
    "between": _between,
    "negative": _negative,
    "negation": _negation,
    "inner": _inner,
    **{rule: _binary(operator) for rule, operator in _BINARY.items()},
}


class _Tree:
    """Gives the parser library a builder for each rule of the grammar, by the rule's name."""

    def __getattr__(self, rule: str) -> Callable[..., Any]:
        if rule.startswith("_") or rule.isupper():
            raise AttributeError(rule)  # Words themselves stay as they are.
        built = _BUILDERS.get(rule)
        if built is None:
            keep = _arguments
            if rule in _ANSWERS:
                keep = _answers
            elif rule in _NAMED_BY_FIRST:
                keep = _all_words
            built = _clause(_RENAMED.get(rule, rule), keep)
        return built


# ---- the parser ----------------------------------------------------------------------------------


@dataclass(slots=True)
class _Loaded:
    lark: Lark | None = None


_LOADED = _Loaded()


def parser() -> Lark:
    """The parser, made once a process from the grammar's stored tables."""
    if _LOADED.lark is None:
        _LOADED.lark = load(transformer=_Tree(), postlex=Indentation())
    return _LOADED.lark


def parse(source: Source) -> tuple[Document, tuple[Finding, ...]]:
    """The syntax tree of a recipe, and a finding for each mistake in it."""
    lark = parser()
    collecting = gc.isenabled()
    gc.disable()  # Only growth happens here; the collector would walk the tree again and again.
    try:
        lines: Any = lark.parse(source.text, start="start")
    except (UnexpectedInput, _Refused):
        return _line_by_line(lark, source)
    finally:
        if collecting:
            gc.enable()
    statements = tuple([line for line in lines if type(line) is Statement])
    stray = tuple([clause for line in lines if type(line) is tuple for clause in line])
    return Document(source, statements, stray), ()


# ---- after a mistake -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Line:
    start: int
    end: int
    indent: int
    unclosed: bool = False


def _line_by_line(lark: Lark, source: Source) -> tuple[Document, tuple[Finding, ...]]:
    findings: list[Finding] = []
    poisoned: set[str] = set()
    root: list[Any] = []
    # Each open level: its indentation, and where its lines go.
    open_levels: list[tuple[int, list[Any]]] = [(0, root)]
    for line in _logical_lines(source, findings):
        if len(findings) >= MOST_MISTAKES:
            findings.append(
                TOO_MANY_MISTAKES.at(
                    source.site(line.start, line.end),
                    f"more than {MOST_MISTAKES} mistakes, the rest of the file was not read",
                    help="mend the first ones; is this file a recipe?",
                )
            )
            break
        _place_level(open_levels, line, source, findings)
        built = None if line.unclosed else _parse_line(lark, source, line, findings)
        if built is None:
            poisoned.update(_words(source.text[line.start : line.end]))
            entry: list[Any] = [None, []]
        else:
            entry = [built, []]
        open_levels[-1][1].append(entry)
        if len(open_levels) > MOST_LEVELS:
            findings.append(
                TOO_DEEP.at(
                    source.site(line.start, line.end),
                    f"expected at most {MOST_LEVELS} blocks within blocks, found more; the rest of "
                    "the file was not read",
                    help="make a part of the inner blocks",
                )
            )
            break
        open_levels.append((line.indent + 1, entry[1]))
    lines = _nested(root, source, poisoned, findings)
    statements = tuple([line for line in lines if type(line) is Statement])
    stray = tuple([clause for line in lines if type(line) is tuple for clause in line])
    document = Document(source, statements, stray, frozenset(poisoned))
    if not findings:
        whole = source.site(0, len(source.text))
        findings.append(SYNTAX.at(whole, "expected a recipe, found text that can not be read"))
    return document, in_order(findings)


def _place_level(
    open_levels: list[tuple[int, list[Any]]],
    line: _Line,
    source: Source,
    findings: list[Finding],
) -> None:
    """Close the levels that a line's indentation ends; report one that matches none."""
    # A level opened by the line above is marked indent + 1 until its first line fixes it.
    inner: int | None = None
    while len(open_levels) > 1 and line.indent < open_levels[-1][0]:
        closed, filled = open_levels.pop()
        inner = closed if filled else inner
    indent, lines = open_levels[-1]
    if line.indent == indent:
        return
    if not lines and len(open_levels) > 1:
        open_levels[-1] = (line.indent, lines)
        return
    if len(open_levels) == 1 and not lines:
        open_levels[-1] = (line.indent, lines)
        return
    findings.append(
        UNEVEN_INDENT.at(
            source.site(line.start, line.end),
            f"expected {indent}{'' if inner is None else f' or {inner}'} blanks before this line, "
            f"found {line.indent}",
            help="line it up with the statements beside it, or with the block it belongs to",
        )
    )
    # It is deeper than its neighbours: it, and those like it, go to the statement above.
    open_levels.append((line.indent, lines[-1][1]))


def _parse_line(
    lark: Lark, source: Source, line: _Line, findings: list[Finding]
) -> Statement | tuple[Clause, ...] | None:
    try:
        built: Any = lark.parse(TextSlice(source.text, line.start, line.end), start="alone")
    except UnexpectedInput as mistake:
        findings.append(mistake_in(source, line, _stopped(mistake), _terminals()))
        return None
    except _Refused:
        findings.append(
            LINE_TOO_LONG.at(
                source.site(line.start, line.end),
                f"expected at most {MOST_TOKENS} words on a line and {MOST_LEVELS} brackets "
                "within brackets, found more",
                help="give parts of it names with let",
            )
        )
        return None
    result: Statement | tuple[Clause, ...] | None = built[0] if built else None
    return result


def _nested(
    entries: list[Any], source: Source, poisoned: set[str], findings: list[Finding]
) -> list[Any]:
    """Lines with their blocks, as the quick pass would have built them."""
    result: list[Any] = []
    for built, below in entries:
        inner = _nested(below, source, poisoned, findings)
        if built is None:
            # A broken head's block can not be placed; what it declares is not missing either.
            for item in inner:
                for node in item if type(item) is tuple else (item,):
                    poisoned.update(_words(source.text[node.start : node.end]))
            continue
        if type(built) is Statement and inner:
            clauses = list(built.clauses)
            for item in inner:
                if type(item) is tuple:
                    clauses.extend(item)
            block = tuple([item for item in inner if type(item) is Statement])
            built = Statement(
                built.word, built.arguments, tuple(clauses), block, built.start, built.end
            )
        result.append(built)
        if type(built) is tuple:
            result.extend(inner)
            if inner:
                findings.append(_below_clause(inner[0], built[0], source))
    return result


def _below_clause(first: Any, above: Clause, source: Source) -> Finding:
    """The finding for a line that is indented below a clause, which has no block."""
    node = first[0] if type(first) is tuple else first
    return UNEVEN_INDENT.at(
        source.site(node.start, node.end),
        "expected this line beside the clause above it, found it a step further in",
        help="a clause has no block: line it up with the clause, or put it below a statement",
        related=[(source.site(above.start, above.end), "the clause above")],
    )


def _words(text: str) -> set[str]:
    words = set()
    word = ""
    for character in text + " ":
        if character == "_" or (character.isascii() and character.isalnum()):
            word += character
        elif word:
            words.add(word)
            word = ""
    return words


def _logical_lines(source: Source, findings: list[Finding]) -> Iterator[_Line]:
    """Lines with their indentation; lines inside brackets are joined to the one that opened them.

    A bracket that is still open where a line of its own begins, at the same or a lower
    indentation and with a word that starts statements, is reported and closed there.
    """
    text = source.text
    starts = source.starts
    head_words = heads()
    first: _Line | None = None
    depth = 0
    opened = 0
    for index, start in enumerate(starts):
        stop = starts[index + 1] - 1 if index + 1 < len(starts) else len(text)
        bare = text[start:stop]
        stripped = bare.lstrip(" \t\f")
        begins = stop - len(stripped)
        if depth and first is not None:
            word = stripped.split(None, 1)[0] if stripped.strip() else ""
            closed, _ = _bracket_depth(stripped, depth)
            if word in head_words and _width(bare[: len(bare) - len(stripped)]) <= first.indent:
                findings.append(_unclosed(source, opened))
                depth = 0
                yield _Line(first.start, starts[index] - 1, first.indent, unclosed=True)
                first = None
            else:
                if closed <= 0:
                    yield _Line(first.start, stop, first.indent)
                    first, depth = None, 0
                else:
                    depth = closed
                continue
        if not stripped or stripped.startswith("#"):
            continue
        blank = bare[: len(bare) - len(stripped)]
        line = _Line(begins, stop, _width(blank))
        depth, opened_at = _bracket_depth(stripped, 0)
        if depth > 0:
            first, opened = line, begins + opened_at
        else:
            depth = 0
            yield line
    if first is not None:
        findings.append(_unclosed(source, opened))
        yield _Line(first.start, len(text), first.indent, unclosed=True)


def _bracket_depth(line: str, depth: int) -> tuple[int, int]:
    """Depth of brackets after a line, and where the first that stays open was opened."""
    quoted = False
    stack: list[int] = []
    for at, character in enumerate(line):
        if quoted:
            quoted = character != '"'
        elif character == '"':
            quoted = True
        elif character == "#":
            break
        elif character in "([":
            stack.append(at)
        elif character in ")]":
            if stack:
                stack.pop()
            else:
                depth = max(0, depth - 1)
    return depth + len(stack), (stack[0] if stack and not depth else 0)


def _unclosed(source: Source, at: int) -> Finding:
    bracket = source.text[at]
    closing = ")" if bracket == "(" else "]"
    return UNCLOSED_BRACKET.at(
        source.site(at, at + 1),
        f'expected "{closing}" to close this "{bracket}", found the next statement',
        help=f'add "{closing}" where the value ends',
    )


def _stopped(mistake: UnexpectedInput) -> Stopped:
    token = getattr(mistake, "token", None)
    at_line_end = token is not None and (token.type in ("$END", "_NL") or not str(token).strip())
    return Stopped(mistake.pos_in_stream, at_line_end, token is None, frozenset(_accepted(mistake)))


def _accepted(mistake: UnexpectedInput) -> set[str]:
    interactive: InteractiveParser | None = getattr(mistake, "interactive_parser", None)
    if interactive is not None:
        try:
            return set(interactive.accepts())  # type: ignore[no-untyped-call]
        except Exception:
            return set(getattr(mistake, "accepts", None) or ())
    return set(
        getattr(mistake, "accepts", None)
        or getattr(mistake, "allowed", None)
        or getattr(mistake, "expected", None)
        or ()
    )


@cache
def _terminals() -> dict[str, str]:
    """The grammar's terminals that are fixed texts."""
    found = {
        terminal.name: terminal.pattern.value
        for terminal in parser().terminals
        if type(terminal.pattern).__name__ == "PatternStr"
    }
    return found | {"ONE_SIDED": "one-sided"}
