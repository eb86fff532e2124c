"""`somite build`: a recipe for sheets, or the whole cast, compiled and written."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence

from somite.commands import inputs
from somite.commands.arguments import (
    Commands,
    Refused,
    add_findings,
    add_inputs,
    command,
    delivery,
)
from somite.commands.collecting import collect_again

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from somite.builds.build import Outcome
    from somite.builds.job import Job
    from somite.report.delivery import Delivery


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    build = command(
        commands,
        "build",
        help="compile a recipe for sheets, or the whole cast",
        description="Compiles a recipe for each sheet. Without a recipe, builds what the cast.toml"
        " of the project lists. What has not changed is not built again.",
    )
    add_inputs(build)
    build.add_argument(
        "--target",
        metavar="NAME",
        action="append",
        help="an output form by name, or a folder that holds one (default: scene and steps)",
    )
    build.add_argument("-o", "--out", metavar="FOLDER", help="where outputs go (default: build)")
    build.add_argument("--phrases", metavar="FILE", help="your own phrases for the build steps")
    build.add_argument("--templates", metavar="FOLDER", help="your own templates over a target's")
    build.add_argument("--force", action="store_true", help="build what has not changed, too")
    add_findings(build)
    build.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    findings = delivery(options)
    if not options.force and _all_unchanged(_jobs(options, inputs.quick_cast_jobs)):
        return findings.close()
    jobs = _jobs(options, lambda: inputs.cast_jobs(findings))
    if not jobs:
        return findings.close()
    from somite.builds import build

    counts = {"built": 0, "unchanged": 0, "failed": 0}
    progress = inputs.progress_of(len(jobs))
    runs = build.run(jobs, build.usual_tools(), force=options.force)
    for number, outcome in enumerate(runs, 1):
        progress.clear()
        _say(outcome, findings)
        counts[outcome.state] += 1
        collect_again()
        if number < len(jobs):
            progress.say(f"[{number}/{len(jobs)}] {jobs[number].sheet}")
    progress.clear()
    if len(jobs) > 1:
        print(
            f"{counts['built']} built, {counts['unchanged']} up to date, {counts['failed']} failed"
        )
    sys.stdout.flush()
    return findings.close()


def _all_unchanged(jobs: Sequence[Job]) -> bool:
    """Whether nothing is to be done and nothing to be repeated; says so. Imports nothing slow."""
    from somite.builds import stamp
    from somite.builds.install import compiler_digest

    stamps = stamp.latest(jobs)
    if not jobs or len(stamps) < len(jobs):
        return False
    compiler = compiler_digest()
    for job in jobs:
        last = stamps[job]
        if last["findings"] or not stamp.fresh(last, job.targets, compiler):
            return False
    for job in jobs:
        print(f"up to date: {job.sheet}")
    return True


def _say(outcome: Outcome, findings: Delivery) -> None:
    """What became of a job: results on the output, findings to their own place."""
    if outcome.trace:
        print(outcome.trace, file=sys.stderr, end="")
    findings.take(outcome.findings, outcome.lines, inputs.root_of(outcome.job.recipe))
    if outcome.state == "unchanged":
        print(f"up to date: {outcome.job.sheet}")
    elif outcome.state == "failed":
        left = len(outcome.files)
        still = f" ({left} files of an earlier build are left as they were)" if left else ""
        print(f"failed: {outcome.job.sheet}{still}")
    for path in outcome.files if outcome.state == "built" else ():
        print(f"wrote {path}")
    for path in outcome.removed:
        print(f"removed {path}, which is not true any more")
    sys.stdout.flush()


def _jobs(options: argparse.Namespace, cast_jobs: Callable[[], tuple[Job, ...]]) -> tuple[Job, ...]:
    """The builds that were asked for on the command line, or else those of the cast."""
    if options.recipe is None:
        if options.sheet:
            raise Refused("expected a recipe for the sheets, found none")
        return tuple(_laid_over(job, options) for job in cast_jobs())
    if not options.sheet:
        raise Refused("expected a sheet: somite build RECIPE --sheet SHEET")
    from somite.builds.job import Job

    jobs = (Job(options.recipe, sheet) for sheet in options.sheet)
    return tuple(dict.fromkeys(_laid_over(job, options) for job in jobs))


def _laid_over(job: Job, options: argparse.Namespace) -> Job:
    """A job with what the command line says of targets, folder and wording."""
    if options.target:
        job = job._replace(targets=tuple(dict.fromkeys(options.target)))
    if options.out is not None:
        job = job._replace(folder=os.path.normpath(options.out))
    if options.phrases is not None:
        job = job._replace(phrases=options.phrases)
    if options.templates is not None:
        job = job._replace(templates=options.templates)
    return job
