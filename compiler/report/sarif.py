"""Findings as a SARIF 2.1.0 log, the form that code review tools read.

What comes in is findings; what goes out is one log of one run. Source: Static Analysis Results
Interchange Format (SARIF) Version 2.1.0, OASIS Standard, 27 March 2020. Files are named by
relative URIs, so that a log says nothing of the machine that wrote it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import quote

from somite.explain import pages
from somite.findings import Finding
from somite.text import Site
from somite.version import VERSION

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/os/schemas/sarif-schema-2.1.0.json"


def sarif_text(findings: Iterable[Finding]) -> str:
    """Findings as a SARIF log, two spaces a level, with a trailing newline."""
    found = tuple(findings)
    codes = sorted({finding.code for finding in found})
    known = pages()
    driver = {
        "name": "Somite",
        "version": VERSION,
        "semanticVersion": VERSION,
        "rules": [_rule(code, known) for code in codes],
    }
    run = {
        "tool": {"driver": driver},
        "columnKind": "unicodeCodePoints",
        "results": [_result(finding, codes.index(finding.code)) for finding in found],
    }
    log = {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}
    return json.dumps(log, indent=2, ensure_ascii=False) + "\n"


def _rule(code: str, known: Mapping[str, str]) -> dict[str, Any]:
    from somite.explain import meaning

    rule: dict[str, Any] = {"id": code}
    page = known.get(code)
    if page is not None:
        rule["shortDescription"] = {"text": meaning(page)}
        rule["help"] = {"text": page, "markdown": page}
    return rule


def _result(finding: Finding, index: int) -> dict[str, Any]:
    text = finding.message if finding.help is None else f"{finding.message}\nhelp: {finding.help}"
    result: dict[str, Any] = {
        "ruleId": finding.code,
        "ruleIndex": index,
        "level": str(finding.severity),
        "message": {"text": text},
    }
    if finding.site is not None:
        result["locations"] = [_location(finding.site)]
    if finding.related:
        result["relatedLocations"] = [
            {"id": number, **_location(related.site), "message": {"text": related.label}}
            for number, related in enumerate(finding.related, 1)
        ]
    return result


def _location(site: Site) -> dict[str, Any]:
    region = {
        "startLine": site.line,
        "startColumn": site.column,
        "endColumn": site.column + site.length,
    }
    place = {"artifactLocation": {"uri": relative_uri(site.file)}, "region": region}
    return {"physicalLocation": place}


def relative_uri(file: str) -> str:
    """A file's name as a relative URI reference; an absolute name is taken from where we are."""
    if os.path.isabs(file):
        file = os.path.relpath(file)
    path = quote(file.replace(os.sep, "/"), safe="/", encoding="utf-8", errors="surrogateescape")
    # A colon in the first segment would read as a scheme (RFC 3986, section 4.2); it is quoted.
    return path
