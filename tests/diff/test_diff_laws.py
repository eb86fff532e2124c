"""Laws of comparing: nothing against itself, the way back, and changes that make the new rig."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, make_dataclass, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from puppet import EDITS, RECIPE, SHEET, built, clashing, made

from somite import ir
from somite.diff.applying import applied
from somite.diff.comparing import changes_of, difference, mirrored
from somite.diff.matching import matched
from somite.diff.meaning import UNMEANT, bare, collections, header, key_of, sorted_rig
from somite.diff.records import Change
from somite.format import formatted
from somite.ir import Rig
from somite.pipeline import compile_text
from somite.report.change_words import Words
from somite.text import Source

subsets = st.lists(st.sampled_from(sorted(EDITS)), max_size=4, unique=True).filter(
    lambda names: not clashing(names)
)


def meaning(rig: Rig) -> Any:
    """A rig as far as it means anything, its records in the order of their names."""
    return bare(sorted_rig(rig))


def plain(changes: Any) -> list[str]:
    """Changes as texts to be compared: without lines and evidence, whose words are one-sided."""
    return sorted(
        repr((c.what, c.kind, c.old, c.new, c.path, bare(c.before), bare(c.after), c.confidence))
        for c in changes
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
    old, new = made(*first).rig, made(*second).rig
    there, back = difference(old, new), difference(new, old)
    assert plain(mirrored(there.changes)) == plain(back.changes)
    pairs = {(one.first, one.second) for one in there.reversals}
    assert pairs == {(one.second, one.first) for one in back.reversals}


@settings(deadline=None, max_examples=60)
@given(subsets, subsets)
def test_the_changes_applied_to_the_old_rig_make_the_new_one(
    first: list[str], second: list[str]
) -> None:
    old, new = made(*first).rig, made(*second).rig
    assert old is not None and new is not None
    result = applied(old, difference(old, new).changes)
    assert meaning(result) == meaning(new)
    assert not difference(result, new)


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


def test_twice_the_place_in_the_file_is_no_difference() -> None:
    assert not difference(made().rig, built("\n\n\n" + RECIPE).rig)


# ---- every field ---------------------------------------------------------------------------------


def other(value: Any) -> Iterator[Any]:
    """Values near a value that are not it."""
    if isinstance(value, bool):
        yield not value
    elif isinstance(value, int):
        yield value + 1
    elif isinstance(value, float):
        yield value + 0.25
    elif isinstance(value, str):
        yield value + "_else"
    elif value is None:
        yield "something_else"
    elif isinstance(value, tuple) and value:
        numbers = all(isinstance(one, int | float) for one in value)
        yield (*value[:-1], value[-1] + 1) if numbers else value[:-1]
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            if field.name not in UNMEANT:
                for changed in other(getattr(value, field.name)):
                    yield replace(value, **{field.name: changed})


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
    records = getattr(rig, collection)
    record = records[at]
    own = "name" if hasattr(record, "name") else "node"
    for field in fields(record):
        if field.name in UNMEANT or field.name in (own, "kind"):
            continue
        for value in other(getattr(record, field.name)):
            changed = replace(record, **{field.name: value})
            new = replace(rig, **{collection: (*records[:at], changed, *records[at + 1 :])})
            matching = matched(rig, new)
            changes = changes_of(rig, new, matching)
            assert changes, (type(record).__name__, field.name)
            assert meaning(applied(rig, changes)) == meaning(new), field.name
            for change in changes:
                said = Words(rig, new).said(change)
                assert said.text and said.text.isprintable()


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
