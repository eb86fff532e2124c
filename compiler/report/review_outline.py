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
from somite.diff.records import Difference
from somite.diff.review import Review
from somite.report.change_values import Values, listed, rough, rough_length
from somite.report.change_words import many
from somite.report.review_changes import MOST_ALIKE, Section, Told, sections
from somite.report.sided_words import as_left, of_either_side, unsided
from somite.units import PI, degrees

if TYPE_CHECKING:
    from somite.diff.behaviour import Departure

_NAMED = re.compile(r'"[^"]*"')
_AXES = re.compile(r'^"(.+)\.(?:move|turn)\.[xyz]" (?:lies along|counts the other way)')

Answer: TypeAlias = Verdict | Literal["changes"]


@dataclass(frozen=True, slots=True)
class Effect:
    """What one control (or pose, or clip) now does otherwise, by its worst joint.

    `pose` is what to set to see it, `channel=value` as `somite pose --set` takes it: channels of
    the new rig, or where it has none of them, of the old (`of_old`). `command` poses it. `lost` is
    what is set in the old rig alone, since the new one has no such channel or choice.
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
    lost: tuple[str, ...] = ()


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
    told = [(name, Told(review.difference)) for name, review in reviews]
    posed = [review.behaviour for _, review in reviews if review.behaviour is not None]
    return Outline(
        names,
        tuple(sections(told)),
        tuple(_questions(reviews)),
        tuple(_effects(reviews)),
        max((sum(count for _, count in one.poses) for one in posed), default=0),
        max((len({d.joint for d in one.departures}) for one in posed), default=0),
        max((one.count for _, one in told), default=0),
        bool(posed),
    )


def changes_outline(name: str, difference: Difference) -> tuple[Section, ...]:
    """The changes alone of one character's rigs."""
    return tuple(sections([(name, Told(difference))]))


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
                lost=_lost(departure, review),
            )
        )
    found.sort(key=lambda one: (-_worst(one.departure), one.control))
    yield from _twin_effects(found)


def _pose(one: Departure, review: Review) -> tuple[tuple[str, ...], bool]:
    """What to set, and whether it is of the old rig."""
    side = 1 if one.now or not one.probe.settings else 0
    return _set(one.now if side else one.probe.settings, review, side), side == 0


def _lost(one: Departure, review: Review) -> tuple[str, ...]:
    """What is set in the old rig and can not be in the new one, where that one is posed."""
    gone: list[tuple[str, float]] = []
    for name, value in one.probe.settings if one.now else ():
        link = review.channels.channel(name)
        if link is not None and (
            link.new is None or (link.options and link.options[round(value)] < 0)
        ):
            gone.append((name, value))
    return _set(gone, review, 0)


def _set(settings: Iterable[tuple[str, float]], review: Review, side: int) -> tuple[str, ...]:
    """Settings as `somite pose --set` takes them."""
    values = Values(review.difference.old, review.difference.new)
    return tuple(
        [
            f"{name}={values.of_channel(value, name, side).replace(' ', '')}"
            for name, value in settings
        ]
    )


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
        by = rough_length(one.moved, unit)
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
        sided = of_either_side(one.control)
        twin = next(
            (
                k
                for k in range(at + 1, len(effects))
                if k not in taken
                and sided != one.control
                and effects[k].control != one.control
                and of_either_side(effects[k].control) == sided
                and abs(_worst(effects[k].departure) - _worst(one.departure)) < 1e-3
            ),
            None,
        )
        if twin is not None:
            taken.add(twin)
            one = replace(one, control=f"{unsided(one.control)} (left and right)")
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
    skin = _skin(reviews)
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
        key = of_either_side(reason)
        if key in found and found[key] != reason:
            found[key] = f"{as_left(reason)} (left and right)"
        else:
            found.setdefault(key, reason)
    kinds: dict[str, list[str]] = {}
    for reason in found.values():
        kinds.setdefault(_kind_of(reason), []).append(reason)
    # That something only has another name comes last: it is the least.
    ranked = sorted(kinds, key=lambda kind: '" is called "' in kind)
    return tuple([one for kind in ranked for one in _counted(kinds[kind])])


def _kind_of(reason: str) -> str:
    """A reason without what it is of: other axes of a control are of one kind."""
    if _AXES.search(reason):
        return "axes"
    return _NAMED.sub('""', reason)


