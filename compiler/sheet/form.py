"""From a sheet's text to a `Sheet`: what may stand in it, and in which form.

What comes in is a file or its text; what goes out is one character's landmarks and measures,
converted once to metres in the neutral space, and a finding for every entry that is not of the
form. Nothing here knows what a recipe asks for: `matching` does.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from somite import project
from somite.axes import AXES, Axes, axes_problem, is_axis
from somite.findings import Code, Finding, Severity, listed, nearest
from somite.ir import Vector
from somite.markers import MARKER_TWICE, SUFFIXES, MarkerFile, load_markers
from somite.sheet.located import (
    DUPLICATE_MEASURE,
    Array,
    Entry,
    Located,
    Scalar,
    Table,
    written_twice,
)
from somite.sheet.record import (
    SECTIONS,
    Measured,
    Quantity,
    Sheet,
    SheetNudge,
    SideRows,
    Sides,
    SourceFile,
)
from somite.sheet.values import (
    WRONG_KIND,
    Placing,
    described,
    is_refused,
    is_text,
    one_line,
    quantity_of,
    unit_help,
)
from somite.text import Site, Source
from somite.units import LENGTH_UNITS, UNITS
from somite.written import quoted

SHEET_KIND = Code("sheet-kind")
SHEET_KEY = Code("sheet-key")
SHEET_HEADER = Code("sheet-header")
LEFT_ON_RIGHT = Code("left-on-right", Severity.WARNING)
NUDGE_FORM = Code("nudge-form")
MARKER_MISSING = Code("marker-missing")
MARKER_OVERRIDDEN = Code("marker-overridden", Severity.NOTE)
SHEET_IN_ITSELF = Code("sheet-in-itself")

KEYS = ("character", "about", "unit", "up", "front", "landmarks", *SECTIONS, "rigs", "nudge")
"""Everything that may stand at the top of a sheet."""

MISTAKES = 100
"""The most findings of form that one sheet gives."""

MOST_OPEN = 40
"""Sheets within sheets."""

CHARACTER = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,63}")
"""What a character may be called."""

Kept = TypeVar("Kept")

_SAYS = re.compile(r"(?=.*\w).*", re.DOTALL)
_NUDGE_HELP = 'write [[nudge]] with node = "hip.left", by = [0, 0, "-3 mm"] and because = "…"'
_NODE = re.compile(r"[A-Za-z0-9_]+(\.[A-Za-z0-9_]+)*")


@dataclass(slots=True)
class _Opened:
    """Which sheets are being read, each because of the one before, and those read already."""

    open: list[Path] = field(default_factory=list)
    read: dict[Path, Sheet | None] = field(default_factory=dict)


def load(
    path: Path, root: Path | None = None, opened: _Opened | None = None
) -> tuple[Sheet | None, tuple[Finding, ...]]:
    """The sheet in a file: .toml or .json, or .csv, .gltf or .glb where landmarks are enough.

    `root` is the project folder (found from the file's place if None). A sheet whose header can not
    be used is None; one with other mistakes comes out without what they touch. `opened` is kept
    while the sheets that a sheet names are read.
    """
    root = project.find_root(path) if root is None else root
    name = project.shown(path, root)
    suffix = path.suffix.lower()
    if suffix in SUFFIXES:
        return _load_bare(path, name)
    if suffix not in (".toml", ".json"):
        message = f"expected a sheet, found {quoted(name)}"
        help = f"a sheet is a {listed(('.toml', '.json', *SUFFIXES))} file"
        return None, (SHEET_KIND.at(None, message, help=help),)
    source, findings = project.read_source(path, name, limit=SHEET_LIMIT)
    if source is None:
        return None, findings
    return read(source, path.parent, root, path=path, opened=opened)


SHEET_LIMIT = 1024 * 1024
"""The most bytes of a sheet that are read."""


def read(
    source: Source,
    folder: Path | None = None,
    root: Path | None = None,
    *,
    path: Path | None = None,
    opened: _Opened | None = None,
) -> tuple[Sheet | None, tuple[Finding, ...]]:
    """The sheet in a text: JSON where its name ends so, else TOML.

    `folder` is where its landmark file and the sheets of its rigs are looked for, inside `root`;
    without a folder those files are not read and a finding says so.
    """
    tree: Table | None
    if source.name.lower().endswith(".json"):
        from somite.sheet.json_text import read_json

        tree, findings = read_json(source)
    else:
        from somite.sheet.toml_text import read_toml

        tree, findings = read_toml(source)
    if tree is None:
        return None, findings
    form = _Form(list(findings), opened=opened or _Opened())
    if path is not None:
        form.opened.open.append(path.resolve())
    header = form.header(tree, source)
    if header is None:
        form.unknown_keys(tree)
        return None, tuple(form.findings)
    written = _source_file(source.name, path, source.text.encode("utf-8", "replace"))
    sheet = form.sheet(tree, header, written, folder, root)
    return sheet, tuple(form.findings[: MISTAKES + len(findings)])


def _source_file(name: str, path: Path | None, content: bytes) -> SourceFile:
    from hashlib import sha256

    return SourceFile(name, "" if path is None else str(path), sha256(content).hexdigest())


def _load_bare(path: Path, name: str) -> tuple[Sheet | None, tuple[Finding, ...]]:
    """A sheet that is nothing but a file of landmarks; its character is the file's name."""
    character = re.sub(r"[^A-Za-z0-9_]+", "_", path.stem).strip("_")
    file, findings = load_markers(path, name)
    if file is None:
        return None, findings
    site = Site(name, 1, 1)
    if CHARACTER.fullmatch(character) is None:
        message = f"expected a file named after its character, found {quoted(path.name)}"
        return None, (SHEET_HEADER.at(site, message, help="begin the name with a letter"),)
    sheet = Sheet(
        character=character,
        about="",
        unit="m",
        up="+Y",
        front="+Z",
        site=site,
        markers=_by_name(file),
        sources=(SourceFile(name, str(path), file.digest),),
    )
    return sheet, findings


def _by_name(file: MarkerFile) -> dict[str, tuple[Measured[Vector], ...]]:
    markers: dict[str, tuple[Measured[Vector], ...]] = {}
    for marker in file.markers:
        one = Measured(marker.place, marker.site)
        markers[marker.name] = (*markers.get(marker.name, ()), one)
    return markers


@dataclass(frozen=True, slots=True)
class _Header:
    character: str
    about: str
    unit: str
    axes: Axes
    site: Site


@dataclass(slots=True)
class _Form:
    """The findings, and the entries that they are about, as the sheet is gone through."""

    findings: list[Finding]
    refused: set[str] = field(default_factory=set)
    opened: _Opened = field(default_factory=_Opened)

    # --- the header -------------------------------------------------------------------------------

    def header(self, tree: Table, source: Source) -> _Header | None:
        """The header's facts, or None where one of those that numbers need is missing."""
        top = source.site(0, 1)
        character = self._text(tree, "character", top, 'character = "tansy_heron"')
        if character is not None and CHARACTER.fullmatch(character) is None:
            message = f"expected a name of letters, digits and _, found {quoted(character)}"
            self._header_finding(tree, "character", message, 'for example "tansy_heron"')
            character = None
        unit = self._text(tree, "unit", top, 'unit = "cm"')
        if unit is not None and unit not in LENGTH_UNITS:
            message = f"expected a unit of length, found {quoted(unit)}"
            self._header_finding(tree, "unit", message, unit_help(unit, LENGTH_UNITS))
            unit = None
        axes = self._axes(tree, top)
        about = tree.get("about")
        text = one_line(about.value) if isinstance(about, Scalar) else ""
        if about is not None and not (is_text(about) or is_refused(about)):
            self._header_finding(tree, "about", "expected text in quotes", 'about = "heron"')
        if character is None or unit is None or axes is None:
            return None
        return _Header(character, text, unit, axes, tree.entries["character"].site)

    def _text(self, tree: Table, key: str, top: Site, example: str) -> str | None:
        value = tree.get(key)
        if value is None:
            self.findings.append(
                SHEET_HEADER.at(top, f'expected "{key}", found none', help=f"add {example}")
            )
        elif isinstance(value, Scalar) and isinstance(value.value, str):
            return value.value
        elif not is_refused(value):
            self._header_finding(tree, key, "expected text in quotes", f"write {example}")
        return None

    def _axes(self, tree: Table, top: Site) -> Axes | None:
        up = self._text(tree, "up", top, 'up = "+Y"')
        front = self._text(tree, "front", top, 'front = "+Z"')
        signed = True
        for key, axis in (("up", up), ("front", front)):
            if axis is None or is_axis(axis):
                continue
            guess = f"+{axis.strip().upper()}"
            help = f'did you mean "{guess}"?' if is_axis(guess) else f"use {listed(AXES)}"
            message = f"expected a signed axis, found {quoted(axis)}"
            self._header_finding(tree, key, message, help)
            signed = False
        if up is None or front is None or not signed:
            return None
        problem = axes_problem(up, front)
        if problem is not None:
            self._header_finding(tree, "front", problem, "one points up, the other ahead")
            return None
        assert is_axis(up) and is_axis(front)
        return Axes(up, front)

    def _header_finding(self, tree: Table, key: str, message: str, help: str) -> None:
        site = tree.entries[key].value.site
        self.findings.append(SHEET_HEADER.at(site, message, help=help))

    def unknown_keys(self, tree: Table) -> dict[str, Entry]:
        """Entries at the top that have no meaning; one that was nearly a section counts as it."""
        meant: dict[str, Entry] = {}
        for entry in tree:
            if entry.key in KEYS or is_refused(entry.value):
                continue
            if len(self.findings) >= MISTAKES:
                break
            close = nearest(entry.key, KEYS)
            message = f"expected {listed(KEYS, most=20)}, found {quoted(entry.key)}"
            help = "points, pairs, rows and measures stand in sections of their own"
            if close is not None:
                help = f'did you mean "{close}"?'
                if close not in tree.entries:
                    meant[close] = entry
            self._add(SHEET_KEY.at(entry.site, message, help=help))
        return meant

    # --- the body ---------------------------------------------------------------------------------

    def sheet(
        self,
        tree: Table,
        header: _Header,
        written: SourceFile,
        folder: Path | None,
        root: Path | None,
    ) -> Sheet:
        meant = self.unknown_keys(tree)
        parts = {key: tree.entries.get(key) or meant.get(key) for key in KEYS}
        place = Placing(header.unit, header.axes)
        points = self._section(parts["points"], lambda entry: self._point(entry, place))
        sided = self._section(parts["pairs"], lambda entry: self._pair(entry, place))
        rows = self._section(parts["rows"], lambda entry: self._row(entry, place))
        measures = self._section(parts["measures"], self._measure)
        file, source, names = self._landmarks(parts["landmarks"], place, folder, root)
        nudges = self._nudges(parts["nudge"], place)
        rigs = self._section(parts["rigs"], lambda entry: self._rig(entry, folder, root))
        sources = (written,) if source is None else (written, source)
        for rig in rigs.values():
            sources = tuple(dict.fromkeys((*sources, *rig.value.sources)))
        sheet = Sheet(
            character=header.character,
            about=header.about,
            unit=header.unit,
            up=header.axes.up,
            front=header.axes.front,
            site=header.site,
            points=points,
            pairs={name: pair for name, pair in sided.items() if isinstance(pair, Sides)},
            pair_rows={name: rows for name, rows in sided.items() if isinstance(rows, SideRows)},
            rows=rows,
            measures=measures,
            markers={} if file is None else _by_name(file),
            marker_names=names,
            nudges=nudges,
            sections={key: entry.site for key, entry in parts.items() if entry is not None},
            refused=frozenset(self.refused),
            unread=parts["landmarks"] is not None and file is None,
            sources=sources,
            rigs=rigs,
        )
        self._overridden(sheet)
        return sheet

    def _add(self, finding: Finding) -> None:
        if len(self.findings) < 2 * MISTAKES:
            self.findings.append(finding)

    def _refuse(self, entry: Entry, finding: Finding) -> None:
        """Makes the finding, and keeps the entry from being taken for missing as well."""
        self.refused.add(entry.key)
        self._add(finding)

    def _section(
        self, section: Entry | None, read: Callable[[Entry], Kept | None]
    ) -> dict[str, Kept]:
        """What a section's entries are read as; what is refused leaves only its findings."""
        if section is None or is_refused(section.value):
            return {}
        if not isinstance(section.value, Table):
            message = f"expected a section of named entries, found {described(section.value)}"
            help = f"write [{section.key}] on a line of its own, and the entries below it"
            self._add(WRONG_KIND.at(section.value.site, message, help=help))
            return {}
        kept: dict[str, Kept] = {}
        for entry in section.value:
            if is_refused(entry.value):
                self.refused.add(entry.key)
                continue
            value = read(entry)
            if value is not None:
                kept[entry.key] = value
        return kept

    def _point(self, entry: Entry, place: Placing) -> Measured[Vector] | None:
        value = entry.value
        if isinstance(value, Table):
            message = f"expected the position of point {quoted(entry.key)}, found a table"
            help = "what has a left and a right side stands under [pairs]"
            self._refuse(entry, WRONG_KIND.at(value.site, message, help=help))
            return None
        position = place.position(value)
        if isinstance(position, Finding):
            self._refuse(entry, position)
            return None
        return Measured(position, value.site, entry.site)

    def _pair(self, entry: Entry, place: Placing) -> Sides | SideRows | None:
        value = entry.value
        sides: dict[str, Located] = {"left": value} if isinstance(value, Array) else {}
        if isinstance(value, Table):
            sides = {side.key: side.value for side in value}
        unknown = [side for side in sides if side not in ("left", "right")]
        if unknown or not sides:
            found = quoted(unknown[0]) if unknown else described(value)
            message = f"expected the left or right side of pair {quoted(entry.key)}, found {found}"
            help = "write { left = [9, 92, 0], right = [-9, 92, 0] }, or [9, 92, 0] for the left"
            self._refuse(entry, WRONG_KIND.at(value.site, message, help=help))
            return None
        if any(_is_row(written) for written in sides.values()):
            return self._pair_rows(entry, sides, place)
        given: dict[str, Measured[Vector]] = {}
        for side, written in sides.items():
            position = place.position(written)
            if isinstance(position, Finding):
                self._refuse(entry, position)
            else:
                given[side] = Measured(position, written.site, entry.site)
        if len(given) < len(sides):
            return None
        pair = Sides(given.get("left"), given.get("right"), entry.site)
        for finding in side_findings(entry.key, pair):
            self._add(finding)
        return pair

    def _pair_rows(
        self, entry: Entry, sides: dict[str, Located], place: Placing
    ) -> SideRows | None:
        given: dict[str, Measured[tuple[Measured[Vector], ...]]] = {}
        for side, written in sides.items():
            row = self._row(Entry(entry.key, entry.site, written), place)
            if row is not None:
                given[side] = row
        if len(given) < len(sides):
            return None
        left, right = given.get("left"), given.get("right")
        if left is not None and right is not None and len(left.value) != len(right.value):
            message = (
                f"expected as many positions on the right of {quoted(entry.key)} as on the left,"
                f" {len(left.value)}, found {len(right.value)}"
            )
            help = "pairs have two sides: add what is missing"
            self._refuse(entry, WRONG_KIND.at(right.site, message, help=help))
            return None
        rows = SideRows(left, right, entry.site)
        for pair in _pairs_of(rows):
            for finding in side_findings(entry.key, pair):
                self._add(finding)
        return rows

    def _row(self, entry: Entry, place: Placing) -> Measured[tuple[Measured[Vector], ...]] | None:
        value = entry.value
        items = value.items if isinstance(value, Array) else []
        if not isinstance(value, Array) or not all(isinstance(one, Array) for one in items):
            found = "a list of something else" if items else described(value)
            message = f"expected a list of positions, found {found}"
            help = "for example [[0, 1, 2], [0, 2, 3]]"
            self._refuse(entry, WRONG_KIND.at(value.site, message, help=help))
            return None
        places: list[Measured[Vector]] = []
        for item in items:
            position = place.position(item)
            if isinstance(position, Finding):
                self._refuse(entry, position)
            else:
                places.append(Measured(position, item.site))
        if len(places) < len(items):
            return None
        return Measured(tuple(places), value.site, entry.site)

    def _measure(self, entry: Entry) -> Measured[Quantity | str] | None:
        value = quantity_of(entry.value, UNITS)
        if isinstance(value, Finding):
            self._refuse(entry, value)
            return None
        return Measured(value, entry.value.site, entry.site)

    # --- rigs that stand on this one --------------------------------------------------------------

    def _rig(self, entry: Entry, folder: Path | None, root: Path | None) -> Measured[Sheet] | None:
        """The sheet of another rig, from the file that is named."""
        value = entry.value
        if not is_text(value):
            message = f"expected the file of the sheet of {quoted(entry.key)}, found "
            help = f'for example {entry.key} = "pip_otter.toml"'
            self._refuse(entry, WRONG_KIND.at(value.site, message + described(value), help=help))
            return None
        assert isinstance(value, Scalar)
        written = str(value.value)
        if folder is None:
            message = f"expected the folder of {quoted(written)}, found a sheet without a place"
            help = "save the sheet to a file"
            self._refuse(entry, project.FILE_MISSING.at(value.site, message, help=help))
            return None
        root = folder if root is None else root
        path, findings = project.resolve(root, folder, written, value.site)
        if path is None:
            self.refused.add(entry.key)
            self.findings.extend(findings)
            return None
        sheet = self._opened_sheet(path, root, entry)
        return None if sheet is None else Measured(sheet, value.site, entry.site)

    def _opened_sheet(self, path: Path, root: Path, entry: Entry) -> Sheet | None:
        opened = self.opened
        if path in opened.open or len(opened.open) >= MOST_OPEN:
            message = f"the sheet of {quoted(entry.key)} names itself among its rigs"
            if path not in opened.open:
                message = f"expected at most {MOST_OPEN} sheets within sheets, found more"
            help = "a rig can not stand on itself; name the sheet of another character"
            self._refuse(entry, SHEET_IN_ITSELF.at(entry.value.site, message, help=help))
            return None
        if path not in opened.read:
            before = list(opened.open)
            sheet, findings = load(path, root, opened)
            opened.open[:] = before
            self.findings.extend(findings)
            opened.read[path] = sheet
        found = opened.read[path]
        if found is None:
            self.refused.add(entry.key)
        return found

    # --- nudges -----------------------------------------------------------------------------------

    def _nudges(self, section: Entry | None, place: Placing) -> tuple[SheetNudge, ...]:
        if section is None or is_refused(section.value):
            return ()
        if not isinstance(section.value, Array):
            message = f"expected a list of nudges, found {described(section.value)}"
            self._add(NUDGE_FORM.at(section.site, message, help=_NUDGE_HELP))
            return ()
        nudges: dict[str, SheetNudge] = {}
        for item in section.value.items:
            nudge = self._nudge(item, place)
            if nudge is None:
                continue
            if nudge.node in nudges:
                message = f"expected one nudge of {quoted(nudge.node)}, found a second"
                related = [(nudges[nudge.node].site, "nudged here first")]
                help = "write the sum of the two"
                self._add(DUPLICATE_MEASURE.at(nudge.site, message, help=help, related=related))
                continue
            nudges[nudge.node] = nudge
        return tuple(nudges.values())

    def _nudge(self, item: Located, place: Placing) -> SheetNudge | None:
        """One nudge, or None with findings for everything that is wrong with it."""
        if not isinstance(item, Table):
            message = f"expected a nudge, found {described(item)}"
            self._add(NUDGE_FORM.at(item.site, message, help=_NUDGE_HELP))
            return None
        before = len(self.findings)
        for entry in item:
            if entry.key not in ("node", "by", "because"):
                message = f"expected node, by and because, found {quoted(entry.key)}"
                self._add(NUDGE_FORM.at(entry.site, message, help=_NUDGE_HELP))
        for key in ("node", "by", "because"):
            if key not in item.entries:
                message = f'expected "{key}" in this nudge, found none'
                self._add(NUDGE_FORM.at(item.site, message, help=_NUDGE_HELP))
        node, because, by = item.get("node"), item.get("because"), item.get("by")
        if node is not None and not (is_text(node, _NODE) or is_refused(node)):
            message = f"expected the full name of a node, found {described(node)}"
            help = 'for example node = "arm.left.elbow"'
            self._add(NUDGE_FORM.at(node.site, message, help=help))
        if because is not None and not (is_text(because, _SAYS) or is_refused(because)):
            message = f"expected a reason in words, found {described(because)}"
            help = 'for example because = "the sleeve of the parcel coat"'
            self._add(NUDGE_FORM.at(because.site, message, help=help))
        position = None if by is None or is_refused(by) else place.position(by)
        if isinstance(position, Finding):
            self._add(position)
        if len(self.findings) > before or position is None or isinstance(position, Finding):
            return None
        if not (isinstance(node, Scalar) and isinstance(because, Scalar)):
            return None
        return SheetNudge(str(node.value), position, one_line(because.value), node.site)

    # --- landmarks from another file --------------------------------------------------------------

    def _landmarks(
        self,
        entry: Entry | None,
        place: Placing,
        folder: Path | None,
        root: Path | None,
    ) -> tuple[MarkerFile | None, SourceFile | None, dict[str, Measured[str]]]:
        """The markers of the file that the sheet names, and which of them stands for what."""
        if entry is None or is_refused(entry.value):
            return None, None, {}
        value = entry.value
        file = value.get("file") if isinstance(value, Table) else value
        entries = list(value) if isinstance(value, Table) else []
        unknown = [one for one in entries if one.key not in ("file", "names")]
        if unknown or not is_text(file):
            site = unknown[0].site if unknown else value.site
            found = quoted(unknown[0].key) if unknown else described(value)
            message = f"expected a file of landmarks, found {found}"
            help = 'write landmarks = "heron.glb", or { file = "heron.csv", names = { … } }'
            self._add(WRONG_KIND.at(site, message, help=help))
            return None, None, {}
        assert isinstance(file, Scalar)
        markers, source = self._marker_file(str(file.value), file.site, place, folder, root)
        names = self._marker_names(value, markers)
        return markers, source, names

    def _marker_file(
        self, written: str, site: Site, place: Placing, folder: Path | None, root: Path | None
    ) -> tuple[MarkerFile | None, SourceFile | None]:
        if folder is None:
            message = f"expected the folder of {quoted(written)}, found a sheet without a place"
            self._add(project.FILE_MISSING.at(site, message, help="save the sheet to a file"))
            return None, None
        root = folder if root is None else root
        path, findings = project.resolve(root, folder, written, site, limit=None)
        if path is None:
            self.findings.extend(findings)
            return None, None
        name = project.shown(path, root)
        file, findings = load_markers(path, name, site=site, unit=place.unit, axes=place.axes)
        self.findings.extend(findings)
        return file, None if file is None else SourceFile(name, str(path), file.digest)

    def _marker_names(self, value: Located, file: MarkerFile | None) -> dict[str, Measured[str]]:
        """Which marker stands for which point or side, as the sheet's table of names says."""
        table = value.get("names") if isinstance(value, Table) else None
        if table is None:
            return {}
        if not isinstance(table, Table):
            message = f"expected a table of names, found {described(table)}"
            help = 'for example names = { pelvis = "marker 1", "hip.left" = "marker 2" }'
            self._add(WRONG_KIND.at(table.site, message, help=help))
            return {}
        known: dict[str, int] = {}
        for marker in () if file is None else file.markers:
            known[marker.name] = known.get(marker.name, 0) + 1
        names: dict[str, Measured[str]] = {}
        for name, entry in _flat(table):
            if not is_text(entry.value):
                message = f"expected the name of a marker, found {described(entry.value)}"
                self._refuse(entry, WRONG_KIND.at(entry.value.site, message, help="use quotes"))
                continue
            assert isinstance(entry.value, Scalar)
            marker_name = str(entry.value.value)
            names[name] = Measured(marker_name, entry.value.site, entry.site)
            if file is None or known.get(marker_name) == 1:
                continue
            self.refused.add(name.partition(".")[0])
            self._add(_marker_finding(marker_name, entry.value.site, known))
        if file is None:
            self.refused.update(name.partition(".")[0] for name in names)
        return names

    def _overridden(self, sheet: Sheet) -> None:
        """Says where the sheet's own line goes before a marker, or stands beside a named one."""
        for name, site in _own_sites(sheet):
            for key in (name, f"{name}.left", f"{name}.right"):
                if key in sheet.marker_names:
                    again = sheet.marker_names[key].named_at
                    self._add(written_twice(name, again, site))
                    break
            else:
                found = next((m for m in spellings(name) if m in sheet.markers), None)
                if found is not None:
                    message = f"{quoted(name)} is taken from the sheet, not from its marker"
                    related = [(sheet.markers[found][0].site, "the marker is in this file")]
                    help = "leave out this line to use the marker"
                    self._add(MARKER_OVERRIDDEN.at(site, message, help=help, related=related))


def _is_row(value: Located) -> bool:
    """Whether a side is written as a list of positions."""
    return isinstance(value, Array) and any(isinstance(item, Array) for item in value.items)


def _pairs_of(rows: SideRows) -> Iterable[Sides]:
    """The pairs of a row of pairs, one side missing where it was not given."""
    left = rows.left.value if rows.left is not None else ()
    right = rows.right.value if rows.right is not None else ()
    for number in range(max(len(left), len(right))):
        yield Sides(left[number] if left else None, right[number] if right else None, rows.site)


def side_findings(name: str, pair: Sides) -> Iterable[Finding]:
    """Warnings for sides of a pair that lie across the plane between left and right."""
    for side, given, sign in (("left", pair.left, -1.0), ("right", pair.right, 1.0)):
        if given is not None and given.value[0] * sign > 0:
            other = "right" if side == "left" else "left"
            message = (
                f"expected the {side} side of {quoted(name)} on the character's {side},"
                f" found it on the {other}"
            )
            help = "left is the character's own left: seen from the front it is on your right"
            yield LEFT_ON_RIGHT.at(given.site, message, help=help)


def spellings(name: str) -> tuple[str, ...]:
    """How a marker for a point, or for either side of a pair, may be called."""
    sides = [f"{name}{sign}{side}" for side in ("left", "right") for sign in "._ "]
    return (name, *sides)


def _own_sites(sheet: Sheet) -> list[tuple[str, Site]]:
    named = [*sheet.points.items(), *sheet.rows.items()]
    return [
        *((name, one.named_at) for name, one in named),
        *((name, pair.site) for name, pair in sheet.pairs.items()),
        *((name, rows.site) for name, rows in sheet.pair_rows.items()),
    ]


def _flat(table: Table, before: str = "") -> Iterable[tuple[str, Entry]]:
    """Entries of a table of names; `hip.left` may be one quoted key or a dotted one."""
    for entry in table:
        name = before + entry.key
        if isinstance(entry.value, Table):
            yield from _flat(entry.value, name + ".")
        elif not is_refused(entry.value):
            yield name, entry


def _marker_finding(name: str, site: Site, known: dict[str, int]) -> Finding:
    """The finding for a marker that a sheet names and that is not there, or is there twice."""
    if name in known:
        message = f"expected one marker {quoted(name)}, found {known[name]}"
        return MARKER_TWICE.at(site, message, help="give the markers different names")
    close = nearest(name, known)
    help = f"did you mean {quoted(close)}?" if close else "names are those of the file's nodes"
    return MARKER_MISSING.at(site, f"expected a marker {quoted(name)}, found none", help=help)
