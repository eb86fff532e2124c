"""Settling: a settled rig does not move when it is first evaluated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import rigs
from hypothesis import given, settings
from hypothesis import strategies as st
from rigs import follow, node, rig
from scipy.spatial.transform import Rotation

from somite.at_rest import leader_weights, world_at_rest
from somite.findings import Finding
from somite.ir import Amount, Frame, Leader, Quaternion, Ride, Rig, Share, Vector
from somite.order import order
from somite.settle import Settled, settle

STRAIGHT: list[Vector] = [(0.1, 1.4, 0.0), (0.4, 1.31, 0.0), (0.8, 1.19, 0.0)]
TENTACLE: list[Vector] = [(0.1 * k, 1.4 - 0.03 * k * k, 0.02 * k) for k in range(6)]
STILL = {
    "spine": rigs.spine(),
    "long spine": rigs.spine(12),
    "spine without twist": rigs.spine(twisted=False),
    "arm": rigs.arm(),
    "arm without pole": rigs.arm(pole=None),
    "eased arm": rigs.arm(ease=0.3),
    "straight arm": rigs.limb(STRAIGHT, pole=None, bend=(0.0, 0.0, -1.0)),
    "straight arm with pole": rigs.limb(STRAIGHT, bend=(0.0, 0.0, -1.0)),
    "tentacle": rigs.limb(TENTACLE),
    "one bone": rigs.limb(TENTACLE[:2], pole=None),
    "lantern": rigs.lantern(),
}


def settled(made: Rig) -> Settled:
    plan, _ = order(made)
    assert plan is not None
    value, findings = settle(made, plan)
    assert findings == ()
    assert value is not None
    return value


def found(made: Rig) -> tuple[Finding, ...]:
    plan, _ = order(made)
    assert plan is not None
    return settle(made, plan)[1]


def codes(made: Rig) -> list[str]:
    return [finding.code for finding in found(made)]


def moved(made: Rig) -> float:
    """The largest change of a place (in heights) or of an axis when a rig is evaluated at rest."""
    world = world_at_rest(settled(made))
    most = 0.0
    for one in made.nodes:
        place = np.subtract(world[one.name].place, one.rest.place) / made.height
        turn = (
            Rotation.from_quat(world[one.name].turn).as_matrix()
            - Rotation.from_quat(one.rest.turn).as_matrix()
        )
        most = max(most, float(np.abs(place).max()), float(np.abs(turn).max()))
    return most


@pytest.mark.parametrize("name", STILL)
def test_a_settled_rig_does_not_move_when_it_is_evaluated(name: str) -> None:
    assert moved(STILL[name]) < 1e-9


def test_the_yardstick_sees_a_rest_offset_that_is_wrong() -> None:
    value = settled(rigs.spine(twisted=False))
    ride = value.rides["back/ride"]
    value.rides["back/ride"] = replace(ride, start=(1.0, 0.0, 0.0, 0.0))
    first = world_at_rest(value)["back.1"]
    assert np.abs(np.subtract(first.turn, value.rig.node("back.1").rest.turn)).max() > 1e-3


ANGLES = st.floats(-3.0, 3.0)
PLACES = st.floats(-0.5, 0.5)


@given(
    st.lists(st.tuples(PLACES, PLACES, PLACES), min_size=3, max_size=3),
    st.tuples(PLACES, PLACES, PLACES),
)
@settings(max_examples=60, deadline=None)
def test_any_bent_arm_with_a_pole_off_its_line_stays_where_it_was_placed(
    places: list[Vector], pole: Vector
) -> None:
    root, elbow, wrist = (np.array(place) for place in places)
    line = wrist - root
    for away in (elbow - root, np.array(pole) - root):
        if np.linalg.norm(np.cross(line, away)) < 1e-2 * max(float(np.linalg.norm(line)), 0.1):
            return
    assert moved(rigs.limb(places, pole=pole)) < 1e-9


@given(st.tuples(ANGLES, ANGLES, ANGLES), st.tuples(ANGLES, ANGLES, ANGLES))
@settings(max_examples=40, deadline=None)
def test_a_local_rest_is_the_parents_inverse_times_the_rest(first: Vector, second: Vector) -> None:
    def turn(angles: Vector) -> Quaternion:
        x, y, z, w = Rotation.from_euler("xyz", angles).as_quat()
        return (float(x), float(y), float(z), float(w))

    made = rig(
        [
            node("a", (0.3, 1.0, -0.2), turn=turn(first)),
            node("b", (1, 2, 3), "a", turn=turn(second)),
        ]
    )
    local = settled(made).locals["b"]
    expected = np.linalg.inv(matrix(made.node("a").rest)) @ matrix(made.node("b").rest)
    np.testing.assert_allclose(matrix(local), expected, atol=1e-12)


def matrix(frame: Frame) -> np.ndarray:
    rows = np.eye(4)
    rows[:3, :3] = Rotation.from_quat(frame.turn).as_matrix()
    rows[:3, 3] = frame.place
    return rows


def test_a_follow_keeps_one_offset_for_each_leader() -> None:
    made = rigs.lantern()
    value = settled(made)
    flame = matrix(made.node("flame").rest)
    for leader, offset in zip(("hand", "head"), value.follows["flame/follow"], strict=True):
        np.testing.assert_allclose(
            matrix(made.node(leader).rest) @ matrix(offset), flame, atol=1e-12
        )


def test_a_landing_keeps_no_offset() -> None:
    landed = replace(follow("tip", "hand", takes=("move",)), landing=True)
    made = rig([node("hand", (1.0, 0.0, 0.0)), node("tip", (0.0, 1.0, 0.0))], [landed])
    value = settled(made)
    assert value.follows["tip/follow"] == (Frame(),)
    assert world_at_rest(value)["tip"].place == (1.0, 0.0, 0.0)


def test_the_rest_lengths_of_a_ride_are_the_distances_between_its_joints() -> None:
    made = rigs.spine()
    ride = settled(made).rides["back/ride"]
    places = [*[made.node(joint).rest.place for joint in made.chains[0].joints], made.chains[0].end]
    steps = np.linalg.norm(np.diff(np.array(places), axis=0), axis=1)
    np.testing.assert_allclose(ride.bones, steps, atol=1e-14)


def test_the_roll_of_a_joint_aimed_along_its_bone_is_a_turn_about_the_bone() -> None:
    for _, y, z, _ in settled(rigs.spine()).rides["back/ride"].rolls:
        assert abs(y) < 1e-12
        assert abs(z) < 1e-12


def test_a_ride_without_a_carrier_takes_its_chains_parent() -> None:
    made = rigs.spine()
    constraints = tuple(
        replace(one, carrier=None) if isinstance(one, Ride) else one for one in made.constraints
    )
    assert settled(replace(made, constraints=constraints)).rides["back/ride"].carrier == "seat"


def test_a_joint_off_its_curve_is_reported() -> None:
    made = rigs.spine()
    nodes = tuple(
        replace(one, rest=Frame((0.1, 1.2, 0.0), one.rest.turn)) if one.name == "back.4" else one
        for one in made.nodes
    )
    (finding,) = found(replace(made, nodes=nodes))
    assert finding.code == "ride-off-curve"
    assert '"back.4"' in finding.message
    assert finding.site is not None
    assert finding.site.line == 18


def test_a_chain_that_rides_a_curve_it_was_not_placed_on_is_reported() -> None:
    made = rigs.spine(twisted=False)
    chains = tuple(replace(one, curve=None, fractions=()) for one in made.chains)
    assert codes(replace(made, chains=chains)) == ["ride-off-curve"]


def hooked(stretch: float) -> Rig:
    """Two bones on a curve that goes far out and comes back beside its start."""
    made = rigs.spine(2, twisted=False)
    points = ((0.0, 1.0, 0.0), (0.0, 2.0, 0.0), (0.1, 2.0, 0.0), (0.1, 1.0, 0.0))
    curve = replace(made.curves[0], points=points)
    chain, joints = rigs.chain_along(curve, "back", 1, "seat", line=16)
    nodes = [one for one in made.nodes if one.chain is None]
    constraints = tuple(
        replace(one, stretch=Amount(stretch)) if isinstance(one, Ride) else one
        for one in made.constraints
    )
    return replace(
        made, nodes=(*nodes, *joints), curves=(curve,), chains=(chain,), constraints=constraints
    )


def test_a_bone_that_meets_the_curve_sooner_is_reported() -> None:
    assert codes(hooked(0.0)) == ["ride-sharp"]


def test_a_bone_that_keeps_its_fraction_may_meet_the_curve_sooner() -> None:
    assert codes(hooked(1.0)) == []


def test_a_curve_without_length_is_reported() -> None:
    made = rigs.spine(twisted=False)
    flat = replace(made.curves[0], points=((0.0, 1.0, 0.0),) * 4)
    assert codes(replace(made, curves=(flat,))) == ["curve-without-length"]


def test_a_straight_chain_must_say_which_way_it_bends() -> None:
    assert codes(rigs.limb(STRAIGHT)) == ["straight-reach"]


def test_a_bend_along_the_chain_itself_says_nothing() -> None:
    along = (0.7, -0.21, 0.0)
    assert codes(rigs.limb(STRAIGHT, bend=along)) == ["straight-reach"]


def test_a_straight_chain_bends_the_way_it_says() -> None:
    made = rigs.limb(STRAIGHT, pole=None, bend=(0.0, 0.0, -1.0))
    rest = settled(made).reaches["arm/reach"]
    turn = Rotation.from_quat(made.node("arm.1").rest.turn)
    np.testing.assert_allclose(turn.apply(rest.bend), (0.0, 0.0, -1.0), atol=1e-12)


def test_a_pole_on_the_line_is_reported() -> None:
    middle = (0.44, 1.32, 0.015)
    assert codes(rigs.arm(pole=middle)) == ["pole-on-line"]


def test_a_goal_away_from_the_chains_end_is_reported_with_how_far() -> None:
    (finding,) = found(rigs.arm(goal=(0.70, 1.22, 0.06)))
    assert finding.code == "reach-goal-apart"
    assert "10 mm" in finding.message


def test_easing_never_begins_short_of_the_rest_itself() -> None:
    made = rigs.arm(ease=0.9)
    rest = settled(made).reaches["arm/reach"]
    apart = np.linalg.norm(np.subtract(made.chains[0].end, made.node("arm.1").rest.place))
    assert rest.ease_from == pytest.approx(apart, abs=1e-15)


def test_a_mark_in_the_faces_own_place_is_reported() -> None:
    made = rigs.lantern()
    nodes = tuple(
        replace(one, rest=made.node("eye").rest) if one.name == "gaze" else one
        for one in made.nodes
    )
    assert codes(replace(made, nodes=nodes)) == ["face-mark-here"]


def test_an_up_direction_along_the_way_to_the_mark_is_a_warning() -> None:
    made = rigs.lantern()
    nodes = tuple(
        replace(one, rest=Frame((0.03, 3.0, 0.15))) if one.name == "gaze" else one
        for one in made.nodes
    )
    (finding,) = found(replace(made, nodes=nodes))
    assert (finding.code, finding.severity.value) == ("face-up-along", "warning")


def test_what_a_twist_adds_is_read_along_the_chains_own_axis() -> None:
    made = rigs.spine()
    end = settled(made).twists["back/twist"].end
    assert [name for name, _ in end.path] == ["body", "bow", "high"]
    tangent = dict(end.path)["bow"]  # the bow is placed like the rig
    degree, points = made.curves[0].degree, np.array(made.curves[0].points)
    assert degree == 3
    expected = (points[3] - points[2]) / np.linalg.norm(points[3] - points[2])
    np.testing.assert_allclose(tangent, expected, atol=1e-12)


def test_shares_of_a_point_are_held_in_each_grips_frame() -> None:
    made = rigs.spine(twisted=False)
    curve = made.curves[0]
    halves = (
        Share(1, "path.below", 0.5),
        *[share for share in curve.shares if share.point != 1],
        Share(1, "path.above", 0.5),
    )
    shared = replace(made, curves=(replace(curve, shares=halves),))
    assert moved(shared) < 1e-9


def test_a_dial_blends_between_its_leaders_in_order() -> None:
    made = rigs.lantern()
    dial = made.node("head").dials[1]
    three = replace(follow("ring", "hand", "head", "hook"), dial="head.mix")
    assert leader_weights(three, dial, 0.25) == [0.5, 0.5, 0.0]
    assert leader_weights(replace(three, leaders=(Leader("hand", 2.0),)), None, 0.0) == [2.0]
