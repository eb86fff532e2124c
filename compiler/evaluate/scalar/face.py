"""Facing, one pose at a time: an axis to a mark, another as near up as it can be."""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import arc, half_of, product, rotated
from somite.evaluate.scalar.lanes import EVERY, TURN, TURN_W, TURN_Y, TURN_Z, Y, Z


def faced(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Turns of mounts that face marks, as `somite.evaluate.face` tells.

    Members: slot, mount, mark, slot whose axis is up, constants: axis, own up, up's axis (3 each),
    rest offset (4), and how near a mark says nothing.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, mount, mark, above, fixed = (
            code[at],
            code[at + 1],
            code[at + 2],
            code[at + 3],
            code[at + 4],
        )
        at += 5
        i, j, k = constants[fixed], constants[fixed + 1], constants[fixed + 2]
        near = constants[fixed + 13]
        for lane in EVERY:
            here, there = mount + lane, mark + lane
            x, y = memory[here + TURN], memory[here + TURN_Y]
            z, w = memory[here + TURN_Z], memory[here + TURN_W]
            ox, oy, oz = rotated(x, y, z, w, i, j, k)
            ax = memory[there] - memory[here]
            ay = memory[there + Y] - memory[here + Y]
            az = memory[there + Z] - memory[here + Z]
            square = ax * ax + ay * ay + az * az
            if square < near * near:
                ax, ay, az = ox, oy, oz
                square = 1.0
            size = math.sqrt(square)
            ax /= size
            ay /= size
            az /= size
            p, q, s, r = arc(ox, oy, oz, ax, ay, az)
            x, y, z, w = product(p, q, s, r, x, y, z, w)
            here = above + lane
            ux, uy, uz = rotated(
                memory[here + TURN],
                memory[here + TURN_Y],
                memory[here + TURN_Z],
                memory[here + TURN_W],
                constants[fixed + 6],
                constants[fixed + 7],
                constants[fixed + 8],
            )
            cx, cy, cz = rotated(
                x, y, z, w, constants[fixed + 3], constants[fixed + 4], constants[fixed + 5]
            )
            along = ux * ax + uy * ay + uz * az
            cosine = cx * ux + cy * uy + cz * uz
            sine = (ay * cz - az * cy) * ux + (az * cx - ax * cz) * uy + (ax * cy - ay * cx) * uz
            if 1.0 - along * along < 1e-20:
                cosine = 1.0
                sine = 0.0
            cosine, sine = half_of(cosine, sine)
            x, y, z, w = product(x, y, z, w, i * sine, j * sine, k * sine, cosine)
            x, y, z, w = product(
                x,
                y,
                z,
                w,
                constants[fixed + 9],
                constants[fixed + 10],
                constants[fixed + 11],
                constants[fixed + 12],
            )
            here = to + lane
            memory[here + TURN] = x
            memory[here + TURN_Y] = y
            memory[here + TURN_Z] = z
            memory[here + TURN_W] = w
    return at
