"""`somite sheet` as a person runs it: what it writes where, and what it refuses."""

from __future__ import annotations

from pathlib import Path

import pytest

from somite.cli import main
from somite.sheet import load

SECOND = (
    'character = "second"\nunit = "mm"\nup = "+Z"\nfront = "-Y"\n[points]\n'
    "foot = [0, 0, 0]\nknee = [0, -40, 400]\nneck = [0, 0, 700]\ncrown = [0, 0, 1100]\n"
    "[measures]\nstalk_bones = 8\n"
)


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The project that `somite new` starts, entered, with a second sheet outside the cast."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", "lantern"]) == 0
    monkeypatch.chdir(tmp_path / "lantern")
    Path("second.toml").write_text(SECOND)
    return tmp_path / "lantern"


def said(capsys: pytest.CaptureFixture[str]) -> tuple[str, str]:
    found = capsys.readouterr()
    return found.out, found.err


def test_a_blank_goes_to_the_output_and_to_a_file_alike(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["sheet", "lantern.somite"]) == 0
    text, errors = said(capsys)
    assert errors == "" and "#stalk_bones = 5\n" in text
    assert main(["sheet", "lantern.somite", "-o", "sheets/vole.toml"]) == 0
    assert said(capsys) == ("wrote sheets/vole.toml\n", "")
    written = Path("sheets/vole.toml").read_text()
    assert written == text.replace('"new_character"', '"vole"')


