"""Built values: what an expression is worth once the sheet is known.

Numbers carry their dimension, vectors say whether they are positions, and nothing here knows of
channels or poses. Helpers that a recipe may call are one table at the end.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from somite.ir import Frame
from somite.spatial import trig, vector
from somite.units import ANGLE, LENGTH, NUMBER, Dimension, dimension_name

if TYPE_CHECKING:
    from somite.expansion.entities import Entity

Triple = tuple[float, float, float]

SMALLEST = 1e-12
NOWHERE: Triple = (0.0, 0.0, 0.0)
"""A vector of nothing needs no unit."""
LARGEST = 1e12
"""No number of a rig comes near it, in metres, radians or one; beyond it arithmetic breaks down."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its dimension, in metres, radians or one."""

    value: float
    dimension: Dimension = NUMBER


@dataclass(frozen=True, slots=True)
class Arrow:
    """A vector: a position (`point`), a displacement, or a direction (dimension none)."""

    xyz: Triple
    dimension: Dimension = LENGTH
    point: bool = False


@dataclass(frozen=True, slots=True)
class Spot:
    """A place: a position and a turn, and whether the turn was said, though it may be none."""

    frame: Frame
    turning: bool = False


@dataclass(frozen=True, slots=True)
class Choice:
    """A word, with the words it could have been where they are known."""

    word: str
    options: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Handle:
    """Something of the rig, named: a node, a chain, a curve, a use, a dial's control."""

    entity: Entity
    rest: tuple[str | int, ...] = ()


@dataclass(frozen=True, slots=True)
class Many:
    """A list of values."""

    members: tuple[Value, ...]


Value: TypeAlias = "Quantity | Arrow | Spot | Choice | Handle | Many | bool"


