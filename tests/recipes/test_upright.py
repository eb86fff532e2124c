"""The whole two-legged character for every sheet of the cast: findings, laws, checks, targets.

And against what is known besides: the law of cosines (Euclid, Elements II.12 and II.13) for what
an arm reaches, sums of angles for a finger, plain trigonometry for eyes. Where a hand's palm is,
is worked out here from landmarks by a cross product, which the recipe has not.
"""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import somite
from somite import checks, pipeline
from somite.evaluate import Evaluator
from somite.laws import prove
from somite.target import Context
from somite.targets import scene, steps

RECIPES = Path(__file__).parents[2] / "recipes"
RECIPE = RECIPES / "upright.somite"
SHEETS = sorted(
    path for path in (RECIPES / "sheets").iterdir() if path.suffix in (".toml", ".json")
)
FINGERS = ("index", "middle", "ring", "little")
SIDES = ("left", "right")


@cache
def built(name: str) -> somite.Compiled:
    path = next(path for path in SHEETS if path.stem == name)
    return pipeline.compile(RECIPE, path)


@cache
def evaluator(name: str) -> Evaluator:
    made = built(name)
    assert made.settled is not None, made.findings
    return Evaluator(made.settled)


def names_of(name: str) -> set[str]:
    return {node.name for node in evaluator(name).settled.rig.nodes}


every_sheet = pytest.mark.parametrize("name", [path.stem for path in SHEETS])
each_side = pytest.mark.parametrize("side", SIDES)


# ---- the whole cast ------------------------------------------------------------------------------


@every_sheet
def test_a_character_is_built_without_a_finding(name: str) -> None:
    assert built(name).findings == ()


@every_sheet
def test_a_character_keeps_every_law(name: str) -> None:
    settled = evaluator(name).settled
    assert [one for result in prove(settled) for one in result.findings] == []


@every_sheet
def test_a_character_passes_every_check(name: str) -> None:
    results = checks.run(evaluator(name).settled, evaluator(name))
    assert len(results) > 50
    assert [one.name for one in results if not one.met] == []


@every_sheet
def test_a_character_can_be_built_by_a_person_and_loaded(name: str) -> None:
    """No loop among nodes taken whole, and nothing that a target can not say."""
    settled = evaluator(name).settled
    for target in (scene.TARGET, steps.TARGET):
        outputs, findings = target.emit(settled, Context())
        assert outputs
        assert findings == ()


def test_what_is_not_asked_for_is_not_built() -> None:
    moth, toad, figure = (names_of(n) for n in ("lumen_moth", "morel_toad", "standing_figure"))
    assert not any("index" in name or "thumb" in name or name.startswith("jaw") for name in moth)
    assert "eyes.eyeball.left" in moth
    assert "hand.left.little.bone.1" in toad and "hand.left.little.bone.3" not in toad
    assert not any(".thumb." in name for name in toad)
    assert {f"hand.right.{finger}.bone.4" for finger in FINGERS} <= figure


@each_side
def test_arms_of_unlike_length_keep_every_law(side: str, tmp_path: Path) -> None:
    """One forearm bound up and shorter: stretching and twisting are the side's own."""
    text = (RECIPES / "sheets" / "standing_figure.toml").read_text(encoding="utf-8")
    arm = "wrist = [0.1984, 0.8663, -0.0583]"
    assert arm in text
    other = next(one for one in SIDES if one != side)
    x = 0.1984 if side == "left" else -0.1984
    text = text.replace(
        arm,
        f"wrist = {{ {side} = [{x}, 0.93, -0.0583], {other} = [{-x}, 0.8663, -0.0583] }}",
    )
    sheet = tmp_path / "bound_up.toml"
    sheet.write_text(text, encoding="utf-8")
    made = pipeline.compile(RECIPE, sheet)
    assert made.findings == ()
    assert made.settled is not None
    assert [one for result in prove(made.settled) for one in result.findings] == []


# ---- arms ----------------------------------------------------------------------------------------


def interior(a: float, b: float, c: float) -> float:
    """The angle between two sides of a triangle, in radians, by the law of cosines."""
    return math.acos((a * a + b * b - c * c) / (2.0 * a * b))


