"""Switching what a control follows: nothing that is seen moves, at any pose, in any order."""

from __future__ import annotations

import numpy as np
import pytest
from clips import apart, joints, keyed, random_clip, track
from hypothesis import given, settings
from hypothesis import strategies as st
from posed_rigs import exercise, text
from scipy.spatial.transform import Rotation

from somite.matching import Span, match
from somite.spatial.rotation import ORDERS

EXACT = 1e-9
SHEET = """[points]
root = [0, 80, 0]
palm = [20, 95, 4]
tip = [30, 92, 9]
"""
BODY = """sheet
  point root, palm, tip
control master at root  ring 60 cm  carries all
control body at root  under master  square 40 cm
control hand at palm  under body
  axis +X toward tip
  lean +Y toward +Y
  box 9 cm
  order {order}
  dial space of world, master, body = body
  dial blend = 0 in 0..1
  {follow}
joint palm_bone at palm
  follow hand
control finger at tip  under hand
  ring 3 cm
joint tip_bone at tip  under palm_bone
  follow finger for turn
"""


def stall(order: str = "xyz", follow: str = "follow world, master, body by space for move, turn"):
    return text(BODY.format(order=order, follow=follow), SHEET)


@pytest.mark.parametrize("order", sorted(ORDERS))
@pytest.mark.parametrize("word", [0, 1])
def test_a_choice_of_leader_is_switched_exactly_in_every_turn_order(order, word):
    evaluator = stall(order)
    clip = random_clip(evaluator, 3 + word, ["hand.space"])
    made, findings = match(clip, evaluator, {"hand.space": float(word)}, Span(3.0, 6.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT
    assert made.clip.sampled([2, 3, 6, 7])["hand.space"].tolist() == [2, word, word, 2]


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["world", "master", "body"]))
def test_at_any_pose_and_any_size_the_switch_is_exact(seed, word):
    evaluator = stall("zxy")
    sizes = track("master.size.x", *np.random.default_rng(seed).uniform(0.3, 3.0, 8))
    even = [track(f"master.size.{a}", *[key.value for key in sizes.keys]) for a in "xyz"]
    clip = random_clip(evaluator, seed, ["hand.space"], *even)
    value = float(("world", "master", "body").index(word))
    made, _ = match(clip, evaluator, {"hand.space": value}, Span(2.0, 7.0))
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT


def test_the_channels_are_those_of_the_world_seen_from_the_new_leader():
    """By scipy: left in the world, a control's turn is rest⁻¹ · world, its move in rest axes."""
    evaluator = stall("yzx")
    clip = random_clip(evaluator, 9, ["hand.space"])
    made, _ = match(clip, evaluator, {"hand.space": 0.0})
    rest = evaluator.settled.rig.node("hand").rest
    worlds = evaluator.pose(clip.sampled(made.frames)).world("hand")
    local = Rotation.from_quat(rest.turn).inv() * Rotation.from_matrix(worlds[:, :3, :3])
    found = made.clip.sampled(made.frames)
    angles = np.stack([found[f"hand.turn.{axis}"] for axis in "yzx"], axis=1)
    assert (local.inv() * Rotation.from_euler("yzx", angles)).magnitude().max() < 1e-7
    moves = np.stack([found[f"hand.move.{axis}"] for axis in "xyz"], axis=1)
    expected = Rotation.from_quat(rest.turn).inv().apply(worlds[:, :3, 3] - np.array(rest.place))
    assert np.abs(moves - expected).max() < 1e-12


