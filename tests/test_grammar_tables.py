"""The stored parse tables are those of the grammar as it stands."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from lark import Lark

from somite import grammar
from somite.grammar import tables
from somite.parse import Indentation, parser

ROOT = Path(__file__).parents[1]
RECIPES = [*ROOT.glob("recipes/**/*.somite"), *ROOT.glob("tests/cases/exercises/*.somite")]


@cache
def fresh() -> Lark:
    """A parser made from the grammar's text."""
    return Lark(grammar.text(), postlex=Indentation(), **grammar.OPTIONS)


@cache
def stored() -> Lark:
    """A parser made from the stored tables."""
    return grammar.load(transformer=None, postlex=Indentation())


def test_the_tables_say_that_they_were_made_from_this_grammar() -> None:
    assert grammar.digest() == tables.DIGEST


def test_the_tables_hold_as_many_states_as_the_grammar_makes() -> None:
    """States are numbered anew at each making, so the files are not compared by the letter."""

    def states(lark: Lark) -> int:
        table: Any = lark.parser.parser._parse_table
        return len(table.states)

    assert states(stored()) == states(fresh())


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.stem)
def test_the_stored_parser_reads_as_the_grammar_does(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert stored().parse(text, start="start") == fresh().parse(text, start="start")


def test_stale_tables_are_not_used(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "DIGEST", "of another grammar")
    lark = grammar.load(transformer=None, postlex=Indentation())
    assert lark is not parser()
    assert {"start", "alone"} <= set(lark.options.start)