@every_sheet
@each_side
def test_a_reaching_elbow_bends_by_the_law_of_cosines(name: str, side: str) -> None:
    rig = evaluator(name)
    nodes = {node.name: np.array(node.rest.place) for node in rig.settled.rig.nodes}
    shoulder = nodes[f"arm.{side}.upper"]
    elbow, wrist = nodes[f"arm.{side}.fore"], nodes[f"arm.{side}.wrist"]
    upper, fore = np.linalg.norm(elbow - shoulder), np.linalg.norm(wrist - elbow)
    # The hand comes toward the shoulder: its own axes are those of the forearm at rest.
    turn = Rotation.from_quat(rig.settled.rig.node(f"arm.{side}.hand").rest.turn)
    shares = np.array([0.5, 0.7, 0.9]) * (upper + fore) / np.linalg.norm(wrist - shoulder)
    steps_in = turn.inv().apply((shoulder - wrist)[None] * (1.0 - shares)[:, None])
    posed = rig.pose(
        {
            f"arm.{side}.settings.mix": 1.0,
            **{f"arm.{side}.hand.move.{axis}": steps_in[:, k] for k, axis in enumerate("xyz")},
        }
    )
    there = [posed.place(f"arm.{side}.{joint}") for joint in ("upper", "fore", "wrist")]
    assert there[2] == pytest.approx(shoulder + (wrist - shoulder) * shares[:, None], abs=1e-9)
    for k in range(3):
        a, b = there[0][k] - there[1][k], there[2][k] - there[1][k]
        measured = math.acos(a @ b / np.linalg.norm(a) / np.linalg.norm(b))
        reach = float(np.linalg.norm(there[2][k] - there[0][k]))
        assert measured == pytest.approx(interior(upper, fore, reach), abs=1e-7)


@every_sheet
@each_side
def test_a_turning_arm_can_be_posed_as_a_reaching_one_is(name: str, side: str) -> None:
    """So the dial between them need not jump at any pose: the elbow is a hinge in both."""
    rig = evaluator(name)
    arm = f"arm.{side}"
    far = rig.settled.rig.height * 0.05
    reached = rig.pose(
        {
            f"{arm}.settings.mix": 1.0,
            f"{arm}.hand.move.x": -2.0 * far,
            f"{arm}.hand.move.y": 1.5 * far,
            f"{arm}.hand.move.z": -far,
            f"{arm}.hand.turn.x": 0.5,
            f"{arm}.hand.turn.y": 0.2,
            f"{arm}.pole.move.z": 0.5 * far,
            f"{arm}.shrug.turn.y": 0.2,
        }
    )
    rest = rig.pose({})
    given: dict[str, float] = {f"{arm}.settings.mix": 0.0, f"{arm}.shrug.turn.y": 0.2}
    above = f"{arm}.shrug"
    for control, joint in (("swing", "upper"), ("bow", "fore"), ("cock", "wrist")):
        # What the control's mount is without it: the control above, and the rest offset.
        mount = turn_of(reached, joint_of(arm, above)) * (
            turn_of(rest, joint_of(arm, above)).inv() * turn_of(rest, f"{arm}.{joint}")
        )
        wanted = (mount.inv() * turn_of(reached, f"{arm}.{joint}")).as_euler("xyz")
        if control == "bow":
            assert wanted[:2] == pytest.approx([0.0, 0.0], abs=1e-9)
            given[f"{arm}.bow.turn.z"] = wanted[2]
        else:
            given |= {f"{arm}.{control}.turn.{axis}": wanted[k] for k, axis in enumerate("xyz")}
        above = f"{arm}.{control}"
    turned = rig.pose(given)
    for joint in ("upper", "fore", "wrist", "forearm.3", "upper_arm.2"):
        found, wanted_place = turned.place(f"{arm}.{joint}"), reached.place(f"{arm}.{joint}")
        assert found == pytest.approx(wanted_place, abs=1e-9)
        apart = turn_of(turned, f"{arm}.{joint}").inv() * turn_of(reached, f"{arm}.{joint}")
        assert apart.magnitude() == pytest.approx(0.0, abs=1e-7)


