"""The facts that make each exercise right, computed here from its sheet and not from its output."""

from __future__ import annotations

import math

import numpy as np
import pytest
from exercises import (
    compiled,
    constraint,
    exercise,
    feed,
    names,
    recipe_text,
    reflection,
    sheet_text,
    symmetric_arm,
    turn_matrix,
)

from somite.ir import (
    Apply,
    Constant,
    Face,
    Follow,
    Live,
    Map,
    Measure,
    Node,
    Reach,
    Read,
    Ride,
    Rig,
    Twist,
)


def place(rig: Rig, name: str) -> np.ndarray:
    return np.array(rig.node(name).rest.place)


def axis(node: Node, name: str) -> np.ndarray:
    """A local axis of a node at rest, in the rig's space."""
    sign = 1.0 if name[0] == "+" else -1.0
    return sign * turn_matrix(node)[:, "XYZ".index(name[1])]


def worth(value: Live, reads: dict[str, float]) -> float:
    """A live number by the plain meaning of its operations."""
    match value:
        case Constant():
            return value.value
        case Read():
            return reads[value.channel]
        case Apply():
            a, *rest = (worth(operand, reads) for operand in value.operands)
            b = rest[0] if rest else 0.0
            results = {
                "add": a + b,
                "subtract": a - b,
                "multiply": a * b,
                "negate": -a,
                "maximum": max(a, b),
                "minimum": min(a, b),
                "sine": math.sin(a),
                "cosine": math.cos(a),
            }
            return results[value.operation]
        case Map():
            at = worth(value.value, reads)
            pairs = [(worth(a, reads), worth(b, reads)) for a, b in value.pairs]
            return float(np.interp(at, [a for a, _ in pairs], [b for _, b in pairs]))
        case Measure():
            raise AssertionError("these exercises feed nothing from results")


# ---- the simple back -----------------------------------------------------------------------------


def test_a_back_of_seven_bones_is_seven_joints_under_each_other() -> None:
    rig = exercise("simple_back").rig
    (back,) = [chain for chain in rig.chains if chain.name == "back"]
    assert back.joints == tuple(f"back.{k}" for k in range(1, 8))
    assert [rig.node(joint).parent for joint in back.joints[1:]] == list(back.joints[:-1])
    assert rig.node("back.1").parent == "skeleton"


def test_a_back_is_as_long_in_bones_as_its_sheet_says() -> None:
    text = sheet_text("simple_back").replace("girth = 44", "girth = 44\nback_bones = 4")
    rig = compiled(recipe_text("simple_back"), text).rig
    assert len([name for name in names(rig, "joint") if name.startswith("back.")]) == 4


def test_a_back_stands_between_the_pelvis_and_the_nape() -> None:
    rig = exercise("simple_back").rig
    (back,) = [chain for chain in rig.chains if chain.name == "back"]
    assert np.allclose(place(rig, "back.1"), [0.0, 0.52, -0.02])
    assert np.allclose(back.end, [0.0, 0.86, 0.03])


def test_a_back_is_densest_at_its_base_by_the_grade_it_states() -> None:
    rig = exercise("simple_back").rig
    (back,) = [chain for chain in rig.chains if chain.name == "back"]
    shares = np.diff(back.fractions)
    assert np.all(np.diff(shares) > 0.0)
    assert shares[0] / shares.mean() == pytest.approx(0.6)
    assert shares[-1] / shares.mean() == pytest.approx(1.4)


def test_two_grips_own_two_points_each_and_follow_the_controls_at_the_ends() -> None:
    rig = exercise("simple_back").rig
    (path,) = rig.curves
    owners = [(share.point, share.grip, share.share) for share in path.shares]
    assert owners == [
        (0, "path.below", 1.0),
        (1, "path.below", 1.0),
        (2, "path.above", 1.0),
        (3, "path.above", 1.0),
    ]
    for grip, leader in (("path.below", "low"), ("path.above", "high")):
        made = constraint(rig, f"{grip}/follow")
        assert isinstance(made, Follow) and made.leaders[0].node == leader


def test_a_curve_hangs_under_nothing_that_drives_it() -> None:
    rig = exercise("simple_back").rig
    assert rig.curves[0].parent is None
    assert {rig.node(name).parent for name in ("path.below", "path.above")} == {None}


