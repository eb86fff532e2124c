"""Changes applied to a rig: what makes the new rig out of the old one.

In come a rig and the changes from it to another, out goes the other. That they do is a law of the
project's tests, so that no record of a change can say less than what changed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from somite.diff.meaning import KEYS, Renaming, collections, key_of, keyed, renamed
from somite.diff.records import Change
from somite.ir import Node, Rig


def applied(rig: Rig, changes: Iterable[Change]) -> Rig:
    """The rig with these changes made; records keep the lines they were written in.

    Raises ValueError for a change of something that the rig does not have.
    """
    taken = tuple(changes)
    names = {
        one.old: one.new
        for one in taken
        if one.what == "renamed" and one.old is not None and one.new is not None
    }
    for node in rig.nodes:
        if node.name in names:
            for dial in node.dials:
                names.setdefault(f"{node.name}.{dial.name}", f"{names[node.name]}.{dial.name}")
    held: dict[str, list[Any]] = {
        name: [_called(record, names) for record in getattr(rig, name)] for name in collections()
    }
    facts: dict[str, Any] = {}
    for one in taken:
        if one.kind == "recipe":
            facts[one.path[0]] = one.after
        elif one.what != "renamed":
            _apply(held[one.collection], one, names)
    facts |= {name: tuple(made) for name, made in held.items()}
    return replace(rig, **facts)


def _called(record: Any, names: Renaming) -> Any:
    """A record in the new names, its dials too."""
    made = renamed(record, names)
    if isinstance(record, Node) and record.dials:
        dials = []
        for dial in made.dials:
            full = names.get(f"{record.name}.{dial.name}")
            dials.append(dial if full is None else replace(dial, name=full.rpartition(".")[2]))
        made = replace(made, dials=tuple(dials))
    return made


def _apply(records: list[Any], one: Change, names: Renaming) -> None:
    if one.path:
        at = _found(records, one.new or "", one)
        records[at] = _with(records[at], one.path, one)
    elif one.what == "added":
        records.append(one.after)
    else:
        name = one.old or ""
        # What is recorded of renames is of its time, and keeps its names.
        now = name if one.collection == "renames" else names.get(name, name)
        del records[_found(records, now, one)]


def _found(records: list[Any], name: str, one: Change) -> int:
    for at, record in enumerate(records):
        if key_of(record) == name:
            return at
    raise ValueError(f'no {one.kind} "{name}" to change')


def _with(record: Any, path: tuple[str, ...], one: Change) -> Any:
    """A record with the value at a path as the change has it."""
    field, *rest = path
    held = getattr(record, field)
    if not rest:
        return replace(record, **{field: one.after})
    if keyed(held) or (isinstance(held, tuple) and not held):
        return replace(record, **{field: _within(held, rest[0], tuple(rest[1:]), one)})
    return replace(record, **{field: _with(held, tuple(rest), one)})


def _within(held: tuple[Any, ...], key: str, rest: tuple[str, ...], one: Change) -> tuple[Any, ...]:
    """A tuple of keyed records with one of them changed, added or taken out."""
    if rest:
        return tuple([_with(item, rest, one) if _key(item) == key else item for item in held])
    kept = tuple([item for item in held if _key(item) != key])
    return kept if one.what == "removed" else (*kept, one.after)


def _key(record: Any) -> str:
    return str(getattr(record, KEYS[type(record)]))
