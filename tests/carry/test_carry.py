"""Clips of an old rig on a new one: what a verdict says is confirmed by posing both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from posed_rigs import EXERCISES, random_pose, text
from scipy.spatial.transform import Rotation

from somite import pipeline
from somite.carry import carry
from somite.clip import Clip, Key, Track
from somite.diff.compatibility import channel_map, clip_verdict
from somite.diff.matching import matched
from somite.evaluate import Evaluator
from somite.spatial.rotation import ORDERS

SHEET = """[points]
root = [0, 80, 0]
palm = [20, 95, 4]
tip = [30, 92, 9]
"""
OLD = """sheet
  point root, palm, tip
control master at root  ring 60 cm  carries all
control body at root  under master  square 40 cm
control chest at root + (0, 20 cm, 0)  under body  ring 30 cm
control hand at palm  under body  box 9 cm
  dial space of world, body = body
  dial grip = 20% in 0..1
  follow world, body by space for move, turn
joint palm_bone at palm
  follow hand
joint tip_bone at tip  under palm_bone
feed tip_bone.turn.z = live 0.5 rad * hand.grip
joint ribs at root  under chest
"""
FRAMES = 7


@pytest.fixture(scope="module")
def old() -> Evaluator:
    return text(OLD.replace("0.5 rad", "30 deg"), SHEET)


def changed(*edits: tuple[str, str]) -> Evaluator:
    recipe = OLD.replace("0.5 rad", "30 deg")
    for before, after in edits:
        assert before in recipe
        recipe = recipe.replace(before, after)
    return text(recipe, SHEET)


def walk(evaluator: Evaluator, seed: int = 1, without=(), **kinds: str) -> Clip:
    tracks = []
    for name, values in random_pose(evaluator, seed, FRAMES).items():
        if name in without:
            continue
        kind = "stepped" if evaluator.channels[name].options else kinds.get("kind", "linear")
        keys = tuple(Key(float(frame), float(value)) for frame, value in enumerate(values, 1))
        tracks.append(Track(name, kind, keys))
    return Clip("walk", 24.0, tuple(tracks))


def apart(old: Evaluator, clip: Clip, new: Evaluator, made: Clip, pairs, frames=None) -> float:
    """The largest difference of joints' matrices: places, and turns since rest."""
    at = clip.frames if frames is None else np.asarray(frames)
    before, after = old.pose(clip.sampled(at)), new.pose(made.sampled(at))
    worst = 0.0
    for a, b in pairs:
        worst = max(worst, float(np.abs(before.place(a) - after.place(b)).max()))
        rests = [
            Rotation.from_quat(one.settled.rig.node(name).rest.turn)
            for one, name in ((old, a), (new, b))
        ]
        since = [
            Rotation.from_quat(posed.turn(name)) * rest.inv()
            for posed, name, rest in zip((before, after), (a, b), rests, strict=True)
        ]
        worst = max(worst, float((since[0].inv() * since[1]).magnitude().max()))
    return worst


SAME = [("palm_bone", "palm_bone"), ("tip_bone", "tip_bone"), ("ribs", "ribs")]


def test_a_clip_of_the_same_rig_is_the_same_clip(old):
    clip = walk(old)
    made, findings = carry(clip, old, old)
    assert findings == ()
    assert (made.clip, made.verdict, made.done, made.lost) == (clip, "keeps", (), ())
    assert all(one.at_keys.amount == one.between.amount == 0.0 for one in made.left)


def test_renamed_controls_and_dials_carry_to_the_bit(old):
    new = changed(
        ("control hand at palm", "control fist at palm"),
        ("dial grip", "dial squeeze"),
        ("follow hand", "follow fist"),
        ("hand.grip", "fist.squeeze"),
        ("under body  box 9 cm", "under body  box 9 cm  was hand"),
    )
    clip = walk(old, kind="cubic")
    made, findings = carry(clip, old, new)
    assert findings == ()
    assert made.verdict == "carries"
    assert apart(old, clip, new, made.clip, SAME, np.linspace(1, FRAMES, 50)) < 1e-12


