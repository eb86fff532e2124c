"""Riding, twisting and reaching, as the design means them."""

from __future__ import annotations

import numpy as np
import pytest
import rigs
from posed_rigs import evaluator_of, exercise, random_pose, text
from scipy.spatial.transform import Rotation


def stations(posed, chain):
    joints = next(one for one in posed.settled.rig.chains if one.name == chain).joints
    return np.stack([*[posed.place(joint) for joint in joints], posed.end(chain)], axis=1)


def bone_lengths(posed, chain):
    return np.linalg.norm(np.diff(stations(posed, chain), axis=1), axis=2)


def test_a_keeping_ride_keeps_every_bones_length_times_scale():
    evaluator = exercise("upright")
    values = random_pose(evaluator, 4, 200, skip=("spine.body", "master.whole"))
    scale = np.linspace(0.2, 4.0, 200)
    posed = evaluator.pose({**values, "master.whole.size.x": scale})
    rest = evaluator.settled.rides["spine.riding/ride"].bones
    assert bone_lengths(posed, "spine.riding") == pytest.approx(
        np.array(rest) * scale[:, None], rel=1e-9
    )


def test_a_chain_longer_than_its_curve_runs_on_along_the_end_tangent():
    evaluator = exercise("upright")
    # The chest comes down: the curve is shorter than the bones.
    posed = evaluator.pose({"spine.high.move.y": -0.2})
    points = posed.points("spine.path")[0]
    ahead = (points[-1] - points[-2]) / np.linalg.norm(points[-1] - points[-2])
    end = posed.end("spine.riding")[0]
    over = (end - points[-1]) @ ahead
    assert over > 0.05
    assert end == pytest.approx(points[-1] + over * ahead, abs=1e-12)


def test_a_stretching_ride_ends_where_its_curve_ends():
    evaluator = exercise("upright")
    values = random_pose(evaluator, 5, 50, skip=("spine.body",))
    posed = evaluator.pose({**values, "spine.body.stretch": 1.0})
    assert posed.end("spine.riding") == pytest.approx(posed.points("spine.path")[:, -1], abs=1e-9)


def test_volume_is_kept_across_a_stretched_bone():
    evaluator = exercise("upright")
    posed = evaluator.pose(
        {"spine.high.move.y": 0.15, "spine.body.stretch": 1.0, "spine.body.volume": [0.0, 0.5, 1.0]}
    )
    stretch = (
        bone_lengths(posed, "spine.riding") / evaluator.settled.rides["spine.riding/ride"].bones
    )
    for k, joint in enumerate(f"spine.riding.{k}" for k in range(1, 8)):
        volume = np.linalg.det(posed.linear(joint))
        s = stretch[:, k]
        assert s[0] > 1.05
        assert volume == pytest.approx([s[0], s[0] ** 0.5, 1.0])


UPRIGHT = """sheet
  point a, b, c
control low at a
  ring 9 cm
control bow at b under low
  ring 9 cm
control high at c under bow
  ring 9 cm
curve path through a, b, c
  points 4
  grip below owns 1..2
    follow low
  grip above owns 3..4
    follow high
chain back along path
  bones 4
  axis +X
  lean +Y toward -Z
  ride path
  carried by low
twist back
  end meets high relative to low
"""
UPRIGHT_SHEET = "[points]\na = [0, 0, 0]\nb = [0, 20, 0]\nc = [0, 40, 0]\n"


def own_twists(posed, joint):
    """How far a joint turned about its own axis in each pose, from the first on."""
    rest, *turned = (Rotation.from_quat(q) for q in posed.turn(joint))
    angles = [(rest.inv() * turn).as_quat() for turn in turned]
    return np.unwrap([0.0, *[2.0 * np.arctan2(q[0], q[3]) for q in angles]])


def test_the_end_turns_with_the_upper_control_past_half_a_turn():
    angles = np.radians(np.linspace(0.0, 900.0, 181))
    posed = text(UPRIGHT, UPRIGHT_SHEET).pose({"high.turn.y": angles})
    assert own_twists(posed, "back.4") == pytest.approx(angles, abs=1e-9)


def test_turns_of_the_path_add_up_past_half_a_turn():
    angles = np.radians(np.linspace(0.0, 200.0, 41))
    posed = text(UPRIGHT, UPRIGHT_SHEET).pose({"high.turn.y": angles, "bow.turn.y": angles})
    assert own_twists(posed, "back.4") == pytest.approx(2.0 * angles, abs=1e-9)


def test_a_twist_is_shared_out_along_the_chain():
    rig = text(UPRIGHT + "  spread 10%, 20%, 30%, 40%\n", UPRIGHT_SHEET)
    angles = np.radians([0.0, 100.0, 200.0, 300.0])
    posed = rig.pose({"high.turn.y": angles})
    for k, share in enumerate([0.1, 0.3, 0.6, 1.0], 1):
        assert own_twists(posed, f"back.{k}") == pytest.approx(share * angles, abs=1e-9)


