"""Which controls an animator sees in a pose."""

from __future__ import annotations

import numpy as np
import pytest

import somite
from somite.pipeline import Compiled

SHEET = 'character = "tansy"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'


@pytest.fixture(scope="module")
def stall() -> Compiled:
    made = somite.compile_text(
        """
recipe stall
  units cm
  axes up +Y front +Z
control master at ground  ring 30 cm  carries all
  dial mix = 0.25 in 0..1
  dial lean = 0 deg in -90 deg..90 deg
  dial detail of plain, fine, all = plain
  dial fed = 0 in 0..1
  dial open = 0 in 0..1
control always at ground  under master
control above at ground  under master
  shown by master.mix above 0.25
control between at ground  under master
  shown by master.lean above -10 deg below 10 deg
control chosen at ground  under master
  shown by master.detail is fine, all
control both at ground  under master
  shown by master.mix
  shown by master.detail is all
control driven at ground  under master
  shown by master.fed
feed master.fed = live master.open
""",
        SHEET,
    )
    assert made.settled is not None, made.findings
    return made


def shown(made: Compiled, name: str, **dials: object) -> list[bool]:
    seen = made.pose({f"master.{dial}": value for dial, value in dials.items()}).shown(name)
    assert seen.dtype == bool
    return [bool(one) for one in seen]


def test_a_control_without_conditions_is_always_shown(stall: Compiled) -> None:
    assert shown(stall, "always", mix=[0.0, 1.0]) == [True, True]


def test_a_bound_itself_does_not_show(stall: Compiled) -> None:
    assert shown(stall, "above") == [False]
    assert shown(stall, "above", mix=[0.2, 0.25, 0.26]) == [False, False, True]


def test_angles_are_compared_as_angles(stall: Compiled) -> None:
    assert shown(stall, "between", lean=np.radians([-11, -9, 9, 11])) == [False, True, True, False]


def test_a_choice_shows_at_the_words_that_are_named(stall: Compiled) -> None:
    assert shown(stall, "chosen", detail=[0, 1, 2]) == [False, True, True]


def test_every_condition_must_hold(stall: Compiled) -> None:
    assert shown(stall, "both", mix=[0.0, 1.0, 1.0], detail=[2, 1, 2]) == [False, False, True]


def test_a_driven_dial_shows_by_what_drives_it(stall: Compiled) -> None:
    assert shown(stall, "driven", open=[0.0, 0.5]) == [False, True]


def test_an_unknown_name_is_a_key_error(stall: Compiled) -> None:
    with pytest.raises(KeyError):
        stall.pose().shown("nobody")
