"""Nodes: places, turns and sizes of slots, from other slots and from channels.

A slot holds a place and a turn. What may be sized has a size besides, which it may share with
others: an even scale, or a matrix A that comes after the turn. Each operation reads how many
members it has, then the operands of each, and gives back where the next operation begins.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import half_turn
from somite.evaluate.scalar.lanes import (
    EVERY,
    LANES,
    TURN,
    TURN_W,
    TURN_Y,
    TURN_Z,
    XY,
    XZ,
    YX,
    YY,
    YZ,
    ZX,
    ZY,
    ZZ,
    W,
    Y,
    Z,
)

ONE, EVEN, ANY = 0, 1, 2
"""Kinds of sizes."""
SMALLEST = 1e-4
"""The least size, as in `somite.evaluate.channels`."""


def angled(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Quaternions from three angles; constants say in which order.

    Members: quaternion, angles, from the first to each axis in the order they are applied (of the
    angles, which is that of the quaternion too), parity.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, angles = code[at], code[at + 1]
        first, second, third = code[at + 2], code[at + 3], code[at + 4]
        parity = constants[code[at + 5]]
        at += 6
        for lane in EVERY:
            si, ci = half_turn(memory[angles + first + lane])
            sj, cj = half_turn(memory[angles + second + lane])
            sk, ck = half_turn(memory[angles + third + lane])
            sk *= parity
            cc = ci * ck
            cs = ci * sk
            sc = si * ck
            ss = si * sk
            memory[to + first + lane] = cj * sc - sj * cs
            memory[to + second + lane] = sj * cc + cj * ss
            memory[to + third + lane] = (cj * cs - sj * sc) * parity
            memory[to + lane + W] = cj * cc + sj * ss
    return at


def carried(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Slots placed at an offset in slots that are not sized, and turned as at rest in others.

    Members: slot, where its place is from, where its turn is from, constants of the rest offset and
    turn (7).
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, source, turned, rest = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        a, b, c = constants[rest], constants[rest + 1], constants[rest + 2]
        i, j, k = constants[rest + 3], constants[rest + 4], constants[rest + 5]
        r = constants[rest + 6]
        for lane in EVERY:
            here = source + lane
            x, y = memory[here + TURN], memory[here + TURN_Y]
            z, w = memory[here + TURN_Z], memory[here + TURN_W]
            p = y * c - z * b
            q = z * a - x * c
            s = x * b - y * a
            p += p
            q += q
            s += s
            px = memory[here] + (a + w * p + (y * s - z * q))
            py = memory[here + Y] + (b + w * q + (z * p - x * s))
            pz = memory[here + Z] + (c + w * s + (x * q - y * p))
            here = turned + lane
            x, y = memory[here + TURN], memory[here + TURN_Y]
            z, w = memory[here + TURN_Z], memory[here + TURN_W]
            there = to + lane
            memory[there] = px
            memory[there + Y] = py
            memory[there + Z] = pz
            memory[there + TURN] = w * i + x * r + y * k - z * j
            memory[there + TURN_Y] = w * j - x * k + y * r + z * i
            memory[there + TURN_Z] = w * k + x * j - y * i + z * r
            memory[there + TURN_W] = w * r - x * i - y * j - z * k
    return at


def free(code: Any, at: int, constants: Any, memory: Any) -> int:
    """As `carried`, of one slot each, then moved and turned by channels.

    Members: slot, carrier, constants of the rest offset and turn (7), move, quaternion.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, source, rest = code[at], code[at + 1], code[at + 2]
        move, turn = code[at + 3], code[at + 4]
        at += 5
        a, b, c = constants[rest], constants[rest + 1], constants[rest + 2]
        i, j, k = constants[rest + 3], constants[rest + 4], constants[rest + 5]
        r = constants[rest + 6]
        for lane in EVERY:
            here = source + lane
            x, y = memory[here + TURN], memory[here + TURN_Y]
            z, w = memory[here + TURN_Z], memory[here + TURN_W]
            p = y * c - z * b
            q = z * a - x * c
            s = x * b - y * a
            p += p
            q += q
            s += s
            px = memory[here] + (a + w * p + (y * s - z * q))
            py = memory[here + Y] + (b + w * q + (z * p - x * s))
            pz = memory[here + Z] + (c + w * s + (x * q - y * p))
            mx = w * i + x * r + y * k - z * j
            my = w * j - x * k + y * r + z * i
            mz = w * k + x * j - y * i + z * r
            mw = w * r - x * i - y * j - z * k
            here = move + lane
            d, e, f = memory[here], memory[here + Y], memory[here + Z]
            p = my * f - mz * e
            q = mz * d - mx * f
            s = mx * e - my * d
            p += p
            q += q
            s += s
            px += d + mw * p + (my * s - mz * q)
            py += e + mw * q + (mz * p - mx * s)
            pz += f + mw * s + (mx * q - my * p)
            here = turn + lane
            x, y, z, w = memory[here], memory[here + Y], memory[here + Z], memory[here + W]
            there = to + lane
            memory[there] = px
            memory[there + Y] = py
            memory[there + Z] = pz
            memory[there + TURN] = mw * x + mx * w + my * z - mz * y
            memory[there + TURN_Y] = mw * y - mx * z + my * w + mz * x
            memory[there + TURN_Z] = mw * z + mx * y - my * x + mz * w
            memory[there + TURN_W] = mw * w - mx * x - my * y - mz * z
    return at


