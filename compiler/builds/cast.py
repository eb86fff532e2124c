"""The cast: which recipes are built for which sheets, with findings for what is wrong.

What comes in is the path of a `cast.toml`; what goes out is its builds. Every mistake is a finding
at the file's own line. Nothing here reads a recipe or a sheet.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

from somite import project
from somite.builds import cast_file
from somite.builds.cast_file import Cast, Entry, Fault, Where
from somite.builds.job import Job
from somite.findings import Code, Finding, nearest
from somite.text import Site, Source

CAST_SYNTAX = Code("cast-syntax")
CAST_KEY = Code("cast-key")
CAST_VALUE = Code("cast-value")
CAST_MISSING = Code("cast-missing")

_CODES = {
    "syntax": CAST_SYNTAX,
    "key": CAST_KEY,
    "value": CAST_VALUE,
    "missing": CAST_MISSING,
}


def load(path: Path) -> tuple[tuple[Job, ...], tuple[Finding, ...], Source | None]:
    """The builds of a cast file, findings about it, and its text.

    What is not there stops only what needs it; a mistake in the file itself stops all.
    """
    source, unread = project.read_source(path)
    if source is None:
        return (), unread, None
    folder = os.path.dirname(path)
    cast, faults = cast_file.read(source.text, folder)
    if cast is None:
        return (), tuple(_finding(fault, source) for fault in faults), source
    findings: list[Finding] = []
    jobs: list[Job] = []
    for number, entry in enumerate(cast.entries):
        found, unfit = _absent(cast, entry, ("build", number), source)
        findings += found
        of_entry = cast_file.jobs(cast._replace(entries=(entry,)))
        jobs += [job for job in of_entry if not unfit & {job.recipe, job.sheet}]
    return tuple(jobs), tuple(findings), source


def _absent(
    cast: Cast, entry: Entry, where: Where, source: Source
) -> tuple[list[Finding], set[str]]:
    """What is not there, and the recipe or sheets, by path, that can not be built for it.

    That is a recipe or a names file, patterns that no sheet matches, and sheets that lie elsewhere.
    """
    base = Path(cast.folder or os.curdir)
    site = place(source, (*where, "recipe"))
    _, found = project.resolve(base, base, entry.recipe, site)
    findings = list(found)
    if entry.names is not None:
        at = place(source, (*where, "names"))
        if re.match(r"\s*[\"']?names\b", source.line(at.line)) is None:
            at = place(source, ("names",))  # What stands at the top is meant for every build.
        findings += project.resolve(base, base, entry.names, at)[1]
    unfit = {os.path.normpath(os.path.join(cast.folder, entry.recipe))} if findings else set()
    for pattern in entry.sheets:
        site = place(source, (*where, "sheets"), pattern)
        sheets = cast_file.matches(cast.folder, pattern)
        if not sheets:
            message = f'expected sheets, found no file that matches "{pattern}"'
            help = "check the pattern: it starts from the folder of cast.toml"
            findings.append(CAST_MISSING.at(site, message, help=help))
        for sheet in sheets:
            written = Path(os.path.relpath(sheet, base)).as_posix()
            _, found = project.resolve(base, base, written, site)
            findings += found
            unfit |= {sheet} if found else set()
    return findings, unfit


def _finding(fault: Fault, source: Source) -> Finding:
    code = _CODES[fault.kind]
    if fault.line:
        return code.at(_at(source, fault.line, fault.column), fault.message, help=fault.help)
    help = fault.help
    if fault.kind == "key":
        known = cast_file.TOP_KEYS if len(fault.where) == 1 else cast_file.BUILD_KEYS
        close = nearest(str(fault.where[-1]), known)
        help = f'did you mean "{close}"?' if close else help
    return code.at(place(source, fault.where), fault.message, help=help)


def place(source: Source, where: Where, text: str | None = None) -> Site:
    """Where a key of the file is written, or a text in its value; else the nearest thing known."""
    start, stop = 1, len(source.starts)
    if len(where) > 1:
        start, stop = _table(source, int(where[1]))
    key = where[-1] if where else None
    if not isinstance(key, str):
        return _at(source, start, 1, len(source.line(start)))
    for number in range(start, stop + 1):
        line = source.line(number)
        # A key may be quoted; what a header names is found the same way.
        written = re.match(rf"\s*(?:\[\[\s*)?([\"']?{re.escape(key)}[\"']?)\s*(?:=|\])", line)
        if written:
            if text is not None:
                return _text_after(source, number, stop, text) or _at(source, number, 1)
            return _at(source, number, written.start(1) + 1, len(written[1]))
        if not where[1:] and line.lstrip().startswith("[") and key != "build":
            break
    return _at(source, start, 1, len(source.line(start)))


def _text_after(source: Source, first: int, last: int, text: str) -> Site | None:
    for number in range(first, last + 1):
        for quote in "\"'":
            column = source.line(number).find(quote + text + quote)
            if column >= 0:
                return _at(source, number, column + 1, len(text) + 2)
    return None


def _table(source: Source, index: int) -> tuple[int, int]:
    """The first and last line of a `[[build]]`, counted from zero; the whole file if not found."""
    heads = [
        number
        for number in range(1, len(source.starts) + 1)
        if re.match(r"\s*\[\[\s*[\"']?build[\"']?\s*\]\]", source.line(number))
    ]
    if index >= len(heads):
        return 1, len(source.starts)
    return heads[index], heads[index + 1] - 1 if index + 1 < len(heads) else len(source.starts)


def _at(source: Source, line: int, column: int, length: int = 1) -> Site:
    return Site(source.name, line, column, max(1, length))
