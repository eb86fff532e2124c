"""The recipe language on paper: its grammar file, its reference, and the pages of its findings.

The grammar's parse tables are kept beside it in `tables.py`, so that a start does not compute them
anew; `python -m somite.grammar` writes that file, and a test holds it to the grammar.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lark import Lark

FOLDER = Path(__file__).parent

OPTIONS: dict[str, Any] = {
    "parser": "lalr",
    "lexer": "contextual",
    "start": ["start", "alone"],
    "keep_all_tokens": True,
    "maybe_placeholders": False,
}


def text() -> str:
    """The grammar file."""
    return (FOLDER / "somite.lark").read_text(encoding="utf-8")


def digest() -> str:
    """What the stored tables must have been made from: the grammar and the parser library."""
    import hashlib

    import lark

    return hashlib.sha256(f"{lark.__version__}\n{text()}".encode()).hexdigest()


def load(transformer: Any, postlex: Any) -> Lark:
    """The parser, from the stored tables if they are current, else from the grammar."""
    from lark import Lark

    try:
        from somite.grammar import tables
    except ImportError:
        tables = None  # type: ignore[assignment]
    if tables is not None and digest() == tables.DIGEST:
        loaded: Lark = Lark._load_from_dict(  # type: ignore[no-untyped-call]
            tables.DATA, tables.MEMO, transformer=transformer, postlex=postlex
        )
        return loaded
    return Lark(text(), transformer=transformer, postlex=postlex, **OPTIONS)


def tables_text(postlex: Any) -> str:
    """The text of `tables.py` for the grammar as it stands."""
    from lark import Lark
    from lark.grammar import Rule
    from lark.lexer import TerminalDef

    lark = Lark(text(), postlex=postlex, **OPTIONS)
    data, memo = lark.memo_serialize([TerminalDef, Rule])
    data["options"]["postlex"] = None
    return (
        '"""The parse tables of somite.lark, written by `python -m somite.grammar`."""\n'
        "\n# fmt: off\n# ruff: noqa\n# mypy: ignore-errors\n"
        f"DIGEST = {digest()!r}\nDATA = {_ordered(data)!r}\nMEMO = {_ordered(memo)!r}\n"
    )


def _ordered(value: Any) -> Any:
    """Plain data in a stable order, whatever the hash seed."""
    if isinstance(value, dict):
        keys = sorted(value, key=lambda key: (str(type(key)), key))
        return {key: _ordered(value[key]) for key in keys}
    if isinstance(value, set | frozenset):
        return sorted(value)
    if isinstance(value, list | tuple):
        return type(value)(_ordered(item) for item in value)
    return value


# ---- words for messages --------------------------------------------------------------------------

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


@cache
def _terminals() -> dict[str, str]:
    """Terminal names and the fixed text that each stands for."""
    from somite.parse import parser

    found = {}
    for terminal in parser().terminals:
        if type(terminal.pattern).__name__ == "PatternStr":
            found[terminal.name] = terminal.pattern.value
    found["ONE_SIDED"] = "one-sided"
    return found


@cache
def spelled() -> dict[str, str]:
    """The words (not signs) of the language by the name of their terminal."""
    return {name: word for name, word in _terminals().items() if word[0].isalpha()}


@cache
def heads() -> frozenset[str]:
    """The words that begin a statement, read from the first rules of the grammar."""
    words = set()
    inside = False
    for line in text().splitlines():
        if line.startswith("// ---- heads"):
            inside = True
        elif line.startswith("declared:"):
            break
        elif inside and '"' in line:
            words.add(line.split('"')[1])
    return frozenset(words - {"of", "in", "is"})


def expectation(accepted: Iterable[str]) -> str:
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
    words = sorted(spelled()[name] for name in names if name in spelled())
    terminals = _terminals()
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
    from somite.grammar.mistakes import MISTAKES

    for mistake in MISTAKES:
        if mistake.shows(before, rest, accepted):
            return mistake.message, mistake.help
    return None
