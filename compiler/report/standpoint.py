"""Where a reader stands: files of a project as they are reached from the current folder.

Findings name files from their project's folder, so that a build says the same wherever it is
started. A person at a terminal wants names that can be opened from there.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace

from somite.findings import Finding, Related
from somite.report import Lines
from somite.text import Site


def seen_from_here(
    findings: Iterable[Finding], lines: Lines, root: str
) -> tuple[tuple[Finding, ...], Lines]:
    """Findings with their files named from the current folder, and the look-up that fits them."""
    told: dict[str, str] = {}

    def moved(site: Site) -> Site:
        name = site.file
        path = os.path.join(root, name)
        if not os.path.isabs(name) and os.path.lexists(path):
            name = os.path.relpath(path).replace(os.sep, "/")
        told.setdefault(name, site.file)
        return replace(site, file=name) if name != site.file else site

    seen = tuple(
        [
            replace(
                finding,
                site=None if finding.site is None else moved(finding.site),
                related=tuple(
                    [Related(moved(related.site), related.label) for related in finding.related]
                ),
            )
            for finding in findings
        ]
    )
    return seen, lambda file, number: lines(told.get(file, file), number)
