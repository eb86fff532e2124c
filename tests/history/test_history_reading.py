"""Recipes read statement by statement are what they are read as a whole."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from somite import parse
from somite.history.reading import Reader, blocks, moved
from somite.text import Source, clean

TREE = Path(__file__).parents[2]
RECIPES = sorted([*(TREE / "recipes").rglob("*.somite"), *(TREE / "tests/cases").rglob("*.somite")])
LONG = (TREE / "tests/benchmarks/biped.somite").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.stem)
def test_every_recipe_reads_the_same(path: Path) -> None:
    source = Source(path.name, clean(path.read_text(encoding="utf-8")))
    assert Reader()(source) == parse.parse(source)


@given(st.data())
def test_whatever_is_cut_out_or_put_in_reads_the_same(data: st.DataObject) -> None:
    reader = Reader()
    reader(Source("biped.somite", LONG))
    start = data.draw(st.integers(0, len(LONG)))
    end = data.draw(st.integers(start, min(start + 300, len(LONG))))
    put = data.draw(
        st.sampled_from(["", "\n", "# a word\n", "\n\ncontrol x at y\n", "(", '"', " "])
    )
    text = Source("biped.somite", LONG[:start] + put + LONG[end:])
    assert reader(text) == parse.parse(text)


def test_a_statement_that_only_moved_is_not_read_again(monkeypatch: pytest.MonkeyPatch) -> None:
    reader = Reader()
    reader(Source("biped.somite", LONG))
    read: list[str] = []
    real = parse.parse

    def counted(source: Source) -> object:
        read.append(source.text)
        return real(source)

    monkeypatch.setattr(parse, "parse", counted)
    changed = LONG.replace("control nod at nape", "# a word\ncontrol nod at crown")
    assert reader(Source("biped.somite", changed))[1] == ()
    assert [text.split("\n")[0] for text in read] == ["control nod at crown  under spine.high"]


def test_what_stands_in_brackets_over_lines_is_one_statement() -> None:
    text = "let a = [1,\n2,\n3]\nlet b = 1  # (\nlet c = 2\n"
    found = blocks(text)
    assert found is not None
    assert [piece.split(" =")[0] for _, piece in found] == ["let a", "let b", "let c"]


def test_a_line_that_belongs_to_nothing_has_the_whole_read() -> None:
    assert blocks("  units cm\nrecipe a\n") is None


def test_moving_keeps_everything_but_offsets() -> None:
    source = Source("a", "joint a at b + (1 cm, 2 cm, 3 cm)\n")
    statement = parse.parse(source)[0].statements[0]
    assert moved(moved(statement, 7), -7) == statement
    assert moved(statement, 7).arguments[0].arguments[0].start == 13
