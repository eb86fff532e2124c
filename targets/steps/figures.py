"""Numbers as a person reads them: places, lengths, turns and directions in a recipe's own unit.

In come metres, radians and unit quaternions; out go short texts, rounded half-even, without
needless zeros. Nothing here knows what the numbers belong to.
"""

from __future__ import annotations

from dataclasses import dataclass

from somite.ir import Axis, Frame, Quaternion, TurnOrder, Vector
from somite.spatial.rotation import euler_from_quaternion, rotated
from somite.spatial.vector import cross, dot
from somite.targets.steps.records import Saying, Value
from somite.units import ANGLE, LENGTH, NUMBER, Dimension, degrees, metres_per

PLACES = {"mm": 3, "cm": 3, "inch": 3, "foot": 4, "m": 5}
"""Decimal places of a length in each unit: a hundredth of a millimetre, or finer."""

ANGLE_PLACES = 2
DIRECTION_PLACES = 3
_STRAIGHT = 1.0 - 1.5e-8
"""Cosine of a hundredth of a degree: nearer than this is exact to the eye and to our rounding."""
_ALIKE = 0.8
"""From this share of the strongest part on, the second is told as equal."""
_SLIGHT = 0.2
"""A part of a direction smaller than this is left out of its words."""

AXES: dict[Axis, Vector] = {
    "+X": (1.0, 0.0, 0.0),
    "-X": (-1.0, 0.0, 0.0),
    "+Y": (0.0, 1.0, 0.0),
    "-Y": (0.0, -1.0, 0.0),
    "+Z": (0.0, 0.0, 1.0),
    "-Z": (0.0, 0.0, -1.0),
}


def rounded(value: float, places: int) -> str:
    """A number to so many places, half-even, without needless zeros or -0."""
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def percent(share: float) -> str:
    """A share of one as a percentage."""
    return rounded(share * 100.0, 2) + "%"


def turned(frame: Frame, axis: Axis) -> Vector:
    """The direction in the rig's space of an axis of a frame."""
    return rotated(frame.turn, AXES[axis])


@dataclass(frozen=True, slots=True)
class Figures:
    """How numbers are said for one rig: its unit and what up and front are."""

    unit: str
    up: Vector
    front: Vector
    left: Vector

    @property
    def places(self) -> int:
        """Decimal places of lengths."""
        return PLACES.get(self.unit, 3)

    @property
    def left_axis(self) -> Axis:
        """The axis toward the character's left."""
        return next(axis for axis, direction in AXES.items() if direction == self.left)

    def bare_length(self, metres: float) -> str:
        """A length in the rig's unit, without the unit."""
        return rounded(metres / metres_per(self.unit), self.places)

    def length(self, metres: float) -> str:
        """A length with its unit."""
        return f"{self.bare_length(metres)} {self.unit}"

    def place(self, place: Vector) -> str:
        """A position with its unit: `(0, 96.2, 1.4) cm`."""
        x, y, z = place
        parts = (self.bare_length(x), self.bare_length(y), self.bare_length(z))
        return f"({parts[0]}, {parts[1]}, {parts[2]}) {self.unit}"

    def angle(self, radians: float) -> str:
        """An angle in degrees."""
        text = rounded(degrees(radians), ANGLE_PLACES)
        return "180°" if text == "-180" else f"{text}°"

    def turns(self, turn: Quaternion, order: TurnOrder) -> tuple[str, str, str]:
        """The turns about X, Y and Z, in degrees, taken in the order given."""
        x, y, z = euler_from_quaternion(turn, order)
        return self.angle(x), self.angle(y), self.angle(z)

    def direction(self, direction: Vector) -> str:
        """A direction as three numbers."""
        x, y, z = direction
        parts = (rounded(x, DIRECTION_PLACES), rounded(y, DIRECTION_PLACES))
        last = rounded(z, DIRECTION_PLACES)
        return f"({parts[0]}, {parts[1]}, {last})"

    def way(self, direction: Vector) -> Saying:
        """A direction in words, the strongest part first: "up and a little to the front"."""
        parts = [
            (dot(direction, self.up), "up", "down"),
            (dot(direction, self.front), "front", "back"),
            (dot(direction, self.left), "left", "right"),
        ]
        strong = sorted(
            (
                (abs(amount), rank, ahead if amount > 0.0 else behind)
                for rank, (amount, ahead, behind) in enumerate(parts)
            ),
            key=lambda part: (-part[0], part[1]),
        )
        if strong[0][0] >= _STRAIGHT:
            return Saying(f"way.straight-{strong[0][2]}")
        told = [Saying(f"way.{word}") for amount, _, word in strong if amount >= _SLIGHT]
        if len(told) == 1:
            return Saying("way.nearly", {"way": told[0]})
        if len(told) == 2 and strong[1][0] >= _ALIKE * strong[0][0]:
            return Saying("way.alike", {"first": told[0], "second": told[1]})
        if len(told) == 2:
            return Saying("way.two", {"first": told[0], "second": told[1]})
        return Saying("way.three", {"first": told[0], "second": told[1], "third": told[2]})

    def value(self, amount: float, dimension: Dimension | None) -> Value:
        """A number of a dimension, with its unit; of an unknown dimension, plain."""
        if dimension is None or dimension == NUMBER:
            return rounded(amount, 4)
        if dimension == LENGTH:
            return self.length(amount)
        if dimension == ANGLE:
            return self.angle(amount)
        return Saying(
            "value.compound",
            {
                "number": rounded(self._in_units(amount, dimension), 6),
                "unit": self._compound(dimension),
            },
        )

    def _in_units(self, amount: float, dimension: Dimension) -> float:
        for exponent, factor in (
            (dimension[0], 1.0 / metres_per(self.unit)),
            (dimension[1], degrees(1.0)),
        ):
            for _ in range(int(abs(exponent))):
                amount = amount * factor if exponent > 0 else amount / factor
        return amount

    def _compound(self, dimension: Dimension) -> str:
        above: list[str] = []
        below: list[str] = []
        for exponent, unit in zip(dimension, (self.unit, "°"), strict=True):
            if exponent:
                power = "" if abs(exponent) == 1 else f"^{abs(exponent):g}"
                (above if exponent > 0 else below).append(unit + power)
        return "·".join(above) + ("".join(f"/{unit}" for unit in below))


def figures_for(unit: str, up: Axis, front: Axis) -> Figures:
    """The figures of a rig; left is up × front, since space is right-handed."""
    return Figures(unit, AXES[up], AXES[front], cross(AXES[up], AXES[front]))
