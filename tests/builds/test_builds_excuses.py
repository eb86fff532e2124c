"""Excuses are judged over a whole cast: one character that needs an excuse is enough."""

from __future__ import annotations

from pathlib import Path

import pytest

from somite.cli import main

# The post stands still in the puppets that have roots, and goes along in the others.
RECIPE = """\
recipe stall
  units cm
  axes up +Y front +Z

sheet
  point foot, hook
  count roots = 0 in 0..3

control master at ground  ring 40 cm  carries all
joint lamp at hook  under master
joint post at foot
  excuse travel because "a post with roots stays in the market square"
  when roots < 1
    follow master
"""

PART = """\
part pole
  needs point foot
  needs node carrier
  needs count roots

  joint post at foot
    excuse travel because "a post with roots stays in the market square"
    when roots < 1
      follow carrier
"""
USE = """\
use pole as pole
  with foot = foot
  with carrier = master
  with roots = roots
"""

SHEET = """\
character = "NAME"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
foot = [0, 0, 0]
hook = [0, 120, 0]
[measures]
roots = ROOTS
"""

CAST = """\
[[build]]
recipe = "stall.somite"
sheets = ["sheets/*.toml"]
"""


@pytest.fixture
def market(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "sheets").mkdir()
    (tmp_path / "stall.somite").write_text(RECIPE)
    (tmp_path / "cast.toml").write_text(CAST)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def puppet(folder: Path, name: str, roots: str) -> None:
    text = SHEET.replace("NAME", name).replace("ROOTS", roots)
    (folder / "sheets" / f"{name}.toml").write_text(text)


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> int:
    """How often an excuse is called unneeded."""
    main(["check", "--jobs", "1", *arguments])
    return capsys.readouterr().err.count("warning[unneeded-excuse]")


def test_an_excuse_that_no_character_needs_is_told_once(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    puppet(market, "badger", "0")
    puppet(market, "otter", "0")
    assert told(capsys) == 1


@pytest.mark.parametrize("first", ["0", "2"])
def test_an_excuse_that_one_character_needs_is_needed(
    market: Path, capsys: pytest.CaptureFixture[str], first: str
) -> None:
    puppet(market, "badger", first)
    puppet(market, "otter", "2" if first == "0" else "0")
    assert told(capsys) == 0


def test_an_excuse_is_judged_over_all_recipes_that_use_its_part(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "parts").mkdir()
    (market / "parts" / "pole.somite").write_text(PART)
    head = RECIPE[: RECIPE.index("joint post")]
    head = head.replace("sheet\n", 'import pole from "parts/pole.somite"\n\nsheet\n')
    for name in ("stall", "ferry"):
        (market / f"{name}.somite").write_text(head.replace("stall", name) + USE)
    (market / "cast.toml").write_text(
        '[[build]]\nrecipe = "stall.somite"\nsheets = ["sheets/badger.toml"]\n'
        '[[build]]\nrecipe = "ferry.somite"\nsheets = ["sheets/otter.toml"]\n'
    )
    puppet(market, "badger", "0")
    puppet(market, "otter", "0")
    assert told(capsys) >= 1
    puppet(market, "otter", "1")
    assert told(capsys) == 0


def test_nothing_is_said_of_excuses_while_a_character_does_not_compile(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    puppet(market, "badger", "0")
    puppet(market, "otter", '"many"')
    assert told(capsys) == 0


def test_one_sheet_of_a_cast_says_nothing_of_excuses(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    puppet(market, "badger", "0")
    puppet(market, "otter", "0")
    assert told(capsys, "stall.somite", "--sheet", "sheets/badger.toml") == 0
    assert told(capsys, "stall.somite") == 1
    (market / "cast.toml").unlink()
    assert told(capsys, "stall.somite", "--sheet", "sheets/badger.toml") == 1


def test_table_and_documents_agree_with_what_is_told(
    market: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    puppet(market, "badger", "0")
    puppet(market, "otter", "2")
    assert main(["check", "--jobs", "1", "--junit", "found.xml"]) == 0
    rows = capsys.readouterr().out.splitlines()
    assert [row.split()[1] for row in rows[1:3]] == ["none", "none"]
    assert "unneeded" not in (tmp_path / "found.xml").read_text()


def test_an_unused_measure_stays_a_matter_of_its_sheet(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    puppet(market, "badger", "0\nwing_span = 30")
    puppet(market, "otter", "2")
    main(["check", "--jobs", "1"])
    assert capsys.readouterr().err.count("warning[unused-measure]") == 1
