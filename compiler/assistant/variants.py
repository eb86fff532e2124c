"""Variants of sheets: one scaled, or two blended.

What comes in is loaded sheets and, where bare numbers or markers need it, what recipes ask of them;
what goes out is a new sheet in the first one's unit and axes, with findings for what can not be
said. Lengths and places change, and so does what a blend lies between; scaling keeps counts, angles
and choices. Nothing here reads a file.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import pairwise

from somite.assistant.blank import RIG
from somite.assistant.figure import NOT_MEDICINE
from somite.assistant.sheet_text import (
    Entry,
    NudgeEntry,
    Place,
    SheetText,
    Value,
    in_unit,
    place_in,
    rounded,
    same_when_read,
)
from somite.axes import Axes, mirrored
from somite.findings import Code, Finding, Severity, has_errors
from somite.ir import Vector
from somite.sheet import Measured, Quantity, Request, Sheet, SheetNudge, measure
from somite.sheet.record import SectionName, SideRows, Sides
from somite.spatial.vector import along, distance, subtract
from somite.text import Site
from somite.units import ANGLE_UNITS, LENGTH_UNITS, degrees, radians

RECIPE_NEEDED = Code("recipe-needed")
SHEETS_DIFFER = Code("sheets-differ", Severity.WARNING)

ONE = Decimal(1)

Row = tuple[Vector, ...]
Spots = dict[str, Row]
"""Positions by side ("left", "right"), or under "" where there are no sides; metres, neutral."""


@dataclass(frozen=True, slots=True)
class Heading:
    """What a new sheet says of itself: whom it measures, the command that made it.

    `folder` is where it will lie, from which other rigs' sheets are named.
    """

    character: str
    made_by: str
    folder: str = os.curdir


@dataclass(frozen=True, slots=True)
class _Spotted:
    """A point, pair, row or row of pairs: its positions, whether one each, where it is written."""

    spots: Spots
    single: bool
    site: Site


@dataclass(frozen=True, slots=True)
class _Plain:
    """A sheet as plain answers: what its markers answered stands among them."""

    sheet: Sheet
    places: dict[tuple[SectionName, str], _Spotted] = field(default_factory=dict)
    measures: dict[str, Measured[Quantity | str]] = field(default_factory=dict)


def asked_by(
    recipes: Sequence[Sequence[Request]],
) -> tuple[tuple[Request, ...], tuple[Finding, ...]]:
    """What several recipes ask for, each name once; a finding where two mean it differently."""
    asked: dict[str, Request] = {}
    findings: list[Finding] = []
    for request in (request for requests in recipes for request in requests):
        if request.kind == RIG:
            continue
        first = asked.setdefault(request.name, request)
        if first.kind != request.kind:
            message = (
                f'expected recipes that agree on "{request.name}",'
                f" found a {first.kind} and a {request.kind}"
            )
            help = "say for which recipe the sheet is: --for RECIPE"
            related = [(first.site, "asked for here")]
            findings.append(RECIPE_NEEDED.at(request.site, message, help=help, related=related))
    return tuple(asked.values()), tuple(findings)


def scaled(
    sheet: Sheet, factor: Decimal, requests: Sequence[Request] | None, heading: Heading
) -> tuple[SheetText | None, tuple[Finding, ...]]:
    """A sheet with every place and length times a factor; None where an error is found.

    `requests` are those of the recipes that the sheet is for, None where none is known.
    """
    plain, findings = _plain(sheet, requests)
    if has_errors(findings):
        return None, findings
    writing = _Writing(sheet, factor if factor != ONE else None)
    kinds = _kinds(requests)
    about = f"{sheet.about}, scaled by {factor:f}" if sheet.about else f"scaled by {factor:f}"
    measures = []
    for name, one in plain.measures.items():
        value = one.value
        if isinstance(value, Quantity) and _is_length(value, kinds.get(name)):
            value = Quantity(rounded(value.number * factor), value.unit)
        measures.append(Entry(name, value))
    entries = _placed(
        {key: (writing.value(spotted), spotted) for key, spotted in plain.places.items()}
    )
    nudges = tuple(
        NudgeEntry(nudge.node, writing.place(nudge.by), nudge.because) for nudge in sheet.nudges
    )
    said = f"the sheet of {sheet.character} with every place and length times {factor:f}"
    comments = _comments(heading, said)
    text = SheetText(
        heading.character,
        about,
        sheet.unit,
        sheet.up,
        sheet.front,
        comments,
        {**entries, "measures": tuple(measures)},
        _rigs(sheet, heading.folder),
        nudges,
    )
    return text, findings


def blended(
    first: Sheet,
    second: Sheet,
    share: Decimal,
    requests: Sequence[Request] | None,
    heading: Heading,
) -> tuple[SheetText | None, tuple[Finding, ...]]:
    """The sheet at a share of the way from one to another, in the first one's unit and axes.

    Places, lengths, angles and numbers are linear; counts are rounded to whole numbers, half to
    even; choices are the nearer one's, and the first one's half-way. What only one has is a
    finding, and in the blend where that one is the nearer. At 0 and at 1 the blend answers exactly
    as the first or the second does. None where an error is found.
    """
    one, findings = _plain(first, requests)
    other, more = _plain(second, requests)
    found = [*findings, *more]
    if has_errors(found):
        return None, tuple(found)
    blend = _Blend(one, other, share, _kinds(requests), found)
    percent = f"{(share * 100).normalize():f}%"
    between = f"{percent} of the way from {first.character} to {second.character}"
    text = SheetText(
        heading.character,
        between,
        first.unit,
        first.up,
        first.front,
        _comments(heading, between),
        {**blend.places(), "measures": blend.measures()},
        _rigs(blend.nearer.sheet, heading.folder),
        blend.nudges(),
    )
    return text, tuple(found)


def _comments(heading: Heading, what: str) -> tuple[str, ...]:
    said = f"{what[:1].upper()}{what[1:]}. {NOT_MEDICINE}"
    return (said, f"Made by: {heading.made_by}", "")


def _rigs(sheet: Sheet, folder: str) -> tuple[Entry, ...]:
    """The sheets of the rigs that stand on a character, as they are found from a folder."""
    return tuple(
        Entry(name, os.path.relpath(one.value.sources[0].path, folder).replace(os.sep, "/"))
        for name, one in sheet.rigs.items()
    )


# ---- sheets as plain answers ---------------------------------------------------------------------


def _plain(sheet: Sheet, requests: Sequence[Request] | None) -> tuple[_Plain, tuple[Finding, ...]]:
    """A sheet's own entries and what its markers answer, or findings for what cannot be told."""
    plain = _Plain(sheet)
    for name, point in sheet.points.items():
        plain.places["points", name] = _Spotted({"": (point.value,)}, True, point.site)
    for name, pair in sheet.pairs.items():
        plain.places["pairs", name] = _Spotted(_sides(pair), True, pair.site)
    for name, rows in sheet.pair_rows.items():
        plain.places["pairs", name] = _Spotted(_side_rows(rows), False, rows.site)
    for name, row in sheet.rows.items():
        spots = {"": tuple(one.value for one in row.value)}
        plain.places["rows", name] = _Spotted(spots, False, row.site)
    plain.measures.update(sheet.measures)
    if requests is None:
        return plain, tuple(_untold(sheet))
    answers, findings = measure(sheet, requests)
    wanted = {request.name for request in requests}
    for name, value in sheet.measures.items():
        if name not in wanted and isinstance(value.value, Quantity) and value.value.unit is None:
            # Nobody can say whether it is a length, and nobody asks; the warning is made.
            del plain.measures[name]
    marked: dict[tuple[SectionName, str], tuple[Spots, bool]] = {}
    for name, place in answers.points.items():
        marked["points", name] = ({"": (place,)}, True)
    for name, (left, right) in answers.pairs.items():
        marked["pairs", name] = ({"left": (left,), "right": (right,)}, True)
    for name, (lefts, rights) in answers.pair_rows.items():
        marked["pairs", name] = ({"left": lefts, "right": rights}, False)
    for name, places in answers.rows.items():
        marked["rows", name] = ({"": places}, False)
    for key, (spots, single) in marked.items():
        if key not in plain.places:
            plain.places[key] = _Spotted(spots, single, answers.sites[key[1]])
    return plain, findings


