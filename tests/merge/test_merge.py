"""Merging by meaning: who changed a fact alone has it, and what both changed is a conflict.

The laws are those of any three-way merge, and git's own `merge-file` is asked wherever its answer
is plain: where both sides change lines far from one another.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from somite import parse
from somite.format import formatted
from somite.merge import Labels, Merged, merged
from somite.merge.items import items_of
from somite.text import Source

BASE = """\
# The troupe's lamp post.
recipe lamp_post
  units cm
  axes up +Y front +Z

sheet
  point hook, flame, wick
  pair hand
  length drop = 30 cm

control master at ground  ring 40 cm  carries all

# Swings the lamp, and never turns it over.
control pole at hook  under master
  ring 20 cm
  limit turn.z -30 deg..120 deg
  lock size
  dial glow = 0 in 0..1  # how bright

joint light at flame  under pole
joint wick at wick  under light
  about "burns"

mirror
  control grab at hand  under master
    ball 5 cm
    follow master, pole for move

list skin of light, wick

pose lit
  set pole.glow = 1

check "the lamp hangs"
  pose pole.turn.z = 20 deg
  expect light still within 200 cm
"""


def merge(ours: str, theirs: str, base: str = BASE, by_lines: str | None = None) -> Merged:
    made = merged(
        *(Source("lamp_post.somite", text) for text in (base, ours, theirs)), by_lines=by_lines
    )
    assert made is not None
    return made


def meaning(text: str) -> object:
    document, findings = parse.parse(Source("x", text))
    assert findings == (), findings
    return items_of(document).meaning


def changed(*changes: tuple[str, str], text: str = BASE) -> str:
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


# ---- what two people do --------------------------------------------------------------------------


def test_two_facts_of_one_statement_are_both_changed() -> None:
    ours = changed(("ring 20 cm", "ring 25 cm"))
    theirs = changed(("lock size", "lock size, move"))
    assert merge(ours, theirs).text == changed(
        ("ring 20 cm", "ring 25 cm"), ("lock size", "lock size, move")
    )


def test_facts_of_one_line_are_both_changed() -> None:
    ours = changed(("at ground  ring", "at hook  ring"))
    theirs = changed(("ring 40 cm", "ring 44 cm"))
    wanted = changed(("at ground  ring 40 cm", "at hook  ring 44 cm"))
    assert merge(ours, theirs).text == wanted


def test_lists_take_the_members_of_both_sides() -> None:
    ours = changed(("flame, wick\n", "flame, wick, tip\n"), ("of light, wick", "of wick"))
    theirs = changed(
        ("point hook,", "point base, hook,"), ("of light, wick", "of light, wick, hook")
    )
    made = merge(ours, theirs)
    assert not made.conflicts
    assert "  point hook, flame, wick, tip, base\n" in made.text
    assert "list skin of wick, hook\n" in made.text


def test_a_rename_and_a_change_of_the_same_thing_come_together() -> None:
    ours = changed(
        (
            "control pole at hook  under master\n",
            "control mast at hook  under master\n  was pole\n",
        ),
        ("joint light at flame  under pole", "joint light at flame  under mast"),
        ("follow master, pole for", "follow master, mast for"),
        ("set pole.glow", "set mast.glow"),
        ("pose pole.turn.z", "pose mast.turn.z"),
    )
    theirs = changed(("ring 20 cm", "ring 25 cm"))
    made = merge(ours, theirs)
    assert not made.conflicts
    assert meaning(made.text) == meaning(changed(("ring 20 cm", "ring 25 cm"), text=ours))


def test_added_statements_stand_where_they_stood_with_their_comments() -> None:
    theirs = changed(
        ("list skin", "# Moths come to it.\njoint moth at flame  under light  # one\n\nlist skin")
    )
    ours = changed(('check "the lamp hangs"', 'check "the lamp still hangs"'))
    made = merge(ours, theirs)
    assert (
        "\n# Moths come to it.\njoint moth at flame  under light  # one\n\nlist skin" in made.text
    )
    assert 'check "the lamp still hangs"' in made.text


def test_what_one_side_moved_or_formatted_the_other_still_changes() -> None:
    head, _, check = BASE.partition("list skin")
    light = "joint light at flame  under pole\n"
    ours = light + "\n" + head.replace(light, "") + "list skin" + check
    ours = ours.replace("  ring 20 cm\n  limit turn.z", "  ring   20cm   limit turn.z")
    theirs = changed(("joint light at flame", "joint light at wick"), ("30 deg..", "20 deg.."))
    made = merge(ours, theirs)
    assert not made.conflicts
    assert made.text.startswith("joint light at wick  under pole\n")
    assert "  ring   20cm   limit turn.z -20 deg..120 deg\n" in made.text


def test_comments_of_both_sides_are_kept() -> None:
    ours = changed(("# Swings the lamp, and", "# It swings the lamp, and"))
    theirs = changed(("# The troupe's", "# The night market's"), ("# how bright", "# its light"))
    made = merge(ours, theirs).text
    assert "# It swings the lamp" in made and "# The night market's" in made
    assert "  # its light\n" in made and "how bright" not in made


# ---- conflicts -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "ours, theirs, said, shown",
    [
        (
            ("120 deg", "100 deg"),
            ("-30 deg", "-20 deg"),
            'both sides change "limit" of "control pole"',
            "<<<<<<< ours\n  limit turn.z -30 deg..100 deg\n=======\n"
            "  limit turn.z -20 deg..120 deg\n>>>>>>> theirs\n",
        ),
        (
            ("  ring 20 cm\n", ""),
            ("ring 20 cm", "ring 22 cm"),
            'their side changes "ring" of "control pole", ours takes it out',
            "<<<<<<< ours\n=======\n  ring 22 cm\n>>>>>>> theirs\n",
        ),
        (
            ("ring 20 cm", "ring 22 cm"),
            ("  ring 20 cm\n", ""),
            'our side changes "ring" of "control pole", theirs takes it out',
            "<<<<<<< ours\n  ring 22 cm\n=======\n>>>>>>> theirs\n",
        ),
        (
            ("ring 40 cm", "ring 41 cm"),
            ("ring 40 cm", "ball 40 cm"),
            'both sides change "ring" of "control master"',
            "<<<<<<< ours\ncontrol master at ground  ring 41 cm  carries all\n=======\n"
            "control master at ground  ball 40 cm  carries all\n>>>>>>> theirs\n",
        ),
        (
            ("list skin", "joint moth at wick\n\nlist skin"),
            ("\nmirror", "joint moth at flame\n\nmirror"),
            'both sides add "joint moth", and not the same',
            "<<<<<<< ours\njoint moth at wick\n=======\njoint moth at flame\n>>>>>>> theirs\n",
        ),
        (
            ("    ball 5 cm\n", "    ball 5 cm\n    land on pole\n"),
            ("    ball 5 cm\n", "    ball 5 cm\n    follow pole for turn\n"),
            'both sides add "follow" of "control grab", and not the same',
            "<<<<<<< ours\n    land on pole\n=======\n    follow pole for turn\n>>>>>>> theirs\n",
        ),
    ],
)
def test_a_fact_that_both_sides_change_is_marked_at_its_line(
    ours: tuple[str, str], theirs: tuple[str, str], said: str, shown: str
) -> None:
    made = merge(changed(ours), changed(theirs))
    assert [one.what for one in made.conflicts] == [said]
    assert shown in made.text
    assert made.text.count("<<<<<<<") == 1


def test_what_a_thing_is_called_does_not_decide_how_much_is_marked() -> None:
    base = BASE.replace("control pole", "control added_pole").replace(
        "under pole", "under added_pole"
    )
    made = merge(
        base.replace("control added_pole", "group added_pole"),
        base.replace("control added_pole", "joint added_pole"),
        base,
    )
    assert [one.what for one in made.conflicts] == ['both sides change "control added_pole"']
    head = made.text[made.text.index("<<<<<<<") : made.text.index(">>>>>>>")]
    assert "ring 20 cm" not in head


def test_marks_have_the_names_and_the_size_that_git_asks_for() -> None:
    sources = (
        Source("x", text) for text in (BASE, changed(("20 cm", "21 cm")), changed(("20 cm", "1 m")))
    )
    made = merged(*sources, labels=Labels("HEAD", "topic/lamp", 9))
    assert made is not None
    assert re.findall(r"^(?:<{9} HEAD|={9}|>{9} topic/lamp)$", made.text, re.MULTILINE) != []
    assert "<<<<<<<<< HEAD\n" in made.text and ">>>>>>>>> topic/lamp\n" in made.text


def test_other_changes_are_made_around_a_conflict() -> None:
    ours = changed(("20 cm", "21 cm"), ("drop = 30 cm", "drop = 31 cm"))
    theirs = changed(("20 cm", "22 cm"), ("ball 5 cm", "ball 6 cm"))
    text = merge(ours, theirs).text
    assert "drop = 31 cm" in text and "ball 6 cm" in text


def test_lines_are_merged_by_git_where_that_says_the_same() -> None:
    ours, theirs = changed(("20 cm", "21 cm")), changed(("ball 5 cm", "ball 6 cm"))
    by_lines = changed(("20 cm", "21 cm"), ("ball 5 cm", "ball 6 cm"))
    assert merge(ours, theirs, by_lines=by_lines + "# kept\n").text.endswith("# kept\n")
    wrong = changed(("20 cm", "21 cm"))
    made = merge(ours, theirs, by_lines=wrong)
    assert (made.how, made.text) == ("meaning", by_lines)


def test_a_merge_of_lines_that_declares_a_thing_twice_is_not_taken() -> None:
    ours = changed(("recipe lamp_post", "joint moth at wick\n\nrecipe lamp_post"))
    theirs = BASE + "\njoint moth at flame\n"
    doubled = changed(("recipe lamp_post", "joint moth at wick\n\nrecipe lamp_post")) + (
        "\njoint moth at flame\n"
    )
    made = merge(ours, theirs, by_lines=doubled)
    assert [one.what for one in made.conflicts] == ['both sides add "joint moth", and not the same']


def test_what_cannot_be_read_is_not_merged() -> None:
    broken = changed(("control pole at hook", "control pole at (((hook"))
    sources = [Source("x", text) for text in (BASE, broken, BASE)]
    assert merged(*sources) is None


# ---- laws ----------------------------------------------------------------------------------------

Edit = Callable[[str], str]

NUMBERS = [found.span() for found in re.finditer(r"\d+(?= (?:cm|deg))", BASE)]
FACTS = [
    line
    for line in BASE.splitlines(keepends=True)
    if re.match(r"\s+(?:ring|limit|lock|about|ball|follow|expect|dial)", line)
]
HEADS = re.findall(r"^(?:control|joint|list|pose|check) .*$", BASE, re.MULTILINE)


@st.composite
def edits(draw: st.DrawFn) -> tuple[tuple[str, int, int], ...]:
    """Some changes, each a kind with where it is made and what with."""
    kinds = st.sampled_from(["number", "drop", "add", "declare", "comment", "move", "tidy"])
    return tuple(
        draw(st.lists(st.tuples(kinds, st.integers(0, 50), st.integers(1, 9)), max_size=4))
    )


def made(changes: tuple[tuple[str, int, int], ...]) -> str:
    text = BASE
    for kind, where, what in changes:
        if kind == "number":
            digits = list(re.finditer(r"\d+(?= (?:cm|deg))", text))
            at = digits[where % len(digits)]
            text = text[: at.start()] + str(what * 3) + text[at.end() :]
        elif kind == "drop":
            text = text.replace(FACTS[where % len(FACTS)], "", 1)
        elif kind == "add":
            at_line = HEADS[where % len(HEADS)]
            text = text.replace(at_line, f'{at_line}\n  about "number {what}"', 1)
        elif kind == "declare":
            at_line = HEADS[where % len(HEADS)]
            text = text.replace(at_line, f"joint moth[{what}] at hook\n{at_line}", 1)
        elif kind == "comment":
            at_line = HEADS[where % len(HEADS)]
            text = text.replace(at_line, f"# Note {what}.\n{at_line}", 1)
        elif kind == "move":
            blocks = text.rstrip("\n").split("\n\n")
            k = where % len(blocks)
            text = "\n\n".join([*blocks[:k], *blocks[k + 1 :], blocks[k]]) + "\n"
        elif kind == "tidy":
            tidied, _ = formatted(Source("x", text))
            text = tidied if tidied is not None else text
    return text


def readable(text: str) -> bool:
    return not parse.parse(Source("x", text))[1]


@settings(deadline=None)
@given(edits())
def test_a_side_that_alone_changed_has_its_text_or_its_meaning(
    changes: tuple[tuple[str, int, int], ...],
) -> None:
    side = made(changes)
    assume(readable(side))
    assert merge(side, BASE).text == side
    assert merge(side, side).text == side
    alone = merge(BASE, side)
    assert not alone.conflicts
    assert meaning(alone.text) == meaning(side)


@settings(deadline=None)
@given(edits(), edits())
def test_the_sides_can_be_changed_over(
    first: tuple[tuple[str, int, int], ...], second: tuple[tuple[str, int, int], ...]
) -> None:
    ours, theirs = made(first), made(second)
    assume(readable(ours) and readable(theirs))
    one, other = merge(ours, theirs), merge(theirs, ours)
    assert len(one.conflicts) == len(other.conflicts)
    if not one.conflicts:
        assert meaning(one.text) == meaning(other.text)


@settings(deadline=None)
@given(edits(), edits())
def test_a_merge_is_clean_and_can_be_read_or_is_marked(
    first: tuple[tuple[str, int, int], ...], second: tuple[tuple[str, int, int], ...]
) -> None:
    ours, theirs = made(first), made(second)
    assume(readable(ours) and readable(theirs))
    found = merge(ours, theirs)
    assert bool(found.conflicts) == ("<<<<<<<" in found.text)
    if not found.conflicts:
        assert readable(found.text)


def by_git(base: str, ours: str, theirs: str) -> str | None:
    """Git's own merge of lines; None where it sees a conflict."""
    with TemporaryDirectory() as folder:
        paths = []
        for name, text in (("ours", ours), ("base", base), ("theirs", theirs)):
            path = Path(folder) / name
            path.write_text(text, encoding="utf-8")
            paths.append(str(path))
        done = subprocess.run(
            ["git", "merge-file", "--stdout", *paths], capture_output=True, check=False
        )
    return done.stdout.decode() if done.returncode == 0 else None


@pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed")
@settings(deadline=None)
@given(
    st.lists(st.integers(0, len(NUMBERS) - 1), min_size=1, max_size=3, unique=True),
    st.lists(st.integers(0, len(NUMBERS) - 1), min_size=1, max_size=3, unique=True),
)
def test_the_merge_agrees_with_git_where_lines_are_far_apart(
    first: list[int], second: list[int]
) -> None:
    lines = [BASE.count("\n", 0, start) for start, _ in NUMBERS]
    assume(all(abs(lines[a] - lines[b]) > 3 for a in first for b in second))
    sides = []
    for chosen, new in ((first, "77"), (second, "88")):
        text = BASE
        for at in sorted(chosen, reverse=True):
            start, end = NUMBERS[at]
            text = text[:start] + new + text[end:]
        sides.append(text)
    expected = by_git(BASE, *sides)
    assert expected is not None
    found = merge(*sides)
    assert (found.conflicts, found.text) == ((), expected)
