"""Which way is up and which way is front, and conversion between such conventions.

What comes in is a pair of signed axes, or a vector or quaternion in one convention; what goes out
is the same in another, exactly: a change of axes is a signed permutation, so nothing is rounded.
Nothing here knows of sheets, recipes or units.

The neutral space is glTF's (ISO/IEC 12113, clause "Coordinate System and Units"): right-handed, up
+Y, front +Z and the character's left +X.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeGuard

from somite.ir import Axis, Quaternion, Vector

AXES: tuple[Axis, ...] = ("+X", "-X", "+Y", "-Y", "+Z", "-Z")
"""The six signed axes, as they are written."""

Whole = tuple[int, int, int]


def is_axis(text: object) -> TypeGuard[Axis]:
    """Whether this is a signed axis as it is written: `+X`, `-Z`."""
    return isinstance(text, str) and text in AXES


def components(axis: Axis) -> Whole:
    """A signed axis as three whole numbers: `-Y` is (0, -1, 0)."""
    sign = 1 if axis[0] == "+" else -1
    place = "XYZ".index(axis[1])
    return (sign * (place == 0), sign * (place == 1), sign * (place == 2))


def axis_from(parts: Sequence[int]) -> Axis:
    """The signed axis of three whole numbers of which one is 1 or -1 and the others are 0.

    Raises ValueError for anything else.
    """
    for axis in AXES:
        if components(axis) == tuple(parts):
            return axis
    raise ValueError(f"no signed axis: {tuple(parts)}")


def opposite(axis: Axis) -> Axis:
    """The same axis the other way."""
    x, y, z = components(axis)
    return axis_from((-x, -y, -z))


def axes_problem(up: object, front: object) -> str | None:
    """What is wrong with these two axes, as a finding says it; None when they make a space."""
    for role, axis in (("up", up), ("front", front)):
        if not is_axis(axis):
            return f'{role} must be one of +X, -X, +Y, -Y, +Z and -Z, found "{axis}"'
    if str(up)[1] == str(front)[1]:
        return f"up and front must lie along different axes, found {up} and {front}"
    return None


@dataclass(frozen=True, slots=True)
class Axes:
    """A right-handed space named by its up and front axes; ValueError if they are parallel."""

    up: Axis
    front: Axis

    def __post_init__(self) -> None:
        problem = axes_problem(self.up, self.front)
        if problem is not None:
            raise ValueError(problem)

    @property
    def left(self) -> Axis:
        """The axis toward the character's left: up × front."""
        a, b, c = components(self.up)
        d, e, f = components(self.front)
        return axis_from((b * f - c * e, c * d - a * f, a * e - b * d))

    @property
    def rows(self) -> tuple[Whole, Whole, Whole]:
        """The 3 × 3 matrix C of whole numbers that takes a neutral column vector to these axes."""
        left, up, front = components(self.left), components(self.up), components(self.front)
        return (
            (left[0], up[0], front[0]),
            (left[1], up[1], front[1]),
            (left[2], up[2], front[2]),
        )

    def from_neutral(self, vector: Vector) -> Vector:
        """A neutral vector in these axes (any unit)."""
        return _placed(vector, (self.left, self.up, self.front))

    def to_neutral(self, vector: Vector) -> Vector:
        """A vector in these axes (any unit) in the neutral space."""
        return (
            _along(vector, self.left),
            _along(vector, self.up),
            _along(vector, self.front),
        )

    def turn_from_neutral(self, turn: Quaternion) -> Quaternion:
        """A neutral rotation (xyzw) as the same rotation seen in these axes.

        R′ = C·R·Cᵀ with C a proper rotation turns the axis of R by C and keeps its angle, so the
        vector part is converted like any vector and w stays.
        """
        x, y, z, w = turn
        return (*self.from_neutral((x, y, z)), w)

    def turn_to_neutral(self, turn: Quaternion) -> Quaternion:
        """A rotation (xyzw) seen in these axes as the same rotation in the neutral space."""
        x, y, z, w = turn
        return (*self.to_neutral((x, y, z)), w)


NEUTRAL = Axes("+Y", "+Z")
"""The neutral space: every position of a loaded sheet is in it, in metres."""


def converted(vector: Vector, source: Axes, target: Axes) -> Vector:
    """A vector in the source's axes, in the target's."""
    return target.from_neutral(source.to_neutral(vector))


def mirrored(vector: Vector) -> Vector:
    """A neutral vector reflected in the plane x = 0, left to right."""
    x, y, z = vector
    return (0.0 - x, y, z)


def _along(vector: Vector, axis: Axis) -> float:
    value = vector["XYZ".index(axis[1])]
    # 0.0 - 0.0 is 0.0 where a plain minus sign would make a negative zero.
    return value if axis[0] == "+" else 0.0 - value


def _placed(vector: Vector, axes: tuple[Axis, Axis, Axis]) -> Vector:
    placed = [0.0, 0.0, 0.0]
    for value, axis in zip(vector, axes, strict=True):
        placed["XYZ".index(axis[1])] = value if axis[0] == "+" else 0.0 - value
    return (placed[0], placed[1], placed[2])
