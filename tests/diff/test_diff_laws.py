"""Laws of comparing: nothing against itself, the way back, and changes that make the new rig."""

from __future__ import annotations

import random
from dataclasses import fields, make_dataclass, replace

import pytest
from changing import each_field_is_told, other, the_changes_make_the_new_one, the_way_back_mirrors
from hypothesis import given, settings
from hypothesis import strategies as st
from puppet import EDITS, RECIPE, SHEET, built, clashing, made

from somite import ir
from somite.diff.applying import applied
from somite.diff.comparing import difference
from somite.diff.meaning import UNMEANT, collections, header, key_of
from somite.diff.records import Change
from somite.format import formatted
from somite.ir import Rig
from somite.pipeline import compile_text
from somite.text import Source

subsets = st.lists(st.sampled_from(sorted(EDITS)), max_size=4, unique=True).filter(
    lambda names: not clashing(names)
)


@pytest.mark.parametrize("name", sorted(EDITS))
def test_a_rig_against_itself_gives_nothing(name: str) -> None:
    rig = made(name).rig
    assert rig is not None
    assert not difference(rig, rig)


@pytest.mark.parametrize("name", sorted(EDITS))
def test_every_edit_is_a_difference(name: str) -> None:
    assert [one for one in difference(made().rig, made(name).rig).changes if not one.implied]


@settings(deadline=None, max_examples=60)
@given(subsets, subsets)
def test_the_way_back_mirrors_the_way_there(first: list[str], second: list[str]) -> None:
    the_way_back_mirrors(made(*first).rig, made(*second).rig)


@settings(deadline=None, max_examples=60)
@given(subsets, subsets)
def test_the_changes_applied_to_the_old_rig_make_the_new_one(
    first: list[str], second: list[str]
) -> None:
    the_changes_make_the_new_one(made(*first).rig, made(*second).rig)


def test_changing_something_that_is_not_there_is_refused() -> None:
    rig = made().rig
    assert rig is not None
    change = Change("changed", "control", "x", "x", "nodes", ("order",), "xyz", "zyx")
    with pytest.raises(ValueError, match='no control "x"'):
        applied(rig, [change])


# ---- text ----------------------------------------------------------------------------------------


def blocks(text: str) -> list[str]:
    """A recipe's statements at the left margin, each with what is under it."""
    found: list[str] = []
    for line in text.splitlines():
        if line and not line.startswith(" "):
            found.append(line)
        elif line and found:
            found[-1] += "\n" + line
    return found


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10**9))
def test_another_order_comments_and_spacing_give_no_difference(seed: int) -> None:
    chance = random.Random(seed)
    head, *rest = blocks(RECIPE)
    chance.shuffle(rest)
    lines = []
    for block in (head, *rest):
        if chance.random() < 0.5:
            lines.append("# the kettles are hot")
        for line in block.split("\n"):
            wide = line.replace(" under ", "   under ") if chance.random() < 0.5 else line
            lines.append(wide + ("  # " + "and heavy" if chance.random() < 0.3 else ""))
            if chance.random() < 0.2:
                lines.append("")
    other = compile_text("\n".join(lines) + "\n", SHEET, "elsewhere.somite")
    assert other.rig is not None, other.findings
    assert not difference(made().rig, other.rig)


def test_formatting_gives_no_difference() -> None:
    loose = RECIPE.replace("  degree 3\n  points 4", "  degree   3  points 4").replace(" = ", "=")
    text, _ = formatted(Source("porter.somite", loose))
    assert text is not None and text != loose
    assert not difference(built(loose).rig, built(text).rig)
    assert not difference(made().rig, built(text).rig)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("list skin of back, head, crest, arm, leg", "list skin of leg, crest, head, arm, back"),
        ("live kettle.turn.y * 0.5", "live 0.5 * kettle.turn.y"),
        ("live distance(head, hand.left)", "live distance(hand.left, head)"),
        ("length girth = 30 cm", "length girth = 300 mm"),
        ("(0, 0, -30 cm)", "-0.3 m * +Z"),
        ("control master at ground", "let wide = 2 * girth\ncontrol master at ground"),
    ],
)
def test_the_same_said_otherwise_is_no_difference(before: str, after: str) -> None:
    assert before in RECIPE
    found = difference(made().rig, built(RECIPE.replace(before, after)).rig)
    assert found.changes == ()


def test_twice_the_place_in_the_file_is_no_difference() -> None:
    assert not difference(made().rig, built("\n\n\n" + RECIPE).rig)


# ---- every field ---------------------------------------------------------------------------------


def record_kinds() -> list[tuple[str, int]]:
    """The first record of every kind of the puppet: its collection and its place there."""
    rig = made().rig
    assert rig is not None
    found: dict[type, tuple[str, int]] = {}
    for name in collections():
        for at, record in enumerate(getattr(rig, name)):
            found.setdefault(type(record), (name, at))
    return list(found.values())


@pytest.mark.parametrize(("collection", "at"), record_kinds())
def test_no_field_of_a_record_is_forgotten(collection: str, at: int) -> None:
    """Each field changed alone is told, can be applied, and has words."""
    rig = made().rig
    assert rig is not None
    each_field_is_told(rig, collection, at)


def test_no_fact_of_the_whole_is_forgotten() -> None:
    rig = made().rig
    assert rig is not None
    for name in header():
        for value in other(getattr(rig, name)):
            if name in ("up", "front", "mirror_axis", "unit"):
                value = {"up": "+Z", "front": "-X", "mirror_axis": "+Z", "unit": "m"}[name]
            new = replace(rig, **{name: value})
            assert [one.path for one in difference(rig, new).changes if one.path == (name,)]


def test_a_field_that_a_record_will_have_one_day_is_compared() -> None:
    rig = made().rig
    assert rig is not None
    later = make_dataclass(
        "Node", [("glow", int, 0), ("lamps", tuple, ())], bases=(ir.Node,), frozen=True
    )

    def with_glow(glow: int, lamps: tuple[str, ...]) -> Rig:
        nodes = []
        for node in rig.nodes:
            facts = {field.name: getattr(node, field.name) for field in fields(node)}
            nodes.append(later(**facts, glow=glow, lamps=lamps) if node.name == "nod" else node)
        return replace(rig, nodes=tuple(nodes))

    old, new = with_glow(0, ("head",)), with_glow(2, ("hand.left",))
    paths = {change.path for change in difference(old, new).changes}
    assert paths == {("glow",), ("lamps",)}
    assert not difference(new, with_glow(2, ("hand.left",)))


def test_the_records_of_a_rig_are_told_from_its_facts() -> None:
    everything = {field.name for field in fields(Rig)}
    assert set(collections()) | set(header()) | UNMEANT >= everything
    assert {"nodes", "constraints", "renames"} <= set(collections())
    for collection in collections():
        for record in getattr(made().rig, collection):
            assert key_of(record)
