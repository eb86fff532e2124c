"""A human of a stature, from published proportions, as far as the tables go.

What comes in is a recipe's requests, a stature and a kind of people; what goes out is a sheet with
each value's source beside it, blanks where no table has the landmark, and a finding for each of
those. Which words are which landmark is in `landmarks.toml`. The figures are for drawing
characters, not for medicine or safety.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from somite.assistant.asked import Asked, Questions
from somite.assistant.blank import blank_entry, blank_rigs, described, in_sections, pair_note
from somite.assistant.sheet_text import Entry, Place, SheetText, in_unit, place_in
from somite.axes import Axes
from somite.findings import Code, Finding, Severity
from somite.humanoid import standard, tables
from somite.sheet import Quantity
from somite.units import LENGTH_UNITS

STATURE_OUTSIDE = Code("stature-outside")
LANDMARK_UNKNOWN = Code("landmark-unknown", Severity.WARNING)

SMALLEST = Decimal("0.00001")
"""Metres. The tables go by millimetres and thousandths of the stature: more would be pretence."""

PARTS = ("aside", "height", "ahead")
"""The three parts of a position in the neutral space, in its order: +X, +Y, +Z."""

NOT_MEDICINE = "For drawing characters, not for medicine or safety."


@dataclass(frozen=True, slots=True)
class _Part:
    """One part of a position in metres, and how it is known: measured or estimated, and whence."""

    value: Decimal
    source: str


Found = tuple[_Part, _Part, _Part]


@dataclass(slots=True)
class _Figure:
    """The landmarks of one stature, each worked out once."""

    kind: str
    stature: Decimal
    known: dict[str, Found] = field(default_factory=dict)

    def place(self, landmark: Mapping[str, Any]) -> Found:
        """Where a landmark is: aside, height and ahead, in metres."""
        word = landmark["words"][0]
        if word not in self.known:
            if "along" in landmark:
                self.known[word] = self._along(landmark)
            else:
                aside, height, ahead = (self._part(landmark, at) for at in range(3))
                self.known[word] = (aside, height, ahead)
        return self.known[word]

    def figure(self, name: str) -> tuple[Decimal, Decimal, Decimal]:
        """The centre of a joint of the standing figure, scaled to the stature."""
        x, y, z = (
            part * self.stature / standard.height() for part in standard.joints()[name].centre
        )
        return x, y, z

    def measure(self, terms: list[str]) -> tables.Figure | None:
        """The first of some measures that a table has, `0.5 * biacromialbreadth` or a name."""
        for term in terms:
            factor, _, name = term.rpartition("*")
            found = tables.length(self.kind, name.strip(), self.stature)
            if found is not None and factor:
                times = Decimal(factor.strip())
                source = f"{factor.strip()} times {found.source}"
                return tables.Figure(found.value * times, found.measured, source)
            if found is not None:
                return found
        return None

    def _part(self, landmark: Mapping[str, Any], at: int) -> _Part:
        rule = landmark.get(PARTS[at], [])
        if isinstance(rule, str) and rule.startswith("as "):
            other = rule.removeprefix("as ")
            return _Part(self.place(_landmarks()[other])[at].value, f"estimated, as of the {other}")
        if isinstance(rule, list) and (found := self.measure(rule)) is not None:
            return _Part(found.value, _said(found))
        if landmark["kind"] == "point" and at == 0:
            return _Part(Decimal(0), "on the midline")
        joint = landmark["joint"]
        scaled = self.figure(joint)[at]
        base = landmark.get("from")
        if base is None or rule == "figure":
            return _Part(scaled, f"estimated, {joint} (figure)")
        start = _landmarks()[base]
        away = scaled - self.figure(start["joint"])[at]
        value = self.place(start)[at].value + away
        return _Part(value, f"estimated, from the {base} as far as {joint} (figure)")

    def _along(self, landmark: Mapping[str, Any]) -> Found:
        """The landmark at a measured distance from another, in the figure's own direction."""
        base = landmark["from"]
        start = _landmarks()[base]
        length = self.measure(landmark["along"])
        assert length is not None
        there, here = self.figure(landmark["joint"]), self.figure(start["joint"])
        way = [b - a for a, b in zip(here, there, strict=True)]
        distance = sum((part * part for part in way), Decimal(0)).sqrt()
        found = [
            _Part(
                part.value + step * length.value / distance,
                f"distance from the {base} {_said(length)}; the direction estimated,"
                f" {landmark['joint']} (figure)",
            )
            for part, step in zip(self.place(start), way, strict=True)
        ]
        return found[0], found[1], found[2]


