"""Clips: tables in, samples and mirror images out."""

from __future__ import annotations

import json

import numpy as np
import pytest
from posed_rigs import exercise, text
from scipy.interpolate import CubicHermiteSpline

from somite import clip
from somite.text import Source

SHEET = "[points]\na = [0, 100, 0]\n"
RECIPE = """sheet
  point a
control lamp at a
  ring 9 cm
  dial hue of red, green = red
joint wick at a under lamp
"""


def read(table, name="wave.csv"):
    return clip.read(Source(name, table), text(RECIPE, SHEET))


def test_a_csv_table_gives_linear_channels_in_the_rigs_units():
    made, findings = read("frame, lamp.turn.y, lamp.move.x\n1, 0, 10\n5, 40,\n9, , 30\n")
    assert findings == ()
    samples = made.sampled([1, 3, 5, 7, 9, 20])
    assert samples["lamp.turn.y"] == pytest.approx(np.radians([0, 20, 40, 40, 40, 40]))
    assert samples["lamp.move.x"] == pytest.approx([0.1, 0.15, 0.2, 0.25, 0.3, 0.3])


def test_a_choice_and_a_stepped_channel_hold_until_their_next_key():
    made, findings = read("frame,lamp.hue,lamp.move.x stepped\n0,red,0\n4,green,8\n")
    assert findings == ()
    samples = made.sampled([0, 3.99, 4, 9])
    assert samples["lamp.hue"].tolist() == [0, 0, 1, 1]
    assert samples["lamp.move.x"] == pytest.approx([0, 0, 0.08, 0.08])


def test_a_cubic_channel_is_the_hermite_spline_of_its_tangents():
    table = (
        "# rate 30\nframe,lamp.move.x cubic,lamp.move.x in,lamp.move.x out\n"
        "0,0,,60\n15,20,-30,10\n45,5,0,\n"
    )
    made, findings = read(table)
    assert findings == ()
    at = np.linspace(0, 45, 91)
    # slopes on both sides of the middle key differ: one spline for each stretch
    first = CubicHermiteSpline([0, 0.5], [0, 0.2], [0.6, -0.3])
    second = CubicHermiteSpline([0.5, 1.5], [0.2, 0.05], [0.1, 0.0])
    expected = np.where(at < 15, first(at / 30), second(at / 30))
    assert made.sampled(at)["lamp.move.x"] == pytest.approx(expected, abs=1e-15)


def test_json_says_the_same_as_csv():
    table = {
        "rate": 30,
        "channels": {
            "lamp.move.x": {
                "interpolation": "cubic",
                "keys": [
                    {"frame": 0, "value": 0, "out": 60},
                    {"frame": 15, "value": 20, "in": -30, "out": 10},
                ],
            },
            "lamp.hue": {"keys": [{"frame": 0, "value": "green"}]},
        },
    }
    made, findings = read(json.dumps(table), "wave.json")
    rows = (
        "# rate 30\nframe,lamp.move.x cubic,lamp.move.x in,lamp.move.x out,lamp.hue\n"
        "0,0,,60,green\n15,20,-30,10,\n"
    )
    assert findings == ()
    assert made == read(rows)[0]


@pytest.mark.parametrize(
    ("table", "code", "line"),
    [
        ("", "clip-syntax", 1),
        ("time,lamp.move.x\n0,0\n", "clip-syntax", 1),
        ("frame,lamp.mvoe.x\n0,0\n", "clip-channel", 1),
        ("frame,lamp.move.x,lamp.move.x\n0,0,0\n", "clip-channel", 1),
        ("frame,lamp.move.x\n0,much\n", "clip-value", 2),
        ("frame,lamp.move.x\n0,inf\n", "clip-value", 2),
        ("frame,lamp.hue\n0,0\n2,blue\n", "clip-value", 2),
        ("frame,lamp.move.x\nnow,0\n", "clip-value", 2),
        ("frame,lamp.move.x\n1,0\n1,2\n", "clip-keys", 3),
        ("frame,lamp.hue linear\n0,red\n", "clip-keys", 1),
        ("frame,lamp.move.x in\n0,0\n", "clip-keys", 1),
        ("frame,lamp.move.x\n0,0,0\n", "clip-syntax", 2),
        ("# rate 0\nframe,lamp.move.x\n0,0\n", "clip-value", 1),
    ],
)
def test_a_table_that_is_wrong_is_told_at_its_line(table, code, line):
    made, findings = read(table)
    assert made is None
    assert (findings[0].code, findings[0].site.line) == (code, line)


@pytest.mark.parametrize(
    ("table", "line"),
    [("{\n}}", 2), ("[]", 1), ('{"channels": {"lamp.move.x": 3}}', 1), ("[" * 9999, 1)],
)
def test_json_that_is_no_clip_is_told(table, line):
    made, findings = read(table, "wave.json")
    assert made is None
    assert (findings[0].code, findings[0].site.line) == ("clip-syntax", line)


def test_a_mirrored_clip_poses_the_mirror_image():
    evaluator = exercise("foot")
    table = "frame,foot.left.roll,foot.left.move.x,foot.left.turn.y\n0,0,0,0\n8,40,5,30\n"
    made, findings = clip.read(Source("step.csv", table), evaluator)
    assert findings == ()
    turned = clip.mirrored(made, evaluator.settled.rig)
    assert turned.frames.tolist() == made.frames.tolist() == list(range(9))
    left, right = (evaluator.pose(one.sampled(one.frames)) for one in (made, turned))
    for joint in ("leg.{}.shank", "instep.{}", "toes.{}"):
        twin = right.place(joint.format("right")) * np.array([-1.0, 1.0, 1.0])
        assert twin == pytest.approx(left.place(joint.format("left")), abs=1e-12)


def test_turns_along_a_clip_keep_their_side():
    rig = text(RECIPE, SHEET)
    made, _ = clip.read(Source("turn.csv", "frame,lamp.turn.y\n0,0\n36,720\n"), rig)
    turns = clip.steady(rig.pose(made.sampled(made.frames)).turn("wick"))
    assert turns[0].tolist() == [0.0, 0.0, 0.0, 1.0]
    # 20 degrees a frame: the dot product of neighbours is the cosine of 10 degrees.
    assert (turns[1:] * turns[:-1]).sum(axis=1) == pytest.approx(np.cos(np.radians(10.0)))