def test_a_blend_by_a_number_is_switched_to_between():
    evaluator = stall(follow="follow world, body by blend for move, turn")
    clip = random_clip(evaluator, 4, ["hand.blend"])
    made, findings = match(clip, evaluator, {"hand.blend": 0.35}, Span(2.0, 5.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT


def test_following_about_an_axis_or_for_size_is_switched_exactly():
    evaluator = stall(follow="follow world, master, body by space for turn about +Y")
    clip = random_clip(evaluator, 5, ["hand.space"])
    made, findings = match(clip, evaluator, {"hand.space": 0.0})
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT
    evaluator = stall(follow="follow world, master, body by space for move, turn, size")
    sizes = [track(f"body.size.{a}", *np.linspace(1.0, 2.0, 8)) for a in "xyz"]
    clip = random_clip(evaluator, 5, ["hand.space"], *sizes)
    made, findings = match(clip, evaluator, {"hand.space": 0.0})
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT
    assert made.clip.sampled([8])["hand.size.y"] == pytest.approx([2.0])


def test_turning_on_and_on_goes_round_without_a_jump():
    evaluator = stall()
    turns = track("hand.turn.y", *np.linspace(0.0, 9.0, 8))
    swing = track("body.turn.x", *np.linspace(0.0, 0.4, 8))
    clip = random_clip(evaluator, 1, evaluator.channels, turns, swing)
    made, _ = match(clip, evaluator, {"hand.space": 0.0})
    values = made.clip.sampled(np.arange(1, 9))
    for axis in "xyz":
        assert np.abs(np.diff(values[f"hand.turn.{axis}"])).max() < np.pi
    # a straight line between keys is off by the square of how far they are apart
    off = []
    for every in (0.25, 0.0625):
        fine, _ = match(clip, evaluator, {"hand.space": 0.0}, every=every)
        off.append(max(one.between.amount for one in fine.left if one.what == "turn"))
    assert off[1] < off[0] / 4.0


def test_outside_the_frames_the_clip_is_as_it_was_to_the_bit():
    evaluator = stall()
    clip = random_clip(evaluator, 2, ["hand.space"])
    made, _ = match(clip, evaluator, {"hand.space": 1.0}, Span(3.0, 5.0))
    outside = np.concatenate([np.linspace(1, 2.998, 40), np.linspace(6, 8, 40)])
    old, new = clip.sampled(outside), made.clip.sampled(outside)
    for name, values in new.items():
        was = old.get(name, np.full(len(outside), evaluator.channels[name].default))
        assert values == pytest.approx(was, abs=1e-12), name
    assert old["hand.turn.x"][[39, 40]].tolist() != new["hand.turn.x"][[38, 41]].tolist()


def test_until_just_before_the_end_the_switch_holds():
    evaluator = stall()
    clip = random_clip(evaluator, 2, ["hand.space"])
    made, _ = match(clip, evaluator, {"hand.space": 1.0}, Span(3.0, 5.0))
    frames = np.array([5.999 - 1e-9])
    assert max(apart(evaluator, clip, made.clip, frames, joints(evaluator))) < 1e-6
    assert made.clip.sampled(frames)["hand.space"].tolist() == [1.0]


def test_only_what_answers_for_the_dial_has_new_keys():
    evaluator = exercise("space_choice")
    clip = random_clip(evaluator, 2, ["lamp.space"])
    made, _ = match(clip, evaluator, {"lamp.space": 1.0}, Span(3.0, 5.0))
    same = [one for one in clip.tracks if keyed(made.clip, one.channel) == one]
    assert {one.channel.partition(".")[0] for one in same} == {"master", "body", "hand"}


def test_a_control_under_a_group_that_follows_answers_for_it():
    evaluator = text(
        """sheet
  point root, palm, tip
control body at root  ring 40 cm  carries all
group lead at palm  under body
  follow world, body by hand.space for move, turn
control hand at palm  under lead  box 9 cm
  dial space of world, body = body
joint palm_bone at tip  under hand
""",
        SHEET,
    )
    clip = random_clip(evaluator, 3, ["hand.space"])
    made, findings = match(clip, evaluator, {"hand.space": 0.0}, Span(3.0, 6.0))
    assert findings == ()
    assert {name.partition(".")[0] for name in made.changed} == {"hand"}
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT


def test_a_dial_that_drives_a_feed_is_switched_by_the_controls_it_carries():
    evaluator = exercise("tail")
    clip = random_clip(evaluator, 3, ["root.sway"])
    made, findings = match(clip, evaluator, {"root.sway": 0.4}, Span(3.0, 6.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT


def test_a_mark_that_may_only_move_keeps_its_place_and_its_turn_is_told():
    evaluator = exercise("eyes")
    clip = random_clip(evaluator, 1, ["gaze.space"])
    made, findings = match(clip, evaluator, {"gaze.space": 0.0}, Span(3.0, 6.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT
    left = {(one.kind, one.what): one.at_keys.amount for one in made.left}
    assert left["control", "place"] < EXACT
    assert left["control", "turn"] > 0.01
    assert any('"gaze.turn" is locked' in reason for reason in made.because)
