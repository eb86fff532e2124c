"""`somite merge`: one file of both sides, its status, and what is said of the rest."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from somite.cli import main

BASE = """\
recipe lamp
  units cm
  axes up +Y front +Z

sheet
  point hook

control pole at hook  ring 20 cm  carries all
  lock size
  limit turn.z -30 deg..30 deg
"""

needs_git = pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed")


@pytest.fixture
def stall(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def merge(folder: Path, ours: str | bytes, theirs: str | bytes, *more: str) -> int:
    for name, text in (("base", BASE), ("ours", ours), ("theirs", theirs)):
        content = text if isinstance(text, bytes) else text.encode("utf-8")
        (folder / f"{name}.somite").write_bytes(content)
    return main(["merge", "base.somite", "ours.somite", "theirs.somite", *more])


def test_facts_next_to_each_other_merge_where_lines_would_not(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ours = BASE.replace("lock size", "lock size, move")
    theirs = BASE.replace("-30 deg", "-20 deg")
    assert merge(stall, ours, theirs, "-o", "ours.somite") == 0
    assert (stall / "ours.somite").read_text() == ours.replace("-30 deg", "-20 deg")
    assert capsys.readouterr() == ("", "")


def test_a_conflict_is_told_and_marked(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ours, theirs = BASE.replace("20 cm", "21 cm"), BASE.replace("20 cm", "22 cm")
    assert merge(stall, ours, theirs, "--path", "rigs/lamp.somite", "--marker-size", "9") == 1
    told = capsys.readouterr()
    assert told.err == (
        'somite merge: rigs/lamp.somite:8: conflict: both sides change "ring" of "control pole"\n'
    )
    assert "<<<<<<<<< ours\ncontrol pole at hook  ring 21 cm" in told.out


@needs_git
def test_what_cannot_be_read_is_merged_by_lines_and_said(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = BASE + "\ncontrol (((\n"
    assert merge(stall, broken, BASE.replace("recipe lamp", "recipe lamp_post")) == 1
    told = capsys.readouterr()
    assert "recipe lamp_post" in told.out and "control (((" in told.out
    assert "the merged recipe cannot be read" in told.err


@needs_git
def test_a_broken_base_that_both_sides_mended_is_merged_by_lines(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (stall / "base.somite").write_text(BASE + "control (((\n")
    for name in ("ours", "theirs"):
        (stall / f"{name}.somite").write_text(BASE)
    assert main(["merge", "base.somite", "ours.somite", "theirs.somite"]) == 0
    told = capsys.readouterr()
    assert told.out == BASE
    assert "merged by lines" in told.err


def test_what_is_no_text_is_told_and_the_file_stays_as_it_was(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A letter of an older encoding must not come out as another one."""
    ours = BASE.encode() + "# Gl\u00fchw\u00fcrmchen\n".encode("latin-1")
    assert merge(stall, ours, BASE.replace("20 cm", "22 cm"), "-o", "ours.somite") == 2
    assert (
        "ours.somite:11:5: error[file-unreadable]: expected UTF-8 text" in capsys.readouterr().err
    )
    assert (stall / "ours.somite").read_bytes() == ours


def test_what_git_takes_for_no_text_is_refused_or_merged_without_a_traceback(
    stall: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert merge(stall, b"\x00\x01\x02", BASE.replace("20 cm", "22 cm")) in (1, 2)
    assert "Traceback" not in capsys.readouterr().err


def test_our_line_ends_stay(stall: Path) -> None:
    ours = BASE.replace("20 cm", "21 cm").replace("\n", "\r\n").encode()
    theirs = BASE.replace("-30 deg", "-20 deg").replace("\n", "\r\n").encode()
    assert merge(stall, ours, theirs, "-o", "ours.somite") == 0
    assert (stall / "ours.somite").read_bytes() == ours.replace(b"-30 deg", b"-20 deg")


def test_a_missing_file_is_said(stall: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["merge", "a.somite", "b.somite", "c.somite"]) == 2
    assert "a.somite" in capsys.readouterr().err


@needs_git
def test_git_calls_it_as_its_merge_driver(stall: Path) -> None:
    """Two branches change two facts that stand side by side, in a real repository."""
    recipe = stall / "the stall" / "laterne ä.somite"
    recipe.parent.mkdir()

    def git(*arguments: str) -> subprocess.CompletedProcess[str]:
        identity = ["-c", "user.name=Pip", "-c", "user.email=pip@example.org"]
        return subprocess.run(
            ["git", *identity, *arguments], cwd=stall, capture_output=True, text=True, check=False
        )

    def commit(text: str) -> None:
        recipe.write_text(text, encoding="utf-8")
        git("add", "-A")
        assert git("commit", "-qm", "a change").returncode == 0

    git("init", "-q", "-b", "main")
    (stall / ".gitattributes").write_text("*.somite merge=somite\n")
    program = f"'{sys.executable}' -m somite merge %O %A %B -o %A --marker-size %L --path %P"
    git("config", "merge.somite.driver", program)
    commit(BASE)
    git("checkout", "-qb", "topic")
    commit(BASE.replace("lock size", "lock size, move"))
    git("checkout", "-q", "main")
    commit(BASE.replace("-30 deg", "-20 deg"))
    done = git("merge", "-q", "topic")
    assert done.returncode == 0, done.stderr
    wanted = BASE.replace("lock size", "lock size, move").replace("-30 deg", "-20 deg")
    assert recipe.read_text(encoding="utf-8") == wanted
