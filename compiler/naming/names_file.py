"""The file that says which joints of a recipe bear which names of ISO/IEC 19774.

What comes in is the file's text; what goes out is its entries, both sides written out, or findings
for what has no meaning. Nothing here knows a rig.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from somite.findings import Code, Finding, listed, nearest
from somite.humanoid import standard
from somite.targets.written import Tables, read_tables
from somite.text import Site, Source

NAMES_FORM = Code("names-form")
NAMES_JOINT = Code("names-joint")
NAMES_TWICE = Code("names-twice")

KEYS = ("standard", "loa", "joints", "both_sides")
STANDARDS = ("H-Anim",)
WAYS = ("spread", "first", "last")
"""How a run of a rig's joints is laid over a run of the standard's."""

_EXAMPLE = 'write "arm.left.upper" = "l_shoulder", or "spine.back" = "vl5..vt1"'


@dataclass(frozen=True, slots=True)
class Entry:
    """A joint of a rig and its name; with `last`, a run of joints for those from `name` to `last`.

    `way` says how the run is laid over the standard's: spread over the whole, or one by one from
    the first or from the last.
    """

    node: str
    name: str
    last: str | None
    way: str
    site: Site


@dataclass(frozen=True, slots=True)
class Names:
    """A names file: the level of articulation it is meant for, and its entries."""

    level: int
    entries: tuple[Entry, ...]
    source: Source


def read(source: Source) -> tuple[Names | None, tuple[Finding, ...]]:
    """The names in a file's text; None where anything in it has no meaning."""
    tables, findings = read_tables(source, NAMES_FORM)
    if tables is None:
        return None, findings
    found = [*_head_findings(tables)]
    entries = [
        *_entries(tables, "joints", found),
        *(
            sided
            for entry in _entries(tables, "both_sides", found)
            for sided in _both(entry, found)
        ),
    ]
    found += _twice(entries)
    if found:
        return None, tuple(found)
    level = tables.values.get("loa", standard.LEVELS[-1])
    assert isinstance(level, int)
    return Names(level, tuple(entries), source), ()


def load(path: str) -> tuple[Names | None, tuple[Finding, ...], dict[str, Source]]:
    """The names in a file, findings about it, and its text by its name."""
    from pathlib import Path

    from somite import project

    source, findings = project.read_source(Path(path))
    if source is None:
        return None, findings, {}
    names, findings = read(source)
    return names, findings, {source.name: source}


def level_problem(level: object) -> str | None:
    """What is wrong with a level of articulation, in words; None where it is held."""
    if type(level) is int and level in standard.LEVELS:
        return None
    return f"expected a level of articulation of 1 to {standard.LEVELS[-1]}, found {level!r}"


def _head_findings(tables: Tables) -> Iterator[Finding]:
    for key in tables.values:
        if key not in KEYS:
            close = nearest(key, KEYS)
            message = f'expected {listed(KEYS)}, found "{key}"'
            help = f'did you mean "{close}"?' if close else _EXAMPLE
            yield NAMES_FORM.at(tables.site(key), message, help=help)
    stated = tables.values.get("standard")
    if stated not in STANDARDS:
        found = "none" if stated is None else f'"{stated}"'
        message = f"expected the standard {listed(STANDARDS)}, found {found}"
        yield NAMES_FORM.at(tables.site("standard"), message, help='write standard = "H-Anim"')
    problem = level_problem(tables.values.get("loa", standard.LEVELS[-1]))
    if problem is not None:
        yield NAMES_FORM.at(tables.site("loa"), problem, help="write loa = 3, or leave it out")


def _entries(tables: Tables, section: str, findings: list[Finding]) -> Iterator[Entry]:
    table = tables.values.get(section, {})
    if not isinstance(table, Mapping):
        message = f'expected a section of names, found something else under "{section}"'
        findings.append(NAMES_FORM.at(tables.site(section), message, help=f"write [{section}]"))
        return
    for node, value in _flat(table):
        site = tables.site(f"{section}.{node}")
        entry = _entry(node, value, site)
        if isinstance(entry, Finding):
            findings.append(entry)
        else:
            yield entry


