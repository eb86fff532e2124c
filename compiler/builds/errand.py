"""Errands: work that a process elsewhere is asked to do, and what it needs to do it as we would.

What comes in is a job or a proof and where we stand; what goes out is its result as plain values.
Workers read the project's files themselves, so they must see the same folder under the same path,
and have the same Somite; they write nothing. What is unlike is a finding, never another output.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from somite import project
from somite.builds import stamp
from somite.builds.install import contents_digest
from somite.builds.job import Job
from somite.builds.proving import Judged, Proof, judged, unjudged
from somite.builds.rendering import Rendered, rendered, usual_tools
from somite.findings import Code, Finding, Severity

if TYPE_CHECKING:
    from somite.builds.compiling import Desk

CLUSTER_LOST = Code("cluster-lost", Severity.WARNING)
WORKER_LOST = Code("worker-lost")
WORKER_UNLIKE = Code("worker-unlike")

Asked = TypeVar("Asked", Job, Proof)
Made = TypeVar("Made")


@dataclass(frozen=True, slots=True)
class Standpoint:
    """Who asks: a mark of this run alone, the folder stood in, and the Somite that must be there.

    `installation` is empty for processes of this machine, which are as we are.
    """

    run: str
    folder: str
    installation: str = ""


@dataclass(frozen=True, slots=True)
class Errand(Generic[Asked]):
    """A job or a proof for somebody else."""

    asked: Asked
    standpoint: Standpoint


def standpoint(*, afar: bool) -> Standpoint:
    """Ours; `afar` for workers that may be of other machines."""
    from uuid import uuid4

    return Standpoint(uuid4().hex, os.path.realpath(os.curdir), contents_digest() if afar else "")


def render(errand: Errand[Job]) -> Rendered:
    """A job rendered by a worker."""
    unlike = _unlike(errand.standpoint)
    if unlike is not None:
        return Rendered((unlike,))
    if not errand.standpoint.installation:
        return rendered(errand.asked, _tools(errand.standpoint.run, usual_tools))
    asked = _absolute(errand.asked, errand.standpoint)
    tools = _tools(errand.standpoint.run, usual_tools)
    return _standing(errand.standpoint, lambda: rendered(asked, tools))


def prove(errand: Errand[Proof]) -> Judged:
    """A proof carried out by a worker."""
    asked = errand.asked
    unlike = _unlike(errand.standpoint)
    if unlike is not None:
        return unjudged(asked, unlike)
    desk = _tools(errand.standpoint.run, _desk)
    if not errand.standpoint.installation:
        return judged(asked, desk.compile)
    placed = asked._replace(
        recipe=_placed(asked.recipe, errand.standpoint),
        sheet=_placed(asked.sheet, errand.standpoint) if asked.sheet is not None else None,
    )
    made = _standing(errand.standpoint, lambda: judged(placed, desk.compile))
    return replace(made, verdict=replace(made.verdict, sheet=asked.sheet))


def seen_alike(made: Rendered) -> Rendered:
    """What a worker of another machine rendered, if it read the files that we see; else a finding.

    Its digests are compared with ours.
    """
    if made.inputs is None:
        return made
    for path, seen in made.inputs.items():
        if stamp.digest(path) != seen:
            message = f'expected a worker to read the "{path}" that lies here, found another'
            help = (
                "have the workers see the project's own folder, not a copy of it; if somebody was"
                " saving the file, build again"
            )
            return Rendered((WORKER_UNLIKE.at(None, message, help=help),))
    return made


def lost(sheet: str) -> Finding:
    """The finding for a character whose worker was ended each time that it was tried."""
    message = f'expected a result for "{sheet}", found that whoever worked on it was ended'
    help = "see whether the machine has memory enough, and build this one alone with --jobs 1"
    return WORKER_LOST.at(None, message, help=help)


def cluster_lost(address: str, count: int) -> Finding:
    """The finding for a cluster that went away before all was done."""
    message = (
        f'expected the cluster at "{address}" to stay, found it gone: {count} character'
        f"{'' if count == 1 else 's'} had to be done here"
    )
    return CLUSTER_LOST.at(None, message, help="see why the scheduler ended; nothing is lost")


def _unlike(asking: Standpoint) -> Finding | None:
    """What keeps this process from doing as the one that asks would."""
    if not asking.installation:
        return None
    if _here() != asking.installation:
        message = "expected workers with the same Somite, found one with another"
        help = "install the same version on every worker, and start the workers anew"
        return WORKER_UNLIKE.at(None, message, help=help)
    if not os.path.isdir(asking.folder):
        message = f'expected workers that see the folder "{asking.folder}", found one without it'
        help = "mount the project's folder under the same path on every worker"
        return WORKER_UNLIKE.at(None, message, help=help)
    return None


@cache
def _here() -> str:
    # Once a process, before it compiles: what is installed later is not what it runs.
    return contents_digest()


def _desk() -> Desk:
    # Whoever only asks does not pay for what compiling imports.
    from somite.builds.compiling import Desk

    return Desk()


_KEPT = 2
_tools_of_run: dict[str, Any] = {}


def _tools(run: str, make: Callable[[], Made]) -> Made:
    """The tools for one run: they remember recipes, which the next run must read anew."""
    tools: Made | None = _tools_of_run.get(run)
    if tools is None:
        tools = make()
        for older in list(_tools_of_run)[: 1 - _KEPT]:
            _tools_of_run.pop(older, None)
        _tools_of_run[run] = tools
    return tools


def _standing(asking: Standpoint, work: Callable[[], Made]) -> Made:
    """Work done as by somebody who stands in another folder."""
    before = project.STANDPOINT.set(asking.folder)
    try:
        return work()
    finally:
        project.STANDPOINT.reset(before)


def _placed(path: str, asking: Standpoint) -> str:
    return os.path.normpath(os.path.join(asking.folder, path))


def _absolute(job: Job, asking: Standpoint) -> Job:
    """A job whose paths hold wherever it is done."""
    return job._replace(
        recipe=_placed(job.recipe, asking),
        sheet=_placed(job.sheet, asking),
        # A target's name is no path; a folder is written with a part before it.
        targets=tuple(
            _placed(target, asking) if _is_folder(target, asking) else target
            for target in job.targets
        ),
        phrases=_placed(job.phrases, asking) if job.phrases is not None else None,
        templates=_placed(job.templates, asking) if job.templates is not None else None,
        names=_placed(job.names, asking) if job.names is not None else None,
    )


def _is_folder(target: str, asking: Standpoint) -> bool:
    from somite.targets import BUILT_IN

    return target not in BUILT_IN and os.path.isdir(_placed(target, asking))
