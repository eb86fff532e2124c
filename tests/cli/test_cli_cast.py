"""The cast file: its builds, and findings at its own lines."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from somite.builds import cast, cast_file
from somite.builds.job import Job
from somite.findings import Finding
from somite.text import Source

GOOD = """\
out = "made"
targets = ["scene"]

[[build]]
recipe = "upright.somite"
sheets = ["sheets/*.toml"]

[[build]]
recipe = "tail.somite"
sheets = ["sheets/otter.toml"]
targets = ["steps", "ours/table"]
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sheets").mkdir()
    for name in ("upright.somite", "tail.somite", "sheets/otter.toml", "sheets/heron.toml"):
        (tmp_path / name).write_text("x\n")
    return tmp_path


def loaded(text: str) -> tuple[tuple[Job, ...], list[Finding]]:
    Path("cast.toml").write_text(text, encoding="utf-8")
    jobs, findings, _ = cast.load(Path("cast.toml"))
    return jobs, list(findings)


def found(text: str) -> tuple[str, int, int, int]:
    """The one finding of a cast file: its code, line, column and length."""
    _, findings = loaded(text)
    assert len(findings) == 1
    site = findings[0].site
    assert site is not None and site.file == "cast.toml"
    return findings[0].code, site.line, site.column, site.length


def test_every_recipe_is_built_for_every_sheet_its_patterns_match(folder: Path) -> None:
    jobs, findings = loaded(GOOD)
    assert not findings
    assert [(job.recipe, job.sheet) for job in jobs] == [
        ("upright.somite", "sheets/heron.toml"),
        ("upright.somite", "sheets/otter.toml"),
        ("tail.somite", "sheets/otter.toml"),
    ]


def test_targets_of_a_build_go_before_those_of_the_cast(folder: Path) -> None:
    jobs, _ = loaded(GOOD)
    assert [job.targets for job in jobs] == [("scene",), ("scene",), ("steps", "ours/table")]


def test_a_folder_called_like_a_target_stays_a_folder(folder: Path) -> None:
    jobs, _ = loaded(GOOD.replace('"ours/table"', '"./scene"'))
    assert jobs[-1].targets == ("steps", "./scene")


def test_paths_start_from_the_folder_of_the_cast(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "cast.toml").write_text(GOOD)
    monkeypatch.chdir(folder / "sheets")
    path = cast_file.found_from(".")
    assert path is not None
    last = cast_file.jobs_at(path)[-1]
    assert Path(last.recipe).resolve() == folder / "tail.somite"
    assert Path(last.sheet).resolve() == folder / "sheets" / "otter.toml"
    assert Path(last.folder).resolve() == folder / "made"
    assert Path(last.targets[1]).resolve() == folder / "ours" / "table"


def test_a_cast_beyond_the_project_is_not_looked_for(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "cast.toml").write_text(GOOD)
    (folder / "inner" / ".git").mkdir(parents=True)
    monkeypatch.chdir(folder / "inner")
    assert cast_file.found_from(".") is None


def test_what_is_not_toml_is_a_finding_where_it_stops_being_so(folder: Path) -> None:
    code, line, column, _ = found('out = "made"\n[[build]\n')
    assert (code, line) == ("cast-syntax", 2)
    assert column > 1


def test_an_unknown_key_is_a_finding_at_the_key(folder: Path) -> None:
    assert found(GOOD.replace('\ntargets = ["scene"]', '\ntarget = ["scene"]')) == (
        "cast-key",
        2,
        1,
        6,
    )


def test_an_unknown_key_of_a_build_is_found_in_that_build(folder: Path) -> None:
    text = GOOD.replace('recipe = "tail.somite"', 'recipe = "tail.somite"\n  colour = 3')
    assert found(text) == ("cast-key", 10, 3, 6)


def test_an_unknown_key_gets_the_nearest_one(folder: Path) -> None:
    _, findings = loaded(GOOD.replace("out =", "outt ="))
    assert findings[0].help == 'did you mean "out"?'


