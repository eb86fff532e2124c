"""Channels from world transforms: turn orders, gimbal lock, limits, sizes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from posed_rigs import text
from scipy.spatial.transform import Rotation

from somite.matching.worlds import World, nearest_angles, solved, world_of
from somite.spatial.rotation import ORDERS, euler_from_quaternion, quaternion_from_euler

FREE = np.full(3, -1e6), np.full(3, 1e6)
ANGLES = st.tuples(*[st.floats(-9.0, 9.0)] * 3)
ORDER = st.sampled_from(sorted(ORDERS))


def rotation(angles, order):
    """The turn by scipy: lower case axes turn about the fixed axes of the parent, in order."""
    return Rotation.from_euler(order, [angles["xyz".index(axis)] for axis in order])


def angle_between(a, b):
    return (a.inv() * b).magnitude()


def decomposed(angles, order):
    return np.array(euler_from_quaternion(quaternion_from_euler(angles, order), order))


@given(ANGLES, ANGLES, ORDER)
def test_the_nearest_turns_make_the_same_turn(angles, before, order):
    found = nearest_angles(decomposed(angles, order), order, np.array(before), *FREE)
    assert angle_between(rotation(found, order), rotation(angles, order)) < 1e-7


@given(ANGLES, ORDER)
def test_turns_that_are_there_already_are_found_again_whatever_their_rounds(angles, order):
    middle = angles["xyz".index(order[1])]
    if abs(np.cos(middle)) < 1e-3:
        return
    found = nearest_angles(decomposed(angles, order), order, np.array(angles), *FREE)
    assert found == pytest.approx(angles, abs=1e-9)


@pytest.mark.parametrize("order", sorted(ORDERS))
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_at_gimbal_lock_the_first_and_last_turns_share_what_is_left(order, side):
    first, middle, last = ("xyz".index(axis) for axis in order)
    angles = np.zeros(3)
    angles[middle] = side * np.pi / 2
    angles[first], angles[last] = 0.7, -0.4
    before = angles + 0.01
    before[middle] = angles[middle]
    found = nearest_angles(decomposed(angles, order), order, before, *FREE)
    assert angle_between(rotation(found, order), rotation(angles, order)) < 1e-7
    # of all (first, last) that make this turn, a line in the plane, the nearest to `before`
    steps = np.linspace(-1.0, 1.0, 2001)
    sign = (
        1.0
        if angle_between(
            rotation(angles + 0.3 * np.eye(3)[first] + 0.3 * np.eye(3)[last], order),
            rotation(angles, order),
        )
        < 1e-7
        else -1.0
    )
    line = angles + steps[:, None] * (np.eye(3)[first] + sign * np.eye(3)[last])
    least = np.sqrt(((line - before) ** 2).sum(axis=1)).min()
    assert np.sqrt(((found - before) ** 2).sum()) == pytest.approx(least, abs=1e-5)


def test_of_two_ways_to_turn_the_one_within_limits_is_taken():
    # (180°, 0, 180°) is a half turn about y; only y is free to take it
    angles = np.array([np.pi, 0.0, np.pi])
    low, high = np.array([-0.5, -4.0, -0.5]), np.array([0.5, 4.0, 0.5])
    found = nearest_angles(angles, "xyz", np.array([3.0, 0.0, 3.0]), low, high)
    assert np.abs(found) == pytest.approx([0.0, np.pi, 0.0], abs=1e-12)


def test_a_turn_beyond_its_limit_goes_round_where_that_is_within():
    low, high = np.array([-4.0, -1.0, -1.0]), np.ones(3)
    found = nearest_angles(np.array([2.5, 0.0, 0.0]), "xyz", np.array([2.5, 0, 0]), low, high)
    assert found == pytest.approx([2.5 - 2 * np.pi, 0.0, 0.0])


SHEET = "[points]\na = [0, 50, 0]\nb = [5, 90, 3]\n"


def stall(order: str):
    return text(
        f"""sheet
  point a, b
control master at a  ring 40 cm  carries all
control pole at b  under master
  axis +Y toward a
  lean +X toward +X
  ring 9 cm
  order {order}
joint lamp at b  under pole
""",
        SHEET,
    )


@pytest.mark.parametrize("order", sorted(ORDERS))
def test_channels_come_back_from_the_world_they_made(order):
    evaluator = stall(order)
    draw = np.random.default_rng(5)
    channels = {
        f"{node}.{part}.{axis}": draw.uniform(0.6, 1.4, 40) - (1.0 if part != "size" else 0.0)
        for node in ("master", "pole")
        for part in ("move", "turn", "size")
        for axis in "xyz"
    }
    there = evaluator.pose(channels)
    lost = {name: value for name, value in channels.items() if not name.startswith("pole")}
    found = solved(evaluator, evaluator.pose(lost), "pole", world_of(there, "pole"), {})
    assert found.held == ()
    again = evaluator.pose({**lost, **found.channels})
    assert np.abs(again.worlds - there.worlds).max() < 1e-12


def test_a_control_that_is_sized_evenly_takes_the_volume_that_is_wanted():
    evaluator = text(
        """sheet
  point a, b
control pole at a  ring 9 cm  carries all
  size even
joint lamp at b  under pole
""",
        SHEET,
    )
    wanted = np.diag([1.0, 2.0, 4.0])[None]
    found = solved(evaluator, evaluator.pose(), "pole", World(linear=wanted), {})
    # The even size of the same volume is the cube root of 1 · 2 · 4.
    assert found.channels["pole.size.x"] == pytest.approx([2.0], abs=1e-12)


def test_what_is_locked_stays_and_is_told():
    evaluator = text(
        """sheet
  point a, b
control pole at a  ring 9 cm  carries all
  lock turn.x
joint lamp at b  under pole
""",
        SHEET,
    )
    tilted = np.array([[np.sin(0.2), 0.0, 0.0, np.cos(0.2)]])
    found = solved(evaluator, evaluator.pose(), "pole", World(turn=tilted), {})
    assert "pole.turn.x" not in found.channels
    assert [(one.channel, one.why) for one in found.held] == [("pole.turn.x", "locked")]
