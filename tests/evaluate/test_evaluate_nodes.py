"""Nodes against products of 4x4 matrices: channels, orders, sizes, limits and locks."""

from __future__ import annotations

import numpy as np
import pytest
from posed_rigs import text
from scipy.spatial.transform import Rotation

from somite.evaluate import PoseError
from somite.posing import channels_from

SHEET = "[points]\nhook = [0, 120, 5]\nflame = [10, 90, 0]\nwick = [12, 84, 3]\n"


def matrix(move=(0, 0, 0), turns=((), ()), size=(1, 1, 1)):
    """T · R · S; turns are (axes in the order applied about fixed axes, angles)."""
    found = np.eye(4)
    axes, angles = turns
    for axis, angle in zip(axes, angles, strict=True):
        turn = np.eye(4)
        turn[:3, :3] = Rotation.from_euler(axis, angle).as_matrix()
        found = turn @ found
    found[:3, 3] = move
    return found @ np.diag([*size, 1.0])


@pytest.mark.parametrize("order", ["xyz", "xzy", "yxz", "yzx", "zxy", "zyx"])
def test_a_turn_order_names_the_axes_as_they_are_applied(order):
    rig = text(f"sheet\n  point hook\ncontrol pole at hook\n  ring 9 cm\n  order {order}\n", SHEET)
    angles = {"x": 0.4, "y": -1.2, "z": 2.1}
    posed = rig.pose({f"pole.turn.{axis}": angle for axis, angle in angles.items()})
    expected = matrix((0, 1.2, 0.05), (order, [angles[axis] for axis in order]))
    assert posed.world("pole")[0] == pytest.approx(expected, abs=1e-15)


CHAIN = """sheet
  point hook, flame, wick
control pole at hook
  ring 9 cm
control lamp at flame under pole
  ring 9 cm
joint light at wick under lamp
"""


def test_a_tree_is_the_product_of_its_matrices_even_where_it_shears():
    rig = text(CHAIN, SHEET)
    draw = np.random.default_rng(3)
    values = {
        f"{node}.{part}.{axis}": draw.uniform(0.6, 1.7) if part == "size" else draw.uniform(-1, 1)
        for node in ("pole", "lamp")
        for part in ("move", "turn", "size")
        for axis in "xyz"
    }
    posed = rig.pose(values)

    def local(node):
        move, turn, size = (
            [values[f"{node}.{part}.{axis}"] for axis in "xyz"] for part in ("move", "turn", "size")
        )
        return matrix(move, ("xyz", turn), size)

    pole = matrix((0, 1.2, 0.05)) @ local("pole")
    lamp = pole @ matrix((0.1, -0.3, -0.05)) @ local("lamp")
    light = lamp @ matrix((0.02, -0.06, 0.03))
    for name, expected in (("pole", pole), ("lamp", lamp), ("light", light)):
        assert posed.world(name)[0] == pytest.approx(expected, abs=1e-14)
    turned = Rotation.from_euler("xyz", [values[f"pole.turn.{axis}"] for axis in "xyz"])
    turned = turned * Rotation.from_euler("xyz", [values[f"lamp.turn.{axis}"] for axis in "xyz"])
    same = Rotation.from_quat(posed.turn("light")[0]) * turned.inv()
    assert same.magnitude() < 1e-14


def test_a_size_that_is_kept_places_what_is_below_but_does_not_resize_it():
    recipe = CHAIN.replace("under pole\n", "under pole\n  keeps size\n")
    rig = text(recipe, SHEET)
    posed = rig.pose({"pole.size.x": 2.0, "lamp.size.x": 3.0})
    assert posed.place("light")[0] == pytest.approx([0.2 + 6.0 * 0.02, 0.84, 0.03], abs=1e-15)
    assert posed.linear("lamp")[0] == pytest.approx(np.diag([6.0, 1.0, 1.0]), abs=1e-15)
    assert posed.linear("light")[0] == pytest.approx(np.diag([2.0, 1.0, 1.0]), abs=1e-15)


HELD = """sheet
  point hook
control pole at hook
  ring 9 cm
  lock move.x, size
  limit turn.y -30 deg..60 deg
  dial glow = 0 in 0..1
  dial hue of red, green = red
"""


def test_a_limit_holds_and_says_so():
    rig = text(HELD, SHEET)
    posed = rig.pose({"pole.turn.y": [-2.0, 0.1, 2.0], "pole.glow": 3.0})
    assert posed.channel("pole.turn.y") == pytest.approx([-np.pi / 6, 0.1, np.pi / 3])
    assert posed.channel("pole.glow").tolist() == [1.0, 1.0, 1.0]
    told = {(note.channel, note.why, note.poses) for note in posed.notes}
    assert told == {("pole.turn.y", "limited", 2), ("pole.glow", "limited", 3)}


def test_a_lock_holds_and_says_so():
    rig = text(HELD, SHEET)
    posed = rig.pose({"pole.move.x": 0.5, "pole.size.y": 2.0, "pole.move.y": 0.25})
    assert posed.place("pole")[0] == pytest.approx([0.0, 1.45, 0.05])
    assert {(note.channel, note.why) for note in posed.notes} == {
        ("pole.move.x", "locked"),
        ("pole.size.y", "locked"),
    }


def test_an_even_size_is_one_number():
    rig = text(HELD.replace("  lock move.x, size\n", "  size even\n"), SHEET)
    posed = rig.pose({"pole.size.y": 2.0, "pole.size.z": 3.0})
    assert posed.linear("pole")[0] == pytest.approx(2.0 * np.eye(3))
    assert [(note.channel, note.why) for note in posed.notes] == [("pole.size.z", "tied")]


@pytest.mark.parametrize(
    ("channels", "message"),
    [
        ({"pole.trun.y": 1.0}, 'expected a channel or a dial of the rig, found "pole.trun.y"'),
        ({"pole.turn.y": "much"}, 'expected a number for "pole.turn.y", found'),
        ({"pole.turn.y": [0.0, np.nan]}, 'expected finite numbers for "pole.turn.y"'),
        ({"pole.turn.y": np.inf}, 'expected a finite number for "pole.turn.y"'),
        ({"pole.turn.y": [0.0, 1.0], "pole.turn.x": [0.0] * 3}, "expected 2 poses as before"),
    ],
)
def test_a_pose_that_cannot_be_taken_is_told_as_a_finding(channels, message):
    with pytest.raises(PoseError) as raised:
        text(HELD, SHEET).pose(channels)
    assert message in raised.value.findings[0].message


def test_recipe_units_are_degrees_centimetres_and_words():
    rig = text(HELD, SHEET)
    written = {"pole.turn.y": "30", "pole.move.y": "10", "pole.hue": "green"}
    given = channels_from(written, rig)
    assert given["pole.turn.y"] == pytest.approx(np.pi / 6)
    assert given["pole.move.y"] == pytest.approx(0.1)
    assert given["pole.hue"] == 1.0
