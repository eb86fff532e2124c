"""First crossings of a curve and a ball, looked for one after another: slow, and always right.

In comes one lane; its stations are written anew, each from the one before. Operands are `ridden`'s.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.lanes import SAMPLE, Y, Z
from somite.evaluate.scalar.path import CLOSE, FARTHEST, placed

REFINEMENTS = 40
"""Steps, halving or better, that a bracketed crossing is refined by."""
LOOKS = 32
"""Places of every stretch between knots at which a first crossing is looked for."""


def crossed_one_by_one(
    code: Any,
    at: int,
    constants: Any,
    memory: Any,
    ending: int,
    whole: int,
    stations: int,
    lane: int,
) -> None:
    """First crossings, each looked for from the one before."""
    bones, scale, fixed = code[at + 9], memory[code[at + 4] + lane], code[at + 17]
    radii = fixed + 7 + 2 * (bones + 1)
    memory[stations + lane] = constants[fixed + 7]
    for k in range(bones):
        here = stations + lane + k * SAMPLE
        radius = constants[radii + k] * scale
        memory[here + SAMPLE] = _crossing(
            code, at, constants, memory, ending, whole, lane, memory[here], radius
        )


def _crossing(
    code: Any,
    at: int,
    constants: Any,
    memory: Any,
    ending: int,
    whole: int,
    lane: int,
    start: float,
    radius: float,
) -> float:
    """Where the curve first leaves the ball about its place at `start`."""
    stretches, form = code[at + 14], code[at + 15]
    x, y, z, _, _, _ = placed(code, at, constants, memory, ending, lane, start)
    low = constants[form]
    for stretch in range(stretches):
        begin, end = constants[form + stretch], constants[form + stretch + 1]
        for j in range(1, LOOKS + 1):
            high = begin + (end - begin) * j / LOOKS
            a, b, c, _, _, _ = placed(code, at, constants, memory, ending, lane, high)
            a -= x
            b -= y
            c -= z
            if high > start and a * a + b * b + c * c >= radius * radius:
                return _refined(
                    code,
                    at,
                    constants,
                    memory,
                    ending,
                    CLOSE * memory[whole + lane],
                    lane,
                    x,
                    y,
                    z,
                    radius,
                    max(start, low),
                    high,
                )
            low = high
    return _past_the_end(code, at, constants, memory, ending, lane, x, y, z, radius)


def _refined(
    code: Any,
    at: int,
    constants: Any,
    memory: Any,
    ending: int,
    close: float,
    lane: int,
    x: float,
    y: float,
    z: float,
    radius: float,
    low: float,
    high: float,
) -> float:
    """The crossing between a parameter inside the ball and one outside it."""
    u = (low + high) * 0.5
    for _ in range(REFINEMENTS):
        px, py, pz, vx, vy, vz = placed(code, at, constants, memory, ending, lane, u)
        px -= x
        py -= y
        pz -= z
        apart = math.sqrt(px * px + py * py + pz * pz)
        miss = apart - radius
        if miss < 0.0:
            low = u
        else:
            high = u
        if abs(miss) <= close:
            break
        slope = (px * vx + py * vy + pz * vz) / max(apart, 1e-300)
        following = low
        if slope > 0.0 and abs(miss) < 1e9 * slope:
            following = u - miss / slope
        u = following if low < following < high else (low + high) * 0.5
    return u


def _past_the_end(
    code: Any,
    at: int,
    constants: Any,
    memory: Any,
    ending: int,
    lane: int,
    x: float,
    y: float,
    z: float,
    radius: float,
) -> float:
    """The parameter on the end tangent where it leaves the ball, which holds the end."""
    end: float = constants[code[at + 15] + code[at + 14]]
    px, py, pz, _, _, _ = placed(code, at, constants, memory, ending, lane, end)
    px -= x
    py -= y
    pz -= z
    vx, vy, vz = memory[ending + lane], memory[ending + lane + Y], memory[ending + lane + Z]
    size = math.sqrt(vx * vx + vy * vy + vz * vz)
    along = (px * vx + py * vy + pz * vz) / size
    inside = max(along * along + radius * radius - (px * px + py * py + pz * pz), 0.0)
    found: float = end + max(math.sqrt(inside) - along, 0.0) / size
    return min(found, FARTHEST)
