"""Findings as text for a person: the place, the line with carets, related places, one help line.

What comes in is findings and the lines they point at; what goes out is text whose carets stand
under the right characters of a terminal, whatever the line holds. Characters that would steer a
terminal are never passed on.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from unicodedata import category, east_asian_width

from somite.findings import Finding, Severity, has_errors
from somite.report import Lines
from somite.text import Site

WIDTH = 100
"""Columns of an excerpt's line; what is beyond is cut around the carets."""

TAB = 4
"""A tab in an excerpt goes on to the next multiple of this many columns."""

CUT = "..."
_STEERING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_UNSEEN = frozenset({"Mn", "Me", "Cf"})
_UNFIT = frozenset({"Cc", "Cs", "Zl", "Zp"})
_COLOURS: Mapping[str, str] = {
    "error": "\x1b[1;31m",
    "warning": "\x1b[1;33m",
    "note": "\x1b[1;36m",
    "strong": "\x1b[1m",
    "faint": "\x1b[2m",
}
_PLAIN = "\x1b[0m"


def human_text(findings: Iterable[Finding], lines: Lines, *, coloured: bool = False) -> str:
    """Findings one after another, each ended by an empty line; no findings, no text."""
    return "".join(f"{_one(finding, lines, coloured)}\n\n" for finding in findings)


def count_line(findings: Iterable[Finding]) -> str:
    """How many there are of each severity: `2 errors, 1 warning`; empty where there are none."""
    found = tuple(findings)
    counts = [(sum(f.severity is severity for f in found), severity) for severity in Severity]
    return ", ".join(f"{n} {severity}{'s' if n > 1 else ''}" for n, severity in counts if n)


def closing(findings: Iterable[Finding], *, coloured: bool = False) -> str:
    """The count line with its line end, in the colour of the worst severity."""
    found = tuple(findings)
    line = count_line(found)
    if not line:
        return ""
    return _painted(line, "error" if has_errors(found) else "strong", coloured) + "\n"


def shown(text: str) -> str:
    """Text fit for one line of a terminal: nothing in it that ends a line or steers."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(" " if char == "\n" else _cell(char)[0] for char in text)


def _one(finding: Finding, lines: Lines, coloured: bool) -> str:
    severity = str(finding.severity)
    head = _painted(f"{severity}[{finding.code}]", severity, coloured)
    message = _painted(shown(finding.message), "strong", coloured)
    place = f"{shown(str(finding.site))}: " if finding.site is not None else ""
    sites = [r.site for r in finding.related] + ([finding.site] if finding.site else [])
    gutter = max((len(str(site.line)) for site in sites), default=1) + 2
    rows = [f"{place}{head}: {message}"]
    if finding.site is not None:
        rows += _excerpt(finding.site, lines, gutter, severity, coloured)
    for related in finding.related:
        rows.append(f"  {shown(str(related.site))}: {shown(related.label)}")
        rows += _excerpt(related.site, lines, gutter, "strong", coloured)
    if finding.help is not None:
        rows.append(f"  {_painted('help', 'strong', coloured)}: {shown(finding.help)}")
    return "\n".join(rows)


def _excerpt(site: Site, lines: Lines, gutter: int, paint: str, coloured: bool) -> list[str]:
    line = lines(site.file, site.line)
    if line is None:
        return []
    text, indent, length = fitted(line, site.column, site.length, WIDTH - gutter - 3)
    number = _painted(f"{site.line:>{gutter}} |", "faint", coloured)
    margin = _painted(f"{'':>{gutter}} |", "faint", coloured)
    carets = _painted("^" * length, paint, coloured)
    return [f"{number} {text}".rstrip(), f"{margin} {' ' * indent}{carets}"]


def fitted(line: str, column: int, length: int, room: int) -> tuple[str, int, int]:
    """A line as a terminal shows it, cut to a room of columns, and where its carets go.

    Column (from one) and length count code points of the line. Returns the text, the columns
    before the first caret and the number of carets, which is at least one.
    """
    start = min(max(column - 1, 0), len(line))
    stop = min(max(start + length, start), len(line))
    # Whatever is shown lies within so many characters of the carets; the rest of a line that may
    # be megabytes long is not looked at. Characters of no width are allowed for, within reason.
    first = max(0, start - 8 * room)
    cells: list[str] = []
    width = before = marked = 0
    marks = (start, stop)
    ends: list[int] = []
    for index in range(first, min(len(line), start + 8 * room)):
        text, wide = _cell(line[index], width)
        before += wide if index < marks[0] else 0
        marked += wide if marks[0] <= index < marks[1] else 0
        width += wide
        cells.append(text)
        ends.append(width)
    if width <= room and first == 0 and first + len(cells) == len(line):
        return "".join(cells), before, max(1, marked)
    return _cut(cells, ends, before, max(1, marked), room, first > 0)


def _cut(
    cells: list[str], ends: list[int], before: int, marked: int, room: int, more: bool
) -> tuple[str, int, int]:
    """The cells around the carets that fit a room, with a sign where something was left out."""
    inner = room - 2 * len(CUT)
    low = 0 if before + min(marked, inner) <= inner and not more else max(0, before - inner // 3)
    starts = [0, *ends[:-1]]
    kept = [
        index
        for index, (begin, end) in enumerate(zip(starts, ends, strict=True))
        if begin >= low and end <= low + inner
    ]
    if not kept:
        return CUT, 0, 1
    origin = starts[kept[0]]
    left = CUT if kept[0] > 0 or more else ""
    right = CUT if ends[kept[-1]] < ends[-1] or kept[-1] + 1 < len(cells) else ""
    text = "".join(cells[kept[0] : kept[-1] + 1])
    indent = before - origin
    return left + text + right, len(left) + indent, max(1, min(marked, inner - indent))


def _cell(char: str, column: int = 0) -> tuple[str, int]:
    """A character as shown at a column, and the columns that it takes."""
    if char == "\t":
        wide = TAB - column % TAB
        return " " * wide, wide
    if char.isascii():
        return (char, 1) if char.isprintable() else ("\ufffd", 1)
    kind = category(char)
    if char in _STEERING or kind in _UNFIT:
        return "\ufffd", 1
    if kind in _UNSEEN:
        return char, 0
    return char, 2 if east_asian_width(char) in "WF" else 1


def _painted(text: str, paint: str, coloured: bool) -> str:
    return f"{_COLOURS[paint]}{text}{_PLAIN}" if coloured else text
