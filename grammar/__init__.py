"""The recipe language on paper: its grammar file, its reference, and the pages of its findings.

The grammar's parse tables are kept beside it in `tables.py`, so that a start does not compute them
anew; `python -m somite.grammar` writes that file, and a test holds it to the grammar.
"""

from __future__ import annotations

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
