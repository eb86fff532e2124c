"""The guide to parts: its pages say what the parts say, and its pictures are of today."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import pytest

import somite
from somite import guide, library
from somite.cli import main
from somite.pipeline import Compiled
from somite.text import Source

ROOT = Path(__file__).parents[2]
RECIPES = ROOT / "recipes"
PAGES = RECIPES / "parts" / "guide"

PART = """\
# A lamp on a hook.
#
# It swings, and never scales.

part lamp
  about "A lamp that swings"
  needs point hook  # where it hangs
  needs length drop = 30 cm in 5 cm..2 m
  needs choice glass of clear, red = clear  # what it shines through
  offers swing, light is wick.last
  control swing at hook  ring 0.5 * drop
    about "swings the lamp"
    dial glow = 0 in 0..1 neutral  # how bright it is
  when glass is red
    joint shade at hook
  check "the lamp hangs still"
    expect swing still within 1 mm
"""


def part_of(text: str) -> guide.Part:
    (part,), findings = guide.parts_in(Source("lamp.somite", text))
    assert findings == ()
    return part


def test_a_page_says_what_the_part_says() -> None:
    part = part_of(PART)
    assert guide.needs(part) == [
        ("`hook`", "point", "", "where it hangs"),
        ("`drop`", "length in 5 cm..2 m", "`30 cm`", ""),
        ("`glass`", "choice of clear, red", "`clear`", "what it shines through"),
    ]
    assert guide.offers(part) == [("`swing`", "control: swings the lamp"), ("`light`", "wick.last")]
    assert guide.dials(part) == [("`swing.glow`", "0 in 0..1 neutral", "how bright it is")]
    assert guide.checks(part) == ["the lamp hangs still"]
    page = guide.page(part)
    assert page.startswith("# lamp\n\nA lamp that swings\n\nA lamp on a hook.\n\nIt swings, and")
    assert "| `drop` | length in 5 cm..2 m | `30 cm` |   |" in page


def test_what_a_part_has_none_of_has_no_section() -> None:
    page = guide.page(part_of("part post\n  needs point foot\n  joint post at foot\n"))
    assert re.findall(r"^## (.+)$", page, re.MULTILINE) == ["What it needs"]


def test_the_command_lists_the_library_and_prints_pages(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["parts"]) == 0
    listed = capsys.readouterr().out
    assert {line.split()[0] for line in listed.splitlines()} == set(guide.library_parts())
    assert main(["parts", "spine"]) == 0
    assert capsys.readouterr().out == guide.page(guide.library_parts()["spine"])
    assert main(["parts", "spime"]) == 2
    assert 'did you mean "spine"?' in capsys.readouterr().err
    (tmp_path / "lamp.somite").write_text(PART, encoding="utf-8")
    assert main(["parts", str(tmp_path / "lamp.somite")]) == 0
    assert capsys.readouterr().out.startswith("# lamp\n")


def test_a_file_without_sound_parts_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "lamp.somite"
    file.write_text("recipe lamp\n", encoding="utf-8")
    assert main(["parts", str(file)]) == 2
    assert "expected a part in" in capsys.readouterr().err
    file.write_text("part lamp\n  neds point hook\n", encoding="utf-8")
    assert main(["parts", str(file)]) == 1
    told = capsys.readouterr().err
    assert "error[syntax]" in told and "  2 |   neds point hook" in told
    assert main(["parts", str(tmp_path / "none.somite")]) == 2
    assert "error[file-missing]" in capsys.readouterr().err


# ---- the shipped guide ---------------------------------------------------------------------------


@cache
def shipped() -> tuple[Compiled, ...]:
    """Each recipe of the shipped cast, for the first of its sheets."""
    cast = tomllib.loads((RECIPES / "cast.toml").read_text(encoding="utf-8"))
    found: dict[str, Compiled] = {}
    for build in cast["build"]:
        sheets = [path for form in build["sheets"] for path in sorted(RECIPES.glob(form))]
        if build["recipe"] not in found:
            found[build["recipe"]] = somite.compile(RECIPES / build["recipe"], sheets[0])
    return tuple(found.values())


def rig_with(part: guide.Part) -> Compiled:
    return next(made for made in shipped() if guide.placed(part, made) is not None)


@pytest.mark.parametrize("name", sorted(guide.library_parts()))
def test_every_part_has_a_page_and_a_picture_of_today(
    name: str, request: pytest.FixtureRequest
) -> None:
    """The picture is drawn from a rig that other tests prove; here it must be whole and current."""
    part = guide.library_parts()[name]
    made = rig_with(part)
    use = guide.placed(part, made)
    assert use is not None
    page = guide.page(part, f"{name}.svg", use.example)
    picture = guide.drawn(part, made)
    assert picture is not None
    if request.config.getoption("--update"):
        PAGES.mkdir(exist_ok=True)
        (PAGES / f"{name}.md").write_text(page, encoding="utf-8")
        (PAGES / f"{name}.svg").write_text(picture, encoding="utf-8")
    assert (PAGES / f"{name}.md").read_text(encoding="utf-8") == page
    assert (PAGES / f"{name}.svg").read_text(encoding="utf-8") == picture
    drawn = {
        path.attrib["data-name"]
        for path in ElementTree.fromstring(picture).iter("{http://www.w3.org/2000/svg}path")
        if path.attrib.get("class") in ("control", "bone")
    }
    assert drawn & set(use.names)


@pytest.mark.parametrize(("name", "view"), [("master", "top"), ("spine", "front")])
def test_what_lies_on_the_ground_is_drawn_from_above(name: str, view: str) -> None:
    part = guide.library_parts()[name]
    picture = guide.drawn(part, rig_with(part))
    assert picture is not None
    assert re.findall(r'data-view="(\w+)"', picture) == [view, "side"]


@pytest.mark.parametrize("name", sorted(guide.library_parts()))
def test_every_part_explains_itself(name: str) -> None:
    part = guide.library_parts()[name]
    assert part.document.source.text.startswith("# ")
    assert part.about
    assert guide.checks(part)
    assert part.document.source.name == f"library/{name}.somite"


def test_the_index_lists_every_part_and_the_folder_holds_no_other(
    request: pytest.FixtureRequest,
) -> None:
    parts = guide.library_parts()
    rows = [f"- [{name}]({name}.md): {part.about}." for name, part in parts.items()]
    index = "\n".join([*INDEX, *rows, ""])
    if request.config.getoption("--update"):
        (PAGES / "README.md").write_text(index, encoding="utf-8")
    assert (PAGES / "README.md").read_text(encoding="utf-8") == index
    assert {path.stem for path in PAGES.glob("*.md")} == {*parts, "README"}
    assert {path.stem for path in PAGES.glob("*.svg")} == set(parts)
    assert {path.stem for path in library.folder().glob("*.somite")} == set(parts)


INDEX = (
    "# The parts of the library",
    "",
    "Each is a file beside this folder, written in the recipe language: read it, use it with",
    "`import NAME from library`, or copy it into your project and change it. The pages are made",
    "from the files (`pytest tests/guide --update` makes them anew); `somite parts FILE` makes the",
    "page of a part of your own.",
    "",
)
