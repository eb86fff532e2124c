"""Drawings of two rigs over one another: at rest with what changed picked out, and through a pose.

In come a review and the two settled rigs, out come SVG texts from the front and the side. The old
rig lies dashed beneath the new one, what changed is heavy and named, and an arrow leads from where
something stood to where it stands: none of it needs colour. Nothing here knows how a page looks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from somite.axes import NEUTRAL, Axes
from somite.diff.records import Change
from somite.diff.review import Review
from somite.drawing import Stroke, picture, strokes_of
from somite.ir import Face, Follow, Rig, Vector
from somite.order import channel_node
from somite.settle import Settled
from somite.spatial.vector import distance

if TYPE_CHECKING:
    from somite.diff.behaviour import Departure, Picture
    from somite.evaluate import Evaluator

FRAMES = 11
"""Pictures from rest to the worst pose, both with."""
MOST_NAMED = 24
"""Changed things whose names stand beside the picture; more are only heavy."""
LEAST_SHIFT = 0.003
"""Things that stand less than this share of the height elsewhere get no arrow."""
LEAST_ARROW = 0.001
"""On the way to a pose, an arrow shorter than this share of the height is left out."""
REST_HEIGHT, MOTION_HEIGHT = 420.0, 380.0
"""Pixels from the lowest to the highest of what is drawn."""

_BODY = ("bone", "link", "joint", "curve")
_SEEN = ("rest", "ground", "about", "points", "end")
_SIZED = (("shape", "width"), ("shape", "offset"))


@dataclass(frozen=True, slots=True)
class Rest:
    """Both rigs at rest: how many things are drawn heavy, lack their name, and have an arrow."""

    svg: str
    marked: int
    unnamed: int
    shifted: int


@dataclass(frozen=True, slots=True)
class Motion:
    """Both rigs on the way from rest to a pose, `FRAMES` pictures of one size; the last is it."""

    frames: tuple[str, ...]
    joint: str


@dataclass(slots=True)
class Marks:
    """What is drawn heavy, by the name of its stroke, with the words that stand beside it."""

    new: dict[str, str] = field(default_factory=dict)
    old: dict[str, str] = field(default_factory=dict)


# ---- at rest -------------------------------------------------------------------------------------


def rest_picture(review: Review, settled: tuple[Settled, Settled], title: str) -> Rest:
    """Both rigs at rest, over one another."""
    names = review.difference.renaming
    old = _called(_neutral(strokes_of(settled[0]), settled[0].rig), names)
    new = _neutral(strokes_of(settled[1]), settled[1].rig)
    marks = marks_of(review)
    # What is gone is marked where it was, what is new or other where it is.
    here, there = {one.name for one in new}, {one.name for one in old}
    words = {name: text for name, text in marks.new.items() if name in here}
    words |= {name: text for name, text in marks.old.items() if name in there}
    named = dict(list(words.items())[:MOST_NAMED])
    shifts = tuple(_shifts(review))
    svg = picture(
        (*new, *shifts),
        NEUTRAL,
        title=title,
        height=REST_HEIGHT,
        names=named,
        marked=frozenset(words),
        before=old,
        styled=False,
    )
    return Rest(svg, len(words), len(words) - len(named), len(shifts))


def marks_of(review: Review) -> Marks:
    """What changed and can be drawn: nodes, chains by their joints, curves.

    What only stands elsewhere or is drawn larger is not marked: both pictures show it, and where
    proportions change all would be heavy.
    """
    made = review.difference
    found = Marks()
    for change in made.changes:
        if change.implied or change.topic in _SEEN or change.path in _SIZED:
            continue
        old, new = _drawn_as(change, made.old, 0), _drawn_as(change, made.new, 1)
        if change.what == "removed" and not change.path:
            _mark(found.old, old, "gone")
        elif change.what == "added" and not change.path:
            _mark(found.new, new, "new")
        elif change.what == "renamed" and change.kind != "dial":
            _mark(found.new, new, f"was {change.old}")
        else:
            _mark(found.new, new, "")
    return found


def _mark(marks: dict[str, str], names: Sequence[str], word: str) -> None:
    for name in names:
        told = f"{name} ({word})" if word else name
        if name not in marks or "(" not in marks[name]:
            marks[name] = told


def _drawn_as(change: Change, rig: Rig, side: int) -> tuple[str, ...]:
    """The strokes that stand for what changed, by name."""
    name = (change.old, change.new)[side] or ""
    if change.kind == "dial":
        return (name.rpartition(".")[0],)
    if change.collection in ("nodes", "curves"):
        return (name,)
    if change.collection == "feeds":
        return (channel_node(name.partition("/")[0]),)
    chains = {chain.name: chain.joints for chain in rig.chains}
    if change.collection == "chains":
        return chains.get(name, ())
    if change.collection != "constraints":
        return ()
    for one in rig.constraints:
        if one.name == name:
            return (one.node,) if isinstance(one, Follow | Face) else chains[one.chain]
    return ()


def _shifts(review: Review) -> Iterator[Stroke]:
    """Arrows of what stands elsewhere at rest: joints, and controls where no joint goes along."""
    made = review.difference
    old_axes, new_axes = Axes(made.old.up, made.old.front), Axes(made.new.up, made.new.front)
    names = made.renaming
    there = {node.name: node for node in made.new.nodes}
    least = LEAST_SHIFT * max(made.old.height, made.new.height)
    told: list[Vector] = []
    for kind in ("joint", "control"):
        for node in made.old.nodes:
            partner = there.get(names.get(node.name, node.name))
            if node.kind != kind or partner is None or partner.kind != kind:
                continue
            start = old_axes.to_neutral(node.rest.place)
            stop = new_axes.to_neutral(partner.rest.place)
            along = kind == "control" and any(distance(start, one) <= least for one in told)
            if distance(start, stop) > least and not along:
                told.append(start)
                yield Stroke("shift", partner.name, ((start, stop),))


# ---- through a pose ------------------------------------------------------------------------------


def worst_pose(review: Review) -> Departure | Picture | None:
    """What shows best how the rigs differ: under one control or dial, else any pose, else as the
    picture has it; None where every pose is alike."""
    if review.behaviour is not None and review.behaviour.departures:
        held = review.behaviour.departures
        return next((one for one in held if one.control), held[0])
    seen = review.picture
    if seen is not None and not seen.keeps and seen.probe.settings:
        return seen
    return None


def motion_pictures(
    review: Review,
    worst: Departure | Picture,
    evaluators: tuple[Evaluator, Evaluator],
    title: str,
) -> Motion:
    """Both rigs from rest to a pose, over one another, its worst joint heavy and with an arrow."""
    names = review.difference.renaming
    back = {new: old for old, new in names.items()}
    settings = (worst.probe.settings, worst.now)
    moved = {channel_node(name) for name, _ in worst.probe.settings}
    moved_now = {channel_node(name) for name, _ in worst.now}
    old = [
        _called(one, names)
        for one in _through(evaluators[0], settings[0], moved, back.get(worst.joint, worst.joint))
    ]
    new = list(_through(evaluators[1], settings[1], moved_now, worst.joint))
    least = LEAST_ARROW * max(review.difference.old.height, review.difference.new.height)
    frames = []
    for number, (before, now) in enumerate(zip(old, new, strict=True)):
        arrow = _between(before, now, worst.joint, least)
        frames.append(
            picture(
                (*now, *arrow),
                NEUTRAL,
                title=f"{title}, {round(100 * number / (FRAMES - 1))}% of the way from rest",
                height=MOTION_HEIGHT,
                marked=frozenset({worst.joint}),
                before=before,
                room=[stroke for strokes in (*old, *new) for stroke in strokes],
                styled=False,
            )
        )
    return Motion(tuple(frames), worst.joint)


def _through(
    evaluator: Evaluator, settings: Iterable[tuple[str, float]], moved: set[str], joint: str
) -> Iterator[tuple[Stroke, ...]]:
    """The strokes of a rig on its way to a pose: its body, what moves it, and the worst joint."""
    from somite.drawing import at_pose

    table = evaluator.channels
    values: dict[str, Any] = {}
    for name, value in settings:
        first = table[name].default
        # A choice stands at its word, or it does not; it has nothing in between.
        ways = [k / (FRAMES - 1) for k in range(FRAMES)]
        values[name] = [
            (value if way else first) if table[name].options else first + (value - first) * way
            for way in ways
        ]
    if not values:
        name = next(iter(table))
        values[name] = [table[name].default] * FRAMES
    posed = evaluator.pose(values)
    rig = evaluator.settled.rig
    for row in range(FRAMES):
        strokes = strokes_of(evaluator.settled, *at_pose(posed, row))
        boned = {one.name for one in strokes if one.role == "bone"} - {joint}
        kept = [
            one
            for one in strokes
            if (one.role in _BODY or one.name in moved | {joint})
            # A bone is round where its joint is: fewer dots make a smaller page.
            and not (one.role == "joint" and one.name in boned)
        ]
        yield _neutral(kept, rig)


def _between(
    before: Sequence[Stroke], now: Sequence[Stroke], joint: str, least: float
) -> Iterator[Stroke]:
    """The arrow from where the old rig puts a joint to where the new one does."""
    spots = [
        next((one.lines[0][0] for one in side if (one.role, one.name) == ("joint", joint)), None)
        for side in (before, now)
    ]
    start, stop = spots
    if start is not None and stop is not None and distance(start, stop) > least:
        yield Stroke("shift", joint, ((start, stop),))


# ---- strokes -------------------------------------------------------------------------------------


def _neutral(strokes: Iterable[Stroke], rig: Rig) -> tuple[Stroke, ...]:
    """Strokes in the space that both rigs are drawn in."""
    axes = Axes(rig.up, rig.front)
    return tuple(
        [
            replace(
                one,
                lines=tuple([tuple([axes.to_neutral(p) for p in line]) for line in one.lines]),
            )
            for one in strokes
        ]
    )


def _called(strokes: Iterable[Stroke], names: Mapping[str, str]) -> tuple[Stroke, ...]:
    """Strokes of the old rig, by the names that their things have in the new one."""
    return tuple([replace(one, name=names.get(one.name, one.name)) for one in strokes])
