"""Outlines of the shapes that controls have, as lines in space.

In comes the kind of a shape, its width and the axis it looks along, out come polylines about the
origin of the control's own frame. The list of shapes is the language's own and is closed; a kind
that is not in it is a KeyError. Nothing here knows of nodes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TypeAlias

from somite.ir import Axis, Shape, Vector
from somite.spatial.trig import radians_from_degrees, sine_cosine
from somite.spatial.vector import add

Line: TypeAlias = tuple[Vector, ...]
Flat: TypeAlias = tuple[tuple[float, float, float], ...]
"""Points (along the axis, and across it twice) of a shape one wide."""

ROUND = 40
"""Corners of a circle."""
CORNERS = ((-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5))
"""Corners of a square one wide, in order."""


def outline(shape: Shape) -> tuple[Line, ...]:
    """The lines of a shape in its control's frame, in metres; a closed line ends where it began."""
    return tuple(
        [
            tuple([add(_laid(point, shape.axis, shape.width), shape.offset) for point in line])
            for line in OUTLINES[shape.kind]()
        ]
    )


def _laid(point: tuple[float, float, float], axis: Axis, width: float) -> Vector:
    """A point of a shape one wide, put along an axis: the other two follow in cyclic order."""
    at = "XYZ".index(axis[1])
    sign = width if axis[0] == "+" else -width
    found = [0.0, 0.0, 0.0]
    found[at] = point[0] * sign
    found[(at + 1) % 3] = point[1] * width
    found[(at + 2) % 3] = point[2] * width
    return (found[0], found[1], found[2])


def _arc(start: float, stop: float, count: int, radius: float = 0.5, along: float = 0.0) -> Flat:
    """Points of a circle about the axis, from one angle to another (degrees)."""
    found = []
    for k in range(count + 1):
        s, c = sine_cosine(radians_from_degrees(start + (stop - start) * k / count))
        found.append((along, radius * c, radius * s))
    return tuple(found)


def _turned(line: Flat) -> Flat:
    """A line with its three directions changed over in order."""
    return tuple([(c, a, b) for a, b, c in line])


def _ring() -> Sequence[Flat]:
    return (_arc(0.0, 360.0, ROUND),)


def _square() -> Sequence[Flat]:
    return (_loop((0.0, h, k) for h, k in CORNERS),)


def _box() -> Sequence[Flat]:
    ends = [_loop((along, h, k) for h, k in CORNERS) for along in (-0.5, 0.5)]
    return (*ends, *[((-0.5, h, k), (0.5, h, k)) for h, k in CORNERS])


def _ball() -> Sequence[Flat]:
    circle = _arc(0.0, 360.0, ROUND)
    return (circle, _turned(circle), _turned(_turned(circle)))


def _diamond() -> Sequence[Flat]:
    flat = _loop((0.0, h, k) for h, k in ((0.5, 0.0), (0.0, 0.5), (-0.5, 0.0), (0.0, -0.5)))
    return (flat, _turned(flat), _turned(_turned(flat)))


def _cross() -> Sequence[Flat]:
    arm, bar = 0.5, 0.16
    quarter = [(arm, -bar), (arm, bar), (bar, bar)]
    corners: list[tuple[float, float]] = []
    for _ in range(4):
        corners.extend(quarter)
        quarter = [(-k, h) for h, k in quarter]
    return (_loop((0.0, h, k) for h, k in corners),)


def _arrow() -> Sequence[Flat]:
    corners = (
        (-0.5, -0.1),
        (0.1, -0.1),
        (0.1, -0.3),
        (0.5, 0.0),
        (0.1, 0.3),
        (0.1, 0.1),
        (-0.5, 0.1),
    )
    return (_loop((along, across, 0.0) for along, across in corners),)


def _half() -> Sequence[Flat]:
    return (_arc(-90.0, 90.0, ROUND // 2),)


def _pin() -> Sequence[Flat]:
    head = tuple([(0.8 + b, c, 0.0) for _, b, c in _arc(0.0, 360.0, ROUND // 2, 0.2)])
    return (((0.0, 0.0, 0.0), (0.6, 0.0, 0.0)), head)


def _leaf() -> Sequence[Flat]:
    """Two arcs of a circle that meet in points at both ends, and the vein between."""
    side = [(b, c + 0.375) for _, b, c in _arc(-143.13010235415598, -36.86989764584402, 20, 0.625)]
    back = [(b, -c) for b, c in reversed(side)]
    rim = _loop((along, across, 0.0) for along, across in (*side, *back[1:-1]))
    return (rim, ((-0.5, 0.0, 0.0), (0.2, 0.0, 0.0)))


def _loop(points: Iterable[tuple[float, float, float]]) -> Flat:
    found = tuple(points)
    return (*found, found[0])


OUTLINES: dict[str, Callable[[], Sequence[Flat]]] = {
    "ring": _ring,
    "square": _square,
    "box": _box,
    "ball": _ball,
    "diamond": _diamond,
    "cross": _cross,
    "arrow": _arrow,
    "arc": _half,
    "pin": _pin,
    "leaf": _leaf,
}
"""How each shape is drawn."""