def _untold(sheet: Sheet) -> Iterable[Finding]:
    """Findings for what a sheet alone cannot say of itself."""
    help = "say for which recipe the sheet is: --for RECIPE"
    if sheet.markers:
        message = "expected a recipe that says which markers are meant, found none"
        yield RECIPE_NEEDED.at(sheet.sections.get("landmarks", sheet.site), message, help=help)
    for name, one in sheet.measures.items():
        if isinstance(one.value, Quantity) and one.value.unit is None:
            message = (
                f'expected a recipe that says whether "{name}" is a length or a plain number,'
                f" found none"
            )
            yield RECIPE_NEEDED.at(one.site, message, help=help)


def _sides(pair: Sides) -> Spots:
    given = {"left": pair.left, "right": pair.right}
    return {side: (one.value,) for side, one in given.items() if one is not None}


def _side_rows(rows: SideRows) -> Spots:
    given = {"left": rows.left, "right": rows.right}
    return {
        side: tuple(place.value for place in row.value)
        for side, row in given.items()
        if row is not None
    }


def _kinds(requests: Sequence[Request] | None) -> Mapping[str, str]:
    return {request.name: request.kind for request in requests or ()}


def _is_length(value: Quantity, kind: str | None) -> bool:
    return value.unit in LENGTH_UNITS or (value.unit is None and kind == "length")