@every_sheet
@each_side
def test_an_arm_keeps_its_bones_while_the_back_stretches_and_thins(name: str, side: str) -> None:
    """A stretched back is longer and thinner; what hangs on the chest is neither."""
    rig = evaluator(name)
    rest = rig.pose({})
    up = 0.1 * float(rest.place("neck.head_top")[0, 1])
    posed = rig.pose(
        {
            "spine.body.stretch": [1.0, 1.0, 0.5],
            "spine.body.volume": [1.0, 1.0, 0.5],
            "spine.high.move.y": up,
            f"arm.{side}.settings.mix": [1.0, 0.4, 1.0],
            f"arm.{side}.hand.space": 3.0,
            f"arm.{side}.hand.turn.x": 0.4,
        }
    )
    last = f"spine.back.{sum(one.startswith('spine.back.') for one in names_of(name))}"
    stretched = np.linalg.norm(posed.linear(last), axis=1)
    assert stretched[0, 0] > 1.05 and stretched[0, 1] < 0.98
    for first, last in [
        ("upper", "fore"),
        ("fore", "wrist"),
        ("upper_arm.1", "upper_arm.2"),
        ("forearm.1", "forearm.2"),
        ("clavicle", "upper"),
    ]:
        bones = [
            one.place(f"arm.{side}.{last}") - one.place(f"arm.{side}.{first}")
            for one in (rest, posed)
        ]
        kept, found = (np.linalg.norm(bone, axis=1) for bone in bones)
        assert found == pytest.approx(np.full(3, kept[0]), abs=1e-9), (first, last)
    # The hand goes with the chest (its fourth space), so a reach still brings the wrist to it.
    apart = posed.place(f"arm.{side}.wrist") - posed.place(f"arm.{side}.hand")
    assert np.abs(apart[[0, 2]]).max() < 1e-9


@every_sheet
@each_side
def test_a_pole_stands_in_the_plane_of_the_bend_on_the_elbows_side(name: str, side: str) -> None:
    nodes = {node.name: np.array(node.rest.place) for node in evaluator(name).settled.rig.nodes}
    shoulder, elbow, wrist, pole = (
        nodes[f"arm.{side}.{word}"] for word in ("upper", "fore", "wrist", "pole")
    )
    normal = np.cross(elbow - shoulder, wrist - shoulder)
    assert abs((pole - shoulder) @ normal) < 1e-9 * np.linalg.norm(normal)
    along = (wrist - shoulder) / np.linalg.norm(wrist - shoulder)
    sideways = [spot - shoulder - along * ((spot - shoulder) @ along) for spot in (elbow, pole)]
    assert sideways[0] @ sideways[1] > 0.0


def joint_of(arm: str, control: str) -> str:
    """The bound joint that goes with a turning control."""
    bound = {"shrug": "clavicle", "swing": "upper", "bow": "fore"}
    return f"{arm}.{bound[control.rpartition('.')[2]]}"


def turn_of(posed: somite.Posed, name: str) -> Rotation:
    return Rotation.from_quat(posed.turn(name)[0])


@each_side
def test_half_of_what_the_wrist_turns_is_turned_at_the_middle_of_the_forearm(side: str) -> None:
    """Common practice, no source: a forearm's skin turns in proportion to the way to the wrist."""
    rig = evaluator("standing_figure")
    posed = rig.pose({f"arm.{side}.cock.turn.x": [0.0, math.radians(80.0)]})
    for number, share in ((1, 0.0), (2, 0.5), (3, 1.0)):
        turns = Rotation.from_quat(posed.turn(f"arm.{side}.forearm.{number}"))
        angle = (turns[0].inv() * turns[1]).magnitude()
        assert math.degrees(angle) == pytest.approx(80.0 * share, abs=1e-6)


def test_controls_are_shown_while_they_do_something() -> None:
    posed = evaluator("tansy_heron").pose({"arm.left.settings.mix": [0.0, 0.5, 1.0]})
    assert posed.shown("arm.left.bow").tolist() == [True, True, False]
    assert posed.shown("arm.left.hand").tolist() == [False, True, True]
    assert posed.shown("arm.right.hand").tolist() == [False, False, False]


# ---- what goes with what -------------------------------------------------------------------------

MIXES = [
    "spine.body.mix",
    *(f"{limb}.{side}.mix" for side in SIDES for limb in ("arm", "foot")),
]
"""Dials between turning and reaching or riding: of an arm on its settings, of a leg on its foot."""


