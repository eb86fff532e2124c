"""A build on a real Dask cluster of this machine: nothing is lost, whoever is killed."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from shutil import rmtree

import pytest
from casts import COMMAND, environment, files_of, lanterns, outputs_of, somite

pytest.importorskip("distributed", reason="the package distributed is not installed")

SHEETS = 60
WORKERS = 2
PROMPT = 60.0
"""Seconds that anything of the cluster is waited for."""


def loopback() -> bool:
    """Whether processes of this machine can reach one another by its own address."""
    try:
        with (
            socket.create_server(("127.0.0.1", 0)) as server,
            socket.create_connection(server.getsockname(), timeout=5),
        ):
            return True
    except OSError:
        return False


pytestmark = pytest.mark.skipif(
    not loopback(), reason="the loopback interface is down here, by which a cluster talks"
)


@dataclass
class Cluster:
    """A scheduler and workers, each a process."""

    address: str
    scheduler: subprocess.Popen[bytes]
    workers: list[subprocess.Popen[bytes]]

    @property
    def options(self) -> tuple[str, ...]:
        return ("--backend", "dask", "--scheduler", self.address)


@contextmanager
def cluster(folder: Path) -> Iterator[Cluster]:
    """A cluster whose workers stand in a folder of their own, away from any project."""
    folder.mkdir()
    processes: list[subprocess.Popen[bytes]] = []
    told = folder / "scheduler.json"

    def start(*arguments: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "dask", *arguments, "--scheduler-file", str(told)]
        with open(folder / f"{len(processes)}.log", "wb") as log:
            process = subprocess.Popen(
                command, cwd=folder, env=environment(), stdout=log, stderr=log
            )
        processes.append(process)
        return process

    try:
        scheduler = start("scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard")
        wait_for(lambda: told.exists() and told.stat().st_size > 0)
        for _ in range(WORKERS):
            start("worker", "--no-nanny", "--nthreads", "1", "--no-dashboard")
        for number in range(1, WORKERS + 1):
            wait_for(lambda log=folder / f"{number}.log": b"Registered to" in log.read_bytes())
        yield Cluster(json.loads(told.read_text())["address"], scheduler, processes[1:])
    finally:
        for process in processes:
            process.kill()
            process.wait()


def wait_for(happened: object) -> None:
    assert callable(happened)
    end = time.monotonic() + PROMPT
    while not happened():
        assert time.monotonic() < end, "the cluster took too long"
        time.sleep(0.02)


@pytest.fixture(scope="module")
def market(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cast with what it builds to, in `reference`."""
    folder = lanterns(tmp_path_factory.mktemp("market") / "lantern", SHEETS)
    assert somite(folder, "build", "--jobs", "1", "-o", "reference").returncode == 0
    return folder


@contextmanager
def building(market: Path, out: Path, some: Cluster) -> Iterator[subprocess.Popen[str]]:
    """A build under way: some characters are built, and most are not."""
    process = subprocess.Popen(
        [*COMMAND, "build", "-o", str(out), *some.options],
        cwd=market,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        wait_for(lambda: built(out) >= 5)
        assert built(out) < SHEETS // 2
        yield process
    finally:
        process.kill()
        process.wait()


def built(out: Path) -> int:
    return len(list(out.glob("*.scene.json")))


def test_a_cluster_makes_and_says_the_same_as_one_process(market: Path, tmp_path: Path) -> None:
    (market / "sheets" / "broken.toml").write_text('character = "broken"\nunit = "ell"\n')
    try:
        with cluster(tmp_path / "cluster") as some:
            for command in (("build", "-o"), ("check", "--laws=rest", "--junit")):
                seen = []
                for crew in (("--jobs", "1"), some.options):
                    done = somite(market, *command, "made/out", *crew)
                    made = files_of(market / "made")
                    seen.append((done.returncode, done.stdout, done.stderr, made))
                    rmtree(market / "made")
                assert seen[0] == seen[1]
                assert seen[0][0] == 1 and f"{SHEETS + 1} characters" in seen[0][1]
    finally:
        (market / "sheets" / "broken.toml").unlink()


def test_a_worker_that_is_killed_midway_loses_nothing(market: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    with cluster(tmp_path / "cluster") as some, building(market, out, some) as process:
        some.workers[0].kill()
        said, errors = process.communicate(timeout=PROMPT)
    assert (process.returncode, errors) == (0, "")
    assert f"{SHEETS} characters: {SHEETS} built" in said
    assert outputs_of(out) == outputs_of(market / "reference")


def test_a_scheduler_that_is_killed_midway_loses_nothing(market: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    with cluster(tmp_path / "cluster") as some, building(market, out, some) as process:
        some.scheduler.kill()
        said, errors = process.communicate(timeout=PROMPT)
    assert process.returncode == 0
    assert errors.startswith("warning[cluster-lost]: expected the cluster at ")
    assert "Traceback" not in errors
    assert f"{SHEETS} characters: {SHEETS} built" in said
    assert outputs_of(out) == outputs_of(market / "reference")


def test_workers_with_another_somite_make_nothing(market: Path, tmp_path: Path) -> None:
    with cluster(tmp_path / "cluster") as some:
        # As if what was installed here were newer than what the workers run.
        program = (
            "import sys; from somite import cli; from somite.builds import errand;"
            "errand.contents_digest = lambda: 'newer'; sys.exit(cli.main(sys.argv[1:]))"
        )
        command = (sys.executable, "-c", program)
        done = somite(market, "build", "-o", str(tmp_path / "out"), *some.options, command=command)
    assert done.returncode == 1
    assert done.stderr.count("error[worker-unlike]") == 1
    assert not (tmp_path / "out").exists()


def test_where_no_scheduler_answers_nothing_is_done(market: Path, tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        free = server.getsockname()[1]
    crew = ("--backend", "dask", "--scheduler", f"tcp://127.0.0.1:{free}")
    done = somite(market, "build", "-o", str(tmp_path / "out"), *crew)
    assert done.returncode == 2
    assert done.stderr == (
        f'somite build: expected a Dask scheduler at "tcp://127.0.0.1:{free}", found none\n'
    )
    assert not os.path.exists(tmp_path / "out")
