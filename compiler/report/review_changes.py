"""The changes of a cast as lines by part, merged over what is alike.

In come differences by character, out go sections of sentences. What is alike on the left and the
right is said once, and so is what is alike for many things or for all characters. Nothing here
knows of poses or clips, nor how a view looks.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from somite.diff.records import Change, Difference
from somite.report.change_values import listed, rough, rough_length
from somite.report.change_words import Said, Words, likely, many
from somite.report.sided_words import of_either_side, sides_in, unsided
from somite.text import Site
from somite.units import degrees

TOP = "the rig"
"""The section of what is in no part."""

MOST_ALIKE = 4
"""Things of one kind that are listed one by one; more are counted."""


_WHOLE = re.compile(r"is (a new|gone: an?) (\w+)(.*)")
"""What is said of a thing that is new or gone."""


@dataclass(frozen=True, slots=True)
class Line:
    """One sentence of an outline: its subject, what is said of it, and of which characters.

    `characters` is empty where it holds for all. `old` and `new` are recipe lines.
    """

    subject: str
    text: str
    old: Site | None = None
    new: Site | None = None
    characters: tuple[str, ...] = ()
    changes: int = 1


@dataclass(frozen=True, slots=True)
class Section:
    """The changes of one part."""

    part: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class _Entry:
    """A change in words, with what merging it needs."""

    part: str
    said: Said
    alike: str
    change: Change | None
    old: Site | None
    new: Site | None
    count: int = 1


class Told:
    """One character's changes as entries, folded."""

    def __init__(self, difference: Difference) -> None:
        self.difference = difference
        self.words = Words(self.difference.old, self.difference.new)
        self.groups = _groups(difference)
        plain = [one for one in self.difference.changes if not one.implied]
        entries = _once([self._entry(one) for one in plain])
        self.count = len(entries) + len(self.difference.reversals)
        for fold in (
            _fold_renames,
            _fold_spelling,
            _fold_rest,
            _fold_measured,
            _fold_kinds,
            _fold_twins,
            _fold_same,
        ):
            entries = fold(entries, self)
        self.entries = [*entries, *self._reversals()]

    def _entry(self, change: Change) -> _Entry:
        said = self.words.said(change)
        if change.kind == "recipe":
            said = replace(said, subject="the recipe")
        twin = self.words.said_as_twin(change)
        alike = of_either_side(f"{twin.subject} {twin.text}")
        return _Entry(
            self.part(change.new or change.old or ""),
            said,
            alike,
            change,
            _site(change.old_origin),
            _site(change.new_origin),
        )

    def _reversals(self) -> Iterator[_Entry]:
        for one in self.difference.reversals:
            text = f'comes before "{one.first}" now, it came after: {" -> ".join(one.new_way)}'
            said = Said(one.second, text, f"order {one.first} {one.second}")
            yield _Entry(self.part(one.second), said, text, None, None, None)

    def part(self, name: str) -> str:
        """The part that a name belongs to: its first word, where others are in it, too."""
        name = name.partition("/")[0]
        title, colon, _ = name.partition(": ")
        first = (title if colon else name).split(".")[0]
        return first if first in self.groups else TOP


def _groups(difference: Difference) -> set[str]:
    """First words of names that hold more than one thing."""
    found: set[str] = set()
    for rig in (difference.old, difference.new):
        for node in rig.nodes:
            words = [word for word in node.name.split(".") if word not in ("left", "right")]
            if len(words) > 1:
                found.add(words[0])
    return found


def _site(origin: Sequence[Site]) -> Site | None:
    return origin[0] if origin else None


def _once(entries: Iterable[_Entry]) -> list[_Entry]:
    """Entries without those that say the same of the same, as both ends of a limit do."""
    found: dict[tuple[str, str], _Entry] = {}
    for one in entries:
        key = (one.said.subject, one.said.text)
        found.setdefault(key, one)
    return list(found.values())


def _fold_renames(entries: list[_Entry], told: Told) -> list[_Entry]:
    """Many things with one part of their names changed: told once."""
    groups: dict[tuple[str, str], list[_Entry]] = {}
    for one in entries:
        pair = _renamed_part(one.change)
        if pair is not None:
            groups.setdefault(pair, []).append(one)
    gone: set[int] = set()
    made: list[_Entry] = []
    for (old, new), members in groups.items():
        if len(members) < 3:
            continue
        gone |= {id(one) for one in members}
        first = members[0]
        change = first.change
        assert change is not None
        sure = min(one.change.confidence for one in members if one.change is not None)
        how = change.because if sure >= 1.0 else likely(sure, change.because)
        text = f'is now "{new}", with the {len(members)} things in it ({how})'
        said = Said(old, text, f"renamed {old} {new}")
        made.append(replace(first, said=said, alike=text, count=len(members)))
    return [*made, *[one for one in entries if id(one) not in gone]]


