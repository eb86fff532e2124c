"""The curve that a chain rides on: places and velocities, beyond its end as well.

In come the operands of `ridden` (`code` from `at`) and parameters, in samples or one by one. Past
the last knot the curve runs on along its end tangent, whose velocity lies in `ending`.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import ADDRESS
from somite.evaluate.scalar.curve import polynomial
from somite.evaluate.scalar.lanes import (
    EVERY,
    PLACE,
    PLACE_Y,
    PLACE_Z,
    SAMPLE,
    VECTOR,
    VELOCITY,
    VELOCITY_Y,
    VELOCITY_Z,
    Y,
    Z,
)

CLOSE = 1e-12
"""How near, in lengths of the whole curve, a bone's end must come to its ball."""
FARTHEST = 1e6
"""Parameters beyond which nothing is looked for."""


def prepared(code: Any, at: int, constants: Any, memory: Any, ending: int, whole: int) -> None:
    """The length of the control polygon, and the velocity with which the curve runs on."""
    points, count = code[at + 10], code[at + 11]
    curve, degree, stretches, form = code[at + 12], code[at + 13], code[at + 14], code[at + 15]
    end = constants[form + stretches]
    for lane in EVERY:
        here, total = points + lane, 0.0
        for _ in range(count - 1):
            total += _leg(memory, here)
            here += VECTOR
        memory[whole + lane] = total
        _, _, _, x, y, z = polynomial(constants, memory, curve + lane, degree, stretches, form, end)
        least = 1e-10 * total
        if x * x + y * y + z * z <= least * least:
            x, y, z = 1.0, 0.0, 0.0
            here = points + lane
            for _ in range(count - 1):
                if _leg(memory, here) > least:
                    x = memory[here + VECTOR] - memory[here]
                    y = memory[here + VECTOR + Y] - memory[here + Y]
                    z = memory[here + VECTOR + Z] - memory[here + Z]
                here += VECTOR
        memory[ending + lane] = x
        memory[ending + lane + Y] = y
        memory[ending + lane + Z] = z


def _leg(memory: Any, point: int) -> float:
    """From a vector to the next one."""
    x = memory[point + VECTOR] - memory[point]
    y = memory[point + VECTOR + Y] - memory[point + Y]
    z = memory[point + VECTOR + Z] - memory[point + Z]
    return math.sqrt(x * x + y * y + z * z)


def evaluated(
    code: Any, at: int, constants: Any, memory: Any, ending: int, sample: int, count: int
) -> None:
    """Places and velocities of so many samples at their parameters, beyond the end as well."""
    curve, degree, stretches, form = code[at + 12], code[at + 13], code[at + 14], code[at + 15]
    if degree == 3 and stretches == 1:
        _evaluated_cubic(constants, memory, ending, sample, count, curve, form)
        return
    end = constants[form + stretches]
    for _ in range(count):
        for lane in EVERY:
            here = sample + lane
            inside = min(memory[here], end)
            over = memory[here] - inside
            x, y, z, a, b, c = polynomial(
                constants, memory, curve + lane, degree, stretches, form, inside
            )
            if over > 0.0:
                there = ending + lane
                a, b, c = memory[there], memory[there + Y], memory[there + Z]
                x += a * over
                y += b * over
                z += c * over
            memory[here + PLACE] = x
            memory[here + PLACE_Y] = y
            memory[here + PLACE_Z] = z
            memory[here + VELOCITY] = a
            memory[here + VELOCITY_Y] = b
            memory[here + VELOCITY_Z] = c
        sample += SAMPLE


def _evaluated_cubic(
    constants: Any, memory: Any, ending: int, sample: int, count: int, curve: int, form: int
) -> None:
    """The same of the commonest curve, one cubic, without a branch."""
    start, end = constants[form], constants[form + 1]
    linear, square, cube = curve + VECTOR, curve + 2 * VECTOR, curve + 3 * VECTOR
    ending &= ADDRESS
    for k in range(count):
        first = (sample + k * SAMPLE) & ADDRESS
        for lane in EVERY:
            value = memory[first + lane]
            inside = min(value, end)
            over = value - inside
            h = inside - start
            here = ending + lane
            e, f, g = memory[here], memory[here + Y], memory[here + Z]
            here = cube + lane
            a, b, c = memory[here], memory[here + Y], memory[here + Z]
            here = square + lane
            x = a * h + memory[here]
            y = b * h + memory[here + Y]
            z = c * h + memory[here + Z]
            a = a * h + x
            b = b * h + y
            c = c * h + z
            here = linear + lane
            x = x * h + memory[here]
            y = y * h + memory[here + Y]
            z = z * h + memory[here + Z]
            a = a * h + x
            b = b * h + y
            c = c * h + z
            here = curve + lane
            x = x * h + memory[here] + e * over
            y = y * h + memory[here + Y] + f * over
            z = z * h + memory[here + Z] + g * over
            here = first + lane
            memory[here + PLACE] = x
            memory[here + PLACE_Y] = y
            memory[here + PLACE_Z] = z
            memory[here + VELOCITY] = e if over > 0.0 else a
            memory[here + VELOCITY_Y] = f if over > 0.0 else b
            memory[here + VELOCITY_Z] = g if over > 0.0 else c


def placed(
    code: Any, at: int, constants: Any, memory: Any, ending: int, lane: int, u: float
) -> tuple[float, float, float, float, float, float]:
    """Place and velocity at one parameter of one lane, beyond the end as well."""
    stretches, form = code[at + 14], code[at + 15]
    inside = min(u, constants[form + stretches])
    x, y, z, a, b, c = polynomial(
        constants, memory, code[at + 12] + lane, code[at + 13], stretches, form, inside
    )
    if u > inside:
        a, b, c = memory[ending + lane], memory[ending + lane + Y], memory[ending + lane + Z]
        x += a * (u - inside)
        y += b * (u - inside)
        z += c * (u - inside)
    return x, y, z, a, b, c
