"""Verdicts on channels, picture and skin, each confirmed by posing both rigs."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from puppet import EDITS, RECIPE, SHEET, built, clashing, made
from scipy.spatial.transform import Rotation

from somite import clip
from somite.diff.carrying import carried
from somite.diff.compatibility import ChannelMap, channel_map, clip_verdict
from somite.diff.matching import matched
from somite.diff.review import reviewed
from somite.diff.skin import skin
from somite.evaluate import Evaluator
from somite.ir import Rig
from somite.pipeline import Compiled
from somite.text import Source

VERDICTS = {
    "parent": "breaks",  # its turn is limited
    "parent of a locked control": "keeps",  # nothing looks at where it is
    "rename with was": "carries",
    "limit": "breaks",
    "wider limit": "keeps",
    "no limit": "keeps",
    "mirrored limit": "breaks",
    "lock": "breaks",
    "free": "keeps",
    "order": "carries",
    "order under a limit": "breaks",
    "bones": "keeps",
    "spread": "keeps",
    "dial default": "carries",
    "dial range": "breaks",
    "dial kind": "breaks",
    "dial renamed": "carries",
    "dial renamed silently": "carries",
    "dial gone": "breaks",
    "choice more": "keeps",
    "choice fewer": "breaks",
    "choice default": "carries",
    "units": "carries",
    "size": "carries",
    "joint fewer": "keeps",
    "elsewhere": "keeps",
}
"""What each edit does to channels, by what the words mean; the others keep."""


def rig(compiled: Compiled) -> Rig:
    assert compiled.rig is not None
    return compiled.rig


def mapped(old: Compiled, new: Compiled) -> ChannelMap:
    return channel_map(rig(old), rig(new), matched(rig(old), rig(new)))


def evaluator(compiled: Compiled) -> Evaluator:
    assert compiled.settled is not None
    return Evaluator(compiled.settled)


def drawn(of: Evaluator, chance: random.Random, poses: int = 6) -> dict[str, Any]:
    """Random values of everything that an animator may set, far out where there are no limits."""
    controls = {node.name: node for node in of.settled.rig.nodes if node.kind == "control"}
    found: dict[str, Any] = {}
    for name, channel in of.channels.items():
        if channel.node not in controls or channel.locked or channel.driven:
            continue
        if channel.part == "size" and channel.axis and controls[channel.node].size_even:
            continue
        wide = {"move": 0.9, "turn": 2.5, "size": 0.4}.get(channel.part, 1.0)
        low, high = (
            max(channel.low, channel.default - wide),
            min(channel.high, channel.default + wide),
        )
        values = [chance.uniform(low, high) for _ in range(poses)]
        # The ends of a range are where a narrower one shows.
        values[0], values[1] = low, high
        found[name] = np.array([round(one) for one in values] if channel.options else values, float)
    return found


@pytest.mark.parametrize("name", sorted(EDITS))
def test_each_edit_has_the_verdict_that_its_meaning_calls_for(name: str) -> None:
    assert mapped(made(), made(name)).verdict == VERDICTS.get(name, "keeps")


subsets = st.lists(st.sampled_from(sorted(EDITS)), max_size=3, unique=True).filter(
    lambda names: not clashing(names)
)


@settings(deadline=None, max_examples=40)
@given(subsets, subsets, st.integers(0, 10**6))
def test_verdicts_hold_for_random_clips(first: list[str], second: list[str], seed: int) -> None:
    """What keeps or carries is taken by the new rig as it is; of what breaks, something is not."""
    old, new = made(*first), made(*second)
    whole = mapped(old, new)
    values = drawn(evaluator(old), random.Random(seed))
    told = carried(whole, values)
    lost = [link.old for link in whole.channels if link.new is None and link.old in values]
    of_new = evaluator(new)
    known = {name: value for name, value in told.items() if name in of_new.channels}
    notes = of_new.pose(known).notes
    if whole.verdict != "breaks":
        assert not lost and not notes and known.keys() == told.keys()
        if whole.verdict == "keeps":
            assert all(
                (told[name] == values[name]).all()
                for name in values
                if name in told and not of_new.channels[name].options
            )
    else:
        reworked = any(control.verdict == "breaks" for control in whole.controls)
        gone = any(-1 in link.options for link in whole.channels)
        kinds = any("it was" in reason for link in whole.channels for reason in link.reasons)
        assert lost or notes or reworked or gone or kinds


@settings(deadline=None, max_examples=30)
@given(
    st.lists(
        st.sampled_from(
            [
                "rename with was",
                "order",
                "dial default",
                "dial renamed",
                "units",
                "free",
                "wider limit",
                "choice more",
                "choice default",
                "size",
                "revision",
                "list",
            ]
        ),
        max_size=4,
        unique=True,
    ).filter(lambda names: not clashing(names)),
    st.integers(0, 10**6),
)
def test_a_clip_carried_over_what_only_touches_channels_shows_the_same_picture(
    names: list[str], seed: int
) -> None:
    old, new = made(), made(*names)
    matching = matched(rig(old), rig(new))
    whole = channel_map(rig(old), rig(new), matching)
    before = evaluator(old)
    values = drawn(before, random.Random(seed))
    first = before.pose(values)
    second = evaluator(new).pose(carried(whole, values))
    for pair in matching.pairs_of("nodes"):
        if pair.old.kind == "joint":
            assert first.place(pair.old.name) == pytest.approx(
                second.place(pair.new.name), abs=1e-7
            )


@pytest.mark.parametrize("order", ["xzy", "yxz", "yzx", "zxy", "zyx"])
def test_turns_in_another_order_are_the_same_turns(order: str) -> None:
    """Checked against scipy.spatial.transform.Rotation, which has the same three fixed axes."""
    new = built(
        RECIPE.replace(
            "control bow at waist  under body\n",
            f"control bow at waist  under body\n  order {order}\n",
        )
    )
    whole = mapped(made(), new)
    chance = random.Random(order)
    turns = np.array([[chance.uniform(-1.4, 1.4) for _ in range(3)] for _ in range(20)])
    told = carried(whole, {f"bow.turn.{axis}": turns[:, k] for k, axis in enumerate("xyz")})
    ours = np.array([told[f"bow.turn.{axis}"] for axis in order]).T
    expected = Rotation.from_euler("xyz", turns)
    assert (Rotation.from_euler(order, ours) * expected.inv()).magnitude().max() < 1e-7


def test_an_order_that_leaves_the_free_turns_as_they_were_keeps() -> None:
    base = RECIPE.replace(
        "  ring girth\n  lock size\ncontrol high", "  ring girth\n  lock size, turn.z\ncontrol high"
    )
    other = base.replace(
        "control bow at waist  under body\n", "control bow at waist  under body\n  order xzy\n"
    )
    assert mapped(built(base), built(other)).verdict == "keeps"


def test_a_control_whose_axes_point_the_other_way_changes_signs() -> None:

    old = rig(made())
    nodes = []
    for node in old.nodes:
        if node.name == "master":  # half a turn about y: x and z point the other way
            node = replace(node, rest=replace(node.rest, turn=(0.0, 1.0, 0.0, 0.0)))
        nodes.append(node)
    new = replace(old, nodes=tuple(nodes))
    whole = channel_map(old, new, matched(old, new))
    signs = {
        f"{part}.{axis}": whole.channel(f"master.{part}.{axis}").sign  # type: ignore[union-attr]
        for part in ("move", "turn")
        for axis in "xyz"
    }
    assert signs == {
        "move.x": -1,
        "move.y": 1,
        "move.z": -1,
        "turn.x": -1,
        "turn.y": 1,
        "turn.z": -1,
    }
    assert whole.verdict == "carries"


def test_a_quarter_turn_of_a_control_leads_its_channels_to_other_axes() -> None:
    """Worked out by hand: after a quarter turn about y, old x is new z and old z is -x."""
    old = rig(made())
    half = 0.5**0.5
    nodes = [
        replace(node, rest=replace(node.rest, turn=(0.0, half, 0.0, half)))
        if node.name == "bow"
        else node
        for node in old.nodes
    ]
    new = replace(old, nodes=tuple(nodes))
    whole = channel_map(old, new, matched(old, new))
    link = whole.channel("bow.move.x")
    assert link is not None and (link.new, link.sign) == ("bow.move.z", 1)
    link = whole.channel("bow.turn.z")
    assert link is not None and (link.new, link.sign) == ("bow.turn.x", -1)


def test_lengths_of_a_clip_are_written_in_the_new_unit() -> None:
    whole = mapped(made(), made("units"))
    link = whole.channel("body.move.y")
    assert link is not None
    assert (link.written, link.sign) == (10.0, 1)
    turn = whole.channel("body.turn.y")
    assert turn is not None and turn.verdict == "keeps"


def test_a_parent_is_carried_by_solving_only_where_the_control_is_free() -> None:
    free = RECIPE.replace("  limit turn.y -80 deg..80 deg\n", "")
    moved = free.replace("control high at nape  under bow", "control high at nape  under body")
    whole = mapped(built(free), built(moved))
    control = whole.control("high")
    assert control is not None
    assert (control.verdict, control.resolved, whole.verdict) == ("carries", True, "carries")
    assert mapped(made(), made("parent")).verdict == "breaks"


def test_a_group_between_is_another_space_where_it_follows_otherwise() -> None:
    base = RECIPE.replace(
        "control kettle at wrist.left  under hand.left\n  cross 8 cm\n  only turn\n",
        "group hook at wrist.left  under master\n  follow hand.left\n"
        "control kettle at wrist.left  under hook\n  cross 8 cm\n",
    )
    other = base.replace("  follow hand.left\n", "  follow body\n")
    control = mapped(built(base), built(other)).control("kettle")
    assert control is not None and not control.resolved  # Nothing looks at where it is.
    spout = "joint spout at wrist.left  under kettle\n"
    control = mapped(built(base + spout), built(other + spout)).control("kettle")
    assert control is not None and control.resolved
    assert "hook" in control.reasons[0]


SPOUT = "joint spout at wrist.left  under kettle\n"


@pytest.mark.parametrize(
    ("base", "verdict", "why"),
    [
        # The feed of the lid reads the turn: solved again, it would turn the lid otherwise.
        (RECIPE.replace("  only turn\n", "") + SPOUT, "breaks", "turn.y drives something else"),
        (RECIPE + SPOUT, "breaks", "move.x is locked"),
        (RECIPE, "keeps", ""),
        (
            RECIPE.replace("  only turn\n", "").replace("live kettle.turn.y * 0.5", "live 0 deg")
            + SPOUT,
            "carries",
            "",
        ),
    ],
)
def test_a_control_is_solved_again_where_something_looks_at_it(
    base: str, verdict: str, why: str
) -> None:
    before, after = EDITS["parent of a locked control"]
    whole = mapped(built(base), built(base.replace(before, after)))
    control = whole.control("kettle")
    assert control is not None and control.verdict == verdict
    assert why in "".join(control.reasons)


def test_a_pole_is_a_place_and_its_locked_turn_is_no_loss() -> None:
    before, after = "(0, 0, -30 cm)  under master", "(0, 0, -30 cm)  under body"
    whole = mapped(made(), built(RECIPE.replace(before, after)))
    control = whole.control("guide.left")
    assert control is not None
    assert (control.verdict, control.solving) == ("carries", ("move",))


def test_a_clip_that_turns_about_one_axis_heeds_no_order() -> None:
    whole = mapped(made(), made("order"))
    one = read("frame, bow.turn.x\n1, 0\n9, 40\n", made())
    two = read("frame, bow.turn.x, bow.turn.y\n1, 0, 5\n9, 40, 0\n", made())
    assert clip_verdict(whole, one, rig(made())).verdict == "keeps"
    assert clip_verdict(whole, two, rig(made())).verdict == "carries"


# ---- one clip ------------------------------------------------------------------------------------


def read(text: str, compiled: Compiled) -> clip.Clip:
    made_of, findings = clip.read(Source("walk.csv", text), evaluator(compiled))
    assert made_of is not None, findings
    return made_of


@pytest.mark.parametrize(("degrees", "verdict"), [(39, "keeps"), (41, "breaks")])
def test_a_narrower_range_may_still_hold_a_clip(degrees: int, verdict: str) -> None:
    walk = read(f"frame, high.turn.y\n1, 0\n9, {degrees}\n", made())
    assert clip_verdict(mapped(made(), made("limit")), walk, rig(made())).verdict == verdict


def test_a_cubic_that_overshoots_its_keys_is_looked_at_between_them() -> None:
    walk = read("frame, high.turn.y cubic, high.turn.y out\n1, 0, 900\n25, 39, 0\n", made())
    assert walk.sampled()["high.turn.y"].max() > np.radians(40)
    assert clip_verdict(mapped(made(), made("limit")), walk, rig(made())).verdict == "breaks"


def test_a_clip_that_leaves_what_broke_alone_keeps() -> None:
    walk = read("frame, hand.left.move.y\n1, 0\n9, 5\n", made())
    looked_at = RECIPE + "joint spout at wrist.left  under kettle\n"
    before, after = EDITS["parent of a locked control"]
    whole = mapped(built(looked_at), built(looked_at.replace(before, after)))
    assert whole.verdict == "breaks"
    assert (
        clip_verdict(
            whole, read("frame, hand.right.move.y\n1, 0\n9, 5\n", made()), rig(made())
        ).verdict
        == "keeps"
    )
    # What the moved control hangs on does count.
    assert clip_verdict(whole, walk, rig(made())).verdict == "breaks"


def test_a_changed_default_needs_a_key_only_where_a_clip_has_none() -> None:
    whole = mapped(made(), made("dial default"))
    without = clip_verdict(whole, read("frame, low.move.y\n1, 0\n", made()), rig(made()))
    with_one = clip_verdict(whole, read("frame, body.stretch\n1, 0.5\n", made()), rig(made()))
    assert (without.verdict, with_one.verdict) == ("carries", "keeps")
    told = carried(whole, {"low.move.y": np.zeros(3)})
    assert told["body.stretch"].tolist() == [0.0, 0.0, 0.0]


def test_a_choice_that_is_gone_breaks_only_clips_that_make_it() -> None:
    whole = mapped(made(), made("choice fewer"))
    uses = read("frame, nod.space\n1, world\n", made())
    other = read("frame, nod.space\n1, body\n", made())
    assert clip_verdict(whole, uses, rig(made())).verdict == "breaks"
    assert clip_verdict(whole, other, rig(made())).verdict == "keeps"


def test_words_of_a_choice_are_carried_to_their_new_places() -> None:
    whole = mapped(made(), made("choice more"))
    told = carried(whole, {"nod.space": np.array([0.0, 1.0, 2.0])})
    words = ("body", "high", "world", "master")
    assert [words[int(k)] for k in told["nod.space"]] == ["high", "body", "world"]


# ---- skin ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "verdict", "what"),
    [
        ("bones", "breaks", "added"),
        ("list", "breaks", "removed"),
        ("joint under another", "breaks", "reparented"),
        ("elsewhere", "breaks", "moved"),
        ("joint more", "keeps", ""),
        ("limit", "keeps", ""),
    ],
)
def test_the_skin_is_asked_of_the_bound_joints(name: str, verdict: str, what: str) -> None:
    found = skin(rig(made()), rig(made(name)), matched(rig(made()), rig(made(name))))
    assert found.verdict == verdict
    assert not what or getattr(found, what)


def test_other_names_of_bound_joints_are_carried() -> None:
    other = built(RECIPE.replace("joint crest", "joint tuft").replace("head, crest", "head, tuft"))
    found = skin(rig(made()), rig(other), matched(rig(made()), rig(other)))
    assert (found.verdict, found.renamed) == ("carries", (("crest", "tuft"),))


def test_without_a_list_every_joint_is_bound() -> None:
    base = built(RECIPE.replace("list skin of back, head, crest, arm, leg\n", ""))
    found = skin(rig(base), rig(base), matched(rig(base), rig(base)))
    assert found.bound == sum(node.kind == "joint" for node in rig(base).nodes)
    assert "all joints" in found.bound_by


# ---- behaviour and picture -----------------------------------------------------------------------


def review(name: str, **options: Any) -> Any:
    old, new = made(), made(name)
    assert old.settled is not None and new.settled is not None
    return reviewed(rig(old), rig(new), (old.settled, new.settled), **options)


@pytest.mark.parametrize(
    "name", ["about", "pose", "revision", "excuse", "shape", "gauge", "no limit"]
)
def test_what_moves_nothing_otherwise_sends_no_joint_elsewhere(name: str) -> None:
    found = review(name)
    assert found.behaviour.departures == ()
    assert found.picture.share == 0.0


@pytest.mark.parametrize("name", ["leader", "choice fewer", "limit", "joint under another", "feed"])
def test_a_departure_is_what_posing_both_rigs_shows(name: str) -> None:
    """Amounts are those of the very pose that is told, though it was cut to what matters."""
    found = review(name).behaviour.departures
    assert found
    old, new = evaluator(made()), evaluator(made(name))
    rests = old.pose(), new.pose()
    for one in found[:20]:
        posed = old.pose(dict(one.probe.settings)), new.pose(dict(one.now))
        first, second = posed[0].place(one.was), posed[1].place(one.joint)
        assert float(np.linalg.norm(first - second)) == pytest.approx(one.moved, abs=1e-9)
        since = [
            Rotation.from_quat(at.turn(joint)) * Rotation.from_quat(rest.turn(joint)).inv()
            for at, rest, joint in zip(posed, rests, (one.was, one.joint), strict=True)
        ]
        turned = float((since[0].inv() * since[1]).magnitude()[0])
        assert turned == pytest.approx(one.turned, abs=1e-6)
    scores = [round(one.share + one.turned / np.pi, 9) for one in found]
    assert scores == sorted(scores, reverse=True)


def test_a_pose_that_is_cut_shows_most_of_the_difference() -> None:
    found = review("choice fewer")
    cut = [one for one in found.behaviour.departures if len(one.probe.settings) > 1]
    assert cut and all(len(one.probe.settings) <= 12 for one in cut)
    assert max(one.moved for one in cut) == pytest.approx(found.picture.moved, rel=0.3)


def test_the_control_that_changed_is_the_one_that_is_blamed() -> None:
    assert review("order").behaviour.controls == ("bow",)
    assert review("lock").behaviour.controls == ("body",)
    assert review("feed").behaviour.controls == ("kettle",)


def test_a_joint_that_is_only_placed_elsewhere_does_not_move_elsewhere() -> None:
    other = built(RECIPE, SHEET.replace("crown = [0, 110, 4]", "crown = [0, 113, 4]"))
    old = made()
    assert old.settled is not None and other.settled is not None
    found = reviewed(rig(old), rig(other), (old.settled, other.settled))
    assert found.channels.verdict == "keeps"
    assert [one.joint for one in found.behaviour.departures] == []  # type: ignore[union-attr]
    assert not found.picture.keeps  # type: ignore[union-attr]


LAMP = """\
recipe stall
  units cm
  axes {axes}
