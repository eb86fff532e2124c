"""What was found of one character: findings, laws and checks, ready to be shown.

What comes in is what the compiler, the laws and the checks said; what goes out is one record, and
the words by which a reader knows how each law fared. Nothing here evaluates or judges anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from somite.findings import Finding, has_errors
from somite.report import Lines

if TYPE_CHECKING:
    from somite.checks import CheckResult
    from somite.laws import Result

Standing = Literal["held", "broken", "excused"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """One character of one recipe; `sheet` is None where the recipe was looked at alone.

    `findings` are those of compiling; laws and checks bring their own. Both are None where they
    were not tried, because the rig did not compile or nobody asked.
    """

    recipe: str
    character: str
    sheet: str | None
    findings: tuple[Finding, ...]
    lines: Lines
    laws: tuple[Result, ...] | None = None
    checks: tuple[CheckResult, ...] | None = None

    @property
    def everything(self) -> tuple[Finding, ...]:
        """The findings of compiling, then those of the laws, then those of the checks."""
        found = list(self.findings)
        for law in self.laws or ():
            found.extend(law.findings)
        for check in self.checks or ():
            found.extend(check.findings)
        return tuple(found)

    @property
    def broken(self) -> tuple[Result, ...]:
        """The laws that do not hold and are not excused."""
        return tuple(result for result in self.laws or () if standing(result) == "broken")

    @property
    def unmet(self) -> tuple[CheckResult, ...]:
        """The checks that are not met."""
        return tuple(result for result in self.checks or () if not result.met)

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong with the character."""
        return not (has_errors(self.everything) or self.broken or self.unmet)


def standing(result: Result) -> Standing:
    """How a law fared: a breach that the recipe excuses is neither held nor broken."""
    if not result.held:
        return "broken"
    return "excused" if result.excused else "held"
