"""Builds: what is to be made is planned, made by one or by many, and written by one alone.

What comes in is jobs, the functions that do the work and the crew that carries it out; what goes
out is one outcome a job, in the order of the jobs whoever made it. All outputs of a character are
rendered before the first is written, and one that fails stops no other. Nothing here knows the
language, a target or how findings are shown.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

from somite import project
from somite.builds import reasons, stamp
from somite.builds.digest import digest_of
from somite.builds.install import compiler_digest
from somite.builds.job import Job
from somite.builds.reasons import Reason
from somite.builds.rendering import SAME_OUTPUT, Rendered, Tools, rendered
from somite.builds.stamp import Stamp
from somite.builds.stamp_findings import findings_from, plain_findings
from somite.builds.write import is_beside, swept, write_all
from somite.findings import Code, Finding, has_errors, in_order
from somite.report import Kept, Lines
from somite.report.bug import bug, details

OUTPUT_UNWRITABLE = Code("output-unwritable")

State = Literal["built", "unchanged", "failed"]


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


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be done: the reasons to build each job, none where it is up to date."""

    jobs: tuple[Job, ...]
    reasons: Mapping[Job, tuple[Reason, ...]]
    stamps: Mapping[Job, Stamp]
    compiler: str

    @property
    def waiting(self) -> tuple[Job, ...]:
        """The jobs to be built, in order."""
        return tuple([job for job in self.jobs if self.reasons[job]])


Renders = Callable[[Sequence[Job]], Iterator[Rendered]]
"""Renders jobs, and gives what came of each in their order."""


def planned(jobs: Sequence[Job], *, force: bool = False) -> Plan:
    """What is to be built, and why. Files are read, nothing is compiled."""
    compiler = compiler_digest()
    stamps = stamp.latest(jobs)
    why = {job: reasons.to_build(job, stamps.get(job), compiler, force=force) for job in jobs}
    return Plan(tuple(jobs), why, stamps, compiler)


def run(jobs: Sequence[Job], tools: Tools, *, force: bool = False) -> Iterator[Outcome]:
    """The outcome of each job, in order, as it is done here. Files are written on the way."""
    return carried_out(
        planned(jobs, force=force), lambda waiting: (rendered(job, tools) for job in waiting)
    )


def carried_out(plan: Plan, renders: Renders) -> Iterator[Outcome]:
    """The outcome of each job of a plan, in order. Files are written here, as results arrive."""
    waiting = plan.waiting
    for folder in dict.fromkeys(job.folder for job in waiting):
        swept(folder)
        swept(os.path.join(folder, stamp.FOLDER))
    names = _Names()
    for job, made in plan.stamps.items():
        if not plan.reasons[job]:
            names.take(job, made["name"])
    results = renders(waiting)
    for job in plan.jobs:
        last = plan.stamps.get(job)
        if not plan.reasons[job] and last is not None:
            yield unchanged(job, last)
        else:
            yield _finished(job, next(results), names, plan.compiler, last)


@dataclass(slots=True)
class _Names:
    """Which job has taken which name of outputs, in one folder."""

    taken: dict[tuple[str, str], Job] = field(default_factory=dict)

    def take(self, job: Job, name: str) -> Job:
        """The job that has the name: this one, if no other was before it."""
        # Two names that differ in case only are one file on many machines.
        return self.taken.setdefault((os.path.realpath(job.folder), name.casefold()), job)


def unchanged(job: Job, last: Stamp) -> Outcome:
    """The outcome of a job with nothing to do, its warnings said again."""
    files = tuple(
        os.path.join(job.folder, name) for target in job.targets for name in last["targets"][target]
    )
    return Outcome(job, "unchanged", findings_from(last["findings"]), Kept(last["lines"]), files)


def _finished(
    job: Job, made: Rendered, names: _Names, compiler: str, last: Stamp | None
) -> Outcome:
    """What became of a job that was rendered: written, if nothing is wrong with it."""
    try:
        outcome = _judged(job, made, names, compiler, last)
    except Exception as error:
        finding = bug(f"wrote what it built of {project.shown(Path(job.sheet))}")
        outcome = Outcome(job, "failed", (finding,), Kept({}), trace=details(error, os.environ))
    if outcome.state == "failed" and last is not None:
        return replace(outcome, files=_left(job, last))
    return outcome


