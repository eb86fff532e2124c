"""One input through every stage, and what must hold of whatever comes out.

A trial takes the bytes of a recipe and of a sheet as if they lay in a project folder. It raises
`AssertionError` for a broken promise, `TooSlow` for a hang; anything else that escapes is a bug.
"""

from __future__ import annotations

import json
import math
import signal
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from somite import pipeline, project, sheet, targets
from somite.findings import Finding, has_errors, in_order
from somite.humanoid.named import NamedJoints
from somite.pipeline import Compiled
from somite.target import Context
from somite.text import Site, Source

SECONDS = 10.0
"""No input of a few kilobytes may take longer than this, on the slowest machine."""

RECIPE = "trial.somite"
SHEET = "trial.toml"
NAMELESS = NamedJoints("ISO/IEC 19774", 1, (), (), Site("names.toml", 1, 1))
"""No joint of a trial bears a name of the standard."""


class TooSlow(BaseException):
    """An input that was not answered in time; no `except Exception` may swallow it."""


@contextmanager
def watchdog(seconds: float = SECONDS, *, computing: bool = False) -> Iterator[None]:
    """Raise `TooSlow` in the block when its time is up; again each second, should it be swallowed.

    Only time spent `computing` counts where that is asked for: a busy machine is no hang.
    """

    def bark(number: int, frame: FrameType | None) -> None:
        raise TooSlow(f"no answer within {seconds} s")

    timer, alarm = signal.ITIMER_REAL, signal.SIGALRM
    if computing:
        timer, alarm = signal.ITIMER_PROF, signal.SIGPROF
    before = signal.signal(alarm, bark)
    signal.setitimer(timer, seconds, 1.0)
    try:
        yield
    finally:
        signal.setitimer(timer, 0.0)
        signal.signal(alarm, before)


def tried(
    recipe: bytes,
    character: bytes,
    root: Path,
    sheet_name: str = SHEET,
    *,
    seconds: float = SECONDS,
) -> tuple[Finding, ...]:
    """Compile a recipe for a sheet, write every output, and return every finding."""
    with watchdog(seconds, computing=True):
        texts: dict[str, Source] = {}
        lines = {RECIPE: _lines(recipe), sheet_name: _lines(character)}
        source, refused = project.decoded(recipe, RECIPE)
        told = list(refused)
        made = None
        if source is not None:
            texts[RECIPE] = source
            made, findings = pipeline.read_text(source, root / RECIPE, root)
            told += findings
        written, refused = project.decoded(character, sheet_name)
        told += refused
        measured = None
        if written is not None:
            texts[sheet_name] = written
            measured, findings = sheet.read(written)
            told += findings
        if made is not None:
            texts.update(made.sources)
        if made is None or measured is None:
            assert has_errors(told), "nothing came of the input, and no error says why"
            check_findings(told, texts, lines)
            return tuple(told)
        compiled = pipeline.compile_rig(made, measured)
        told += compiled.findings
        check_findings(told, texts, lines)
        assert compiled.findings == in_order(compiled.findings)
        if compiled.settled is None:
            assert has_errors(told), "no rig came of it, and no error says why"
        else:
            assert not has_errors(compiled.findings)
            told += check_outputs(compiled, texts, lines)
        return tuple(told)


def _lines(content: bytes) -> int:
    return content.count(b"\n") + content.count(b"\r") + 1


def check_outputs(
    compiled: Compiled, texts: Mapping[str, Source], lines: Mapping[str, int]
) -> list[Finding]:
    """Every built-in target has something to say, in plain numbers, or a finding."""
    assert compiled.settled is not None
    told: list[Finding] = []
    for name in targets.BUILT_IN:
        target, findings = targets.find(name)
        assert target is not None and not findings
        outputs, findings = target.emit(compiled.settled, Context(joints=NAMELESS))
        check_findings(findings, texts, lines)
        told += findings
        assert outputs or has_errors(findings)
        for output in outputs:
            assert output.text.encode().endswith(b"\n")
            if output.suffix.endswith(".json"):
                for number in _numbers(json.loads(output.text)):
                    assert math.isfinite(number)
    return told


def _numbers(value: object) -> Iterator[float]:
    level = [value]
    while level:
        one = level.pop()
        if isinstance(one, dict):
            level.extend(one.values())
        elif isinstance(one, list):
            level.extend(one)
        elif isinstance(one, float):
            yield one


def check_findings(
    findings: Iterable[Finding],
    texts: Mapping[str, Source],
    lines: Mapping[str, int],
) -> None:
    """Findings can be shown: sites inside their files, words that every terminal takes."""
    for finding in findings:
        words = f"{finding.message}{finding.help or ''}"
        assert finding.message and words.isprintable(), finding
        assert words.encode()
        if finding.site is not None:
            check_site(finding.site, texts, lines)
        for related in finding.related:
            check_site(related.site, texts, lines)


def check_site(site: Site, texts: Mapping[str, Source], lines: Mapping[str, int]) -> None:
    """A site lies inside the text of its file."""
    assert site.line >= 1 and site.column >= 1 and site.length >= 1, site
    source = texts.get(site.file)
    if source is None:
        assert site.line <= lines[site.file], site
        return
    assert site.line <= len(source.starts), site
    width = len(source.line(site.line))
    assert site.column <= width + 1, (site, width)
    assert site.column + site.length <= max(width, site.column) + 1, (site, width)