def _counted(reasons: Sequence[str]) -> Sequence[str]:
    """Reasons of one kind, many of them counted."""
    if len(reasons) <= MOST_ALIKE:
        return reasons
    axes = [found[1] for reason in reasons if (found := _AXES.search(reason))]
    if axes:
        names = [*dict.fromkeys(axes)]
        return [
            f"axes point another way of {len(names)} {many('control', len(names))}: {listed(names)}"
        ]
    return [f"{reasons[0]}, and so {len(reasons) - 1} more"]


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
        by = rough_length(picture.moved, unit)
        reasons.append(
            f"{picture.joint} is {by} off{where}, {percent(picture.share)} of the height"
        )
        reasons.append(measured)
    else:
        once = " once clips are carried" if any(map(_carries, pictures)) else ""
        reasons.append(f"{_most_off(picture.share)}{once}; {measured}")
    if any(one.resolved for one in review.channels.controls) and not kept:
        reasons.append("controls in another space are not solved again here, as somite carry does")
    for clip, share, frame in picture.by_clip:
        where = f", in frame {frame:g}" if percent(share) != "0%" else ""
        reasons.append(f"clip {clip}: {_most_off(share)}{where}")
    off = [n for n, one in pictures if one.picture is not None and not one.picture.keeps]
    characters = tuple(off) if 0 < len(off) < len(pictures) else ()
    answer: Answer = "keeps" if kept else "changes"
    return Question("picture", answer, tuple(reasons), characters)


def _carries(one: tuple[str, Review]) -> bool:
    """Whether poses were carried to be measured, since their channels mean something else."""
    channels = one[1].channels
    return any(link.pinned for link in channels.channels) or any(
        link.reordered for link in channels.controls
    )


def _most_off(share: float) -> str:
    """How far off joints are at most."""
    told = percent(share)
    if told == "0%":
        return "no joint is off"
    return f"{told if told.startswith('less') else f'at most {told}'} of the height off"


def _skin(reviews: Sequence[tuple[str, Review]]) -> Question:
    """The answer for the skin, with each reason once: of the character that it is most of."""
    held = [(name, review.skin.verdict, _skin_reasons(review)) for name, review in reviews]
    worst: Verdict = max((one[1] for one in held), key=VERDICTS.index)
    of = [one for one in held if one[1] == worst]
    told: dict[str, list[tuple[float, str, str]]] = {}
    for name, _, reasons in of:
        for kind, (amount, text) in reasons.items():
            told.setdefault(kind, []).append((amount, text, name))
    said: list[str] = []
    for every in told.values():
        _, text, name = max(every, key=lambda one: one[0])
        if len({one[1] for one in every}) > 1:
            text += f" (most in {name})"
        if len(every) < len(of):
            text += f" [{only_text([one[2] for one in every], len(of))}]"
        said.append(text)
    characters = () if len(of) == len(held) else tuple([one[0] for one in of])
    return Question("skin", worst, tuple(said), characters)


def _skin_reasons(review: Review) -> dict[str, tuple[float, str]]:
    """Why a skin does not keep: by what happened, how much of it, and in words."""
    skin, unit = review.skin, review.difference.new.unit
    found: dict[str, tuple[float, str]] = {}
    for names, word in ((skin.added, "more"), (skin.removed, "fewer")):
        if names:
            found[word] = len(names), f"{_bound(len(names))} {word}: {listed(names)}"
    if skin.reparented:
        told = [
            f"{name} is under {new or 'nothing'}, it was under {old or 'nothing'}"
            for name, old, new in skin.reparented
        ]
        more = f" and {len(told) - 3} more" if len(told) > 3 else ""
        found["parent"] = len(told), "; ".join(told[:3]) + more
    if skin.moved:
        far = max(skin.moved, key=lambda one: (round(one.by, 9), one.turned))
        by = rough_length(far.by, unit)
        if round(far.by, 9) <= 0.0:
            by = f"a turn of {rough(degrees(far.turned), 'deg')}"
        verb = "stands" if len(skin.moved) == 1 else "stand"
        text = f"{_bound(len(skin.moved))} {verb} otherwise at rest, {far.new} by {by}"
        found["rest"] = round(far.by, 9) + 1e-9 * far.turned, text
    if skin.renamed:
        names = tuple([new for _, new in skin.renamed])
        found["name"] = len(names), f"{_bound(len(names))} called otherwise: {listed(names)}"
    return found


def _bound(count: int) -> str:
    return f"{count} bound {many('joint', count)}"
