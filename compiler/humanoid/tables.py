"""Published figures of the human body: proportions of the stature, and percentiles of a survey.

What comes in is a kind of people, a stature and the name of a measure; what goes out is its length
in metres, with where it comes from, or nothing. Nothing here says which landmark a measure belongs
to. The figures are for drawing characters, not for medicine or safety.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

AVERAGE = "average"
KINDS = (AVERAGE, "female", "male")
"""People without distinction, by proportions of the stature; women and men, by a survey."""

PERCENTILES = (5, 50, 95)
STATURE = "stature"
_MILLIMETRE = Decimal("0.001")


@dataclass(frozen=True, slots=True)
class Figure:
    """A length (metres), whether it was measured as it stands, and its source in a few words."""

    value: Decimal
    measured: bool
    source: str


@cache
def sources() -> Mapping[str, str]:
    """The works that the figures are from, by the word that names them."""
    return {word: " ".join(text.split()) for word, text in _data()["sources"].items()}


def covered(kind: str) -> tuple[Decimal, Decimal]:
    """The least and the greatest stature (metres) that the tables of a kind cover.

    Of a surveyed kind, from the 5th to the 95th percentile. The proportions state no population of
    their own: they are taken for any adult from the survey's 5th percentile of women to its 95th
    of men.
    """
    least, most = (kind, kind) if kind != AVERAGE else ("female", "male")
    survey = _data()["survey"]
    return (
        Decimal(survey[least][STATURE][0]) * _MILLIMETRE,
        Decimal(survey[most][STATURE][-1]) * _MILLIMETRE,
    )


def length(kind: str, measure: str, stature: Decimal) -> Figure | None:
    """A measure of people of a kind and a stature (metres, within `covered`); None if none has it.

    A survey's measure at one of its percentiles of stature is its figure at that percentile, and
    between two of them the value between those; a proportion is its share of the stature.
    """
    data = _data()
    if measure == STATURE:
        return Figure(stature, True, "the stature itself")
    if kind in data["survey"] and measure in data["survey"][kind]:
        return _surveyed(data["survey"][kind], measure, stature)
    share = data["proportions"].get(measure)
    if share is None:
        return None
    words = measure.replace("_", " ")
    return Figure(share * stature, False, f"{words}, {share} of the stature (proportions)")


def _surveyed(survey: Mapping[str, list[Any]], measure: str, stature: Decimal) -> Figure:
    statures = [Decimal(value) * _MILLIMETRE for value in survey[STATURE]]
    values = [Decimal(value) * _MILLIMETRE for value in survey[measure]]
    if stature in statures:
        at = statures.index(stature)
        return Figure(values[at], True, f"{measure} at the {PERCENTILES[at]}th percentile (survey)")
    upper = next(at for at, one in enumerate(statures) if one > stature)
    low, high = statures[upper - 1], statures[upper]
    share = (stature - low) / (high - low)
    value = values[upper - 1] + share * (values[upper] - values[upper - 1])
    between = f"{PERCENTILES[upper - 1]}th and {PERCENTILES[upper]}th percentile"
    return Figure(value, False, f"{measure} between the {between} (survey)")


@cache
def _data() -> dict[str, Any]:
    text = (Path(__file__).parent / "tables.toml").read_text(encoding="utf-8")
    return tomllib.loads(text, parse_float=Decimal)
