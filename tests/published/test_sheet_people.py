"""Sheets of people against published tables: joint centres, lengths and segment proportions.

Sources, each figure as published and rounded there:

- ISO/IEC 19774 (Humanoid Animation), joint centres of the default figure at level of articulation
  three, as transcribed in the Web3D example HAnim1SpecificationLOA3. Lengths follow from its
  centres by Pythagoras; centres have four decimals, so a length is good to 1e-4 m.
- Drillis R, Contini R (1966), Body Segment Parameters, NYU TR 1166.03, as reproduced in Winter DA,
  Biomechanics and Motor Control of Human Movement, 4th ed. (2009), figure 4.1: parts of stature.
- Gordon CC et al. (2014), 2012 Anthropometric Survey of U.S. Army Personnel, NATICK/TR-15/007,
  public data: subjects 10027 and 10037, in millimetres.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from somite.sheet import Measures, Request, load, measure
from somite.text import Site

SHEETS = Path(__file__).parents[2] / "recipes" / "sheets"
HERE = Site("published", 1, 1)
POINTS = ("pelvis", "waist", "nape", "crown")
PAIRS = ("hip", "knee", "ankle", "shoulder", "elbow", "wrist")


def measured(name: str) -> Measures:
    sheet, findings = load(SHEETS / f"{name}.toml")
    assert findings == ()
    assert sheet is not None
    requests = [Request("point", point, HERE) for point in POINTS]
    requests += [Request("pair", pair, HERE) for pair in PAIRS]
    measures, _ = measure(sheet, requests)
    assert measures.refused == ()
    return measures


def length(measures: Measures, start: str, end: str, side: int = 0) -> float:
    return math.dist(measures.pairs[start][side], measures.pairs[end][side])


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize(
    ("start", "end", "metres"),
    [
        ("hip", "knee", 0.426893),
        ("knee", "ankle", 0.433891),
        ("shoulder", "elbow", 0.303342),
        ("elbow", "wrist", 0.269599),
    ],
)
def test_the_standing_figure_has_the_bone_lengths_of_iso_iec_19774(
    start: str, end: str, metres: float, side: int
) -> None:
    assert length(measured("standing_figure"), start, end, side) == pytest.approx(metres, abs=1e-4)


@pytest.mark.parametrize(("pair", "metres"), [("hip", 0.1922), ("shoulder", 0.4058)])
def test_the_standing_figure_has_the_widths_of_iso_iec_19774(pair: str, metres: float) -> None:
    left, right = measured("standing_figure").pairs[pair]
    assert math.dist(left, right) == pytest.approx(metres, abs=1e-4)


def test_the_standing_figures_knee_is_bent_as_in_iso_iec_19774() -> None:
    measures = measured("standing_figure")
    thigh, shank = length(measures, "hip", "knee"), length(measures, "knee", "ankle")
    leg = length(measures, "hip", "ankle")
    cosine = (thigh * thigh + shank * shank - leg * leg) / (2 * thigh * shank)
    assert math.degrees(math.acos(cosine)) == pytest.approx(161.9249, abs=0.05)


HEIGHTS = {
    "adult_a": {
        "crown": 1776,  # stature
        "nape": 1535,  # cervicale
        "waist": 1071,  # iliocristale
        "hip": 919,  # trochanterion
        "knee": 500,  # lateral femoral epicondyle
        "ankle": 77,  # lateral malleolus
        "shoulder": 1467,  # acromion
        "wrist": 853,
    },
    "adult_b": {
        "crown": 1560,
        "nape": 1336,
        "waist": 966,
        "hip": 844,
        "knee": 447,
        "ankle": 55,
        "shoulder": 1282,
        "wrist": 756,
    },
}
BIACROMIAL = {"adult_a": 401, "adult_b": 373}
UPPER_ARM = {"adult_a": 337, "adult_b": 301}  # acromion to radiale
FOREARM = {"adult_a": 273, "adult_b": 235}  # radiale to stylion


@pytest.mark.parametrize("adult", HEIGHTS)
def test_an_adults_measured_heights_are_those_of_the_survey(adult: str) -> None:
    measures = measured(adult)
    for name, millimetres in HEIGHTS[adult].items():
        place = measures.points.get(name) or measures.pairs[name][0]
        assert place[1] * 1000 == pytest.approx(millimetres, abs=1e-9)


@pytest.mark.parametrize("adult", HEIGHTS)
def test_an_adults_shoulders_are_as_wide_as_in_the_survey(adult: str) -> None:
    left, right = measured(adult).pairs["shoulder"]
    assert math.dist(left, right) * 1000 == pytest.approx(BIACROMIAL[adult], abs=1e-9)


@pytest.mark.parametrize("adult", HEIGHTS)
def test_an_adults_arm_is_as_long_as_in_the_survey_within_a_thumbs_breadth(adult: str) -> None:
    # The wrist's height and the two lengths were measured in different postures: they do not close.
    measures = measured(adult)
    upper, lower = length(measures, "shoulder", "elbow"), length(measures, "elbow", "wrist")
    assert upper * 1000 == pytest.approx(UPPER_ARM[adult], abs=5)
    assert lower * 1000 == pytest.approx(FOREARM[adult], abs=15)


@pytest.mark.parametrize("adult", ["standing_figure", *HEIGHTS])
@pytest.mark.parametrize(
    ("start", "end", "fraction"),
    [
        ("hip", "knee", 0.245),
        ("knee", "ankle", 0.246),
        ("shoulder", "elbow", 0.186),
        ("elbow", "wrist", 0.146),
    ],
)
def test_a_persons_segments_have_the_proportions_of_drillis_and_contini(
    adult: str, start: str, end: str, fraction: float
) -> None:
    # One person varies about a mean: 0.015 of stature is under a tenth of the thigh or shank.
    measures = measured(adult)
    stature = measures.points["crown"][1]
    assert length(measures, start, end) / stature == pytest.approx(fraction, abs=0.015)


@pytest.mark.parametrize("adult", ["standing_figure", *HEIGHTS])
@pytest.mark.parametrize(
    ("pair", "fraction"), [("hip", 0.530), ("knee", 0.285), ("ankle", 0.039), ("shoulder", 0.818)]
)
def test_a_persons_joints_have_the_heights_of_drillis_and_contini(
    adult: str, pair: str, fraction: float
) -> None:
    measures = measured(adult)
    height = measures.pairs[pair][0][1] / measures.points["crown"][1]
    assert height == pytest.approx(fraction, abs=0.015)
