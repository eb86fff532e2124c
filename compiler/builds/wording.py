"""A team's own wording: a phrase file and a folder of templates, laid over a target's own.

What comes in is their paths; what goes out is texts by key and by name, with findings for what can
not be read. Which keys and names a target knows is the target's to say.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from somite import project
from somite.builds.stamp import files_in
from somite.findings import Code, Finding, has_errors
from somite.targets.written import Written, read_tables
from somite.text import Site, Source

PHRASES_SYNTAX = Code("phrases-syntax")
TEMPLATES_MISSING = Code("templates-missing")

TEMPLATES = 1_000
"""The most files that a folder of templates may hold."""


@dataclass(frozen=True, slots=True)
class Wording:
    """Phrases by key, templates by name (with `/` for folders), and the texts they came from."""

    phrases: Mapping[str, str] = field(default_factory=dict)
    templates: Mapping[str, str] = field(default_factory=dict)
    sources: Mapping[str, Source] = field(default_factory=dict)


def load(phrases: str | None, templates: str | None) -> tuple[Wording | None, tuple[Finding, ...]]:
    """The wording of a phrase file and a folder of templates, each optional."""
    worded, sources, findings = _phrases(phrases) if phrases is not None else ({}, {}, ())
    if templates is not None:
        overlaid, more, found = _templates(templates)
        sources, findings = {**sources, **more}, (*findings, *found)
    else:
        overlaid = {}
    if has_errors(findings):
        return None, findings
    return Wording(worded, overlaid, sources), findings


_Read = tuple[dict[str, str], dict[str, Source], tuple[Finding, ...]]


def _phrases(path: str) -> _Read:
    source, findings = project.read_source(Path(path))
    if source is None:
        return {}, {}, findings
    tables, findings = read_tables(source, PHRASES_SYNTAX)
    if tables is None:
        return {}, {source.name: source}, findings
    worded: dict[str, str] = {}
    wrong: list[Finding] = []
    for key, value in _flat(tables.values):
        site = tables.site(key)
        if isinstance(value, str):
            worded[key] = Written(value, site)
        else:
            message = f'expected a text for the phrase "{key}", found something else'
            wrong.append(PHRASES_SYNTAX.at(site, message, help="write the phrase in quotes"))
    return worded, {source.name: source}, (*findings, *wrong)


def _flat(table: Mapping[str, object], before: str = "") -> Iterator[tuple[str, object]]:
    """Every value of nested tables by its dotted key."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield before + key, value


def _templates(folder: str) -> _Read:
    if not os.path.isdir(folder):
        message = (
            f'expected a folder of templates, found none called "{project.shown(Path(folder))}"'
        )
        return {}, {}, (TEMPLATES_MISSING.at(None, message, help="check the path"),)
    texts: dict[str, str] = {}
    sources: dict[str, Source] = {}
    findings: list[Finding] = []
    for name, path in islice(files_in(folder), TEMPLATES):
        source, found = project.read_source(Path(path))
        findings += found
        if source is not None:
            texts[name] = Written(source.text, Site(source.name, 1, 1))
            sources[source.name] = source
    return texts, sources, tuple(findings)
