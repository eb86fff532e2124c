"""A whole cast built by the command: what a lead reads, and that many hands make the same."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from shutil import copytree

import pytest
from casts import files_of, lanterns, outputs_of, somite

SHEETS = 6


@pytest.fixture(scope="module")
def market(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cast, built. Tests that change it copy it first."""
    folder = lanterns(tmp_path_factory.mktemp("market") / "lantern", SHEETS)
    assert somite(folder, "build", "--jobs", "1").returncode == 0
    return folder


@pytest.fixture
def project(market: Path, tmp_path: Path) -> Path:
    return Path(copytree(market, tmp_path / "lantern"))


def sheet(project: Path, number: int) -> Path:
    return project / "sheets" / f"puppet_{number:02}.toml"


def break_sheet(project: Path, number: int) -> None:
    path = sheet(project, number)
    path.write_text(path.read_text().replace("foot =", "fooot ="))


def test_one_failing_character_stops_no_other(project: Path) -> None:
    break_sheet(project, 2)
    done = somite(project, "build", "--force")
    assert done.returncode == 1
    assert done.stdout.splitlines()[-2:] == [
        "6 characters: 5 built, 1 failed",
        "failed: sheets/puppet_02.toml",
    ]
    assert "sheets/puppet_02.toml:8:1: error[unknown-measure]" in done.stderr


def test_the_table_has_a_line_a_character_in_the_order_of_the_cast(project: Path) -> None:
    break_sheet(project, 2)
    sheet(project, 4).write_text(sheet(project, 4).read_text() + "\n# measured again\n")
    lines = somite(project, "build").stdout.splitlines()
    table = lines[lines.index("") + 1 :]
    assert table[0].split() == ["sheet", "outcome", "findings", "files"]
    assert [row.split() for row in table[1 : SHEETS + 1]] == [
        ["sheets/puppet_00.toml", "up", "to", "date", "none", "4"],
        ["sheets/puppet_01.toml", "up", "to", "date", "none", "4"],
        ["sheets/puppet_02.toml", "failed", "1", "error", "4", "left"],
        ["sheets/puppet_03.toml", "up", "to", "date", "none", "4"],
        ["sheets/puppet_04.toml", "built", "none", "4"],
        ["sheets/puppet_05.toml", "up", "to", "date", "none", "4"],
    ]


def test_without_a_terminal_each_character_has_a_plain_line(project: Path) -> None:
    sheet(project, 1).write_text(sheet(project, 1).read_text() + "\n# measured again\n")
    done = somite(project, "build")
    assert done.stderr == ""
    assert done.stdout.splitlines()[:2] == [
        "[1/6] up to date: sheets/puppet_00.toml (4 files)",
        "[2/6] built: sheets/puppet_01.toml (4 files)",
    ]


def test_only_what_changed_is_built(project: Path) -> None:
    before = {path.name: path.stat().st_mtime_ns for path in (project / "build").glob("*.json")}
    sheet(project, 3).write_text(
        sheet(project, 3).read_text().replace("neck = [0, 60", "neck = [0, 61")
    )
    somite(project, "build")
    after = {path.name: path.stat().st_mtime_ns for path in (project / "build").glob("*.json")}
    assert [name for name in before if before[name] != after[name]] == [
        "lantern.puppet_03.scene.json"
    ]


def test_a_cast_with_nothing_to_do_says_so_in_one_line(project: Path) -> None:
    done = somite(project, "build")
    assert (done.returncode, done.stdout, done.stderr) == (0, "up to date: all 6 characters\n", "")


def test_explain_says_why_each_is_built_or_not_before_anything_is(project: Path) -> None:
    sheet(project, 1).write_text(sheet(project, 1).read_text() + "\n# measured again\n")
    lines = somite(project, "build", "--explain").stdout.splitlines()
    assert lines[:2] == [
        "up to date: sheets/puppet_00.toml, because nothing changed"
        " (recipe, sheet, outputs, Somite)",
        'to build: sheets/puppet_01.toml, because the sheet "sheets/puppet_01.toml" changed',
    ]
    assert lines[SHEETS].startswith("[1/6]")


def test_a_sheet_that_is_missing_stops_no_other(project: Path) -> None:
    cast = (project / "cast.toml").read_text()
    (project / "cast.toml").write_text(
        cast.replace('"sheets/*.toml"', '"sheets/*.toml", "sheets/toad.toml"')
    )
    done = somite(project, "build", "--force")
    assert done.returncode == 1
    assert 'no file that matches "sheets/toad.toml"' in done.stderr
    assert "6 characters: 6 built" in done.stdout