def test_bones_of_a_back_point_along_it_and_lean_backward() -> None:
    rig = exercise("simple_back").rig
    for k in range(1, 7):
        joint = rig.node(f"back.{k}")
        bone = place(rig, f"back.{k + 1}") - place(rig, f"back.{k}")
        assert np.allclose(axis(joint, "+X"), bone / np.linalg.norm(bone), atol=1e-9)
        assert axis(joint, "+Y")[2] < 0.0
        assert abs(axis(joint, "+Y")[0]) < 1e-12


def test_the_twist_of_a_back_goes_through_the_control_that_bends_it() -> None:
    made = constraint(exercise("simple_back").rig, "back/twist")
    assert isinstance(made, Twist)
    assert made.end.path == ("bow", "high")
    assert made.spread[0] == 0.0 and made.spread[-1] == 1.0


# ---- the arm -------------------------------------------------------------------------------------

ARM_JOINTS = ("shoulder", "elbow", "wrist", "forearm.1", "forearm.2", "forearm.3", "forearm.4")


@pytest.mark.parametrize("side", ["left", "right"])
def test_names_go_use_side_node(side: str) -> None:
    rig = exercise("arm").rig
    assert {f"arm.{side}.{joint}" for joint in ARM_JOINTS} <= set(names(rig, "joint"))
    assert {f"arm.{side}.{one}" for one in ("hand", "pole", "swing")} <= set(names(rig, "control"))


def test_both_sides_of_a_character_that_is_not_symmetric_are_kept() -> None:
    rig = exercise("arm").rig
    assert np.allclose(place(rig, "arm.left.elbow"), [0.15, 0.50, -0.03])
    assert np.allclose(place(rig, "arm.right.elbow"), [-0.12, 0.47, -0.02])
    assert np.allclose(place(rig, "arm.right.wrist"), [-0.13, 0.35, 0.04])


def test_an_arm_s_frames_have_the_stored_signs_on_a_symmetric_sheet() -> None:
    rig = symmetric_arm()
    mirrored = [node for node in rig.nodes if node.mirror is not None]
    assert len(mirrored) == 2 * (2 + 14)  # of the collar, and of the part
    for node in mirrored:
        assert node.mirror is not None
        twin = rig.node(node.mirror.twin)
        signs = turn_matrix(node).T @ reflection(rig) @ turn_matrix(twin)
        assert np.allclose(signs, np.diag(node.mirror.move), atol=1e-12), node.name
        turned = np.linalg.det(signs) * signs
        assert np.allclose(turned, np.diag(node.mirror.turn), atol=1e-12), node.name
        assert np.allclose(node.rest.place, reflection(rig) @ np.array(twin.rest.place))


def test_equal_turns_mirror_for_the_controls_that_turn_an_arm() -> None:
    rig = symmetric_arm()
    for control in ("swing", "bow", "cock", "hand"):
        made = rig.node(f"arm.right.{control}").mirror
        assert made is not None and made.turn == (1, 1, 1)
    pole = rig.node("arm.right.pole").mirror
    assert pole is not None and pole.move == (-1, 1, 1)


@pytest.mark.parametrize("side", ["left", "right"])
def test_an_arm_s_joints_are_blended_between_turning_and_reaching(side: str) -> None:
    rig = exercise("arm").rig
    pairs = {"shoulder": ("swing", "solved.1"), "elbow": ("bow", "solved.2")}
    for joint, leaders in pairs.items():
        made = constraint(rig, f"arm.{side}.{joint}/follow-turn")
        assert isinstance(made, Follow) and made.dial == f"arm.{side}.hand.reach"
        assert [leader.node for leader in made.leaders] == [f"arm.{side}.{n}" for n in leaders]


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_pole_stands_on_the_bend_plane_on_the_elbow_s_side(side: str) -> None:
    rig = exercise("arm").rig
    root, mid, tip = (place(rig, f"arm.{side}.{n}") for n in ("shoulder", "elbow", "wrist"))
    pole = place(rig, f"arm.{side}.pole")
    normal = np.cross(mid - root, tip - mid)
    assert abs(np.dot(pole - root, normal) / np.linalg.norm(normal)) < 1e-12
    outward = mid - (root + tip) / 2.0
    assert np.dot(pole - mid, outward) > 0.0
    assert np.linalg.norm(pole - mid) == pytest.approx(1.5 * np.linalg.norm(mid - root))


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_reach_goes_to_the_hand_which_stands_at_the_wrist(side: str) -> None:
    rig = exercise("arm").rig
    made = constraint(rig, f"arm.{side}.solved/reach")
    assert isinstance(made, Reach)
    assert (made.goal, made.pole) == (f"arm.{side}.hand", f"arm.{side}.pole")
    assert np.allclose(place(rig, made.goal), place(rig, f"arm.{side}.wrist"))
    assert made.ease == pytest.approx(0.05)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_forearm_s_joints_divide_it_evenly_and_share_the_wrist_s_twist(side: str) -> None:
    rig = exercise("arm").rig
    elbow, wrist = place(rig, f"arm.{side}.elbow"), place(rig, f"arm.{side}.wrist")
    for k in range(4):
        expected = elbow + (wrist - elbow) * k / 4.0
        assert np.allclose(place(rig, f"arm.{side}.forearm.{k + 1}"), expected)
    made = constraint(rig, f"arm.{side}.forearm/twist")
    assert isinstance(made, Twist)
    assert (made.end.mode, made.end.node) == ("from", f"arm.{side}.wrist")
    assert made.spread == pytest.approx((0.0, 1 / 3, 2 / 3, 1.0))


