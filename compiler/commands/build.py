"""`somite build`: a recipe for sheets, or the whole cast, compiled and written."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence

from somite.commands import crews, inputs
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
    from somite.builds.build import Outcome, Plan
    from somite.builds.job import Job
    from somite.report.delivery import Delivery
    from somite.report.table import BuildRow


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
    build.add_argument(
        "--names", metavar="FILE", help="which joints bear which names of a standard (H-Anim)"
    )
    build.add_argument(
        "--loa",
        type=int,
        choices=(1, 2, 3),
        help="the standard's level of articulation (default: the names file's)",
    )
    build.add_argument(
        "--people",
        type=int,
        metavar="N",
        help="share the build steps out to N people, with the joins named",
    )
    build.add_argument("--force", action="store_true", help="build what has not changed, too")
    build.add_argument(
        "--explain", action="store_true", help="say why each is built, or need not be"
    )
    crews.add_crew(build)
    add_findings(build)
    build.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    crews.refuse_unfit(options)
    findings = delivery(options)
    asked = options.force or options.explain
    if not asked and _all_unchanged(_jobs(options, inputs.quick_cast_jobs)):
        return findings.close()
    built = _Built(findings)
    with crews.Stoppable("build", built.so_far) as stoppable:
        jobs = _jobs(options, lambda: inputs.cast_jobs(findings))
        if jobs:
            _build(jobs, options, built)
        return findings.close()
    built.progress.clear()
    return stoppable.status


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
    print(f"up to date: {jobs[0].sheet if len(jobs) == 1 else f'all {len(jobs)} characters'}")
    return True


def _build(jobs: Sequence[Job], options: argparse.Namespace, built: _Built) -> None:
    """Builds what is not up to date, and says what became of each."""
    from somite.builds import build

    plan = build.planned(jobs, force=options.force)
    if options.explain:
        _explain(plan)
    crew = crews.crew_for(options, len(plan.waiting), crews.COMPILING)
    try:
        built.start(plan)
        outcomes = build.carried_out(plan, lambda waiting: crews.rendered_by(crew, waiting))
        for outcome in outcomes:
            built.take(outcome)
            collect_again()
        built.finish()
        crews.tell_of(crew, options, built.findings)
    finally:
        crew.close()


def _explain(plan: Plan) -> None:
    """Why each is built or need not be, before anything is."""
    from somite.builds import reasons

    for job in plan.jobs:
        why = plan.reasons[job]
        if why:
            print(f"to build: {job.sheet}, because {'; '.join(why)}")
        else:
            print(f"up to date: {job.sheet}, because {reasons.to_rest(job, plan.stamps[job])}")
    sys.stdout.flush()


class _Built:
    """What has been built, as it is told: a line a file for one, a line a character for several."""

    def __init__(self, findings: Delivery) -> None:
        self.findings = findings
        self._rows: list[BuildRow] = []
        self._jobs: Sequence[Job] = ()
        self._plain = True
        self.progress = inputs.progress_of(0)

    def start(self, plan: Plan) -> None:
        """The work begins."""
        self._jobs = plan.jobs
        self.progress = inputs.progress_of(len(plan.jobs))
        # Whoever watches the progress line needs no line a character, and reads the table.
        self._plain = not (self.progress.is_shown and sys.stdout.isatty())
        self._say_next()

    def take(self, outcome: Outcome) -> None:
        """One is done."""
        from somite.report.table import BuildRow

        self.progress.clear()
        job = outcome.job
        if outcome.trace:
            print(outcome.trace, file=sys.stderr, end="")
        self.findings.take(outcome.findings, outcome.lines, inputs.root_of(job.recipe))
        row = BuildRow(job.recipe, job.sheet, outcome.state, outcome.findings, len(outcome.files))
        self._rows.append(row)
        if len(self._jobs) == 1:
            self._tell_files(outcome)
        elif self._plain:
            print(f"[{len(self._rows)}/{len(self._jobs)}] {row.line}")
        for path in outcome.removed:
            print(f"removed {path}, which is not true any more")
        sys.stdout.flush()
        self._say_next()

    def _tell_files(self, outcome: Outcome) -> None:
        if outcome.state == "unchanged":
            print(f"up to date: {outcome.job.sheet}")
        elif outcome.state == "failed":
            print(f"failed: {outcome.job.sheet}{self._rows[-1].left}")
        else:
            for path in outcome.files:
                print(f"wrote {path}")

    def _say_next(self) -> None:
        done = len(self._rows)
        if done < len(self._jobs):
            failed = sum(row.state == "failed" for row in self._rows)
            wrong = f" ({failed} failed)" if failed else ""
            self.progress.say(f"[{done}/{len(self._jobs)}]{wrong} {self._jobs[done].sheet}")

    def finish(self) -> None:
        """All are done."""
        self.progress.clear()
        if len(self._jobs) > 1:
            from somite.report.table import build_table

            print(build_table(self._rows), end="")
        sys.stdout.flush()

    def so_far(self) -> str:
        """What is told of a run that was stopped."""
        self.progress.clear()
        if not self._rows:
            return "before anything was built"
        return (
            f"after {len(self._rows)} of {len(self._jobs)} characters;"
            " every file that is there is whole, and what was built stays"
        )


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
    if options.names is not None:
        job = job._replace(names=options.names)
    if options.loa is not None and job.names is None:
        raise Refused("expected --names FILE beside --loa, found none")
    if options.loa is not None:
        job = job._replace(loa=options.loa)
    if options.people is not None:
        from somite.builds.job import MOST_PEOPLE

        if not 1 <= options.people <= MOST_PEOPLE:
            raise Refused(f"expected 1 to {MOST_PEOPLE} for --people, found {options.people}")
        job = job._replace(people=options.people)
    return job
