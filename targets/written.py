"""Text and TOML tables that remember where they were written.

What comes in is a project file of a team's own wording or of a target; what goes out is its text
or its values with a site for each, so that a mistake found later still points at its line. Nothing
here knows what the keys mean.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from somite.findings import Code, Finding
from somite.text import Site, Source

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]#]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*=""")
_PLACE = re.compile(r"\(at (?:line (\d+), column (\d+)|end of document)\)")


class Written(str):
    """A string with the site of its first character, where that is known."""

    __slots__ = ("site",)
    site: Site | None

    def __new__(cls, text: str, site: Site | None = None) -> Written:
        """The text, written at that site."""
        made = super().__new__(cls, text)
        made.site = site
        return made


def site_of(text: str) -> Site | None:
    """Where a string was written, if it knows: of any kind of string that has a `site`."""
    site = getattr(text, "site", None)
    return site if isinstance(site, Site) else None


@dataclass(frozen=True, slots=True)
class Tables:
    """The values of a TOML file, and the sites of its keys by dotted name.

    The entries of an array of tables are numbered from zero: `outputs.0.suffix`.
    """

    values: Mapping[str, object]
    sites: Mapping[str, Site]
    whole: Site

    def site(self, dotted: str) -> Site:
        """Where a key was written, or else the nearest table around it, or else the file."""
        name = dotted
        while name:
            found = self.sites.get(name)
            if found is not None:
                return found
            name = name.rpartition(".")[0]
        return self.whole


def read_tables(source: Source, mistake: Code) -> tuple[Tables | None, tuple[Finding, ...]]:
    """The tables of a TOML file; text that is not TOML is a finding of the code given."""
    import tomllib

    whole = Site(source.name, 1, 1)
    try:
        values = tomllib.loads(source.text)
    except tomllib.TOMLDecodeError as problem:
        return None, (_not_toml(source, str(problem), mistake),)
    except RecursionError:
        message = "expected a flat table of texts, found values nested too deep"
        return None, (mistake.at(whole, message, help="write one text for one key"),)
    return Tables(values, _key_sites(source), whole), ()


def _not_toml(source: Source, problem: str, mistake: Code) -> Finding:
    where = _PLACE.search(problem)
    line, column = len(source.starts), 1
    if where is not None and where[1] is not None:
        line, column = int(where[1]), int(where[2])
    reason = _PLACE.sub("", problem).strip().rstrip(".")
    reason = reason[:1].lower() + reason[1:]
    site = Site(source.name, line, column)
    return mistake.at(site, f"expected TOML, found a mistake: {reason}", help="mend this line")


def _key_sites(source: Source) -> dict[str, Site]:
    """The sites of keys, found line by line; the inner lines of long strings may add needless ones.

    The first of a name stays, so that a needless one never hides a key that came before it.
    """
    sites: dict[str, Site] = {}
    counts: dict[str, int] = {}
    table = ""
    for number, line in enumerate(source.text.split("\n"), start=1):
        header = _HEADER.match(line)
        if header is not None:
            table = _plain(header[2])
            if header[1] == "[[":
                index = counts.get(table, 0)
                counts[table] = index + 1
                table = f"{table}.{index}"
            sites.setdefault(table, Site(source.name, number, header.start(1) + 1))
            continue
        key = _KEY.match(line)
        if key is not None:
            name = _plain(key[1])
            dotted = f"{table}.{name}" if table else name
            sites.setdefault(dotted, Site(source.name, number, key.start(1) + 1, len(key[1])))
    return sites


def _plain(dotted: str) -> str:
    return ".".join(part.strip().strip("\"'") for part in dotted.split("."))
