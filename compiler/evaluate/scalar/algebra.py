"""Turns and angles of one pose: the arithmetic that several operations share.

As in `somite.spatial`, written over floats so that it can be compiled. Every function is defined
for all finite floats.
"""

from __future__ import annotations

import math

ROUNDER = 6755399441055744.0
"""1.5 · 2**52: adding and subtracting it rounds to the nearest whole number, ties to even."""
ADDRESS = (1 << 31) - 1
"""`& ADDRESS` leaves an address as it is, and tells a compiler that it is not below zero: only then
does it work on several lanes at once."""
TAU_HIGH, TAU_LOW = 6.283185005187988, 3.019915981956753e-07
"""tau in two parts, the first with so few bits that its multiples are exact."""


def rounded(value: float) -> float:
    """The nearest whole number, ties to even; up to 2**51."""
    return (value + ROUNDER) - ROUNDER


def clipped(value: float, low: float, high: float) -> float:
    """A value brought within bounds."""
    return min(max(value, low), high)


def product(
    ax: float, ay: float, az: float, aw: float, bx: float, by: float, bz: float, bw: float
) -> tuple[float, float, float, float]:
    """a · b of quaternions: b first."""
    return (
        aw * bx + ax * bw + ay * bz - az * by,
        aw * by - ax * bz + ay * bw + az * bx,
        aw * bz + ax * by - ay * bx + az * bw,
        aw * bw - ax * bx - ay * by - az * bz,
    )


def rotated(
    x: float, y: float, z: float, w: float, a: float, b: float, c: float
) -> tuple[float, float, float]:
    """The vector (a, b, c) turned by a unit quaternion."""
    p = y * c - z * b
    r = z * a - x * c
    s = x * b - y * a
    p += p
    r += r
    s += s
    return a + w * p + (y * s - z * r), b + w * r + (z * p - x * s), c + w * s + (x * r - y * p)


def half_turn(angle: float) -> tuple[float, float]:
    """Sine and cosine of half an angle, of either sign together: parts of a quaternion.

    Where it is compiled, `half_turn_in_lanes` takes its place.
    """
    half = angle * 0.5
    return math.sin(half), math.cos(half)


def half_turn_in_lanes(angle: float) -> tuple[float, float]:
    """The same without a call, so that several lanes are worked out at once.

    As `somite.evaluate.algebra.half_turns`; four times slower than `half_turn` in plain Python.
    """
    whole = (angle * 0.15915494309189535 + ROUNDER) - ROUNDER
    quarter = (angle - whole * TAU_HIGH - whole * TAU_LOW) * 0.25
    square = quarter * quarter
    sine = square * (-2.50507602534068634195e-08 + square * 1.58969099521155010221e-10)
    sine = square * (-1.98412698298579493134e-04 + square * (2.75573137070700676789e-06 + sine))
    sine = square * (-1.66666666666666324348e-01 + square * (8.33333333332248946124e-03 + sine))
    sine = quarter * sine + quarter
    square = sine * sine
    return 2.0 * (math.sqrt(1.0 - square) * sine), 1.0 - 2.0 * square


def half_of(cosine: float, sine: float) -> tuple[float, float]:
    """Cosine and sine of half an angle from any multiple of its cosine and sine."""
    size = math.sqrt(cosine * cosine + sine * sine)
    nothing = size <= 0.0
    size = 1.0 if nothing else size
    cosine = 1.0 if nothing else cosine
    large = math.sqrt((size + abs(cosine)) / (size + size))
    small = sine / (size * large * 2.0)
    behind = cosine < 0.0
    turned = large if sine >= 0.0 else -large
    return abs(small) if behind else large, turned if behind else small


def arc(
    ax: float, ay: float, az: float, bx: float, by: float, bz: float
) -> tuple[float, float, float, float]:
    """The smallest turn that takes a unit vector to another, as `shortest_arc` of `spatial`."""
    cosine = ax * bx + ay * by + az * bz
    x = ay * bz - az * by
    y = az * bx - ax * bz
    z = ax * by - ay * bx
    if cosine < -0.7:
        return arc_behind(ax, ay, az, x, y, z, cosine)
    size = math.sqrt((cosine + 1.0) * 2.0)
    return x / size, y / size, z / size, size * 0.5


def arc_behind(
    ax: float, ay: float, az: float, x: float, y: float, z: float, cosine: float
) -> tuple[float, float, float, float]:
    """The smallest turn from a to what lies behind it; (x, y, z) is the cross product.

    Within 1e-14 of opposite it is half a turn about a's perpendicular.
    """
    along = x * ax + y * ay + z * az
    x -= ax * along
    y -= ay * along
    z -= az * along
    square = x * x + y * y + z * z
    w = square / (1.0 - cosine)
    if square < 1e-28:
        x, y, z = perpendicular(ax, ay, az)
        w = 0.0
    size = math.sqrt(x * x + y * y + z * z + w * w)
    return x / size, y / size, z / size, w / size


def perpendicular(x: float, y: float, z: float) -> tuple[float, float, float]:
    """A unit vector at right angles to one that is not zero: across the axis it leans on least."""
    across, up, ahead = abs(x), abs(y), abs(z)
    if across <= up and across <= ahead:
        a, b, c = 0.0, z, -y
    elif up <= ahead:
        a, b, c = -z, 0.0, x
    else:
        a, b, c = y, -x, 0.0
    size = math.sqrt(a * a + b * b + c * c)
    return a / size, b / size, c / size


def twist_angle(x: float, y: float, z: float, w: float, a: float, b: float, c: float) -> float:
    """The angle of a turn about a unit axis (a, b, c), 0 where it is not defined."""
    p = x * a + y * b + z * c
    if w * w + p * p < 1e-24:
        return 0.0
    return 2.0 * math.atan2(-p if w < 0.0 else p, abs(w))