def test_an_output_that_cannot_be_written_stops_no_other(project: Path) -> None:
    blocked = project / "build" / "lantern.puppet_01.steps.md"
    blocked.unlink()
    blocked.mkdir()
    done = somite(project, "build", "--force")
    assert done.returncode == 1
    assert "6 characters: 5 built, 1 failed" in done.stdout
    assert 'error[output-unwritable]: expected to write to "build/lantern.puppet_01' in done.stderr


def limit_files() -> None:
    import resource

    # A write beyond so many bytes fails as it does where a disk has no room.
    resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))


@pytest.mark.skipif(sys.platform == "win32", reason="no limits of that kind")
def test_a_disk_without_room_is_told_once_and_leaves_nothing_half_written(project: Path) -> None:
    before = files_of(project / "build")
    done = somite(project, "build", "--force", "-o", "other", preexec_fn=limit_files)
    assert done.returncode == 1
    assert done.stderr.count("error[output-unwritable]") == 1
    assert 'expected to write to "other", found: file too large' in done.stderr
    assert "6 characters: 6 failed" in done.stdout
    assert files_of(project / "other") == {}
    assert files_of(project / "build") == before


def mixed(project: Path) -> None:
    """A cast of every kind: sound, with warnings, broken, and two of one name."""
    break_sheet(project, 1)
    sheet(project, 2).write_text(sheet(project, 2).read_text() + "wing_span = 3\n")
    sheet(project, 4).write_text(sheet(project, 4).read_text().replace("puppet_04", "puppet_00"))
    (project / "ferry.somite").write_text("recipe ferry\n  colour red\n")
    with open(project / "cast.toml", "a", encoding="utf-8") as cast:
        cast.write('[[build]]\nrecipe = "ferry.somite"\nsheets = ["sheets/puppet_05.toml"]\n')


@pytest.mark.parametrize("form", ["human", "sarif"])
def test_any_number_of_processes_makes_and_says_the_same(project: Path, form: str) -> None:
    mixed(project)
    seen = []
    for jobs in ("1", "2", "3"):
        command = ("build", "--force", "-o", "out", "--jobs", jobs, "--format", form)
        done = somite(project, *command)
        seen.append((done.returncode, done.stdout, done.stderr, files_of(project / "out")))
        (project / "out").rename(project / f"out{jobs}")
    assert seen[0] == seen[1] == seen[2]
    assert seen[0][0] == 1 and "7 characters: 4 built, 3 failed" in seen[0][1]


def test_any_number_of_processes_checks_and_says_the_same(project: Path) -> None:
    mixed(project)
    seen = []
    for jobs in ("1", "2"):
        done = somite(project, "check", "--jobs", jobs, "--junit", f"found{jobs}.xml")
        found = (project / f"found{jobs}.xml").read_text()
        seen.append((done.returncode, done.stdout, done.stderr, found))
    assert seen[0] == seen[1]
    assert seen[0][0] == 1 and "7 characters, 2 with something wrong" in seen[0][1]


@pytest.mark.parametrize(
    "arguments",
    [
        ("--jobs", "0"),
        ("--jobs", "many"),
        ("--backend", "dask"),
        ("--scheduler", "tcp://127.0.0.1:8786"),
        ("--backend", "dask", "--scheduler", "tcp://127.0.0.1:8786", "--jobs", "2"),
    ],
)
@pytest.mark.parametrize("command", ["build", "check"])
def test_who_works_can_not_be_contradicted(
    market: Path, command: str, arguments: tuple[str, ...]
) -> None:
    done = somite(market, command, *arguments)
    assert done.returncode == 2
    assert "expected" in done.stderr and "Traceback" not in done.stderr


def test_the_extra_that_is_missing_is_named(project: Path) -> None:
    hidden = project / "hidden"
    hidden.mkdir()
    (hidden / "distributed.py").write_text("raise ImportError('not here')\n")
    path = os.pathsep.join(filter(None, [str(hidden), os.environ.get("PYTHONPATH", "")]))
    arguments = ("build", "--force", "--backend", "dask", "--scheduler", "tcp://127.0.0.1:8786")
    done = somite(project, *arguments, more={"PYTHONPATH": path})
    assert done.returncode == 2
    assert "somite[dask]" in done.stderr
    assert outputs_of(project / "build")
