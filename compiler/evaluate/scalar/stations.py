"""Where on its curve the joints of a riding chain are: parameters by bones, fractions, or between.

All joints of all lanes are moved together by Newton's method; where that may have found another
crossing than the first, `somite.evaluate.scalar.crossing` looks again. Operands are `ridden`'s.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import ADDRESS, clipped
from somite.evaluate.scalar.crossing import crossed_one_by_one
from somite.evaluate.scalar.curve import measured, parameter
from somite.evaluate.scalar.lanes import (
    EVERY,
    LANES,
    PLACE,
    PLACE_Y,
    PLACE_Z,
    SAMPLE,
    STEP,
    STEP_Y,
    VECTOR,
    VELOCITY,
    VELOCITY_Y,
    VELOCITY_Z,
    Y,
    Z,
)
from somite.evaluate.scalar.path import CLOSE, FARTHEST, evaluated, placed

STEPS = 9
"""Most steps of Newton's method on all joints at once; four or five do."""
BETWEEN = 8
"""Into so many parts a bone's stretch of the curve is divided to see that it is the first."""


def stationed(
    code: Any,
    at: int,
    constants: Any,
    memory: Any,
    ending: int,
    whole: int,
    stations: int,
    lengths: int,
) -> None:
    """Parameters of the joints and the end: by bones, by fractions, or between the two."""
    bones, stretch = code[at + 9], code[at + 5]
    least, most = 1.0, 0.0
    for lane in EVERY:
        least = min(least, memory[stretch + lane])
        most = max(most, memory[stretch + lane])
    if least < 1.0:
        _crossed(code, at, constants, memory, ending, whole, stations)
    if most <= 0.0:
        return
    parts, breaks = code[at + 18], code[at + 19]
    measured(code, at + 22, constants, memory, code[at + 20], parts, breaks, lengths)
    fractions = code[at + 17] + 7 + bones + 1
    curve, degree, stretches, form = code[at + 12], code[at + 13], code[at + 14], code[at + 15]
    for lane in EVERY:
        share = clipped(memory[stretch + lane], 0.0, 1.0)
        if share > 0.0:
            for k in range(bones + 1):
                if k == 0:
                    spread = constants[breaks]
                elif k == bones:
                    spread = constants[breaks + parts]
                else:
                    spread = parameter(
                        constants,
                        memory,
                        curve + lane,
                        degree,
                        stretches,
                        form,
                        lengths + lane,
                        parts,
                        breaks,
                        constants[fractions + k],
                        memory[whole + lane],
                    )
                here = stations + lane + k * SAMPLE
                if share >= 1.0:
                    memory[here] = spread
                else:
                    memory[here] += (spread - memory[here]) * share


def _crossed(
    code: Any, at: int, constants: Any, memory: Any, ending: int, whole: int, stations: int
) -> None:
    """Parameters of joints that lie a bone apart each: first crossings."""
    bones, fixed = code[at + 9], code[at + 17]
    worst = whole + LANES
    for k in range(bones + 1):
        for lane in EVERY:
            memory[stations + lane + k * SAMPLE] = constants[fixed + 7 + k]
    evaluated(code, at, constants, memory, ending, stations, 1)
    for step in range(STEPS):
        evaluated(code, at, constants, memory, ending, stations + SAMPLE, bones)
        _missed(code, at, constants, memory, whole, stations)
        unsettled = 0
        for lane in EVERY:
            if memory[worst + lane] > CLOSE * memory[whole + lane]:
                unsettled += 1
        if unsettled == 0 or step == STEPS - 1:
            break
        _moved_by(memory, bones, whole, stations, constants[fixed + 7])
    if not _doubtful(code, at, memory, whole, stations):
        return
    for lane in EVERY:
        sure = memory[worst + lane] <= CLOSE * memory[whole + lane]
        for k in range(bones):
            here = stations + lane + k * SAMPLE
            sure = sure and memory[here + SAMPLE] > memory[here]
        if sure and not _gentle(memory, code[at + 10] + lane, code[at + 11]):
            sure = _inside(code, at, constants, memory, ending, stations, lane)
        if not sure:
            crossed_one_by_one(code, at, constants, memory, ending, whole, stations, lane)


def _missed(code: Any, at: int, constants: Any, memory: Any, whole: int, stations: int) -> None:
    """How far each bone's end is off its ball, as a step of the parameter, and how much of the
    step before it goes on; the worst miss of all in the row after `whole`.
    """
    bones, scale = code[at + 9], code[at + 4]
    radii = code[at + 17] + 7 + 2 * (bones + 1)
    whole &= ADDRESS
    worst = whole + LANES
    for lane in EVERY:
        memory[worst + lane] = 0.0
    for k in range(bones):
        radius = constants[radii + k]
        first = (stations + k * SAMPLE) & ADDRESS
        for lane in EVERY:
            here = first + lane
            there = here + SAMPLE
            x = memory[there + PLACE] - memory[here + PLACE]
            y = memory[there + PLACE_Y] - memory[here + PLACE_Y]
            z = memory[there + PLACE_Z] - memory[here + PLACE_Z]
            apart = math.sqrt(x * x + y * y + z * z)
            miss = apart - radius * memory[scale + lane]
            memory[worst + lane] = max(memory[worst + lane], abs(miss))
            behind = (
                x * memory[here + VELOCITY]
                + y * memory[here + VELOCITY_Y]
                + z * memory[here + VELOCITY_Z]
            )
            ahead = (
                x * memory[there + VELOCITY]
                + y * memory[there + VELOCITY_Y]
                + z * memory[there + VELOCITY_Z]
            )
            steep = abs(ahead) > 1e-9 * apart * memory[whole + lane]
            divisor = 1.0 / (ahead if steep else 1.0)
            divisor = divisor if steep else 0.0
            memory[here + STEP] = miss * apart * divisor
            memory[here + STEP_Y] = behind * divisor


