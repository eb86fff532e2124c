"""Files are written whole or not at all."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from somite.builds.write import _name_beside, swept, write_all


def test_files_and_their_folders_are_made(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b" / "heron.txt"
    assert write_all({str(path): b"stalk\n"}) == (str(path),)
    assert path.read_bytes() == b"stalk\n"


def test_nothing_is_left_beside_a_file(tmp_path: Path) -> None:
    write_all({str(tmp_path / "heron.txt"): b"stalk\n"})
    assert os.listdir(tmp_path) == ["heron.txt"]


def test_a_file_that_holds_the_bytes_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "heron.txt"
    path.write_bytes(b"stalk\n")
    os.utime(path, (1, 1))
    assert write_all({str(path): b"stalk\n"}) == ()
    assert path.stat().st_mtime == 1


def test_one_that_cannot_be_written_keeps_the_others_as_they_were(tmp_path: Path) -> None:
    first = tmp_path / "first.txt"
    first.write_bytes(b"before\n")
    blocked = tmp_path / "blocked"
    blocked.write_bytes(b"a file, not a folder\n")
    with pytest.raises(OSError):
        write_all({str(first): b"after\n", str(blocked / "second.txt"): b"after\n"})
    assert first.read_bytes() == b"before\n"
    assert sorted(os.listdir(tmp_path)) == ["blocked", "first.txt"]


def test_a_link_is_replaced_and_what_it_points_to_is_kept(tmp_path: Path) -> None:
    real, link = tmp_path / "real.txt", tmp_path / "link.txt"
    real.write_bytes(b"mine\n")
    link.symlink_to(real)
    write_all({str(link): b"built\n"})
    assert real.read_bytes() == b"mine\n"
    assert link.read_bytes() == b"built\n" and not link.is_symlink()


def test_a_rewrite_keeps_the_permissions(tmp_path: Path) -> None:
    path = tmp_path / "heron.txt"
    path.write_bytes(b"before\n")
    path.chmod(0o640)
    write_all({str(path): b"after\n"})
    assert path.stat().st_mode & 0o777 == 0o640


@pytest.fixture
def ended() -> int:
    """The number of a process that is no more."""
    done = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], **CAPTURED)
    return int(done.stdout)


CAPTURED: dict[str, Any] = {"capture_output": True, "text": True, "check": True}


@pytest.mark.skipif(os.name != "posix", reason="whether a process runs can not be asked safely")
def test_what_an_ended_process_left_beside_is_swept_away_and_nothing_else(
    tmp_path: Path, ended: int
) -> None:
    ours = Path(_name_beside(str(tmp_path / "heron.scene.json")))
    theirs = ours.name.replace(str(os.getpid()), str(ended))
    kept = {
        ours.name,
        theirs.replace(".somite-", ".somite-another_machine-"),
        theirs.replace(".part", ".txt"),
        "heron.scene.json",
        ".notes.12.part",
    }
    for name in (theirs, *kept):
        (tmp_path / name).write_bytes(b"half a st")
    assert swept(str(tmp_path)) == (str(tmp_path / theirs),)
    assert set(os.listdir(tmp_path)) == kept


def test_a_folder_that_is_not_there_needs_no_sweeping(tmp_path: Path) -> None:
    assert swept(str(tmp_path / "none")) == ()
