"""Facing, one pose at a time: an axis to a mark, another as near up as it can be."""

from __future__ import annotations

from typing import Any

from somite.evaluate.scalar.algebra import half_of, product, rotated
from somite.evaluate.scalar.lanes import EVERY, TURN, TURN_W, TURN_Y, TURN_Z, Y, Z
from somite.evaluate.scalar.swing import swung


def faced(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Turns of mounts that face marks, as `somite.evaluate.face` tells.

    Members: slot, mount, mark, slot whose axis is up, room for a vector and a number,
    constants: axis, own up, up's axis (3 each), rest offset (4), and how near a mark says nothing.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, mount, mark, above = code[at], code[at + 1], code[at + 2], code[at + 3]
        way, fixed = code[at + 4], code[at + 5]
        at += 6
        swung(constants, memory, fixed, constants[fixed + 13], mount, mark, way, to + TURN)
        _rolled(constants, memory, fixed, to, mount, above, way)
    return at


def _rolled(
    constants: Any, memory: Any, fixed: int, to: int, mount: int, above: int, way: int
) -> None:
    """The mount's turn after the swing, rolled about the way until its up is as near as can be."""
    i, j, k = constants[fixed], constants[fixed + 1], constants[fixed + 2]
    e, f, g = constants[fixed + 3], constants[fixed + 4], constants[fixed + 5]
    a, b, c = constants[fixed + 6], constants[fixed + 7], constants[fixed + 8]
    p, q = constants[fixed + 9], constants[fixed + 10]
    s, r = constants[fixed + 11], constants[fixed + 12]
    for lane in EVERY:
        here, there = mount + lane, to + lane
        x, y, z, w = product(
            memory[there + TURN],
            memory[there + TURN_Y],
            memory[there + TURN_Z],
            memory[there + TURN_W],
            memory[here + TURN],
            memory[here + TURN_Y],
            memory[here + TURN_Z],
            memory[here + TURN_W],
        )
        here = above + lane
        ux, uy, uz = rotated(
            memory[here + TURN],
            memory[here + TURN_Y],
            memory[here + TURN_Z],
            memory[here + TURN_W],
            a,
            b,
            c,
        )
        cx, cy, cz = rotated(x, y, z, w, e, f, g)
        here = way + lane
        ax, ay, az = memory[here], memory[here + Y], memory[here + Z]
        along = ux * ax + uy * ay + uz * az
        cosine = cx * ux + cy * uy + cz * uz
        sine = (ay * cz - az * cy) * ux + (az * cx - ax * cz) * uy + (ax * cy - ay * cx) * uz
        level = 1.0 - along * along < 1e-20
        cosine, sine = half_of(1.0 if level else cosine, 0.0 if level else sine)
        x, y, z, w = product(x, y, z, w, i * sine, j * sine, k * sine, cosine)
        x, y, z, w = product(x, y, z, w, p, q, s, r)
        memory[there + TURN] = x
        memory[there + TURN_Y] = y
        memory[there + TURN_Z] = z
        memory[there + TURN_W] = w
