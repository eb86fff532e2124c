"""Frames carried along a curve without twisting, in steps between the joints of a riding chain.

In come stations, out go samples with unit tangents, the turn of each step, and frames at joints.
Operands are `ridden`'s; what is meant is told in `somite.evaluate.ride`.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import ADDRESS, arc, product, rotated
from somite.evaluate.scalar.lanes import (
    EVERY,
    PLACE,
    PLACE_Y,
    PLACE_Z,
    QUATERNION,
    SAMPLE,
    STEP,
    STEP_W,
    STEP_Y,
    STEP_Z,
    TURN,
    TURN_W,
    TURN_Y,
    TURN_Z,
    VELOCITY,
    VELOCITY_Y,
    VELOCITY_Z,
    W,
    Y,
    Z,
)
from somite.evaluate.scalar.path import evaluated

SUBSTEPS = 4
"""Steps of a carried frame from one joint to the next. Rest rolls are taken with as many, so that
the rest is exact whatever their number."""


def walked(
    code: Any,
    at: int,
    constants: Any,
    memory: Any,
    ending: int,
    whole: int,
    stations: int,
    samples: int,
) -> None:
    """Places and unit tangents at the joints and in steps between."""
    bones = code[at + 9]
    count = bones * SUBSTEPS + 1
    for k in range(bones):
        station = (stations + k * SAMPLE) & ADDRESS
        sample = (samples + k * SUBSTEPS * SAMPLE) & ADDRESS
        for lane in EVERY:
            first = memory[station + lane]
            across = (memory[station + lane + SAMPLE] - first) * (1.0 / SUBSTEPS)
            here = sample + lane
            memory[here] = first
            memory[here + SAMPLE] = first + across
            memory[here + 2 * SAMPLE] = first + across * 2.0
            memory[here + 3 * SAMPLE] = first + across * 3.0
    for lane in EVERY:
        last = memory[stations + lane + bones * SAMPLE]
        memory[samples + lane + (count - 1) * SAMPLE] = last
    evaluated(code, at, constants, memory, ending, samples, count)
    whole &= ADDRESS
    ending &= ADDRESS
    for k in range(count):
        sample = (samples + k * SAMPLE) & ADDRESS
        for lane in EVERY:
            here, there = sample + lane, ending + lane
            x = memory[here + VELOCITY]
            y = memory[here + VELOCITY_Y]
            z = memory[here + VELOCITY_Z]
            e, f, g = memory[there], memory[there + Y], memory[there + Z]
            least = 1e-12 * memory[whole + lane]
            still = x * x + y * y + z * z <= least * least
            x = e if still else x
            y = f if still else y
            z = g if still else z
            size = 1.0 / math.sqrt(x * x + y * y + z * z)
            memory[here + VELOCITY] = x * size
            memory[here + VELOCITY_Y] = y * size
            memory[here + VELOCITY_Z] = z * size


def stepped(memory: Any, count: int, samples: int) -> None:
    """Turns, of any length, that carry a frame over each step without twisting it."""
    backward = 0
    for k in range(count):
        sample = (samples + k * SAMPLE) & ADDRESS
        for lane in EVERY:
            here = sample + lane
            there = here + SAMPLE
            vx = memory[there + PLACE] - memory[here + PLACE]
            vy = memory[there + PLACE_Y] - memory[here + PLACE_Y]
            vz = memory[there + PLACE_Z] - memory[here + PLACE_Z]
            ax, bx = memory[here + VELOCITY], memory[there + VELOCITY]
            ay, by = memory[here + VELOCITY_Y], memory[there + VELOCITY_Y]
            az, bz = memory[here + VELOCITY_Z], memory[there + VELOCITY_Z]
            along = vx * (ax + bx) + vy * (ay + by) + vz * (az + bz)
            wx, wy, wz = bx - ax, by - ay, bz - az
            memory[here + STEP] = vy * wz - vz * wy
            memory[here + STEP_Y] = vz * wx - vx * wz
            memory[here + STEP_Z] = vx * wy - vy * wx
            memory[here + STEP_W] = along
            backward += 0 if along > 0.0 else 1
    if backward:
        for k in range(count):
            for lane in EVERY:
                _straightened(memory, samples + lane + k * SAMPLE)


def _straightened(memory: Any, here: int) -> None:
    """A step that does not go ahead turns by the shortest arc, if it is one at all."""
    i, j, k, r = (
        memory[here + STEP],
        memory[here + STEP_Y],
        memory[here + STEP_Z],
        memory[here + STEP_W],
    )
    if r > 0.0:
        return
    there = here + SAMPLE
    x, y, z = memory[there + PLACE], memory[there + PLACE_Y], memory[there + PLACE_Z]
    vx, vy, vz = (
        x - memory[here + PLACE],
        y - memory[here + PLACE_Y],
        z - memory[here + PLACE_Z],
    )
    square = vx * vx + vy * vy + vz * vz
    if square <= 1e-28 * (x * x + y * y + z * z) or i * i + j * j + k * k + r * r <= 1e-24 * square:
        i, j, k, r = arc(
            memory[here + VELOCITY],
            memory[here + VELOCITY_Y],
            memory[here + VELOCITY_Z],
            memory[there + VELOCITY],
            memory[there + VELOCITY_Y],
            memory[there + VELOCITY_Z],
        )
        memory[here + STEP] = i
        memory[here + STEP_Y] = j
        memory[here + STEP_Z] = k
        memory[here + STEP_W] = r


def begun(code: Any, at: int, constants: Any, memory: Any, sample: int, frame: int) -> None:
    """The first frame: the carrier's, swung onto the curve."""
    fixed = code[at + 17]
    for lane in EVERY:
        here, there = code[at + 3] + lane, sample + lane
        x, y, z, w = product(
            memory[here + TURN],
            memory[here + TURN_Y],
            memory[here + TURN_Z],
            memory[here + TURN_W],
            constants[fixed],
            constants[fixed + 1],
            constants[fixed + 2],
            constants[fixed + 3],
        )
        a, b, c = rotated(
            x, y, z, w, constants[fixed + 4], constants[fixed + 5], constants[fixed + 6]
        )
        i, j, k, r = arc(
            a,
            b,
            c,
            memory[there + VELOCITY],
            memory[there + VELOCITY_Y],
            memory[there + VELOCITY_Z],
        )
        x, y, z, w = product(i, j, k, r, x, y, z, w)
        here = frame + lane
        memory[here] = x
        memory[here + Y] = y
        memory[here + Z] = z
        memory[here + W] = w


