"""A job rendered: its recipe compiled, its targets asked for their files. Nothing is written.

What comes in is a job and the functions that do the work; what goes out is one value that holds all
that the writer needs, so that it can be made in another process or on another machine. Nothing here
knows what lies in the output folder.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from somite import project
from somite.builds import stamp
from somite.builds.job import Job
from somite.builds.stamp_findings import lines_shown
from somite.builds.wording import Wording
from somite.findings import Code, Finding, has_errors, in_order
from somite.report import Kept
from somite.report.bug import bug, details
from somite.target import Context, Output, Target
from somite.text import Source
from somite.version import VERSION

if TYPE_CHECKING:
    from somite.humanoid.named import NamedJoints
    from somite.ir import Rig
    from somite.settle import Settled

SAME_OUTPUT = Code("same-output")
OUTPUT_NAME = Code("output-name")


class Compiled(Protocol):
    """What compiling gives: see `somite.pipeline.Compiled`."""

    @property
    def settled(self) -> Settled | None: ...
    @property
    def findings(self) -> tuple[Finding, ...]: ...
    @property
    def sources(self) -> Mapping[str, Source]: ...
    @property
    def inputs(self) -> tuple[Path, ...]: ...
    @property
    def recipe_digest(self) -> str: ...
    @property
    def sheet_digest(self) -> str: ...


Found = tuple[Target | None, tuple[Finding, ...]]


@dataclass(frozen=True, slots=True)
class Tools:
    """The functions that a build is done with: compiling, finding targets, reading wording."""

    compile: Callable[[Path, Path | None], Compiled]
    find: Callable[[str], Found]
    word: Callable[[str | None, str | None], tuple[Wording | None, tuple[Finding, ...]]]


def usual_tools() -> Tools:
    """The tools of the command line: the pipeline, and the targets that are installed."""
    from somite.builds import wording
    from somite.builds.compiling import Desk
    from somite.targets import find

    return Tools(Desk().compile, find, wording.load)


@dataclass(frozen=True, slots=True)
class Rendered:
    """What came of a job before anything is written: plain values, fit to be sent.

    `name` is what its outputs are called by, None where it did not compile. `findings` are those of
    compiling, `emitted` those of the targets, and `lines` holds the lines that both show. `files`
    are bytes by file name by target; `inputs` are digests by path, None where a file changed while
    it was read.
    """

    findings: tuple[Finding, ...]
    lines: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    name: str | None = None
    character: str = ""
    emitted: tuple[Finding, ...] = ()
    files: Mapping[str, Mapping[str, bytes]] = field(default_factory=dict)
    inputs: Mapping[str, str] | None = None
    trace: str = ""

    @property
    def kept(self) -> Kept:
        """The look-up of the lines."""
        return Kept(self.lines)


def rendered(job: Job, tools: Tools) -> Rendered:
    """A job rendered. A mistake of Somite's own becomes a finding, so that it stops no other."""
    try:
        return _rendered(job, tools)
    except Exception as error:
        finding = bug(f"built {project.shown(Path(job.sheet))}")
        return Rendered((finding,), trace=details(error, os.environ))


def _rendered(job: Job, tools: Tools) -> Rendered:
    wording, unworded = tools.word(job.phrases, job.templates)
    compiled = tools.compile(Path(job.recipe), Path(job.sheet))
    targets, unfound = _targets(job.targets, tools)
    findings = in_order((*compiled.findings, *unworded, *unfound))
    sources = {**compiled.sources, **(wording.sources if wording else {})}
    settled = compiled.settled
    if settled is None or wording is None or has_errors(findings):
        return Rendered(findings, lines_shown(findings, sources))
    settled, joints, unnamed, texts = _with_names(job, settled)
    findings, sources = in_order((*findings, *unnamed)), {**sources, **texts}
    if settled is None or has_errors(findings):
        return Rendered(findings, lines_shown(findings, sources))
    name = _name(settled.rig)
    context = _context(compiled, wording, joints, job.people)
    files: dict[str, dict[str, bytes]] = {}
    emitted: list[Finding] = []
    for key, target in targets.items():
        outputs, found = target.emit(settled, context)
        files[key], misnamed = _named(name, target, outputs, files)
        emitted += [*found, *misnamed]
    return Rendered(
        findings,
        lines_shown((*findings, *emitted), sources),
        name,
        settled.rig.character,
        tuple(emitted),
        {} if has_errors(emitted) else files,
        _inputs(job, compiled, targets),
    )