@every_sheet
def test_dials_between_turning_and_reaching_move_nothing_at_rest(name: str) -> None:
    rig = evaluator(name)
    channels = [
        mix.replace("arm.left", "arm.left.settings")
        .replace("arm.right", "arm.right.settings")
        .replace("foot.left", "foot.left.foot")
        .replace("foot.right", "foot.right.foot")
        for mix in MIXES
    ]
    assert set(channels) <= set(rig.channels)
    rest = rig.pose({}).worlds[0]
    posed = rig.pose({channel: [0.0, 0.3, 1.0] for channel in channels})
    assert np.abs(posed.worlds - rest).max() < 1e-9


SPACES = {
    "hand": ("arm.left.hand", ("world", "master", "body", "chest", "head")),
    "pole": ("arm.left.pole", ("world", "master", "body", "chest", "hand")),
    "foot": ("foot.left.foot", ("world", "master", "body")),
    "gaze": ("eyes.gaze", ("world", "master", "body", "chest", "head")),
}
LEADERS = {
    "master": "master.offset",
    "body": "spine.body",
    "chest": "spine.high",
    "head": "neck.nod",
    "hand": "arm.left.hand",
}
CARRIED = {
    "master": {"master", "body", "chest", "head", "hand"},
    "body": {"body", "chest", "head"},
    "chest": {"chest", "head"},
    "head": {"head"},
    "hand": {"hand"},
}
"""What goes along when a leader moves: a hand stands on the master until told otherwise."""


@pytest.mark.parametrize("control", SPACES)
@pytest.mark.parametrize("name", ["standing_figure", "tansy_heron"])
def test_a_control_goes_with_the_leader_that_its_space_names(name: str, control: str) -> None:
    rig = evaluator(name)
    node, spaces = SPACES[control]
    options = rig.channels[f"{node}.space"].options
    assert options == spaces
    for leader, mover in LEADERS.items():
        if mover == node:
            continue
        # A head only turns, so that leader is tried by a turn, the others by a move.
        channel = f"{mover}.turn.y" if leader == "head" else f"{mover}.move.z"
        for at, space in enumerate(options):
            rest = rig.pose({f"{node}.space": float(at)})
            posed = rig.pose({f"{node}.space": float(at), channel: 0.05})
            gone = posed.place(node) - rest.place(node)
            if space not in CARRIED[leader]:
                assert np.abs(gone).max() < 1e-9, (space, channel)
            elif leader in ("chest", "head"):
                # Some way: heads only turn, and a back that keeps its length tilts the chest.
                assert np.linalg.norm(gone) > 1e-3, (space, channel)
            else:
                assert gone == pytest.approx(posed.place(mover) - rest.place(mover), abs=1e-9)


@every_sheet
def test_the_master_carries_a_posed_rig_as_one_piece(name: str) -> None:
    """A similarity: m + s R x for every joint, control and group, of their places x."""
    rig = evaluator(name)
    pose = {
        "spine.high.turn.x": 0.3,
        "spine.bow.turn.y": -0.2,
        "spine.body.stretch": 0.5,
        "spine.body.move.y": -0.02 * rig.settled.rig.height,
        "arm.left.settings.mix": 1.0,
        "arm.right.swing.turn.z": 0.5,
        "arm.right.bow.turn.z": 0.6,
        "neck.nod.turn.y": 0.3,
        "foot.left.foot.roll": 0.3,
    }
    before = rig.pose(pose)
    after = rig.pose(
        pose
        | {
            f"master.whole.move.{axis}": at
            for axis, at in zip("xyz", (0.7, 0.2, -1.1), strict=True)
        }
        | {"master.whole.turn.y": 1.2, "master.whole.size.x": 1.7}
        | {"master.offset.move.z": 0.3}
    )
    turn = Rotation.from_euler("y", 1.2)
    for node in rig.settled.rig.nodes:
        if node.name == "master.whole":
            continue
        moved = before.place(node.name)[0] + (0.0, 0.0, 0.3)
        wanted = np.add(turn.apply(1.7 * moved), (0.7, 0.2, -1.1))
        assert after.place(node.name)[0] == pytest.approx(wanted, abs=1e-9), node.name
        apart = (turn * turn_of(before, node.name)).inv() * turn_of(after, node.name)
        assert apart.magnitude() < 1e-7, node.name


