"""Names that one side renames and new lines of the other use: carried on, marked, or told."""

from __future__ import annotations

import pytest

from somite import pipeline
from somite.merge import Merged, merged
from somite.text import Source

BASE = """\
recipe lantern
  units cm
  axes up +Y front +Z

sheet
  point foot, middle, hook

control master at ground
  ring 40 cm
  carries all
control sway at hook  under master
  ring 20 cm
  lock size

curve pole through foot, middle, hook
  grip lower owns 1..2
    follow master
  grip upper owns 3..4
    follow sway
joint light at hook
  follow sway
"""

SHEET = """\
character = "lumen"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
foot = [0, 0, 0]
middle = [0, 60, 4]
hook = [0, 120, 18]
"""

ADDED = (
    BASE + "control flame at hook  under sway\n  ring 5 cm\njoint spark at hook\n  follow flame\n"
)


def renamed(more: str = "") -> str:
    """The base with `sway` called `swing`, its own uses with it, and more facts."""
    text = BASE.replace("control sway", "control swing").replace("follow sway", "follow swing")
    return text.replace("  lock size\n", f"  lock size\n{more}")


def merge(ours: str, theirs: str, base: str = BASE) -> Merged:
    made = merged(Source("base", base), Source("ours", ours), Source("theirs", theirs))
    assert made is not None
    return made


def errors(text: str) -> list[str]:
    return [one.code for one in pipeline.compile_text(text, SHEET).findings]


@pytest.mark.parametrize("more", ["", "  was sway\n", "  was sway\n  only turn.x\n"])
@pytest.mark.parametrize("turned", [False, True], ids=["theirs adds", "ours adds"])
def test_a_sure_rename_is_carried_into_new_lines(more: str, turned: bool) -> None:
    sides = (ADDED, renamed(more)) if turned else (renamed(more), ADDED)
    made = merge(*sides)
    assert made.conflicts == ()
    assert "control flame at hook  under swing\n" in made.text
    assert "sway" not in made.text.replace("was sway", "")
    assert errors(made.text) == []
    one, other = ("theirs", "ours") if turned else ("ours", "theirs")
    assert made.notes == (f'{one} renamed "sway" to "swing": new lines of {other} say so, too',)


@pytest.mark.parametrize("turned", [False, True], ids=["theirs adds", "ours adds"])
def test_a_rename_that_is_only_likely_is_marked_with_both_ways(turned: bool) -> None:
    doubtful = renamed("  only turn\n").replace("  lock size\n", "")
    sides = (ADDED, doubtful) if turned else (doubtful, ADDED)
    made = merge(*sides)
    (conflict,) = made.conflicts
    assert '"sway" "swing" now' in conflict.what
    block = made.text.partition("<<<<<<< ours\n")[2].partition(">>>>>>> theirs")[0]
    ways = [f"control flame at hook  under {name}" for name in ("swing", "sway")]
    assert block.splitlines() == [
        *ways[:: -1 if turned else 1][:1],
        "=======",
        *ways[:: -1 if turned else 1][1:],
    ]
    for keep in (0, 1):
        text = made.text.partition("<<<<<<<")[0] + block.split("=======\n")[keep]
        text += made.text.partition(">>>>>>> theirs\n")[2]
        assert errors(text) == ([] if "under swing" in text else ["unknown-name"])


def test_what_one_side_takes_out_and_the_other_uses_anew_is_told() -> None:
    gone = BASE.replace("joint light at hook\n  follow sway\n", "")
    added = BASE.replace("joint light", "joint wick at hook  under light\njoint light")
    made = merge(gone, added)
    (conflict,) = made.conflicts
    assert conflict.what == 'our side takes out "light", which new lines of theirs use'
    assert made.text.splitlines()[conflict.theirs - 1] == "joint wick at hook  under light"


def test_a_grip_is_known_by_its_curve() -> None:
    ours = BASE.replace("grip upper", "grip top")
    theirs = BASE + "joint tip at hook\n  follow pole.upper\n"
    made = merge(ours, theirs)
    assert made.conflicts == ()
    assert "follow pole.top\n" in made.text
    assert errors(made.text) == []


def test_a_name_of_one_part_is_not_that_of_another() -> None:
    part = "\npart {name}\n  needs point spot\n  control sway at spot\n    ring 3 cm\n"
    base = BASE + part.format(name="a") + part.format(name="b")
    head, _, last = base.rpartition("  control sway")
    ours = f"{head}  control swing{last}"
    theirs = base.replace("part b", "  joint x at spot  under sway\n\npart b")
    made = merge(ours, theirs, base)
    assert (made.conflicts, made.notes) == ((), ())
    assert "joint x at spot  under sway" in made.text


def test_a_name_that_somebody_declares_again_stays() -> None:
    again = ADDED.replace(
        "control flame", "control other at hook  under master\n  ring 2 cm\ncontrol flame"
    )
    ours = renamed() + "control sway at foot  under master\n  ring 3 cm\n"
    made = merge(ours, again)
    assert "control flame at hook  under sway" in made.text
    assert made.notes == ()


def test_what_a_side_left_dangling_by_itself_is_left_to_it() -> None:
    """Nothing of the other side has anything to do with it."""
    gone = BASE.replace("joint light at hook\n  follow sway\n", "joint wick at hook  under light\n")
    made = merge(gone, BASE.replace("ring 40 cm", "ring 41 cm"))
    assert made.conflicts == ()
    assert "under light" in made.text


def test_a_word_that_is_no_use_of_the_name_stays() -> None:
    theirs = ADDED.replace("under sway", 'under sway  about "sway, like sway"')
    made = merge(renamed(), theirs)
    assert 'about "sway, like sway"' in made.text
    assert "under swing" in made.text


@pytest.mark.parametrize("turned", [False, True], ids=["theirs adds", "ours adds"])
def test_beside_a_conflict_new_lines_have_the_new_name_as_well(turned: bool) -> None:
    one = renamed().replace("ring 40 cm", "ring 41 cm")
    other = ADDED.replace("ring 40 cm", "ring 42 cm")
    made = merge(*((other, one) if turned else (one, other)))
    assert [conflict.what for conflict in made.conflicts] == [
        'both sides change "ring" of "control master"'
    ]
    assert "control flame at hook  under swing\n" in made.text
    assert len(made.notes) == 1 and 'renamed "sway" to "swing"' in made.notes[0]
    for side in (0, 1):
        block = made.text.partition("<<<<<<< ours\n")[2].partition(">>>>>>> theirs\n")[0]
        head, tail = made.text.partition("<<<<<<<")[0], made.text.partition(">>>>>>> theirs\n")[2]
        assert errors(head + block.split("=======\n")[side] + tail) == []