def _renamed_part(change: Change | None) -> tuple[str, str] | None:
    """The beginnings of two names that end alike."""
    if change is None or change.what != "renamed" or not change.old or not change.new:
        return None
    old, new = (re.split(r"(?<=\.)|(?<=: )", name) for name in (change.old, change.new))
    while len(old) > 1 and len(new) > 1 and old[-1] == new[-1]:
        old, new = old[:-1], new[:-1]
    return "".join(old).strip(".: "), "".join(new).strip(".: ")


def _fold_spelling(entries: list[_Entry], told: Told) -> list[_Entry]:
    """Another spelling of all names: told once."""
    spelled = [one for one in entries if one.change is not None and one.change.path == ("spelled",)]
    if len(spelled) < 3:
        return entries
    change = spelled[0].change
    assert change is not None
    text = f'spells names otherwise: "{change.before}" is "{change.after}" ({len(spelled)} names)'
    first = replace(
        spelled[0],
        part=TOP,
        said=Said("the recipe", text, "spelled"),
        alike=text,
        count=len(spelled),
    )
    return [first, *[one for one in entries if one not in spelled]]


def _fold_rest(entries: list[_Entry], told: Told) -> list[_Entry]:
    """Things that stand elsewhere at rest: one line a thing, or a part where they are many."""
    moved: dict[tuple[str, str], list[_Entry]] = {}
    for one in entries:
        if one.change is not None and one.change.topic == "rest":
            moved.setdefault((one.part, one.change.kind), []).append(one)
    kept = [one for one in entries if one.change is None or one.change.topic != "rest"]
    for (part, kind), members in moved.items():
        by_name: dict[str, list[_Entry]] = {}
        for one in members:
            by_name.setdefault(one.said.subject, []).append(one)
        if len(by_name) <= 2:
            kept += [_joined(held) for held in by_name.values()]
            continue
        places = [one for one in members if one.change and one.change.path[-1] == "place"]
        turns = [one for one in members if one.change and one.change.path[-1] == "turn"]
        said = f"{len(by_name)} {many(kind, len(by_name))} stand otherwise at rest"
        amount = 0.0
        if places:
            far = max(places, key=lambda one: one.said.amount)
            amount = far.said.amount
            unit = told.difference.new.unit
            by = rough_length(amount, unit)
            said += f", {far.said.subject} furthest, {by} away"
        if turns:
            most = max(turns, key=lambda one: one.said.amount)
            said += f"; turned by up to {rough(degrees(most.said.amount), 'deg')}"
            amount = amount or most.said.amount
        key = f"rest {part} {kind}"
        kept.append(
            replace(members[0], said=Said("", said, key, amount), alike=key, count=len(members))
        )
    return kept


def _fold_measured(entries: list[_Entry], told: Told) -> list[_Entry]:
    """What comes along with other proportions: told once a part where many things have it."""
    groups: dict[tuple[str, str], list[_Entry]] = {}
    for one in entries:
        what = _measured(one.change)
        if what:
            groups.setdefault((one.part, what), []).append(one)
    gone: set[int] = set()
    made: list[_Entry] = []
    for (part, what), members in groups.items():
        subjects = tuple(dict.fromkeys([one.said.subject for one in members]))
        if len(subjects) <= MOST_ALIKE:
            continue
        gone |= {id(one) for one in members}
        far = max(members, key=lambda one: one.said.amount)
        kind = far.change.kind if far.change is not None else ""
        text = f"{len(subjects)} {many(kind, len(subjects))} {what}"
        if far.said.amount > 0.0:
            text += f", {far.said.subject} most: it {far.said.text}"
        said = Said("", text, f"{part} {what}", far.said.amount)
        made.append(replace(far, said=said, alike=text, count=len(members)))
    return [*[one for one in entries if id(one) not in gone], *made]


def _measured(change: Change | None) -> str:
    """What is said of many things whose numbers alone are other; empty for any other change."""
    if change is None or change.what != "changed":
        return ""
    if change.path in (("shape", "width"), ("shape", "offset")):
        return "are drawn in another size"
    if change.collection == "chains" and change.path == ("end",):
        return "end elsewhere at rest"
    if change.collection == "checks" and _numbers_only(change):
        return "pose and expect other numbers"
    return ""


def _numbers_only(change: Change) -> bool:
    """Whether a check still sets the same channels and is written alike."""
    if change.topic in ("settings", "sweeps"):
        return isinstance(change.before, float) and isinstance(change.after, float)
    if change.topic != "expectations":
        return False
    before, after = ([(e.what, e.text) for e in side] for side in (change.before, change.after))
    return before == after


