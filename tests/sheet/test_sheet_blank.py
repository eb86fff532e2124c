"""Blank sheets: what a recipe asks, line by line, and that a filled one answers it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from somite.assistant.asked import Questions, questions
from somite.assistant.blank import blank
from somite.assistant.sheet_text import text_of
from somite.pipeline import compile_rig, read_recipe, read_text
from somite.sheet import measure, read
from somite.text import Source

RECIPES = Path(__file__).parents[2] / "recipes"

LANTERN = """\
recipe lantern
  about "A paper lantern on a stalk"
  units mm
  axes up +Z front -Y

part lamp
  needs point hook
  needs length width = 10 cm
  let drop = hook - (0, 0, width)
  joint glass at drop
  when width > 5 cm
    joint rim at hook

sheet
  point foot "where it stands"
  point crown = foot + (0, 0, 1 m)
  pair handle
  row stations "along the stalk" in 3..6
  pair rib in 2..4
  length girth "round the shade" = 30 cm in 5 cm..2 m
  angle splay in 0 deg..60 deg
  count bones = 4 in 2..12
  number droop = 40%
  choice tail of none, short, long = short

control master at ground  ring girth  carries all
repeat k in 1..bones
  joint bead[k] at stations.first  under master
use lamp as left_lamp
  with hook = foot
  with width = 0.5 * girth
mirror
  joint grip at handle  under master
"""


def asked(text: str) -> Questions:
    recipe, _ = read_text(Source("lantern.somite", text), Path("/nowhere/lantern.somite"), None)
    assert recipe is not None
    found, findings = questions(recipe)
    assert found is not None and findings == ()
    return found


def blank_of(text: str) -> str:
    return text_of(blank(asked(text), "lumen"))


def described(text: str, name: str) -> str:
    """What a blank says above the line of a name."""
    lines = text.split("\n")
    at = next(n for n, line in enumerate(lines) if line.startswith(f"#{name} = "))
    start = max(n for n in range(at) if not lines[n].startswith("#"))
    return " ".join(" ".join(line.lstrip("# ") for line in lines[start + 1 : at]).split())


def fill_lines(text: str) -> str:
    """A blank with every line taken and a number in the place of every word."""
    lines = []
    for line in text.split("\n"):
        if re.match(r"#\w+ = ", line):
            line = re.sub(r"\b(?:x|y|z|number)\b", "10", line[1:])
        lines.append(line)
    return "\n".join(lines)


def test_a_blank_asks_for_everything_in_the_recipes_own_unit_and_axes() -> None:
    text = blank_of(LANTERN)
    names = re.findall(r"^#(\w+) = ", text, re.MULTILINE)
    assert sorted(names) == sorted(
        ["foot", "crown", "handle", "stations", "rib", "girth", "splay", "bones", "droop", "tail"]
    )
    assert 'unit = "mm"\nup = "+Z"\nfront = "-Y"' in text


def test_a_blank_says_kind_range_default_and_the_recipes_own_words() -> None:
    text = blank_of(LANTERN)
    assert described(text, "foot").startswith("foot: where it stands (a point; needed)")
    assert "if left out: foot + (0, 0, 1 m)" in described(text, "crown")
    girth = described(text, "girth")
    assert girth.startswith("girth: round the shade (a length, 5 cm to 2 m; if left out: 30 cm)")
    assert "a row, 3 to 6 positions; needed" in described(text, "stations")
    assert "a row of pairs, 2 to 4 positions" in described(text, "rib")
    assert "an angle, 0 deg to 60 deg; needed" in described(text, "splay")
    assert '"none", "short" or "long"; if left out: short' in described(text, "tail")


def test_a_blank_says_who_uses_it_through_parts_as_it_is_handed_on() -> None:
    text = blank_of(LANTERN)
    foot = described(text, "foot")
    assert "the default of crown" in foot
    assert "left_lamp, as its hook (let drop, joint rim)" in foot
    girth = described(text, "girth")
    assert "control master" in girth
    assert "left_lamp, as its width (let drop, conditions)" in girth
    assert described(text, "handle").endswith("used by: joint grip")
    assert "used by" not in described(text, "droop")


def test_defaults_that_are_plain_values_stand_in_their_lines() -> None:
    text = blank_of(LANTERN)
    assert '\n#girth = "30 cm"\n' in text
    assert "\n#bones = 4\n" in text
    assert '\n#droop = "40%"\n' in text
    assert '\n#tail = "short"\n' in text


def test_an_unfilled_blank_is_a_sheet_that_lacks_what_is_needed() -> None:
    sheet, findings = read(Source("lumen.toml", blank_of(LANTERN)))
    assert sheet is not None and findings == ()
    _, findings = measure(sheet, [one.request for one in asked(LANTERN).asked])
    missing = {"foot", "handle", "stations", "rib", "splay"}
    assert {finding.code for finding in findings} == {"missing-measure"}
    assert {finding.message.split('"')[1] for finding in findings} == missing


def test_a_filled_blank_answers_every_request() -> None:
    sheet, findings = read(Source("lumen.toml", fill_lines(blank_of(LANTERN))))
    assert sheet is not None and findings == ()
    requests = [one.request for one in asked(LANTERN).asked]
    measures, findings = measure(sheet, requests)
    assert findings == ()
    assert measures.missing == () and measures.refused == ()


def test_the_biped_builds_from_a_blank_filled_with_a_sheets_own_numbers() -> None:
    recipe, _ = read_recipe(RECIPES / "upright.somite")
    assert recipe is not None
    found, _ = questions(recipe)
    assert found is not None
    text = text_of(blank(found, "tansy_heron"))
    for line in (RECIPES / "sheets/tansy_heron.toml").read_text().split("\n"):
        entry = re.match(r"(\w+) = [\[\d][^#]*", line)
        if entry:
            text = re.sub(rf"^#{entry[1]} = .*$", entry[0].strip(), text, flags=re.MULTILINE)
    sheet, findings = read(Source("tansy.toml", text))
    assert sheet is not None and findings == ()
    rig = compile_rig(recipe, sheet)
    assert rig.settled is not None and rig.findings == ()


@pytest.mark.parametrize("path", sorted(RECIPES.glob("*.somite")), ids=lambda path: path.stem)
def test_every_shipped_recipe_has_a_blank_that_loads_when_filled(path: Path) -> None:
    recipe, _ = read_recipe(path)
    assert recipe is not None
    found, findings = questions(recipe)
    assert found is not None and findings == ()
    text = text_of(blank(found, "new_character"))
    assert all(len(line) <= 100 for line in text.split("\n") if line.startswith("# "))
    taken = "\n".join(
        line for line in fill_lines(text).split("\n") if not line.endswith('"FILE.toml"')
    )
    sheet, findings = read(Source("new.toml", taken))
    assert sheet is not None
    # All places at one spot: only what is left of the midline may be told.
    assert {finding.code for finding in findings} <= {"left-on-right"}


def test_a_recipe_without_a_head_has_no_blank() -> None:
    recipe, _ = read_text(
        Source("parts.somite", "part lamp\n  needs point hook\n"), Path("/nowhere/p"), None
    )
    assert recipe is not None
    found, findings = questions(recipe)
    assert found is None
    assert [finding.code for finding in findings] == ["no-recipe"]
