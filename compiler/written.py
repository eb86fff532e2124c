"""Numbers and quantities as people write them in sheets and tables: `12`, `-3.5 mm`, `40%`.

What comes in is text; what goes out is an exact decimal number and a unit's name, or the text as a
message may quote it. Digits are ASCII and the decimal mark is a point; a number beyond any
creature's size is told from a sensible one before arithmetic meets it. Nothing here decides what a
number is for.
"""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation

from somite.units import quantity

MOST = Decimal(10) ** 9
"""No measure of any character, in any unit, comes near this number."""

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_ALONE = re.compile(_NUMBER)
_WITH_UNIT = re.compile(rf"({_NUMBER})[ \t]*(%|[^\W\d]+)?")
_LONGEST = 400


def number_from(text: str) -> Decimal:
    """A written number, exactly; NaN for one whose exponent no computer holds."""
    try:
        return Decimal(text)
    except InvalidOperation:
        return Decimal("NaN")


def number_in(text: str) -> Decimal | None:
    """The number that a text is, or None."""
    text = text.strip()
    if len(text) > _LONGEST or _ALONE.fullmatch(text) is None:
        return None
    return number_from(text)


def quantity_in(text: str) -> tuple[Decimal, str | None] | None:
    """The number and the unit's name (known or not) that a text is, or None."""
    text = text.strip()
    found = _WITH_UNIT.fullmatch(text) if len(text) <= _LONGEST else None
    return None if found is None else (number_from(found.group(1)), found.group(2))


def number_problem(number: Decimal) -> str | None:
    """Why a number can not be a measure: "not finite", "too large", or None."""
    if not number.is_finite():
        return "not finite"
    # Compared without arithmetic, which a huge exponent would overflow.
    return "too large" if number.copy_abs() >= MOST else None


def canonical(number: Decimal, unit: str | None) -> float:
    """A number below `MOST` with its unit, in metres, radians or one; never a negative zero.

    Raises KeyError for a unit that is not one of `units.UNITS`.
    """
    if number.adjusted() < -400:
        number = Decimal(0)
    value, _ = quantity(number, unit)
    return value + 0.0


def quoted(text: str, *, most: int = 60) -> str:
    """Text as a message quotes it: on one line, visible, and not too long."""
    visible = "".join(
        c if c.isprintable() else c.encode("unicode_escape", "backslashreplace").decode()
        for c in text[: most + 1]
    )
    return f'"{visible}"' if len(visible) <= most else f'"{visible[: most - 1]}…"'