def test_the_forearm_shares_the_wrists_turn():
    evaluator = exercise("arm")
    posed = evaluator.pose({"arm.left.hand.reach": 0.0, "arm.left.cock.turn.x": [0.0, 0.8]})
    for k, share in ((1, 0.0), (4, 1.0)):
        rest, turned = (Rotation.from_quat(q) for q in posed.turn(f"arm.left.forearm.{k}"))
        assert (rest.inv() * turned).as_rotvec() == pytest.approx([0.8 * share, 0, 0], abs=1e-9)


GOAL = np.array([0.70, 1.22, 0.05])
ROOT = np.array([0.18, 1.42, -0.02])


def bones_of(rig):
    return rig.settled.reaches["arm/reach"].bones


def posed_to(rig, goals):
    goals = np.atleast_2d(goals)
    return rig.pose({f"hand.move.{axis}": goals[:, k] - GOAL[k] for k, axis in enumerate("xyz")})


def test_a_goal_within_reach_is_reached_and_the_elbow_bends_to_the_pole():
    rig = evaluator_of(rigs.arm())
    upper, lower = bones_of(rig)
    draw = np.random.default_rng(2)
    ways = draw.normal(size=(100, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    far = draw.uniform(abs(upper - lower) + 1e-3, upper + lower - 1e-3, 100)
    goals = ROOT + ways * far[:, None]
    posed = posed_to(rig, goals)
    assert posed.end("arm") == pytest.approx(goals, abs=1e-12)
    assert bone_lengths(posed, "arm") == pytest.approx(np.tile([upper, lower], (100, 1)), rel=1e-12)


def test_a_goal_out_of_reach_is_pointed_at():
    rig = evaluator_of(rigs.arm())
    posed = posed_to(rig, ROOT + np.array([[0.0, 3.0, 0.0], [-2.0, 0.0, 0.0]]))
    whole = sum(bones_of(rig))
    expected = ROOT + np.array([[0.0, whole, 0.0], [-whole, 0.0, 0.0]])
    assert posed.end("arm") == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("goal", [ROOT, ROOT + 1e-12, np.array([0.3, 1.2, -0.6])])
def test_a_folded_arm_and_a_goal_at_the_pole_are_finite(goal):
    assert np.isfinite(posed_to(evaluator_of(rigs.arm()), goal).worlds).all()


def test_easing_meets_plain_reaching_smoothly_and_never_straightens():
    rig = evaluator_of(rigs.arm(ease=0.1))
    whole = sum(bones_of(rig))
    way = (GOAL - ROOT) / np.linalg.norm(GOAL - ROOT)
    far = np.linspace(0.8, 1.6, 400) * whole
    reached = np.linalg.norm(posed_to(rig, ROOT + way * far[:, None]).end("arm") - ROOT, axis=1)
    slope = np.diff(reached) / np.diff(far)
    assert reached[-1] < whole
    assert (slope > 0.0).all()
    assert np.abs(np.diff(slope)).max() < 0.05
    assert slope[0] == pytest.approx(1.0)


def test_a_stretching_reach_meets_its_goal():
    rig = exercise("arm")
    posed = rig.pose({"arm.left.hand.stretch": 1.0, "arm.left.hand.move.x": 0.5})
    assert posed.end("arm.left.solved")[0] == pytest.approx(posed.place("arm.left.hand")[0])


ZIGZAG = [(0.0, 1.0, 0.0), (0.1, 0.7, 0.1), (0.0, 0.4, -0.1), (0.05, 0.1, 0.0), (0.1, 0.0, 0.15)]


def test_a_chain_of_four_bones_reaches_to_a_billionth():
    rig = evaluator_of(rigs.limb(ZIGZAG, pole=(0.3, 0.5, 0.9)))
    whole = sum(bones_of(rig))
    root = np.array(ZIGZAG[0])
    draw = np.random.default_rng(6)
    ways = draw.normal(size=(200, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    goals = root + ways * draw.uniform(0.5, 0.99, (200, 1)) * whole
    rest = np.array(ZIGZAG[-1])
    posed = rig.pose({f"hand.move.{axis}": goals[:, k] - rest[k] for k, axis in enumerate("xyz")})
    assert posed.end("arm") == pytest.approx(goals, abs=1e-9 * whole)


def test_what_a_twist_ignores_does_not_reach_the_chain():
    rig = text(UPRIGHT + "  ignores bow\n", UPRIGHT_SHEET)
    posed = rig.pose({"bow.turn.y": [0.0, 0.9], "high.turn.y": [0.0, 0.3]})
    assert own_twists(posed, "back.4") == pytest.approx([0.0, 0.3], abs=1e-9)
