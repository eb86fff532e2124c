"""Paths: which file a written path means, and what is never opened."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from somite import project
from somite.findings import Finding
from somite.text import Site

SITE = Site("recipe.somite", 3, 8)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    root = tmp_path / "market"
    (root / "parts").mkdir(parents=True)
    (root / "cast.toml").write_text("")
    (root / "parts" / "limb.somite").write_text("part limb\n")
    (tmp_path / "secret.somite").write_text("part secret\n")
    return root


def only(findings: tuple[Finding, ...]) -> Finding:
    assert len(findings) == 1
    return findings[0]


def test_the_project_is_the_nearest_folder_with_a_cast(home: Path) -> None:
    assert project.find_root(home / "parts" / "limb.somite") == home.resolve()


def test_the_project_is_the_nearest_folder_with_a_repository(home: Path) -> None:
    (home / "parts" / ".git").mkdir()
    assert project.find_root(home / "parts" / "limb.somite") == (home / "parts").resolve()


def test_without_a_mark_the_project_is_the_files_own_folder(tmp_path: Path) -> None:
    # A repository above the temporary folder would be a mark; there is none on a sane machine.
    assert project.find_root(tmp_path / "alone.somite") == tmp_path.resolve()


def test_a_path_is_looked_for_from_the_folder_of_the_file_that_writes_it(home: Path) -> None:
    path, findings = project.resolve(home, home / "parts", "limb.somite", SITE)
    assert (path, findings) == ((home / "parts" / "limb.somite").resolve(), ())


def test_a_path_may_climb_inside_the_project(home: Path) -> None:
    path, _ = project.resolve(home, home / "parts", "../parts/limb.somite", SITE)
    assert path == (home / "parts" / "limb.somite").resolve()


@pytest.mark.parametrize(
    "written", ["../secret.somite", "parts/../../secret.somite", "../market2/x", ".."]
)
def test_a_path_that_climbs_out_is_refused_at_its_own_place(home: Path, written: str) -> None:
    path, findings = project.resolve(home, home, written, SITE)
    assert path is None
    assert (only(findings).code, only(findings).site) == ("path-outside-project", SITE)


@pytest.mark.parametrize("written", ["/etc/hostname", "C:/limb.somite", "\\\\server\\limb"])
def test_an_absolute_path_is_refused_on_every_machine(home: Path, written: str) -> None:
    _, findings = project.resolve(home, home, written, SITE)
    assert only(findings).code == "path-outside-project"


@pytest.mark.parametrize("written", ["", "  ", "a\0b", "a\nb", "parts\\limb.somite", "\ud800"])
def test_a_path_that_is_not_written_as_one_is_refused(home: Path, written: str) -> None:
    _, findings = project.resolve(home, home, written, SITE)
    assert only(findings).code == "path-form"


def test_a_link_that_leads_out_is_refused(home: Path, tmp_path: Path) -> None:
    (home / "parts" / "borrowed.somite").symlink_to(tmp_path / "secret.somite")
    _, findings = project.resolve(home, home, "parts/borrowed.somite", SITE)
    assert only(findings).code == "path-outside-project"
    assert "link" in only(findings).message


def test_a_folder_that_is_a_link_out_is_refused(home: Path, tmp_path: Path) -> None:
    (home / "elsewhere").symlink_to(tmp_path, target_is_directory=True)
    _, findings = project.resolve(home, home, "elsewhere/secret.somite", SITE)
    assert only(findings).code == "path-outside-project"


def test_a_link_that_stays_inside_is_followed(home: Path) -> None:
    (home / "limb.somite").symlink_to(home / "parts" / "limb.somite")
    path, _ = project.resolve(home, home, "limb.somite", SITE)
    assert path == (home / "parts" / "limb.somite").resolve()


def test_a_link_to_itself_is_a_finding(home: Path) -> None:
    (home / "round.somite").symlink_to(home / "round.somite")
    _, findings = project.resolve(home, home, "round.somite", SITE)
    assert only(findings).code in ("file-unreadable", "file-missing")


def test_a_missing_file_is_named_with_its_nearest_neighbour(home: Path) -> None:
    _, findings = project.resolve(home, home, "parts/lim.somite", SITE)
    assert only(findings).code == "file-missing"
    assert only(findings).help == 'did you mean "parts/limb.somite"?'


def test_a_missing_folder_is_said_to_be_missing(home: Path) -> None:
    _, findings = project.resolve(home, home, "pieces/limb.somite", SITE)
    assert only(findings).code == "file-missing"
    assert "folder" in only(findings).message


def test_a_folder_is_no_file(home: Path) -> None:
    _, findings = project.resolve(home, home, "parts", SITE)
    assert only(findings).code == "file-unreadable"


def test_a_pipe_is_refused_without_waiting_for_a_writer(home: Path) -> None:
    os.mkfifo(home / "pipe.somite")
    source, findings = project.read_source(home / "pipe.somite")
    assert source is None
    assert only(findings).code == "file-unreadable"


def test_an_endless_device_is_refused() -> None:
    source, findings = project.read_source(Path("/dev/zero"))
    assert source is None
    assert only(findings).code == "file-unreadable"


def test_a_big_file_is_refused_before_it_is_read(home: Path) -> None:
    with (home / "big.somite").open("wb") as stream:
        stream.truncate(50 * 1024 * 1024)
    _, findings = project.resolve(home, home, "big.somite", SITE)
    assert only(findings).code == "file-too-big"
    assert only(project.read_source(home / "big.somite")[1]).code == "file-too-big"


def test_a_file_at_the_limit_is_read(home: Path) -> None:
    (home / "full.somite").write_bytes(b"#" * 100)
    assert project.read_bytes(home / "full.somite", "full", limit=100)[0] == b"#" * 100
    assert only(project.read_bytes(home / "full.somite", "full", limit=99)[1]).code == (
        "file-too-big"
    )


def test_a_byte_that_is_not_utf_8_is_found_by_line_column_and_number(home: Path) -> None:
    (home / "latin.somite").write_bytes("# é\r\n# caf".encode() + b"\xe9\n")
    source, findings = project.read_source(home / "latin.somite", "latin.somite")
    assert source is None
    assert only(findings).site == Site("latin.somite", 2, 6)
    assert "byte 11 " in only(findings).message


def test_a_byte_order_mark_and_line_ends_are_forgotten(home: Path) -> None:
    (home / "windows.somite").write_bytes(b"\xef\xbb\xbfa\r\nb\rc\n")
    source, _ = project.read_source(home / "windows.somite")
    assert source is not None
    assert source.text == "a\nb\nc\n"


def test_names_are_shown_from_the_current_folder(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(home)
    assert project.shown(home / "parts" / "limb.somite") == "parts/limb.somite"


def test_names_outside_the_current_folder_are_shown_from_the_project(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(home / "parts")
    root = project.find_root(home / "cast.toml")
    assert project.shown(home / "heron.somite", root) == "heron.somite"


def test_a_name_that_is_not_text_is_shown_escaped(home: Path) -> None:
    name = project.shown(Path(os.fsdecode(os.fsencode(home) + b"/odd\xff\x1b.somite")), home)
    assert name.isprintable()
    assert name.encode()


@given(st.text(max_size=40))
def test_no_written_path_makes_a_traceback_or_leaves_the_project(written: str) -> None:
    here = Path(__file__).parent
    path, findings = project.resolve(here, here, written, SITE)
    assert (path is None) == bool(findings)
    assert path is None or path.is_relative_to(here.resolve())
