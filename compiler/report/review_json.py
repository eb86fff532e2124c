"""Reviews as a JSON document with a published schema.

What comes in is reviews by character; what goes out is one document whose schema is generated from
the records below (`somite schema diff`). Lengths are in the new recipe's unit, angles in degrees,
and values are written as a person reads them; shares are of the rig's height. Nothing is judged
here.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Literal

from somite.diff.compatibility import ChannelLink, ControlLink, Verdict
from somite.diff.records import By, Change, What
from somite.diff.review import Review
from somite.report.change_values import Values
from somite.report.change_words import Words
from somite.units import degrees, metres_per
from somite.version import VERSION

if TYPE_CHECKING:
    from pydantic import TypeAdapter

    from somite.diff.behaviour import Behaviour, Departure, Picture, Probe
    from somite.text import Origin

FORMAT: Literal["somite-diff 1"] = "somite-diff 1"
"""The name and version of the document's form."""

PLACES = 6
"""Decimal places of measured amounts."""


@dataclass(frozen=True, slots=True)
class Changed:
    """One change. `path` leads to what changed inside the thing; empty for the thing itself.

    `text` says it in words. `before` and `after` are values in each recipe's units. `confidence` is
    1 but for a rename that was inferred. `implied`: it follows from another change.
    """

    what: What
    kind: str
    old: str | None
    new: str | None
    path: tuple[str, ...]
    text: str
    before: str | None
    after: str | None
    confidence: float
    because: str
    implied: bool
    old_lines: tuple[str, ...]
    new_lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reversed:
    """Two nodes that are worked out in the other order: `first` came before `second`."""

    first: str
    second: str
    old_way: tuple[str, ...]
    new_way: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Channel:
    """What becomes of a channel or dial: a value as a clip of the old recipe writes it is `sign` ·
    `factor` · itself as a clip of the new one does.

    `default` is the old one, to be keyed where it is `pinned` and a clip has no key.
    """

    old: str
    new: str | None
    also: tuple[str, ...]
    verdict: Verdict
    sign: int
    factor: float
    default: str
    pinned: bool
    narrowed: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Control:
    """What becomes of a control: turns worked out again, or a space solved again."""

    old: str
    new: str | None
    verdict: Verdict
    old_order: str
    new_order: str
    reordered: bool
    resolved: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Channels:
    """Whether every clip of the old rig is one of the new."""

    verdict: Verdict
    controls: tuple[Control, ...]
    channels: tuple[Channel, ...]


@dataclass(frozen=True, slots=True)
class OfClip:
    """The same for one clip."""

    clip: str
    verdict: Verdict
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reparented:
    """A bound joint that is under another one."""

    joint: str
    old: str | None
    new: str | None


@dataclass(frozen=True, slots=True)
class MovedAtRest:
    """A bound joint that stands elsewhere at rest."""

    joint: str
    by: float
    turned: float


@dataclass(frozen=True, slots=True)
class RenamedJoint:
    """A bound joint that has another name."""

    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Skin:
    """What happened to the joints that a mesh is bound to, and what says which they are."""

    verdict: Verdict
    bound_by: str
    bound: int
    added: tuple[str, ...]
    removed: tuple[str, ...]
    renamed: tuple[RenamedJoint, ...]
    reparented: tuple[Reparented, ...]
    moved: tuple[MovedAtRest, ...]


@dataclass(frozen=True, slots=True)
class Set:
    """A channel and its value in the recipe's units, as `somite pose --set` takes it."""

    channel: str
    value: str


@dataclass(frozen=True, slots=True)
class Pose:
    """A pose that was tried: what brought it about, its name, and a clip's frame."""

    by: By
    name: str
    frame: float | None
    old: tuple[Set, ...]
    new: tuple[Set, ...]


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A joint that goes elsewhere under a control (empty: in a pose or clip): by how much."""

    joint: str
    old: str
    control: str
    moved: float
    share: float
    turned: float
    at_rest: float
    pose: Pose


@dataclass(frozen=True, slots=True)
class Tried:
    """How many poses were tried of one kind."""

    by: By
    poses: int


@dataclass(frozen=True, slots=True)
class Moving:
    """What was tried, and what goes elsewhere, worst first."""

    tried: tuple[Tried, ...]
    joints: int
    elsewhere: tuple[Elsewhere, ...]


@dataclass(frozen=True, slots=True)
class ClipPicture:
    """The worst error along one clip, and the frame of it."""

    clip: str
    share: float
    frame: float


@dataclass(frozen=True, slots=True)
class Seen:
    """The worst error of a joint's place, measured: it holds for the poses that were tried."""

    keeps: bool
    tolerance: float
    share: float
    moved: float
    turned: float
    joint: str
    poses: int
    pose: Pose
    left_out: tuple[str, ...]
    clips: tuple[ClipPicture, ...]


@dataclass(frozen=True, slots=True)
class OfCharacter:
    """The review of one character."""

    character: str
    unit: str
    height: float
    changes: tuple[Changed, ...]
    reversals: tuple[Reversed, ...]
    unheld: tuple[str, ...]
    channels: Channels
    clips: tuple[OfClip, ...]
    skin: Skin
    behaviour: Moving | None
    picture: Seen | None


