"""How far things are from where they should be: distances, angles and their words.

In go arrays of places, turns and linear parts, out come distances and angles by node, and numbers
as a person reads them, in the recipe's unit. Nothing here knows poses or laws.
"""

from __future__ import annotations

import numpy as np

from somite.evaluate.algebra import Array
from somite.ir import Rig
from somite.units import PI, metres_per


def distances(a: Array, b: Array) -> Array:
    """Distances (...) between places (..., 3)."""
    with np.errstate(all="ignore"):  # What a feed may drive out of all bounds is far away, too.
        return np.asarray(np.sqrt(((a - b) ** 2).sum(axis=-1)))


def angles(a: Array, b: Array) -> Array:
    """Angles (...) between turns (..., 4), of either sign; exact when small."""
    same = np.sqrt(((a - b) ** 2).sum(axis=-1))
    opposite = np.sqrt(((a + b) ** 2).sum(axis=-1))
    return np.asarray(4.0 * np.arcsin(np.minimum(1.0, 0.5 * np.minimum(same, opposite))))


def spreads(a: Array, b: Array) -> Array:
    """The largest difference (...) of linear parts (..., 3, 3)."""
    return np.asarray(np.abs(a - b).max(axis=(-2, -1)))


def _written(value: float) -> str:
    if 1e-9 < abs(value) < 1e-3:
        return f"{value:.2e}"
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def length_words(rig: Rig, metres: float) -> str:
    """A length in the rig's unit: "12.5 cm"."""
    return f"{_written(metres / metres_per(rig.unit))} {rig.unit}"


def angle_words(radians: float) -> str:
    """An angle in degrees: "30 deg"."""
    return f"{_written(radians * 180.0 / PI)} deg"


def value_words(rig: Rig, unit: str, value: float) -> str:
    """A value of a channel: a length, an angle or a number."""
    if unit == "length":
        return length_words(rig, value)
    return angle_words(value) if unit == "angle" else _written(value)
