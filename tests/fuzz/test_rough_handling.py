"""The command line on a careless machine: closed streams, full disks, interruptions."""

from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

FULL = Path("/dev/full")

RECIPE = "recipe x\ncontrol m at ground\n  ring 10 cm\n  carries all\n"
LONG = (
    "recipe long\ncontrol m at ground\n  carries all\nrepeat k in 1..400\n  joint j[k] at ground\n"
)
BROKEN = "recipe x(\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A project with a sound recipe, a long one, a broken one and three sheets."""
    (tmp_path / "cast.toml").touch()
    (tmp_path / "sound.somite").write_text(RECIPE)
    (tmp_path / "long.somite").write_text(LONG)
    (tmp_path / "broken.somite").write_text(BROKEN)
    for name in ("pip", "bram", "tansy"):
        sheet = f'character = "{name}"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
        (tmp_path / f"{name}.toml").write_text(sheet)
    return tmp_path


def command(*arguments: str) -> list[str]:
    return [sys.executable, "-m", "somite", *arguments]


def in_shell(folder: Path, redirected: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a command under a shell's redirections."""
    line = 'exec "$@" ' + redirected
    return subprocess.run(
        ["sh", "-c", line, "sh", *command(*arguments)],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
    )


@pytest.mark.parametrize(
    ("redirected", "arguments", "status"),
    [
        (">&-", ("schema", "scene"), 0),
        (">&-", ("build", "sound.somite", "--sheet", "pip.toml"), 0),
        ("2>&-", ("check", "broken.somite"), 1),
        (">&- 2>&-", ("check", "broken.somite"), 1),
    ],
)
def test_a_closed_stream_does_not_disturb_a_command(
    folder: Path, redirected: str, arguments: tuple[str, ...], status: int
) -> None:
    done = in_shell(folder, redirected, *arguments)
    assert done.returncode == status
    assert "Traceback" not in done.stderr and "internal-error" not in done.stderr


@pytest.mark.skipif(not FULL.is_char_device(), reason="this machine has no full device")
@pytest.mark.parametrize("arguments", [("schema", "scene"), ("explain",)])
def test_a_full_disk_under_the_output_is_told(folder: Path, arguments: tuple[str, ...]) -> None:
    done = in_shell(folder, "> /dev/full", *arguments)
    assert done.returncode == 2
    assert "No space left" in done.stderr and "Traceback" not in done.stderr


@pytest.mark.skipif(not FULL.is_char_device(), reason="this machine has no full device")
def test_findings_sent_to_a_device_leave_it_a_device(folder: Path) -> None:
    done = in_shell(folder, "", "check", "broken.somite", "--findings", "/dev/full")
    assert done.returncode == 2
    assert stat.S_ISCHR(os.stat("/dev/full").st_mode)


def test_findings_sent_to_a_pipe_go_into_it(folder: Path) -> None:
    os.mkfifo(folder / "findings")
    reader = subprocess.Popen(["cat", "findings"], cwd=folder, stdout=subprocess.PIPE, text=True)
    try:
        done = in_shell(folder, "", "check", "broken.somite", "--findings", "findings")
        said, _ = reader.communicate(timeout=20)
    finally:
        reader.kill()
    assert done.returncode == 1
    assert "unclosed-bracket" in said


def test_an_output_that_is_a_folder_is_told_and_left_alone(folder: Path) -> None:
    (folder / "out/sound.pip.scene.json").mkdir(parents=True)
    (folder / "out/x.pip.scene.json").mkdir(parents=True)
    done = in_shell(folder, "", "build", "sound.somite", "--sheet", "pip.toml", "-o", "out")
    assert done.returncode == 1
    assert "output-unwritable" in done.stderr
    assert all(path.is_dir() for path in (folder / "out").iterdir())


def test_an_interrupted_build_leaves_whole_files_only(folder: Path) -> None:
    arguments = ["build", "long.somite", "-o", "out"]
    for name in ("pip", "bram", "tansy"):
        arguments += ["--sheet", f"{name}.toml"]
    running = subprocess.Popen(
        command(*arguments), cwd=folder, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    until = time.monotonic() + 30
    while not (folder / "out").exists() and running.poll() is None and time.monotonic() < until:
        time.sleep(0.002)
    running.send_signal(signal.SIGINT)
    _, said = running.communicate(timeout=30)
    written = list((folder / "out").iterdir())
    whole = sum(path.is_file() for path in written) == 12
    # It may have been done just then, or even be on its way out, where Python lets the signal kill.
    assert running.returncode in (0, 130) or (running.returncode == -signal.SIGINT and whole)
    assert "Traceback" not in said
    for path in written:
        assert not path.name.endswith(".part")
        if path.suffix == ".json" and path.is_file():
            json.loads(path.read_text())


@pytest.mark.parametrize("locale", ["C", "POSIX", "tr_TR.ISO-8859-9"])
def test_a_locale_without_unicode_shows_what_it_can(folder: Path, locale: str) -> None:
    (folder / "umlaut.somite").write_text("recipe übel\n", encoding="utf-8")
    plain = {"LC_ALL": locale, "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    done = subprocess.run(
        command("check", "umlaut.somite"),
        cwd=folder,
        capture_output=True,
        timeout=60,
        env={**os.environ, **plain},
    )
    assert done.returncode == 1
    assert b"bad-character" in done.stderr and b"Traceback" not in done.stderr