def _targets(wanted: Iterable[str], tools: Tools) -> tuple[dict[str, Target], list[Finding]]:
    targets: dict[str, Target] = {}
    findings: list[Finding] = []
    for name in wanted:
        target, found = tools.find(name)
        findings += found
        if target is not None:
            targets[name] = target
    return targets, findings


def _name(rig: Rig) -> str:
    return f"{file_name(rig.recipe)}.{file_name(rig.character)}"


def file_name(name: str) -> str:
    """A name as part of a file's name: letters, digits, `_` and `-` stay, the rest becomes `_`."""
    from unicodedata import normalize

    return re.sub(r"[^\w-]+", "_", normalize("NFC", name)) or "_"


def _named(
    name: str, target: Target, outputs: Iterable[Output], before: Mapping[str, Mapping[str, bytes]]
) -> tuple[dict[str, bytes], list[Finding]]:
    """The outputs of a target by file name, and findings for names that no file can have."""
    files: dict[str, bytes] = {}
    findings: list[Finding] = []
    taken = {file.casefold() for others in before.values() for file in others}
    for output in outputs:
        file = name + output.suffix
        if not re.fullmatch(r"\.[\w.-]*\w", output.suffix):
            message = f'expected an ending such as ".scene.json", found "{output.suffix}"'
            help = f'mend the target "{target.name}": letters, digits, "_" and "-" after a dot'
            findings.append(OUTPUT_NAME.at(None, message, help=help))
        elif file.casefold() in taken:
            message = f'expected one output called "{file}", found two'
            help = f'name the target "{target.name}" once, or change its ending'
            findings.append(SAME_OUTPUT.at(None, message, help=help))
        else:
            taken.add(file.casefold())
            files[file] = output.text.encode("utf-8")
    return files, findings


def _with_names(
    job: Job, settled: Settled
) -> tuple[Settled | None, NamedJoints | None, tuple[Finding, ...], Mapping[str, Source]]:
    """The rig spelled as the job's names file says, where it has one."""
    if job.names is None:
        return settled, None, (), {}
    from somite import naming

    names, findings, texts = naming.load(job.names)
    if names is None:
        return None, None, findings, texts
    spelled, joints, more = naming.named(settled, names, job.loa)
    return spelled, joints, (*findings, *more), texts


def _context(
    compiled: Compiled, wording: Wording, joints: NamedJoints | None, people: int
) -> Context:
    return Context(
        recipe_digest=compiled.recipe_digest,
        sheet_digest=compiled.sheet_digest,
        compiler_version=VERSION,
        phrases=wording.phrases,
        templates=wording.templates,
        joints=joints,
        people=people,
    )


def _inputs(job: Job, compiled: Compiled, targets: Mapping[str, Target]) -> dict[str, str] | None:
    """The digest of every file that the outputs depend on; None if one changed under our hands."""
    paths = [str(path) for path in compiled.inputs]
    paths += [path for path in (job.phrases, job.templates, job.names) if path is not None]
    paths += [path for key, target in targets.items() for path in _target_paths(key, target)]
    digests = {path: stamp.digest(path) for path in dict.fromkeys(paths)}
    used = {source.text for source in compiled.sources.values()}
    for path in compiled.inputs:
        again, _ = project.read_source(path)
        # What is no text, such as landmarks in a binary file, has no text to compare.
        if again is not None and again.text not in used:
            return None
    return digests


def _target_paths(key: str, target: Target) -> Iterator[str]:
    """What a target of a team's own is made of: its folder, or the module that holds it."""
    if os.path.isdir(key):
        yield key
    module = getattr(target.emit, "__module__", "")
    if module.partition(".")[0] != "somite":
        file = getattr(sys.modules.get(module), "__file__", None)
        if file is not None:
            yield file
