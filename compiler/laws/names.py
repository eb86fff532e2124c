"""Names: unique, of one pattern, and still distinct as outputs spell them, in small letters too."""

from __future__ import annotations

import re
from collections.abc import Iterator

from somite.findings import Code
from somite.ir import Curve, Gauge, Node
from somite.laws.law import Breach, Law
from somite.laws.trial import Trial

LAW_NAMES = Code("law-names")

PATTERN = re.compile(r"[A-Za-z_][A-Za-z0-9_]*(\.([A-Za-z_][A-Za-z0-9_]*|[0-9]+))*")
"""Segments of letters, digits and `_`, or numbers, between dots."""


def breaches(trial: Trial) -> Iterator[Breach]:
    """Nodes, curves and gauges: what outputs name."""
    seen: dict[str, Node | Curve | Gauge] = {}
    records: list[Node | Curve | Gauge] = [*trial.rig.nodes, *trial.rig.curves, *trial.rig.gauges]
    for record in records:
        statement = trial.statements[record.name]
        if not PATTERN.fullmatch(record.name):
            yield Breach(
                statement,
                f'expected a name of letters, digits, "_" and dots, found "{record.name}"',
                "rename it",
            )
        other = seen.setdefault(record.spelled.casefold(), record)
        if other is not record:
            yield Breach(
                statement,
                "expected names that differ in every output, capitals or not, found"
                f' "{other.name}", spelled "{other.spelled}", and "{record.name}", spelled'
                f' "{record.spelled}"',
                "rename one of them, or choose another spelling in the recipe's header",
                (trial.statements[other.name],),
            )


LAW = Law(
    9,
    "names",
    "names are unique, of one pattern, and stay distinct in every output",
    LAW_NAMES,
    breaches,
)
