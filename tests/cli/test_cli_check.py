"""`somite check`: findings, laws and checks of every character, and what is printed and written."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from somite.cli import main

RECIPE = """\
recipe stall
  units cm
  axes up +Y front +Z

sheet
  point foot, hook, flame

control master at ground  ring 40 cm  carries all
  size even
control pole at hook  under master  ring 20 cm
  size even
joint lamp at flame  under pole
joint post at foot  under master

check "a quarter turn brings the lamp level with the hook"
  pose pole.turn.z = 90 deg
  expect lamp at hook + (30 cm, 0 cm, 0 cm)
"""
LEFT_BEHIND = RECIPE.replace("joint post at foot  under master", "joint post at foot")
EXCUSED = LEFT_BEHIND.replace(
    "joint post at foot\n",
    'joint post at foot\n  excuse travel because "the post is rooted in the market square"\n',
)
UNMET = RECIPE.replace("(30 cm, 0", "(31 cm, 0")

SHEET = """\
character = "NAME"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
foot = [0, 0, 0]
hook = [0, 120, 0]
flame = [0, 90, 0]
"""

CAST = """\
[[build]]
recipe = "stall.somite"
sheets = ["sheets/*.toml"]
[[build]]
recipe = "ferry.somite"
sheets = ["sheets/otter.toml"]
"""


@pytest.fixture
def market(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "sheets").mkdir()
    for name in ("badger", "otter"):
        (tmp_path / "sheets" / f"{name}.toml").write_text(SHEET.replace("NAME", name))
    (tmp_path / "stall.somite").write_text(RECIPE)
    (tmp_path / "ferry.somite").write_text(RECIPE.replace("recipe stall", "recipe ferry"))
    (tmp_path / "cast.toml").write_text(CAST)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def lines(capsys: pytest.CaptureFixture[str]) -> list[list[str]]:
    return [line.split() for line in capsys.readouterr().out.splitlines()]


OTTER = ("stall.somite", "--sheet", "sheets/otter.toml")


def test_a_sound_character_has_a_line_that_says_so(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", *OTTER]) == 0
    head, line, empty, last = lines(capsys)
    assert head[:2] == ["character", "findings"] and head[-1] == "checks"
    assert line == ["otter", "none", *["held"] * 9, "1/1"]
    assert (empty, last) == ([], ["1", "character,", "all", "sound"])


def test_a_recipe_without_sheets_is_checked_for_those_of_the_cast(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "stall.somite"]) == 0
    assert [line[0] for line in lines(capsys)[1:3]] == ["badger", "otter"]


def test_the_cast_is_found_from_the_recipe_not_from_here(
    market: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(market.parent)
    assert main(["check", f"{market.name}/ferry.somite"]) == 0
    assert [line[:1] for line in lines(capsys)[1:2]] == [["otter"]]


def test_a_recipe_that_no_cast_lists_is_read_alone(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "alone.somite").write_text(RECIPE)
    assert main(["check", "alone.somite"]) == 0
    assert capsys.readouterr() == ("", "")


def test_without_a_recipe_the_whole_cast_is_checked(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check"]) == 0
    table = lines(capsys)
    assert [line[:2] for line in table[:4]] == [
        ["recipe", "character"],
        ["stall", "badger"],
        ["stall", "otter"],
        ["ferry", "otter"],
    ]


def test_a_broken_law_is_found_shown_and_can_be_seen_again(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "stall.somite").write_text(LEFT_BEHIND)
    assert main(["check", *OTTER, "--seed", "7"]) == 1
    out, err = capsys.readouterr()
    assert "stall.somite:13:1: error[law-travel]" in err
    head, row = (text.split() for text in out.replace("1 error", "one").splitlines()[:2])
    line = dict(zip(head, row, strict=True))
    assert (line["rest"], line["travel"]) == ("held", "broken")
    again = next(row for row in out.splitlines() if row.startswith("to see it again: "))
    command = again.removeprefix("to see it again: somite ").split()
    assert "7" in command and "travel" in command[command.index("--laws") + 1]
    assert main(command) == 1
    assert "error[law-travel]" in capsys.readouterr().err


def test_a_check_that_is_not_met_fails_and_says_what_was_measured(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "stall.somite").write_text(UNMET)
    assert main(["check", *OTTER]) == 1
    out, err = capsys.readouterr()
    assert out.splitlines()[1].split()[-1] == "0/1"
    assert "stall.somite:17:" in err


def test_an_excuse_is_told_apart_from_a_law_that_holds(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "stall.somite").write_text(EXCUSED)
    assert main(["check", *OTTER]) == 0
    out, err = capsys.readouterr()
    head, line = (text.split() for text in out.splitlines()[:2])
    assert dict(zip(head, line, strict=True))["travel"] == "excused"
    assert err == ""


def test_laws_can_be_chosen_by_their_words(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", *OTTER, "--laws", "calm, rest"]) == 0
    assert lines(capsys)[0] == ["character", "findings", "rest", "calm", "checks"]


def test_findings_only_poses_nothing_and_prints_no_table(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "stall.somite").write_text(LEFT_BEHIND)
    assert main(["check", *OTTER, "--findings-only"]) == 0
    assert capsys.readouterr().out == ""


def test_one_character_that_does_not_compile_stops_no_other(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = market / "sheets" / "badger.toml"
    sheet.write_text(sheet.read_text().replace("flame", "smoke"))
    assert main(["check", "stall.somite"]) == 1
    badger, otter = lines(capsys)[1:3]
    assert badger[0] == "badger" and badger[-10:] == ["-"] * 10
    assert otter == ["otter", "none", *["held"] * 9, "1/1"]


def test_the_same_check_says_the_same(market: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = []
    for _ in range(2):
        main(["check", "--junit", "found.xml"])
        said.append((capsys.readouterr(), (market / "found.xml").read_bytes()))
    assert said[0] == said[1]


def test_junit_has_a_suite_a_character_and_a_case_for_each_thing(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "stall.somite").write_text(UNMET)
    assert main(["check", "--junit", "out/found.xml"]) == 1
    top = ElementTree.parse(market / "out" / "found.xml").getroot()
    assert [suite.get("name") for suite in top] == ["stall.badger", "stall.otter", "ferry.otter"]
    for suite in top:
        names = [case.get("name") or "" for case in suite]
        assert names[0] == "findings" and len(names) == 1 + 9 + 1
        assert names[-1] == "a quarter turn brings the lamp level with the hook"
    assert [suite.get("failures") for suite in top] == ["1", "1", "0"]


def test_sarif_has_a_breach_of_a_law_with_its_rule(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "stall.somite").write_text(LEFT_BEHIND)
    assert main(["check", *OTTER, "--format", "sarif"]) == 1
    (run,) = json.loads(capsys.readouterr().err)["runs"]
    result = next(one for one in run["results"] if one["ruleId"] == "law-travel")
    rule = run["tool"]["driver"]["rules"][result["ruleIndex"]]
    assert rule["id"] == "law-travel"
    assert rule["shortDescription"]["text"] and rule["help"]["text"]
    place = result["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "stall.somite"
    assert place["region"]["startLine"] == 13


@pytest.mark.parametrize(
    "arguments",
    [
        (*OTTER, "--laws", "gravity"),
        (*OTTER, "--laws", "rest", "--findings-only"),
        (*OTTER, "--seed", "luck"),
        (*OTTER, "--seed", "-1"),
        ("--sheet", "sheets/otter.toml"),
        ("none.somite", "--sheet", "sheets/otter.toml"),
    ],
)
def test_wrong_usage_gives_status_2(
    market: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    try:
        status = main(["check", *arguments])
    except SystemExit as ended:
        status = int(str(ended.code))
    assert status == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_mistake_of_our_own_in_one_character_stops_no_other(
    market: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from somite import checks

    sound = checks.run

    def run(settled, evaluator=None):
        if settled.rig.character == "badger":
            raise RuntimeError("the lamp went out")
        return sound(settled, evaluator)

    monkeypatch.setattr(checks, "run", run)
    assert main(["check", "stall.somite"]) == 70
    out, err = capsys.readouterr()
    assert "error[internal-error]" in err and "the lamp went out" not in err
    assert out.splitlines()[2].split()[-1] == "1/1"


TREE = Path(__file__).parents[2]


def fences(page: str, kind: str) -> list[str]:
    pieces = (TREE / page).read_text(encoding="utf-8").split(f"```{kind}\n")[1:]
    return [piece.partition("```")[0] for piece in pieces]


@pytest.mark.parametrize(
    ("page", "recipe", "sheets"),
    [
        ("README.md", "somite", ("toml",)),
        ("grammar/reference/first_recipe.md", "somite grows", ("toml sheet", "toml next")),
    ],
    ids=["readme", "tutorial"],
)
def test_what_is_shown_to_begin_with_is_sound(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    page: str,
    recipe: str,
    sheets: tuple[str, ...],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("shown.somite").write_text("\n".join(fences(page, recipe)), encoding="utf-8")
    arguments = ["check", "shown.somite"]
    for number, kind in enumerate(sheets):
        Path(f"{number}.toml").write_text(fences(page, kind)[0], encoding="utf-8")
        arguments += ["--sheet", f"{number}.toml"]
    status = main(arguments)
    out, err = capsys.readouterr()
    assert (status, err) == (0, "")
    assert out.endswith("all sound\n")


def test_a_new_project_is_sound(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "lantern"]) == 0
    monkeypatch.chdir(tmp_path / "lantern")
    assert main(["check"]) == 0
    assert capsys.readouterr().out.endswith("1 character, all sound\n")
