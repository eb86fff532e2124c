"""Messages for lines that do not parse: what was expected, what was found, how to mend it.

In goes where reading stopped and the terminals that could have come there; out comes a finding.
Known mistakes come from `somite.grammar.mistakes`. Nothing here knows the parser library.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from somite.findings import Code, Finding, nearest
from somite.grammar.mistakes import MISTAKES
from somite.text import Source

SYNTAX = Code("syntax")
UNCLOSED_TEXT = Code("unclosed-text")
BAD_CHARACTER = Code("bad-character")

Terminals = Mapping[str, str]
"""The terminals of the grammar that are fixed texts, by name."""


class Run(Protocol):
    """A half-open run of offsets."""

    @property
    def start(self) -> int: ...
    @property
    def end(self) -> int: ...


@dataclass(frozen=True, slots=True)
class Stopped:
    """Where reading stopped: at an offset, at the line's end or at a character that begins nothing;

    and the names of the terminals that it could have gone on with.
    """

    at: int | None
    at_line_end: bool
    in_a_word: bool
    accepted: frozenset[str]


def mistake_in(source: Source, line: Run, stopped: Stopped, terminals: Terminals) -> Finding:
    """The finding for a line that does not parse: from the list of known mistakes if it is one."""
    at = line.end if stopped.at is None else stopped.at
    text = source.text
    if stopped.at_line_end:
        at = len(text[line.start : line.end].split("#")[0].rstrip()) + line.start
        found = "the end of the line"
        site = source.site(at, at + 1)
    else:
        at = max(line.start, min(at, line.end - 1))
        word = _word_at(text, at, line.end)
        found = f'"{word}"'
        site = source.site(at, at + len(word))
    rest = text[at : line.end]
    if rest.startswith('"') and rest.count('"') == 1:
        return UNCLOSED_TEXT.at(
            source.site(at, line.end),
            "expected a second quotation mark on this line, found the end of the line",
            help="close the text on the line where it begins",
        )
    if stopped.in_a_word and rest and not (rest[0].isascii() and rest[0].isprintable()):
        return BAD_CHARACTER.at(
            source.site(at, at + 1),
            f"expected ASCII letters, digits and signs, found {_named(rest[0])}",
            help="names are ASCII; other letters may stand in comments and in texts",
        )
    words = _accepted_words(stopped, terminals)
    known = explain_mistake(text[line.start : at], rest, words)
    if known is not None:
        message, mending = known
        return SYNTAX.at(site, message.replace("{found}", found), help=mending)
    help_line: str | None = None
    if found.startswith('"'):
        near = nearest(found.strip('"'), words)
        if near is not None:
            help_line = f'did you mean "{near}"?'
    return SYNTAX.at(
        site, f"expected {expectation(stopped.accepted, terminals)}, found {found}", help=help_line
    )


def _named(character: str) -> str:
    name = unicodedata.name(character, f"the character U+{ord(character):04X}")
    return f'"{character}" ({name.lower()})' if character.isprintable() else name.lower()


def _word_at(text: str, at: int, stop: int) -> str:
    end = at
    while end < stop and (text[end].isalnum() or text[end] == "_"):
        end += 1
    return text[at : max(end, at + 1)]


def _accepted_words(stopped: Stopped, terminals: Terminals) -> tuple[str, ...]:
    words = spelled(terminals)
    return tuple(sorted({words[name] for name in stopped.accepted if name in words}))


# ---- words for terminals -------------------------------------------------------------------------

_SIGNS = {
    "LPAR": '"("',
    "RPAR": '")"',
    "LSQB": '"["',
    "RSQB": '"]"',
    "COMMA": '","',
    "EQUAL": '"="',
    "PLUS": '"+"',
    "MINUS": '"-"',
    "STAR": '"*"',
    "SLASH": '"/"',
    "LESSTHAN": '"<"',
    "MORETHAN": '">"',
    "DOTS": '".name"',
}


_OPERATORS = frozenset(
    {"PLUS", "MINUS", "STAR", "SLASH", "DOTS", "LSQB", "LESSTHAN", "MORETHAN", "IS", "AND", "OR"}
)


_VALUE = frozenset({"WORD", "NUMBER", "QUANTITY", "AXIS", "LPAR", "STRING"})


def spelled(terminals: Terminals) -> dict[str, str]:
    """The words (not signs) of the language by the name of their terminal."""
    return {name: word for name, word in terminals.items() if word[0].isalpha()}


def expectation(accepted: Iterable[str], terminals: Terminals) -> str:
    """What the parser could have gone on with, as a person says it."""
    names = set(accepted)
    parts = []
    if {"NUMBER", "WORD", "LPAR"} <= names:
        parts.append("a value")
        names -= _VALUE | {"MINUS", "LSQB", "BETWEEN", "NOT"}
    else:
        names -= _OPERATORS if names - _OPERATORS - {"_NL", "$END"} else set()
        if "WORD" in names:
            parts.append("a name")
        if "STRING" in names:
            parts.append("a text in quotes")
        if "NUMBER" in names:
            parts.append("a number")
        elif "QUANTITY" in names:
            parts.append("a number with a unit")
        if "AXIS" in names:
            parts.append("an axis such as +X")
    known = spelled(terminals)
    words = sorted(known[name] for name in names if name in known)
    signs = sorted(
        _SIGNS.get(name, f'"{terminals[name]}"')
        for name in names
        if name in _SIGNS or (name in terminals and not terminals[name][0].isalpha())
    )
    if len(words) > 8:
        parts.append("a statement" if "CONTROL" in names else "a clause")
        words = []
    parts += signs + [f'"{word}"' for word in words]
    if ("_NL" in names or "$END" in names) and "CONTROL" not in names:
        parts.append("the end of the line")
    if not parts:
        return "nothing more"
    if len(parts) == 1:
        return parts[0]
    return ", ".join(parts[:-1]) + " or " + parts[-1]


def explain_mistake(before: str, rest: str, accepted: tuple[str, ...]) -> tuple[str, str] | None:
    """The message and help of the known mistake that a line shows, or None.

    `before` is the line up to the place where it stops making sense, `rest` the line from there.
    """
    for mistake in MISTAKES:
        if mistake.shows(before, rest, accepted):
            return mistake.message, mistake.help
    return None