@dataclass(frozen=True, slots=True)
class Document:
    """Two sides compared: a review for each character that both have."""

    format: Literal["somite-diff 1"]
    compiler: str
    old: str
    new: str
    only_old: tuple[str, ...]
    only_new: tuple[str, ...]
    characters: tuple[OfCharacter, ...]


def document(
    old: str,
    new: str,
    reviews: Iterable[tuple[str, Review]],
    only_old: Sequence[str] = (),
    only_new: Sequence[str] = (),
) -> Document:
    """The document of reviews, each with its character's name."""
    made = tuple([_character(name, review) for name, review in reviews])
    return Document(FORMAT, VERSION, old, new, tuple(only_old), tuple(only_new), made)


def json_text(made: Document) -> str:
    """The document as JSON, two spaces a level, with a trailing newline."""
    return json.dumps(asdict(made), indent=2, ensure_ascii=False) + "\n"


def schema_text() -> str:
    """The JSON Schema of the document, as published in `compiler/schemas`."""
    schema = _adapter().json_schema()
    named = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return json.dumps(named, indent=2, ensure_ascii=False) + "\n"


def read(text: str) -> Document:
    """A document read back. Raises ValueError where the text is none."""
    return _adapter().validate_json(text)


def _adapter() -> TypeAdapter[Document]:
    from pydantic import TypeAdapter

    return TypeAdapter(Document)


def _character(name: str, review: Review) -> OfCharacter:
    made = review.difference
    words = Words(made.old, made.new)
    unit = metres_per(made.new.unit)
    return OfCharacter(
        name,
        made.new.unit,
        _amount(made.new.height / unit),
        tuple([_changed(one, words) for one in made.changes]),
        tuple(
            [Reversed(one.first, one.second, one.old_way, one.new_way) for one in made.reversals]
        ),
        made.unheld,
        Channels(
            review.channels.verdict,
            tuple([_control(one) for one in review.channels.controls]),
            tuple([_channel(one, words.values) for one in review.channels.channels]),
        ),
        tuple([OfClip(one.clip, one.verdict, one.reasons) for one in review.clips]),
        _skin(review, unit),
        None if review.behaviour is None else _moving(review.behaviour, words.values, unit),
        None if review.picture is None else _seen(review.picture, words.values, unit),
    )


def _changed(one: Change, words: Words) -> Changed:
    said = words.said(one)
    return Changed(
        one.what,
        one.kind,
        one.old,
        one.new,
        one.path,
        f"{said.subject} {said.text}".strip(),
        words.values.before(one),
        words.values.after(one),
        one.confidence,
        one.because,
        one.implied,
        _lines(one.old_origin),
        _lines(one.new_origin),
    )


def _lines(origin: Origin) -> tuple[str, ...]:
    return tuple([f"{site.file}:{site.line}" for site in origin])


def _control(one: ControlLink) -> Control:
    return Control(
        one.old,
        one.new,
        one.verdict,
        one.old_order,
        one.new_order,
        one.reordered,
        one.resolved,
        one.reasons,
    )


def _channel(one: ChannelLink, values: Values) -> Channel:
    return Channel(
        one.old,
        one.new,
        one.also,
        one.verdict,
        one.sign,
        _amount(one.written),
        values.of_channel(one.default, one.old, 0),
        one.pinned,
        one.narrowed,
        one.reasons,
    )


def _skin(review: Review, unit: float) -> Skin:
    skin = review.skin
    return Skin(
        skin.verdict,
        skin.bound_by,
        skin.bound,
        skin.added,
        skin.removed,
        tuple([RenamedJoint(old, new) for old, new in skin.renamed]),
        tuple([Reparented(*one) for one in skin.reparented]),
        tuple(
            [
                MovedAtRest(one.new, _amount(one.by / unit), _amount(degrees(one.turned)))
                for one in skin.moved
            ]
        ),
    )


def _moving(behaviour: Behaviour, values: Values, unit: float) -> Moving:
    return Moving(
        tuple([Tried(by, count) for by, count in behaviour.poses]),
        behaviour.joints,
        tuple([_elsewhere(one, values, unit) for one in behaviour.departures]),
    )


def _elsewhere(one: Departure, values: Values, unit: float) -> Elsewhere:
    return Elsewhere(
        one.joint,
        one.was,
        one.control,
        _amount(one.moved / unit),
        _amount(one.share),
        _amount(degrees(one.turned)),
        _amount(one.at_rest / unit),
        _pose(one.probe, one.now, values),
    )


def _seen(picture: Picture, values: Values, unit: float) -> Seen:
    return Seen(
        picture.keeps,
        picture.tolerance,
        _amount(picture.share),
        _amount(picture.moved / unit),
        _amount(degrees(picture.turned)),
        picture.joint,
        picture.poses,
        _pose(picture.probe, picture.now, values),
        picture.left_out,
        tuple([ClipPicture(clip, _amount(share), frame) for clip, share, frame in picture.by_clip]),
    )


def _pose(probe: Probe, now: Sequence[tuple[str, float]], values: Values) -> Pose:
    return Pose(
        probe.by,
        probe.name,
        probe.frame,
        tuple([Set(name, values.of_channel(value, name, 0)) for name, value in probe.settings]),
        tuple([Set(name, values.of_channel(value, name, 1)) for name, value in now]),
    )


def _amount(value: float) -> float:
    return round(value, PLACES) + 0.0
