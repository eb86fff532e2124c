"""Tables for a terminal: columns under a head line, and one line a character of a cast.

What comes in is rows of texts, or verdicts; what goes out is text that reads without colour and in
any font of fixed width. Nothing is measured or judged here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from somite.findings import Finding
from somite.report.human import count_line, shown
from somite.report.verdict import Verdict, standing

GAP = "  "


def table(
    head: Sequence[str], rows: Iterable[Sequence[str]], *, numbers: Iterable[int] = ()
) -> str:
    """Rows under a head line, as wide as what they hold; `numbers` are columns set right."""
    cells = [[shown(cell) for cell in row] for row in (head, *rows)]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    right = frozenset(numbers)
    lines = []
    for row in cells:
        placed = [
            cell.rjust(width) if at in right else cell.ljust(width)
            for at, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append(GAP.join(placed).rstrip() + "\n")
    return "".join(lines)


def character_table(verdicts: Sequence[Verdict]) -> str:
    """One line a character: findings, each law that was tried, checks met of how many.

    The recipe has a column where there is more than one. A dash is what was not tried.
    """
    laws = {result.number: result.law for one in verdicts for result in one.laws or ()}
    words = [laws[number] for number in sorted(laws)]
    several = len({one.recipe for one in verdicts}) > 1
    head = [*(["recipe"] if several else []), "character", "findings", *words, "checks"]
    rows = [
        [*([one.recipe] if several else []), one.character, *_facts(one, words)] for one in verdicts
    ]
    return table(head, rows) + "\n" + summary(verdicts) + "\n"


NAMED = 8
"""The most builds that failed which are named below the table."""

STATES = {"built": "built", "unchanged": "up to date", "failed": "failed"}
"""What can become of a build, each with the words for it, in the order in which they are summed."""


@dataclass(frozen=True, slots=True)
class BuildRow:
    """One build of a cast as it is told. `files` counts its outputs, or those that were left."""

    recipe: str
    sheet: str
    state: str
    findings: tuple[Finding, ...]
    files: int

    @property
    def line(self) -> str:
        """The build in one line, without its findings."""
        kept = self.left if self.state == "failed" else f" ({_counted(self.files, 'file')})"
        return shown(f"{STATES[self.state]}: {self.sheet}{kept}")

    @property
    def left(self) -> str:
        """What a failure leaves as it was; empty where that is nothing."""
        files = _counted(self.files, "file")
        return f" ({files} of an earlier build left as they were)" if self.files else ""


def build_table(rows: Sequence[BuildRow]) -> str:
    """One line a build: what became of it, its findings, its files; how many of each, which failed.

    The recipe has a column where there is more than one.
    """
    several = len({row.recipe for row in rows}) > 1
    head = [*(["recipe"] if several else []), "sheet", "outcome", "findings", "files"]
    cells = [
        [
            *([row.recipe] if several else []),
            row.sheet,
            STATES[row.state],
            count_line(row.findings) or "none",
            f"{row.files} left" if row.state == "failed" and row.files else str(row.files),
        ]
        for row in rows
    ]
    wrong = [shown(row.sheet) for row in rows if row.state == "failed"]
    more = f" and {len(wrong) - NAMED} more" if len(wrong) > NAMED else ""
    failed = f"failed: {', '.join(wrong[:NAMED])}{more}\n" if wrong else ""
    counts = [(sum(row.state == state for row in rows), words) for state, words in STATES.items()]
    told = ", ".join(f"{count} {words}" for count, words in counts if count)
    return f"\n{table(head, cells)}\n{_counted(len(rows), 'character')}: {told}\n{failed}"


def _counted(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"


def _facts(one: Verdict, laws: Sequence[str]) -> list[str]:
    stood = {result.law: standing(result) for result in one.laws or ()}
    if one.checks is None:
        checks = "-"
    else:
        checks = f"{sum(result.met for result in one.checks)}/{len(one.checks)}"
    return [count_line(one.everything) or "none", *(stood.get(law, "-") for law in laws), checks]


def summary(verdicts: Sequence[Verdict]) -> str:
    """How many characters there are, and how many of them are not sound."""
    count = len(verdicts)
    wrong = sum(not one.sound for one in verdicts)
    characters = f"{count} character{'' if count == 1 else 's'}"
    return f"{characters}, {wrong} with something wrong" if wrong else f"{characters}, all sound"