MIRRORED = {
    "arm.{}.shrug.turn.y": (0.2, 1),
    "arm.{}.swing.turn.x": (0.3, 1),
    "arm.{}.swing.turn.z": (0.5, 1),
    "arm.{}.bow.turn.z": (0.7, 1),
    "arm.{}.cock.turn.x": (-0.4, 1),
    "arm.{}.pole.move.x": (0.05, -1),
    "hand.{}.fingers.curl": (0.4, 1),
    "hand.{}.fingers.spread": (0.6, 1),
    "hand.{}.middle.knuckle.2.turn.y": (0.1, 1),
    "foot.{}.foot.move.x": (0.04, -1),
    "foot.{}.foot.move.z": (0.08, 1),
    "foot.{}.foot.turn.y": (0.3, -1),
    "foot.{}.foot.roll": (0.5, 1),
    "foot.{}.foot.bank": (0.2, 1),
    "eyes.mark.{}.move.x": (0.05, -1),
}
"""By channel the left value, and the right one's sign: turned nodes share signs, nodes that stand
like the rig change those of sideways moves and of turns that are not about the sideways axis."""


@pytest.mark.parametrize("mix", [0.0, 1.0])
@pytest.mark.parametrize("name", ["standing_figure", "adult_a"])
def test_mirrored_channels_give_mirrored_sides(name: str, mix: float) -> None:
    rig = evaluator(name)
    given = {f"arm.{side}.settings.mix": mix for side in SIDES}
    for channel, (value, sign) in MIRRORED.items():
        given |= {channel.format("left"): value, channel.format("right"): sign * value}
    posed, rest = rig.pose(given), rig.pose({})
    tried = 0
    for node in rig.settled.rig.nodes:
        if node.kind != "joint" or ".left" not in node.name:
            continue
        left = posed.place(node.name)[0]
        right = posed.place(node.name.replace(".left", ".right"))[0]
        assert right == pytest.approx(left * (-1.0, 1.0, 1.0), abs=1e-9), node.name
        tried += np.linalg.norm(left - rest.place(node.name)[0]) > 1e-3
    assert tried > 20


@every_sheet
def test_feet_stay_while_the_body_sinks_and_turns_above_them(name: str) -> None:
    rig = evaluator(name)
    height = float(rig.pose({}).place("spine.low")[0, 1])
    posed = rig.pose(
        {
            "spine.body.move.y": [0.0, -0.03 * height],
            "spine.body.move.z": [0.0, 0.01 * height],
            "spine.body.turn.y": [0.0, 0.1],
            "spine.low.turn.z": [0.0, 0.05],
        }
    )
    for side in SIDES:
        for joint in ("ankle", "toes", "toe_tip", "heel"):
            places = posed.place(f"foot.{side}.{joint}")
            assert places[1] == pytest.approx(places[0], abs=1e-9), joint
        turns = Rotation.from_quat(posed.turn(f"foot.{side}.ankle"))
        assert (turns[0].inv() * turns[1]).magnitude() < 1e-7
        for first, last in (("leg.{}.hip", "leg.{}.knee"), ("leg.{}.knee", "foot.{}.ankle")):
            bone = posed.place(last.format(side)) - posed.place(first.format(side))
            lengths = np.linalg.norm(bone, axis=1)
            assert lengths[1] == pytest.approx(lengths[0], abs=1e-9)


HOLDERS = {
    "spine.pack": "spine.chest",
    "neck.hat": "neck.head",
    "jaw.bite": "jaw.jaw",
    "arm.left.cuff": "arm.left.forearm.last",
    "hand.right.grip": "arm.right.wrist",
    "belt.left": "spine.base",
}


@pytest.mark.parametrize("socket", HOLDERS)
def test_a_socket_goes_with_its_joint_as_if_it_were_nailed_on(socket: str) -> None:
    rig = evaluator("standing_figure")
    assert rig.settled.rig.node(socket).socket
    joint = HOLDERS[socket].replace("last", "3")
    given = {
        "spine.high.turn.y": [0.0, 0.5],
        "spine.low.turn.x": [0.0, -0.2],
        "neck.nod.turn.y": [0.0, 0.4],
        "jaw.chew.open": [0.0, 1.0],
        "arm.left.cock.turn.x": [0.0, 0.9],
        "arm.right.swing.turn.z": [0.0, 0.8],
    }
    posed = rig.pose(given)
    turns = Rotation.from_quat(posed.turn(joint))
    assert (turns[0].inv() * turns[1]).magnitude() > 0.1
    seen = turns.inv().apply(posed.place(socket) - posed.place(joint))
    assert seen[1] == pytest.approx(seen[0], abs=1e-9)
    held = turns.inv() * Rotation.from_quat(posed.turn(socket))
    assert (held[0].inv() * held[1]).magnitude() < 1e-7