def _judged(job: Job, made: Rendered, names: _Names, compiler: str, last: Stamp | None) -> Outcome:
    findings = made.findings
    if made.name is None:
        return Outcome(job, "failed", findings, made.kept, trace=made.trace)
    owner = names.take(job, made.name)
    if owner is not job:
        clash = _clash(job, owner, made)
        return Outcome(job, "failed", in_order((*findings, clash)), made.kept)
    findings = in_order((*findings, *made.emitted))
    if has_errors(findings):
        return Outcome(job, "failed", findings, made.kept)
    outcome = _written(job, made, findings, compiler)
    if last is not None and last["name"] != made.name and outcome.state == "built":
        return replace(outcome, removed=(*outcome.removed, *_forgotten(job, last)))
    return outcome


def _left(job: Job, last: Stamp) -> tuple[str, ...]:
    names = [os.path.basename(name) for files in last["targets"].values() for name in files]
    paths = [os.path.join(job.folder, name) for name in names]
    return tuple(path for path in paths if os.path.isfile(path))


def _clash(job: Job, owner: Job, made: Rendered) -> Finding:
    ours, other = project.shown(Path(job.sheet)), project.shown(Path(owner.sheet))
    message = (
        f'expected outputs of its own for each sheet, found that "{ours}" and "{other}"'
        f' both give "{made.name}"'
    )
    help = f'give the character "{made.character}" of one of them another name'
    return SAME_OUTPUT.at(None, message, help=help)


def _written(job: Job, made: Rendered, findings: tuple[Finding, ...], compiler: str) -> Outcome:
    """Writes the outputs and their stamp, and takes away those of an earlier build."""
    assert made.name is not None
    outputs = {
        key: {file: digest_of(data) for file, data in files.items()}
        for key, files in made.files.items()
    }
    path = stamp.path_of(job, made.name)
    before = stamp.read(path)
    kept = _still_true(before, job, compiler) if before is not None else {}
    new = stamp.made(
        job,
        name=made.name,
        compiler=compiler,
        maker=reasons.maker_now(),
        inputs=dict(made.inputs or {}),
        outputs={**{key: files for key, files in kept.items() if key not in outputs}, **outputs},
        findings=plain_findings(findings),
        lines=_plain_lines(made),
    )
    files = {
        os.path.join(job.folder, file): data
        for of_target in made.files.values()
        for file, data in of_target.items()
    }
    # Without inputs a stamp would hold for ever; then the earlier one, which does not, stays.
    stamped = {path: stamp.text_of(new).encode()} if made.inputs else {}
    try:
        write_all(files)
        removed = _cleared(job, before, new) if before is not None else ()
        write_all(stamped)
    except OSError as error:
        return Outcome(job, "failed", (*findings, _unwritable(error, job)), made.kept)
    return Outcome(job, "built", findings, made.kept, tuple(files), removed)


def _plain_lines(made: Rendered) -> dict[str, dict[str, str]]:
    return {file: dict(lines) for file, lines in made.lines.items()}


def _still_true(before: Stamp, job: Job, compiler: str) -> dict[str, dict[str, str]]:
    """The outputs of the build before that this one need not make again: of other targets."""
    if not (stamp.is_of(before, job) and stamp.holds(before, compiler)):
        return {}
    return {key: files for key, files in before["targets"].items() if stamp.intact(before, key)}


def _cleared(job: Job, before: Stamp, new: Mapping[str, Any]) -> tuple[str, ...]:
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
    place = str(error.filename2 or error.filename or job.folder)
    if is_beside(place):
        # What cannot be made is a file that waits, which nobody asked for: its folder is to blame,
        # and is told once for all the files that it does not take.
        place = os.path.dirname(place) or os.curdir
    message = f'expected to write to "{project.shown(Path(place))}", found: {reason}'
    help = "name a folder that you may write to with -o, and check that the disk has room"
    return OUTPUT_UNWRITABLE.at(None, message, help=help)
