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
