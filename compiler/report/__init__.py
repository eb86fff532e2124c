"""Findings as text for people, and as documents for machines.

What comes in is findings and a way to look up the lines they point at; what goes out is one text.
Nothing here decides what is a finding, and nothing here writes to a stream or a file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from somite.findings import Finding
    from somite.text import Source

FORMS = ("human", "json", "sarif")
"""How findings can be written."""

Lines = Callable[[str, int], "str | None"]
"""The text of a line, by file name and number; None where it is not known."""


def lines_of(sources: Mapping[str, Source]) -> Lines:
    """A look-up of lines in sources by name."""

    def line(file: str, number: int) -> str | None:
        source = sources.get(file)
        return source.line(number) if source is not None else None

    return line


class Kept:
    """A look-up of lines that holds nothing else: fit to be sent to another process, or stored."""

    __slots__ = ("_lines",)

    def __init__(self, lines: Mapping[str, Mapping[str, str]]) -> None:
        """Lines by file name, then by number as text, as JSON has them."""
        self._lines = lines

    def __call__(self, file: str, number: int) -> str | None:
        return self._lines.get(file, {}).get(str(number))


def document(findings: Iterable[Finding], form: str) -> str:
    """Findings as one document for a machine: `json` or `sarif`. ValueError for another form."""
    if form == "json":
        from somite.report.json_form import json_text

        return json_text(findings)
    if form == "sarif":
        from somite.report.sarif import sarif_text

        return sarif_text(findings)
    raise ValueError(f"not a form of document: {form!r}")
