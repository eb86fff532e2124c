"""What a command works on: recipes and sheets as they were named, or those of the cast.

What comes in is options; what goes out is builds, or pairs of a recipe and a sheet, by path from
the current folder, or one settled rig or clip. What is wrong with a file is delivered, not raised.
"""

from __future__ import annotations

import argparse
import os

from somite.commands.arguments import Refused

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

    from somite.builds.job import Job
    from somite.clip import Clip
    from somite.evaluate import Evaluator
    from somite.report.delivery import Delivery
    from somite.report.terminal import Progress
    from somite.settle import Settled

Pair = tuple[str, "str | None"]
"""A recipe with a sheet, or alone."""


def root_of(recipe: str) -> str:
    """The project folder of a recipe, from which its findings name files."""
    from pathlib import Path

    from somite.project import find_root

    return str(find_root(Path(recipe)))


def cast_path(folder: str = os.curdir) -> str:
    """The cast file of the project that a folder lies in. Refused where there is none."""
    from somite.builds import cast_file

    path = cast_file.found_from(folder)
    if path is None:
        raise Refused(
            "expected a recipe and a sheet, or a cast.toml here or in the project's folder"
            " (somite new NAME starts one)"
        )
    return path


def quick_cast_jobs() -> tuple[Job, ...]:
    """The builds of the project's cast if nothing strikes the eye, without importing much."""
    from somite.builds import cast_file

    return cast_file.jobs_at(cast_path())


def cast_jobs(delivery: Delivery, path: str | None = None) -> tuple[Job, ...]:
    """The builds of a cast, by default the project's; its mistakes are delivered."""
    from pathlib import Path

    from somite.builds import cast
    from somite.report import lines_of

    jobs, findings, source = cast.load(Path(path if path is not None else cast_path()))
    delivery.take(findings, lines_of({source.name: source} if source is not None else {}))
    return jobs


def pairs(options: argparse.Namespace, delivery: Delivery) -> list[Pair]:
    """The recipes to look at, each with a sheet; a recipe that no cast lists is alone.

    A recipe without sheets has those that its project's cast lists it with.
    """
    if options.recipe is None:
        if options.sheet:
            raise Refused("expected a recipe for the sheets, found none")
        return [(job.recipe, job.sheet) for job in cast_jobs(delivery)]
    if options.sheet:
        return [(options.recipe, sheet) for sheet in dict.fromkeys(options.sheet)]
    listed = _listed_with(options.recipe, delivery)
    return [(options.recipe, sheet) for sheet in listed] or [(options.recipe, None)]


def _listed_with(recipe: str, delivery: Delivery) -> Sequence[str]:
    """The sheets that the cast of a recipe's project lists it with."""
    from somite.builds import cast_file

    path = cast_file.found_from(os.path.dirname(recipe) or os.curdir)
    if path is None:
        return ()
    jobs = cast_jobs(delivery, os.path.relpath(path))
    return [job.sheet for job in cast_file.of_recipe(jobs, recipe)]


def whole_cast(options: argparse.Namespace) -> bool:
    """Whether all the sheets that the cast of a recipe's project lists it with were asked for."""
    if options.recipe is None or not options.sheet:
        return True
    from somite.builds import cast_file

    path = cast_file.found_from(os.path.dirname(options.recipe) or os.curdir)
    if path is None:
        return True
    asked = {os.path.realpath(sheet) for sheet in options.sheet}
    jobs = cast_file.of_recipe(cast_file.jobs_at(os.path.relpath(path)), options.recipe)
    return all(os.path.realpath(job.sheet) in asked for job in jobs)


def progress_of(count: int) -> Progress:
    """A line that says how far a run of several has come, where somebody watches."""
    import sys

    from somite.report.terminal import Progress, is_terminal

    return Progress(sys.stderr, shown=count > 1 and is_terminal(sys.stderr, os.environ))


def settled_rig(recipe: str, sheet: str, delivery: Delivery) -> Settled | None:
    """The rig of a recipe for a sheet; where there is none, what is wrong is delivered."""
    from pathlib import Path

    from somite.builds.compiling import Desk
    from somite.report import lines_of

    compiled = Desk().compile(Path(recipe), Path(sheet))
    if compiled.settled is None:
        delivery.take(compiled.findings, lines_of(compiled.sources), root_of(recipe))
    return compiled.settled


def read_clip(path: str, evaluator: Evaluator, delivery: Delivery) -> Clip | None:
    """The clip of a file; where it cannot be read, what is wrong is delivered."""
    from pathlib import Path

    from somite import clip, project
    from somite.report import lines_of

    source, findings = project.read_source(Path(path))
    if source is None:
        delivery.take(findings, lines_of({}))
        return None
    held, findings = clip.read(source, evaluator)
    delivery.take(findings, lines_of({source.name: source}))
    return held
