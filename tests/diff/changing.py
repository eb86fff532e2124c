"""Laws that hold for the changes between any two rigs, and for each field of any record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any

from somite.diff.applying import applied
from somite.diff.comparing import changes_of, difference, mirrored
from somite.diff.matching import matched
from somite.diff.meaning import UNMEANT, bare, collections, key_of
from somite.ir import Rig
from somite.report.change_words import Words


def meaning(rig: Rig) -> Any:
    """A rig as far as it means anything, its records in the order of their names."""
    held = {name: tuple(sorted(getattr(rig, name), key=key_of)) for name in collections()}
    return bare(replace(rig, **held))


def plain(changes: Any) -> list[str]:
    """Changes as texts to be compared: without lines and evidence, whose words are one-sided."""
    return sorted(
        repr((c.what, c.kind, c.old, c.new, c.path, bare(c.before), bare(c.after), c.confidence))
        for c in changes
    )


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


def the_way_back_mirrors(old: Rig, new: Rig) -> None:
    """The changes from the new rig to the old are those from the old to the new, turned round."""
    there, back = difference(old, new), difference(new, old)
    assert plain(mirrored(there.changes)) == plain(back.changes)
    pairs = {(one.first, one.second) for one in there.reversals}
    assert pairs == {(one.second, one.first) for one in back.reversals}


def the_changes_make_the_new_one(old: Rig, new: Rig) -> None:
    """The old rig with the changes applied means what the new one does."""
    result = applied(old, difference(old, new).changes)
    assert meaning(result) == meaning(new)
    assert not difference(result, new)


def each_field_is_told(rig: Rig, collection: str, at: int) -> None:
    """Each field of a record, changed alone, is told, can be applied, and has words."""
    records = getattr(rig, collection)
    record = records[at]
    own = "name" if hasattr(record, "name") else "node"
    for field in fields(record):
        if field.name in UNMEANT or field.name in (own, "kind"):
            continue
        for value in other(getattr(record, field.name)):
            changed = replace(record, **{field.name: value})
            new = replace(rig, **{collection: (*records[:at], changed, *records[at + 1 :])})
            changes = changes_of(rig, new, matched(rig, new))
            assert changes, (type(record).__name__, field.name)
            assert meaning(applied(rig, changes)) == meaning(new), field.name
            for change in changes:
                said = Words(rig, new).said(change)
                assert said.text and said.text.isprintable()
