"""Reviews of a cast as one outline: parts, lines and measures, merged over twins and characters.

In come reviews, out goes an `Outline` of sentences that every view writes in its own form. What is
alike on the left and the right is said once, and so is what is alike for all characters. Nothing
here knows how a view looks.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeAlias

from somite.diff.compatibility import VERDICTS, Verdict
from somite.diff.records import Change, Difference
from somite.diff.review import Review
from somite.report.change_words import Said, Words, likely, listed, rough
from somite.text import Site
from somite.units import PI, degrees, metres_per

if TYPE_CHECKING:
    from somite.diff.behaviour import Departure

TOP = "the rig"
"""The section of what is in no part."""

MOST_ALIKE = 4
"""Things of one kind that are listed one by one; more are counted."""

Answer: TypeAlias = Verdict | Literal["changes"]

_SIDES = re.compile(r"\b(left|right)\b")
_SIDED = re.compile(r"\.(left|right)\b|\b(left|right)\.")


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
class Effect:
    """What one control (or pose, or clip) now does otherwise, by its worst joint.

    `pose` is what to set to see it, `channel=value` as `somite pose --set` takes it: channels of
    the new rig, or where it has none of them, of the old (`of_old`). `command` poses it.
    """

    control: str
    text: str
    share: float
    departure: Departure
    character: str
    joints: int
    pose: tuple[str, ...] = ()
    of_old: bool = False
    command: str | None = None
    characters: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """One of the three questions, answered for all characters: the worst answer, and why."""

    name: str
    answer: Answer
    reasons: tuple[str, ...]
    characters: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Outline:
    """All that a view says. `effects` are worst first."""

    characters: tuple[str, ...]
    sections: tuple[Section, ...]
    questions: tuple[Question, ...]
    effects: tuple[Effect, ...]
    poses: int
    joints: int
    changes: int
    posed: bool = True


def outline(reviews: Sequence[tuple[str, Review]]) -> Outline:
    """The outline of reviews, each with its character's name."""
    names = tuple([name for name, _ in reviews])
    told = [(name, _Told(review.difference)) for name, review in reviews]
    sections = tuple(_sections(told))
    effects = tuple(_effects(reviews))
    posed = [review.behaviour for _, review in reviews if review.behaviour is not None]
    return Outline(
        names,
        sections,
        tuple(_questions(reviews)),
        effects,
        max((sum(count for _, count in one.poses) for one in posed), default=0),
        max((len({d.joint for d in one.departures}) for one in posed), default=0),
        max((one.count for _, one in told), default=0),
        bool(posed),
    )


def changes_outline(name: str, difference: Difference) -> tuple[Section, ...]:
    """The changes alone of one character's rigs."""
    return tuple(_sections([(name, _Told(difference))]))


# ---- changes -------------------------------------------------------------------------------------


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


class _Told:
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
        alike = _SIDES.sub("side", f"{twin.subject} {twin.text}")
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


def _fold_renames(entries: list[_Entry], told: _Told) -> list[_Entry]:
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


def _fold_spelling(entries: list[_Entry], told: _Told) -> list[_Entry]:
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


def _fold_rest(entries: list[_Entry], told: _Told) -> list[_Entry]:
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
        said = f"{len(by_name)} {_many(kind, len(by_name))} stand otherwise at rest"
        amount = 0.0
        if places:
            far = max(places, key=lambda one: one.said.amount)
            amount = far.said.amount
            unit = told.difference.new.unit
            by = rough(amount / metres_per(unit), unit)
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


def _fold_measured(entries: list[_Entry], told: _Told) -> list[_Entry]:
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
        text = f"{len(subjects)} {_many(kind, len(subjects))} {what}"
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


def _fold_kinds(entries: list[_Entry], told: _Told) -> list[_Entry]:
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
        text = f"{len(members)} {_many(kind, len(members))} are {word}: {names}"
        said = Said("", text, f"{part} {kind} {what}")
        made.append(replace(members[0], said=said, alike=text, count=len(members)))
    return [*[one for one in entries if id(one) not in gone], *made]


def _fold_twins(entries: list[_Entry], told: _Told) -> list[_Entry]:
    """What is the same on the left and on the right, said once."""
    found: list[_Entry] = []
    at: dict[str, int] = {}
    for one in entries:
        sides = set(_SIDES.findall(one.said.subject))
        if len(sides) != 1:
            found.append(one)
            continue
        other = at.get(one.alike)
        if other is None or sides == set(_SIDES.findall(found[other].said.subject)):
            at[one.alike] = len(found)
            found.append(one)
            continue
        left = found[other] if "left" in _SIDES.findall(found[other].said.subject) else one
        subject = _unsided(left.said.subject)
        text = left.said.text
        if left.change is not None and left.change.what == "renamed":
            text = _unsided(text)
        said = replace(left.said, subject=f"{subject} (left and right)", text=text)
        found[other] = replace(left, said=said, count=left.count + found[other].count)
    return found


