"""What of a rig's records has a meaning: their fields, taken from the records themselves.

In come records of the IR, out go their fields, their values in the names of another rig, and
whether two values are the same within a tolerance. A field that is added to the IR is compared
from that day on: only what `UNMEANT` lists is passed over. Nothing here knows what a field is for.
"""

from __future__ import annotations

import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from typing import Any, Literal, TypeAlias, get_args, get_origin, get_type_hints

from somite.ir import (
    CHANNELS,
    Apply,
    Dial,
    Excuse,
    Frame,
    Limit,
    Measure,
    PlacedRig,
    Rename,
    Rig,
    Setting,
    Sweep,
)

UNMEANT = frozenset({"origin", "text", "version"})
"""Fields that say where and how something was written, not what it is."""

TEXTS = frozenset({"about", "because", "law", "spelled", "was", "kind"})
"""Fields of words for people: never the name of a thing."""

LOCAL: frozenset[tuple[type, str]] = frozenset(
    {
        *((Dial, "name"), (Dial, "options"), (Limit, "channel")),
        *((Rename, "old"), (Rename, "new")),
        *((PlacedRig, "recipe"), (PlacedRig, "character")),
    }
)
"""Names that are not those of the rig as it stands: inside one control, of its history, or of
another recipe."""

KEYS: dict[type, str] = {
    Dial: "name",
    Limit: "channel",
    Setting: "channel",
    Sweep: "channel",
    Excuse: "law",
}
"""Records inside records that are told apart by a field, whatever order they stand in."""

UNORDERED = frozenset({"expectations", "ignores", "locks", "members", "poses", "shown"})
"""Tuples of whose order nothing depends."""

EITHER_WAY = frozenset({"add", "maximum", "minimum", "multiply"})
"""Operations of live numbers that come to the same whichever operand stands first."""

PLACE = 1e-6
"""Places that differ by less than this share of the rig's height are the same."""
TURN = 1e-6
"""Turns that differ by less (radians) are the same."""
NUMBER = 1e-8
"""Numbers that differ by less, or by less than this share of the larger, are the same."""

_SHORT = frozenset(CHANNELS)

Renaming: TypeAlias = Mapping[str, str]
"""New names by old ones: of nodes, dials (`node.dial`), chains and everything else with a name."""


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far apart two values may be and yet the same: metres, radians, and a bare number."""

    place: float
    turn: float = TURN
    number: float = NUMBER


@cache
def collections() -> tuple[str, ...]:
    """The fields of a rig that hold records, in the rig's order."""
    hints = get_type_hints(Rig)
    return tuple([one.name for one in fields(Rig) if _holds_records(hints[one.name])])


@cache
def header() -> tuple[str, ...]:
    """The fields of a rig that say something of the whole."""
    held = set(collections())
    return tuple([one.name for one in fields(Rig) if one.name not in held | UNMEANT])


def _holds_records(hint: Any) -> bool:
    inner = get_args(hint)
    if len(inner) != 2 or inner[1] is not Ellipsis:
        return False
    kinds = get_args(inner[0]) if isinstance(inner[0], types.UnionType) else (inner[0],)
    return all(is_dataclass(kind) for kind in kinds)


@cache
def meant(kind: Any) -> tuple[str, ...]:
    """The fields of a record that have a meaning, in their order."""
    return tuple([one.name for one in fields(kind) if one.name not in UNMEANT])


def key_of(record: Any) -> str:
    """What tells a record from the others of its collection."""
    for name in ("name", "new", "node"):
        value = getattr(record, name, None)
        if value is not None:
            return str(value)
    raise TypeError(f"no name for {type(record).__name__}")


def bare(value: Any) -> Any:
    """A value without anything that is not meant: equal for values that mean the same."""
    if isinstance(value, tuple):
        return tuple([bare(one) for one in value])
    if not is_dataclass(value) or isinstance(value, type):
        return value
    kind = type(value)
    held = []
    for name in meant(kind):
        one = bare(getattr(value, name))
        if isinstance(one, tuple) and (in_any_order(value, name) or keyed(getattr(value, name))):
            one = tuple(sorted(one, key=repr))
        held.append(one)
    return (kind.__name__, *held)


def in_any_order(record: Any, field: str) -> bool:
    """Whether nothing depends on the order of what a field of a record holds."""
    if isinstance(record, Apply):
        return field == "operands" and record.operation in EITHER_WAY
    if isinstance(record, Measure):
        return field == "of" and record.what == "distance"
    return field in UNORDERED