def test_another_default_is_kept_by_a_key_at_the_old_one(old):
    new = changed(
        ("grip = 20%", "grip = 90%"),
        ("space of world, body = body", "space of body, world = world"),
        ("follow world, body by", "follow body, world by"),
    )
    clip = walk(old, without=("hand.grip", "hand.space"))
    made, findings = carry(clip, old, new)
    assert findings == ()
    assert made.verdict == "carries"
    # the space is led otherwise as a list, yet each word means what it did
    assert apart(old, clip, new, made.clip, SAME) < 1e-9
    keyed = {track.channel: track.keys for track in made.clip.tracks}
    assert keyed["hand.grip"] == (Key(1.0, 0.2),)
    assert keyed["hand.space"] == (Key(1.0, 0.0),)


def test_choices_go_by_their_words_and_one_that_is_gone_is_told(old):
    new = changed(
        ("space of world, body = body", "space of master, body = body"),
        ("follow world, body by", "follow master, body by"),
    )
    clip = walk(old, seed=3)
    assert 0.0 in clip.sampled()["hand.space"]
    made, findings = carry(clip, old, new)
    assert [finding.code for finding in findings] == ["carry-lost"]
    assert made.verdict == "breaks"


@pytest.mark.parametrize("order", sorted(set(ORDERS) - {"xyz"}))
def test_another_turn_order_is_exact_at_keys_and_measured_between(old, order):
    new = changed(("box 9 cm", f"box 9 cm  order {order}"))
    clip = walk(old)
    made, findings = carry(clip, old, new)
    assert findings == ()
    assert made.verdict == "carries"
    assert apart(old, clip, new, made.clip, SAME) < 1e-7
    between = np.linspace(1, FRAMES, 25)
    told = max(one.between.amount for one in made.left if one.what == "turn")
    assert 0.0 < told <= apart(old, clip, new, made.clip, SAME, between) + 1e-9
    # by scipy: the same turn, taken apart in the new order
    a, b = clip.sampled(), made.clip.sampled()
    was = Rotation.from_euler("xyz", np.stack([a[f"hand.turn.{x}"] for x in "xyz"], axis=1))
    now = Rotation.from_euler(order, np.stack([b[f"hand.turn.{x}"] for x in order], axis=1))
    assert (was.inv() * now).magnitude().max() < 1e-7


def test_cubic_turns_in_another_order_have_slopes_that_follow(old):
    new = changed(("box 9 cm", "box 9 cm  order zxy"))
    clip = walk(old, without=("hand.move.x", "hand.space"), kind="cubic")
    made, _ = carry(clip, old, new)
    flat = replace(
        made.clip,
        tracks=tuple(
            replace(track, keys=tuple(Key(key.frame, key.value) for key in track.keys))
            if track.channel.startswith("hand.turn")
            else track
            for track in made.clip.tracks
        ),
    )
    near = np.array([1.1, 2.9, 3.1, 5.1])
    assert apart(old, clip, new, made.clip, SAME, near) <= apart(old, clip, new, flat, SAME, near)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6))
def test_a_control_under_another_parent_is_solved_again_exactly(seed):
    old = text(OLD.replace("0.5 rad", "30 deg"), SHEET)
    new = changed(
        ("control hand at palm  under body", "control hand at palm  under chest"),
        ("  follow world, body by space for move, turn\n", ""),
    )
    clip = walk(old, seed)
    made, findings = carry(clip, old, new)
    assert made.verdict == "carries"
    assert findings == ()
    assert apart(old, clip, new, made.clip, SAME) < 1e-9
    assert {name.rpartition(".")[0] for name in made.solved} <= {"hand.move", "hand.turn"}


def test_a_control_that_follows_otherwise_is_solved_again(old):
    new = changed(
        (
            "follow world, body by space for move, turn",
            "follow world, chest by space for move, turn",
        ),
        ("space of world, body = body", "space of world, body = body"),
    )
    clip = walk(old)
    made, findings = carry(clip, old, new)
    assert findings == ()
    assert made.verdict == "carries"
    assert apart(old, clip, new, made.clip, SAME) < 1e-9


