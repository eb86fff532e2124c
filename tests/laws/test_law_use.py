"""The law of use: what shows counts, and large rigs are tried a few channels at a time."""

from __future__ import annotations

import pytest

import somite
from somite.laws import use
from somite.laws.trial import Trial

SHEET = 'character = "tansy"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
RECIPE = """
recipe stall
  units cm
  axes up +Y front +Z
control master at ground  ring 30 cm  carries all
  dial one = 0 in 0..1
  dial two = 0 in 0..1
control hand at (0, 1 m, 0)  under master  ring 10 cm
  only turn.x, move.y
  dial idle = 0 in 0..1
group upper at (0, 1 m, 0)  under master
group lower at (0, 50 cm, 0)  under master
joint palm at (0, 1 m, 0)  under upper
joint sole at (0, 50 cm, 0)  under lower
joint left_behind at (0, 20 cm, 0)  under master
feed upper.turn.x = live hand.turn.x * master.one
feed lower.turn.x = live hand.turn.x * master.two
"""


def told(recipe: str) -> list[str]:
    made = somite.compile_text(recipe, SHEET)
    assert made.settled is not None, made.findings
    return sorted(breach.message for breach in use.breaches(Trial(made.settled, 0)))


def test_idle_channels_and_joints_that_nothing_moves_are_told_and_no_others() -> None:
    # "sole" moves with the hand at one extreme only, after another has shown that the hand is used.
    joint, dial, channel = sorted(told(RECIPE), key=len)
    texts = [joint, dial, channel]
    assert sum('"left_behind" to move' in text for text in texts) == 1
    assert sum('"hand.idle" to change something' in text for text in texts) == 1
    assert sum("move.y moves no joint" in text for text in texts) == 1


@pytest.mark.parametrize("at_once", [1, 40, 1_000])
def test_how_much_is_tried_at_once_changes_nothing(
    monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    whole = told(RECIPE)
    monkeypatch.setattr(use, "AT_ONCE", at_once)
    assert told(RECIPE) == whole


def test_a_dial_that_shows_a_control_is_in_use() -> None:
    assert len(told(RECIPE + "control lid at ground  under hand  lock move, turn, size\n")) == 3
    shown = (
        RECIPE + "control lid at ground  under hand  lock move, turn, size  shown by hand.idle\n"
    )
    assert [text for text in told(shown) if "idle" in text] == []
