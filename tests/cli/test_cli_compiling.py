"""Compiling a cast: what is read, what findings can point into, what counts as an input."""

from __future__ import annotations

from pathlib import Path

import pytest

from somite import start
from somite.builds.compiling import Desk


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name, text in start.files("lantern").items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


RECIPE, SHEET = Path("lantern.somite"), Path("sheets/first.toml")


def test_a_recipe_is_read_once_for_all_its_sheets(folder: Path) -> None:
    desk = Desk()
    first = desk.compile(RECIPE, SHEET)
    RECIPE.unlink()
    second = desk.compile(RECIPE, SHEET)
    assert first.settled is not None
    assert second.settled == first.settled


def test_recipe_and_sheet_are_inputs(folder: Path) -> None:
    compiled = Desk().compile(RECIPE, SHEET)
    assert {path.resolve() for path in compiled.inputs} == {RECIPE.resolve(), SHEET.resolve()}


def test_landmarks_from_another_file_are_an_input(folder: Path) -> None:
    marks = [("foot", 0), ("knee", 30), ("neck", 60), ("crown", 90)]
    rows = "".join(f"{name},0,{height},0\n" for name, height in marks)
    Path("sheets/marks.csv").write_text("name,x,y,z\n" + rows, encoding="utf-8")
    text = SHEET.read_text(encoding="utf-8").partition("[points]")[0]
    SHEET.write_text(f'{text}landmarks = "marks.csv"\n', encoding="utf-8")
    compiled = Desk().compile(RECIPE, SHEET)
    assert compiled.settled is not None, compiled.findings
    assert Path("sheets/marks.csv").resolve() in {path.resolve() for path in compiled.inputs}


def test_an_imported_part_is_an_input(folder: Path) -> None:
    Path("parts").mkdir()
    part = "part ear\n  needs point tip\n  control lobe at tip\n    ring 5 cm\n"
    Path("parts/ear.somite").write_text(part, encoding="utf-8")
    text = RECIPE.read_text(encoding="utf-8")
    text += '\nimport ear from "parts/ear.somite"\n'
    RECIPE.write_text(text, encoding="utf-8")
    compiled = Desk().compile(RECIPE, SHEET)
    assert Path("parts/ear.somite").resolve() in {path.resolve() for path in compiled.inputs}


def test_a_mistake_in_a_sheet_can_be_shown_in_its_line(folder: Path) -> None:
    SHEET.write_text('character = "first"\ncolour = 3\n', encoding="utf-8")
    compiled = Desk().compile(RECIPE, SHEET)
    assert compiled.settled is None
    for finding in compiled.findings:
        assert finding.site is not None
        assert finding.site.file in compiled.sources


def test_a_recipe_without_a_sheet_is_looked_at_alone(folder: Path) -> None:
    assert Desk().compile(RECIPE, None).findings == ()
    RECIPE.write_text("recipe\n", encoding="utf-8")
    assert Desk().compile(RECIPE, None).findings != ()
