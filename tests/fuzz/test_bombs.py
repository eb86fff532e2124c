"""Inputs that would be endless to build are refused, in bounded time and memory.

The bombs of `bombs.py` are set off in one process of 1 GiB of address space; each is a test.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import bombs
import pytest
from fuzz_seeds import PLAIN_SHEET
from fuzz_trial import watchdog

from somite import pipeline

Reports = dict[str, dict[str, object]]


@pytest.fixture(scope="module")
def reports(tmp_path_factory: pytest.TempPathFactory) -> Reports:
    """What came of every bomb, by its name."""
    root = tmp_path_factory.mktemp("project")
    (root / "cast.toml").touch()
    program = Path(bombs.__file__)
    done = subprocess.run(
        [sys.executable, str(program), str(root)],
        capture_output=True,
        text=True,
        timeout=600,
        cwd=program.parent,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return {report["name"]: report for report in map(json.loads, done.stdout.splitlines())}


@pytest.mark.parametrize("name", bombs.RECIPES)
def test_a_bomb_of_a_recipe_is_dealt_with(name: str, reports: Reports) -> None:
    report, code = reports[f"recipe: {name}"], bombs.RECIPES[name][1]
    assert report["problem"] is None
    if code is None:
        assert report["codes"] == []
    else:
        assert code in report["codes"]  # type: ignore[operator]


@pytest.mark.parametrize("name", bombs.SHEETS)
def test_a_bomb_of_a_sheet_is_dealt_with(name: str, reports: Reports) -> None:
    report = reports[f"sheet: {name}"]
    assert report["problem"] is None
    assert bombs.SHEETS[name][2] in report["codes"]  # type: ignore[operator]


# ---- files -----------------------------------------------------------------------------------


@pytest.fixture
def project_folder(tmp_path: Path) -> Path:
    """A project folder with a sound sheet, inside a folder that is none of its business."""
    folder = tmp_path / "project"
    folder.mkdir()
    (folder / "cast.toml").touch()
    (folder / "sheet.toml").write_text(PLAIN_SHEET)
    (tmp_path / "outside.somite").write_text("part limb\n  joint b at ground\n")
    return folder


def codes_of(recipe: Path, sheet: Path) -> list[str]:
    with watchdog():
        compiled = pipeline.compile(recipe, sheet)
    assert compiled.settled is None
    return [finding.code for finding in compiled.findings]


def make(path: Path, kind: str) -> None:
    """Something of a name that is no file to be read."""
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "endless device":
        path.symlink_to("/dev/zero")
    elif kind == "folder":
        path.mkdir()
    elif kind == "link to itself":
        path.symlink_to(path.name)
    else:
        with path.open("wb") as file:
            file.truncate(50 * 1024 * 1024)


KINDS = ("pipe", "endless device", "folder", "link to itself", "50 MB")


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_file_of_sensible_size_is_refused_as_recipe(
    kind: str, project_folder: Path
) -> None:
    make(project_folder / "x.somite", kind)
    found = codes_of(project_folder / "x.somite", project_folder / "sheet.toml")
    assert found == ["file-too-big" if kind == "50 MB" else "file-unreadable"]


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_file_of_sensible_size_is_refused_as_sheet(
    kind: str, project_folder: Path
) -> None:
    (project_folder / "x.somite").write_text(bombs.HEAD)
    make(project_folder / "x.toml", kind)
    found = codes_of(project_folder / "x.somite", project_folder / "x.toml")
    assert found == ["file-too-big" if kind == "50 MB" else "file-unreadable"]


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_file_of_sensible_size_is_refused_as_import(
    kind: str, project_folder: Path
) -> None:
    (project_folder / "x.somite").write_text(f'{bombs.HEAD}import limb from "y.somite"\n')
    make(project_folder / "y.somite", kind)
    found = codes_of(project_folder / "x.somite", project_folder / "sheet.toml")
    assert set(found) <= {"file-too-big", "file-unreadable", "path-outside-project"}
    assert found


@pytest.mark.parametrize(
    "written",
    [
        "../outside.somite",
        "parts/../../outside.somite",
        "/etc/passwd",
        "link.somite",
        "deep/o.somite",
    ],
)
def test_an_import_that_leads_out_of_the_project_is_refused(
    written: str, project_folder: Path
) -> None:
    (project_folder / "link.somite").symlink_to("../outside.somite")
    (project_folder / "deep").symlink_to("..")
    (project_folder.parent / "o.somite").write_text("part limb\n  joint b at ground\n")
    text = f'{bombs.HEAD}import limb from "{written}"\nuse limb as limb\n'
    (project_folder / "x.somite").write_text(text)
    found = codes_of(project_folder / "x.somite", project_folder / "sheet.toml")
    assert "path-outside-project" in found


def test_files_that_import_each_other_are_read_once(project_folder: Path) -> None:
    (project_folder / "a.somite").write_text(
        'import two from "b.somite"\npart one\n  use two as two\n'
    )
    (project_folder / "b.somite").write_text(
        'import one from "a.somite"\npart two\n  use one as one\n'
    )
    text = f'{bombs.HEAD}import one from "a.somite"\nuse one as one\n'
    (project_folder / "x.somite").write_text(text)
    found = codes_of(project_folder / "x.somite", project_folder / "sheet.toml")
    assert found == ["part-in-itself"]


def test_a_recipe_that_imports_itself_is_told_so(project_folder: Path) -> None:
    text = f'{bombs.HEAD}import one from "x.somite"\nuse one as one\n'
    (project_folder / "x.somite").write_text(text)
    found = codes_of(project_folder / "x.somite", project_folder / "sheet.toml")
    assert "import-missing" in found