def test_an_arm_has_as_many_twisting_joints_as_its_sheet_says() -> None:
    text = sheet_text("arm").replace("girth = 6", "girth = 6\ntwists = 6")
    rig = compiled(recipe_text("arm"), text).rig
    assert len([n for n in names(rig) if n.startswith("arm.right.forearm.")]) == 6


def test_a_part_s_checks_carry_the_name_of_its_use() -> None:
    told = {check.name.partition(":")[0] for check in exercise("arm").rig.checks}
    assert told == {"arm.left", "arm.right"}


# ---- the foot ------------------------------------------------------------------------------------

PIVOTS = ("outside", "inside", "back", "tip", "rise", "sole")


@pytest.mark.parametrize("side", ["left", "right"])
def test_pivots_of_a_foot_hang_in_each_other_and_stand_at_its_landmarks(side: str) -> None:
    rig = exercise("foot").rig
    parents = [rig.node(f"{pivot}.{side}").parent for pivot in PIVOTS]
    assert parents == [f"{above}.{side}" for above in ("foot", *PIVOTS[:-1])]
    sign = 1.0 if side == "left" else -1.0
    for pivot, x, y, z in (("back", 8, 0, -3), ("tip", 10, 0.5, 12), ("rise", 9, 1, 7)):
        expected = [sign * x / 100.0, y / 100.0, z / 100.0]
        assert np.allclose(place(rig, f"{pivot}.{side}"), expected)


def test_only_groups_turn_a_foot_and_no_animator_touches_them() -> None:
    rig = exercise("foot").rig
    driven = {made.target.rsplit(".", 2)[0] for made in rig.feeds}
    assert {rig.node(name).kind for name in driven} == {"group"}


@pytest.mark.parametrize(
    ("roll", "heel", "ball", "toe"),
    [
        (-40.0, -40.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 0.0),
        (15.0, 0.0, 15.0, 0.0),
        (30.0, 0.0, 30.0, 0.0),
        (60.0, 0.0, 0.0, 25.0),
        (120.0, 0.0, 0.0, 75.0),
    ],
)
def test_a_roll_passes_from_the_heel_over_the_ball_to_the_toe(
    roll: float, heel: float, ball: float, toe: float
) -> None:
    rig = exercise("foot").rig
    reads = {"foot.left.roll": math.radians(roll), "foot.left.break": math.radians(30.0)}
    for pivot, expected in (("back", heel), ("rise", ball), ("tip", toe)):
        value = worth(feed(rig, f"{pivot}.left.turn.x").value, reads)
        assert math.degrees(value) == pytest.approx(expected), pivot


def test_where_the_ball_lets_go_is_a_dial() -> None:
    made = feed(exercise("foot").rig, "rise.left.turn.x").value
    assert isinstance(made, Map) and made.smooth
    assert made.pairs[1] == (Read("foot.left.break"), Read("foot.left.break"))


@pytest.mark.parametrize(
    ("channel", "dial", "sign"),
    [
        ("back.right.turn.x", "roll", 1.0),
        ("outside.right.turn.z", "bank", -1.0),
        ("tip.right.turn.y", "swivel", -1.0),
        ("flap.right.turn.x", "lift", 1.0),
    ],
)
def test_mirrored_feeds_turn_their_sign_where_the_channel_they_drive_does(
    channel: str, dial: str, sign: float
) -> None:
    # Pivots stand like the rig, so turns about x stay and turns about y and z change their sign.
    rig = exercise("foot").rig
    reads = {f"foot.{side}.{dial}": math.radians(-20.0) for side in ("left", "right")}
    left = worth(feed(rig, channel.replace("right", "left")).value, reads)
    right = worth(feed(rig, channel).value, reads)
    assert left != 0.0
    assert right == pytest.approx(sign * left)


