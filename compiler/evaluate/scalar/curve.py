"""Curves, one pose at a time: control points from their owners, polynomials, arc lengths.

A curve's form is told in constants: where each stretch between knots starts, then where the last
one ends. Its polynomials lie side by side: for every stretch the coefficients, vectors, of the
powers of the parameter since its start. What is meant is told in `somite.evaluate.curve`.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import clipped
from somite.evaluate.scalar.lanes import EVERY, LANES, VECTOR, Y, Z
from somite.evaluate.scalar.live import combined
from somite.evaluate.scalar.nodes import outward

REFINED = 2
"""Steps of Newton's method from a length to a parameter, from a cubic guess in a part."""
NODE_1, NODE_2, NODE_3 = 0.23861918608319690863, 0.66120938646626451366, 0.93246951420315202781
WEIGHT_1, WEIGHT_2, WEIGHT_3 = (
    0.46791393457269104739,
    0.36076157304813860757,
    0.17132449237917034504,
)
"""Positive nodes and weights of the 6-point rule (Abramowitz and Stegun, table 25.4)."""


def point_fixed(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Vectors that are constants. Members: vector, constants (3)."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, fixed = code[at], code[at + 1]
        at += 2
        for lane in EVERY:
            memory[to + lane] = constants[fixed]
            memory[to + lane + Y] = constants[fixed + 1]
            memory[to + lane + Z] = constants[fixed + 2]
    return at


def point_held(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Vectors with what slots hold added: a share of their place, and an offset along their axes.

    Members: vector, slot, kind and address of its size, constants: offset (3), share; room for a
    vector.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, slot, fixed, room = code[at], code[at + 1], code[at + 4], code[at + 5]
        share = constants[fixed + 3]
        for lane in EVERY:
            memory[room + lane] = constants[fixed]
            memory[room + lane + Y] = constants[fixed + 1]
            memory[room + lane + Z] = constants[fixed + 2]
        outward(memory, room, slot, code[at + 2], code[at + 3])
        for lane in EVERY:
            here, there = slot + lane, to + lane
            memory[there] += memory[room + lane] + share * memory[here]
            memory[there + Y] += memory[room + lane + Y] + share * memory[here + Y]
            memory[there + Z] += memory[room + lane + Z] + share * memory[here + Z]
        at += 6
    return at


def point_carried(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Vectors carried from rest by slots. Members: vector, slot, kind and address of its size,
    constants: the rows (4 each) of the matrix that undoes the slot's rest.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, slot, fixed = code[at], code[at + 1], code[at + 4]
        for lane in EVERY:
            there = to + lane
            x, y, z = memory[there], memory[there + Y], memory[there + Z]
            a = constants[fixed] * x + constants[fixed + 1] * y + constants[fixed + 2] * z
            b = constants[fixed + 4] * x + constants[fixed + 5] * y + constants[fixed + 6] * z
            c = constants[fixed + 8] * x + constants[fixed + 9] * y + constants[fixed + 10] * z
            memory[there] = a + constants[fixed + 3]
            memory[there + Y] = b + constants[fixed + 7]
            memory[there + Z] = c + constants[fixed + 11]
        outward(memory, to, slot, code[at + 2], code[at + 3])
        for lane in EVERY:
            memory[to + lane] += memory[slot + lane]
            memory[to + lane + Y] += memory[slot + lane + Y]
            memory[to + lane + Z] += memory[slot + lane + Z]
        at += 5
    return at


def polynomial(
    constants: Any, memory: Any, curve: int, degree: int, stretches: int, form: int, u: float
) -> tuple[float, float, float, float, float, float]:
    """Place and velocity at a parameter up to the end. `curve` is of one lane."""
    stretch = 0
    while stretch + 1 < stretches and u >= constants[form + stretch + 1]:
        stretch += 1
    h = u - constants[form + stretch]
    here = curve + (stretch * (degree + 1) + degree) * VECTOR
    x, y, z = memory[here], memory[here + Y], memory[here + Z]
    a = b = c = 0.0
    for _ in range(degree):
        here -= VECTOR
        a = a * h + x
        b = b * h + y
        c = c * h + z
        x = x * h + memory[here]
        y = y * h + memory[here + Y]
        z = z * h + memory[here + Z]
    return x, y, z, a, b, c


def speed(
    constants: Any, memory: Any, curve: int, degree: int, stretches: int, form: int, u: float
) -> float:
    """The length of the velocity at a parameter up to the end."""
    _, _, _, a, b, c = polynomial(constants, memory, curve, degree, stretches, form, u)
    return math.sqrt(a * a + b * b + c * c)


def measured(
    code: Any, at: int, constants: Any, memory: Any, slopes: int, parts: int, breaks: int, to: int
) -> None:
    """Arc lengths to the breaks, from 0, and then the speeds there, written to rows.

    At `at` is how velocities come from control points: six of each part, then those at the breaks,
    which go to `slopes`.
    """
    combined(code, at, constants, memory)
    speeds = to + (parts + 1) * LANES
    for lane in EVERY:
        total = 0.0
        memory[to + lane] = 0.0
        here = slopes + lane
        for part in range(parts):
            half = (constants[breaks + part + 1] - constants[breaks + part]) * 0.5
            each = WEIGHT_3 * _size(memory, here)
            each += WEIGHT_2 * _size(memory, here + VECTOR)
            each += WEIGHT_1 * _size(memory, here + 2 * VECTOR)
            each += WEIGHT_1 * _size(memory, here + 3 * VECTOR)
            each += WEIGHT_2 * _size(memory, here + 4 * VECTOR)
            each += WEIGHT_3 * _size(memory, here + 5 * VECTOR)
            total += each * half
            memory[to + lane + (part + 1) * LANES] = total
            here += 6 * VECTOR
        for part in range(parts + 1):
            memory[speeds + lane + part * LANES] = _size(memory, here)
            here += VECTOR


def _size(memory: Any, vector: int) -> float:
    x, y, z = memory[vector], memory[vector + Y], memory[vector + Z]
    return math.sqrt(x * x + y * y + z * z)


def curve_stretched(code: Any, at: int, constants: Any, memory: Any) -> int:
    """How many times its rest length a curve is long.

    Members: result, scale, constants: rest length, then the breaks; where velocities go, how many
    parts, where lengths go, how many operands follow, and those of `combined`.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, scale, fixed, slopes = code[at], code[at + 1], code[at + 2], code[at + 3]
        parts, lengths, following = code[at + 4], code[at + 5], code[at + 6]
        at += 7
        measured(code, at, constants, memory, slopes, parts, fixed + 1, lengths)
        for lane in EVERY:
            whole = memory[lengths + lane + parts * LANES]
            memory[to + lane] = whole / (constants[fixed] * memory[scale + lane])
        at += following
    return at


def parameter(
    constants: Any,
    memory: Any,
    curve: int,
    degree: int,
    stretches: int,
    form: int,
    lengths: int,
    parts: int,
    breaks: int,
    fraction: float,
    whole: float,
) -> float:
    """The parameter at a fraction of the arc length. `curve` and `lengths` are of one lane."""
    length = memory[lengths + parts * LANES]
    wanted = fraction * length
    part = 0
    while part + 1 < parts and memory[lengths + (part + 1) * LANES] <= wanted:
        part += 1
    here = lengths + part * LANES
    before, across = memory[here], memory[here + LANES] - memory[here]
    start = constants[breaks + part]
    width = constants[breaks + part + 1] - start
    if across <= 1e-14 * length:
        share = 0.0
    else:
        share = (wanted - before) / across
        mean = across / width
        here += (parts + 1) * LANES
        leave = mean / max(memory[here], 1e-3 * mean)
        arrive = mean / max(memory[here + LANES], 1e-3 * mean)
        rest = 1.0 - share
        share += share * rest * ((leave - 1.0) * rest - (arrive - 1.0) * share)
    u: float = start + width * clipped(share, 0.0, 1.0)
    for _ in range(REFINED):
        fast = speed(constants, memory, curve, degree, stretches, form, u)
        half = (u - start) * 0.5
        total = 0.0
        for k in range(3):
            node = NODE_1 if k == 0 else NODE_2 if k == 1 else NODE_3
            weight = WEIGHT_1 if k == 0 else WEIGHT_2 if k == 1 else WEIGHT_3
            low, high = start + half * (1.0 - node), start + half * (1.0 + node)
            total += weight * (
                speed(constants, memory, curve, degree, stretches, form, low)
                + speed(constants, memory, curve, degree, stretches, form, high)
            )
        if fast > 1e-12 * whole:
            u = clipped(u - (before + total * half - wanted) / fast, start, start + width)
    return u
