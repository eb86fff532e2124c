"""What a recipe asks for, found on a sheet.

What comes in is a `Sheet` and a recipe's requests; what goes out is every answer, in metres in the
neutral space, radians or plain numbers, and a finding for everything that is missing, unasked for,
or not what was asked. Nothing here knows recipes beyond their requests; defaults are computed by
whoever asks.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from somite.axes import mirrored
from somite.findings import Code, Finding, Severity, listed, nearest
from somite.ir import Vector
from somite.markers import MARKER_TWICE
from somite.sheet.form import side_findings
from somite.sheet.record import (
    SECTIONS,
    Measured,
    Quantity,
    SectionName,
    Sheet,
    SideRows,
    Sides,
)
from somite.sheet.values import OUT_OF_RANGE, WRONG_KIND, WRONG_UNIT
from somite.text import Site
from somite.units import ANGLE_UNITS, LENGTH_UNITS, degrees, metres_per
from somite.written import canonical, quoted

MISSING_MEASURE = Code("missing-measure")
UNKNOWN_MEASURE = Code("unknown-measure")
UNUSED_MEASURE = Code("unused-measure", Severity.WARNING)
NOT_WHOLE = Code("not-whole")
UNKNOWN_CHOICE = Code("unknown-choice")

Kind = Literal["point", "pair", "row", "length", "angle", "count", "number", "choice", "rig"]
"""What a recipe asks for; a rig is no measure, and is answered by whoever places it."""

COMPARED = 200
"""The most names among which near ones are looked for: beyond that, nobody mistyped just one."""

_SECTION_OF: dict[Kind, SectionName] = {"point": "points", "pair": "pairs", "row": "rows"}
_ONE: dict[SectionName, str] = {
    "points": "a point",
    "pairs": "a pair",
    "rows": "a row",
    "measures": "a measure",
}
_ADDED: dict[Kind, str] = {
    "point": "[x, y, z]",
    "pair": "[x, y, z]",
    "row": "[[x, y, z], …]",
    "length": "30",
    "angle": '"10 deg"',
    "count": "7",
    "number": "0.5",
    "choice": '"…"',
}
_EXPECTED: dict[Kind, str] = {
    "length": "a length",
    "angle": "an angle",
    "count": "a whole number",
    "number": "a plain number",
    "choice": "a choice",
}


@dataclass(frozen=True, slots=True)
class Request:
    """One measurement that a recipe asks for.

    `site` is in the recipe. Bounds are in metres, radians or one; those of a row are of its length.
    A pair with bounds is a row of pairs.
    With `has_default`, a sheet may leave it out.
    """

    kind: Kind
    name: str
    site: Site
    about: str | None = None
    has_default: bool = False
    low: float | None = None
    high: float | None = None
    options: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Measures:
    """The answers: positions in metres in the neutral space, numbers in metres, radians or one.

    Pairs are (left, right), rows of pairs a row of each side. `sites` says where each answer is
    written. `missing` names requests whose default is to be used; `refused` names those without any
    usable answer, whose findings are made already. Every request is in exactly one of the answers,
    `missing` and `refused`.
    """

    points: dict[str, Vector] = field(default_factory=dict)
    pairs: dict[str, tuple[Vector, Vector]] = field(default_factory=dict)
    pair_rows: dict[str, tuple[tuple[Vector, ...], tuple[Vector, ...]]] = field(
        default_factory=dict
    )
    rows: dict[str, tuple[Vector, ...]] = field(default_factory=dict)
    numbers: dict[str, float] = field(default_factory=dict)
    choices: dict[str, str] = field(default_factory=dict)
    sites: dict[str, Site] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()


def measure(
    sheet: Sheet, requests: Iterable[Request], broken: Collection[str] = ()
) -> tuple[Measures, tuple[Finding, ...]]:
    """What the sheet answers to the requests; `broken` names what lines ask for in vain.

    An entry of the sheet that nothing asks for is an error where its name is near to one that is
    missing (one finding then stands for both), and a warning otherwise. Markers of another file
    answer where the sheet's own sections do not; those that nothing asks for are no finding.
    """
    asked = list(requests)
    matching = _Matching(sheet)
    for request in asked:
        matching.answer(request)
    matching.reconcile({request.name for request in asked}.union(broken))
    answers = matching.answers
    return (
        Measures(
            points=answers.points,
            pairs=answers.pairs,
            pair_rows=answers.pair_rows,
            rows=answers.rows,
            numbers=answers.numbers,
            choices=answers.choices,
            sites=answers.sites,
            missing=tuple(matching.missing),
            refused=tuple(matching.refused),
        ),
        tuple(matching.findings),
    )


@dataclass(slots=True)
class _Matching:
    """The answers and findings as the requests are gone through."""

    sheet: Sheet
    answers: Measures = field(default_factory=Measures)
    findings: list[Finding] = field(default_factory=list)
    absent: list[Request] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)

    def answer(self, request: Request) -> None:
        """Finds one request's answer, or notes that there is none."""
        sheet, name = self.sheet, request.name
        if request.kind == "point":
            self._point(request, sheet.points.get(name) or self._marker(request, [name]))
        elif request.kind == "pair" and request.low is not None:
            self._pair_row(request, sheet.pair_rows.get(name) or self._marked_pair_row(request))
        elif request.kind == "pair":
            self._pair(request, sheet.pairs.get(name) or self._marked_pair(request))
        elif request.kind == "row":
            self._row(request, sheet.rows.get(name) or self._marked_row(request))
        else:
            self._number(request, sheet.measures.get(name))

    def _refuse(self, request: Request, finding: Finding | None = None) -> None:
        if request.name not in self.refused:
            self.refused.append(request.name)
        if finding is not None:
            self.findings.append(finding)

    def _wrong(self, code: Code, request: Request, site: Site, message: str, help: str) -> None:
        related = [(request.site, "asked for here")]
        self._refuse(request, code.at(site, message, help=help, related=related))

    def _none(self, request: Request) -> None:
        """Notes that the request has no answer where one belongs."""
        name = request.name
        if name in self.refused:
            return
        wanted = _SECTION_OF.get(request.kind, "measures")
        elsewhere = [
            part for part in SECTIONS if part != wanted and name in _named(self.sheet, part)
        ]
        if elsewhere:
            message = f"expected {_ONE[wanted]} {quoted(name)}, found {_ONE[elsewhere[0]]}"
            site = _named(self.sheet, elsewhere[0])[name]
            help = f"write it under [{wanted}]: {name} = {_ADDED[request.kind]}"
            self._wrong(WRONG_KIND, request, site, message, help)
        elif name in self.sheet.refused or (self.sheet.unread and wanted != "measures"):
            self._refuse(request)
        else:
            self.absent.append(request)

    # --- positions --------------------------------------------------------------------------------

    def _point(self, request: Request, found: Measured[Vector] | None) -> None:
        if found is None:
            return self._none(request)
        self.answers.points[request.name] = found.value
        self.answers.sites[request.name] = found.site
        return None

    def _pair(self, request: Request, found: Sides | None) -> None:
        sides = () if found is None else (found.left, found.right)
        given = next((side for side in sides if side is not None), None)
        if found is None or given is None:
            if request.name in self.sheet.pair_rows:
                message = f"expected one pair {quoted(request.name)}, found a row of pairs"
                help = f"write one position a side: {request.name} = {_ADDED['pair']}"
                site = self.sheet.pair_rows[request.name].site
                return self._wrong(WRONG_KIND, request, site, message, help)
            return self._none(request)
        left = found.left.value if found.left is not None else mirrored(given.value)
        right = found.right.value if found.right is not None else mirrored(given.value)
        self.answers.pairs[request.name] = (left, right)
        self.answers.sites[request.name] = given.site
        return None

    def _pair_row(self, request: Request, found: SideRows | None) -> None:
        sides = () if found is None else (found.left, found.right)
        given = next((side for side in sides if side is not None), None)
        if found is None or given is None:
            if request.name in self.sheet.pairs:
                message = f"expected a row of pairs {quoted(request.name)}, found one pair"
                help = f"write it as a list: {request.name} = {_ADDED['row']}"
                site = self.sheet.pairs[request.name].site
                return self._wrong(WRONG_KIND, request, site, message, help)
            return self._none(request)
        if not self._has_length(request, given, "pairs"):
            return None
        left = found.left.value if found.left is not None else None
        right = found.right.value if found.right is not None else None
        self.answers.pair_rows[request.name] = (
            tuple(item.value for item in left)
            if left is not None
            else tuple(mirrored(item.value) for item in given.value),
            tuple(item.value for item in right)
            if right is not None
            else tuple(mirrored(item.value) for item in given.value),
        )
        self.answers.sites[request.name] = given.site
        return None

    def _has_length(
        self, request: Request, found: Measured[tuple[Measured[Vector], ...]], of: str
    ) -> bool:
        count = len(found.value)
        problem = _range_problem(request, float(count), "m")
        if problem is not None:
            message = f"expected {problem} {of} in row {quoted(request.name)}, found {count}"
            help = "add or leave out positions"
            self._wrong(OUT_OF_RANGE, request, found.site, message, help)
        return problem is None

    def _row(self, request: Request, found: Measured[tuple[Measured[Vector], ...]] | None) -> None:
        if found is None:
            return self._none(request)
        if not self._has_length(request, found, "positions"):
            return None
        self.answers.rows[request.name] = tuple(item.value for item in found.value)
        self.answers.sites[request.name] = found.site
        return None

    # --- positions from markers -------------------------------------------------------------------

    def _marker(self, request: Request, keys: Sequence[str]) -> Measured[Vector] | None:
        """The marker that bears one of these names, in any of their spellings."""
        markers = self.sheet.markers
        for key in keys:
            named = self.sheet.marker_names.get(key)
            if named is not None:
                # The sheet's reader has said already if that marker is missing or there twice.
                return markers[named.value][0] if named.value in markers else None
        written = dict.fromkeys(form for key in keys for form in _spellings(key))
        found = [(form, one) for form in written for one in markers.get(form, ())]
        if len(found) > 1:
            names = dict.fromkeys(quoted(form) for form, _ in found)
            message = (
                f"expected one marker for {quoted(keys[0])}, found {len(found)}: {', '.join(names)}"
            )
            help = "give the markers different names, or say which is meant in landmarks.names"
            self._wrong(MARKER_TWICE, request, found[1][1].site, message, help)
        return found[0][1] if len(found) == 1 else None

    def _marked_pair(self, request: Request) -> Sides | None:
        name = request.name
        left = self._marker(request, [f"{name}.left"])
        right = self._marker(request, [f"{name}.right"])
        if left is None and right is None:
            left = self._marker(request, [name])
        given = left or right
        if given is None or name in self.refused:
            return None
        sides = Sides(left, right, given.site)
        self.findings.extend(side_findings(name, sides))
        return sides

    def _marked_pair_row(self, request: Request) -> SideRows | None:
        """Rows of markers of either side, or of the left one alone: `hip.left.1` or `hip.1`."""
        left = self._marked_run(request, f"{request.name}.left")
        right = self._marked_run(request, f"{request.name}.right")
        if left is None and right is None:
            left = self._marked_run(request, request.name)
        given = left or right
        if given is None or request.name in self.refused:
            return None
        return SideRows(left, right, given.site)

    def _marked_row(self, request: Request) -> Measured[tuple[Measured[Vector], ...]] | None:
        run = self._marked_run(request, request.name)
        return None if request.name in self.refused else run

    def _marked_run(
        self, request: Request, name: str
    ) -> Measured[tuple[Measured[Vector], ...]] | None:
        """The markers `name.1`, `name.2` and so on, as far as they go."""
        items: list[Measured[Vector]] = []
        while item := self._marker(request, [f"{name}.{len(items) + 1}"]):
            items.append(item)
        return Measured(tuple(items), items[0].site) if items else None

    # --- numbers and choices ----------------------------------------------------------------------

    def _number(self, request: Request, found: Measured[Quantity | str] | None) -> None:
        if found is None:
            return self._none(request)
        value, name = found.value, quoted(request.name)
        if request.kind == "choice":
            return self._choice(request, found)
        expected = _EXPECTED[request.kind]
        if isinstance(value, str):
            message = f"expected {expected} for {name}, found {quoted(value)}"
            help = f"for example {request.name} = {_ADDED[request.kind]}"
            return self._wrong(WRONG_KIND, request, found.site, message, help)
        unit = self.sheet.unit if request.kind == "length" and value.unit is None else value.unit
        if not _fits(request.kind, unit):
            message = f"expected {expected} for {name}, found {_dimension(unit)}: {value}"
            help = f"for example {request.name} = {_ADDED[request.kind]}"
            return self._wrong(WRONG_UNIT, request, found.site, message, help)
        number = canonical(value.number, unit)
        if request.kind == "count" and value.number != value.number.to_integral_value():
            message = f"expected a whole number for {name}, found {value}"
            return self._wrong(NOT_WHOLE, request, found.site, message, "counts have no fractions")
        problem = _range_problem(request, number, self.sheet.unit)
        if problem is not None:
            written = Quantity(value.number, unit)
            message = f"expected {problem} for {name}, found {written}"
            help = "check the number and its unit, or widen the range in the recipe"
            return self._wrong(OUT_OF_RANGE, request, found.site, message, help)
        self.answers.numbers[request.name] = number
        self.answers.sites[request.name] = found.site
        return None

    def _choice(self, request: Request, found: Measured[Quantity | str]) -> None:
        value = found.value
        options = listed(request.options, most=12)
        if not isinstance(value, str):
            message = f"expected a choice for {quoted(request.name)}, found {value}"
            return self._wrong(WRONG_KIND, request, found.site, message, f"use {options}")
        if value not in request.options:
            message = f"expected {options} for {quoted(request.name)}, found {quoted(value)}"
            close = nearest(value, request.options)
            help = f'did you mean "{close}"?' if close else f"use {options}"
            return self._wrong(UNKNOWN_CHOICE, request, found.site, message, help)
        self.answers.choices[request.name] = value
        self.answers.sites[request.name] = found.site
        return None

    # --- what is left over ------------------------------------------------------------------------

    def reconcile(self, asked: set[str]) -> None:
        """Sets what is missing against what nothing asks for."""
        unused = {
            (section, name): site
            for section in SECTIONS
            for name, site in _named(self.sheet, section).items()
            if name not in asked
        }
        compared = len(unused) <= COMPARED and len(self.absent) <= COMPARED
        for request in self.absent:
            section = _SECTION_OF.get(request.kind, "measures")
            names = [name for part, name in unused if part == section] if compared else []
            close = nearest(request.name, names)
            if request.has_default:
                self.missing.append(request.name)
            elif close is None:
                self._refuse(request, self._missing(request, section))
            else:
                self._refuse(request)
            if close is not None:
                self._unknown(close, unused.pop((section, close)), request)
        for (section, name), site in unused.items():
            message = f"nothing asks for {_ONE[section].partition(' ')[2]} {quoted(name)}"
            help = "leave it out, or ask for it in the recipe"
            self.findings.append(UNUSED_MEASURE.at(site, message, help=help))

    def _unknown(self, name: str, site: Site, request: Request) -> None:
        """An entry whose name is near to one that the recipe asks for in vain."""
        message = f"expected {request.kind} {quoted(request.name)}, found {quoted(name)}"
        help = f'did you mean "{request.name}"?'
        related = [(request.site, "asked for here")]
        if request.has_default:
            message = f"nothing asks for {request.kind} {quoted(name)}"
            self.findings.append(UNUSED_MEASURE.at(site, message, help=help, related=related))
        else:
            self.findings.append(UNKNOWN_MEASURE.at(site, message, help=help, related=related))

    def _missing(self, request: Request, section: SectionName) -> Finding:
        sheet = self.sheet
        what = quoted(request.name) + (f" ({request.about})" if request.about else "")
        message = f"expected {request.kind} {what} on the sheet of {quoted(sheet.character)}"
        message += ", found none"
        help = f"add under [{section}]: {request.name} = {_ADDED[request.kind]}"
        if sheet.markers and section != "measures":
            close = nearest(request.name, list(sheet.markers)[:COMPARED])
            if close is not None:
                help = f"the nearest marker is called {quoted(close)}; {help}"
        site = sheet.sections.get(section, sheet.site)
        label = f"the {section} are here" if section in sheet.sections else "the sheet is this one"
        return MISSING_MEASURE.at(request.site, message, help=help, related=[(site, label)])


