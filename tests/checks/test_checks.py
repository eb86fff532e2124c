"""Checks: each kind of expectation is met by what is so, and not met by what is not.

The rig is small enough to be worked out in the head: a pole that turns, a lamp 30 cm along it.
"""

from __future__ import annotations

import pytest

from somite import pipeline
from somite.checks import Answer, CheckResult, run
from somite.settle import Settled

HEAD = """recipe stall
  units cm
  axes up +Y front +Z
control master at ground
  ring 60 cm
  carries all
control pole at (0, 40 cm, 0)  under master
  ring 10 cm
joint arm at (0, 40 cm, 0)  under pole
joint lamp at (30 cm, 40 cm, 0)  under arm
joint wick at (-30 cm, 40 cm, 0)  under arm
chain vane through (0, 60 cm, 0), (0, 70 cm, 0), (0, 80 cm, 0)  under arm
  axis +X
  lean +Y toward +Z
gauge reach = live distance(master, lamp)
curve string shaped by (0, 0, 0), (0, 20 cm, 0)
  degree 1
  grip low owns 1
    follow master
  grip high owns 2
    follow pole for move
pose turned
  set pole.turn.y = 90 deg
"""
SHEET = 'character = "pip"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'


def settled(*lines: str) -> Settled:
    body = 'check "so it is"\n' + "".join(f"  {line}\n" for line in lines)
    made = pipeline.compile_text(HEAD + body, SHEET)
    assert made.settled is not None, made.findings
    return made.settled


def tried(*lines: str) -> CheckResult:
    (result,) = run(settled(*lines))
    return result


def answer(*lines: str) -> Answer:
    (found,) = tried(*lines).answers
    return found


@pytest.mark.parametrize(
    ("pose", "expectation"),
    [
        # A quarter turn about +Y takes +X to -Z.
        ("pose turned", "lamp at (0, 40 cm, -30 cm)"),
        ("pose turned", "lamp points +X toward -Z"),
        ("pose turned", "lamp turns 90 deg"),
        ("pose turned", "lamp turns 0 deg relative to pole"),
        ("pose turned", "vane.last twists 90 deg about own axis"),
        ("pose turned", "vane.last twists 90 deg with pole"),
        ("pose pole.turn.y = -35 deg", "vane.1 twists -35 deg with pole"),
        ("pose pole.turn.x = 50 deg", "vane.1 twists 0 deg with pole"),
        ("pose turned", "lamp apart from pole by 30 cm"),
        ("pose turned", "pole still"),
        ("pose pole.move.y = -40 cm", "lamp on ground"),
        ("pose pole.move.y = 5 cm", "lamp mirrors wick"),
        ("pose turned", "vane keeps length"),
        ("pose turned", "string keeps length"),
        # 3, 4, 5: thirty along, forty up.
        ("pose turned", "reach reads 50 cm"),
        ("pose pole.turn.y from -90 deg to 90 deg", "lamp apart from pole by 30 cm"),
    ],
)
def test_what_is_so_is_met(pose: str, expectation: str) -> None:
    found = answer(pose, f"expect {expectation}")
    if expectation == "pole still":
        assert not found.met  # It turns where it stands.
        assert "turned by 90 deg" in found.measured
    else:
        assert found.met, found


@pytest.mark.parametrize(
    ("pose", "expectation", "measured"),
    [
        ("pose turned", "lamp at (30 cm, 40 cm, 0)", "(0, 40, -30) cm"),
        ("pose turned", "lamp points +X toward +X", "90 deg from it"),
        ("pose turned", "lamp turns 80 deg", "90 deg"),
        ("pose turned", "vane.last twists 60 deg about own axis", "90 deg"),
        ("pose turned", "lamp apart from master by 30 cm", "50 cm"),
        ("pose pole.move.x = 3 cm", "wick still", "moved by 3 cm"),
        ("pose pole.move.y = 2 cm", "arm on ground", "42 cm above"),
        ("pose pole.move.x = 2 cm", "lamp mirrors wick", "(32, 40, 0) cm, not at (28, 40, 0) cm"),
        ("pose pole.move.y = 10 cm", "string keeps length", "30 cm"),
        ("pose master.size.x = 2", "reach reads 50 cm", "72.111 cm"),
    ],
)
def test_what_is_not_so_is_not_met_and_is_measured(
    pose: str, expectation: str, measured: str
) -> None:
    result = tried(pose, f"expect {expectation}")
    assert not result.met
    assert measured in result.answers[0].measured
    (found,) = result.findings
    assert found.code == "check-failed"
    assert measured in found.message


def test_a_tolerance_is_kept_to_its_end() -> None:
    assert answer("pose pole.move.x = 2 cm", "expect arm at (0, 40 cm, 0) within 2 cm").met
    assert not answer("pose pole.move.x = 2 cm", "expect arm at (0, 40 cm, 0) within 1.99 cm").met


def test_the_worst_sample_of_a_sweep_is_told() -> None:
    (found,) = tried(
        "pose pole.move.x from -2 cm to 6 cm", "expect arm at (0, 40 cm, 0) within 3 cm"
    ).findings
    assert found.message.endswith("found (6, 40, 0) cm at pole.move.x = 6 cm")


def test_two_sweeps_are_sampled_together() -> None:
    (found,) = tried(
        "pose pole.move.x from 0 cm to 3 cm",
        "pose pole.move.z from 0 cm to 4 cm",
        "expect arm apart from master by 40 cm",
    ).findings
    assert "pole.move.x = 3 cm, pole.move.z = 4 cm" in found.message


def test_a_setting_holds_over_a_named_pose() -> None:
    assert answer("pose turned", "pose pole.turn.y = 0 deg", "expect arm turns 0 deg").met


def test_an_answer_says_where_it_was_written() -> None:
    site = answer("pose turned", "expect lamp turns 90 deg").site
    assert site is not None
    assert site.line == HEAD.count("\n") + 3


def test_a_rig_without_checks_has_no_results() -> None:
    made = pipeline.compile_text(HEAD, SHEET)
    assert made.settled is not None
    assert run(made.settled) == ()
