"""Switching between a limb's turning chain and its reach."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from clips import apart, joints, random_clip, track
from hypothesis import given, settings
from hypothesis import strategies as st
from posed_rigs import exercise, text

from somite.evaluate.reach import eased
from somite.matching import Span, match
from somite.matching.reaching import uneased

EXACT = 1e-9
SIDES = ("left", "right")


def sized(seed: int):
    scale = np.random.default_rng(seed).uniform(0.4, 2.5, 8)
    return [track(f"master.size.{axis}", *scale) for axis in "xyz"]


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(SIDES))
def test_reach_to_turning_is_exact_at_any_pose_and_size(seed, side):
    evaluator = exercise("arm")
    dial = f"arm.{side}.hand.reach"
    clip = random_clip(evaluator, seed, [], track(dial, 1.0), *sized(seed))
    made, findings = match(clip, evaluator, {dial: 0.0}, Span(3.0, 6.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT
    changed = {name.rpartition(".turn")[0].rpartition(".")[2] for name in made.changed[1:]}
    assert changed == {"swing", "bow", "cock"}


def bent_clip(seed: int, side: str, low: float = 0.3, high: float = 1.4):
    """The elbow bends about its hinge, all else turns anyhow."""
    evaluator = exercise("arm")
    dial = f"arm.{side}.hand.reach"
    bends = np.random.default_rng(seed).uniform(low, high, 8)
    others = [f"arm.{side}.bow.turn.{axis}" for axis in "xy"]
    clip = random_clip(
        evaluator,
        seed,
        [*others, f"arm.{side}.hand.stretch"],
        track(dial, 0.0),
        track(f"arm.{side}.bow.turn.z", *bends),
        *sized(seed),
    )
    return evaluator, clip, dial


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(SIDES))
def test_turning_to_reach_is_exact_where_the_elbow_bends_about_its_hinge(seed, side):
    evaluator, clip, dial = bent_clip(seed, side)
    made, findings = match(clip, evaluator, {dial: 1.0}, Span(3.0, 6.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT
    changed = {
        name.rpartition(".")[0].rpartition(".")[0].rpartition(".")[2] for name in made.changed[1:]
    }
    assert changed == {"hand", "pole"}


@pytest.mark.parametrize("side", SIDES)
def test_the_goal_is_where_the_law_of_cosines_has_it_and_the_pole_in_the_plane(side):
    """Euclid, Elements II.12-13: c² = a² + b² - 2ab·cos(angle between the two bones)."""
    evaluator, clip, dial = bent_clip(11, side, 0.6, 1.4)
    made, _ = match(clip, evaluator, {dial: 1.0})
    turning = evaluator.pose(clip.sampled(made.frames))
    reaching = evaluator.pose(made.clip.sampled(made.frames))
    shoulder, elbow, wrist = (
        turning.place(f"arm.{side}.{name}") for name in ("shoulder", "elbow", "wrist")
    )
    upper, lower = elbow - shoulder, wrist - elbow
    a, b = np.linalg.norm(upper, axis=1), np.linalg.norm(lower, axis=1)
    cosine = -(upper * lower).sum(axis=1) / (a * b)
    goal = reaching.place(f"arm.{side}.hand")
    apart_by_law = np.sqrt(a * a + b * b - 2 * a * b * cosine)
    assert np.linalg.norm(goal - shoulder, axis=1) == pytest.approx(apart_by_law, rel=1e-9)
    pole = reaching.place(f"arm.{side}.pole")
    normal = np.cross(upper, lower)
    off = ((pole - shoulder) * normal).sum(axis=1) / np.linalg.norm(normal, axis=1)
    assert np.abs(off).max() < 1e-9
    line = goal - shoulder
    assert (np.cross(line, pole - shoulder) * np.cross(line, upper)).sum(axis=1).min() > 0.0


def test_back_and_forth_brings_the_same_channels_back():
    evaluator, clip, dial = bent_clip(5, "left")
    there, _ = match(clip, evaluator, {dial: 1.0})
    back, _ = match(there.clip, evaluator, {dial: 0.0})
    old, new = clip.sampled(), back.clip.sampled()
    for name in ("swing.turn.x", "bow.turn.z", "cock.turn.y"):
        assert new[f"arm.left.{name}"] == pytest.approx(old[f"arm.left.{name}"], abs=1e-9)


def test_an_elbow_that_twists_keeps_its_places_and_what_is_left_is_told():
    evaluator = exercise("arm")
    clip = random_clip(evaluator, 1, ["arm.left.hand.stretch"], track("arm.left.hand.reach", 0.0))
    made, findings = match(clip, evaluator, {"arm.left.hand.reach": 1.0}, Span(3.0, 6.0))
    assert [finding.code for finding in findings] == ["match-apart"]
    assert any("bends it about one axis only" in reason for reason in made.because)
    left = {(one.kind, one.what): one.at_keys.amount for one in made.left}
    assert left["joint", "turn"] > 0.01
    frames = made.frames
    old, new = (evaluator.pose(one.sampled(frames)) for one in (clip, made.clip))
    # the arm bends either way here; where it bends as it rests, the elbow and the hand stay
    for joint in ("wrist",):
        assert new.place(f"arm.left.{joint}") == pytest.approx(
            old.place(f"arm.left.{joint}"), abs=1e-9
        )


def test_a_straight_arm_is_matched_through_easing():
    evaluator, clip, dial = bent_clip(3, "left")
    rest = evaluator.settled.reaches["arm.left.solved/reach"]
    assert rest.ease_from < sum(rest.bones)
    # by how much bow must turn to lay the fore arm on the upper arm's line, from the rest's angle
    straight = _angle_at_rest(evaluator)
    clip = replace(
        clip,
        tracks=tuple(
            track("arm.left.bow.turn.z", *np.linspace(-straight * 0.5, -straight * 0.995, 8))
            if one.channel == "arm.left.bow.turn.z"
            else one
            for one in clip.tracks
        ),
    )
    posed = evaluator.pose(clip.sampled())
    far = np.linalg.norm(posed.place("arm.left.wrist") - posed.place("arm.left.shoulder"), axis=1)
    scale = posed.channel("master.size.x")
    assert (far / scale > rest.ease_from).any()
    made, findings = match(clip, evaluator, {dial: 1.0})
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < 1e-8


def _angle_at_rest(evaluator) -> float:
    """The signed angle about bow's z by which the rest is bent."""
    rig = evaluator.settled.rig
    shoulder, elbow, wrist = (
        np.array(rig.node(f"arm.left.{name}").rest.place) for name in ("shoulder", "elbow", "wrist")
    )
    upper, lower = elbow - shoulder, wrist - elbow
    angle = np.arccos(upper @ lower / np.linalg.norm(upper) / np.linalg.norm(lower))
    far = []
    for sign in (1.0, -1.0):
        posed = evaluator.pose({"arm.left.hand.reach": 0.0, "arm.left.bow.turn.z": -sign * angle})
        way = posed.place("arm.left.wrist") - posed.place("arm.left.shoulder")
        far.append(float(np.linalg.norm(way)))
    return float(angle if far[0] > far[1] else -angle)


