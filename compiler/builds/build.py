"""Builds: each a recipe for a sheet, compiled, emitted by its targets and written.

What comes in is jobs and the functions that do the work; what goes out is one outcome a job. All
outputs of a character are rendered before the first is written, and one that fails stops no other.
Nothing here knows the language, a target or how findings are shown.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Protocol

from somite import project
from somite.builds import stamp
from somite.builds.digest import digest_of
from somite.builds.install import compiler_digest
from somite.builds.job import Job
from somite.builds.stamp import Stamp
from somite.builds.wording import Wording
from somite.builds.write import write_all
from somite.findings import Code, Finding, has_errors, in_order
from somite.report import Lines, lines_of
from somite.report.bug import bug, details
from somite.target import Context, Output, Target
from somite.text import Source
from somite.version import VERSION

if TYPE_CHECKING:
    from somite.ir import Rig
    from somite.settle import Settled

SAME_OUTPUT = Code("same-output")
OUTPUT_NAME = Code("output-name")
OUTPUT_UNWRITABLE = Code("output-unwritable")

State = Literal["built", "unchanged", "failed"]


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
class Outcome:
    """What became of a job.

    `files` are its outputs, or those of an earlier build that a failure leaves as they were;
    `removed` are outputs of an earlier build that are not true any more.
    """

    job: Job
    state: State
    findings: tuple[Finding, ...]
    lines: Lines
    files: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    trace: str = ""


@dataclass(slots=True)
class _Names:
    """Which job has taken which name of outputs, in one folder."""

    taken: dict[tuple[str, str], Job] = field(default_factory=dict)

    def take(self, job: Job, name: str) -> Job:
        """The job that has the name: this one, if no other was before it."""
        # Two names that differ in case only are one file on many machines.
        return self.taken.setdefault((os.path.realpath(job.folder), name.casefold()), job)


def run(jobs: Sequence[Job], tools: Tools, *, force: bool = False) -> Iterator[Outcome]:
    """The outcome of each job, in order, as it is done. Files are written on the way."""
    compiler = compiler_digest()
    stamps = stamp.latest(jobs)
    held = {
        job: last
        for job, last in stamps.items()
        if not force and stamp.fresh(last, job.targets, compiler)
    }
    names = _Names()
    for job, last in held.items():
        names.take(job, last["name"])
    for job in jobs:
        if job in held:
            yield unchanged(job, held[job])
            continue
        try:
            outcome = _built(job, tools, names, compiler, stamps.get(job))
        except Exception as error:
            finding = bug(f"built {project.shown(Path(job.sheet))}")
            trace = details(error, os.environ)
            outcome = Outcome(job, "failed", (finding,), lines_of({}), trace=trace)
        if outcome.state == "failed" and job in stamps:
            outcome = replace(outcome, files=_left(job, stamps[job]))
        yield outcome


def checked(recipe: str, sheet: str | None, tools: Tools) -> tuple[tuple[Finding, ...], Lines]:
    """The findings of a recipe for a sheet, or of the recipe alone; nothing is written."""
    compiled = tools.compile(Path(recipe), Path(sheet) if sheet is not None else None)
    return in_order(compiled.findings), lines_of(compiled.sources)


def unchanged(job: Job, last: Stamp) -> Outcome:
    """The outcome of a job with nothing to do, its warnings said again."""
    from somite.builds.stamp_findings import findings_from

    lines: dict[str, dict[str, str]] = last["lines"]
    files = tuple(
        os.path.join(job.folder, name) for target in job.targets for name in last["targets"][target]
    )
    return Outcome(
        job,
        "unchanged",
        findings_from(last["findings"]),
        lambda file, number: lines.get(file, {}).get(str(number)),
        files,
    )


def _built(job: Job, tools: Tools, names: _Names, compiler: str, last: Stamp | None) -> Outcome:
    wording, unworded = tools.word(job.phrases, job.templates)
    compiled = tools.compile(Path(job.recipe), Path(job.sheet))
    targets, unfound = _targets(job.targets, tools)
    findings = [*compiled.findings, *unworded, *unfound]
    sources = {**compiled.sources, **(wording.sources if wording else {})}
    settled = compiled.settled
    if settled is None or wording is None or has_errors(findings):
        return _failed(job, findings, sources)
    name = _name(settled.rig)
    owner = names.take(job, name)
    if owner is not job:
        findings.append(_clash(job, owner, name, settled.rig))
        return _failed(job, findings, sources)
    context = _context(compiled, wording)
    rendered: dict[str, dict[str, bytes]] = {}
    for key, target in targets.items():
        outputs, found = target.emit(settled, context)
        rendered[key], misnamed = _named(name, target, outputs, rendered)
        findings += [*found, *misnamed]
    if has_errors(findings):
        return _failed(job, findings, sources)
    inputs = _inputs(job, compiled, targets)
    outcome = _written(job, name, rendered, inputs, findings, sources, compiler)
    if last is not None and last["name"] != name and outcome.state == "built":
        return replace(outcome, removed=(*outcome.removed, *_forgotten(job, last)))
    return outcome


def _left(job: Job, last: Stamp) -> tuple[str, ...]:
    names = [os.path.basename(name) for files in last["targets"].values() for name in files]
    paths = [os.path.join(job.folder, name) for name in names]
    return tuple(path for path in paths if os.path.isfile(path))


def _failed(job: Job, findings: Iterable[Finding], sources: Mapping[str, Source]) -> Outcome:
    return Outcome(job, "failed", in_order(findings), lines_of(sources))


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


def _clash(job: Job, owner: Job, name: str, rig: Rig) -> Finding:
    ours, other = project.shown(Path(job.sheet)), project.shown(Path(owner.sheet))
    message = (
        f'expected outputs of its own for each sheet, found that "{ours}" and "{other}"'
        f' both give "{name}"'
    )
    help = f'give the character "{rig.character}" of one of them another name'
    return SAME_OUTPUT.at(None, message, help=help)


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


def _context(compiled: Compiled, wording: Wording) -> Context:
    return Context(
        recipe_digest=compiled.recipe_digest,
        sheet_digest=compiled.sheet_digest,
        compiler_version=VERSION,
        phrases=wording.phrases,
        templates=wording.templates,
    )


def _inputs(job: Job, compiled: Compiled, targets: Mapping[str, Target]) -> dict[str, str] | None:
    """The digest of every file that the outputs depend on; None if one changed under our hands."""
    paths = [str(path) for path in compiled.inputs]
    paths += [path for path in (job.phrases, job.templates) if path is not None]
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


def _written(
    job: Job,
    name: str,
    rendered: Mapping[str, Mapping[str, bytes]],
    inputs: dict[str, str] | None,
    findings: list[Finding],
    sources: Mapping[str, Source],
    compiler: str,
) -> Outcome:
    """Writes the outputs and their stamp, and takes away those of an earlier build."""
    from somite.builds.stamp_findings import lines_shown, plain_findings

    ordered = in_order(findings)
    made = {
        key: {file: digest_of(data) for file, data in files.items()}
        for key, files in rendered.items()
    }
    before = stamp.read(stamp.path_of(job, name))
    kept = _still_true(before, job, compiler) if before is not None else {}
    new = stamp.made(
        job,
        name=name,
        compiler=compiler,
        inputs=inputs or {},
        outputs={**{key: files for key, files in kept.items() if key not in made}, **made},
        findings=plain_findings(ordered),
        lines=lines_shown(ordered, sources),
    )
    files = {
        os.path.join(job.folder, file): data
        for outputs in rendered.values()
        for file, data in outputs.items()
    }
    # Without inputs a stamp would hold for ever; then the earlier one, which does not, stays.
    stamped = {stamp.path_of(job, name): stamp.text_of(new).encode()} if inputs else {}
    try:
        write_all(files)
        removed = _cleared(job, before, new) if before is not None else ()
        write_all(stamped)
    except OSError as error:
        ordered = (*ordered, _unwritable(error, job))
        return Outcome(job, "failed", ordered, lines_of(sources))
    return Outcome(job, "built", ordered, lines_of(sources), tuple(files), removed)


def _still_true(before: Stamp, job: Job, compiler: str) -> dict[str, dict[str, str]]:
    """The outputs of the build before that this one need not make again: of other targets."""
    if not (stamp.is_of(before, job) and stamp.holds(before, compiler)):
        return {}
    return {key: files for key, files in before["targets"].items() if stamp.intact(before, key)}


def _cleared(job: Job, before: Stamp, new: Stamp) -> tuple[str, ...]:
    """Removes outputs of the build before that are no longer true and that nobody has changed."""
    now = {file for files in new["targets"].values() for file in files}
    gone = []
    for files in before["targets"].values():
        for file, known in files.items():
            path = os.path.join(job.folder, file)
            # A stamp is a file that anybody may have written: nothing outside its folder is ours.
            if file not in now and os.path.basename(file) == file and stamp.digest(path) == known:
                os.unlink(path)
                gone.append(path)
    return tuple(gone)


def _forgotten(job: Job, last: Stamp) -> tuple[str, ...]:
    """Removes what an earlier build of the job made under another name, and its stamp."""
    path = stamp.path_of(job, os.path.basename(last["name"]))
    now = stamp.read(path)
    if now is None or not stamp.is_of(now, job):
        # Another job has the name by now.
        return ()
    gone = _cleared(job, last, {"targets": {}})
    os.unlink(path)
    return gone


def _unwritable(error: OSError, job: Job) -> Finding:
    reason = (error.strerror or str(error)).lower()
    place = error.filename2 or error.filename or job.folder
    message = f'expected to write to "{project.shown(Path(str(place)))}", found: {reason}'
    help = "name a folder that you may write to with -o, and check that the disk has room"
    return OUTPUT_UNWRITABLE.at(None, message, help=help)