# ---- writing places ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Writing:
    """How neutral positions are written on a sheet, times a factor; None keeps them exactly."""

    sheet: Sheet
    factor: Decimal | None = None

    def place(self, place: Vector) -> Place:
        x, y, z = (self._number(part) for part in place)
        return place_in(Axes(self.sheet.up, self.sheet.front), (x, y, z))

    def value(self, spotted: _Spotted) -> Value:
        """A position, a row, or either of each side; a left side alone as itself."""
        written = {
            side: self.place(row[0]) if spotted.single else tuple(self.place(one) for one in row)
            for side, row in spotted.spots.items()
        }
        if set(written) <= {"", "left"}:
            return next(iter(written.values()))
        return written  # type: ignore[return-value]

    def _number(self, metres: float) -> Decimal:
        if self.factor is None:
            return same_when_read(metres, self.sheet.unit)
        return rounded(in_unit(Decimal(repr(metres)) * self.factor, self.sheet.unit))


def _placed(
    values: Mapping[tuple[SectionName, str], tuple[Value, _Spotted]],
) -> dict[SectionName, tuple[Entry, ...]]:
    found: dict[SectionName, list[Entry]] = {}
    for (section, name), (value, _) in values.items():
        found.setdefault(section, []).append(Entry(name, value))
    return {section: tuple(entries) for section, entries in found.items()}


# ---- blending ------------------------------------------------------------------------------------


def _divided(row: _Spotted, like: _Spotted) -> _Spotted:
    """A row, or a row of each side, with as many places as another, at its shares of the way."""
    pattern = next(iter(like.spots.values()))
    spots = {
        side: _at_shares(places, _shares(like.spots.get(side, pattern)))
        for side, places in row.spots.items()
    }
    return _Spotted(spots, row.single, row.site)


def _shares(row: Row) -> list[float]:
    """How far along its way each place of a row stands, from 0 to 1."""
    ways = [0.0]
    for a, b in pairwise(row):
        ways.append(ways[-1] + distance(a, b))
    if ways[-1] <= 0.0:
        return [k / max(len(row) - 1, 1) for k in range(len(row))]
    return [way / ways[-1] for way in ways]


def _at_shares(row: Row, shares: Sequence[float]) -> Row:
    """The places at shares of the way along a row, on the straight lines between its places."""
    ends = _shares(row)
    places: list[Vector] = []
    for share in shares:
        k = next((k for k in range(1, len(row)) if share <= ends[k]), len(row) - 1)
        if k < 1 or ends[k] <= ends[k - 1]:
            places.append(row[k])
            continue
        part = min(1.0, (share - ends[k - 1]) / (ends[k] - ends[k - 1]))
        a, b = row[k - 1], row[k]
        places.append(b if part == 1.0 else along(a, subtract(b, a), part))
    return tuple(places)