def _flat(table: Mapping[str, object], before: str = "") -> Iterator[tuple[str, object]]:
    """Every entry by its dotted name, whether it was written in quotes or not."""
    for key, value in table.items():
        if isinstance(value, dict) and not {"over", "from"} & value.keys():
            yield from _flat(value, f"{before}{key}.")
        else:
            yield before + key, value


def _entry(node: str, value: object, site: Site) -> Entry | Finding:
    way = "spread"
    if isinstance(value, dict):
        extra = [key for key in value if key not in ("over", "from")]
        way = value.get("from", "spread")
        if extra or way not in WAYS or not isinstance(value.get("over"), str):
            message = f'expected a run of names for "{node}", found something else'
            help = f'write {{ over = "vl5..vt1", from = "first" }}; from is {listed(WAYS)}'
            return NAMES_FORM.at(site, message, help=help)
        value = value["over"]
    if not isinstance(value, str) or not value:
        message = f'expected the name of a joint in quotes for "{node}", found something else'
        return NAMES_FORM.at(site, message, help=_EXAMPLE)
    first, dots, last = (part.strip() for part in value.partition(".."))
    for name in (first, last) if dots else (first,):
        if name not in standard.joints():
            return _unknown(name, site)
    if dots and first not in standard.ancestors(last):
        message = f'expected the run from a joint to one below it, found "{first}" to "{last}"'
        help = "a run goes down the hierarchy of the standard: vl5..vt1"
        return NAMES_JOINT.at(site, message, help=help)
    return Entry(node, first, last if dots else None, str(way), site)


def _unknown(name: str, site: Site) -> Finding:
    message = f'expected the name of a joint of {standard.STANDARD}, found "{name}"'
    newer = standard.newer_names().get(name)
    close = nearest(name, standard.joints())
    help = f'did you mean "{close}"?' if close else "its names are such as l_hip, vl5, skullbase"
    if newer is not None:
        help = f'it is called "{newer}" since the edition of 2019'
    return NAMES_JOINT.at(site, message, help=help)


def _both(entry: Entry, findings: list[Finding]) -> Iterator[Entry]:
    """An entry of the left, and the same of the right."""
    segments = entry.node.split(".")
    if segments.count("left") != 1 or not entry.name.startswith("l_"):
        message = f'expected a joint of the left for both sides, found "{entry.node}"'
        message += f' as "{entry.name}"'
        help = (
            'write the left: "arm.left.upper" = "l_shoulder"; what has no sides is under [joints]'
        )
        findings.append(NAMES_FORM.at(entry.site, message, help=help))
        return
    yield entry
    yield Entry(
        ".".join("right" if segment == "left" else segment for segment in segments),
        standard.other_side(entry.name),
        None if entry.last is None else standard.other_side(entry.last),
        entry.way,
        entry.site,
    )


def _twice(entries: list[Entry]) -> Iterator[Finding]:
    """Findings for a node or a name that has two entries."""
    nodes: dict[str, Entry] = {}
    names: dict[str, Entry] = {}
    for entry in entries:
        before = nodes.setdefault(entry.node, entry)
        if before is not entry:
            yield _again(f'one name for "{entry.node}"', entry, before)
        run: tuple[str, ...] = (entry.name,)
        if entry.last is not None:
            run = standard.run(entry.name, entry.last, standard.LEVELS[-1])
        for name in run:
            before = names.setdefault(name, entry)
            if before is not entry:
                yield _again(f'one joint for "{name}"', entry, before)
                break


def _again(what: str, entry: Entry, before: Entry) -> Finding:
    related = [(before.site, "named here first")]
    help = "keep one of the two"
    return NAMES_TWICE.at(entry.site, f"expected {what}, found two", help=help, related=related)