def _moved_by(memory: Any, bones: int, whole: int, stations: int, first: float) -> None:
    """All parameters moved by a step of Newton's method, where it has not settled."""
    whole &= ADDRESS
    worst = whole + LANES
    moved = worst + LANES
    for lane in EVERY:
        memory[moved + lane] = 0.0
    for k in range(bones):
        station = (stations + k * SAMPLE) & ADDRESS
        for lane in EVERY:
            here = station + lane
            by = memory[here + STEP_Y] * memory[moved + lane] - memory[here + STEP]
            memory[moved + lane] = by
            old = memory[here + SAMPLE]
            new = min(max(old + by, first), FARTHEST)
            close = memory[worst + lane] <= CLOSE * memory[whole + lane]
            memory[here + SAMPLE] = old if close else new


def _doubtful(code: Any, at: int, memory: Any, whole: int, stations: int) -> bool:
    """Whether in any pose the parameters are to be looked at one by one.

    They are not where all have settled, rise, and the curve is gentle: see `_gentle`.
    """
    bones, points, count = code[at + 9], code[at + 10], code[at + 11]
    whole &= ADDRESS
    worst = whole + LANES
    least = worst + LANES
    if count > 6:
        return True
    for lane in EVERY:
        memory[least + lane] = CLOSE * memory[whole + lane] - memory[worst + lane]
        memory[least + lane] += 1e-300  # settled at the very limit is settled
    for k in range(bones):
        station = (stations + k * SAMPLE) & ADDRESS
        for lane in EVERY:
            here = station + lane
            memory[least + lane] = min(memory[least + lane], memory[here + SAMPLE] - memory[here])
    for i in range(count - 1):
        for j in range(i):
            first, second = (points + i * VECTOR) & ADDRESS, (points + j * VECTOR) & ADDRESS
            for lane in EVERY:
                along = _legs_along(memory, first + lane, second + lane)
                memory[least + lane] = min(memory[least + lane], along)
    doubtful = 0
    for lane in EVERY:
        doubtful += 0 if memory[least + lane] > 0.0 else 1
    return doubtful > 0


def _gentle(memory: Any, points: int, count: int) -> bool:
    """Whether the curve can not come back toward where it was."""
    if count <= 6:
        here = points
        for _ in range(count - 1):
            there = points
            while there < here:
                if _legs_along(memory, here, there) <= 0.0:
                    return False
                there += VECTOR
            here += VECTOR
        return True
    last = points + (count - 1) * VECTOR
    x, y, z = (
        memory[last] - memory[points],
        memory[last + Y] - memory[points + Y],
        memory[last + Z] - memory[points + Z],
    )
    chord = x * x + y * y + z * z
    here = points
    for _ in range(count - 1):
        along = (
            x * (memory[here + VECTOR] - memory[here])
            + y * (memory[here + VECTOR + Y] - memory[here + Y])
            + z * (memory[here + VECTOR + Z] - memory[here + Z])
        )
        if along <= 0.0 or along * along <= 0.5 * _legs_along(memory, here, here) * chord:
            return False
        here += VECTOR
    return True


def _legs_along(memory: Any, first: int, second: int) -> float:
    """The scalar product of the legs from two control points on."""
    first_next, second_next = first + VECTOR, second + VECTOR
    x: float = (memory[first_next] - memory[first]) * (memory[second_next] - memory[second])
    y: float = (memory[first_next + Y] - memory[first + Y]) * (
        memory[second_next + Y] - memory[second + Y]
    )
    z: float = (memory[first_next + Z] - memory[first + Z]) * (
        memory[second_next + Z] - memory[second + Z]
    )
    return x + y + z


def _inside(
    code: Any, at: int, constants: Any, memory: Any, ending: int, stations: int, lane: int
) -> bool:
    """Whether places between two joints lie within the bone's ball about the first."""
    bones, scale = code[at + 9], memory[code[at + 4] + lane]
    radii = code[at + 17] + 7 + 2 * (bones + 1)
    for k in range(bones):
        first, last = (
            memory[stations + lane + k * SAMPLE],
            memory[stations + lane + (k + 1) * SAMPLE],
        )
        x, y, z, _, _, _ = placed(code, at, constants, memory, ending, lane, first)
        limit = constants[radii + k] * scale * (1.0 + 1e-9)
        for j in range(1, BETWEEN):
            between = first + (last - first) * (j / BETWEEN)
            a, b, c, _, _, _ = placed(code, at, constants, memory, ending, lane, between)
            a -= x
            b -= y
            c -= z
            if a * a + b * b + c * c > limit * limit:
                return False
    return True
