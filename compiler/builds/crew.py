"""A crew: who carries out work that can be done piece by piece, and what is done when one is lost.

What comes in is a function and the pieces to call it with; what goes out is its results, in the
order of the pieces, whoever made them and however many did. Processes of this machine and a Dask
cluster both come through joblib. Nothing here knows what the work is.
"""

from __future__ import annotations

import os
import signal
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Generic, TypeVar

Piece = TypeVar("Piece")
Made = TypeVar("Made")

WAIT = 10
"""Seconds that a scheduler, and then its first worker, is waited for."""


class NoCluster(Exception):
    """A cluster that can not be worked with; says what was expected."""


class _Gone(Exception):
    """Nobody of the crew can be reached any more."""


class Alone(Generic[Piece, Made]):
    """This process does all the work itself, a piece when its result is asked for."""

    done_here = 0

    def each(self, work: Callable[[Piece], Made], pieces: Sequence[Piece]) -> Iterator[Made | None]:
        """The result of each piece, in order."""
        return map(work, pieces)

    def close(self) -> None:
        """Nothing was opened."""


class Crew(Generic[Piece, Made]):
    """Several at work. `work` must be a function of a module, and a piece fit to be sent.

    `done_here` counts the pieces that this process had to do, because nobody else was left.
    """

    done_here = 0

    def each(self, work: Callable[[Piece], Made], pieces: Sequence[Piece]) -> Iterator[Made | None]:
        """The result of each piece, in order; None for one that ended whoever worked on it.

        When a worker is lost, what it had not handed in is given out anew. A piece that is lost
        when nobody else is at work is the one to blame, and the others go on without it.
        """
        left = deque(pieces)
        try:
            yield from self._shared(work, left)
        except _Gone:
            self.done_here = len(left)
            yield from map(work, left)

    def _shared(self, work: Callable[[Piece], Made], left: deque[Piece]) -> Iterator[Made | None]:
        together = True
        while left:
            before = len(left)
            yield from self._until_lost(work, left if together else deque([left[0]]), left)
            if together:
                together = len(left) < before
                continue
            if len(left) == before:
                yield None
                left.popleft()
            together = True

    def _until_lost(
        self, work: Callable[[Piece], Made], pieces: deque[Piece], left: deque[Piece]
    ) -> Iterator[Made]:
        """Results as they are handed in; each takes its piece from those left. Ends at a loss."""
        held: list[Any] = []
        try:
            self._give_out(work, tuple(pieces), held)
            while True:
                try:
                    made = next(held[0])
                except StopIteration:
                    return
                except Exception as error:
                    self._judge(error)
                    return
                left.popleft()
                yield made
        finally:
            for results in held:
                _ended(results)

    def _give_out(
        self, work: Callable[[Piece], Made], pieces: tuple[Piece, ...], held: list[Any]
    ) -> None:
        """Starts the work. Its results are held at once, so that no interruption loses them."""
        raise NotImplementedError

    def _judge(self, error: Exception) -> None:
        """Returns where an error means that a worker was lost; raises what else it means."""
        raise NotImplementedError

    def close(self) -> None:
        """Sends the crew home."""


class Processes(Crew[Piece, Made]):
    """Processes of this machine."""

    def __init__(self, count: int) -> None:
        """A crew of so many processes; they are started when there is work."""
        self._count = count

    def _give_out(
        self, work: Callable[[Piece], Made], pieces: tuple[Piece, ...], held: list[Any]
    ) -> None:
        from joblib import Parallel, delayed

        # With one process joblib would do the work here, and a piece that ends it would end us.
        count = max(2, min(self._count, len(pieces)))
        with _undisturbed():
            parallel = Parallel(
                n_jobs=count, backend="loky", return_as="generator", batch_size=1, max_nbytes=None
            )
            asking = os.getpid()
            held.append(parallel(delayed(_served)(asking, work, piece) for piece in pieces))

    def _judge(self, error: Exception) -> None:
        from concurrent.futures.process import BrokenProcessPool

        if not isinstance(error, BrokenProcessPool):
            raise error

    def close(self) -> None:
        """Ends the processes, if any were started."""
        executors = sys.modules.get("joblib.externals.loky.reusable_executor")
        if executors is not None:
            executors.get_reusable_executor(reuse=True).shutdown(wait=True, kill_workers=True)


_serving: set[int] = set()


def _served(asking: int, work: Callable[[Piece], Made], piece: Piece) -> Made:
    """Work done in a process that ends when the one that asks for it does, in whatever way."""
    if asking not in _serving:
        import threading

        _serving.add(asking)
        threading.Thread(target=_end_with, args=(asking,), daemon=True).start()
    return work(piece)


def _end_with(asking: int) -> None:
    import time

    # Who was killed can tell nobody; but its children then get another parent.
    while os.getppid() == asking:
        time.sleep(0.5)
    os._exit(1)


class Cluster(Crew[Piece, Made]):
    """A Dask cluster. What its workers must share with this process is for the work to say.

    Where the whole cluster has one thread, joblib finds it no help, and this process does the work.
    """

    def __init__(self, address: str) -> None:
        """A crew of the workers of a scheduler. Raises `NoCluster` where there are none."""
        try:
            import distributed
        except ImportError:
            raise NoCluster(
                "expected the package distributed, found none: pip install 'somite[dask]'"
            ) from None
        _silence("distributed", "tornado")
        try:
            client: Any = distributed.Client  # It says nothing of its types.
            self._client = client(address, timeout=WAIT, set_as_default=False, name="somite")
        except (OSError, ValueError, TimeoutError):
            raise NoCluster(f'expected a Dask scheduler at "{address}", found none') from None
        try:
            self._client.wait_for_workers(1, timeout=WAIT)
        except TimeoutError:
            self.close()
            raise NoCluster(f'expected workers of "{address}", found none') from None

    def _give_out(
        self, work: Callable[[Piece], Made], pieces: tuple[Piece, ...], held: list[Any]
    ) -> None:
        from joblib import Parallel, delayed, parallel_config

        with parallel_config(backend="dask", client=self._client, pure=False):
            parallel = Parallel(return_as="generator", batch_size=1)
            held.append(parallel(delayed(work)(piece) for piece in pieces))

    def _judge(self, error: Exception) -> None:
        from concurrent.futures import CancelledError

        from distributed import KilledWorker

        if isinstance(error, KilledWorker):
            return
        if isinstance(error, (CancelledError, OSError, TimeoutError)):
            raise _Gone from error
        # The work itself raises nothing: a worker could not even take it up.
        raise NoCluster(
            f"expected workers that have the same Somite as this machine, found one without:"
            f" {type(error).__name__}: {str(error).splitlines()[0] if str(error) else ''}"
        ) from error

    def close(self) -> None:
        """Ends the connection; what is still in work there is forgotten."""
        self._client.close()


def _silence(*packages: str) -> None:
    """Has packages log nothing: they tell of every connection that ends, and we of what matters."""
    import logging

    for name in (*packages, *logging.root.manager.loggerDict):
        if name.split(".")[0] in packages:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def _ended(results: Any) -> None:
    """Ends results that are not all handed in, without joblib's word on that."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        results.close()


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Has what is started in here deaf to Ctrl-C, which a terminal sends to every process.

    This process hears of it as soon as it leaves here, and ends the others.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    from multiprocessing import resource_tracker

    # It is started anyway with the first process, and would have Ctrl-C heard again from then on.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def cores() -> int:
    """How many processes this one may keep busy."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
