"""Canonical JSON: a tree of plain values to the one text that stands for it.

Numbers are rounded half-even to a fixed number of places and written without exponent, needless
zeros or a minus before zero; keys keep the order they are given in; short lists of numbers stay on
one line, so that a change of one fact is a change of one line. Nothing here knows what the values
mean, and a number that is not finite is a mistake of the caller's: ValueError.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from json import JSONEncoder
from typing import TypeAlias

LINE_WIDTH = 100
"""A list of numbers longer than this, with its indentation, is written one number a line."""


class Numeral(str):
    """The text of a JSON number, written as it stands."""

    __slots__ = ()


Json: TypeAlias = "Mapping[str, Json] | Sequence[Json] | str | int | bool | None"

_ZERO = Numeral("0")
_SCALARS = frozenset({Numeral, int})
_quote = JSONEncoder(ensure_ascii=False).encode
_quoted_key = lru_cache(maxsize=1024)(_quote)


def _fixed(value: float, form: str) -> Numeral:
    if value == 0.0:
        return _ZERO
    if value - value != 0.0:
        raise ValueError(f"not a finite number: {value!r}")
    text = format(value, form)
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return _ZERO if text == "-0" else Numeral(text)


def number(value: float) -> Numeral:
    """A length, an angle in degrees or a dial's value, to 1e-9. ValueError if not finite."""
    return _fixed(value, ".9f")


def unit_number(value: float) -> Numeral:
    """A unit quantity, to 1e-12. ValueError if not finite."""
    return _fixed(value, ".12f")


def exact(value: float) -> Numeral:
    """A float as the shortest digits that read back as the same float, without an exponent.

    Zero loses its sign. ValueError if not finite.
    """
    if value - value != 0.0:
        raise ValueError(f"not a finite number: {value!r}")
    text = repr(float(value))
    if "e" in text:
        text = _without_exponent(text)
    text = text.removesuffix(".0")
    return Numeral("0" if text == "-0" else text)


def _without_exponent(text: str) -> str:
    mantissa, _, exponent = text.partition("e")
    sign = "-" if mantissa.startswith("-") else ""
    whole, _, fraction = mantissa.lstrip("-").partition(".")
    digits, point = whole + fraction, len(whole) + int(exponent)
    if point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    if point >= len(digits):
        return sign + digits + "0" * (point - len(digits))
    return f"{sign}{digits[:point]}.{digits[point:]}"


def numbers(values: Iterable[float]) -> list[Numeral]:
    """Lengths or degrees, each to 1e-9."""
    return [_fixed(value, ".9f") for value in values]


def unit_numbers(values: Iterable[float]) -> list[Numeral]:
    """Unit quantities, each to 1e-12."""
    return [_fixed(value, ".12f") for value in values]


def quaternion(values: Sequence[float]) -> list[Numeral]:
    """A unit quaternion xyzw to 1e-12, of the two signs the canonical one.

    The sign is chosen after rounding, so that a component which rounds to zero has no say: w is
    positive, or where it is zero the first of x, y, z that is not.
    """
    x, y, z, w = (_fixed(value, ".12f") for value in values)
    leading = next((part for part in (w, x, y, z) if part != "0"), "0")
    if leading.startswith("-"):
        return [_negated(part) for part in (x, y, z, w)]
    return [x, y, z, w]


def _negated(text: Numeral) -> Numeral:
    if text == "0":
        return text
    return Numeral(text[1:] if text.startswith("-") else "-" + text)


def text(tree: Json) -> str:
    """The canonical JSON text of a tree, with a line end after it.

    A plain float has no stated precision and is refused with TypeError: say `number`,
    `unit_number` or `exact`.
    """
    pieces: list[str] = []
    _write(tree, "\n", pieces.append)
    pieces.append("\n")
    return "".join(pieces)


def _write(value: Json, indent: str, put: Callable[[str], object]) -> None:
    kind = type(value)
    if kind is Numeral:
        put(value)  # type: ignore[arg-type]
    elif kind is str:
        put(_quote(value))
    elif kind is list:
        _write_sequence(value, indent, put)  # type: ignore[arg-type]
    elif kind is dict:
        _write_mapping(value, indent, put)  # type: ignore[arg-type]
    elif value is None:
        put("null")
    elif kind is bool:
        put("true" if value else "false")
    elif kind is int:
        put(str(value))
    elif isinstance(value, Mapping):
        _write_mapping(value, indent, put)
    elif isinstance(value, list | tuple):
        _write_sequence(value, indent, put)
    else:
        raise TypeError(f"no canonical form for {kind.__name__}")


def _write_mapping(mapping: Mapping[str, Json], indent: str, put: Callable[[str], object]) -> None:
    if not mapping:
        put("{}")
        return
    inner = indent + "  "
    separator = "{" + inner
    for key, value in mapping.items():
        put(f"{separator}{_quoted_key(key)}: ")
        _write(value, inner, put)
        separator = "," + inner
    put(indent + "}")


def _write_sequence(values: Sequence[Json], indent: str, put: Callable[[str], object]) -> None:
    if not values:
        put("[]")
        return
    if _SCALARS.issuperset(map(type, values)):
        line = ", ".join(map(str, values))
        if len(indent) + len(line) <= LINE_WIDTH:
            put(f"[{line}]")
            return
    if len(values) == 1 and type(values[0]) is str:
        put(f"[{_quote(values[0])}]")
        return
    inner = indent + "  "
    separator = "[" + inner
    for value in values:
        put(separator)
        _write(value, inner, put)
        separator = "," + inner
    put(indent + "]")