@pytest.mark.parametrize(
    ("written", "wrong", "line"),
    [
        ('out = "made"', "out = 3", 1),
        ('out = "made"', 'out = "../made"', 1),
        ('out = "made"', 'out = "/made"', 1),
        ('targets = ["scene"]', 'targets = "scene"', 2),
        ('targets = ["scene"]', "targets = []", 2),
        ('recipe = "upright.somite"', "recipe = true", 5),
        ('recipe = "upright.somite"', 'recipe = "parts\\\\upright.somite"', 5),
        ('sheets = ["sheets/*.toml"]', 'sheets = "sheets/*.toml"', 6),
        ('sheets = ["sheets/*.toml"]', 'sheets = ["../*.toml"]', 6),
        ('sheets = ["sheets/*.toml"]', "sheets = [3]", 6),
    ],
)
def test_a_value_that_cannot_be_is_a_finding_at_its_key(
    folder: Path, written: str, wrong: str, line: int
) -> None:
    code, at, column, _ = found(GOOD.replace(written, wrong, 1))
    assert (code, at, column) == ("cast-value", line, 1)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("people = 99", 'expected 1 to 26 for "people", found 99'),
        ('people = "two"', 'expected 1 to 26 for "people", found a text'),
        ("loa = 4", 'expected 1, 2 or 3 for "loa", found 4'),
        ("loa = 1.5", 'expected 1, 2 or 3 for "loa", found a number'),
    ],
)
def test_a_number_that_is_out_of_bounds_is_told_as_it_is_written(
    folder: Path, line: str, told: str
) -> None:
    _, findings = loaded(f"{line}\n{GOOD}")
    assert findings[0].message == told


def test_a_build_without_sheets_is_a_finding_at_its_head(folder: Path) -> None:
    assert found('out = "made"\n\n[[build]]\nrecipe = "tail.somite"\n')[:2] == ("cast-missing", 3)


def test_an_empty_cast_is_a_finding(folder: Path) -> None:
    assert found("")[:2] == ("cast-missing", 1)


def test_a_recipe_that_is_not_there_is_a_finding_at_its_line(folder: Path) -> None:
    assert found(GOOD.replace("tail.somite", "snail.somite"))[:2] == ("file-missing", 9)


def test_a_pattern_that_no_sheet_matches_is_a_finding_at_the_pattern(folder: Path) -> None:
    text = GOOD.replace("sheets/otter.toml", "sheets/stoat*.toml")
    column = len("sheets = [") + 1
    assert found(text) == ("cast-missing", 10, column, len('"sheets/stoat*.toml"'))


def test_what_is_not_there_stops_nothing_else(folder: Path) -> None:
    every, _ = loaded(GOOD)
    without_recipe, _ = loaded(GOOD.replace("tail.somite", "snail.somite"))
    without_sheets, _ = loaded(GOOD.replace("sheets/otter.toml", "sheets/stoat*.toml"))
    assert without_recipe == without_sheets == every[:2]
    assert every[2].recipe == "tail.somite"


def test_a_mistake_in_the_file_itself_stops_all(folder: Path) -> None:
    jobs, findings = loaded(GOOD.replace('sheets = ["sheets/otter.toml"]', ""))
    assert not jobs and findings


def test_a_sheet_that_lies_elsewhere_through_a_link_is_a_finding(
    folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    other = tmp_path_factory.mktemp("other") / "secret.toml"
    other.write_text("x\n")
    (folder / "sheets" / "link.toml").symlink_to(other)
    assert found(GOOD)[:2] == ("path-outside-project", 6)
    assert all("link" not in job.sheet for job in loaded(GOOD)[0])


def test_several_mistakes_are_found_at_once(folder: Path) -> None:
    _, findings = loaded('outt = "x"\n[[build]]\nrecipe = 3\ncolour = 4\n')
    assert [finding.code for finding in findings] == [
        "cast-key",
        "cast-key",
        "cast-missing",
        "cast-value",
    ]


def test_the_quick_look_agrees_with_the_close_one(folder: Path) -> None:
    jobs, _ = loaded(GOOD)
    assert cast_file.jobs_at("cast.toml") == jobs


@pytest.mark.parametrize("text", ["", "[[build]", GOOD.replace("tail.", "snail.")])
def test_the_quick_look_leaves_what_is_wrong_to_the_close_one(folder: Path, text: str) -> None:
    loaded(text)
    assert cast_file.jobs_at("cast.toml") == ()


@pytest.mark.parametrize(
    "text", ["out = " + "[" * 5000, "out = " + "9" * 5000, "out = 1979-99-99", "a.b.c = 1\na = 2"]
)
def test_toml_that_is_too_much_is_a_finding(folder: Path, text: str) -> None:
    assert found(text)[0] == "cast-syntax"


@given(
    start=st.integers(0, len(GOOD)),
    length=st.integers(0, 40),
    put=st.text("[]{}=\"'\n\\.#0 -ax\u5c4b", max_size=8),
)
def test_no_damage_to_a_cast_goes_without_a_finding_or_jobs(
    start: int, length: int, put: str
) -> None:
    text = GOOD[:start] + put + GOOD[start + length :]
    cast_read, faults = cast_file.read(text, ".")
    assert (cast_read is None) == bool(faults)
    source = Source("cast.toml", text)
    for fault in faults:
        site = cast.place(source, fault.where)
        assert 1 <= site.line <= len(source.starts)
        assert 1 <= site.column <= len(source.line(site.line)) + 1
