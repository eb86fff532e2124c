"""A build that is stopped, at any moment and in any way, leaves whole files only."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path
from shutil import copytree

import pytest
from casts import COMMAND, environment, files_of, lanterns, outputs_of, somite

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals and terminals differ")

SHEETS = 24


@pytest.fixture(scope="module")
def market(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cast with what it builds to, in `reference`."""
    folder = lanterns(tmp_path_factory.mktemp("market") / "lantern", SHEETS)
    assert somite(folder, "build", "--jobs", "1", "-o", "reference").returncode == 0
    return folder


def at_a_terminal(folder: Path, *arguments: str, stop: int, when: str) -> tuple[int, str]:
    """The status and the text of a build at a terminal, stopped when it says something."""
    import pty

    process, terminal = pty.fork()
    if process == 0:
        os.chdir(folder)
        os.execve(sys.executable, [*COMMAND, *arguments], {**environment(), "TERM": "xterm"})
    said, stopped, end = "", False, time.monotonic() + 120
    while time.monotonic() < end:
        if not select.select([terminal], [], [], 1)[0]:
            continue
        try:
            said += os.read(terminal, 65536).decode()
        except OSError:  # The terminal is closed when nobody has it open any more.
            break
        if when in said and not stopped:
            stopped = True
            if stop == signal.SIGINT:
                os.write(terminal, b"\x03")  # As the key does: to every process of the terminal.
            else:
                os.kill(process, stop)
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]), said


def assert_whole(folder: Path, reference: Path) -> None:
    made, whole = outputs_of(folder), outputs_of(reference)
    assert {name: whole.get(name) for name in made} == made
    assert not [name for name in files_of(folder) if name.endswith(".part")]


@pytest.mark.parametrize(
    ("stop", "status", "word"),
    [(signal.SIGINT, 130, "interrupted"), (signal.SIGTERM, 143, "ended")],
    ids=["ctrl-c", "terminated"],
)
@pytest.mark.parametrize("jobs", ["1", "2"])
def test_a_build_that_is_stopped_says_so_in_one_line_and_leaves_whole_files(
    market: Path, tmp_path: Path, jobs: str, stop: int, status: int, word: str
) -> None:
    out = tmp_path / "out"
    build = ("build", "--jobs", jobs, "-o", str(out))
    ended, said = at_a_terminal(market, *build, stop=stop, when="[3/24]")
    assert ended == status
    # What is left on the screen: the line of progress is written over, and ends as blanks.
    left = [line.split("\r")[-1] for line in said.replace("\r\n", "\n").split("\n")]
    (line,) = [text for text in left if text.strip()]
    assert line.startswith(f"somite build: {word} after ")
    assert "Traceback" not in said
    assert_whole(out, market / "reference")
    made = len(list(out.glob("*.scene.json")))
    assert 3 <= made < SHEETS
    again = somite(market, "build", "-o", str(out))
    assert again.returncode == 0
    assert outputs_of(out) == outputs_of(market / "reference")


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_a_check_that_is_stopped_says_so_in_one_line(market: Path, jobs: str) -> None:
    ended, said = at_a_terminal(market, "check", "--jobs", jobs, stop=signal.SIGINT, when="[1/24]")
    assert ended == 130
    assert "somite check: interrupted after " in said and "Traceback" not in said


def test_at_a_terminal_the_table_stands_alone(market: Path, tmp_path: Path) -> None:
    build = ("build", "--jobs", "1", "-o", str(tmp_path / "out"))
    ended, said = at_a_terminal(market, *build, stop=0, when="never said")
    assert ended == 0
    assert f"[{SHEETS - 1}/{SHEETS}] sheets/puppet_{SHEETS - 1:02}.toml" in said
    left = [line.split("\r")[-1] for line in said.replace("\r\n", "\n").split("\n")]
    lines = [text for text in left if text.strip()]
    assert lines[0].split() == ["sheet", "outcome", "findings", "files"]
    assert len(lines) == SHEETS + 2


