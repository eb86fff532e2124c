"""Sheets filled from a stature, against the published tables of the human body.

Drillis and Contini 1966 (NYU TR 1166.03), as in Winter, Biomechanics and Motor Control of Human
Movement, 4th ed. 2009, figure 4.1: shares of the stature. ANSUR II (Gordon et al. 2014, 2012
Anthropometric Survey of U.S. Army Personnel, NATICK/TR-15/007): percentiles, in millimetres,
computed from its public subject data. The figures are for drawing characters, not for medicine or
safety.
"""

from __future__ import annotations

from decimal import Decimal
from math import dist
from pathlib import Path

import pytest

from somite.assistant.asked import Questions, questions
from somite.assistant.figure import filled
from somite.assistant.sheet_text import text_of
from somite.pipeline import compile_rig, read_recipe, read_text
from somite.sheet import Sheet, read
from somite.text import Source

UPRIGHT = Path(__file__).parents[2] / "recipes" / "upright.somite"

WINTER = {
    "hip": 0.530,
    "knee": 0.285,
    "ankle": 0.039,
    "shoulder": 0.818,
}
"""Heights as shares of the stature."""

WINTER_SEGMENTS = {
    ("shoulder", "elbow"): 0.186,
    ("elbow", "wrist"): 0.146,
    ("hip", "knee"): 0.245,
    ("knee", "ankle"): 0.246,
}
"""Lengths of segments as shares of the stature: upper arm, forearm, thigh, shank."""

SURVEY = {
    ("male", "164.8"): {"hip": 824, "knee": 449, "ankle": 64, "shoulder": 1339, "nape": 1416.05},
    ("male", "175.5"): {"hip": 899, "knee": 491, "ankle": 73, "shoulder": 1439, "nape": 1517},
    ("male", "187"): {"hip": 985, "knee": 537, "ankle": 83, "shoulder": 1546, "nape": 1622.95},
    ("female", "152.5"): {"hip": 774.25, "knee": 422, "ankle": 54, "shoulder": 1242},
    ("female", "162.6"): {"hip": 844, "knee": 465, "ankle": 63, "shoulder": 1332, "nape": 1393},
    ("female", "174"): {"hip": 919, "knee": 511, "ankle": 71, "shoulder": 1433.75, "nape": 1498},
}
"""By people and the percentile's stature (cm), heights of the trochanterion, lateral femoral
epicondyle, lateral malleolus, acromion and cervicale."""

SURVEY_ARMS = {
    ("male", "164.8"): (307, 244, 384),
    ("male", "175.5"): (335, 267, 415),
    ("male", "187"): (365, 295, 447),
    ("female", "162.6"): (311, 240.5, 365),
}
"""Acromion to radiale, radiale to stylion, biacromial breadth."""


def asked() -> Questions:
    recipe, findings = read_recipe(UPRIGHT)
    assert recipe is not None and findings == ()
    found, findings = questions(recipe)
    assert found is not None and findings == ()
    return found


def asked_by(recipe: str) -> Questions:
    """What the text of a recipe asks its sheet for."""
    read_in, _ = read_text(Source("moth.somite", recipe), Path("/nowhere/moth.somite"), None)
    assert read_in is not None
    found, _ = questions(read_in)
    assert found is not None
    return found


def human(kind: str, stature: str, unit: str = "cm") -> Sheet:
    """The biped's sheet of a human, read back from its text."""
    made, findings = filled(asked(), "human", kind, Decimal(stature), unit)
    assert findings == () and made is not None
    sheet, findings = read(Source("human.toml", text_of(made)))
    assert findings == () and sheet is not None
    return sheet


def place(sheet: Sheet, name: str) -> tuple[float, float, float]:
    """A landmark in metres, of a pair the left."""
    if name in sheet.points:
        return sheet.points[name].value
    left = sheet.pairs[name].left
    assert left is not None
    return left.value


@pytest.mark.parametrize("stature", ["160", "172", "185.5"])
def test_heights_are_winters_shares_of_the_stature(stature: str) -> None:
    sheet = human("average", stature)
    metres = float(stature) / 100
    assert place(sheet, "crown")[1] == pytest.approx(metres, abs=1e-9)
    for name, share in WINTER.items():
        assert place(sheet, name)[1] == pytest.approx(share * metres, abs=1e-5), name


def test_segments_are_winters_shares_of_the_stature() -> None:
    sheet = human("average", "172")
    for (first, last), share in WINTER_SEGMENTS.items():
        length = dist(place(sheet, first), place(sheet, last))
        # An arm hangs in the figure's own direction, so its bones are as long as the table says. A
        # leg's are the differences of the table's heights, and its knee is a little ahead.
        leg = first in ("hip", "knee")
        allowed = 0.003 * share * 1.72 if leg else 2e-5
        assert length == pytest.approx(share * 1.72, abs=allowed), (first, last)


@pytest.mark.parametrize(("kind", "stature"), SURVEY)
def test_a_percentiles_stature_gives_back_its_heights(kind: str, stature: str) -> None:
    sheet = human(kind, stature)
    for name, millimetres in SURVEY[kind, stature].items():
        assert place(sheet, name)[1] == pytest.approx(millimetres / 1000, abs=1e-5), name


