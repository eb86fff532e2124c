"""What touches what: rates at rest and the most over a range, against values known beforehand."""

from __future__ import annotations

import math

import pytest

from somite import pipeline
from somite.touches import Touch, touches

RECIPE = """recipe stall
  units cm
  axes up +Y front +Z
control master at ground
  ring 60 cm
  carries all
  lock move, size, turn.x, turn.z
control pole at (0, 40 cm, 0)  under master
  ring 10 cm
  lock turn, size
  limit move.x -5 cm..20 cm
  dial glow = 0 in 0..1
  dial mode of slow, fast = slow
joint lamp at (30 cm, 40 cm, 0)  under pole
joint post at ground  under master
feed lamp.size.x = live 1 + pole.glow
feed post.move.y = live 10 cm * (pole.mode is fast)
"""
SHEET = 'character = "pip"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'


@pytest.fixture(scope="module")
def found() -> dict[tuple[str, str], Touch]:
    made = pipeline.compile_text(RECIPE, SHEET)
    assert made.settled is not None, made.findings
    return {(one.channel, one.joint): one for one in touches(made.settled)}


def test_a_move_moves_what_it_carries_one_to_one_and_to_its_furthest_limit(
    found: dict[tuple[str, str], Touch],
) -> None:
    touch = found["pole.move.x", "lamp"]
    assert touch.per_unit == pytest.approx((1.0, 0.0))
    assert touch.most == pytest.approx((0.2, 0.0))


def test_a_turn_moves_by_the_distance_from_its_axis_and_turns_one_to_one(
    found: dict[tuple[str, str], Touch],
) -> None:
    touch = found["master.turn.y", "lamp"]
    assert touch.per_unit == pytest.approx((0.3, 1.0), rel=1e-5)
    # A quarter turn each way: the chord of 30 cm is 30 times the root of two.
    assert touch.most == pytest.approx((0.3 * math.sqrt(2.0), math.pi / 2.0))


def test_what_a_channel_does_not_move_has_no_touch(found: dict[tuple[str, str], Touch]) -> None:
    assert ("pole.move.x", "post") not in found
    assert not [key for key in found if key[0] in ("pole.turn.x", "master.move.x")]


def test_a_dial_that_only_sizes_a_joint_touches_it(found: dict[tuple[str, str], Touch]) -> None:
    touch = found["pole.glow", "lamp"]
    assert touch.sized
    assert touch.most == (0.0, 0.0)


def test_a_choice_has_no_rate_and_its_most(found: dict[tuple[str, str], Touch]) -> None:
    touch = found["pole.mode", "post"]
    assert touch.per_unit == (0.0, 0.0)
    assert touch.most == pytest.approx((0.1, 0.0))
