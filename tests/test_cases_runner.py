"""The harness of the cases: it tells what is missing, what is extra, and rewrites goldens."""

from __future__ import annotations

from pathlib import Path

import pytest
from cases_runner import case_at, held

SOUND = "recipe stall\ncontrol master at (0, 10 cm, 0)\n"
BROKEN = "recipe stall\ncontrol master at pelvis\n"


def write(folder: Path, text: str, golden: str | None = None) -> Path:
    path = folder / "stall.somite"
    path.write_text(text, encoding="utf-8")
    if golden is not None:
        path.with_suffix(".golden").write_text(golden, encoding="utf-8")
    return path


def test_an_update_writes_a_golden_that_holds_from_then_on(tmp_path: Path) -> None:
    path = write(tmp_path, SOUND)
    assert held(case_at(path), update=True) == ()
    assert "control master (master) at 0 10 0" in path.with_suffix(".golden").read_text()
    assert held(case_at(path)) == ()


def test_an_update_rewrites_a_golden_that_the_rig_left(tmp_path: Path) -> None:
    path = write(tmp_path, SOUND, "rig of another time\n")
    assert held(case_at(path), update=True) == ()
    assert path.with_suffix(".golden").read_text().startswith("rig stall 1 in cm")


def test_an_update_leaves_a_right_golden_untouched(tmp_path: Path) -> None:
    path = write(tmp_path, SOUND)
    held(case_at(path), update=True)
    golden = path.with_suffix(".golden")
    before = golden.stat().st_mtime_ns
    held(case_at(path), update=True)
    assert golden.stat().st_mtime_ns == before


def test_an_update_takes_away_the_golden_of_a_case_that_must_fail(tmp_path: Path) -> None:
    expected = BROKEN.replace("pelvis", "pelvis  #! error[unknown-name]: pelvis")
    path = write(tmp_path, expected, "rig stall\n")
    assert held(case_at(path), update=True) == ()
    assert not path.with_suffix(".golden").exists()


def test_an_update_writes_nothing_for_a_case_with_findings_it_does_not_expect(
    tmp_path: Path,
) -> None:
    path = write(tmp_path, BROKEN, "kept\n")
    assert held(case_at(path), update=True)
    assert path.with_suffix(".golden").read_text() == "kept\n"


def test_without_an_update_a_missing_golden_is_told(tmp_path: Path) -> None:
    (problem,) = held(case_at(write(tmp_path, SOUND)))
    assert "pytest --update" in problem


def test_a_golden_that_differs_is_told_line_by_line(tmp_path: Path) -> None:
    path = write(tmp_path, SOUND)
    held(case_at(path), update=True)
    path = write(tmp_path, SOUND.replace("10 cm", "11 cm"))
    problems = held(case_at(path))
    assert "-control master (master) at 0 10 0" in problems
    assert "+control master (master) at 0 11 0" in problems


@pytest.mark.parametrize(
    ("comment", "reason"),
    [
        ("#! error[unknown-name]: crown", "another message"),
        ("#! warning[unknown-name]: pelvis", "another severity"),
        ("#! error[dimension]: pelvis", "another code"),
        ("", "no expectation"),
    ],
    ids=lambda value: value if not value.startswith("#") else "",
)
def test_a_finding_that_is_not_the_expected_one_is_told(
    tmp_path: Path, comment: str, reason: str
) -> None:
    path = write(tmp_path, BROKEN.rstrip() + f"  {comment}\n")
    assert any("not expected" in problem for problem in held(case_at(path))), reason


def test_an_expectation_on_another_line_is_not_met(tmp_path: Path) -> None:
    path = write(tmp_path, "#! error[unknown-name]: pelvis\n" + BROKEN)
    problems = held(case_at(path))
    assert any(problem.startswith("expected, and not found") for problem in problems)


def test_a_finding_on_the_sheet_stands_on_the_case_s_own_line(tmp_path: Path) -> None:
    text = "#| [points]\n#| hat = [0, 1, 2]  #! warning[unused-measure]: hat\n" + SOUND
    path = write(tmp_path, text)
    assert held(case_at(path), update=True) == ()