@pytest.mark.parametrize(("kind", "stature"), SURVEY_ARMS)
def test_a_percentiles_stature_gives_back_its_arms_and_shoulders(kind: str, stature: str) -> None:
    sheet = human(kind, stature)
    upper, fore, breadth = SURVEY_ARMS[kind, stature]
    shoulder, elbow, wrist = (place(sheet, name) for name in ("shoulder", "elbow", "wrist"))
    assert dist(shoulder, elbow) == pytest.approx(upper / 1000, abs=2e-5)
    assert dist(elbow, wrist) == pytest.approx(fore / 1000, abs=2e-5)
    assert 2 * shoulder[0] == pytest.approx(breadth / 1000, abs=2e-5)


def test_between_percentiles_a_height_lies_between_theirs() -> None:
    # Half-way from 1648 mm (5th) to 1755 mm (50th): 824 and 899 mm give 861.5 mm.
    assert place(human("male", "170.15"), "hip")[1] == pytest.approx(0.8615, abs=1e-5)


def test_what_is_a_tables_own_figure_says_measured_and_all_else_estimated() -> None:
    made, _ = filled(asked(), "human", "male", Decimal("1755"), "mm")
    assert made is not None
    comments = {one.name: " ".join(one.comments) for one in made.entries["pairs"]}
    assert "height: measured, trochanterionheight at the 50th percentile" in comments["hip"]
    assert "aside and ahead: estimated" in comments["hip"]
    between, _ = filled(asked(), "human", "male", Decimal("1750"), "mm")
    assert between is not None
    comments = {one.name: " ".join(one.comments) for one in between.entries["pairs"]}
    assert "height: estimated, trochanterionheight between" in comments["hip"]
    assert "measured" not in comments["hip"]


def test_a_human_names_its_sources_and_says_what_it_is_not_for() -> None:
    made, _ = filled(asked(), "human", "female", Decimal("165"), "cm")
    assert made is not None
    text = " ".join(text_of(made).replace("#", " ").split())
    for words in ("Drillis R, Contini R (1966)", "ANSUR II", "ISO/IEC 19774", "fig. 4.1"):
        assert words in text
    assert "not for medicine or safety" in text


@pytest.mark.parametrize("kind", ["average", "female", "male"])
def test_a_human_builds_and_is_as_tall_as_asked(kind: str) -> None:
    made, findings = filled(asked(), "human", kind, Decimal("170"), "cm")
    assert made is not None and findings == ()
    recipe, _ = read_recipe(UPRIGHT)
    character, wrong = read(Source("human.toml", text_of(made)))
    assert recipe is not None and character is not None and wrong == ()
    rig = compile_rig(recipe, character)
    assert rig.findings == () and rig.rig is not None
    top = next(node for node in rig.rig.nodes if node.name == "neck.head_top")
    assert top.rest.place[1] == pytest.approx(1.70, abs=1e-9)


@pytest.mark.parametrize(
    ("kind", "stature", "told"),
    [
        ("male", "1647", "1648 mm to 1870 mm for men"),
        ("male", "1871", "1648 mm to 1870 mm for men"),
        ("female", "1524", "1525 mm to 1740 mm for women"),
        ("female", "1741", "1525 mm to 1740 mm for women"),
        ("average", "1524", "1525 mm to 1870 mm for adults"),
        ("average", "1871", "1525 mm to 1870 mm for adults"),
    ],
)
def test_a_stature_outside_the_survey_is_refused(kind: str, stature: str, told: str) -> None:
    made, findings = filled(asked(), "human", kind, Decimal(stature), "mm")
    assert made is None
    assert [finding.code for finding in findings] == ["stature-outside"]
    assert told in findings[0].message


def test_a_landmark_of_no_table_is_left_blank_and_told() -> None:
    recipe = "recipe moth\nsheet\n  point crown\n  pair antler\n  pair hip\n  length hip_width\n"
    made, findings = filled(asked_by(recipe), "moth", "female", Decimal("1626"), "mm")
    assert made is not None
    assert [finding.code for finding in findings] == ["landmark-unknown"]
    assert '"antler"' in findings[0].message
    assert findings[0].site is not None and findings[0].site.line == 4
    text = text_of(made)
    assert "#antler = [x, y, z]" in text
    # ANSUR II: hip breadth of women, 50th percentile, 353 mm, in the recipe's centimetres.
    assert "hip_width = 35.3" in text


def test_a_landmark_asked_for_as_another_kind_is_not_taken() -> None:
    recipe = "recipe moth\nsheet\n  point hip\n"
    made, findings = filled(asked_by(recipe), "moth", "average", Decimal("170"), "cm")
    assert made is not None
    assert "as a pair" in findings[0].message
    assert "#hip = " in text_of(made)


def test_a_recipe_in_other_axes_and_units_gets_the_same_human() -> None:
    recipe = "recipe moth\n  units inch\n  axes up +Z front -Y\nsheet\n  pair hip, toe\n"
    made, _ = filled(asked_by(recipe), "moth", "male", Decimal("1755"), "mm")
    assert made is not None
    sheet, findings = read(Source("moth.toml", text_of(made)))
    assert findings == () and sheet is not None
    for name in ("hip", "toe"):
        assert place(sheet, name) == pytest.approx(place(human("male", "175.5"), name), abs=1e-8)