def carried_on(memory: Any, sample: int, frame: int) -> None:
    """The frame at the next joint, after four steps: their product by halves, made a unit."""
    sample &= ADDRESS
    frame &= ADDRESS
    for lane in EVERY:
        here = sample + lane
        a, b, c, d = (
            memory[here + STEP],
            memory[here + STEP_Y],
            memory[here + STEP_Z],
            memory[here + STEP_W],
        )
        here += SAMPLE
        x, y, z, w = product(
            memory[here + STEP],
            memory[here + STEP_Y],
            memory[here + STEP_Z],
            memory[here + STEP_W],
            a,
            b,
            c,
            d,
        )
        here += SAMPLE
        a, b, c, d = (
            memory[here + STEP],
            memory[here + STEP_Y],
            memory[here + STEP_Z],
            memory[here + STEP_W],
        )
        here += SAMPLE
        a, b, c, d = product(
            memory[here + STEP],
            memory[here + STEP_Y],
            memory[here + STEP_Z],
            memory[here + STEP_W],
            a,
            b,
            c,
            d,
        )
        x, y, z, w = product(a, b, c, d, x, y, z, w)
        size = 1.0 / math.sqrt(x * x + y * y + z * z + w * w)
        here = frame + lane
        x, y, z, w = product(
            x * size,
            y * size,
            z * size,
            w * size,
            memory[here],
            memory[here + Y],
            memory[here + Z],
            memory[here + W],
        )
        here += QUATERNION
        memory[here] = x
        memory[here + Y] = y
        memory[here + Z] = z
        memory[here + W] = w