class Mismatch(Exception):
    """An operation on values that do not go together; the caller knows where it stands."""

    def __init__(self, message: str, help: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.help = help


def named(value: Value) -> str:
    """What kind of value it is, as a person says it."""
    if isinstance(value, bool):
        return "yes or no"
    if isinstance(value, Quantity):
        return dimension_name(value.dimension)
    if isinstance(value, Arrow):
        if value.point:
            return "a position"
        return "a direction" if value.dimension == NUMBER else "a displacement"
    if isinstance(value, Spot):
        return "a place"
    if isinstance(value, Choice):
        return "a word"
    if isinstance(value, Many):
        return "a list"
    return "a channel" if value.rest else value.entity.called


def is_bounded(value: Value) -> bool:
    """Whether every number of a value is finite and of a size that arithmetic can bear."""
    if isinstance(value, Quantity):
        return -LARGEST <= value.value <= LARGEST
    if isinstance(value, Arrow):
        return all([-LARGEST <= part <= LARGEST for part in value.xyz])
    return True


# ---- arithmetic ----------------------------------------------------------------------------------


def added(left: Value, right: Value, sign: float) -> Value:
    """left + right, or left - right with sign -1; positions and displacements kept apart."""
    left, right = _from_place(left), _from_place(right)
    if isinstance(left, Quantity) and isinstance(right, Quantity):
        if left.dimension != right.dimension:
            raise _apart("add" if sign > 0 else "subtract", left, right)
        return Quantity(left.value + sign * right.value, left.dimension)
    if isinstance(left, Arrow) and isinstance(right, Arrow):
        if left.dimension != right.dimension:
            raise _apart("add" if sign > 0 else "subtract", left, right)
        if right.point and sign > 0:
            if not left.point:
                return added(right, left, sign)
            raise Mismatch(
                "can not add two positions",
                "add a displacement to a position, or take midpoint(a, b)",
            )
        if right.point and not left.point:
            raise Mismatch("can not subtract a position from a displacement")
        a, b = left.xyz, right.xyz
        total = (a[0] + sign * b[0], a[1] + sign * b[1], a[2] + sign * b[2])
        return Arrow(total, left.dimension, left.point and not right.point)
    raise _apart("add" if sign > 0 else "subtract", left, right)


def _from_place(value: Value) -> Value:
    """A place as its position; what is nothing in every direction as a displacement."""
    if isinstance(value, Spot):
        return Arrow(value.frame.place, LENGTH, point=True)
    if isinstance(value, Arrow) and value.xyz == NOWHERE and not value.point:
        return Arrow(value.xyz, LENGTH)
    return value


def multiplied(left: Value, right: Value) -> Value:
    """left * right: numbers, or a vector scaled by a number."""
    if isinstance(left, Quantity) and isinstance(right, Quantity):
        return Quantity(left.value * right.value, _sum(left.dimension, right.dimension))
    if isinstance(left, Quantity) and isinstance(right, Arrow):
        return multiplied(right, left)
    if isinstance(left, Arrow) and isinstance(right, Quantity):
        if left.point:
            raise Mismatch(
                "can not scale a position", "scale a difference of positions: (a - b) * 2"
            )
        x, y, z = left.xyz
        f = right.value
        return Arrow((x * f, y * f, z * f), _sum(left.dimension, right.dimension))
    raise _apart("multiply", left, right)


def divided(left: Value, right: Value) -> Value:
    """left / right: by a number that is not zero."""
    if isinstance(right, Quantity):
        if right.value == 0.0:
            raise Mismatch("can not divide by zero")
        inverse = (-right.dimension[0], -right.dimension[1])
        if isinstance(left, Quantity):
            return Quantity(left.value / right.value, _sum(left.dimension, inverse))
        if isinstance(left, Arrow) and not left.point:
            x, y, z = left.xyz
            f = right.value
            return Arrow((x / f, y / f, z / f), _sum(left.dimension, inverse))
    raise _apart("divide", left, right)


def negated(value: Value) -> Value:
    """-value, of a number or a vector that is not a position."""
    if isinstance(value, Quantity):
        return Quantity(-value.value, value.dimension)
    if isinstance(value, Arrow) and not value.point:
        x, y, z = value.xyz
        return Arrow((-x, -y, -z), value.dimension)
    raise Mismatch(f"can not negate {named(value)}")


def compared(operator: str, left: Value, right: Value) -> bool:
    """A comparison: numbers of one dimension, or words with `is`."""
    if isinstance(left, Quantity) and isinstance(right, Quantity):
        if left.dimension != right.dimension:
            raise _apart("compare", left, right)
        a, b = left.value, right.value
        answers = {
            "is": a == b,
            "is not": a != b,
            "<": a < b,
            "<=": a <= b,
            ">": a > b,
            ">=": a >= b,
        }
        return answers[operator]
    if isinstance(left, Choice) and isinstance(right, Choice) and operator in ("is", "is not"):
        options = left.options or right.options
        for word in (left.word, right.word):
            if options and word not in options:
                raise Mismatch(
                    f'"{word}" is not one of its choices',
                    "the choices are " + ", ".join(options),
                )
        return (left.word == right.word) == (operator == "is")
    raise _apart("compare", left, right)


def _sum(a: Dimension, b: Dimension) -> Dimension:
    return (a[0] + b[0], a[1] + b[1])


def _apart(verb: str, left: Value, right: Value) -> Mismatch:
    return Mismatch(f"can not {verb} {named(left)} and {named(right)}")


# ---- taking a value as what is needed ------------------------------------------------------------


def as_position(value: Value) -> Triple:
    """The position that a value stands for."""
    if isinstance(value, Arrow) and (value.dimension == LENGTH or value.xyz == NOWHERE):
        return value.xyz
    if isinstance(value, Spot):
        return value.frame.place
    if isinstance(value, Arrow) and value.dimension == NUMBER:
        raise Mismatch(
            f"expected a position, found {named(value)}",
            "a position has a unit, such as (0, 2 cm, 0); a step along a direction is "
            "pelvis + 3 cm * +Z",
        )
    raise Mismatch(f"expected a position, found {named(value)}")


def as_number(value: Value, dimension: Dimension) -> float:
    """The number that a value is, of the dimension that is needed."""
    if isinstance(value, Quantity) and value.dimension == dimension:
        return value.value
    help_line = None
    if isinstance(value, Quantity) and value.dimension == NUMBER:
        if dimension == LENGTH:
            help_line = "give it a unit, such as 12 cm"
        elif dimension == ANGLE:
            help_line = "give it a unit, such as 30 deg"
    raise Mismatch(f"expected {dimension_name(dimension)}, found {named(value)}", help_line)


def as_whole(value: Value) -> int:
    """The whole number that a value is."""
    number = as_number(value, NUMBER)
    whole = int(number)
    if whole != number:
        raise Mismatch(f"expected a whole number, found {number:g}")
    return whole


def as_direction(value: Value) -> Triple:
    """The unit vector along a direction or a displacement."""
    if isinstance(value, Arrow) and not value.point:
        x, y, z = value.xyz
        size = vector.length((x, y, z))
        if size <= SMALLEST:
            raise Mismatch(
                "expected a direction, found a vector without length",
                "two places are one, or a limb is straight: measure them apart on the sheet",
            )
        return (x / size, y / size, z / size)
    raise Mismatch(f"expected a direction, found {named(value)}")


# ---- helpers a recipe may call -------------------------------------------------------------------


def _displacement(a: Value, b: Value) -> Triple:
    return vector.subtract(as_position(b), as_position(a))


def _distance(a: Value, b: Value) -> Value:
    return Quantity(vector.length(_displacement(a, b)), LENGTH)


def _midpoint(a: Value, b: Value) -> Value:
    return Arrow(vector.midpoint(as_position(a), as_position(b)), LENGTH, point=True)


def _direction(a: Value, b: Value) -> Value:
    return Arrow(as_direction(Arrow(_displacement(a, b))), NUMBER)


def between(first: Value, second: Value, share: Value) -> Value:
    """The position a share of the way from the first to the second."""
    return Arrow(
        vector.lerp(as_position(first), as_position(second), as_number(share, NUMBER)),
        LENGTH,
        point=True,
    )


def _angle(a: Value, b: Value) -> Value:
    u, v = as_direction(a), as_direction(b)
    across = vector.length(vector.cross(u, v))
    return Quantity(trig.arc_tangent(across, vector.dot(u, v)), ANGLE)


def _sqrt(a: Value) -> Value:
    if not isinstance(a, Quantity):
        raise Mismatch(f"can not take the square root of {named(a)}")
    if a.value < 0.0:
        raise Mismatch(f"can not take the square root of {a.value:g}")
    return Quantity(trig.sqrt(a.value), (a.dimension[0] / 2, a.dimension[1] / 2))


def _sin(a: Value) -> Value:
    return Quantity(trig.sine(as_number(a, ANGLE)))


def _cos(a: Value) -> Value:
    return Quantity(trig.cosine(as_number(a, ANGLE)))


def _absolute(a: Value) -> Value:
    if isinstance(a, Quantity):
        return Quantity(abs(a.value), a.dimension)
    raise Mismatch(f"expected a number, found {named(a)}")


def _same(values: tuple[Value, ...]) -> list[Quantity]:
    numbers: list[Quantity] = []
    for value in values:
        if not isinstance(value, Quantity):
            raise Mismatch(f"expected numbers, found {named(value)}")
        if value.dimension != (numbers or [value])[0].dimension:
            raise _apart("compare", numbers[0], value)
        numbers.append(value)
    return numbers


def _minimum(*values: Value) -> Value:
    numbers = _same(values)
    return Quantity(min(n.value for n in numbers), numbers[0].dimension)


def _maximum(*values: Value) -> Value:
    numbers = _same(values)
    return Quantity(max(n.value for n in numbers), numbers[0].dimension)


def _clamp(value: Value, low: Value, high: Value) -> Value:
    v, a, b = _same((value, low, high))
    if a.value > b.value:
        raise Mismatch("expected the lower bound before the upper one in clamp")
    return Quantity(min(max(v.value, a.value), b.value), v.dimension)


def _rounded(a: Value) -> Value:
    return Quantity(float(round(as_number(a, NUMBER))))


def _modulo(a: Value, b: Value) -> Value:
    value, by = _same((a, b))
    if by.value == 0.0:
        raise Mismatch("can not divide by zero")
    return Quantity(value.value % by.value, value.dimension)


def _length(a: Value) -> Value:
    if isinstance(a, Arrow) and not a.point:
        return Quantity(vector.length(a.xyz), a.dimension)
    raise Mismatch(
        f"expected a displacement, found {named(a)}", "take distance(a, b) of two places"
    )


def _count(a: Value) -> Value:
    if isinstance(a, Many):
        return Quantity(float(len(a.members)))
    raise Mismatch(f"expected a list, found {named(a)}")


HELPERS: dict[str, tuple[Callable[..., Value], int, int]] = {
    "distance": (_distance, 2, 2),
    "midpoint": (_midpoint, 2, 2),
    "direction": (_direction, 2, 2),
    "angle": (_angle, 2, 2),
    "sqrt": (_sqrt, 1, 1),
    "sin": (_sin, 1, 1),
    "cos": (_cos, 1, 1),
    "abs": (_absolute, 1, 1),
    "min": (_minimum, 1, 64),
    "max": (_maximum, 1, 64),
    "clamp": (_clamp, 3, 3),
    "round": (_rounded, 1, 1),
    "modulo": (_modulo, 2, 2),
    "length": (_length, 1, 1),
    "count": (_count, 1, 1),
}
"""Each helper with the fewest and the most values it takes. `reflected(p)`, which needs the
recipe's mirror plane, is added where expressions are evaluated."""