# ---- hands ---------------------------------------------------------------------------------------


def fingers_of(name: str) -> list[str]:
    return [one for one in FINGERS if f"hand.left.{one}.bone.1" in names_of(name)]


def chain_of(name: str, finger: str, side: str) -> list[str]:
    held = names_of(name)
    bones = [f"hand.{side}.{finger}.bone.{k}" for k in range(1, 7)]
    return [bone for bone in bones if bone in held]


@pytest.mark.parametrize("curl", [-0.25, 0.25, 0.5])
@each_side
def test_a_fingers_joints_add_up(side: str, curl: float) -> None:
    """Three joints that each close by 80 degrees turn the last bone by three times as much."""
    rig = evaluator("standing_figure")
    posed = rig.pose({f"hand.{side}.fingers.curl": [0.0, curl]})
    for finger in FINGERS:
        turns = Rotation.from_quat(posed.turn(f"hand.{side}.{finger}.bone.4"))
        bent = (turns[0].inv() * turns[1]).magnitude()
        # The published centres of a finger do not lie in one plane, so neither do its bends.
        assert math.degrees(bent) == pytest.approx(3 * 80.0 * abs(curl), abs=0.05)


@pytest.mark.parametrize("name", [p.stem for p in SHEETS if p.stem != "lumen_moth"])
@each_side
def test_closing_fingertips_go_to_the_palms_side_and_stay_there(name: str, side: str) -> None:
    """The palm of a left hand looks along (wrist to fingers) x (last finger to first)."""
    rig = evaluator(name)
    fingers = fingers_of(name)
    posed = rig.pose({f"hand.{side}.fingers.curl": np.linspace(0.0, 1.0, 21)})
    base = 1 if "hand.left.index.bone.4" in names_of(name) else 0
    roots = {finger: chain_of(name, finger, side)[base] for finger in fingers}
    across = posed.place(roots["index"])[0] - posed.place(roots[fingers[-1]])[0]
    ahead = posed.place(roots["middle"])[0] - posed.place(f"arm.{side}.wrist")[0]
    palmward = np.cross(ahead, across) * (1.0 if side == "left" else -1.0)
    palmward /= np.linalg.norm(palmward)
    for finger in fingers:
        root, tip = posed.place(roots[finger]), posed.place(f"hand.{side}.{finger}.tip")
        length = np.linalg.norm(tip[0] - root[0])
        depth = (tip - root) @ palmward / length
        assert depth[6] > depth[0] + 0.1
        assert (depth[2:] > 0.0).all()
        assert (np.linalg.norm(tip - root, axis=1) <= length * (1.0 + 1e-9)).all()


@pytest.mark.parametrize("name", [p.stem for p in SHEETS if p.stem != "lumen_moth"])
@each_side
def test_every_joint_of_a_finger_closes_on_and_on_as_it_curls(name: str, side: str) -> None:
    """Each joint's own turn against the one before it, about one axis, rises with the curl."""
    rig = evaluator(name)
    base = 1 if "hand.left.index.bone.4" in names_of(name) else 0
    curls = np.linspace(-0.5, 1.0, 31)
    posed = rig.pose({f"hand.{side}.fingers.curl": curls})
    for finger in fingers_of(name):
        chain = chain_of(name, finger, side)
        above = [f"arm.{side}.wrist", *chain][base:]
        for parent, bone in zip(above, chain[base:], strict=False):
            turns = Rotation.from_quat(posed.turn(parent)).inv() * Rotation.from_quat(
                posed.turn(bone)
            )
            closed = np.array([(turns[10].inv() * turn).as_rotvec() for turn in turns])
            axis = closed[-1] / np.linalg.norm(closed[-1])
            assert (np.diff(closed @ axis) > 0.0).all()
            # 80 degrees at a whole curl, and as much for each part of it.
            assert np.degrees(closed @ axis) == pytest.approx(80.0 * curls, abs=1e-6)


