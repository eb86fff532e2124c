"""`somite draw`: a picture in a file or on the output, at rest or in a pose, and plain refusals."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from somite.cli import main

RECIPE = """\
recipe stall
  units cm
  axes up +Y front +Z

sheet
  point hook, flame

control master at (0, 0, 0)  ring 40 cm  carries all
control pole at hook  under master  ring 20 cm
  limit turn.z -30 deg..120 deg
chain lamp through hook, flame  under pole
  axis +X
  lean +Y toward +Z

pose lit
  set pole.turn.z = 20 deg
"""

SHEET = """\
character = "lumen"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
hook = [0, 120, 0]
flame = [0, 90, 0]
"""


@pytest.fixture
def stall(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "stall.somite").write_text(RECIPE, encoding="utf-8")
    (tmp_path / "lumen.toml").write_text(SHEET, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def draw(*arguments: str) -> int:
    return main(["draw", "stall.somite", "--sheet", "lumen.toml", *arguments])


def views(svg: str) -> list[str]:
    return [g.attrib["data-view"] for g in ElementTree.fromstring(svg) if "data-view" in g.attrib]


def test_the_picture_goes_to_the_output_with_front_and_side(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert draw() == 0
    svg = capsys.readouterr().out
    assert views(svg) == ["front", "side"]
    assert "master</text>" in svg and "before" not in svg.partition("</style>")[2]


def test_views_names_and_a_file_can_be_chosen(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert draw("--view", "top", "--names", "joints", "-o", "lamp.svg") == 0
    assert capsys.readouterr().out == "wrote lamp.svg\n"
    svg = (stall / "lamp.svg").read_text(encoding="utf-8")
    assert views(svg) == ["top"]
    assert "lamp.1</text>" in svg and "master</text>" not in svg


def test_a_pose_is_drawn_over_the_rest_and_what_it_cannot_have_is_told(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert draw("--pose", "lit", "--set", "pole.turn.z=150") == 0
    told = capsys.readouterr()
    assert '<g class="before">' in told.out
    assert "pole.turn.z" in told.err and "120 deg" in told.err


@pytest.mark.parametrize(
    "arguments, said",
    [
        (("--set", "pole.turn.z"), "expected CONTROL.CHANNEL=VALUE"),
        (("--set", "pole.turm.z=1"), 'did you mean "pole.turn.z"?'),
        (("--pose", "dark"), 'expected a pose of the recipe, found "dark"'),
        (("--height", "3"), "expected a height from 50 to 10000, found 3"),
    ],
)
def test_what_cannot_be_drawn_is_refused_and_nothing_is_written(
    stall: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], said: str
) -> None:
    assert draw(*arguments, "-o", "lamp.svg") in (1, 2)
    assert said in capsys.readouterr().err
    assert not (stall / "lamp.svg").exists()


HELPED = """\
recipe crane
  units cm
  axes up +Y front +Z

control master at ground  ring 40 cm  carries all
control mix at ground  under master  cross 10 cm
  dial mix = 1 in 0..1 neutral
control swing at (0, 100 cm, 0)  under master  ring 20 cm
  shown by mix.mix below 1
control goal at (40 cm, 100 cm, 0)  under master  box 10 cm
  shown by mix.mix
joint root at ground  under master
chain solved through (0, 100 cm, 0), (20 cm, 120 cm, 0), (40 cm, 100 cm, 0)  under root
  axis +X
  lean bend
reach solved to goal
joint boom at solved.first  like solved.first  under root
  follow swing, solved.first by mix.mix for turn
group longer at solved.last  like solved.last  under boom
joint jib at solved.last  like solved.last  under longer
  follow swing, solved.last by mix.mix for turn
"""


def drawn_names(svg: str, role: str) -> set[str]:
    """The names of what is drawn in a role, from the titles that pictures carry."""
    return {
        one.attrib["data-name"]
        for one in ElementTree.fromstring(svg).iter()
        if "data-name" in one.attrib and role in one.attrib.get("class", "").split()
    }


@pytest.fixture
def crane(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "crane.somite").write_text(HELPED, encoding="utf-8")
    (tmp_path / "lumen.toml").write_text(SHEET.partition("[points]")[0], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "crane.somite"


def crane_drawn(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    capsys.readouterr()
    command = ["draw", "crane.somite", "--sheet", "lumen.toml", "--view", "front", *arguments]
    assert main(command) == 0
    return capsys.readouterr().out


def test_a_pose_is_drawn_without_the_controls_that_a_dial_hides_in_it(
    crane: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at_rest = crane_drawn(capsys)
    assert drawn_names(at_rest, "control") == {"master", "mix", "swing", "goal"}
    reaching = crane_drawn(capsys, "--set", "goal.move.y=-5 cm")
    assert drawn_names(reaching, "control") == {"master", "mix", "goal"}
    assert ">swing<" not in reaching and ">goal<" in reaching
    turning = crane_drawn(capsys, "--set", "mix.mix=0")
    assert drawn_names(turning, "control") == {"master", "mix", "swing"}


def test_a_chain_that_is_only_solved_is_not_drawn_where_the_skin_leaves_it_out(
    crane: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    both = {"solved.1", "solved.2"}
    for arguments in ((), ("--set", "mix.mix=0")):
        assert drawn_names(crane_drawn(capsys, *arguments), "bone") == both
    for skin, seen in (("root, boom, jib", set()), ("solved", both)):
        crane.write_text(HELPED + f"list skin of {skin}\n", encoding="utf-8")
        for arguments in ((), ("--set", "mix.mix=0")):
            picture = crane_drawn(capsys, "--names", "all", *arguments)
            assert drawn_names(picture, "bone") == seen
            assert (">solved.1<" in picture) == bool(seen)
            assert drawn_names(picture, "joint") == {"root", "boom", "jib"} | seen


def test_a_joint_under_a_group_is_linked_to_the_joint_above_it_unless_bones_run_there(
    crane: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "jib" in drawn_names(crane_drawn(capsys), "link")
    bones = "chain beam through boom, jib  under boom\n  bones 2\n  axis +X\n  lean +Y toward +Y\n"
    crane.write_text(HELPED + bones, encoding="utf-8")
    assert "jib" not in drawn_names(crane_drawn(capsys), "link")