@given(st.floats(0.3, 0.999999), st.floats(0.5, 0.99))
def test_easing_is_taken_back(reached, start):
    near = np.array([reached])
    again = eased(uneased(near, start, 1.0), np.array([start]), np.array([1.0]))
    assert again == pytest.approx(near, abs=1e-9)


LEG = """sheet
  point hip, knee, ankle, paw, root
control master at root  ring 60 cm  carries all
control goal at paw  under master  box 9 cm
  dial mix = 1 in 0..1
  dial stretch = {stretch} in 0..1
control pole at knee + (0, 0, 40 cm)  under master  ball 4 cm
  only move
control one at hip  like solved.first  under master  ring 9 cm
control two at knee  like solved.two  under one  ring 9 cm
control three at ankle  like solved.last  under two  ring 9 cm
chain solved through hip, knee, ankle, paw  under master  named first_bone, two, last_bone
  axis +X
  lean bend
reach solved to goal
  pole pole
  stretch goal.stretch
joint thigh at hip  like solved.first  under master
  follow one, solved.first by goal.mix for move, turn
joint shin at knee  like solved.two  under thigh
  follow two, solved.two by goal.mix for move, turn
joint foot at ankle  like solved.last  under shin
  follow three, solved.last by goal.mix for move, turn
list skin of thigh, shin, foot
"""
LEG_SHEET = """[points]
root = [0, 0, 0]
hip = [5, 90, 0]
knee = [6, 60, 12]
ankle = [5, 30, -4]
paw = [5, 5, 6]
"""


def leg(stretch: float = 0.0):
    return text(LEG.format(stretch=stretch), LEG_SHEET)


