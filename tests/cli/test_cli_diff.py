"""`somite diff` in its forms: on the output or in a file, of one character or a whole cast."""

from __future__ import annotations

import json
import os
import re
import subprocess
from pathlib import Path

import pytest
from starting import imported

from somite.cli import main

RECIPE = """\
recipe lantern
  units cm
  axes up +Y front +Z

sheet
  point foot, middle, hook

control master at foot  ring 20 cm  carries all
control sway at middle  under master  ring 12 cm
  limit turn.z -60 deg..60 deg
chain pole through foot, middle, hook  under sway  named low, high
  axis +X
  lean +Z
list skin of pole
"""
SHEET = """\
character = "{name}"
unit = "cm"
up = "+Y"
front = "+Z"

[points]
foot = [0, 0, 0]
middle = [0, {middle}, 4]
hook = [0, 120, 0]
"""
CAST = """\
[[build]]
recipe = "lantern.somite"
sheets = ["sheets/*.toml"]
"""


@pytest.fixture
def market(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A repository with a cast of two, and a change that is not committed."""
    (tmp_path / "sheets").mkdir()
    (tmp_path / "lantern.somite").write_text(RECIPE)
    (tmp_path / "cast.toml").write_text(CAST)
    for name, middle in (("lumen", 60), ("tansy", 70)):
        (tmp_path / f"sheets/{name}.toml").write_text(SHEET.format(name=name, middle=middle))
    environment = {
        **os.environ,
        **{f"GIT_{who}_NAME": "Pip" for who in ("AUTHOR", "COMMITTER")},
        **{f"GIT_{who}_EMAIL": "pip@market.example" for who in ("AUTHOR", "COMMITTER")},
        **{f"GIT_CONFIG_{which}": os.devnull for which in ("GLOBAL", "SYSTEM")},
    }
    for arguments in (("init", "-q"), ("add", "-A"), ("commit", "-q", "-m", "Lanterns")):
        subprocess.run(["git", *arguments], cwd=tmp_path, env=environment, check=True)
    changed = RECIPE.replace("-60 deg..60 deg", "-20 deg..60 deg").replace(
        "control sway at middle  under master",
        "control sway at middle + (0, 5 cm, 0)  under master",
    )
    (tmp_path / "lantern.somite").write_text(changed)
    monkeypatch.chdir(tmp_path)
    return tmp_path


OLD, NEW = "HEAD:lantern.somite", "lantern.somite"


@pytest.mark.parametrize(
    ("options", "begins"),
    [
        ((), f"{OLD} -> {NEW}\n"),
        (("--format", "terminal"), f"{OLD} -> {NEW}\n"),
        (("--format", "markdown"), "### "),
        (("--format", "json"), '{\n  "format": "somite-diff 1"'),
        (("--json", "-"), '{\n  "format": "somite-diff 1"'),
        (("--format", "html"), "<!doctype html>\n"),
    ],
)
def test_each_form_goes_to_the_output(
    market: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], begins: str
) -> None:
    assert main(["diff", OLD, NEW, *options]) == 0
    out = capsys.readouterr().out
    assert out.startswith(begins)
    assert out.endswith("\n")


def test_the_example_of_the_reference_is_what_the_command_says(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = Path(__file__).parents[2] / "grammar" / "reference" / "reviewing.md"
    example = re.search(r"```text\n(.*?)```", page.read_text(encoding="utf-8"), re.S)
    assert example is not None
    assert main(["diff", OLD, NEW]) == 0
    assert capsys.readouterr().out == example[1]


@pytest.mark.parametrize(
    ("name", "options", "begins"),
    [
        ("review.html", (), "<!doctype html>"),
        ("review.HTM", (), "<!doctype html>"),
        ("review.md", (), "### "),
        ("review.json", (), '{\n  "format": "somite-diff 1"'),
        ("review.txt", (), OLD),
        ("review", (), OLD),
        ("review.txt", ("--format", "markdown"), "### "),
    ],
)
def test_a_file_gets_the_form_of_its_name_unless_another_is_asked_for(
    market: Path,
    capsys: pytest.CaptureFixture[str],
    name: str,
    options: tuple[str, ...],
    begins: str,
) -> None:
    assert main(["diff", OLD, NEW, "-o", name, *options]) == 0
    assert capsys.readouterr().out == f"wrote {name}\n"
    assert (market / name).read_text(encoding="utf-8").startswith(begins)


@pytest.mark.parametrize(
    "options",
    [
        ("--json", "-", "--format", "html"),
        ("--json", "-", "-o", "review.md"),
        ("--format", "paper"),
    ],
)
def test_two_forms_for_one_output_are_refused(
    market: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...]
) -> None:
    try:
        status: object = main(["diff", OLD, NEW, *options])
    except SystemExit as stopped:
        status = stopped.code
    assert status == 2
    out, errors = capsys.readouterr()
    assert out == "" and errors
    assert not (market / "review.md").exists()


def test_a_document_and_a_page_are_made_in_one_run(market: Path) -> None:
    assert main(["diff", OLD, NEW, "-o", "review.html", "--json", "review.json"]) == 0
    made = json.loads((market / "review.json").read_text(encoding="utf-8"))
    page = (market / "review.html").read_text(encoding="utf-8")
    for one in made["characters"]:
        assert one["character"] in page
        assert f"channels: {one['channels']['verdict']}" in page


def test_a_page_of_a_cast_has_drawings_and_a_slider_for_each(market: Path) -> None:
    assert main(["diff", "HEAD:.", ".", "-o", "review.html"]) == 0
    page = (market / "review.html").read_text(encoding="utf-8")
    assert re.findall(r'<tr><th scope="row"><a href="#character-\d">(\w+)</a>', page) == [
        "tansy",  # Whose control is further from what it moves.
        "lumen",
    ]
    assert page.count('type="range"') == 2
    assert page.count("both rigs at rest</title>") == 2


def test_of_a_big_cast_only_what_changes_most_is_drawn(
    market: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("somite.commands.diff.MOST_DRAWN", 1)
    assert main(["diff", "HEAD:.", ".", "-o", "review.html"]) == 0
    page = (market / "review.html").read_text(encoding="utf-8")
    assert page.count("both rigs at rest</title>") == 1
    assert "--sheet draws this one" in page


def test_without_poses_a_page_has_drawings_and_no_slider(market: Path) -> None:
    assert main(["diff", OLD, NEW, "-o", "review.html", "--no-poses"]) == 0
    page = (market / "review.html").read_text(encoding="utf-8")
    assert "both rigs at rest</title>" in page
    assert 'type="range"' not in page
    assert "Nothing was posed" in page


def test_a_pose_of_a_revision_is_told_where_no_command_can_pose_it(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (
        main(
            [
                "build",
                "lantern.somite",
                "--sheet",
                "sheets/lumen.toml",
                "--target",
                "scene",
                "-o",
                "out",
            ]
        )
        == 0
    )
    (scene,) = (market / "out").glob("*.scene.json")
    capsys.readouterr()
    old = ["HEAD:lantern.somite", str(scene.relative_to(market)), "--sheet", "sheets/lumen.toml"]
    assert main(["diff", *old]) == 0
    out = capsys.readouterr().out
    assert "somite pose" not in out
    assert re.search(r"\n      at sway\.turn\.\w=-?\d+deg", out)


def test_one_character_of_two_recipes_is_told_apart(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "lamp.somite").write_text(RECIPE.replace("recipe lantern", "recipe lamp"))
    (market / "cast.toml").write_text(CAST + CAST.replace("lantern", "lamp"))
    assert main(["diff", ".", ".", "--format", "json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert sorted(one["character"] for one in made["characters"]) == [
        "lumen of lamp.somite",
        "lumen of lantern.somite",
        "tansy of lamp.somite",
        "tansy of lantern.somite",
    ]


def test_findings_go_where_and_how_they_are_asked_to(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    more = ("--require", "channels=keeps", "--findings", "f.sarif", "--findings-format", "sarif")
    assert main(["diff", OLD, NEW, "-o", "review.md", *more]) == 1
    out, errors = capsys.readouterr()
    assert (out, errors) == ("wrote review.md\n", "")
    results = json.loads((market / "f.sarif").read_text())["runs"][0]["results"]
    assert {one["ruleId"] for one in results} == {"requirement-unmet"}


def test_drawing_tools_are_imported_for_a_page_alone(market: Path) -> None:
    tools = {"jinja2", "somite.drawing", "somite.report.review_page"}
    assert not imported(market, "diff", OLD, NEW) & tools
    assert tools <= imported(market, "diff", OLD, NEW, "-o", "review.html")