def _named(sheet: Sheet, section: SectionName) -> dict[str, Site]:
    """The names in a section, and where each is written."""
    if section == "pairs":
        rows = {name: pair.site for name, pair in sheet.pair_rows.items()}
        return {name: pair.site for name, pair in sheet.pairs.items()} | rows
    if section == "points":
        return {name: one.named_at for name, one in sheet.points.items()}
    if section == "rows":
        return {name: one.named_at for name, one in sheet.rows.items()}
    return {name: one.named_at for name, one in sheet.measures.items()}


def _spellings(key: str) -> tuple[str, ...]:
    """A dotted marker name and its other spellings: `hip.left`, `hip_left`, `hip left`."""
    return (key, key.replace(".", "_"), key.replace(".", " "))


def _fits(kind: Kind, unit: str | None) -> bool:
    """Whether a quantity of this unit answers a request of this kind."""
    if kind == "length":
        return unit in LENGTH_UNITS
    if kind == "angle":
        return unit in ANGLE_UNITS
    return unit is None or (kind == "number" and unit == "%")


def _dimension(unit: str | None) -> str:
    if unit in LENGTH_UNITS:
        return "a length"
    if unit in ANGLE_UNITS:
        return "an angle"
    return "a percentage" if unit == "%" else "a number without a unit"


def _range_problem(request: Request, value: float, unit: str) -> str | None:
    """The range that a number leaves, in words; None where it keeps to it."""
    low, high = request.low, request.high
    if (low is None or value >= low) and (high is None or value <= high):
        return None
    if low is None or high is None:
        bound = low if low is not None else high
        word = "at least" if low is not None else "at most"
        return f"{word} {_amount(request.kind, bound or 0.0, unit)}"
    return f"{_amount(request.kind, low, unit)} to {_amount(request.kind, high, unit)}"


def _amount(kind: Kind, value: float, unit: str) -> str:
    if kind == "length":
        return f"{value / metres_per(unit):.6g} {unit}"
    return f"{degrees(value):.6g} deg" if kind == "angle" else f"{value:.6g}"
