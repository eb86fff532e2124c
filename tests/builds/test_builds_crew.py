"""Crews: results come in order, whoever made them, and a lost worker loses nothing."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from somite.builds.crew import Alone, Crew, Processes

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes end differently")


@pytest.fixture
def crew() -> Iterator[Crew[object, object]]:
    some: Crew[object, object] = Processes(2)
    yield some
    some.close()


# The work of these tests. A worker is ended as the system ends one that takes too much memory.


def doubled(number: int) -> int:
    return 2 * number


def process_of(number: int) -> int:
    return os.getpid()


def doubled_after_a_loss(asked: tuple[int, str]) -> int:
    """The fourth ends its worker, the first time that it is tried."""
    number, mark = asked
    if number == 4 and not Path(mark).exists():
        Path(mark).write_text("tried")
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * number


def doubled_unless_cursed(number: int) -> int:
    """The fourth ends whoever works on it."""
    if number == 4:
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * number


def signals_blocked(number: int) -> set[signal.Signals]:
    return set(signal.pthread_sigmask(signal.SIG_BLOCK, ()))  # type: ignore[arg-type]


def test_alone_results_are_made_when_they_are_asked_for() -> None:
    asked: list[int] = []
    results = Alone[int, None]().each(asked.append, [1, 2, 3])
    next(results)
    assert asked == [1]


def test_results_come_in_the_order_of_the_pieces(crew: Crew[int, int]) -> None:
    assert list(crew.each(doubled, list(range(50)))) == list(range(0, 100, 2))


def test_the_work_is_done_by_others(crew: Crew[int, int]) -> None:
    assert os.getpid() not in set(crew.each(process_of, list(range(8))))


def test_nothing_to_do_is_done_at_once(crew: Crew[int, int]) -> None:
    assert list(crew.each(doubled, [])) == []


def test_what_a_lost_worker_held_is_given_out_anew(
    crew: Crew[tuple[int, str], int], tmp_path: Path
) -> None:
    pieces = [(number, str(tmp_path / "mark")) for number in range(10)]
    assert list(crew.each(doubled_after_a_loss, pieces)) == list(range(0, 20, 2))
    assert (tmp_path / "mark").exists()


def test_a_piece_that_ends_every_worker_is_left_out_and_no_other(crew: Crew[int, int]) -> None:
    found = list(crew.each(doubled_unless_cursed, list(range(8))))
    assert found == [0, 2, 4, 6, None, 10, 12, 14]


def test_workers_do_not_hear_of_an_interruption(crew: Crew[int, set[signal.Signals]]) -> None:
    # At a terminal Ctrl-C reaches every process; only the one that was started must act on it.
    for blocked in crew.each(signals_blocked, [1, 2, 3]):
        assert blocked is not None and signal.SIGINT in blocked
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())


def test_a_crew_that_is_left_early_has_ended_its_workers(crew: Crew[int, int]) -> None:
    results = crew.each(process_of, list(range(100)))
    worker = next(results)
    results.close()  # type: ignore[attr-defined]
    crew.close()
    assert worker is not None
    with pytest.raises(ProcessLookupError):
        os.kill(worker, 0)