sheet
  point foot, hook, door
control master at foot  ring 20 cm  carries all
joint lamp at hook{aim}  under master
"""
LAMP_SHEET = """\
character = "bram"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
foot = [0, 0, 0]
hook = [2, 90, 7]
door = [40, 85, 5]
"""


@pytest.mark.parametrize(
    ("aim", "moved"),
    [("  axis +Y toward foot  lean +X toward door", ()), ("", (0.0, np.pi / 2))],
    ids=["aimed at points", "along the recipe's axes"],
)
def test_the_skin_of_a_rig_in_other_axes_is_seen_in_one_space(
    aim: str, moved: tuple[float, ...]
) -> None:
    """A joint that lies along the axes of its recipe is turned by a quarter when those are."""
    old, new = (
        rig(built(LAMP.format(axes=axes, aim=aim), LAMP_SHEET))
        for axes in ("up +Y front +Z", "up +Z front -Y")
    )
    found = [
        amount for one in skin(old, new, matched(old, new)).moved for amount in (one.by, one.turned)
    ]
    assert found == pytest.approx(list(moved), abs=1e-9)


def test_the_picture_is_that_of_carried_poses() -> None:
    """Another order and another default are carried, so that the picture is the same."""
    for name in ("order", "dial default"):
        found = review(name)
        assert found.behaviour.departures
        assert found.picture.keeps and found.picture.share < 1e-9


def test_the_picture_has_the_worst_of_a_clip() -> None:
    walk = read("frame, high.turn.y\n1, 0\n9, 70\n", made())
    calm = replace(read("frame, high.turn.y\n1, 0\n9, 30\n", made()), name="calm")
    found = review("limit", clips=[calm, walk])
    kept, (clip_name, share, frame) = found.picture.by_clip
    # The limit of 40 degrees holds 70 back, most in the last frame, and 30 not at all.
    assert kept[:2] == ("calm", pytest.approx(0.0, abs=1e-12))
    assert (clip_name, frame) == ("walk", 9.0)
    assert 0.0 < share <= found.picture.share


def test_the_picture_keeps_within_its_tolerance() -> None:
    assert not review("elsewhere").picture.keeps
    assert review("elsewhere", tolerance=0.05).picture.keeps


def test_a_dial_is_blamed_where_it_alone_makes_the_difference() -> None:
    found = review("choice fewer").behaviour
    assert "nod.space" in found.controls
