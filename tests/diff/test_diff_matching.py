"""Which thing is which: by name, by `was`, and by likeness with a stated confidence."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from puppet import RECIPE, built, made

from somite.diff.comparing import difference
from somite.diff.matching import LIKELY, STATED, matched
from somite.diff.records import Change


def renames(recipe: str, old: str = RECIPE) -> dict[str, Change]:
    """What was renamed between two recipes, by old name, without what follows from it."""
    changes = difference(built(old).rig, built(recipe).rig).changes
    return {one.old or "": one for one in changes if one.what == "renamed" and not one.implied}


def renamed(before: str, after: str) -> str:
    """The recipe with a node called otherwise, wherever it is named."""
    import re

    return re.sub(rf"(?<![\w\"]){before}(?![\w\"])", after, RECIPE)


def test_a_was_is_certain() -> None:
    rename = renames(
        RECIPE.replace(
            "control low at pelvis  under body\n", "control hips at pelvis  under body\n  was low\n"
        )
        .replace("follow low", "follow hips")
        .replace("carried by low", "carried by hips")
        .replace("relative to low", "relative to hips")
    )["low"]
    assert (rename.new, rename.confidence, rename.because) == ("hips", 1.0, STATED)


@pytest.mark.parametrize(
    ("before", "after"),
    [("low", "hips"), ("nod", "look"), ("crest", "tuft"), ("bow", "bend"), ("high", "chest")],
)
def test_a_rename_without_was_is_inferred_and_says_so(before: str, after: str) -> None:
    rename = renames(renamed(before, after))[before]
    assert rename.new == after
    assert LIKELY <= rename.confidence < 1.0
    assert "same place" in rename.because


def test_only_the_rename_is_told() -> None:
    changes = difference(made().rig, built(renamed("bow", "bend")).rig).changes
    # Poses and checks say "bow" in what they set; a pose's own name is another word.
    assert {one.what for one in changes if not one.implied} == {"renamed"}


def test_both_sides_of_a_pair_are_renamed_each_to_its_own() -> None:
    found = renames(renamed("hand", "paw"))
    assert {old: one.new for old, one in found.items()} == {
        "hand.left": "paw.left",
        "hand.right": "paw.right",
    }


def test_a_whole_chain_is_renamed_with_its_joints() -> None:
    found = renames(renamed("leg", "hindleg"))
    assert found["leg.left.thigh"].new == "hindleg.left.thigh"
    assert found["leg.right"].new == "hindleg.right"
    assert found["leg.right"].kind == "chain"


def test_something_gone_and_something_unlike_it_that_is_new_are_two_things() -> None:
    other = RECIPE.replace(
        "joint crest at crown  under head\n", "joint belt at waist  under skeleton\n"
    ).replace("head, crest, arm", "head, belt, arm")
    changes = difference(made().rig, built(other).rig).changes
    told = {(one.what, one.name) for one in changes if one.kind == "joint"}
    assert told == {("removed", "crest"), ("added", "belt")}


def test_a_control_that_becomes_a_group_is_another_thing() -> None:
    other = RECIPE.replace(
        "control kettle at wrist.left  under hand.left\n  cross 8 cm\n  only turn\n"
        "  shown by body.stretch below 1\n",
        "group kettle at wrist.left  under hand.left\n",
    )
    changes = difference(made().rig, built(other).rig).changes
    told = {(one.what, one.kind) for one in changes if one.name == "kettle"}
    assert told == {("removed", "control"), ("added", "group")}


@pytest.mark.parametrize(
    "edit", [lambda text: text, lambda text: text.replace("bones = 5", "bones = 7")]
)
def test_pairs_are_the_same_both_ways(edit: Callable[[str], str]) -> None:
    old = made().rig
    new = built(
        edit(
            renamed("hand", "paw")
            .replace("joint crest", "joint tuft")
            .replace("head, crest", "head, tuft")
        )
    ).rig
    assert old is not None and new is not None
    there, back = matched(old, new), matched(new, old)
    assert {(one.old.name, one.new.name, one.confidence) for one in there.pairs_of("nodes")} == {
        (one.new.name, one.old.name, one.confidence) for one in back.pairs_of("nodes")
    }


def test_no_thing_has_two_partners() -> None:
    old = made().rig
    new = built(renamed("arm", "foreleg").replace("bones = 5", "bones = 6")).rig
    assert old is not None and new is not None
    pairs = list(matched(old, new).pairs_of("nodes"))
    assert (
        len({one.old.name for one in pairs}) == len({one.new.name for one in pairs}) == len(pairs)
    )


def test_a_stated_rename_wins_over_a_name_that_was_taken_over() -> None:
    text = RECIPE.replace(
        "control bow at waist  under body", "control waistband at waist  under body"
    )
    text = text.replace("under bow", "under waistband").replace("set bow.", "set waistband.")
    text = text.replace(
        "control low at pelvis  under body\n", "control bow at pelvis  under body\n  was low\n"
    )
    for before in ("follow low", "carried by low", "relative to low"):
        text = text.replace(before, before.replace("low", "bow").replace("folbow", "follow"))
    found = renames(text)
    assert (found["low"].new, found["low"].because) == ("bow", STATED)
    assert found["bow"].new == "waistband"


def test_a_reversed_dependency_is_told() -> None:
    other = RECIPE.replace("control low at pelvis  under body", "control low at pelvis  under bow")
    before = RECIPE.replace("control bow at waist  under body", "control bow at waist  under low")
    reversals = difference(built(before).rig, built(other).rig).reversals
    assert [(one.first, one.second) for one in reversals] == [("low", "bow")]
    assert reversals[0].new_way == ("bow", "low")


def test_what_is_only_worked_out_apart_is_no_reversal() -> None:
    assert difference(made().rig, made("parent").rig).reversals == ()
