"""Findings: what is wrong, where, and how to mend it.

A finding is a value. Stages return the findings they made beside their result, and only the
command line turns them into text and an exit status. A code is declared once, beside the stage
that reports it; its page in `grammar/findings/` says what it means, with an example.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from somite.text import Site


class Severity(StrEnum):
    """How much a finding matters: an error stops outputs, a warning and a note do not."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Related:
    """Another place that belongs to a finding, with what it is: "chain declared here"."""

    site: Site
    label: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. `site` is None only where no text exists, such as a missing file."""

    code: str
    severity: Severity
    message: str
    site: Site | None
    help: str | None = None
    related: tuple[Related, ...] = ()


@dataclass(frozen=True, slots=True)
class Code:
    """A kind of finding: its kebab-case slug, never reused, and its severity."""

    slug: str
    severity: Severity = Severity.ERROR

    def at(
        self,
        site: Site | None,
        message: str,
        *,
        help: str | None = None,
        related: Iterable[tuple[Site, str]] = (),
    ) -> Finding:
        """A finding of this kind. Messages are lower case, no full stop, expected then found."""
        pairs = tuple(Related(where, label) for where, label in related)
        return Finding(self.slug, self.severity, message, site, help, pairs)


def has_errors(findings: Iterable[Finding]) -> bool:
    """Whether any finding is of error severity."""
    return any(finding.severity is Severity.ERROR for finding in findings)


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings without repeats, by file, line and column; those without a place come first."""

    def key(finding: Finding) -> tuple[str, int, int, str, str]:
        site = finding.site
        if site is None:
            return ("", 0, 0, finding.code, finding.message)
        return (site.file, site.line, site.column, finding.code, finding.message)

    return tuple(sorted(dict.fromkeys(findings), key=key))


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name closest in spelling, or None where none comes close."""
    from difflib import get_close_matches

    close = get_close_matches(name, list(known), n=1, cutoff=0.6)
    return close[0] if close else None


def listed(names: Iterable[str], *, most: int = 8) -> str:
    """Names as a person lists them: `"a", "b" or "c"`; a long list is cut with a count."""
    quoted = [f'"{name}"' for name in names]
    if len(quoted) > most:
        return ", ".join(quoted[:most]) + f" and {len(quoted) - most} more"
    if len(quoted) < 2:
        return "".join(quoted)
    return ", ".join(quoted[:-1]) + f" or {quoted[-1]}"