def test_workers_end_when_the_build_is_killed(market: Path, tmp_path: Path) -> None:
    process = subprocess.Popen(
        [*COMMAND, "build", "--jobs", "2", "-o", str(tmp_path / "out")],
        cwd=market,
        env=environment(),
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline().startswith("[1/24]")
    process.kill()
    process.wait()
    end = time.monotonic() + 60
    while alive(process.pid) and time.monotonic() < end:
        time.sleep(0.1)
    assert not alive(process.pid)
    process.stdout.close()
    assert_whole_but_waiting(tmp_path / "out", market / "reference")


def alive(session: int) -> bool:
    """Whether any process of a session is left."""
    try:
        os.killpg(session, 0)
    except ProcessLookupError:
        return False
    return True


def assert_whole_but_waiting(folder: Path, reference: Path) -> None:
    """After a process was killed: what has a name of its own is whole; what waits may be there."""
    made, whole = outputs_of(folder), outputs_of(reference)
    assert {name: whole.get(name) for name in made} == made


# The build as it is installed, but for the moment at which it is killed as by the system.
KILLED = """
import os, signal, sys
from somite.builds import write
from somite.cli import main

moment, number = sys.argv[1], int(sys.argv[2])
count = 0

def die(*arguments, **named):
    global count
    count += 1
    if count == number:
        os.kill(os.getpid(), signal.SIGKILL)

replace, beside = os.replace, write._write_beside

def before(*arguments, **named):
    die()
    replace(*arguments, **named)

def after(*arguments, **named):
    replace(*arguments, **named)
    die()

def halfway(path, waiting, data):
    global count
    if count + 1 == number:
        beside(path, waiting, data[: len(data) // 2])
    die()
    beside(path, waiting, data)

if moment == "halfway":
    write._write_beside = halfway
else:
    os.replace = before if moment == "before" else after
sys.exit(main(sys.argv[3:]))
"""


@pytest.fixture(scope="module")
def remeasured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two characters that were built and then measured again, and what they build to now."""
    folder = tmp_path_factory.mktemp("remeasured")
    project = lanterns(folder / "lantern", 2)
    assert somite(project, "build", "--jobs", "1").returncode == 0
    for path in (project / "sheets").glob("*.toml"):
        path.write_text(path.read_text().replace("neck = [0, 60", "neck = [0, 61"))
    copytree(project, folder / "whole")
    assert somite(folder / "whole", "build", "--jobs", "1").returncode == 0
    return folder


# Each character has four outputs and a stamp: five renames, ten for two characters.
@pytest.mark.parametrize(
    ("moment", "number"),
    [
        *(("before", number) for number in (1, 2, 4, 5, 6, 9)),
        *(("after", number) for number in (1, 4, 5, 10)),
        *(("halfway", number) for number in (1, 3, 5, 10)),
    ],
)
def test_a_build_that_is_killed_in_the_middle_of_a_rename_leaves_each_file_old_or_new(
    remeasured: Path, tmp_path: Path, moment: str, number: int
) -> None:
    project = Path(copytree(remeasured / "lantern", tmp_path / "lantern"))
    whole = remeasured / "whole" / "build"
    old, new = outputs_of(project / "build"), outputs_of(whole)
    assert not set(old.values()) & set(new.values())

    killing = (sys.executable, "-c", KILLED, moment, str(number))
    done = somite(project, "build", "--jobs", "1", command=killing)
    assert done.returncode == -signal.SIGKILL

    left = outputs_of(project / "build")
    assert left.keys() == old.keys()
    assert all(data in (old[name], new[name]) for name, data in left.items())
    if moment == "halfway":
        # What was half written waits under a name that no one takes for an output.
        assert any(name.endswith(".part") for name in files_of(project / "build"))

    done = somite(project, "build")
    assert done.returncode == 0
    assert files_of(project / "build") == files_of(whole)
    assert somite(project, "build").stdout == "up to date: all 2 characters\n"
