"""Following of several leaders, or about an axis, one pose at a time.

Leaders' slots have rest offsets in them already; their weights lie in rows side by side. What is
blended, and how, is told in `somite.evaluate.follow`.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import clipped, product, rounded
from somite.evaluate.scalar.lanes import (
    EVERY,
    LANES,
    TURN,
    TURN_W,
    TURN_Y,
    TURN_Z,
    YY,
    ZZ,
    Y,
    Z,
)
from somite.evaluate.scalar.nodes import ANY, EVEN


def weighed_by_choice(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Weights of which a dial chooses one. Members: weights, dial, how many."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, dial, leaders = code[at], code[at + 1], code[at + 2]
        at += 3
        for lane in EVERY:
            chosen = clipped(rounded(memory[dial + lane]), 0.0, leaders - 1.0)
            for k in range(leaders):
                memory[to + lane + k * LANES] = 1.0 if chosen == k else 0.0
    return at


def chosen_places(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Places of the leader that a dial chooses. Members: slot, dial, how many, leaders' slots."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, dial, leaders = code[at], code[at + 1], code[at + 2]
        at += 3
        for lane in EVERY:
            here = code[at + _chosen(memory[dial + lane], leaders)] + lane
            there = to + lane
            memory[there] = memory[here]
            memory[there + Y] = memory[here + Y]
            memory[there + Z] = memory[here + Z]
        at += leaders
    return at


def chosen_turns(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Turns of the leader that a dial chooses. Members as of `chosen_places`."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, dial, leaders = code[at], code[at + 1], code[at + 2]
        at += 3
        for lane in EVERY:
            here = code[at + _chosen(memory[dial + lane], leaders)] + lane
            there = to + lane
            memory[there + TURN] = memory[here + TURN]
            memory[there + TURN_Y] = memory[here + TURN_Y]
            memory[there + TURN_Z] = memory[here + TURN_Z]
            memory[there + TURN_W] = memory[here + TURN_W]
        at += leaders
    return at


def _chosen(value: float, leaders: int) -> int:
    """Which of so many leaders a dial chooses."""
    return int(clipped(rounded(value), 0.0, leaders - 1.0))


def weighed_between(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Weights of neighbours by a dial. Members: weights, dial, how many, constants (low, rate)."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, dial, leaders, range_of = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        low, rate = constants[range_of], constants[range_of + 1]
        for lane in EVERY:
            there = clipped((memory[dial + lane] - low) * rate, 0.0, leaders - 1.0)
            for k in range(leaders):
                memory[to + lane + k * LANES] = max(0.0, 1.0 - abs(there - k))
    return at


def blended_places(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Places between leaders. Members: slot, weights, how many, leaders' slots."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, weights, leaders = code[at], code[at + 1], code[at + 2]
        at += 3
        for lane in EVERY:
            memory[to + lane] = 0.0
            memory[to + lane + Y] = 0.0
            memory[to + lane + Z] = 0.0
        for k in range(leaders):
            led, share = code[at + k], weights + k * LANES
            for lane in EVERY:
                weight = memory[share + lane]
                here, there = led + lane, to + lane
                memory[there] += memory[here] * weight
                memory[there + Y] += memory[here + Y] * weight
                memory[there + Z] += memory[here + Z] * weight
        at += leaders
    return at


def blended_two(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Turns between two leaders. Members: slot, weights, two leaders' slots."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, weights, first, second = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        for lane in EVERY:
            here = first + lane
            ax, ay = memory[here + TURN], memory[here + TURN_Y]
            az, aw = memory[here + TURN_Z], memory[here + TURN_W]
            here = second + lane
            bx, by = memory[here + TURN], memory[here + TURN_Y]
            bz, bw = memory[here + TURN_Z], memory[here + TURN_W]
            share, other = memory[weights + lane], memory[weights + lane + LANES]
            if ax * bx + ay * by + az * bz + aw * bw < 0.0:
                other = -other
            x = ax * share + bx * other
            y = ay * share + by * other
            z = az * share + bz * other
            w = aw * share + bw * other
            size = math.sqrt(x * x + y * y + z * z + w * w)
            there = to + lane
            memory[there + TURN] = x / size
            memory[there + TURN_Y] = y / size
            memory[there + TURN_Z] = z / size
            memory[there + TURN_W] = w / size
    return at


def blended_turns(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Turns between any number of leaders. Members: slot, weights, how many, leaders' slots.

    Turns are aligned in sign to the heaviest leader's; where the sum vanishes that one is taken.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, weights, leaders = code[at], code[at + 1], code[at + 2]
        at += 3
        for lane in EVERY:
            most, here = memory[weights + lane], code[at] + lane
            for k in range(1, leaders):
                weight = memory[weights + lane + k * LANES]
                if weight > most:
                    most = weight
                    here = code[at + k] + lane
            ax, ay = memory[here + TURN], memory[here + TURN_Y]
            az, aw = memory[here + TURN_Z], memory[here + TURN_W]
            x = y = z = w = 0.0
            for k in range(leaders):
                here = code[at + k] + lane
                bx, by = memory[here + TURN], memory[here + TURN_Y]
                bz, bw = memory[here + TURN_Z], memory[here + TURN_W]
                weight = memory[weights + lane + k * LANES]
                if ax * bx + ay * by + az * bz + aw * bw < 0.0:
                    weight = -weight
                x += bx * weight
                y += by * weight
                z += bz * weight
                w += bw * weight
            square = x * x + y * y + z * z + w * w
            if square < 1e-24:
                x, y, z, w = ax, ay, az, aw
                square = 1.0
            size = math.sqrt(square)
            there = to + lane
            memory[there + TURN] = x / size
            memory[there + TURN_Y] = y / size
            memory[there + TURN_Z] = z / size
            memory[there + TURN_W] = w / size
        at += leaders
    return at


def turned_about(code: Any, at: int, constants: Any, memory: Any) -> int:
    """What leaders have turned about an axis, seen from a parent.

    Members: slot, parent, leader, constants: the axis (3), the leader's rest turn seen from the
    parent (4), the rest offset (4).
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, parent, leader, fixed = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        a, b, c = constants[fixed], constants[fixed + 1], constants[fixed + 2]
        i, j, k = constants[fixed + 3], constants[fixed + 4], constants[fixed + 5]
        r = constants[fixed + 6]
        for lane in EVERY:
            here = parent + lane
            lx, ly, lz, lw = product(
                memory[here + TURN],
                memory[here + TURN_Y],
                memory[here + TURN_Z],
                memory[here + TURN_W],
                i,
                j,
                k,
                r,
            )
            here = leader + lane
            x, y, z, w = product(
                -lx,
                -ly,
                -lz,
                lw,
                memory[here + TURN],
                memory[here + TURN_Y],
                memory[here + TURN_Z],
                memory[here + TURN_W],
            )
            p = x * a + y * b + z * c
            square = w * w + p * p
            if square < 1e-24:
                p = 0.0
                w = 1.0
            else:
                size = math.sqrt(square)
                p /= size
                w /= size
            x, y, z, w = product(lx, ly, lz, lw, a * p, b * p, c * p, w)
            x, y, z, w = product(
                x,
                y,
                z,
                w,
                constants[fixed + 7],
                constants[fixed + 8],
                constants[fixed + 9],
                constants[fixed + 10],
            )
            there = to + lane
            memory[there + TURN] = x
            memory[there + TURN_Y] = y
            memory[there + TURN_Z] = z
            memory[there + TURN_W] = w
    return at


def blended_sizes(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Sizes between leaders.

    Members: kind made and where, weights, how many, kind and address of each. An even size that
    goes into a stretch counts on the diagonal.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        made, to, weights, leaders = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        for row in range(9 if made == ANY else 1):
            for lane in EVERY:
                memory[to + lane + row * LANES] = 0.0
        for k in range(leaders):
            kind, size, share = code[at], code[at + 1], weights + k * LANES
            at += 2
            if kind == ANY:
                for row in range(9):
                    here, there = size + row * LANES, to + row * LANES
                    for lane in EVERY:
                        memory[there + lane] += memory[share + lane] * memory[here + lane]
            elif kind == EVEN:
                for lane in EVERY:
                    _added(memory, to + lane, made, memory[share + lane] * memory[size + lane])
            else:
                for lane in EVERY:
                    _added(memory, to + lane, made, memory[share + lane])
    return at


def _added(memory: Any, to: int, made: int, scale: float) -> None:
    """An even scale added to one, or to the diagonal of a stretch."""
    memory[to] += scale
    if made == ANY:
        memory[to + YY] += scale
        memory[to + ZZ] += scale