def test_mirrored_feeds_read_the_dials_of_their_own_side() -> None:
    for made in exercise("foot").rig.feeds:
        side = "right" if ".right." in made.target else "left"
        assert f"foot.{side}." in str(made.value)
        assert f"foot.{'left' if side == 'right' else 'right'}." not in str(made.value)


# ---- the choice of a leader ----------------------------------------------------------------------


def test_a_dial_chooses_among_leaders_in_the_order_of_its_words() -> None:
    rig = exercise("space_choice").rig
    (dial,) = rig.node("lamp").dials
    made = constraint(rig, "lamp/follow-move-turn")
    assert isinstance(made, Follow) and made.dial == "lamp.space"
    leaders = [leader.node for leader in made.leaders]
    assert dict(zip(dial.options, leaders, strict=True)) == {
        "world": None,
        "rig": "master",
        "body": "body",
        "hand": "hand",
    }
    assert dial.options[int(dial.default)] == "hand" and dial.neutral


def test_no_choice_of_a_leader_moves_the_rest() -> None:
    # leader · offset is the lamp's own rest, whichever leader is chosen.
    settled = exercise("space_choice")
    lamp = settled.rig.node("lamp").rest
    made = constraint(settled.rig, "lamp/follow-move-turn")
    assert isinstance(made, Follow)
    for leader, offset in zip(made.leaders, settled.follows[made.name], strict=True):
        turn, start = np.eye(3), np.zeros(3)
        if leader.node is not None:
            node = settled.rig.node(leader.node)
            turn, start = turn_matrix(node), np.array(node.rest.place)
        assert np.allclose(start + turn @ np.array(offset.place), lamp.place, atol=1e-15)


# ---- thirty legs ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("sheet", "legs"), [("thirty_legs", 30), ("thirty_legs_twelve", 12)])
def test_a_creature_has_as_many_legs_as_its_sheet_has_hips(sheet: str, legs: int) -> None:
    rig = exercise("thirty_legs", sheet).rig
    feet = [name for name in names(rig, "control") if name.endswith(".foot")]
    assert len(feet) == legs
    assert len([one for one in rig.constraints if isinstance(one, Reach)]) == legs


def test_legs_are_named_use_number_side_node() -> None:
    rig = exercise("thirty_legs").rig
    assert rig.node("leg.3.right.bones.lower").spelled == "leg_3_right_bones_lower"


@pytest.mark.parametrize(("number", "parent"), [(1, "master"), (2, "body.1"), (15, "body.14")])
def test_a_body_control_hangs_on_its_neighbour_and_the_first_on_the_master(
    number: int, parent: str
) -> None:
    assert exercise("thirty_legs").rig.node(f"body.{number}").parent == parent


def gait(rig: Rig, leg: str, walk: float) -> tuple[float, float]:
    """How far a leg's step is forward and up, for a walk dial in degrees."""
    reads = {"master.walk": math.radians(walk), "master.gait": 1.0}
    step = f"leg.{leg}.step.move"
    return worth(feed(rig, f"{step}.z").value, reads), worth(feed(rig, f"{step}.y").value, reads)


def test_a_step_goes_forward_and_back_by_its_stride_and_up_by_its_lift() -> None:
    rig = exercise("thirty_legs").rig
    assert gait(rig, "1.left", 0.0) == pytest.approx((0.04, 0.0))
    assert gait(rig, "1.left", 90.0) == pytest.approx((0.0, 0.02))
    assert gait(rig, "1.left", 180.0) == pytest.approx((-0.04, 0.0))
    assert gait(rig, "1.left", 270.0) == pytest.approx((0.0, 0.0))


@pytest.mark.parametrize("walk", [0.0, 50.0, 200.0])
def test_a_leg_steps_as_the_one_before_did_a_little_earlier(walk: float) -> None:
    # 2.5 waves along fifteen pairs: each is a sixth of a turn, 60 degrees, behind the one before.
    rig = exercise("thirty_legs").rig
    for k in (2, 9, 15):
        assert gait(rig, f"{k}.left", walk) == pytest.approx(gait(rig, f"{k - 1}.left", walk - 60))