def keyed(value: Any) -> str | None:
    """The field that tells the elements of a tuple apart, or None where they have none."""
    if isinstance(value, tuple) and value:
        return KEYS.get(type(value[0]))
    return None


# ---- names ---------------------------------------------------------------------------------------


def renamed(value: Any, names: Renaming) -> Any:
    """A record, or any value of one, with every name in it as `names` has it.

    A record's own name counts as one; channels of a renamed node follow it.
    """
    if not names or isinstance(value, type):
        return value
    if isinstance(value, tuple):
        return tuple([renamed(one, names) for one in value])
    if isinstance(value, str):
        return name_in(value, names)
    if not is_dataclass(value):
        return value
    kind: Any = type(value)
    changed: dict[str, Any] = {}
    for field in _naming(kind):
        held = getattr(value, field)
        if isinstance(held, str | tuple) or is_dataclass(held):
            new = renamed(held, names)
            if new is not held and new != held:
                changed[field] = new
    made: Any = value
    return replace(made, **changed) if changed else value


@cache
def _naming(kind: Any) -> tuple[str, ...]:
    """The fields of a record that may hold names: free text by their type, or other records."""
    hints = get_type_hints(kind)
    return tuple(
        [
            one.name
            for one in fields(kind)
            if one.name not in UNMEANT | TEXTS
            and (kind, one.name) not in LOCAL
            and _may_name(hints[one.name])
        ]
    )


def _may_name(hint: Any) -> bool:
    if get_origin(hint) is Literal:
        return False
    return hint is str or is_dataclass(hint) or any(_may_name(one) for one in get_args(hint))


def name_in(name: str, names: Renaming) -> str:
    """A name, or a channel of something named, as `names` has it."""
    found = names.get(name)
    if found is not None:
        return found
    head, _, axis = name.rpartition(".")
    node, _, part = head.rpartition(".")
    if f"{part}.{axis}" in _SHORT and node in names:
        return f"{names[node]}.{part}.{axis}"
    return name


# ---- sameness ------------------------------------------------------------------------------------


def same(old: Any, new: Any, within: Tolerance, field: str = "") -> bool:
    """Whether two values mean the same, numbers within a tolerance."""
    if old == new:
        return True
    if isinstance(old, bool) or isinstance(new, bool):
        return False
    if isinstance(old, int | float) and isinstance(new, int | float):
        # `height` and rest places are made of many numbers; the rest was written by somebody.
        if field in ("place", "end", "points", "height"):
            return abs(old - new) <= within.place
        return abs(old - new) <= within.number * max(1.0, abs(old), abs(new))
    if isinstance(old, tuple) and isinstance(new, tuple):
        return _same_tuples(old, new, within, field)
    if type(old) is not type(new) or not is_dataclass(old):
        return False
    if isinstance(old, Frame):
        return same_frames(old, new, within)
    kind: Any = type(old)
    for name in meant(kind):
        a, b = getattr(old, name), getattr(new, name)
        if isinstance(a, tuple) and in_any_order(old, name) and in_any_order(new, name):
            a, b = (tuple(sorted(one, key=_ranked)) for one in (a, b))
        if not same(a, b, within, name):
            return False
    return True


def _same_tuples(old: Any, new: Any, within: Tolerance, field: str) -> bool:
    if len(old) != len(new):
        return False
    if field in UNORDERED or keyed(old) or keyed(new):
        old, new = sorted(old, key=_ranked), sorted(new, key=_ranked)
    return all(same(a, b, within, field) for a, b in zip(old, new, strict=True))


def _ranked(value: Any) -> str:
    key = KEYS.get(type(value))
    return str(getattr(value, key)) if key else repr(bare(value))


def same_frames(old: Frame, new: Frame, within: Tolerance) -> bool:
    """Whether two frames are in one place and turned alike."""
    return same(old.place, new.place, within, "place") and turned_by(old, new) <= within.turn


def turned_by(old: Frame, new: Frame) -> float:
    """The angle between two frames (radians); quaternions of either sign are one turn."""
    import math

    near = min(
        math.dist(old.turn, new.turn),
        math.dist(old.turn, tuple([-part for part in new.turn])),
    )
    return 4.0 * math.asin(min(1.0, 0.5 * near))


def records(rig: Rig) -> Iterator[tuple[str, Any]]:
    """Every record of a rig with the name of its collection."""
    for name in collections():
        for record in getattr(rig, name):
            yield name, record