@pytest.mark.parametrize("seed", range(4))
def test_a_chain_of_three_bones_turns_as_it_reached(seed):
    evaluator = leg()
    clip = random_clip(evaluator, seed, ["goal.stretch"], track("goal.mix", 1.0))
    made, findings = match(clip, evaluator, {"goal.mix": 0.0}, Span(2.0, 6.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT


@pytest.mark.parametrize("seed", range(4))
def test_a_chain_of_three_bones_that_was_brought_from_its_reach_goes_back_to_it(seed):
    evaluator = leg()
    clip = random_clip(evaluator, seed, ["goal.stretch"], track("goal.mix", 1.0))
    turning, _ = match(clip, evaluator, {"goal.mix": 0.0})
    elsewhere = tuple(
        one for one in turning.clip.tracks if one.channel.partition(".")[0] not in ("goal", "pole")
    )
    lost = replace(turning.clip, tracks=(*elsewhere, track("goal.mix", 0.0)))
    made, findings = match(lost, evaluator, {"goal.mix": 1.0})
    assert findings == ()
    assert max(apart(evaluator, lost, made.clip, made.frames, joints(evaluator))) < 1e-7


def test_a_stretch_that_would_lengthen_bones_is_set_to_nothing():
    evaluator = text(
        LEG.format(stretch=1.0).replace("  pole pole\n", "  pole pole\n  ease 30%\n"), LEG_SHEET
    )
    clip = random_clip(
        evaluator, 2, ["goal.stretch"], track("goal.mix", 1.0), track("goal.stretch", 0.0)
    )
    turning, _ = match(clip, evaluator, {"goal.mix": 0.0})
    stretched = replace(
        turning.clip,
        tracks=(
            *[one for one in turning.clip.tracks if one.channel != "goal.stretch"],
            track("goal.stretch", 1.0),
        ),
    )
    made, _ = match(stretched, evaluator, {"goal.mix": 1.0})
    assert set(made.clip.sampled()["goal.stretch"].tolist()) == {0.0}
    assert any('"goal.stretch" is 0' in reason for reason in made.because)
    assert max(apart(evaluator, stretched, made.clip, made.frames, joints(evaluator))) < 1e-6


def test_halfway_between_the_two_sides_both_are_laid_on_what_is_seen():
    evaluator, clip, dial = bent_clip(7, "left")
    made, findings = match(clip, evaluator, {dial: 0.5}, Span(3.0, 6.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT


@pytest.mark.parametrize("side", SIDES)
def test_the_arm_of_the_library_is_exact_both_ways(side):
    """Its elbow is a hinge in both, so whatever bends as it rests can be reached for."""
    evaluator = exercise("upright")
    dial, bow = f"arm.{side}.settings.mix", f"arm.{side}.bow.turn.z"
    still = [name for name in evaluator.channels if name.endswith(("stretch", "volume"))]
    for value in (0.0, 1.0):
        bends = track(bow, *np.linspace(0.1, 1.0, 8))
        clip = random_clip(evaluator, 4, still, track(dial, 1.0 - value), bends)
        made, findings = match(clip, evaluator, {dial: value}, Span(3.0, 6.0))
        assert findings == ()
        assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT


def test_a_riding_back_is_brought_near_a_turning_one_and_what_hangs_on_it_is_solved_again():
    evaluator = exercise("upright")
    still = [name for name in evaluator.channels if name.endswith(("stretch", "volume"))]
    clip = random_clip(evaluator, 0, still, track("spine.body.mix", 0.0))
    small = replace(
        clip,
        tracks=tuple(
            replace(one, keys=tuple(replace(key, value=0.1 * key.value) for key in one.keys))
            if evaluator.channels[one.channel].part == "turn"
            else one
            for one in clip.tracks
        ),
    )
    made, findings = match(small, evaluator, {"spine.body.mix": 1.0}, Span(4.0, 4.0))
    assert [finding.code for finding in findings] == ["match-apart"]
    before, after, loose = (
        evaluator.pose({**one.sampled([4.0]), **more})
        for one, more in ((small, {}), (made.clip, {}), (small, {"spine.body.mix": [1.0]}))
    )

    def off(posed):
        return float(np.linalg.norm(posed.place("spine.back.7") - before.place("spine.back.7")))

    assert off(after) < 0.2 * off(loose)
    assert off(after) < 0.01 * evaluator.settled.rig.height


def test_both_arms_are_switched_in_one_run():
    evaluator = exercise("arm")
    dials = {f"arm.{side}.hand.reach": 0.0 for side in SIDES}
    clip = random_clip(evaluator, 8, [], *[track(name, 1.0) for name in dials])
    made, findings = match(clip, evaluator, dials, Span(3.0, 6.0))
    assert findings == ()
    assert max(apart(evaluator, clip, made.clip, made.frames, joints(evaluator))) < EXACT