def filled(
    questions: Questions, character: str, kind: str, number: Decimal, unit: str
) -> tuple[SheetText | None, tuple[Finding, ...]]:
    """A recipe's sheet for a human of a stature, in the recipe's unit and axes.

    `kind` is one of `tables.KINDS`; the stature is a number with its unit. None with a finding
    where the tables know nobody of that stature. A blank stays, with a finding, for what the recipe
    needs and no table has; what has a default and no table is left to its default.
    """
    stature = Quantity(number, unit)
    outside = _outside(kind, stature)
    if outside is not None:
        return None, (outside,)
    figure = _Figure(kind, number * LENGTH_UNITS[unit])
    findings: list[Finding] = []
    entries = [(asked, _entry(asked, figure, questions, findings)) for asked in questions.asked]
    head = questions.head
    sheet = SheetText(
        character=character,
        about=f"{_person(kind)} of {stature}, by published tables",
        unit=head.unit,
        up=head.up,
        front=head.front,
        comments=(*_heading(head.name, kind, stature), *pair_note(questions), ""),
        entries=in_sections(entries),
        rigs=blank_rigs(questions),
    )
    return sheet, tuple(findings)


def _outside(kind: str, stature: Quantity) -> Finding | None:
    assert stature.unit is not None
    least, most = tables.covered(kind)
    if least <= stature.number * LENGTH_UNITS[stature.unit] <= most:
        return None
    bounds = [Quantity(in_unit(one, stature.unit), stature.unit) for one in (least, most)]
    low, high = (f"{bound.number:.5g} {bound.unit}" for bound in bounds)
    message = f"expected a stature of {low} to {high} for {_people(kind)}, found {stature}"
    help = "the tables cover no others: take one that they do, and scale its sheet"
    return STATURE_OUTSIDE.at(None, message, help=help)


def _people(kind: str) -> str:
    return {"female": "women", "male": "men"}.get(kind, "adults")


def _person(kind: str) -> str:
    return {"female": "a woman", "male": "a man"}.get(kind, "an adult")


def _heading(recipe: str, kind: str, stature: Quantity) -> tuple[str, ...]:
    option = "" if kind == tables.AVERAGE else f" --kind {kind}"
    used = ["proportions", "figure"] if kind == tables.AVERAGE else list(tables.sources())
    return (
        f"A human of {stature} for the recipe {recipe}, from published tables. {NOT_MEDICINE}",
        f"Made by: somite sheet {recipe}.somite --from-stature {stature}{option}",
        'What is "measured" is a table\'s own figure; what is "estimated" is worked out from one.'
        " Bony landmarks stand for the joints beside them. The sources:",
        *(f"({word}) {tables.sources()[word]}." for word in used),
    )


def _entry(asked: Asked, figure: _Figure, questions: Questions, findings: list[Finding]) -> Entry:
    """A request's line: filled with its source, left to its default, or blank with a finding."""
    request = asked.request
    landmark = _landmarks().get(request.name)
    kind = "row" if request.kind == "pair" and request.low is not None else request.kind
    if landmark is not None and landmark["kind"] == kind:
        if kind == "length":
            return _length_entry(asked, landmark, figure, questions.head.unit)
        axes = Axes(questions.head.up, questions.head.front)
        found = figure.place(landmark)
        value = _in_axes(found, axes, questions.head.unit)
        return Entry(request.name, value, "", (*described(asked)[:1], *_sources(found)))
    if asked.default is not None:
        return blank_entry(asked)
    known = "" if landmark is None else f'; they have "{request.name}" as a {landmark["kind"]}'
    message = f'expected a table that has the {request.kind} "{request.name}", found none{known}'
    help = f"it is left blank: measure it and write it on its line, {request.name} = …"
    findings.append(LANDMARK_UNKNOWN.at(request.site, message, help=help))
    return blank_entry(asked, ("no table has it: left blank, to be measured",))


def _length_entry(asked: Asked, landmark: Mapping[str, Any], figure: _Figure, unit: str) -> Entry:
    found = figure.measure(landmark["length"])
    if found is None:
        return blank_entry(asked, ("the tables of these people do not have it",))
    value = Quantity(in_unit(found.value.quantize(SMALLEST), unit))
    return Entry(asked.request.name, value, "", (*described(asked)[:1], _said(found)))


def _said(found: tables.Figure) -> str:
    return f"{'measured' if found.measured else 'estimated'}, {found.source}"


def _sources(found: Found) -> tuple[str, ...]:
    """How each part of a position is known, parts that are known alike in one comment."""
    by_source: dict[str, list[str]] = {}
    for name, part in zip(PARTS, found, strict=True):
        by_source.setdefault(part.source, []).append(name)
    joined = {source: ", ".join(names) for source, names in by_source.items()}
    return tuple(f"{' and '.join(names.rsplit(', ', 1))}: {s}" for s, names in joined.items())


def _in_axes(found: Found, axes: Axes, unit: str) -> Place:
    """A position in a recipe's unit and axes; numbers are rounded before, not after."""
    x, y, z = (in_unit(part.value.quantize(SMALLEST), unit) for part in found)
    return place_in(axes, (x, y, z))


@cache
def _landmarks() -> Mapping[str, Mapping[str, Any]]:
    """Every landmark by each of the words that mean it."""
    path = Path(__file__).parent / "landmarks.toml"
    listed_there = tomllib.loads(path.read_text(encoding="utf-8"))["landmark"]
    return {word: landmark for landmark in listed_there for word in landmark["words"]}