def test_what_is_locked_or_gone_is_lost_and_measured(old):
    new = changed(("box 9 cm", "box 9 cm  lock turn.x"))
    clip = walk(old)
    made, findings = carry(clip, old, new)
    assert made.verdict == "breaks"
    assert [finding.code for finding in findings] == ["carry-lost"]
    assert 'that "hand.turn.x" is locked' in findings[0].message
    worst = max(one.at_keys.amount for one in made.left if one.what == "turn")
    assert worst == pytest.approx(apart(old, clip, new, made.clip, SAME), abs=0.3)
    assert worst > 0.01


def test_a_narrower_range_holds_a_clip_that_stays_within(old):
    new = changed(("box 9 cm", "box 9 cm  limit turn.x -20 deg..20 deg"))
    wide = walk(old)
    small = replace(
        wide,
        tracks=tuple(
            replace(one, keys=tuple(Key(k.frame, k.value * 0.3) for k in one.keys))
            if one.channel == "hand.turn.x"
            else one
            for one in wide.tracks
        ),
    )
    kept, none = carry(small, old, new)
    assert (kept.verdict, none) == ("keeps", ())
    assert apart(old, small, new, kept.clip, SAME) < 1e-12
    broken, findings = carry(wide, old, new)
    assert (broken.verdict, [one.code for one in findings]) == ("breaks", ["carry-lost"])


def test_other_units_and_axes_carry(old):
    """The new recipe has +Z up and -Y front, and writes millimetres."""
    recipe = OLD.replace("turn.z = live 0.5 rad", "turn.y = live -30 deg")
    recipe = recipe.replace("(0, 20 cm, 0)", "(0, 0, 20 cm)")
    head = "recipe stall\n  units mm\n  axes up +Z front -Y\n"
    top = 'character = "pip"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
    compiled = pipeline.compile_text(head + recipe, top + SHEET)
    assert compiled.settled is not None, compiled.findings
    new = Evaluator(compiled.settled)
    clip = walk(old)
    made, _ = carry(clip, old, new)
    assert made.verdict == "carries"
    before, after = old.pose(clip.sampled()), new.pose(made.clip.sampled())
    # up was +Y and is +Z, front was +Z and is -Y: by hand (x, y, z) -> (x, -z, y)
    for joint in ("palm_bone", "tip_bone", "ribs"):
        x, y, z = before.place(joint).T
        assert after.place(joint) == pytest.approx(np.stack([x, -z, y], axis=1), abs=1e-12)
    left = {one.what: one.at_keys.amount for one in made.left}
    assert left["place"] < 1e-12
    assert left["turn"] < 1e-7


EDITS = {
    "nothing": [],
    "order": [("box 9 cm", "box 9 cm  order yzx")],
    "parent": [
        (
            "control chest at root + (0, 20 cm, 0)  under body",
            "control chest at root + (0, 20 cm, 0)  under master",
        )
    ],
    "default": [("grip = 20%", "grip = 35%")],
    "range": [("grip = 20% in 0..1", "grip = 20% in 0..2")],
    "locked": [("ring 30 cm", "ring 30 cm  lock move.y")],
    "narrow": [("grip = 20% in 0..1", "grip = 20% in 0..0.4")],
}


@pytest.mark.parametrize("edit", EDITS)
@pytest.mark.parametrize("seed", range(3))
def test_a_verdict_is_confirmed_by_posing_the_old_clip_on_the_new_rig(old, edit, seed):
    """keeps: the clip as it is looks the same; carries: the carried one does; breaks: not."""
    new = changed(*EDITS[edit])
    clip = walk(old, seed)
    rigs = old.settled.rig, new.settled.rig
    said = clip_verdict(channel_map(*rigs, matched(*rigs)), clip, rigs[0])
    made, findings = carry(clip, old, new)
    as_it_is = apart(old, clip, new, clip, SAME)
    as_carried = apart(old, clip, new, made.clip, SAME)
    if said.verdict == "keeps":
        assert as_it_is < 1e-9
        assert made.clip == clip
    if said.verdict != "breaks":
        assert as_carried < 1e-7
        assert findings == ()
    else:
        assert as_carried > 1e-4
        assert findings
    expected = {
        "nothing": "keeps",
        "order": "carries",
        "parent": "carries",
        "default": "keeps",
        "range": "keeps",
        "locked": "breaks",
        "narrow": "breaks",
    }
    assert made.verdict == expected[edit]


