"""Following and facing: weights, dials, axes, landings, marks."""

from __future__ import annotations

import numpy as np
import pytest
from posed_rigs import text
from scipy.spatial.transform import Rotation

SHEET = "[points]\na = [0, 100, 0]\nb = [40, 100, 0]\nc = [20, 60, 10]\n"
HEAD = """sheet
  point a, b, c
control lamp at a
  ring 9 cm
  dial mix = 0 in 0..1
  dial space of near, far = near
control bell at b
  ring 9 cm
"""


def degrees(posed, name):
    return np.degrees(Rotation.from_quat(posed.turn(name)).as_rotvec())


def test_a_follower_keeps_its_offset_from_one_leader():
    rig = text(HEAD + "joint prop at c\n  follow lamp\n", SHEET)
    posed = rig.pose({"lamp.turn.z": np.pi / 2, "lamp.move.x": 0.1})
    # (0.2, -0.4, 0.1) from the leader, a quarter turned about z
    assert posed.place("prop")[0] == pytest.approx([0.1 + 0.4, 1.0 + 0.2, 0.1])


def test_moves_blend_by_weight():
    rig = text(HEAD + "joint prop at c\n  follow lamp 25%, bell 75% for move\n", SHEET)
    posed = rig.pose({"lamp.move.y": 0.4, "bell.move.x": 0.8})
    assert posed.place("prop")[0] == pytest.approx([0.2 + 0.6, 0.6 + 0.1, 0.1])


@pytest.mark.parametrize(("mix", "angle"), [(0.0, 60.0), (1.0, -20.0), (-3.0, 60.0)])
def test_a_number_dial_goes_from_leader_to_leader(mix, angle):
    rig = text(HEAD + "joint prop at c\n  follow lamp, bell by lamp.mix for turn\n", SHEET)
    posed = rig.pose(
        {"lamp.mix": mix, "lamp.turn.y": np.radians(60), "bell.turn.y": np.radians(-20)}
    )
    assert degrees(posed, "prop")[0] == pytest.approx([0.0, angle, 0.0])


def test_halfway_between_equal_turns_the_blend_is_their_mean():
    rig = text(HEAD + "joint prop at c\n  follow lamp, bell by lamp.mix for turn\n", SHEET)
    posed = rig.pose(
        {"lamp.mix": 0.5, "lamp.turn.y": np.radians(60), "bell.turn.y": np.radians(-20)}
    )
    assert degrees(posed, "prop")[0] == pytest.approx([0.0, 20.0, 0.0])


def test_a_blend_takes_the_shorter_way_whatever_the_sign_of_its_quaternions():
    rig = text(HEAD + "joint prop at c\n  follow lamp, bell by lamp.mix for turn\n", SHEET)
    turns = np.radians(np.linspace(-720.0, 720.0, 145))
    posed = rig.pose({"lamp.mix": 0.5, "lamp.turn.y": turns, "bell.turn.y": turns + 0.2})
    expected = Rotation.from_euler("y", (turns + 0.1)[:, None])
    off = (Rotation.from_quat(posed.turn("prop")) * expected.inv()).magnitude()
    assert off.max() < 1e-12


def test_a_choice_takes_one_leader():
    rig = text(HEAD + "joint prop at c\n  follow lamp, bell by lamp.space for move\n", SHEET)
    posed = rig.pose({"lamp.space": [0, 1], "lamp.move.y": 0.4, "bell.move.x": 0.8})
    assert posed.place("prop") == pytest.approx(np.array([[0.2, 1.0, 0.1], [1.0, 0.6, 0.1]]))


def test_about_an_axis_only_the_twist_is_taken():
    rig = text(HEAD + "joint prop at c\n  follow lamp for turn about +Y\n", SHEET)
    # order xyz: the turn about y comes after x, before z: as swing and twist about y it is
    # worked out here by scipy from the definition
    angles = (0.5, 1.1, -0.4)
    posed = rig.pose({f"lamp.turn.{axis}": v for axis, v in zip("xyz", angles, strict=True)})
    q = Rotation.from_euler("xyz", angles).as_quat()
    expected = np.degrees(2.0 * np.arctan2(q[1], q[3]))
    assert degrees(posed, "prop")[0] == pytest.approx([0.0, expected, 0.0])


def test_a_landing_gives_up_the_offset():
    rig = text(HEAD + "joint prop at c\n  land on bell for move\n", SHEET)
    assert rig.pose({"bell.move.z": 0.3}).place("prop")[0] == pytest.approx([0.4, 1.0, 0.3])


def test_weights_that_sum_to_nothing_leave_a_node_with_its_parent():
    rig = text(HEAD + "joint prop at c under bell\n  follow lamp 0% for move\n", SHEET)
    posed = rig.pose({"lamp.move.x": 1.0, "bell.move.y": 0.5})
    assert posed.place("prop")[0] == pytest.approx([0.2, 1.1, 0.1])


FACE = HEAD + "group eye at c\n  face bell pointing +Z up +Y from lamp exactly\n"


def test_what_faces_points_at_its_mark_with_up_from_a_node():
    rig = text(FACE, SHEET)
    draw = np.random.default_rng(1)
    values = {f"bell.move.{axis}": draw.uniform(-1, 1, 50) for axis in "xyz"}
    posed = rig.pose({**values, "lamp.turn.z": draw.uniform(-1, 1, 50)})
    way = posed.place("bell") - posed.place("eye")
    way /= np.linalg.norm(way, axis=1)[:, None]
    up = posed.linear("lamp")[:, :, 1]
    aside = np.cross(up, way)
    aside /= np.linalg.norm(aside, axis=1)[:, None]
    expected = np.stack([aside, np.cross(way, aside), way], axis=2)
    assert posed.linear("eye") == pytest.approx(expected, abs=1e-12)


def test_a_mark_in_the_same_place_leaves_the_parents_directions():
    rig = text(FACE, SHEET)
    here = {"bell.move.x": -0.2, "bell.move.y": -0.4, "bell.move.z": 0.1}
    assert rig.pose(here).linear("eye")[0] == pytest.approx(np.eye(3), abs=1e-12)


def test_two_controls_can_follow_each_others_different_channels():
    recipe = """sheet
  point a, b
control lamp at a
  ring 9 cm
  follow bell for move
control bell at b
  ring 9 cm
  follow lamp for turn
joint wick at b under bell
"""
    rig = text(recipe, SHEET)
    assert rig.settled.plan.split == ("bell", "lamp")
    values = {"lamp.turn.z": 0.7, "lamp.move.x": 0.1, "bell.move.y": 0.2, "bell.turn.x": 0.4}
    posed = rig.pose(values)
    lamp, bell = (Rotation.from_quat(posed.turn(name)[0]) for name in ("lamp", "bell"))
    own = Rotation.from_euler("x", 0.4)
    assert lamp.as_rotvec() == pytest.approx([0.0, 0.0, 0.7])
    # The bell's mount is turned by the lamp: its move is made in those axes.
    assert (bell * (lamp * own).inv()).magnitude() < 1e-12
    at = np.array([0.4, 1.0, 0.0]) + lamp.apply([0.0, 0.2, 0.0])
    assert posed.place("bell")[0] == pytest.approx(at)
    assert posed.place("wick")[0] == pytest.approx(at)
    offset = bell.apply([-0.4, 0.0, 0.0])
    assert posed.place("lamp")[0] == pytest.approx(at + offset + [0.1, 0.0, 0.0])