def placed_same(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Places that are another slot's. Members: slot, source."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, source = code[at], code[at + 1]
        at += 2
        for lane in EVERY:
            memory[to + lane] = memory[source + lane]
            memory[to + lane + Y] = memory[source + lane + Y]
            memory[to + lane + Z] = memory[source + lane + Z]
    return at


def placed_rigid(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Places at an offset in a slot that is its turn alone. Members: slot, source, offset (3)."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, source, rest = code[at], code[at + 1], code[at + 2]
        at += 3
        a, b, c = constants[rest], constants[rest + 1], constants[rest + 2]
        for lane in EVERY:
            here = source + lane
            x, y = memory[here + TURN], memory[here + TURN_Y]
            z, w = memory[here + TURN_Z], memory[here + TURN_W]
            p = y * c - z * b
            q = z * a - x * c
            s = x * b - y * a
            p += p
            q += q
            s += s
            px = memory[here] + (a + w * p + (y * s - z * q))
            py = memory[here + Y] + (b + w * q + (z * p - x * s))
            pz = memory[here + Z] + (c + w * s + (x * q - y * p))
            memory[to + lane] = px
            memory[to + lane + Y] = py
            memory[to + lane + Z] = pz
    return at


def placed_scaled(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Places at an offset in a slot with an even scale. Members: slot, source, scale, offset."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, source, size, rest = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        a, b, c = constants[rest], constants[rest + 1], constants[rest + 2]
        for lane in EVERY:
            here, there = source + lane, to + lane
            scale = memory[size + lane]
            x, y = memory[here + TURN], memory[here + TURN_Y]
            z, w = memory[here + TURN_Z], memory[here + TURN_W]
            p = y * c - z * b
            q = z * a - x * c
            s = x * b - y * a
            p += p
            q += q
            s += s
            px = memory[here] + scale * (a + w * p + (y * s - z * q))
            py = memory[here + Y] + scale * (b + w * q + (z * p - x * s))
            pz = memory[here + Z] + scale * (c + w * s + (x * q - y * p))
            memory[there] = px
            memory[there + Y] = py
            memory[there + Z] = pz
    return at


def placed_stretched(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Places at an offset in a slot with a stretch. Members: slot, source, stretch, offset."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, source, size, rest = code[at], code[at + 1], code[at + 2], code[at + 3]
        at += 4
        a, b, c = constants[rest], constants[rest + 1], constants[rest + 2]
        for lane in EVERY:
            here, there, m = source + lane, to + lane, size + lane
            x, y = memory[here + TURN], memory[here + TURN_Y]
            z, w = memory[here + TURN_Z], memory[here + TURN_W]
            p = y * c - z * b
            q = z * a - x * c
            s = x * b - y * a
            p += p
            q += q
            s += s
            i = a + w * p + (y * s - z * q)
            j = b + w * q + (z * p - x * s)
            k = c + w * s + (x * q - y * p)
            px = memory[here] + memory[m] * i + memory[m + XY] * j + memory[m + XZ] * k
            py = memory[here + Y] + memory[m + YX] * i + memory[m + YY] * j + memory[m + YZ] * k
            pz = memory[here + Z] + memory[m + ZX] * i + memory[m + ZY] * j + memory[m + ZZ] * k
            memory[there] = px
            memory[there + Y] = py
            memory[there + Z] = pz
    return at


def outward(memory: Any, vector: int, slot: int, kind: int, size: int) -> None:
    """Vectors within a slot as they are outside it, in their own place: turned, then sized."""
    for lane in EVERY:
        here, there = slot + lane, vector + lane
        x, y = memory[here + TURN], memory[here + TURN_Y]
        z, w = memory[here + TURN_Z], memory[here + TURN_W]
        a, b, c = memory[there], memory[there + Y], memory[there + Z]
        p = y * c - z * b
        q = z * a - x * c
        s = x * b - y * a
        p += p
        q += q
        s += s
        memory[there] = a + w * p + (y * s - z * q)
        memory[there + Y] = b + w * q + (z * p - x * s)
        memory[there + Z] = c + w * s + (x * q - y * p)
    if kind == EVEN:
        for lane in EVERY:
            scale = memory[size + lane]
            memory[vector + lane] *= scale
            memory[vector + lane + Y] *= scale
            memory[vector + lane + Z] *= scale
    elif kind == ANY:
        for lane in EVERY:
            there, m = vector + lane, size + lane
            a, b, c = memory[there], memory[there + Y], memory[there + Z]
            memory[there] = memory[m] * a + memory[m + XY] * b + memory[m + XZ] * c
            memory[there + Y] = memory[m + YX] * a + memory[m + YY] * b + memory[m + YZ] * c
            memory[there + Z] = memory[m + ZX] * a + memory[m + ZY] * b + memory[m + ZZ] * c


def turned_same(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Turns that are another slot's. Members: slot, source."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, source = code[at], code[at + 1]
        at += 2
        for lane in EVERY:
            memory[to + lane + TURN] = memory[source + lane + TURN]
            memory[to + lane + TURN_Y] = memory[source + lane + TURN_Y]
            memory[to + lane + TURN_Z] = memory[source + lane + TURN_Z]
            memory[to + lane + TURN_W] = memory[source + lane + TURN_W]
    return at


def turned_rest(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Turns at rest in another slot. Members: slot, source, turn (4 constants)."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, source, rest = code[at], code[at + 1], code[at + 2]
        at += 3
        i, j = constants[rest], constants[rest + 1]
        k, r = constants[rest + 2], constants[rest + 3]
        for lane in EVERY:
            here = source + lane
            x, y = memory[here + TURN], memory[here + TURN_Y]
            z, w = memory[here + TURN_Z], memory[here + TURN_W]
            there = to + lane
            memory[there + TURN] = w * i + x * r + y * k - z * j
            memory[there + TURN_Y] = w * j - x * k + y * r + z * i
            memory[there + TURN_Z] = w * k + x * j - y * i + z * r
            memory[there + TURN_W] = w * r - x * i - y * j - z * k
    return at


def turned_by(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Slots turned within by quaternions. Members: slot, quaternion."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, turn = code[at], code[at + 1]
        at += 2
        for lane in EVERY:
            there, here = to + lane, turn + lane
            i, j, k, r = memory[here], memory[here + Y], memory[here + Z], memory[here + W]
            x, y = memory[there + TURN], memory[there + TURN_Y]
            z, w = memory[there + TURN_Z], memory[there + TURN_W]
            memory[there + TURN] = w * i + x * r + y * k - z * j
            memory[there + TURN_Y] = w * j - x * k + y * r + z * i
            memory[there + TURN_Z] = w * k + x * j - y * i + z * r
            memory[there + TURN_W] = w * r - x * i - y * j - z * k
    return at


def moved(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Places moved along the axes of a mount.

    Members: slot, turned slot, move, kind and address of the mount's size, room for a vector.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        to, mount, move, room = code[at], code[at + 1], code[at + 2], code[at + 5]
        for lane in EVERY:
            memory[room + lane] = memory[move + lane]
            memory[room + lane + Y] = memory[move + lane + Y]
            memory[room + lane + Z] = memory[move + lane + Z]
        outward(memory, room, mount, code[at + 3], code[at + 4])
        for lane in EVERY:
            memory[to + lane] += memory[room + lane]
            memory[to + lane + Y] += memory[room + lane + Y]
            memory[to + lane + Z] += memory[room + lane + Z]
        at += 6
    return at


def resized(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Sizes that slots make of what they inherit, sized along their own axes.

    A linear part A · R · S is A' · R with A' = A · R · S · R⁻¹, which is kept. Members: slot, sizes
    or 0, stretches along bones or 0, kind and address of A, kind and address of A'.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        slot, sizes, extras = code[at], code[at + 1], code[at + 2]
        kind, size, made, keep = code[at + 3], code[at + 4], code[at + 5], code[at + 6]
        at += 7
        if made == EVEN:
            for lane in EVERY:
                memory[keep + lane] = max(memory[sizes + lane], SMALLEST)
                if kind == EVEN:
                    memory[keep + lane] *= memory[size + lane]
            continue
        for lane in EVERY:
            a = b = c = 1.0
            if sizes:
                here = sizes + lane
                a = max(memory[here], SMALLEST)
                b = max(memory[here + Y], SMALLEST)
                c = max(memory[here + Z], SMALLEST)
            if extras:
                here = extras + lane
                a *= memory[here]
                b *= memory[here + Y]
                c *= memory[here + Z]
            _sized_along(memory, slot + lane, a, b, c, keep + lane)
        if kind == EVEN:
            for row in range(9):
                for lane in EVERY:
                    memory[keep + lane + row * LANES] *= memory[size + lane]
        elif kind == ANY:
            _stretched(memory, keep, size)
    return at


def _sized_along(memory: Any, slot: int, a: float, b: float, c: float, m: int) -> None:
    """The matrix, written to m, that sizes along the axes of a slot."""
    x, y = memory[slot + TURN], memory[slot + TURN_Y]
    z, w = memory[slot + TURN_Z], memory[slot + TURN_W]
    yy, zz, xx = y * (y + y), z * (z + z), x * (x + x)
    xy, xz, yz = x * (y + y), x * (z + z), y * (z + z)
    wx, wy, wz = w * (x + x), w * (y + y), w * (z + z)
    ax, ay, az = 1.0 - (yy + zz), xy + wz, xz - wy
    bx, by, bz = xy - wz, 1.0 - (xx + zz), yz + wx
    cx, cy, cz = xz + wy, yz - wx, 1.0 - (xx + yy)
    memory[m] = a * ax * ax + b * bx * bx + c * cx * cx
    memory[m + YY] = a * ay * ay + b * by * by + c * cy * cy
    memory[m + ZZ] = a * az * az + b * bz * bz + c * cz * cz
    x = a * ax * ay + b * bx * by + c * cx * cy
    y = a * ax * az + b * bx * bz + c * cx * cz
    z = a * ay * az + b * by * bz + c * cy * cz
    memory[m + XY] = x
    memory[m + YX] = x
    memory[m + XZ] = y
    memory[m + ZX] = y
    memory[m + YZ] = z
    memory[m + ZY] = z


def _stretched(memory: Any, m: int, stretch: int) -> None:
    """Other matrices put before matrices, in their own place, a column at a time."""
    for column in range(3):
        for lane in EVERY:
            here, a = m + lane + column * LANES, stretch + lane
            x, y, z = memory[here], memory[here + YX], memory[here + ZX]
            memory[here] = memory[a] * x + memory[a + XY] * y + memory[a + XZ] * z
            memory[here + YX] = memory[a + YX] * x + memory[a + YY] * y + memory[a + YZ] * z
            memory[here + ZX] = memory[a + ZX] * x + memory[a + ZY] * y + memory[a + ZZ] * z


def evened(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Even scales of stretches: the cube roots of their determinants. Members: scale, stretch."""
    count = code[at]
    at += 1
    for _ in range(count):
        to, stretch = code[at], code[at + 1]
        at += 2
        for lane in EVERY:
            m = stretch + lane
            volume = (
                memory[m] * (memory[m + YY] * memory[m + ZZ] - memory[m + YZ] * memory[m + ZY])
                - memory[m + XY]
                * (memory[m + YX] * memory[m + ZZ] - memory[m + YZ] * memory[m + ZX])
                + memory[m + XZ]
                * (memory[m + YX] * memory[m + ZY] - memory[m + YY] * memory[m + ZX])
            )
            memory[to + lane] = math.copysign(abs(volume) ** (1.0 / 3.0), volume)
    return at
