"""`somite pose`: what is typed, what comes out, and what is said of the rest."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from somite.cli import main
from somite.report.poses import schema_text

RECIPE = """\
recipe stall
  units cm
  axes up +Y front +Z

sheet
  point foot, hook, flame
  pair hand

control master at ground  ring 40 cm  carries all
  size even
control pole at hook  under master  ring 20 cm
  dial sway = 0 in 0..1
  dial space of master, world = master
  lock move.z
  limit turn.z -30 deg..120 deg
joint lamp at flame  under pole
group skeleton at ground  under master
joint post at foot  under skeleton
  follow master
mirror
  control grab at hand  under master  ball 5 cm
curve rope through foot, hook, flame
  degree 1
  points 3
  grip low owns 1..2  follow master
  grip high owns 3  follow pole
gauge drop = live pole.turn.z
output tilt = live pole.turn.z
pose tipped
  set pole.turn.z = 90 deg
  set pole.move.x = 10 cm
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
[pairs]
hand = [30, 80, 5]
"""


@pytest.fixture
def stall(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "stall.somite").write_text(RECIPE, encoding="utf-8")
    (tmp_path / "lumen.toml").write_text(SHEET, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def pose(*arguments: str) -> int:
    return main(["pose", "stall.somite", "--sheet", "lumen.toml", *arguments])


def document(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert pose(*arguments, "--format", "json") == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def place(document: dict[str, Any], name: str, kind: str = "joints", pose: int = 0) -> list[float]:
    return [row[3] for row in document["poses"][pose][kind][name]["world"][:3]]


def test_without_channels_everything_stands_at_rest(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = document(capsys)
    assert place(made, "lamp") == [0, 90, 0]
    assert place(made, "grab_right", "controls") == [-30, 80, 5]


def test_json_has_joints_controls_and_curves_and_nothing_else(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = document(capsys)
    assert list(made) == ["poses"]
    (only,) = made["poses"]
    assert list(only) == ["joints", "controls", "curves"]
    assert set(only["joints"]) == {"lamp", "post"}
    assert set(only["controls"]) == {"master", "pole", "grab_left", "grab_right"}
    assert only["curves"] == {"rope": {"points": [[0, 0, 0], [0, 120, 0], [0, 90, 0]]}}


def test_the_document_is_as_its_schema_says(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    jsonschema.validate(document(capsys, "--pose", "tipped"), json.loads(schema_text()))


def test_world_matrices_are_rows_for_column_vectors(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = document(capsys, "--set", "pole.turn.z=90")
    # A quarter turn about z takes x to y and y to -x; the lamp hangs 30 cm below the hook.
    assert made["poses"][0]["joints"]["lamp"]["world"] == [
        [0, -1, 0, 30],
        [1, 0, 0, 120],
        [0, 0, 1, 0],
        [0, 0, 0, 1],
    ]


@pytest.mark.parametrize(
    ("value", "centimetres"),
    [("12", 12), ("12 cm", 12), ("12cm", 12), ("0.12 m", 12), ("-1 inch", -2.54), ("+.5mm", 0.05)],
)
def test_lengths_take_any_unit_and_the_recipes_without_one(
    stall: Path, capsys: pytest.CaptureFixture[str], value: str, centimetres: float
) -> None:
    made = document(capsys, "--set", f"pole.move.x={value}")
    assert place(made, "lamp") == [centimetres, 90, 0]


@pytest.mark.parametrize("value", ["90", "90 deg", "1.5707963267948966 rad", "9e1"])
def test_angles_are_degrees_without_a_unit(
    stall: Path, capsys: pytest.CaptureFixture[str], value: str
) -> None:
    made = document(capsys, "--set", f"pole.turn.z={value}")
    assert place(made, "lamp") == [30, 120, 0]


@pytest.mark.parametrize("value", ["2", "200%"])
def test_sizes_are_numbers_or_shares(
    stall: Path, capsys: pytest.CaptureFixture[str], value: str
) -> None:
    made = document(capsys, "--set", f"master.size.x={value}")
    assert place(made, "lamp") == [0, 180, 0]


def test_a_choice_is_set_by_its_word(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert pose("--set", "pole.space=world") == 0
    assert capsys.readouterr().err == ""


def test_a_node_may_be_named_as_outputs_spell_it(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spelled = document(capsys, "--set", "grab_left.move.y=3")
    assert spelled == document(capsys, "--set", "grab.left.move.y=3")
    assert place(spelled, "grab_left", "controls") == [30, 83, 5]


def test_what_is_set_comes_over_a_named_pose(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert place(document(capsys, "--pose", "tipped"), "lamp") == [40, 120, 0]
    both = document(capsys, "--pose", "tipped", "--set", "pole.move.x=0")
    assert place(both, "lamp") == [30, 120, 0]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("--set", "pole.turm.z=4"), "unknown-channel", 'did you mean "pole.turn.z"?'),
        (("--set", "lantern.wick=4"), "unknown-channel", 'found "lantern.wick"'),
        (("--set", "pole.turn.z=4 cm"), "channel-value", "which is a length"),
        (("--set", "pole.move.x=much"), "channel-value", 'found "much"'),
        (("--set", "pole.move.x=4 cn"), "channel-value", "its units are mm, cm, m"),
        (("--set", "pole.move.x=1e999"), "channel-value", "finite"),
        (("--set", "pole.sway="), "channel-value", "a plain number"),
        (("--set", "pole.space=word"), "channel-value", 'did you mean "world"?'),
        (("--pose", "tiped"), "unknown-name", 'did you mean "tipped"?'),
    ],
)
def test_what_the_rig_does_not_have_is_a_finding(
    stall: Path,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    code: str,
    said: str,
) -> None:
    assert pose(*arguments) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert f"error[{code}]" in err and said in err


def test_every_mistake_is_told_at_once(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = ("--set", "pole.turm.z=4", "--set", "pole.move.x=much", "--pose", "tiped")
    assert pose(*wrong) == 1
    assert capsys.readouterr().err.endswith("3 errors\n")


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("pole.turn.z=200", "from -30 deg to 120 deg"),
        ("pole.sway=-1", "from 0 to 1"),
        ("pole.move.z=1", "locked"),
    ],
)
def test_what_is_held_back_is_a_note_and_the_pose_comes_all_the_same(
    stall: Path, capsys: pytest.CaptureFixture[str], setting: str, said: str
) -> None:
    assert pose("--set", setting, "--format", "json") == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["poses"]
    code = "channel-held"
    assert f"note[{code}]" in err and said in err


def test_a_limited_turn_stays_at_its_limit(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    beyond = document(capsys, "--set", "pole.turn.z=200")
    assert beyond == document(capsys, "--set", "pole.turn.z=120")


def test_csv_has_a_line_for_each_thing(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert pose("--pose", "tipped", "--format", "csv") == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    lines = {(row["kind"], row["name"]): row for row in rows}
    assert len(lines) == len(rows) == 2 + 4 + 2 + 3 + 1
    lamp = lines["joint", "lamp"]
    assert [lamp[axis] for axis in "xyz"] == ["40", "120", "0"]
    assert float(lamp["turn z"]) == pytest.approx(0.5**0.5, abs=1e-12)
    assert [lamp[f"size {axis}"] for axis in "xyz"] == ["1", "1", "1"]
    assert lines["point", "rope 3"]["x"] == "40"
    assert lines["output", "tilt"]["value"] == "90"


def test_the_table_says_what_moved_and_turned(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert pose("--set", "pole.turn.z=90") == 0
    lines = {line.split()[1]: line.split() for line in capsys.readouterr().out.splitlines()}
    # The lamp's chord of a quarter turn of radius 30.
    assert lines["lamp"] == ["joint", "lamp", "30", "120", "0", "42.426", "90", "1"]
    assert lines["post"] == ["joint", "post", "0", "0", "0", "0", "0", "1"]


def test_the_result_can_go_to_a_file(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    made = document(capsys)
    assert pose("--format", "json", "-o", "poses/rest.json") == 0
    assert capsys.readouterr().out == "wrote poses/rest.json\n"
    assert json.loads((stall / "poses/rest.json").read_text()) == made


CLIP = "frame,pole.move.x,pole.space\n1,0,world\n3,20,\n"


def test_a_clip_gives_a_pose_a_frame(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (stall / "walk.csv").write_text(CLIP, encoding="utf-8")
    made = document(capsys, "--clip", "walk.csv")
    assert [place(made, "lamp", pose=at)[0] for at in range(3)] == [0, 10, 20]


def test_what_is_set_holds_at_every_frame_of_a_clip(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (stall / "walk.csv").write_text(CLIP, encoding="utf-8")
    made = document(capsys, "--clip", "walk.csv", "--set", "pole.move.y=5")
    assert [place(made, "lamp", pose=at)[1] for at in range(3)] == [95, 95, 95]


def test_tables_of_a_clip_name_the_frame(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (stall / "walk.csv").write_text(CLIP, encoding="utf-8")
    assert pose("--clip", "walk.csv") == 0
    out = capsys.readouterr().out
    assert [line for line in out.splitlines() if line.startswith("frame")] == [
        *("frame 1", "frame 2", "frame 3")
    ]


def test_a_mirrored_clip_moves_the_other_side(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (stall / "wave.csv").write_text("frame,grab.left.move.x\n1,4\n", encoding="utf-8")
    made = document(capsys, "--clip", "wave.csv", "--mirror")
    assert place(made, "grab_left", "controls") == [30, 80, 5]
    # Outward on the left is outward on the right.
    assert place(made, "grab_right", "controls") == [-34, 80, 5]


def test_a_mistake_in_a_clip_is_shown_at_its_line(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (stall / "walk.csv").write_text("frame,pole.move.x\n1,much\n", encoding="utf-8")
    assert pose("--clip", "walk.csv") == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "walk.csv:2:1: error[clip-value]" in err


@pytest.mark.parametrize(
    "arguments",
    [("--set", "pole.move.x"), ("--mirror",), ("--format", "sarif"), ("--clip", "none.csv")],
)
def test_wrong_usage_gives_status_2(
    stall: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    try:
        status = pose(*arguments)
    except SystemExit as ended:
        status = int(str(ended.code))
    assert status == 2
    assert capsys.readouterr().out == ""


def test_a_rig_that_does_not_compile_shows_its_findings(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (stall / "stall.somite").write_text(RECIPE.replace("follow pole", "follow pale"))
    assert pose() == 1
    out, err = capsys.readouterr()
    assert out == "" and "stall.somite:" in err and "follow pale" in err


PAGE = Path(__file__).parents[2] / "grammar" / "reference" / "evaluating.md"
FRAME = PAGE.with_name("index.md")


def fenced(page: Path, words: str) -> list[str]:
    pieces = page.read_text(encoding="utf-8").split(f"```{words}\n")[1:]
    return [piece.partition("```")[0] for piece in pieces]


def test_both_clips_of_the_reference_are_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = next(text for text in fenced(PAGE, "text") if "frame," in text)
    written = next(text for text in fenced(PAGE, "json form") if '"channels"' in text)
    monkeypatch.chdir(tmp_path)
    Path("stall.somite").write_text(fenced(FRAME, "somite frame")[0], encoding="utf-8")
    Path("lumen.toml").write_text(fenced(FRAME, "toml frame")[0], encoding="utf-8")
    Path("bow.csv").write_text(table, encoding="utf-8")
    Path("bow.json").write_text(written, encoding="utf-8")
    made = document(capsys, "--clip", "bow.csv")
    assert len(made["poses"]) == 9
    assert made == document(capsys, "--clip", "bow.json")
    start, end = (place(made, "low", "controls", at)[1] for at in (0, 8))
    assert end == pytest.approx(start - 4)