def _unsided(text: str) -> str:
    """Names without their sides."""
    return _SIDED.sub("", text)


def _fold_same(entries: list[_Entry], told: _Told) -> list[_Entry]:
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
        said = replace(first, subject="", text=f"{first.text}: {names}")
        found.append(replace(members[0], said=said, count=sum(one.count for one in members)))
    return found


def _many(kind: str, count: int) -> str:
    if count == 1:
        return kind
    return {"reach": "reaches", "twist": "twists"}.get(kind, f"{kind}s")


def _sections(told: Sequence[tuple[str, _Told]]) -> Iterator[Section]:
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


# ---- behaviour -----------------------------------------------------------------------------------


def _effects(reviews: Sequence[tuple[str, Review]]) -> Iterator[Effect]:
    """By control, worst first; twins and characters together."""
    groups: dict[str, list[tuple[str, Review, list[Departure]]]] = {}
    for name, review in reviews:
        if review.behaviour is None:
            continue
        of: dict[str, list[Departure]] = {}
        for one in review.behaviour.departures:
            called = review.difference.renaming.get(one.control, one.control)
            of.setdefault(called or _pose_name(one), []).append(one)
        for control, held in of.items():
            groups.setdefault(control, []).append((name, review, held))
    found: list[Effect] = []
    for control, of_characters in groups.items():
        name, review, held = max(of_characters, key=lambda one: _worst(one[2][0]))
        departure = held[0]
        names = [name for name, _, _ in of_characters]
        found.append(
            Effect(
                control,
                _moved(departure, review),
                departure.share,
                departure,
                name,
                max(len({d.joint for d in one}) for _, _, one in of_characters),
                *_pose(departure, review),
                characters=() if len(names) == len(reviews) else tuple(names),
            )
        )
    found.sort(key=lambda one: (-_worst(one.departure), one.control))
    yield from _twin_effects(found)


def _pose(one: Departure, review: Review) -> tuple[tuple[str, ...], bool]:
    """What to set, and whether it is of the old rig."""
    words = Words(review.difference.old, review.difference.new)
    side = 1 if one.now or not one.probe.settings else 0
    told = [
        f"{name}={words.of_channel(value, name, side).replace(' ', '')}"
        for name, value in (one.now if side else one.probe.settings)
    ]
    return tuple(told), side == 0


def _pose_name(one: Departure) -> str:
    what = {
        "together": "several controls at once",
        "pose": "pose",
        "check": "check",
        "clip": "clip",
    }
    word = what.get(one.probe.by, one.probe.by)
    return f'{word} "{one.probe.name}"' if one.probe.name else word


def _worst(one: Departure) -> float:
    return one.share + one.turned / PI


def _moved(one: Departure, review: Review) -> str:
    """How far a joint goes elsewhere."""
    unit = review.difference.new.unit
    told = []
    if one.share >= 5e-5:
        by = rough(one.moved / metres_per(unit), unit)
        told.append(f"goes {by} elsewhere ({percent(one.share)} of the height)")
    if one.turned >= 1e-3:
        told.append(f"turns {rough(degrees(one.turned), 'deg')} otherwise")
    return f"{one.joint} {' and '.join(told) or 'goes a hair elsewhere'}"


def only_text(names: Sequence[str], of: int) -> str:
    """Which characters of so many something is said of."""
    if len(names) <= 3 or len(names) * 2 <= of <= 12:
        return f"only in {', '.join(names)}"
    return f"in {len(names)} of {of}"


def percent(share: float) -> str:
    """A share as a percentage for reading."""
    value = 100.0 * share
    if value < 0.0005:
        return "0%" if value < 1e-9 else "less than 0.001%"
    return f"{value:.1f}%" if value >= 1.0 else f"{value:.2g}%"


def _twin_effects(effects: Sequence[Effect]) -> Iterator[Effect]:
    """Effects of left and right controls that come to the same, once."""
    taken: set[int] = set()
    for at, one in enumerate(effects):
        if at in taken:
            continue
        sided = _SIDES.sub("side", one.control)
        twin = next(
            (
                k
                for k in range(at + 1, len(effects))
                if k not in taken
                and sided != one.control
                and effects[k].control != one.control
                and _SIDES.sub("side", effects[k].control) == sided
                and abs(_worst(effects[k].departure) - _worst(one.departure)) < 1e-3
            ),
            None,
        )
        if twin is not None:
            taken.add(twin)
            one = replace(one, control=f"{_unsided(one.control)} (left and right)")
        yield one


# ---- the three questions -------------------------------------------------------------------------


