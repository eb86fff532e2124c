"""Findings as a JSON document with a published schema.

What comes in is findings; what goes out is one document, whose schema is generated from the same
records (`somite schema findings`). Positions count from one, columns in code points.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from somite.findings import Finding, Severity
from somite.version import VERSION

if TYPE_CHECKING:
    from pydantic import TypeAdapter

FORMAT: Literal["somite-findings 1"] = "somite-findings 1"
"""The name and version of the document's form."""


@dataclass(frozen=True, slots=True)
class Counts:
    """How many findings there are of each severity."""

    error: int
    warning: int
    note: int


@dataclass(frozen=True, slots=True)
class Report:
    """Every finding of one run, in the order that a person would read them."""

    format: Literal["somite-findings 1"]
    compiler: str
    findings: tuple[Finding, ...]
    counts: Counts


def report(findings: Iterable[Finding]) -> Report:
    """The report of findings, with their counts."""
    found = tuple(findings)
    numbers = {s: sum(finding.severity is s for finding in found) for s in Severity}
    counts = Counts(numbers[Severity.ERROR], numbers[Severity.WARNING], numbers[Severity.NOTE])
    return Report(FORMAT, VERSION, found, counts)


def json_text(findings: Iterable[Finding]) -> str:
    """The report of findings as JSON, two spaces a level, with a trailing newline."""
    values: dict[str, Any] = _adapter().dump_python(report(findings), mode="json")
    return json.dumps(values, indent=2, ensure_ascii=False) + "\n"


def read(text: str) -> Report:
    """A report read back. Raises ValueError where the text is not one."""
    return _adapter().validate_json(text)


def schema_text() -> str:
    """The JSON Schema of the report, as published in `compiler/schemas`."""
    schema = _adapter().json_schema()
    named = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return json.dumps(named, indent=2, ensure_ascii=False) + "\n"


def _adapter() -> TypeAdapter[Report]:
    from pydantic import TypeAdapter

    return TypeAdapter(Report)
