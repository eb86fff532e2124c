"""`somite match` and `somite carry`: what is typed, what is written, and what is said."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from somite.cli import main
from somite.commands.arguments import Refused
from somite.commands.match import frames_of

RECIPE = """\
recipe stall
  units cm
  axes up +Y front +Z

sheet
  point foot, hook, flame

control master at foot  ring 40 cm  carries all
control pole at hook  under master  ring 20 cm
  dial space of world, master = master
  dial spare = 0 in 0..1
  dial swing = 0 in 0..1
  dial driven = 0 in 0..1
  follow world, master by space for move, turn
  limit turn.x, turn.z -90 deg..90 deg
feed pole.driven = live pole.swing
gauge shown = live pole.driven
group arm at hook  under pole
feed arm.turn.x = live 20 deg * pole.driven
joint lamp at flame  under arm
"""
SHEET = """\
character = "lumen"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
foot = [0, 0, 0]
hook = [0, 120, 0]
flame = [0, 90, 0]
"""
CLIP = """\
frame,master.turn.y,pole.turn.z,pole.space
1,0,0,master
5,40,10,
9,0,-20,
"""


@pytest.fixture
def stall(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "stall.somite").write_text(RECIPE, encoding="utf-8")
    (tmp_path / "lumen.toml").write_text(SHEET, encoding="utf-8")
    (tmp_path / "walk.csv").write_text(CLIP, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def match(*arguments: str, clip: str = "walk.csv") -> int:
    return main(["match", clip, "--recipe", "stall.somite", "--sheet", "lumen.toml", *arguments])


def carry(*arguments: str, clip: str = "walk.csv") -> int:
    return main(["carry", clip, "--sheet", "lumen.toml", *arguments])


def codes(text: str) -> list[str]:
    return re.findall(r"(?:error|warning|note)\[([a-z-]+)\]", text)


def test_the_clip_goes_to_the_output_and_what_is_left_to_the_error_stream(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert match("--dial", "pole.space=world", "--at", "3..6") == 0
    out, errors = capsys.readouterr()
    head = out.splitlines()[1].split(",")
    assert head[:4] == ["frame", "master.turn.y", "pole.turn.z", "pole.space"]
    frames = [line.partition(",")[0] for line in out.splitlines()[2:]]
    assert frames == ["1", "2.999", "3", "4", "5", "6", "6.999", "7", "9"]
    assert errors.startswith("remaining error")
    assert re.search(r"^joints +place +none", errors, re.MULTILINE)
    assert codes(errors) == []


def test_a_clip_in_a_file_leaves_the_report_to_the_output(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert match("--dial", "pole.space=world", "--at", "3..6", "-o", "new.json") == 0
    out, errors = capsys.readouterr()
    assert errors == ""
    assert out.startswith("remaining error") and out.endswith("wrote new.json\n")
    made = json.loads((stall / "new.json").read_text(encoding="utf-8"))
    assert [key["frame"] for key in made["channels"]["pole.space"]["keys"]] == [1, 3, 7]


def test_a_switched_clip_poses_where_the_old_one_did(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert match("--dial", "pole.space=world", "-o", "new.csv") == 0
    capsys.readouterr()
    rows = []
    for clip in ("walk.csv", "new.csv"):
        assert (
            main(
                ["pose", "stall.somite", "--sheet", "lumen.toml", "--clip", clip, "--format", "csv"]
            )
            == 0
        )
        lines = capsys.readouterr().out.splitlines()[1:]
        rows.append(
            [float(cell) for line in lines if ",lamp," in line for cell in line.split(",")[3:10]]
        )
    assert rows[0] == pytest.approx(rows[1], abs=1e-6)


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("--dial", "pole.spare=1"), "match-dial"),
        (("--dial", "pole.turn.x=1"), "match-dial"),
        (("--dial", "pole.driven=1"), "match-dial"),
        (("--dial", "pole.swing=2"), "match-dial"),
        (("--dial", "pole.spce=world"), "unknown-channel"),
        (("--dial", "pole.space=wrld"), "channel-value"),
        (("--dial", "pole.space=world", "--at", "5..12"), "match-frames"),
        (("--dial", "pole.space=world", "--at", "-3..4"), "match-frames"),
    ],
)
def test_what_cannot_be_switched_is_a_finding_and_nothing_is_written(
    stall: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], code: str
) -> None:
    if "-3..4" in arguments:
        arguments = (*arguments[:-2], "--at=-3..4")
    assert match(*arguments, "-o", "new.csv") == 1
    out, errors = capsys.readouterr()
    assert codes(errors) == [code]
    assert out == ""
    assert not (stall / "new.csv").exists()


def test_a_clip_without_keys_has_no_frames(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (stall / "empty.csv").write_text("frame,pole.turn.x\n", encoding="utf-8")
    assert match("--dial", "pole.space=world", clip="empty.csv") == 1
    assert codes(capsys.readouterr().err) == ["match-frames"]


def test_a_dial_that_has_its_value_already_is_noted_and_the_clip_is_as_it_was(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert match("--dial", "pole.space=master", "--at", "2..4") == 0
    out, errors = capsys.readouterr()
    assert codes(errors) == ["match-same"]
    assert out == "# rate 24\n" + CLIP


def test_what_a_limit_keeps_is_warned_of(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = "frame,master.turn.z,pole.space\n1,0,master\n9,170,\n"
    (stall / "roll.csv").write_text(table, encoding="utf-8")
    assert match("--dial", "pole.space=world", clip="roll.csv") == 0
    errors = capsys.readouterr().err
    assert codes(errors) == ["match-apart"]
    assert '"pole.turn.z" is limited (in 4 of 9 keys)' in errors


@pytest.mark.parametrize(
    "arguments",
    [
        ("--dial", "pole.space"),
        ("--dial", "pole.space=world", "--at", "8..3"),
        ("--dial", "pole.space=world", "--at", "soon"),
        ("--dial", "pole.space=world", "--at", ""),
        ("--dial", "pole.space=world", "--every", "0"),
        ("--dial", "pole.space=world", "--every", "nan"),
    ],
)
def test_wrong_usage_is_refused(
    stall: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    assert match(*arguments) == 2
    assert capsys.readouterr().err.startswith("somite match: expected")


def test_a_clip_that_is_not_there_is_a_finding(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert match("--dial", "pole.space=world", clip="gone.csv") == 2
    assert codes(capsys.readouterr().err) == ["file-missing"]


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("3..6", (3.0, 6.0)),
        ("3..", (3.0, None)),
        ("..6", (None, 6.0)),
        ("..", (None, None)),
        ("4", (4.0, 4.0)),
        ("-4..-2", (-4.0, -2.0)),
    ],
)
def test_frames_as_they_are_written(text: str, ends: tuple[float | None, float | None]) -> None:
    assert frames_of(text) == ends


@pytest.mark.parametrize("text", ["", "3...6", "3-6", "1e3..", "6..3", "a..b", "3.5..6"])
def test_other_frames_are_refused(text: str) -> None:
    with pytest.raises(Refused):
        frames_of(text)


# ---- carry ---------------------------------------------------------------------------------------


def test_a_clip_is_carried_to_a_recipe_with_other_names_and_another_order(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    new = RECIPE.replace("control pole at hook", "control stick at hook").replace("pole.", "stick.")
    new = new.replace("under pole", "under stick")
    new = new.replace("ring 20 cm\n", "ring 20 cm\n  was pole\n  order zyx\n")
    (stall / "new.somite").write_text(new, encoding="utf-8")
    assert carry("--from", "stall.somite", "--to", "new.somite", "-o", "new.csv") == 0
    out, errors = capsys.readouterr()
    assert errors == ""
    assert out.startswith("the clip carries\n")
    assert 'carried: "pole" is called "stick"' in out
    written = (stall / "new.csv").read_text(encoding="utf-8")
    assert written.splitlines()[1] == "frame,master.turn.y,stick.turn.z,stick.space"
    assert main(["pose", "new.somite", "--sheet", "lumen.toml", "--clip", "new.csv"]) == 0


def test_what_is_lost_is_warned_of(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    new = RECIPE.replace("  limit turn.x, turn.z -90 deg..90 deg", "  lock turn.z")
    (stall / "new.somite").write_text(new, encoding="utf-8")
    assert carry("--from", "stall.somite", "--to", "new.somite") == 0
    out, errors = capsys.readouterr()
    assert out.startswith("# rate 24\nframe,")
    assert codes(errors) == ["carry-lost"]
    assert "the clip breaks\n" in errors
    assert re.search(r"^joints +turn +20 deg +lamp at 9", errors, re.MULTILINE)


def test_sides_without_one_character_in_common_are_refused(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("pip", "bram"):
        (stall / f"{name}.toml").write_text(SHEET.replace("lumen", name), encoding="utf-8")
    (stall / "cast.toml").write_text(
        '[[build]]\nrecipe = "stall.somite"\nsheets = ["pip.toml", "bram.toml"]\n',
        encoding="utf-8",
    )
    status = main(["carry", "walk.csv", "--from", "stall.somite", "--to", "stall.somite"])
    assert status == 1
    assert codes(capsys.readouterr().err) == ["carry-sides"]
    assert carry("--from", "stall.somite", "--to", "stall.somite") == 0


def test_a_rig_that_does_not_compile_is_a_finding(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (stall / "new.somite").write_text(
        RECIPE.replace("under master", "under mster"), encoding="utf-8"
    )
    assert carry("--from", "stall.somite", "--to", "new.somite") == 1
    assert "unknown-name" in codes(capsys.readouterr().err)
    assert carry("--from", "stall.somite", "--to", "gone.somite") == 2