@each_side
def test_a_spread_opens_the_fingers_apart_from_each_other(side: str) -> None:
    rig = evaluator("standing_figure")
    posed = rig.pose({f"hand.{side}.fingers.spread": [-1.0, 0.0, 1.0]})
    for first, second in pairwise(FINGERS):
        a = posed.place(f"hand.{side}.{first}.tip")
        b = posed.place(f"hand.{side}.{second}.tip")
        assert (np.diff(np.linalg.norm(a - b, axis=1)) > 0.0).all()


# ---- head and face -------------------------------------------------------------------------------


@every_sheet
def test_converging_eyes_turn_in_by_the_angle_of_the_triangle(name: str) -> None:
    """Half the distance of the eyes over the distance of the mark, by the arc tangent."""
    rig = evaluator(name)
    left, right = (np.array(rig.settled.rig.node(f"eyes.eyeball.{s}").rest.place) for s in SIDES)
    look = 10.0 * np.linalg.norm(left - right)
    posed = rig.pose({"eyes.gaze.converge": [0.0, 1.0], "eyes.gaze.move.z": -0.5 * look})
    for side in SIDES:
        turns = Rotation.from_quat(posed.turn(f"eyes.eyeball.{side}"))
        turned = (turns[0].inv() * turns[1]).magnitude()
        wanted = math.atan(0.5 * float(np.linalg.norm(left - right)) / (0.5 * look))
        # The dial scales the marks' distance, and no scale is less than a ten-thousandth.
        assert turned == pytest.approx(wanted, rel=2e-4)


@every_sheet
@pytest.mark.parametrize("space", ["world", "master", "body", "chest", "neck"])
def test_the_head_holds_against_what_its_space_does_not_know(name: str, space: str) -> None:
    """Each leader in turn is turned by 0.4 about the upright; the head goes with its own."""
    rig = evaluator(name)
    inner = list(rig.channels["neck.nod.space"].options).index(space)
    turners = ["master.offset", "spine.body", "spine.high", "neck.bend"]
    rest = turn_of(rig.pose({"neck.nod.space": float(inner)}), "neck.head")
    for at, control in enumerate(turners, 1):
        posed = rig.pose({"neck.nod.space": float(inner), f"{control}.turn.y": 0.4})
        turned = (rest.inv() * turn_of(posed, "neck.head")).magnitude()
        if at > inner:
            assert turned == pytest.approx(0.0, abs=1e-9), control
        else:
            # Of the chest control's turn, what lies along the last bone arrives, within 2 degrees:
            # the twist of the swing and the twist, 2 atan(tan(a / 2) cos(lean)).
            along = turn_of(rig.pose({}), "spine.chest").apply([1.0, 0.0, 0.0])[1]
            wanted = 2.0 * math.atan(math.tan(0.2) * along) if control == "spine.high" else 0.4
            assert turned == pytest.approx(wanted, abs=math.radians(2.0)), control


@pytest.mark.parametrize("name", ["standing_figure", "morel_toad"])
def test_the_jaw_opens_downward_about_its_hinge_by_the_gape(name: str) -> None:
    rig = evaluator(name)
    posed = rig.pose({"jaw.chew.open": [0.0, 1.0]})
    hinge, chin = posed.place("jaw.jaw"), posed.place("jaw.chin")
    assert hinge[1] == pytest.approx(hinge[0], abs=1e-12)
    shut, wide = chin[0] - hinge[0], chin[1] - hinge[1]
    opened = math.acos(shut @ wide / (shut @ shut))
    assert math.degrees(opened) == pytest.approx({"morel_toad": 50.0}.get(name, 30.0), abs=1e-6)
    assert wide[1] < shut[1]


# ---- the back ------------------------------------------------------------------------------------


