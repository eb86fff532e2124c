"""The smallest turn that lays an axis of a mount along a way: what facing and reaching begin with.

In come ways to a place, out go unit ways and quaternions. An axis that already lies at the place
says nothing of a way; then the axis itself is the way.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import ADDRESS, arc, rotated
from somite.evaluate.scalar.lanes import EVERY, TURN, TURN_W, TURN_Y, TURN_Z, W, Y, Z


def swung(
    constants: Any, memory: Any, axis: int, near: float, mount: int, mark: int, way: int, turn: int
) -> None:
    """Swings of an axis (3 constants) of mounts onto marks, nearer than which nothing is said.

    Writes the way, a vector and then its length, and the quaternion.
    """
    i, j, k = constants[axis], constants[axis + 1], constants[axis + 2]
    way &= ADDRESS
    turn &= ADDRESS
    behind = 0
    for lane in EVERY:
        here, there = mount + lane, mark + lane
        x, y = memory[here + TURN], memory[here + TURN_Y]
        z, w = memory[here + TURN_Z], memory[here + TURN_W]
        ox, oy, oz = rotated(x, y, z, w, i, j, k)
        ax = memory[there] - memory[here]
        ay = memory[there + Y] - memory[here + Y]
        az = memory[there + Z] - memory[here + Z]
        distance = math.sqrt(ax * ax + ay * ay + az * az)
        vague = distance <= near
        size = 1.0 if vague else distance
        ax = ox if vague else ax / size
        ay = oy if vague else ay / size
        az = oz if vague else az / size
        cosine = ox * ax + oy * ay + oz * az
        behind += 1 if cosine < -0.7 else 0
        size = math.sqrt(max(cosine + 1.0, 0.25) * 2.0)
        here, there = way + lane, turn + lane
        memory[here] = ax
        memory[here + Y] = ay
        memory[here + Z] = az
        memory[here + W] = distance
        memory[there] = (oy * az - oz * ay) / size
        memory[there + Y] = (oz * ax - ox * az) / size
        memory[there + Z] = (ox * ay - oy * ax) / size
        memory[there + W] = size * 0.5
    if behind:
        for lane in EVERY:
            _swung_behind(constants, memory, axis, mount + lane, way + lane, turn + lane)


def _swung_behind(constants: Any, memory: Any, axis: int, mount: int, way: int, turn: int) -> None:
    """The same onto a way that lies behind the axis, where the short form loses digits."""
    a, b, c = rotated(
        memory[mount + TURN],
        memory[mount + TURN_Y],
        memory[mount + TURN_Z],
        memory[mount + TURN_W],
        constants[axis],
        constants[axis + 1],
        constants[axis + 2],
    )
    x, y, z, w = arc(a, b, c, memory[way], memory[way + Y], memory[way + Z])
    memory[turn] = x
    memory[turn + Y] = y
    memory[turn + Z] = z
    memory[turn + W] = w
