"""Units and dimensions: written quantities to metres, radians and plain numbers, exactly once.

Conversion is exact decimal arithmetic followed by one rounding, so that 96 cm, 960 mm and 0.96 m
are the same float. A dimension is a pair of exponents, of length and of angle.
"""

from __future__ import annotations

from decimal import Decimal

Dimension = tuple[float, float]

NUMBER: Dimension = (0, 0)
LENGTH: Dimension = (1, 0)
ANGLE: Dimension = (0, 1)

PI = 3.141592653589793

LENGTH_UNITS: dict[str, Decimal] = {
    "mm": Decimal("0.001"),
    "cm": Decimal("0.01"),
    "m": Decimal(1),
    "inch": Decimal("0.0254"),
    "foot": Decimal("0.3048"),
}
"""Metres in one of each unit (inch and foot: international yard and pound agreement, 1959)."""

ANGLE_UNITS = ("deg", "rad")
UNITS = (*LENGTH_UNITS, *ANGLE_UNITS, "%")


def quantity(number: str | Decimal, unit: str | None) -> tuple[float, Dimension]:
    """A written number and unit as a float in metres, radians or one, with its dimension.

    Raises KeyError for a unit that is not in `UNITS`.
    """
    value = Decimal(number)
    if unit is None:
        return float(value), NUMBER
    if unit == "deg":
        return radians(float(value)), ANGLE
    if unit == "rad":
        return float(value), ANGLE
    if unit == "%":
        return float(value.scaleb(-2)), NUMBER
    return float(value * LENGTH_UNITS[unit]), LENGTH


def quantity_in(text: str) -> tuple[float, Dimension]:
    """The worth of a number that the grammar allows, with its unit or without one: `30 cm`."""
    digits = text.rstrip("%abcdefghijklmnopqrstuvwxyz \t")
    return quantity(digits, text[len(digits) :].strip() or None)


def metres_per(unit: str) -> float:
    """Metres in one of a length unit."""
    return float(LENGTH_UNITS[unit])


def radians(degrees: float) -> float:
    """Degrees as radians."""
    return degrees * PI / 180.0


def degrees(radians: float) -> float:
    """Radians as degrees."""
    return radians * 180.0 / PI


def dimension_name(dimension: Dimension) -> str:
    """A dimension as a person names it."""
    names = {NUMBER: "a plain number", LENGTH: "a length", ANGLE: "an angle"}
    if dimension in names:
        return names[dimension]
    length, angle = dimension
    if angle == 0 and length == 2:
        return "an area"
    parts = []
    if length:
        parts.append("length" if length == 1 else f"length^{length:g}")
    if angle:
        parts.append("angle" if angle == 1 else f"angle^{angle:g}")
    return "a quantity of " + " × ".join(parts)
