"""The sheets that come with the project: all of them serve one recipe, without a finding."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from somite.sheet import Measures, Request, Sheet, load, measure
from somite.text import Site

SHEETS = Path(__file__).parents[2] / "recipes" / "sheets"
NAMES = sorted(path.name for path in SHEETS.iterdir() if path.suffix in (".toml", ".json"))
ASKED = Site("upright.somite", 8, 9, 6)
DEFAULTS = {
    "point": ("skull", "jaw_hinge", "chin"),
    "pair": ("collar", "heel", "ball", "inner", "outer", "eye"),
    "length": ("palm_length",),
    "angle": ("gape",),
    "count": ("back_bones", "neck_bones", "arm_twists", "fingers", "thumbs", "carpals"),
}
"""What the recipe asks for and works out where a sheet does not have it."""
REQUESTS = (
    *(Request("point", name, ASKED) for name in ("pelvis", "waist", "ribs", "nape", "crown")),
    *(
        Request("pair", name, ASKED)
        for name in ("hip", "knee", "ankle", "toe", "shoulder", "elbow", "wrist")
    ),
    Request("length", "girth", ASKED, low=0.05, high=2.0),
    *(
        Request(kind, name, ASKED, has_default=True)
        for kind, names in DEFAULTS.items()
        for name in names
    ),
    *(
        Request("pair", name, ASKED, has_default=True, low=2, high=6)
        for name in ("thumb", "index", "middle", "ring", "little")
    ),
    Request("choice", "face", ASKED, has_default=True, options=("still", "eyes", "whole")),
)


def shipped(name: str) -> tuple[Sheet, Measures]:
    sheet, findings = load(SHEETS / name)
    assert findings == ()
    assert sheet is not None
    measures, findings = measure(sheet, REQUESTS)
    assert findings == ()
    return sheet, measures


@pytest.mark.parametrize("name", NAMES)
def test_every_shipped_sheet_answers_the_upright_recipe(name: str) -> None:
    sheet, measures = shipped(name)
    assert sheet.character == name.partition(".")[0]
    assert measures.refused == ()


@pytest.mark.parametrize("name", NAMES)
def test_every_character_stands_on_the_ground_with_its_parts_in_order(name: str) -> None:
    _, measures = shipped(name)
    heights = [measures.points[part][1] for part in ("pelvis", "waist", "ribs", "nape", "crown")]
    assert heights == sorted(heights)
    for side in (0, 1):
        leg = [measures.pairs[part][side][1] for part in ("hip", "knee", "ankle", "toe")]
        assert leg == sorted(leg, reverse=True)
        assert 0 <= leg[-1] < 0.05 * heights[-1]


@pytest.mark.parametrize("name", NAMES)
def test_every_characters_left_is_on_its_left(name: str) -> None:
    _, measures = shipped(name)
    assert all(left[0] > 0 > right[0] for left, right in measures.pairs.values())


@pytest.mark.parametrize("name", NAMES)
def test_every_characters_fingers_lead_away_from_the_wrist(name: str) -> None:
    _, measures = shipped(name)
    for finger, sides in measures.pair_rows.items():
        for side in (0, 1):
            wrist = measures.pairs["wrist"][side]
            far = [math.dist(wrist, place) for place in sides[side]]
            assert far == sorted(far), finger


def test_the_characters_are_of_very_different_proportions() -> None:
    legs = {}
    for name in NAMES:
        _, measures = shipped(name)
        legs[name] = measures.pairs["hip"][0][1] / measures.points["crown"][1]
    assert min(legs.values()) < 0.25
    assert max(legs.values()) > 0.55


def test_the_fox_keeps_two_different_legs() -> None:
    _, measures = shipped("juniper_fox.toml")
    left, right = measures.pairs["ankle"]
    assert left[1] - right[1] == pytest.approx(0.018)


def test_the_toad_is_the_same_when_measured_in_centimetres_with_y_up() -> None:
    _, measures = shipped("morel_toad.toml")
    # Written down from the sheet by hand: (x, y, z) in metres there is (100x, 100z, -100y) here.
    assert measures.points["crown"] == (0.0, 0.71, 0.09)
    assert measures.pairs["knee"][0] == (0.2, 0.2, 0.06)


def test_the_nudge_of_the_heron_is_kept_with_its_reason() -> None:
    sheet, _ = shipped("tansy_heron.toml")
    assert [(nudge.node, nudge.by) for nudge in sheet.nudges] == [("belt.left", (0.0, 0.0, -0.003))]
    assert "parcel bag" in sheet.nudges[0].because


def test_the_gecko_takes_its_crest_from_the_marker_it_names() -> None:
    _, measures = shipped("brolly_gecko.toml")
    assert measures.points["crown"] == (0.0, 0.965, 0.038)
    assert measures.points["pelvis"] == (0.0, 0.425, -0.01)
