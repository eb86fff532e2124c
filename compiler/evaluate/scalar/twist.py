"""Twisting, one pose at a time: angles read at a chain's ends, and spread along it."""

from __future__ import annotations

from typing import Any

from somite.evaluate.scalar.algebra import half_turn, product, rounded, twist_angle
from somite.evaluate.scalar.lanes import EVERY, TURN, TURN_W, TURN_Y, TURN_Z

_TAU = 6.283185307179586


def twist_read(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Angles from untwisted ends to leaders, about an axis.

    Members: angle, untwisted slot, leader, what its path has turned or 0, what of that to leave out
    or 0, constants: the leader's offset (4) and the axis (3).
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, untwisted, leader = code[at], code[at + 1], code[at + 2]
        turned, ignored, fixed = code[at + 3], code[at + 4], code[at + 5]
        at += 6
        for lane in EVERY:
            here = leader + lane
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
            here = untwisted + lane
            x, y, z, w = product(
                -memory[here + TURN],
                -memory[here + TURN_Y],
                -memory[here + TURN_Z],
                memory[here + TURN_W],
                x,
                y,
                z,
                w,
            )
            angle = twist_angle(
                x, y, z, w, constants[fixed + 4], constants[fixed + 5], constants[fixed + 6]
            )
            if turned:
                angle += _TAU * rounded((memory[turned + lane] - angle) / _TAU)
            if ignored:
                angle -= memory[ignored + lane]
            memory[to + lane] = angle
    return at


def twisted(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Slots turned about an axis by their share of two ends' angles.

    Members: slot, untwisted slot, end's angle, start's angle, constants: share, axis (3).
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, source, end, start = code[at], code[at + 1], code[at + 2], code[at + 3]
        fixed = code[at + 4]
        at += 5
        share = constants[fixed]
        i, j, k = constants[fixed + 1], constants[fixed + 2], constants[fixed + 3]
        for lane in EVERY:
            sine, cosine = half_turn(
                share * memory[end + lane] + (1.0 - share) * memory[start + lane]
            )
            here = source + lane
            x, y, z, w = product(
                memory[here + TURN],
                memory[here + TURN_Y],
                memory[here + TURN_Z],
                memory[here + TURN_W],
                i * sine,
                j * sine,
                k * sine,
                cosine,
            )
            here = to + lane
            memory[here + TURN] = x
            memory[here + TURN_Y] = y
            memory[here + TURN_Z] = z
            memory[here + TURN_W] = w
    return at
