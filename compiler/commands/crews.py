"""Who does a command's work: this process, several of this machine, or a cluster.

What comes in is options and how many characters there are; what goes out is a crew, opened for as
long as the work takes. A run that is stopped by Ctrl-C or by a request to end says so in one line.
"""

from __future__ import annotations

import argparse
import sys

from somite.commands.arguments import Refused
from somite.report.delivery import ENDED, INTERRUPTED

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from types import FrameType
    from typing import Any

    from somite.builds.crew import Alone, Crew
    from somite.builds.job import Job
    from somite.builds.proving import Judged, Proof
    from somite.builds.rendering import Rendered
    from somite.report.delivery import Delivery

    AnyCrew = Alone[Any, Any] | Crew[Any, Any]

BACKENDS = ("processes", "dask")

COMPILING, PROVING = 4, 2
"""Characters that are worth a process more, since to start one takes as long as they do."""

MOST_JOBS = 1_000


def add_crew(parser: argparse.ArgumentParser) -> None:
    """Who does the work."""
    parser.add_argument(
        "--jobs",
        metavar="N",
        type=_jobs,
        help="how many processes work (default: one for each core, fewer for few characters)",
    )
    parser.add_argument(
        "--backend", choices=BACKENDS, default="processes", help="who works (default: processes)"
    )
    parser.add_argument(
        "--scheduler", metavar="ADDRESS", help="the Dask scheduler, for --backend dask"
    )


def _jobs(text: str) -> int:
    try:
        value = int(text)
    except ValueError:
        value = 0
    if not 1 <= value <= MOST_JOBS:
        message = f'expected a whole number from 1 to {MOST_JOBS}, found "{text}"'
        raise argparse.ArgumentTypeError(message)
    return value


def refuse_unfit(options: argparse.Namespace) -> None:
    """Refuses options that contradict one another."""
    if options.backend == "dask":
        if options.scheduler is None:
            raise Refused("expected --scheduler ADDRESS with --backend dask, found none")
        if options.jobs is not None:
            raise Refused(
                "expected --jobs or --backend dask, found both: the cluster says how many"
            )
    elif options.scheduler is not None:
        raise Refused("expected --backend dask with --scheduler, found none")


def crew_for(options: argparse.Namespace, count: int, share: int) -> AnyCrew:
    """The crew for so many characters, of which each process has a `share` if nobody says else.

    Refused where a cluster does not answer.
    """
    from somite.builds import crew

    if options.backend == "dask" and count:
        try:
            return crew.Cluster(options.scheduler)
        except crew.NoCluster as missing:
            raise Refused(str(missing)) from None
    jobs = options.jobs
    if jobs is None:
        jobs = min(crew.cores(), -(-count // share))
    jobs = min(jobs, count)
    return crew.Alone() if jobs <= 1 else crew.Processes(jobs)


def rendered_by(some: AnyCrew, jobs: Iterable[Job]) -> Iterator[Rendered]:
    """Jobs rendered by a crew, in order."""
    from somite.builds import crew
    from somite.builds.rendering import Rendered, rendered, usual_tools

    if isinstance(some, crew.Alone):
        tools = usual_tools()
        yield from (rendered(job, tools) for job in jobs)
        return
    from somite.builds import errand

    afar = isinstance(some, crew.Cluster)
    standpoint = errand.standpoint(afar=afar)
    wanted = [errand.Errand(job, standpoint) for job in jobs]
    for one, made in zip(wanted, _each(some, errand.render, wanted), strict=True):
        if made is None:
            yield Rendered((errand.lost(one.asked.sheet),))
        else:
            yield errand.seen_alike(made) if afar else made


def _each(some: Crew[Any, Any], work: Callable[[Any], Any], pieces: Sequence[Any]) -> Iterator[Any]:
    from somite.builds.crew import NoCluster

    try:
        yield from some.each(work, pieces)
    except NoCluster as missing:
        raise Refused(str(missing)) from None


def tell_of(some: AnyCrew, options: argparse.Namespace, findings: Delivery) -> None:
    """What is to be said of a crew when the work is done."""
    if some.done_here:
        from somite.builds.errand import cluster_lost
        from somite.report import Kept

        findings.take([cluster_lost(options.scheduler, some.done_here)], Kept({}))


def judged_by(some: AnyCrew, proofs: Iterable[Proof]) -> Iterator[Judged]:
    """Proofs carried out by a crew, in order."""
    from somite.builds import crew, proving

    if isinstance(some, crew.Alone):
        from somite.builds.compiling import Desk

        desk = Desk()
        yield from (proving.judged(proof, desk.compile) for proof in proofs)
        return
    from somite.builds import errand

    standpoint = errand.standpoint(afar=isinstance(some, crew.Cluster))
    wanted = [errand.Errand(proof, standpoint) for proof in proofs]
    for one, made in zip(wanted, _each(some, errand.prove, wanted), strict=True):
        if made is None:
            finding = errand.lost(one.asked.sheet or one.asked.recipe)
            yield proving.unjudged(one.asked, finding)
        else:
            yield made


class Ended(KeyboardInterrupt):
    """Somebody asked the process to end: everything stops as it does at Ctrl-C."""


class Stoppable:
    """A run that ends whole when it is told to stop. `said` is what it has come to by then."""

    def __init__(self, name: str, said: Callable[[], str]) -> None:
        """A run of a command, in a `with`; `status` is its exit status if it was stopped."""
        self._name = name
        self._said = said
        self._before: Any = None
        self.status = 0

    def __enter__(self) -> Stoppable:
        import signal

        try:
            self._before = signal.signal(signal.SIGTERM, self._end)
        except ValueError:  # Not in the main thread, which is the only one that hears of it.
            self._before = None
        return self

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> bool:
        import signal

        if self._before is not None:
            signal.signal(signal.SIGTERM, self._before)
        if not isinstance(error, KeyboardInterrupt):
            return False
        self.status = ENDED if isinstance(error, Ended) else INTERRUPTED
        word = "ended" if isinstance(error, Ended) else "interrupted"
        print(f"somite {self._name}: {word} {self._said()}", file=sys.stderr)
        return True

    def _end(self, number: int, frame: FrameType | None) -> None:
        raise Ended
