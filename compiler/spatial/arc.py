"""Arc length of curves, and the way back from a length to a parameter.

Each stretch between two knots is one polynomial; its derivative is expanded about the middle of
the stretch once, so that a speed costs a few multiplications. Lengths are sums of 16-point
Gauss-Legendre rules over equal parts of every stretch, four or more and sixteen or more in all:
good to 1e-12 on curves that bend as backs and tails do, and to 1e-9 on zigzags that do not stop.
Control points may be arrays of poses.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any, Generic

from somite.spatial.component import T, Vector, choose, sqrt
from somite.spatial.spline import Curve, CurveError, derivatives_at, picked, spans, stacked

_PARTS = 4  # of a stretch, at least
_PARTS_IN_ALL = 16  # of a curve, at least
_STEPS = 60  # cap of Newton's iteration; four or five do on a sane curve
_CLOSE = 1e-10  # of a part: Newton's next step would be the square of this

_GAUSS = (
    (0.09501250983763744, 0.1894506104550685),
    (0.28160355077925891, 0.18260341504492359),
    (0.45801677765722739, 0.16915651939500254),
    (0.61787624440264375, 0.14959598881657673),
    (0.75540440835500303, 0.12462897125553387),
    (0.86563120238783174, 0.095158511682492785),
    (0.94457502307323258, 0.062253523938647893),
    (0.98940093499164993, 0.027152459411754095),
)
"""Positive nodes and weights of the 16-point rule (Abramowitz and Stegun, table 25.4)."""


@dataclass(frozen=True, slots=True)
class Stretch(Generic[T]):
    """One polynomial piece: its ends, its middle, and the derivative's coefficients there.

    ``slopes`` are vectors, highest power of (u - middle) first.
    """

    start: float
    end: float
    middle: float
    slopes: tuple[Vector[T], ...]


@dataclass(frozen=True, slots=True)
class ArcTable(Generic[T]):
    """A curve measured once: ``lengths[i]`` is the arc length from the start to ``breaks[i]``.

    ``stretches[i]`` is the piece that holds the part from ``breaks[i]`` to ``breaks[i + 1]``.
    """

    breaks: tuple[float, ...]
    lengths: tuple[T, ...]
    stretches: tuple[Stretch[T], ...]

    @property
    def length(self) -> T:
        """The arc length of the whole curve."""
        return self.lengths[-1]


def stretches_of(curve: Curve[T]) -> tuple[Stretch[T], ...]:
    """Return the polynomial pieces of a curve in order."""
    found: list[Stretch[T]] = []
    for start, end in spans(curve.knots):
        middle = (start + end) * 0.5
        slopes: list[Vector[T]] = []
        factorial = 1.0
        for k, (x, y, z) in enumerate(derivatives_at(curve, middle, curve.degree)):
            if k > 0:
                factorial = factorial * (k - 1 or 1)
                slopes.append((x / factorial, y / factorial, z / factorial))
        found.append(Stretch(start, end, middle, tuple(reversed(slopes))))
    return tuple(found)


def arc_table(curve: Curve[T]) -> ArcTable[T]:
    """Return the table of a curve. Raises CurveError where a curve of floats has no length.

    Arrays of poses are not refused: a pose without length gets lengths of 0.
    """
    if isinstance(curve.points[0][0], float):
        return _measured_once(curve)
    return _measured(curve)


def _measured(curve: Curve[T]) -> ArcTable[T]:
    stretches = stretches_of(curve)
    count = _part_count(len(stretches))
    breaks = [stretches[0].start]
    total: T = stretches[0].slopes[0][0] * 0.0
    lengths = [total]
    for stretch in stretches:
        for start, end in _parts(stretch.start, stretch.end, count):
            total = total + _length_between(stretch.slopes, stretch.middle, start, end)
            breaks.append(end)
            lengths.append(total)
    if (total == 0.0) is True:
        raise CurveError("the curve has no length: all its points are at the same place")
    by_part = tuple([stretch for stretch in stretches for _ in range(count)])
    return ArcTable(tuple(breaks), tuple(lengths), by_part)


# A curve is measured when it is placed and again when it is settled: the same table serves.
_measured_once = lru_cache(maxsize=256)(_measured)


def _part_count(stretches: int) -> int:
    """Return into how many parts each stretch is cut: a lone stretch holds the whole bend."""
    return max(_PARTS, -(-_PARTS_IN_ALL // stretches))


def _parts(start: float, end: float, count: int) -> list[tuple[float, float]]:
    step = (end - start) / count
    breaks = [start, *[start + step * k for k in range(1, count)], end]
    return list(pairwise(breaks))


def arc_length(curve: Curve[T], start: float, end: float) -> T:
    """Return the arc length between two parameters, negative where end comes before start."""
    if end < start:
        return -arc_length(curve, end, start)
    total: T = curve.points[0][0] * 0.0
    stretches = stretches_of(curve)
    count = _part_count(len(stretches))
    for stretch in stretches:
        low, high = max(start, stretch.start), min(end, stretch.end)
        if low < high:
            for a, b in _parts(low, high, count):
                total = total + _length_between(stretch.slopes, stretch.middle, a, b)
    return total


def _speed(slopes: Sequence[Vector[T]], h: T | float) -> T:
    x, y, z = slopes[0]
    for a, b, c in slopes[1:]:
        x = x * h + a
        y = y * h + b
        z = z * h + c
    return sqrt(x * x + y * y + z * z)


def _length_between(
    slopes: Sequence[Vector[T]], middle: T | float, start: T | float, end: T | float
) -> T:
    """Return the integral of the speed from start to end by one 16-point Gauss rule."""
    half = (end - start) * 0.5
    centre = (end + start) * 0.5 - middle
    total: T = slopes[0][0] * 0.0
    for node, weight in _GAUSS:
        offset = half * node
        total = total + weight * (_speed(slopes, centre - offset) + _speed(slopes, centre + offset))
    return total * half


def length_at_parameter(table: ArcTable[T], u: float) -> T:
    """Return the arc length from the start to a parameter, which is clamped to the domain."""
    part = _part_of(table.breaks, u)
    start = table.breaks[part]
    u = max(start, min(u, table.breaks[-1]))
    stretch = table.stretches[part]
    return table.lengths[part] + _length_between(stretch.slopes, stretch.middle, start, u)


def _part_of(breaks: Sequence[float], value: float) -> int:
    return max(0, min(bisect_right(breaks, value) - 1, len(breaks) - 2))


def parameter_at_length(table: ArcTable[T], length: T) -> T:
    """Return the parameter at which the arc length from the start has this value.

    Lengths outside the curve give its nearer end. Newton's method, kept inside a bracket that
    shrinks by halving where a step would leave it; at most 60 steps, usually four. Poses without
    length, where the table holds arrays, give some parameter of the domain.
    """
    if isinstance(length, (float, int)) and isinstance(table.length, (float, int)):
        floats: Any = table
        return _parameter_in_floats(floats, length)
    return _parameter_in_arrays(table, length)


def _parameter_in_floats(table: ArcTable[float], length: float) -> float:
    if length <= 0.0:
        return table.breaks[0]
    if length >= table.length:
        return table.breaks[-1]
    part = _part_of(table.lengths, length)
    start, end = table.breaks[part], table.breaks[part + 1]
    stretch = table.stretches[part]
    slopes, middle = stretch.slopes, stretch.middle
    target = length - table.lengths[part]
    u = start + (end - start) * (target / (table.lengths[part + 1] - table.lengths[part]))
    low, high, close = start, end, (end - start) * _CLOSE
    for _ in range(_STEPS):
        excess = _length_between(slopes, middle, start, u) - target
        low, high = (low, u) if excess > 0.0 else (u, high)
        speed = _speed(slopes, u - middle)
        following = u - excess / speed if speed > 0.0 else low - 1.0
        if not low <= following <= high:
            following = (low + high) * 0.5
        settled = -close <= following - u <= close
        u = following
        if settled:
            break
    return u


def _parameter_in_arrays(table: ArcTable[T], length: T) -> T:
    """Do element by element what ``parameter_at_length`` does for floats, to the same bits."""
    import numpy as np

    whole = stacked(table.lengths)
    shape = np.broadcast_shapes(whole.shape[1:], np.shape(length))
    wanted: Any = np.broadcast_to(np.asarray(length), shape)
    part: Any = np.zeros(shape, dtype=np.int64)
    for reached in whole[1:-1]:
        part = part + (reached <= wanted)
    breaks = np.asarray(table.breaks)
    start, end = breaks[part], breaks[part + 1]
    slopes = [
        tuple([picked(stacked([s.slopes[k][i] for s in table.stretches]), part) for i in (0, 1, 2)])
        for k in range(len(table.stretches[0].slopes))
    ]
    middle = np.asarray([s.middle for s in table.stretches])[part]
    before, after = picked(whole, part), picked(whole, part + 1)
    target = wanted - before
    flat = after <= before
    u: Any = start + (end - start) * choose(flat, 0.0, target / choose(flat, 1.0, after - before))
    u = _newton(slopes, middle, start, end, target, choose(flat, start, u))
    u = choose(wanted >= whole[-1], breaks[-1], u)
    found: T = choose(wanted <= 0.0, breaks[0], u)
    return found


def _newton(slopes: Any, middle: Any, start: Any, end: Any, target: Any, u: Any) -> Any:
    low, high, close = start, end, (end - start) * _CLOSE
    done = start != start
    for _ in range(_STEPS):
        excess = _length_between(slopes, middle, start, u) - target
        over = excess > 0.0
        low, high = choose(over, low, u), choose(over, u, high)
        speed = _speed(slopes, u - middle)
        moving = speed > 0.0
        following = choose(moving, u - excess / choose(moving, speed, 1.0), low - 1.0)
        inside = (low <= following) & (following <= high)
        following = choose(inside, following, (low + high) * 0.5)
        settled = (-close <= following - u) & (following - u <= close)
        u = choose(done, u, following)
        done = done | settled
        if done.all():
            break
    return u