def test_a_file_that_is_there_is_written_over_only_when_told(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    before = Path("sheets/first.toml").read_text()
    assert main(["sheet", "lantern.somite", "-o", "sheets/first.toml"]) == 2
    assert '"sheets/first.toml" is there' in said(capsys)[1]
    assert Path("sheets/first.toml").read_text() == before
    assert main(["sheet", "lantern.somite", "-o", "sheets/first.toml", "--replace"]) == 0
    assert Path("sheets/first.toml").read_text() != before
    assert sorted(path.name for path in Path("sheets").iterdir()) == ["first.toml"]


def test_a_scaled_sheet_of_the_cast_needs_no_more_than_its_factor(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sheet", "sheets/first.toml", "--scale", "2", "-o", "sheets/giant.toml"]) == 0
    sheet, findings = load(Path("sheets/giant.toml"))
    assert sheet is not None and findings == ()
    assert sheet.character == "giant"
    assert sheet.points["crown"].value == pytest.approx((0, 1.8, 0.02))
    assert str(sheet.measures["stalk_bones"].value) == "6"
    assert main(["build"]) == 0


def test_a_sheet_outside_the_cast_says_for_which_recipe_it_is(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["sheet", "second.toml", "--scale", "2"]) == 1
    out, errors = said(capsys)
    assert out == "" and "error[recipe-needed]" in errors and "--for RECIPE" in errors
    assert "second.toml:11:" in errors
    assert main(["sheet", "second.toml", "--scale", "2", "--for", "lantern.somite"]) == 0


def test_a_scaled_sheet_that_leaves_a_range_is_refused_whole(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("second.toml").write_text(SECOND + "girth = 1500\n")
    capsys.readouterr()
    command = ["sheet", "second.toml", "--scale", "2", "--for", "lantern.somite", "-o", "big.toml"]
    assert main(command) == 1
    assert "error[out-of-range]" in said(capsys)[1]
    assert not Path("big.toml").exists()


def test_a_blend_converts_and_says_how_it_was_made(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["sheet", "--blend", "sheets/first.toml", "second.toml", "40%", "-o", "both.toml"]
    assert main(command) == 0
    sheet, _ = load(Path("both.toml"))
    assert sheet is not None and sheet.character == "both"
    # 90 cm and 1100 mm up: 98 cm; 1 cm and 0 ahead: 0.6 cm.
    assert sheet.points["crown"].value == pytest.approx((0, 0.98, 0.006))
    assert "# Made by: somite sheet --blend sheets/first.toml second.toml 40%\n" in (
        Path("both.toml").read_text()
    )


def test_the_same_command_writes_the_same_bytes(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    texts = set()
    for _ in range(2):
        capsys.readouterr()
        assert main(["sheet", "--blend", "sheets/first.toml", "second.toml", "33.3%"]) == 0
        texts.add(said(capsys)[0])
    assert len(texts) == 1


def test_findings_can_be_read_by_a_machine(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    command = ["sheet", "lantern.somite", "--from-stature", "3", "m", "--format", "json"]
    assert main(command) == 1
    out, errors = said(capsys)
    assert out == "" and '"stature-outside"' in errors


def test_a_stature_is_written_in_one_word_or_two_before_or_after_the_recipe(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    texts = set()
    for words in (["172", "cm"], ["172cm"], ["172 cm"]):
        for command in (["lantern.somite", "--from-stature", *words], ["--from-stature", *words]):
            capsys.readouterr()
            recipe = [] if "lantern.somite" in command else ["lantern.somite"]
            assert main(["sheet", *command, *recipe]) == 0
            texts.add(said(capsys)[0])
    assert len(texts) == 1


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "expected a recipe, or a sheet with --scale"),
        (["lantern.somite", "--scale", "2"], "expected a sheet to scale"),
        (["second.toml"], "expected a recipe, a .somite file"),
        (["second.toml", "--scale", "0"], "expected a factor of 0.001 to 1000"),
        (["second.toml", "--scale", "120%"], "expected a factor"),
        (["second.toml", "--scale", "nan"], "expected a factor"),
        (["second.toml", "--scale", "2", "--kind", "male"], "beside --kind"),
        (["lantern.somite", "--kind", "male"], "beside --kind"),
        (["lantern.somite", "--for", "lantern.somite"], "beside --scale or --blend"),
        (["--blend", "second.toml", "second.toml", "40"], "expected a share of 0% to 100%"),
        (["--blend", "second.toml", "second.toml", "140%"], "expected a share of 0% to 100%"),
        (["x.toml", "--blend", "a.toml", "b.toml", "4%"], 'found "x.toml" too'),
        (["second.toml", "--scale", "2", "--blend", "a", "b", "4%"], "--scale and --blend"),
        (["lantern.somite", "--from-stature", "tall", "cm"], 'found "tall cm"'),
        (["lantern.somite", "--from-stature", "tall"], 'found "tall"'),
        (["lantern.somite", "--from-stature"], "expected a stature such as"),
        (["lantern.somite", "--from-stature", ""], "expected a stature such as"),
        (["lantern.somite", "--from-stature", "172"], "found 172 without a unit"),
        (["--from-stature", "172", "lantern.somite"], "found 172 without a unit"),
        (["lantern.somite", "--from-stature", "-5", "cm"], 'found "-5 cm"'),
        (["lantern.somite", "--from-stature", "5 foot 8 inch"], 'found "5 foot 8 inch"'),
        (["lantern.somite", "--from-stature", "1,72", "m"], 'found "1,72 m"'),
        (["a.somite", "--from-stature", "172", "cm", "b.somite"], "expected one recipe"),
        (["lantern.somite", "--from-stature", "172", "parsec"], 'found "parsec"'),
        (["lantern.somite", "-o", "vole.json"], "expected a .toml file"),
        (["lantern.somite", "-o", "sheets"], "expected a file to write"),
        (["lantern.somite", "--character", "two words"], "letters, digits and _"),
    ],
)
def test_what_could_be_misread_is_refused(
    project: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], told: str
) -> None:
    capsys.readouterr()
    before = sorted(project.rglob("*"))
    assert main(["sheet", *arguments]) == 2
    out, errors = said(capsys)
    assert out == ""
    assert errors.startswith("somite sheet: ") and told in errors
    assert "Traceback" not in errors
    assert sorted(project.rglob("*")) == before


@pytest.mark.parametrize(
    "arguments",
    [
        ["missing.somite"],
        ["missing.toml", "--scale", "2"],
        ["--blend", "missing.toml", "second.toml", "4%"],
        ["--blend", "second.toml", "missing.toml", "4%"],
    ],
)
def test_a_file_that_is_not_there_is_told(
    project: Path, capsys: pytest.CaptureFixture[str], arguments: list[str]
) -> None:
    capsys.readouterr()
    assert main(["sheet", *arguments]) == 2
    assert "error[file-missing]" in said(capsys)[1]


def test_a_recipe_with_mistakes_has_no_sheet(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bad.somite").write_text("recipe bad\nsheet\n  pint foot\n")
    capsys.readouterr()
    assert main(["sheet", "bad.somite", "-o", "sheets/bad.toml"]) == 1
    assert said(capsys)[1].startswith("bad.somite:3:")
    assert not Path("sheets/bad.toml").exists()