def test_a_changed_exercise_carries_through_a_mirrored_part():
    """Both arms of the exercise hang under another control; left and right are solved alike."""
    recipe = (EXERCISES / "arm.somite").read_text(encoding="utf-8")
    sheet = (EXERCISES / "arm.toml").read_text(encoding="utf-8")
    other = recipe.replace(
        "with holder = clavicle, carrier = shrug, master = master",
        "with holder = clavicle, carrier = shrug, master = torso",
    )
    assert other != recipe
    rigs = []
    for one in (recipe, other):
        compiled = pipeline.compile_text(one, sheet)
        assert compiled.settled is not None, compiled.findings
        rigs.append(Evaluator(compiled.settled))
    clip = walk(rigs[0], 2)
    made, findings = carry(clip, *rigs)
    assert findings == ()
    names = [node.name for node in rigs[0].settled.rig.nodes if node.kind == "joint"]
    assert apart(rigs[0], clip, rigs[1], made.clip, [(name, name) for name in names]) < 1e-7
    owners = {name.rpartition(".")[0].rpartition(".")[0] for name in made.solved}
    assert owners == {
        f"arm.{side}.{what}" for side in ("left", "right") for what in ("hand", "pole")
    }


def test_a_clip_of_which_nothing_is_left_is_told_and_empty(old):
    new = changed(
        ("control chest at root + (0, 20 cm, 0)  under body  ring 30 cm\n", ""),
        ("under chest", "under body"),
    )
    clip = Clip("nod", 24.0, (Track("chest.turn.x", "linear", (Key(1.0, 0.0), Key(9.0, 0.5))),))
    made, findings = carry(clip, old, new)
    assert (made.verdict, made.clip.tracks) == ("breaks", ())
    assert [one.code for one in findings] == ["carry-lost"]
    turn = next(one for one in made.left if one.what == "turn")
    assert turn.at_keys.amount == pytest.approx(0.5)


def test_a_length_in_another_unit_is_another_file(old):
    """As long as it was, but written otherwise: the old file would not do."""
    head = "recipe stall\n  units mm\n  axes up +Y front +Z\n"
    top = 'character = "pip"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
    recipe = head + OLD.replace("0.5 rad", "30 deg")
    compiled = pipeline.compile_text(recipe, top + SHEET)
    assert compiled.settled is not None
    millimetres = Evaluator(compiled.settled)
    turn = Track("hand.turn.x", "linear", (Key(1.0, 0.5),))
    move = Track("hand.move.x", "linear", (Key(1.0, 0.05),))
    pinned = Track("hand.grip", "linear", (Key(1.0, 0.2),))
    made, _ = carry(Clip("one", 24.0, (turn, pinned)), old, millimetres)
    assert made.verdict == "keeps"
    made, _ = carry(Clip("one", 24.0, (turn, move, pinned)), old, millimetres)
    assert (made.verdict, made.done) == (
        "carries",
        ("lengths are written in mm, they were in cm",),
    )


def test_a_channel_that_drives_something_is_told_when_it_is_solved_again(old):
    feed = (
        "feed tip_bone.turn.z = live 30 deg * hand.grip",
        "feed tip_bone.turn.z = live chest.turn.y",
    )
    before = changed(feed)
    after = changed(
        feed,
        (
            "control chest at root + (0, 20 cm, 0)  under body",
            "control chest at root + (0, 20 cm, 0)  under master",
        ),
    )
    made, findings = carry(walk(before), before, after)
    assert made.verdict == "breaks"
    assert any("drives something else" in one.message for one in findings)
