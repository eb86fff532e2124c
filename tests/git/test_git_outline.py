"""`somite outline`: the one form in which a file says what it says."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from stall import RECIPE, SHEET, edited

from somite import parse, pipeline
from somite.cli import main
from somite.merge.items import items_of
from somite.outline import outlined, recipe_outline, rig_outline
from somite.target import Context
from somite.targets.scene import TARGET
from somite.text import Source, clean

TREE = Path(__file__).parents[2]
RECIPES = sorted((TREE / "recipes").rglob("*.somite"))


def outline(text: str) -> str:
    made = recipe_outline(Source("lamp.somite", text))
    assert made is not None
    return made


def meaning(text: str) -> object:
    return items_of(parse.parse(Source("lamp.somite", text))[0]).meaning


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.stem)
def test_an_outline_says_what_the_recipe_says(path: Path) -> None:
    """It is a recipe itself, and the merge of recipes takes both for the same."""
    text = clean(path.read_text(encoding="utf-8"))
    assert meaning(outline(text)) == meaning(text)


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.stem)
def test_an_outline_is_its_own_outline(path: Path) -> None:
    once = outline(clean(path.read_text(encoding="utf-8")))
    assert outline(once) == once


def test_form_comments_and_order_make_no_difference() -> None:
    other = edited(
        RECIPE,
        (
            "  ring girth\n  lock size\ncontrol high",
            "  # here\n  lock  size\n  ring girth\ncontrol high",
        ),
        ("joint lamp at nape  under back.last\n", ""),
        ("group skeleton", "joint lamp at nape\n  under back.last\ngroup skeleton"),
        ("30 cm", "30cm"),
    )
    assert outline(other) == outline(RECIPE)


def test_a_fact_has_a_line_of_its_own() -> None:
    lines = outline("control master at ground  ring 40 cm  carries all\n").splitlines()
    assert lines == ["control master", "  at ground", "  carries all", "  ring 40 cm"]


def test_what_brackets_let_run_over_lines_is_on_one() -> None:
    lines = outline('let a = [1,  # first\n  2]\nlist b of c\n  about "a # b"\n').splitlines()
    assert lines == ["let a = [1, 2]", "list b of c", '  about "a # b"']


def test_a_scene_and_the_rig_that_it_is_of_have_the_same_nodes() -> None:
    made = pipeline.compile_text(RECIPE, SHEET)
    assert made.settled is not None and made.rig is not None
    outputs, _ = TARGET.emit(made.settled, Context())
    text = next(one.text for one in outputs if one.suffix.endswith(".json"))
    lines = outlined(text.encode(), "a.scene.json").decode().splitlines()
    assert lines[0] == "rig lamp_bearer of lumen"
    assert "  limits: turn.y, low -80 deg, high 80 deg" in lines
    assert "  dials: glow, unit number, default 0, low 0, high 1" in lines
    own = rig_outline(made.rig).splitlines()
    kinds = ("joint ", "control ", "group ", "grip ", "twist ", "ride ", "follow ")
    assert [one for one in lines if one.startswith(kinds)] == [
        one for one in own if one.startswith(kinds)
    ]


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.somite", b"control (((\n"),
        ("a.somite", b"recipe \xff\n"),
        ("a.somite", b"\x00\x01"),
        ("a.json", b"{"),
        ("a.json", b'{"format": "somite-scene 1"}'),
        ("a.json", b'{"nothing": "of ours"}'),
        ("a.json", b"[" * 100_000),
        ("sheet.toml", SHEET.encode()),
    ],
)
def test_what_is_neither_comes_out_as_it_is(
    tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes], name: str, content: bytes
) -> None:
    (tmp_path / name).write_bytes(content)
    assert main(["outline", str(tmp_path / name)]) == 0
    sys.stdout.flush()
    assert capfdbinary.readouterr() == (content, b"")


def test_a_file_that_is_not_there_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["outline", str(tmp_path / "none.somite")]) == 2
    assert "file-missing" in capsys.readouterr().err
