"""The text of a sheet: a head, sections, entries with their comments, in canonical form.

What comes in is entries whose values are numbers, positions, rows or texts; what goes out is TOML
that `somite.sheet` reads back to just these. An entry without a value is a blank: a line to be
filled. Nothing here knows where the values come from.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal

from somite.axes import Axes
from somite.canonical import LINE_WIDTH
from somite.ir import Axis
from somite.sheet import Quantity
from somite.sheet.record import SECTIONS, SectionName
from somite.units import LENGTH_UNITS
from somite.written import canonical

PLACES = 9
"""Decimal places of a number on a sheet, as of every length that the project writes."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_NINE = Decimal(1).scaleb(-PLACES)

Place = tuple[Decimal, Decimal, Decimal]
"""A position in the sheet's own unit and axes."""

Value = Quantity | str | Place | Sequence[Place] | dict[str, Place] | dict[str, Sequence[Place]]
"""What an entry may be worth: a measure, a choice, a point, a row, a pair, a row of pairs."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of a sheet, with comments to stand above it; a blank where only `form` is known.

    `form` is what a person is to write: `[x, y, z]`.
    """

    name: str
    value: Value | None = None
    form: str = ""
    comments: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NudgeEntry:
    """A nudge of a sheet."""

    node: str
    by: Place
    because: str


@dataclass(frozen=True, slots=True)
class SheetText:
    """A whole sheet to be written."""

    character: str
    about: str
    unit: str
    up: Axis
    front: Axis
    comments: tuple[str, ...] = ()
    entries: dict[SectionName, tuple[Entry, ...]] = field(default_factory=dict)
    rigs: tuple[Entry, ...] = ()
    nudges: tuple[NudgeEntry, ...] = ()


def text_of(sheet: SheetText) -> str:
    """The TOML text of a sheet, with a line end after it."""
    lines = [*_comments(sheet.comments)]
    lines.append(f"character = {_quoted(sheet.character)}")
    if sheet.about:
        lines.append(f"about = {_quoted(sheet.about)}")
    lines.append(f"unit = {_quoted(sheet.unit)}")
    lines.append(f"up = {_quoted(sheet.up)}")
    lines.append(f"front = {_quoted(sheet.front)}")
    sections = [(str(section), sheet.entries.get(section, ())) for section in SECTIONS]
    for section, entries in (*sections, ("rigs", sheet.rigs)):
        if entries:
            lines += ["", f"[{section}]"]
            for at, entry in enumerate(entries):
                # What has comments of its own stands apart.
                lines += [""] if at and entry.comments else []
                lines += _entry(entry)
    for nudge in sheet.nudges:
        lines += ["", "[[nudge]]", f"node = {_quoted(nudge.node)}", f"by = {_place(nudge.by)}"]
        lines.append(f"because = {_quoted(nudge.because)}")
    return "\n".join(lines) + "\n"


def rounded(number: Decimal) -> Decimal:
    """A number to the places that are written, half to even."""
    return number.quantize(_NINE, ROUND_HALF_EVEN)


def in_unit(metres: Decimal, unit: str) -> Decimal:
    """A length in a unit, unrounded where the unit's worth divides it."""
    return metres / LENGTH_UNITS[unit]


def place_in(axes: Axes, neutral: Place) -> Place:
    """A position of the neutral space in other axes; exact, since only signs and order change."""
    x, y, z = (
        sum((sign * part for sign, part in zip(row, neutral, strict=True)), Decimal(0))
        for row in axes.rows
    )
    return x, y, z


def same_when_read(metres: float, unit: str) -> Decimal:
    """The shortest number in a unit that a sheet reads as just this length.

    Nine places where they do; more where a length was measured in a unit that this one does not
    divide, such as millimetres told in inches.
    """
    number = in_unit(Decimal(repr(metres)), unit)
    for places in range(PLACES, 27):
        short = number.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
        if canonical(short, unit) == metres:
            return short
    return number


def _entry(entry: Entry) -> Iterator[str]:
    yield from _comments(entry.comments)
    key = entry.name if _BARE.fullmatch(entry.name) else _quoted(entry.name)
    if entry.value is None:
        yield f"#{key} = {entry.form}"
    else:
        yield f"{key} = {_value(entry.value)}"


def _value(value: Value) -> str:
    if isinstance(value, Quantity):
        number = _number(value.number)
        if value.unit is None:
            return number
        return _quoted(f"{number}%" if value.unit == "%" else f"{number} {value.unit}")
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, dict):
        sides = (f"{side} = {_positions(one)}" for side, one in value.items())
        return "{ " + ", ".join(sides) + " }"
    return _positions(value)


def _positions(value: Place | Sequence[Place]) -> str:
    if isinstance(value[0], Decimal):
        return _place(value)  # type: ignore[arg-type]
    return "[" + ", ".join(_place(one) for one in value) + "]"  # type: ignore[arg-type]


def _place(place: Place) -> str:
    return "[" + ", ".join(_number(part) for part in place) + "]"


def _number(number: Decimal) -> str:
    """A number without exponent, needless zeros or a minus before zero."""
    text = f"{number:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _quoted(text: str) -> str:
    """A basic string of TOML, which has no raw control characters."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else _escape(c) for c in escaped) + '"'


def _escape(character: str) -> str:
    code = ord(character)
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def _comments(texts: Iterable[str]) -> Iterator[str]:
    """Comments of at most a line's width each, words kept whole; an empty text is an empty line."""
    from textwrap import wrap

    for text in texts:
        shown = "".join(c if c.isprintable() else " " for c in text)
        if not shown.strip():
            yield "#" if text else ""
            continue
        yield from wrap(
            shown,
            LINE_WIDTH,
            initial_indent="# ",
            subsequent_indent="#   ",
            break_long_words=False,
            break_on_hyphens=False,
        )