def _questions(reviews: Sequence[tuple[str, Review]]) -> Iterator[Question]:
    if not reviews:
        return
    yield _merged(
        "channels", [(n, r.channels.verdict, _alike(r.channels.reasons)) for n, r in reviews]
    )
    clips = dict.fromkeys(clip.clip for _, review in reviews for clip in review.clips)
    for clip in clips:
        held = [
            (name, one.verdict, _alike(one.reasons))
            for name, review in reviews
            for one in review.clips
            if one.clip == clip
        ]
        yield _merged(f"clip {clip}", held)
    pictures = [(name, review) for name, review in reviews if review.picture is not None]
    if pictures:
        yield _picture(pictures)
    skin = _merged("skin", [(n, r.skin.verdict, _skin_reasons(r)) for n, r in reviews])
    if skin.answer == "keeps":
        bound = sorted({review.skin.bound for _, review in reviews})
        many = f"{bound[0]}" if len(bound) == 1 else f"{bound[0]} to {bound[-1]}"
        by = ", ".join(dict.fromkeys(review.skin.bound_by for _, review in reviews))
        skin = replace(skin, reasons=(f"{many} bound joints ({by})",))
    yield skin


def _merged(name: str, held: Sequence[tuple[str, Verdict, tuple[str, ...]]]) -> Question:
    worst: Verdict = max((one[1] for one in held), key=VERDICTS.index, default="keeps")
    of = [one for one in held if one[1] == worst]
    told_by: dict[str, list[str]] = {}
    for character, _, told in of:
        for reason in told:
            told_by.setdefault(reason, []).append(character)
    reasons = tuple(
        [
            reason if len(names) == len(of) else f"{reason} [{only_text(names, len(of))}]"
            for reason, names in told_by.items()
        ]
    )
    characters = () if len(of) == len(held) else tuple([one[0] for one in of])
    return Question(name, worst, reasons, characters)


def _alike(reasons: Iterable[str]) -> tuple[str, ...]:
    """Reasons with twins said once and channels of one control gathered."""
    found: dict[str, str] = {}
    for reason in reasons:
        key = _SIDES.sub("side", reason)
        if key in found and found[key] != reason:
            found[key] = f"{_SIDES.sub('left', reason)} (left and right)"
        else:
            found.setdefault(key, reason)
    called = [reason for reason in found.values() if '" is called "' in reason]
    others = [reason for reason in found.values() if reason not in called]
    if len(called) > MOST_ALIKE:
        called = [f"{called[0]}, and {len(called) - 1} more have other names"]
    return (*others, *called)


def _picture(pictures: Sequence[tuple[str, Review]]) -> Question:
    name, review = max(pictures, key=lambda one: one[1].picture.share if one[1].picture else 0.0)
    picture = review.picture
    assert picture is not None
    kept = all(one.picture.keeps for _, one in pictures if one.picture is not None)
    measured = f"measured over {picture.poses} poses, within {percent(picture.tolerance)}"
    reasons: list[str] = []
    if picture.moved > 0.0 and not kept:
        where = f" in {name}" if len(pictures) > 1 else ""
        unit = review.difference.new.unit
        by = rough(picture.moved / metres_per(unit), unit)
        reasons.append(
            f"{picture.joint} is {by} off{where}, {percent(picture.share)} of the height"
        )
        reasons.append(measured)
    else:
        most = "no joint is off" if percent(picture.share) == "0%" else ""
        reasons.append(
            f"{most or f'at most {percent(picture.share)} of the height off'}; {measured}"
        )
    if any(one.resolved for one in review.channels.controls) and not kept:
        reasons.append("without what somite carry solves again for controls in another space")
    reasons += [
        f"clip {clip}: at most {percent(share)} of the height off, in frame {frame:g}"
        for clip, share, frame in picture.by_clip
    ]
    off = [n for n, one in pictures if one.picture is not None and not one.picture.keeps]
    characters = tuple(off) if 0 < len(off) < len(pictures) else ()
    answer: Answer = "keeps" if kept else "changes"
    return Question("picture", answer, tuple(reasons), characters)


def _skin_reasons(review: Review) -> tuple[str, ...]:
    skin, unit = review.skin, review.difference.new.unit
    found: list[str] = []
    for names, word in ((skin.added, "more"), (skin.removed, "fewer")):
        if names:
            found.append(f"{_bound(len(names))} {word}: {listed(names)}")
    if skin.reparented:
        told = [
            f"{name} is under {new or 'nothing'}, it was under {old or 'nothing'}"
            for name, old, new in skin.reparented
        ]
        found.append("; ".join(told[:3]) + (f" and {len(told) - 3} more" if len(told) > 3 else ""))
    if skin.moved:
        far = max(skin.moved, key=lambda one: one.by)
        by = rough(far.by / metres_per(unit), unit)
        verb = "stands" if len(skin.moved) == 1 else "stand"
        found.append(f"{_bound(len(skin.moved))} {verb} otherwise at rest, {far.new} by {by}")
    if skin.renamed:
        names = tuple([new for _, new in skin.renamed])
        found.append(f"{_bound(len(names))} called otherwise: {listed(names)}")
    return tuple(found)


def _bound(count: int) -> str:
    return f"{count} bound {_many('joint', count)}"
