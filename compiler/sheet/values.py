"""One value of a sheet: what kind it is, what number it holds, where it lies in space.

What comes in is a located value; what goes out is a quantity, a text or a position in metres in the
neutral space, or the finding for what is wrong with it. Nothing here knows a sheet's sections.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from somite.axes import Axes
from somite.findings import Code, Finding, listed, nearest
from somite.ir import Vector
from somite.sheet.located import Array, Located, Scalar, Table
from somite.sheet.record import Quantity
from somite.text import Site
from somite.units import LENGTH_UNITS, UNITS
from somite.written import canonical, number_problem, quantity_in, quoted

WRONG_KIND = Code("wrong-kind")
WRONG_UNIT = Code("wrong-unit")
NOT_FINITE = Code("not-finite")
OUT_OF_RANGE = Code("out-of-range")

_UNIT_WORDS = {
    "inches": "inch",
    "in": "inch",
    "feet": "foot",
    "ft": "foot",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "centimetre": "cm",
    "centimeter": "cm",
    "millimetre": "mm",
    "millimeter": "mm",
    "degree": "deg",
    "degrees": "deg",
    "°": "deg",
    "radian": "rad",
    "radians": "rad",
}


@dataclass(frozen=True, slots=True)
class Placing:
    """How the sheet's positions are meant: the unit of bare numbers, and the axes."""

    unit: str
    axes: Axes

    def position(self, value: Located) -> Vector | Finding:
        """A position in metres in the neutral space, or what is wrong with it."""
        if not isinstance(value, Array) or len(value.items) != 3:
            found = described(value)
            if isinstance(value, Array):
                found = f"a list of {len(value.items)}"
            message = f"expected a position of three numbers, found {found}"
            return WRONG_KIND.at(value.site, message, help="for example [9, 92, 0]")
        parts: list[float] = []
        for item in value.items:
            quantity = quantity_of(item, LENGTH_UNITS)
            if isinstance(quantity, Finding):
                return quantity
            if isinstance(quantity, str):
                message = f"expected a number, found {quoted(quantity)}"
                return WRONG_KIND.at(item.site, message, help='for example 12, or "12 mm"')
            parts.append(canonical(quantity.number, quantity.unit or self.unit))
        return self.axes.to_neutral((parts[0], parts[1], parts[2]))


def quantity_of(value: Located, units: Iterable[str]) -> Quantity | str | Finding:
    """A number with or without a unit, or text; or what is wrong with it."""
    if not isinstance(value, Scalar) or isinstance(value.value, bool):
        message = f"expected a number or text, found {described(value)}"
        return WRONG_KIND.at(value.site, message, help='for example 30, "30 cm" or "long"')
    if isinstance(value.value, int | Decimal):
        return _checked(Quantity(Decimal(value.value)), value.site)
    if not isinstance(value.value, str):
        message = f"expected a number or text, found {described(value)}"
        return WRONG_KIND.at(value.site, message, help='for example 30, "30 cm" or "long"')
    parts = quantity_in(value.value)
    if parts is None:
        if value.value.strip().lower().lstrip("+-") in ("nan", "inf", "infinity"):
            return _checked(Quantity(Decimal("NaN")), value.site)
        return value.value
    number, unit = parts
    if unit is not None and unit not in units:
        wanted = "unit" if unit not in UNITS else "unit of length"
        message = f"expected a {wanted}, found {quoted(unit)}"
        return WRONG_UNIT.at(value.site, message, help=unit_help(unit, units))
    return _checked(Quantity(number, unit), value.site)


def _checked(quantity: Quantity, site: Site) -> Quantity | Finding:
    problem = number_problem(quantity.number)
    if problem is None:
        return quantity
    if problem == "not finite":
        message = "expected a finite number, found one that is not"
        return NOT_FINITE.at(site, message, help="measure it again")
    message = "expected a number below 1000000000, found a larger one"
    return OUT_OF_RANGE.at(site, message, help="check the unit and the number of digits")


def unit_help(unit: str, units: Iterable[str]) -> str:
    known = list(units)
    close = _UNIT_WORDS.get(unit.strip().lower(), unit.strip().lower())
    if close not in known:
        close = nearest(close, known) or ""
    return f'did you mean "{close}"?' if close else f"use {listed(known)}"


def described(value: Located) -> str:
    """What a value is, in a word or two."""
    if isinstance(value, Table):
        return "a table"
    if isinstance(value, Array):
        return "a list"
    if isinstance(value.value, str):
        return quoted(value.value)
    if isinstance(value.value, bool):
        return "true" if value.value else "false"
    if isinstance(value.value, int | Decimal):
        return "a number"
    return "nothing" if value.value is None else "a date"


def is_refused(value: Located) -> bool:
    return isinstance(value, Scalar) and value.refused


def is_text(value: Located | None, pattern: re.Pattern[str] | None = None) -> bool:
    if not isinstance(value, Scalar) or not isinstance(value.value, str):
        return False
    return pattern is None or pattern.fullmatch(value.value) is not None


def one_line(value: object) -> str:
    """Text on one line, without control characters."""
    if not isinstance(value, str):
        return ""
    return " ".join("".join(c if ord(c) >= 32 and c != "\x7f" else " " for c in value).split())