def _joined(held: Sequence[_Entry]) -> _Entry:
    """Place and turn of one thing in one sentence."""
    first = held[0]
    text = " and ".join([one.said.text for one in held])
    if len(held) > 1:
        text = text.replace(" at rest and ", " and ")
    alike = " and ".join([one.alike for one in held])
    said = replace(first.said, text=text, key=f"rest {first.said.subject}")
    return replace(first, said=said, alike=alike, count=len(held))


def _fold_kinds(entries: list[_Entry], told: Told) -> list[_Entry]:
    """Many things of one kind that are new or gone: counted."""
    groups: dict[tuple[str, str, str], list[_Entry]] = {}
    for one in entries:
        change = one.change
        if change is not None and not change.path and change.what in ("added", "removed"):
            groups.setdefault((one.part, change.kind, change.what), []).append(one)
    gone: set[int] = set()
    made: list[_Entry] = []
    for (part, kind, what), members in groups.items():
        if len(members) <= MOST_ALIKE:
            continue
        gone |= {id(one) for one in members}
        word = "new" if what == "added" else "gone"
        names = listed([one.said.subject for one in members])
        text = f"{len(members)} {many(kind, len(members))} are {word}: {names}"
        said = Said("", text, f"{part} {kind} {what}")
        made.append(replace(members[0], said=said, alike=text, count=len(members)))
    return [*[one for one in entries if id(one) not in gone], *made]


def _fold_twins(entries: list[_Entry], told: Told) -> list[_Entry]:
    """What is the same on the left and on the right, said once."""
    found: list[_Entry] = []
    at: dict[str, int] = {}
    for one in entries:
        sides = sides_in(one.said.subject)
        if len(sides) != 1:
            found.append(one)
            continue
        other = at.get(one.alike)
        if other is None or sides == sides_in(found[other].said.subject):
            at[one.alike] = len(found)
            found.append(one)
            continue
        left = found[other] if "left" in sides_in(found[other].said.subject) else one
        subject = unsided(left.said.subject)
        text = left.said.text
        if left.change is not None and left.change.what == "renamed":
            text = unsided(text)
        said = replace(left.said, subject=f"{subject} (left and right)", text=text)
        found[other] = replace(left, said=said, count=left.count + found[other].count)
    return found


def _fold_same(entries: list[_Entry], told: Told) -> list[_Entry]:
    """Several things of a part of which the same is said."""
    groups: dict[tuple[str, str], list[_Entry]] = {}
    for one in entries:
        groups.setdefault((one.part, one.said.text), []).append(one)
    found: list[_Entry] = []
    for members in groups.values():
        if len(members) == 1 or not members[0].said.subject:
            found += members
            continue
        first = members[0].said
        if len(members) == 2 and not first.subject.startswith("check"):
            found += members
            continue
        names = listed([one.said.subject for one in members])
        said = replace(first, subject="", text=_of_many(members, names))
        found.append(replace(members[0], said=said, count=sum(one.count for one in members)))
    return found


def _of_many(members: Sequence[_Entry], names: str) -> str:
    """The same of several things in one sentence."""
    text = members[0].said.text
    whole = _WHOLE.fullmatch(text)
    if whole is None:
        return f"{names}: each {text}"
    how, kind, rest = whole.groups()
    word = "new" if how.startswith("a") else "gone"
    return f"{len(members)} {many(kind, len(members))} are {word}{rest}: {names}"


def sections(told: Sequence[tuple[str, Told]]) -> Iterator[Section]:
    """Entries of all characters by part, the rig itself first and then by name."""
    merged: dict[tuple[str, str, str], list[tuple[str, _Entry]]] = {}
    for name, one in told:
        for entry in one.entries:
            key = (entry.part, entry.said.subject, entry.said.key)
            merged.setdefault(key, []).append((name, entry))
    parts: dict[str, list[Line]] = {}
    for (part, _, _), held in merged.items():
        parts.setdefault(part, []).append(_line(held, len(told)))
    for part in sorted(parts, key=lambda part: (part != TOP, part)):
        yield Section(part, tuple(parts[part]))


def _line(held: Sequence[tuple[str, _Entry]], all_of: int) -> Line:
    """One entry of several characters: the one that differs most, where they do."""
    name, entry = max(held, key=lambda one: one[1].said.amount)
    text = entry.said.text
    if len({one.said.text for _, one in held}) > 1:
        text += f" (most in {name})"
    characters = () if len(held) == all_of else tuple([name for name, _ in held])
    return Line(entry.said.subject, text, entry.old, entry.new, characters, entry.count)