@pytest.mark.parametrize("walk", [0.0, 50.0, 200.0])
def test_right_legs_step_half_a_turn_after_the_left(walk: float) -> None:
    rig = exercise("thirty_legs").rig
    for k in (1, 8):
        assert gait(rig, f"{k}.right", walk) == pytest.approx(gait(rig, f"{k}.left", walk - 180))


def test_legs_of_both_sides_stand_on_their_own_side() -> None:
    rig = exercise("thirty_legs").rig
    assert np.allclose(place(rig, "leg.1.left.foot"), [0.06, 0.0, 0.305])
    assert np.allclose(place(rig, "leg.1.right.foot"), [-0.06, 0.0, 0.305])


# ---- the tail ------------------------------------------------------------------------------------


@pytest.mark.parametrize("holds", [3, 5, 12])
def test_a_tail_has_as_many_grips_as_its_sheet_says_and_two_points_for_each(holds: int) -> None:
    rig = compiled(recipe_text("tail"), sheet_text("tail").replace("= 5", f"= {holds}")).rig
    (path,) = rig.curves
    assert len(names(rig, "grip")) == holds
    assert len(path.points) == 2 * holds
    assert [(share.point, share.grip) for share in path.shares] == [
        (point, f"path.hold.{point // 2 + 1}") for point in range(2 * holds)
    ]


def test_each_hold_of_a_tail_hangs_on_the_one_before_and_stands_at_its_grip() -> None:
    rig = exercise("tail").rig
    assert rig.node("wave.1").parent == "root"
    for k in range(1, 6):
        assert rig.node(f"curl.{k}").parent == f"wave.{k}"
        assert np.allclose(place(rig, f"curl.{k}"), place(rig, f"path.hold.{k}"))
        if k > 1:
            assert rig.node(f"wave.{k}").parent == f"curl.{k - 1}"


def test_a_curl_travels_along_a_tail() -> None:
    rig = exercise("tail").rig
    for k in range(1, 6):
        for phase in (0.0, 70.0):
            reads = {"root.sway": 0.5, "root.phase": math.radians(phase), "root.lag": 1.0}
            expected = 0.5 * math.sin(math.radians(phase) - k)
            made = worth(feed(rig, f"wave.{k}.turn.y").value, reads)
            assert made == pytest.approx(expected)


def test_a_tail_rides_its_curve_and_lets_a_dial_stretch_it() -> None:
    made = constraint(exercise("tail").rig, "tail/ride")
    assert isinstance(made, Ride)
    assert (made.curve, made.carrier, made.stretch.channel) == ("path", "root", "root.stretch")


def test_a_tail_s_curve_is_the_same_however_many_grips_hold_it_at_its_ends() -> None:
    for holds in (4, 9):
        text = sheet_text("tail").replace("= 5", f"= {holds}")
        (path,) = compiled(recipe_text("tail"), text).rig.curves
        assert np.allclose(path.points[0], [0.0, 0.30, -0.10])
        assert np.allclose(path.points[-1], [0.0, 0.20, -0.71])


# ---- the eyes ------------------------------------------------------------------------------------


@pytest.mark.parametrize("side", ["left", "right"])
def test_both_eyes_face_one_mark_with_up_from_the_head(side: str) -> None:
    rig = exercise("eyes").rig
    made = constraint(rig, f"socket.{side}/face")
    assert isinstance(made, Face)
    assert (made.mark, made.up_node) == ("gaze", "head_bone")
    assert (made.axis, made.up) == ("+Z", "+Y")


def test_the_mark_hangs_before_the_middle_of_the_eyes() -> None:
    assert np.allclose(place(exercise("eyes").rig, "gaze"), [0.0, 0.64, 0.68])


def test_eyes_keep_their_rest_and_are_not_turned_onto_the_mark_at_once() -> None:
    # The offset turns the exact view back to how the socket stands: like the rig.
    settled = exercise("eyes")
    for side in ("left", "right"):
        node = settled.rig.node(f"socket.{side}")
        assert np.allclose(turn_matrix(node), np.eye(3))
        x, y, z, w = settled.faces[f"socket.{side}/face"].offset
        half = math.atan2(0.05, 0.60) / 2.0
        assert abs(w) == pytest.approx(math.cos(half))
        assert np.allclose([abs(x), abs(z)], 0.0, atol=1e-12)
        assert abs(y) == pytest.approx(math.sin(half))
