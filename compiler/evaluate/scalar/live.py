"""Live numbers and measures, one pose at a time: each a row, made of other rows.

Results are finite, as `somite.evaluate.live` tells: a quotient by zero is zero, and so on.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import clipped, product, rounded, twist_angle
from somite.evaluate.scalar.lanes import (
    EVERY,
    TURN,
    TURN_W,
    TURN_Y,
    TURN_Z,
    VECTOR,
    Y,
    Z,
)

HUGE = 1e12
"""What no live number goes beyond."""
OPERATIONS = (
    "add",
    "subtract",
    "multiply",
    "divide",
    "negate",
    "minimum",
    "maximum",
    "clamp",
    "absolute",
    "root",
    "sine",
    "cosine",
    "modulo",
    "is",
)
"""Operations of live numbers by the numbers that `applied` knows them by."""


def applied(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Operations on numbers. Members: result, which of `OPERATIONS`, three operands (or 0)."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, which, first, second, third = (
            code[at],
            code[at + 1],
            code[at + 2],
            code[at + 3],
            code[at + 4],
        )
        at += 5
        for lane in EVERY:
            a, b = memory[first + lane], memory[second + lane]
            c = memory[third + lane]
            memory[to + lane] = clipped(_value(which, a, b, c), -HUGE, HUGE)
    return at


def _value(which: int, a: float, b: float, c: float) -> float:
    if which <= 3:
        return _arithmetic(which, a, b)
    if which == 4:
        return -a
    if which == 5:
        return min(a, b)
    if which == 6:
        return max(a, b)
    if which == 7:
        return min(max(a, b), c)
    if which == 8:
        return abs(a)
    if which == 9:
        return math.sqrt(max(a, 0.0))
    if which == 10:
        return math.sin(a)
    if which == 11:
        return math.cos(a)
    if which == 12:
        return a % b if b != 0.0 else 0.0
    return 1.0 if rounded(a) == b else 0.0


def _arithmetic(which: int, a: float, b: float) -> float:
    if which == 0:
        return a + b
    if which == 1:
        return a - b
    if which == 2:
        return a * b
    if b == 0.0:
        return 0.0
    if abs(a) >= HUGE * abs(b):  # a quotient too large for a float is held as well
        return HUGE if (a > 0.0) == (b > 0.0) else -HUGE
    return a / b


def summed(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Sums of rows by constant shares. Members: sum, first of the shares, how many, rows."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, shares, terms = code[at], code[at + 1], code[at + 2]
        at += 3
        for lane in EVERY:
            total = 0.0
            for k in range(terms):
                total += constants[shares + k] * memory[code[at + k] + lane]
            memory[to + lane] = total
        at += terms
    return at


def mapped(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Maps through pairs. Members: result, value, whether smooth, how many pairs, from and to each.

    As `straight` and `smooth` of `somite.evaluate.live`.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, value, smooth, pairs = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        for lane in EVERY:
            x = memory[value + lane]
            found = memory[code[at + 1] + lane]
            slope = 0.0
            for k in range(pairs - 1):
                pair = at + 2 * k
                low, high = memory[code[pair] + lane], memory[code[pair + 2] + lane]
                start, stop = memory[code[pair + 1] + lane], memory[code[pair + 3] + lane]
                width = high - low
                if width > 1e-12:
                    share = clipped((x - low) / width, 0.0, 1.0)
                else:
                    share = 1.0 if x >= high else 0.0
                if smooth:
                    width = max(width, 1e-12)
                    following = 0.0
                    if k + 2 < pairs:
                        after = max(memory[code[pair + 4] + lane] - high, 1e-12)
                        rise = (memory[code[pair + 5] + lane] - stop) / after
                        following = _slope((stop - start) / width, rise, width, after)
                    rest = 1.0 - share
                    found += (stop - start) * (share * share * (3.0 - 2.0 * share))
                    found += width * (
                        slope * (share * (rest * rest)) - following * (share * share * rest)
                    )
                    slope = following
                else:
                    found += (stop - start) * share
            memory[to + lane] = clipped(found, -HUGE, HUGE)
        at += 2 * pairs
    return at


def _slope(before: float, after: float, width_before: float, width_after: float) -> float:
    if before * after <= 0.0:
        return 0.0
    heavy, light = 2.0 * width_after + width_before, width_after + 2.0 * width_before
    return (heavy + light) / (heavy / before + light / after)


def kept(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Numbers kept within bounds. Members: row, number, constants (low, high)."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, value, bounds = code[at], code[at + 1], code[at + 2]
        at += 3
        low, high = constants[bounds], constants[bounds + 1]
        for lane in EVERY:
            memory[to + lane] = clipped(memory[value + lane], low, high)
    return at


def apart(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Distances between vectors. Members: distance, two vectors."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, first, second = code[at], code[at + 1], code[at + 2]
        at += 3
        for lane in EVERY:
            here, there = first + lane, second + lane
            x = memory[there] - memory[here]
            y = memory[there + Y] - memory[here + Y]
            z = memory[there + Z] - memory[here + Z]
            memory[to + lane] = math.sqrt(x * x + y * y + z * z)
    return at


def angle_between(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Angles between two slots' turns, or of the twist about an axis of the first.

    Members: angle, two slots, the axis's constants (3), whether the twist is wanted.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, first, second, axis, about = (
            code[at],
            code[at + 1],
            code[at + 2],
            code[at + 3],
            code[at + 4],
        )
        at += 5
        for lane in EVERY:
            here, there = first + lane, second + lane
            x, y, z, w = product(
                -memory[here + TURN],
                -memory[here + TURN_Y],
                -memory[here + TURN_Z],
                memory[here + TURN_W],
                memory[there + TURN],
                memory[there + TURN_Y],
                memory[there + TURN_Z],
                memory[there + TURN_W],
            )
            if about:
                angle = twist_angle(
                    x, y, z, w, constants[axis], constants[axis + 1], constants[axis + 2]
                )
            else:
                angle = 2.0 * math.atan2(math.sqrt(x * x + y * y + z * z), abs(w))
            memory[to + lane] = angle
    return at


def combined(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Sums of neighbouring vectors by constant shares. Members: vector, first, how many, shares."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, first, terms, shares = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        for lane in EVERY:
            x = y = z = 0.0
            here = first + lane
            for k in range(terms):
                share = constants[shares + k]
                x += share * memory[here]
                y += share * memory[here + Y]
                z += share * memory[here + Z]
                here += VECTOR
            memory[to + lane] = x
            memory[to + lane + Y] = y
            memory[to + lane + Z] = z
    return at
