"""`somite touches`: what moves what, in a person's units, as a table and as JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from somite.cli import main
from somite.report.touches_form import schema_text

RECIPE = """\
recipe stall
  units cm
  axes up +Y front +Z

sheet
  point hook, flame, wick

control master at ground  ring 40 cm  carries all
  lock size, turn
control pole at hook  under master  ring 20 cm
  dial space of master, world = master
  dial glow = 0 in 0..1
  only turn.z
  limit turn.z -30 deg..120 deg
joint lamp at flame  under pole
joint tip at wick  under pole
group rail at hook  under master
joint bead at hook  under rail
feed rail.move.x = live pole.glow * 7 cm
"""

SHEET = """\
character = "lumen"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
hook = [0, 120, 0]
flame = [0, 90, 0]
wick = [0, 80, 0]
"""


@pytest.fixture
def stall(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "stall.somite").write_text(RECIPE, encoding="utf-8")
    (tmp_path / "lumen.toml").write_text(SHEET, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def touches(*arguments: str) -> int:
    return main(["touches", "stall.somite", "--sheet", "lumen.toml", *arguments])


def document(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    assert touches("--json", "-") == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def found(document: dict[str, Any], channel: str) -> dict[str, dict[str, Any]]:
    return {one["joint"]: one for one in document["touches"] if one["channel"] == channel}


def test_a_turn_moves_a_joint_by_its_distance_and_turns_it_by_itself(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lamp = found(document(capsys), "pole.turn.z")["lamp"]
    # 30 cm from the hook: an arc of 30 * pi / 180 cm a degree, a chord of 2 * 30 * sin 60 at most.
    assert lamp["per_unit"]["moved"] == pytest.approx(0.5235988, abs=2e-6)
    assert lamp["per_unit"]["turned"] == pytest.approx(1, abs=1e-6)
    assert lamp["most"]["moved"] == pytest.approx(51.9615242, abs=2e-6)
    assert lamp["most"]["turned"] == pytest.approx(120, abs=1e-6)


def test_a_move_moves_a_joint_by_as_much(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    moved = found(document(capsys), "master.move.y")
    assert set(moved) == {"lamp", "tip", "bead"}
    assert all(one["per_unit"] == {"moved": 1, "turned": 0} for one in moved.values())


def test_a_dial_moves_by_what_it_feeds(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (only,) = found(document(capsys), "pole.glow").values()
    assert (only["joint"], only["of"]) == ("bead", "number")
    assert only["per_unit"] == only["most"] == {"moved": 7, "turned": 0}


def test_locked_channels_and_what_moves_nothing_are_left_out(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    channels = {one["channel"] for one in document(capsys)["touches"]}
    moves = {f"master.move.{axis}" for axis in "xyz"}
    assert channels == moves | {"pole.turn.z", "pole.glow"}


def test_the_strongest_joint_of_a_channel_comes_first(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert list(found(document(capsys), "pole.turn.z")) == ["tip", "lamp"]


def test_the_document_is_as_its_schema_says(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    jsonschema.validate(document(capsys), json.loads(schema_text()))


def test_the_table_is_in_the_recipes_unit_with_a_gap_between_controls(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert touches() == 0
    head, *lines = capsys.readouterr().out.splitlines()
    assert head.split()[:2] == ["channel", "joint"]
    row = next(line.split() for line in lines if line.startswith("pole.turn.z") and "lamp" in line)
    assert row == [
        *("pole.turn.z", "lamp", "0.524", "cm/deg", "1", "deg/deg", "51.962", "cm", "120", "deg")
    ]
    at = lines.index("", 1)
    assert lines[at - 1].startswith("master.") and lines[at + 1].startswith("pole.")


def test_json_can_go_to_a_file_beside_the_table(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = document(capsys)
    assert touches("--json", "found/touches.json") == 0
    assert capsys.readouterr().out.startswith("channel")
    assert json.loads((stall / "found" / "touches.json").read_text()) == made


def test_a_rig_without_controls_touches_nothing(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recipe = RECIPE.partition("control master")[0] + "joint lamp at flame\n"
    (stall / "stall.somite").write_text(recipe.replace("hook, flame, wick", "flame"))
    assert document(capsys)["touches"] == []
    assert touches() == 0
    assert len(capsys.readouterr().out.splitlines()) == 1


def test_a_rig_that_does_not_compile_shows_its_findings(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (stall / "stall.somite").write_text(RECIPE.replace("at wick", "at wack"))
    assert touches() == 1
    out, err = capsys.readouterr()
    assert out == "" and 'did you mean "wick"' in err