@dataclass(slots=True)
class _Blend:
    """Two sheets, the share of the way from the first to the second, and what is found."""

    first: _Plain
    second: _Plain
    share: Decimal
    kinds: Mapping[str, str]
    findings: list[Finding]

    @property
    def nearer(self) -> _Plain:
        return self.first if self.share <= ONE / 2 else self.second

    def places(self) -> dict[SectionName, tuple[Entry, ...]]:
        """The entries of points, pairs and rows."""
        ours, theirs = self.first.places, self.second.places
        blended: dict[tuple[SectionName, str], tuple[Value, _Spotted]] = {}
        exact = _Writing(self.first.sheet)
        for key in dict.fromkeys([*ours, *theirs]):
            a, b = ours.get(key), theirs.get(key)
            alike = self._alike(key[1], a, b) if a is not None and b is not None else None
            if alike is not None:
                blended[key] = (self._between(*alike), alike[0])
            else:
                if a is None or b is None:
                    self._alone(key[1], a, b)
                kept = self.nearer.places.get(key)
                if kept is not None:
                    blended[key] = (exact.value(kept), kept)
        return _placed(blended)

    def measures(self) -> tuple[Entry, ...]:
        """The entries of measures."""
        ours, theirs = self.first.measures, self.second.measures
        entries: list[Entry] = []
        for name in dict.fromkeys([*ours, *theirs]):
            a, b = ours.get(name), theirs.get(name)
            value: Quantity | str | None = None
            if a is not None and b is not None:
                value = self._measure(name, a, b)
            else:
                self._alone(name, a, b)
                if name in self.nearer.measures:
                    value = self._own(self.nearer, self.nearer.measures[name].value, name)
            if value is not None:
                entries.append(Entry(name, value))
        return tuple(entries)

    def nudges(self) -> tuple[NudgeEntry, ...]:
        """Nudges of either; one that the other does not have is blended with none at all."""
        ours = {nudge.node: nudge for nudge in self.first.sheet.nudges}
        theirs = {nudge.node: nudge for nudge in self.second.sheet.nudges}
        entries: list[NudgeEntry] = []
        for node in dict.fromkeys([*ours, *theirs]):
            a, b = ours.get(node), theirs.get(node)
            if a is None or b is None:
                self._alone(node, a, b, "it is blended with no nudge")
            spots = [(one.by if one is not None else (0.0, 0.0, 0.0),) for one in (a, b)]
            by = self._row(spots[0], spots[1])[0]
            said = _nearer_nudge(a, b, self.nearer is self.first)
            if any(by):
                entries.append(NudgeEntry(node, by, said.because))
        return tuple(entries)

    def _alike(self, name: str, a: _Spotted, b: _Spotted) -> tuple[_Spotted, _Spotted] | None:
        """Two that can be blended place by place; a finding where they are not so, or cannot be."""
        lengths = [len(next(iter(one.spots.values()))) for one in (a, b)]
        if a.single == b.single and lengths[0] == lengths[1]:
            return a, b
        found = [
            "one position" if one.single else f"a row of {n}"
            for one, n in zip((a, b), lengths, strict=True)
        ]
        message = f'expected as many positions in "{name}" on both sheets, found {found[0]}'
        message += f" and {found[1]}"
        if a.single or b.single:
            self._differ(a.site, message, f"{self._nearest()} is taken as it is", b.site)
            return None
        help = f"{self._nearest()} says how both are divided: see whether the joints still fit"
        self._differ(a.site, message, help, b.site)
        return (a, _divided(b, a)) if self.nearer is self.first else (_divided(a, b), b)

    def _between(self, a: _Spotted, b: _Spotted) -> Value:
        ours, theirs = a.spots, b.spots
        if set(ours) != set(theirs):
            ours, theirs = _both_sides(ours), _both_sides(theirs)
        rows = {side: self._row(ours[side], theirs[side]) for side in ours}
        written = {side: row[0] if a.single else row for side, row in rows.items()}
        if set(written) <= {"", "left"}:
            return next(iter(written.values()))
        return written  # type: ignore[return-value]

    def _row(self, ours: Row, theirs: Row) -> tuple[Place, ...]:
        """Positions blended one by one; at either end, that end's own to the last bit."""
        sheet = self.first.sheet
        if self.share in (0, 1):
            exact = _Writing(sheet)
            return tuple(exact.place(place) for place in (theirs if self.share else ours))
        axes = Axes(sheet.up, sheet.front)
        places = []
        for a, b in zip(ours, theirs, strict=True):
            x, y, z = (
                rounded(in_unit(self._linear(Decimal(repr(p)), Decimal(repr(q))), sheet.unit))
                for p, q in zip(a, b, strict=True)
            )
            places.append(place_in(axes, (x, y, z)))
        return tuple(places)

    def _linear(self, a: Decimal, b: Decimal) -> Decimal:
        return a + (b - a) * self.share

    def _measure(
        self, name: str, ours: Measured[Quantity | str], theirs: Measured[Quantity | str]
    ) -> Quantity | str:
        a, b = ours.value, theirs.value
        if isinstance(a, str) and isinstance(b, str):
            return a if self.nearer is self.first else b
        nearest = self._own(self.nearer, a if self.nearer is self.first else b, name)
        if isinstance(a, str) or isinstance(b, str) or not self._same_dimension(name, a, b):
            message = f'expected "{name}" to be measured alike on both sheets, found {a} and {b}'
            self._differ(ours.site, message, f"{self._nearest()} is taken as it is", theirs.site)
            return nearest
        if self.share in (0, 1):
            return nearest
        if self.kinds.get(name) == "count":
            whole = self._linear(a.number, b.number).to_integral_value(ROUND_HALF_EVEN)
            return Quantity(whole)
        if _is_length(a, self.kinds.get(name)):
            unit = a.unit or self.first.sheet.unit
            metres = self._linear(
                a.number * LENGTH_UNITS[unit],
                b.number * LENGTH_UNITS[b.unit or self.second.sheet.unit],
            )
            return Quantity(rounded(in_unit(metres, unit)), a.unit)
        return Quantity(rounded(self._linear(a.number, _converted(b, a.unit))), a.unit)

    def _same_dimension(self, name: str, a: Quantity, b: Quantity) -> bool:
        lengths = [_is_length(one, self.kinds.get(name)) for one in (a, b)]
        angles = [one.unit in ANGLE_UNITS for one in (a, b)]
        return lengths[0] == lengths[1] and angles[0] == angles[1]

    def _own(self, plain: _Plain, value: Quantity | str, name: str) -> Quantity | str:
        """A measure as its sheet has it, told in a unit where the first sheet's is another."""
        if isinstance(value, str) or plain.sheet.unit == self.first.sheet.unit:
            return value
        if value.unit is None and self.kinds.get(name) == "length":
            return Quantity(value.number, plain.sheet.unit)
        return value

    def _nearest(self) -> str:
        return f'that of "{self.nearer.sheet.character}", which is the nearer,'

    def _alone(
        self,
        name: str,
        a: _Spotted | Measured[Quantity | str] | SheetNudge | None,
        b: _Spotted | Measured[Quantity | str] | SheetNudge | None,
        help: str | None = None,
    ) -> None:
        """The finding for what one sheet has and the other has not."""
        has = self.first if a is not None else self.second
        lacks = self.second if a is not None else self.first
        one = a if a is not None else b
        assert one is not None
        message = (
            f'expected "{name}" on both sheets, found it on that of "{has.sheet.character}" only'
        )
        kept = "it is kept, since that is the nearer" if has is self.nearer else "it is left out"
        self._differ(one.site, message, help or kept, lacks.sheet.site)

    def _differ(self, site: Site, message: str, help: str, other: Site) -> None:
        related = [(other, "the other sheet")]
        self.findings.append(SHEETS_DIFFER.at(site, message, help=help, related=related))


def _both_sides(spots: Spots) -> Spots:
    """Both sides of a pair, the one that is missing as the mirror image of the other."""
    given = next(iter(spots.values()))
    image = tuple(mirrored(place) for place in given)
    return {"left": spots.get("left", image), "right": spots.get("right", image)}


def _nearer_nudge(a: SheetNudge | None, b: SheetNudge | None, first: bool) -> SheetNudge:
    found = [one for one in ((a, b) if first else (b, a)) if one is not None]
    return found[0]


def _converted(value: Quantity, unit: str | None) -> Decimal:
    """A number, percentage or angle in another unit of its kind."""
    if value.unit == unit:
        return value.number
    if unit == "deg":
        return Decimal(repr(degrees(float(value.number))))
    if unit == "rad":
        return Decimal(repr(radians(float(value.number))))
    return value.number.scaleb(2 if unit == "%" else -2)
