"""`somite git-setup` and its undo: what is written where, and that nothing else is touched."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from stall import Stall

from somite import git_setup
from somite.cli import main


def files(top: Path) -> dict[str, bytes | None]:
    return {
        name: (top / ".git" / name).read_bytes() if (top / ".git" / name).exists() else None
        for name in ("config", "info/attributes")
    }


def setting(stall: Stall, key: str) -> str:
    return stall.git("config", "--get", key, status=None).stdout.strip()


def attribute(stall: Stall, name: str, path: str) -> str:
    told = stall.git("check-attr", "-z", name, "--", path).stdout
    return told.split("\0")[2]


def test_it_says_what_it_wrote_and_git_reads_it(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["git-setup"]) == 0
    told = capsys.readouterr()
    assert told.err == ""
    for word in (".git/config", ".git/info/attributes", "merge.somite", "--undo"):
        assert word in told.out
    assert attribute(stall, "merge", "a b/ü.somite") == "somite"
    assert attribute(stall, "diff", "a b/ü.somite") == "somite"
    assert attribute(stall, "diff", "build/lamp.lumen.scene.json") == "somite"
    assert attribute(stall, "diff", "package.json") == "unspecified"
    for key in ("diff.somite.textconv", "difftool.somite.cmd", "merge.somite.driver"):
        assert sys.executable in setting(stall, key)


def test_no_tracked_file_is_changed(stall: Stall) -> None:
    main(["git-setup"])
    assert stall.git("status", "--porcelain").stdout == ""


def test_a_second_time_changes_nothing(stall: Stall, capsys: pytest.CaptureFixture[str]) -> None:
    main(["git-setup"])
    before = files(stall.top)
    capsys.readouterr()
    assert main(["git-setup"]) == 0
    assert files(stall.top) == before
    assert "wrote" not in capsys.readouterr().out


@pytest.mark.parametrize(
    "attributes",
    [
        None,
        b"",
        b"*.png binary\n",
        b"*.png binary",
        b"*.png binary\r\n# Pip's own\r\n*.txt text\r\n",
        b"\xef\xbb\xbf*.png binary\n",
        b"*.somite merge=other\n",
    ],
)
@pytest.mark.parametrize("tail", [b"", b"[alias]\n\tst = status", b"# the end\n\n\n"])
def test_undo_leaves_every_byte_as_it_was(
    stall: Stall, attributes: bytes | None, tail: bytes
) -> None:
    config = stall.top / ".git/config"
    config.write_bytes(config.read_bytes() + tail)
    path = stall.top / ".git/info/attributes"
    path.parent.mkdir(exist_ok=True)
    path.unlink(missing_ok=True)
    if attributes is not None:
        path.write_bytes(attributes)
    before = files(stall.top)
    main(["git-setup"])
    changed = files(stall.top)
    assert all(changed[name] != before[name] for name in before)
    assert main(["git-setup", "--undo"]) == 0
    assert files(stall.top) == before


def test_line_ends_are_those_of_the_file(stall: Stall) -> None:
    path = stall.top / ".git/info/attributes"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"*.png binary\r\n")
    main(["git-setup"])
    lines = path.read_bytes().split(b"\n")
    assert all(line.endswith(b"\r") for line in lines[:-1])
    assert attribute(stall, "merge", "a.somite") == "somite"
    assert attribute(stall, "diff", "a.png") == "unset"


def test_what_the_repository_says_itself_goes_before_what_we_say(stall: Stall) -> None:
    path = stall.top / ".git/info/attributes"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"old/*.somite -merge\n")
    main(["git-setup"])
    assert attribute(stall, "merge", "old/a.somite") == "unset"
    assert attribute(stall, "merge", "new/a.somite") == "somite"


def test_what_others_wrote_afterwards_stays(stall: Stall) -> None:
    before = files(stall.top)
    main(["git-setup"])
    stall.git("config", "diff.somite.cachetextconv", "true")
    stall.git("config", "user.name", "Tansy")
    path = stall.top / ".git/info/attributes"
    path.write_bytes(path.read_bytes() + b"*.txt text\n")
    assert main(["git-setup", "--undo"]) == 0
    assert setting(stall, "diff.somite.cachetextconv") == "true"
    assert setting(stall, "user.name") == "Tansy"
    assert setting(stall, "diff.somite.textconv") == setting(stall, "merge.somite.driver") == ""
    assert path.read_bytes() == (before["info/attributes"] or b"") + b"*.txt text\n"


def test_a_somite_that_moved_takes_the_place_of_the_old_one(
    stall: Stall, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = files(stall.top)
    monkeypatch.setattr(sys, "executable", "/opt/old place/python")
    main(["git-setup"])
    assert "'/opt/old place/python'" in setting(stall, "diff.somite.textconv")
    monkeypatch.undo()
    monkeypatch.chdir(stall.top)
    main(["git-setup"])
    assert "old place" not in (stall.top / ".git/config").read_text()
    main(["git-setup", "--undo"])
    assert files(stall.top) == before


def test_undo_where_nothing_was_set_up(stall: Stall, capsys: pytest.CaptureFixture[str]) -> None:
    before = files(stall.top)
    assert main(["git-setup", "--undo"]) == 0
    assert capsys.readouterr().out == "nothing to take back\n"
    assert files(stall.top) == before


def test_a_worktree_and_a_folder_below_set_up_the_repository(
    stall: Stall, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = files(stall.top)
    stall.git("worktree", "add", "-q", "../other tree", "-b", "other")
    config = (stall.top / ".git/config").read_bytes()
    monkeypatch.chdir(stall.top.parent / "other tree" / stall.project.name)
    assert main(["git-setup"]) == 0
    assert setting(stall, "merge.somite.driver")
    monkeypatch.chdir(stall.project)
    assert main(["git-setup", "--undo"]) == 0
    assert files(stall.top) == {**before, "config": config}


def test_a_submodule_is_set_up_by_itself(stall: Stall, monkeypatch: pytest.MonkeyPatch) -> None:
    outer = Stall(stall.top.parent / "the whole market")
    outer.git("submodule", "add", "-q", str(stall.top), "puppets of Pip")
    outer.commit("Take the lamps in")
    before = files(outer.top)
    inner = outer.top / "puppets of Pip"
    monkeypatch.chdir(inner)
    assert main(["git-setup"]) == 0
    assert files(outer.top) == before
    told = outer.git("config", "--get", "merge.somite.driver", within=inner).stdout
    assert "somite merge" in told
    assert main(["git-setup", "--undo"]) == 0
    outer.git("config", "--get", "merge.somite.driver", within=inner, status=1)


# ---- what cannot be set up -----------------------------------------------------------------------


def refused(capsys: pytest.CaptureFixture[str], code: str) -> None:
    assert main(["git-setup"]) == 1
    told = capsys.readouterr()
    assert told.out == ""
    assert f"error[{code}]" in told.err
    assert "help: " in told.err


def test_outside_a_repository(
    tmp_path: Path,
    stall: Stall,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path))
    refused(capsys, "no-repository")


def test_a_bare_repository(
    stall: Stall, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    stall.git("clone", "-q", "--bare", ".", "../bare one")
    monkeypatch.chdir(stall.top.parent / "bare one")
    before = (stall.top.parent / "bare one/config").read_bytes()
    refused(capsys, "bare-repository")
    assert (stall.top.parent / "bare one/config").read_bytes() == before


def test_no_git(
    stall: Stall, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PATH", "")
    refused(capsys, "git-missing")


def test_a_locked_configuration(stall: Stall, capsys: pytest.CaptureFixture[str]) -> None:
    before = files(stall.top)
    lock = stall.top / ".git/config.lock"
    lock.write_text("")
    refused(capsys, "setup-unwritable")
    assert lock.exists()
    assert files(stall.top) == before


def test_attributes_that_cannot_be_written_leave_the_configuration_as_it_was(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (stall.top / ".git/config").read_bytes()
    path = stall.top / ".git/info/attributes"
    path.unlink(missing_ok=True)
    path.mkdir(parents=True)
    refused(capsys, "setup-unwritable")
    assert (stall.top / ".git/config").read_bytes() == before


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="everything may be written")
def test_a_folder_that_is_protected(stall: Stall, capsys: pytest.CaptureFixture[str]) -> None:
    before = files(stall.top)
    (stall.top / ".git").chmod(0o555)
    try:
        refused(capsys, "setup-unwritable")
    finally:
        (stall.top / ".git").chmod(0o755)
    assert files(stall.top) == before


# ---- how git finds the program -------------------------------------------------------------------


@pytest.mark.parametrize(
    "place", ["/opt/so mite/bin/python", "/opt/it's/python", '/opt/"a"/python', "/opt/50%/python"]
)
def test_any_path_of_the_interpreter_reaches_git_as_it_is(
    stall: Stall, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    """The shell, git's configuration and the driver's placeholders each quote in their own way."""
    monkeypatch.setattr(sys, "executable", place)
    words = git_setup.program()
    split = subprocess.run(
        ["sh", "-c", f"printf '%s\\n' {words}"], capture_output=True, text=True, check=True
    )
    assert split.stdout.splitlines() == [place, "-P", "-m", "somite"]
    main(["git-setup"])
    assert words in setting(stall, "diff.somite.textconv")
    assert words.replace("%", "%%") in setting(stall, "merge.somite.driver")


def test_nothing_that_lies_in_the_repository_is_run(stall: Stall) -> None:
    """A module of the work tree must not be taken for one of ours."""
    main(["git-setup"])
    for name in ("somite.py", "lark.py", "argparse.py"):
        (stall.top / name).write_text('raise SystemExit("the repository was run")\n')
    stall.recipe.write_text(stall.recipe.read_text().replace("30 cm", "31 cm"))
    told = stall.git("diff", "--", "*.somite")
    assert "the repository was run" not in told.stdout + told.stderr
    assert "+  length girth = 31 cm" in told.stdout
