"""Findings kept in a stamp, so that a build with nothing to do still says its warnings.

What comes in is findings and sources; what goes out is plain values for JSON, and the findings
again. Only lines that the findings show are kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from somite.findings import Finding, Related, Severity
from somite.text import Site, Source


def plain_findings(findings: Iterable[Finding]) -> list[Any]:
    """Findings as lists and texts."""
    return [
        [
            finding.code,
            str(finding.severity),
            finding.message,
            _plain_site(finding.site),
            finding.help,
            [[_plain_site(related.site), related.label] for related in finding.related],
        ]
        for finding in findings
    ]


def findings_from(values: Iterable[Any]) -> tuple[Finding, ...]:
    """The findings that `plain_findings` made values of."""
    return tuple(
        Finding(
            code,
            Severity(severity),
            message,
            Site(*site) if site is not None else None,
            help,
            tuple(Related(Site(*where), label) for where, label in related),
        )
        for code, severity, message, site, help, related in values
    )


def lines_shown(
    findings: Iterable[Finding], sources: Mapping[str, Source]
) -> dict[str, dict[str, str]]:
    """The lines that findings show, by file and number."""
    lines: dict[str, dict[str, str]] = {}
    for finding in findings:
        for site in (finding.site, *(related.site for related in finding.related)):
            if site is not None and site.file in sources:
                line = sources[site.file].line(site.line)
                lines.setdefault(site.file, {})[str(site.line)] = line
    return lines


def _plain_site(site: Site | None) -> list[Any] | None:
    return None if site is None else [site.file, site.line, site.column, site.length]
