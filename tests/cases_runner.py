"""Cases: a recipe that states what should come of it, and needs no Python to add.

In comes a `.somite` file of `tests/cases/`, out goes what was expected of it beside what came:
findings from `#!` comments, and an outline of the rig from the `.golden` file beside it. How a case
is written is in `tests/cases/README.md`; nothing here knows pytest.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from outline import outline

from somite import pipeline
from somite.findings import Finding, has_errors
from somite.pipeline import Compiled
from somite.sheet import read
from somite.text import Source, clean

FOLDER = Path(__file__).parent / "cases"
EXERCISES = FOLDER / "exercises"
PROVED = ("laws", "sound")
"""Folders whose cases are held to the laws and to their own checks, and have no goldens."""

SHEET = "sheet of the case"
HEADER = ('character = "case"', 'unit = "cm"', 'up = "+Y"', 'front = "+Z"')
"""The head of every case's sheet; a line of the case replaces the one that begins like it."""

_SHEET_LINE = re.compile(r"^#\|(.*)$")
_EXPECTED = re.compile(r"#!\s*(error|warning|note)\[([a-z0-9-]+)\]:\s*(.*?)\s*(?=#!|$)")


@dataclass(frozen=True, slots=True)
class Expected:
    """A finding that a case expects on one of its lines: its message holds this text."""

    file: str
    line: int
    severity: str
    code: str
    text: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.severity}[{self.code}]: {self.text}"

    def met_by(self, finding: Finding) -> bool:
        """Whether a finding is the expected one."""
        site = finding.site
        return (
            site is not None
            and (site.file, site.line) == (self.file, self.line)
            and (finding.severity.value, finding.code) == (self.severity, self.code)
            and self.text in finding.message
        )


@dataclass(frozen=True, slots=True)
class Case:
    """One case: where it lies, and its text."""

    path: Path
    text: str

    @property
    def name(self) -> str:
        """Its folder and its stem."""
        return f"{self.path.parent.name}/{self.path.stem}"

    @property
    def golden(self) -> Path:
        """Where the outline of its rig is kept."""
        return self.path.with_suffix(".golden")


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a case: what is wrong with its findings, and its rig's outline if it has one."""

    problems: tuple[str, ...]
    outline: str | None


def cases(folder: Path = FOLDER) -> list[Case]:
    """Every case of a folder, by name; the exercises are tested by themselves."""
    paths = sorted(folder.glob("*/*.somite"))
    return [case_at(path) for path in paths if path.parent != EXERCISES]


def case_at(path: Path) -> Case:
    """The case in a file."""
    return Case(path, path.read_bytes().decode("utf-8"))


def compiled(case: Case) -> Compiled:
    """What the compiler makes of a case and its sheet."""
    source = Source(case.path.name, clean(case.text))
    recipe, findings = pipeline.read_text(source, case.path.resolve(), case.path.parent.resolve())
    folder = case.path.parent.resolve()
    sheet, more = read(Source(SHEET, sheet_text(source.text)), folder, folder)
    assert sheet is not None and recipe is not None, (*findings, *more)
    made = pipeline.compile_rig(recipe, sheet)
    settled = None if has_errors(more) else made.settled
    return Compiled(made.rig, settled, (*made.findings, *more), made.sources)


def sheet_text(text: str) -> str:
    """A case's sheet: its header, then the `#|` lines, each on the case's own line."""
    lines = [found[1] if (found := _SHEET_LINE.match(line)) else "" for line in text.split("\n")]
    begun = {line.split("=")[0].strip() for line in lines if "=" in line}
    header = ["" if line.split("=")[0].strip() in begun else line for line in HEADER]
    return "\n".join([*header, *lines])


def run(case: Case) -> Result:
    """Compile a case and hold its findings to what it expects."""
    made = compiled(case)
    texts = {source.name: source.text for source in made.sources.values()}
    texts[case.path.name] = clean(case.text)
    expected = list(expectations(texts))
    tried = case.path.parent.name in PROVED
    findings = [*made.findings, *(proved(made) if tried else ())]
    found = [_in_the_case(finding, case) for finding in findings]
    problems = list(_differences(expected, found))
    failing = any(one.severity == "error" for one in expected)
    if made.settled is None and not failing and not problems:
        problems.append("expected a rig, found none")
    shown = None if made.settled is None or tried else outline(made.settled)
    return Result(tuple(problems), shown)


def proved(made: Compiled) -> Iterator[Finding]:
    """What the laws and the recipe's own checks say of a rig."""
    from somite import checks, laws

    if made.settled is not None:
        for law in laws.prove(made.settled):
            yield from law.findings
        for check in checks.run(made.settled):
            yield from check.findings


def expectations(texts: Mapping[str, str]) -> Iterator[Expected]:
    """What the `#!` comments of the files of a case say."""
    for name, text in texts.items():
        for number, line in enumerate(text.split("\n"), 1):
            for severity, code, message in _EXPECTED.findall(line):
                yield Expected(name, number, severity, code, message)


def _in_the_case(finding: Finding, case: Case) -> Finding:
    """A finding on the sheet, where its line stands in the case."""

    site = finding.site
    if site is None or site.file != SHEET:
        return finding
    return replace(
        finding, site=replace(site, file=case.path.name, line=max(1, site.line - len(HEADER)))
    )


def _differences(expected: list[Expected], found: Iterable[Finding]) -> Iterator[str]:
    waiting = list(expected)
    for finding in found:
        met = next((one for one in waiting if one.met_by(finding)), None)
        if met is not None:
            waiting.remove(met)
            continue
        help_line = f" ({finding.help})" if finding.help else ""
        yield (
            f"found, and not expected: {finding.site}: "
            f"{finding.severity.value}[{finding.code}]: {finding.message}{help_line}"
        )
    for one in waiting:
        yield f"expected, and not found: {one}"


def held(case: Case, *, update: bool = False) -> tuple[str, ...]:
    """Everything in which a case is not as it says; with `update` its golden is rewritten first.

    A golden is never written for a case whose findings are not those it expects.
    """
    result = run(case)
    if result.problems:
        return result.problems
    if update:
        rewrite(case, result.outline)
    kept = case.golden.read_text(encoding="utf-8") if case.golden.exists() else None
    if kept == result.outline:
        return ()
    if kept is None:
        return (f"there is no {case.golden.name}: run pytest --update and read it",)
    if result.outline is None:
        return (f"{case.golden.name} belongs to no rig: run pytest --update",)
    return (f"the rig is not as {case.golden.name} has it:", *_lines_apart(kept, result.outline))


def rewrite(case: Case, text: str | None) -> None:
    """Write a case's golden, or take it away where it has no rig; nothing if it is right."""
    kept = case.golden.read_text(encoding="utf-8") if case.golden.exists() else None
    if kept == text:
        return
    if text is None:
        case.golden.unlink()
    else:
        case.golden.write_text(text, encoding="utf-8", newline="\n")


def _lines_apart(kept: str, made: str) -> list[str]:
    from difflib import unified_diff

    return list(unified_diff(kept.split("\n"), made.split("\n"), "golden", "now", lineterm=""))