def test_a_riding_back_can_be_posed_bone_by_bone() -> None:
    """With stretch off, each vertebra's turn is what brings its bone to where it rides."""
    rig = evaluator("standing_figure")
    bones = 7
    bent = {"spine.high.turn.x": 0.4, "spine.bow.turn.y": 0.3, "spine.low.turn.z": 0.2}
    riding, rest = rig.pose(bent), rig.pose({})
    given = {"spine.body.mix": 0.0, "spine.low.turn.z": 0.2}
    above = "spine.base"
    for k in range(1, bones + 1):
        bone = f"spine.back.{k}"
        mount = turn_of(riding, above) * (turn_of(rest, above).inv() * turn_of(rest, bone))
        turn = (mount.inv() * turn_of(riding, bone)).as_euler("xyz")
        given |= {f"spine.vertebra.{k}.turn.{axis}": turn[at] for at, axis in enumerate("xyz")}
        above = bone
    turning = rig.pose(given)
    for k in range(1, bones + 1):
        bone = f"spine.back.{k}"
        assert turning.place(bone) == pytest.approx(riding.place(bone), abs=1e-9)
    assert turning.place("neck.head") == pytest.approx(riding.place("neck.head"), abs=1e-9)


def test_bending_bone_by_bone_adds_up_to_the_whole() -> None:
    """Turns about parallel axes add up (Euler): the bones' third axes lie across the body."""
    rig = evaluator("adult_a")
    bones = 7
    shares = [4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 11.0]
    across = [turn_of(rig.pose({}), f"spine.back.{k}").apply([0.0, 0.0, 1.0]) for k in range(1, 8)]
    assert np.abs(np.abs(across) - (1.0, 0.0, 0.0)).max() < 1e-9
    given = {"spine.body.mix": [0.0, 0.0]}
    for k in range(1, bones + 1):
        given[f"spine.vertebra.{k}.turn.z"] = [0.0, math.radians(shares[k - 1])]
    posed = rig.pose(given)
    for k in range(1, bones + 1):
        turns = Rotation.from_quat(posed.turn(f"spine.back.{k}"))
        bent = math.degrees((turns[0].inv() * turns[1]).magnitude())
        assert bent == pytest.approx(sum(shares[:k]), abs=1e-6)
    chest = Rotation.from_quat(posed.turn("spine.chest"))
    assert math.degrees((chest[0].inv() * chest[1]).magnitude()) == pytest.approx(50.0, abs=1e-6)


STRAIGHT = """recipe post
  units cm
  axes up +Y front +Z
import master, spine from library
use master as master
use spine as spine
  with stations = [(0, 1 m, 0), (0, 1.2 m, 0), (0, 1.6 m, 0)], middle = (0, 1.2 m, 0)
  with master = master.offset, skeleton = master.skeleton
  with bones = 6
"""


@pytest.mark.parametrize(("leader", "reaches"), [("high", 0.5), ("bow", 0.5), ("low", 0.0)])
def test_a_straight_back_shares_a_turn_by_the_way_along_it(leader: str, reaches: float) -> None:
    """Common practice, no source: a turn grows evenly with the length that lies below a bone.

    About one upright line all turns add up, so a bone's is plain: nothing at the base for the chest
    and the bend above it, all at the last bone; and the other way about for the pelvis.
    """
    sheet = 'character = "post"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
    made = pipeline.compile_text(STRAIGHT, sheet)
    assert made.settled is not None, made.findings
    rig = Evaluator(made.settled)
    posed = rig.pose({f"spine.{leader}.turn.y": [0.0, 0.5]})
    heights = np.array([posed.place(f"spine.back.{k}")[0, 1] for k in range(1, 7)])
    assert heights[0] == pytest.approx(1.0, abs=1e-9)
    way = (heights - heights[0]) / (heights[-1] - heights[0])
    for k, share in enumerate(way, 1):
        turns = Rotation.from_quat(posed.turn(f"spine.back.{k}"))
        turned = (turns[1] * turns[0].inv()).as_rotvec()
        wanted = reaches * share if reaches else 0.5 * (1.0 - share)
        assert turned == pytest.approx([0.0, wanted, 0.0], abs=1e-7)


@every_sheet
def test_the_bones_of_a_neck_take_even_shares_of_its_bend(name: str) -> None:
    rig = evaluator(name)
    bones = sum(n.startswith("neck.bone.") for n in names_of(name))
    posed = rig.pose({"neck.bend.turn.x": [0.0, 0.6]})
    for k in range(1, bones + 1):
        turns = Rotation.from_quat(posed.turn(f"neck.bone.{k}"))
        assert (turns[0].inv() * turns[1]).magnitude() == pytest.approx(0.6 * k / bones, abs=2e-3)
