"""Reaching, one pose at a time: two bones in closed form, longer chains by one factor.

What is meant is told in `somite.evaluate.reach`.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import (
    ADDRESS,
    clipped,
    half_of,
    product,
    rotated,
)
from somite.evaluate.scalar.lanes import (
    EVERY,
    LANES,
    QUATERNION,
    TURN,
    TURN_W,
    TURN_Y,
    TURN_Z,
    VECTOR,
    W,
    Y,
    Z,
)
from somite.evaluate.scalar.swing import swung

ON_LINE = 1e-9
"""A pole nearer the line to the goal than this share of the chain's length says nothing."""
HERE = 1e-150
"""A goal so near lies at the root: where it lies from there is not a direction any more."""
FULL = 1.0 - 1e-12
"""A goal beyond this share of full reach is at full reach: so flat a height is rounding alone."""
REFINEMENTS = 6
"""Steps that refine what a longer chain's table gives: the answer is then within 1e-12 of the
chain's length."""


def reached(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Chains that reach for goals.

    Members: how many bones, mount, goal, pole or 0, scale, stretch, the first joint's stretch along
    its bones or 0, room (see `rows_of_room`), constants of the reach, constants of the shape,
    entries of its table, and the slot of each joint.

    The reach: line (3), frame (4), cosine and sine from the pole to the bend, whole length, where
    ease begins, then length and offset (4) of each bone. The shape, for more than two bones: whole
    length, the first bone's direction, the normal (3 each), then angle and axis (3) of each bend,
    then the table's hidden lengths, its factors, and the least distance.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        bones, room, fixed = code[at], code[at + 7], code[at + 8]
        line, near, frame = room, room + VECTOR, room + VECTOR + LANES
        grown = frame + QUATERNION
        ways = grown + LANES
        swung(constants, memory, fixed, HERE, code[at + 1], code[at + 2], line, frame)
        _framed(code, at, constants, memory, frame)
        if code[at + 3]:
            _poled(code, at, constants, memory, line, frame)
        _eased(code, at, constants, memory, near, grown)
        if bones == 2:
            _two_bones(constants, memory, fixed, ways, near)
        else:
            for lane in EVERY:
                distance = memory[near + lane]
                shape, entries = code[at + 9], code[at + 10]
                _bent(constants, memory, shape, entries, fixed, bones, ways + lane, distance)
        _laid(code, at, constants, memory, line, frame, grown, ways)
        at += 11 + bones
    return at


def rows_of_room(bones: int) -> int:
    """How many rows a reach works in: the line, the frame, two numbers and a vector a bone."""
    return 3 + 4 + 2 + 3 * bones


def _framed(code: Any, at: int, constants: Any, memory: Any, frame: int) -> None:
    """The frame at rest, carried by the mount and swung as is written there."""
    mount, fixed = code[at + 1], code[at + 8]
    a, b = constants[fixed + 3], constants[fixed + 4]
    c, d = constants[fixed + 5], constants[fixed + 6]
    frame &= ADDRESS
    for lane in EVERY:
        here, there = frame + lane, mount + lane
        x, y, z, w = product(
            memory[here],
            memory[here + Y],
            memory[here + Z],
            memory[here + W],
            memory[there + TURN],
            memory[there + TURN_Y],
            memory[there + TURN_Z],
            memory[there + TURN_W],
        )
        x, y, z, w = product(x, y, z, w, a, b, c, d)
        memory[here] = x
        memory[here + Y] = y
        memory[here + Z] = z
        memory[here + W] = w


def _poled(code: Any, at: int, constants: Any, memory: Any, line: int, frame: int) -> None:
    """The frame turned about the line, so that y lies to the pole as at rest; but not where the
    pole is on the line.
    """
    mount, pole, scale, fixed = code[at + 1], code[at + 3], code[at + 4], code[at + 8]
    whole, c, s = constants[fixed + 9], constants[fixed + 7], constants[fixed + 8]
    line &= ADDRESS
    frame &= ADDRESS
    for lane in EVERY:
        here, there = mount + lane, pole + lane
        p = memory[there] - memory[here]
        q = memory[there + Y] - memory[here + Y]
        r = memory[there + Z] - memory[here + Z]
        here = line + lane
        i, j, k = memory[here], memory[here + Y], memory[here + Z]
        along = p * i + q * j + r * k
        p -= i * along
        q -= j * along
        r -= k * along
        limit = ON_LINE * whole * memory[scale + lane]
        on_line = p * p + q * q + r * r <= limit * limit
        here = frame + lane
        x, y, z, w = memory[here], memory[here + Y], memory[here + Z], memory[here + W]
        a, b, d = rotated(x, y, z, w, 0.0, 1.0, 0.0)
        cosine = a * p + b * q + d * r
        sine = (b * r - d * q) * i + (d * p - a * r) * j + (a * q - b * p) * k
        half_cosine, half_sine = half_of(cosine * c - sine * s, sine * c + cosine * s)
        half_cosine = 1.0 if on_line else half_cosine
        half_sine = 0.0 if on_line else half_sine
        memory[here] = x * half_cosine + w * half_sine
        memory[here + Y] = y * half_cosine + z * half_sine
        memory[here + Z] = z * half_cosine - y * half_sine
        memory[here + W] = w * half_cosine - x * half_sine


def _eased(code: Any, at: int, constants: Any, memory: Any, near: int, grown: int) -> None:
    """How far the chain reaches, unscaled, and how many times it is then as long as at rest."""
    scales, stretch, extras, fixed = code[at + 4], code[at + 5], code[at + 6], code[at + 8]
    for lane in EVERY:
        scale, distance = memory[scales + lane], memory[near + lane]
        reach = eased(distance, constants[fixed + 10] * scale, constants[fixed + 9] * scale)
        longer = distance / reach if reach > 0.0 else 1.0
        longer = 1.0 + clipped(memory[stretch + lane], 0.0, 1.0) * max(longer - 1.0, 0.0)
        memory[near + lane] = reach / scale
        memory[grown + lane] = longer
    if extras:
        for bone in range(code[at]):
            for lane in EVERY:
                memory[extras + lane + bone * VECTOR] = memory[grown + lane]


def eased(distance: float, start: float, whole: float) -> float:
    """How far a chain reaches for a goal so far away."""
    if distance <= start:
        return distance
    room = whole - start
    if room > 1e-9 * whole:
        return whole - room * math.exp(-(distance - start) / room)
    return min(distance, whole)


def _laid(
    code: Any, at: int, constants: Any, memory: Any, line: int, frame: int, grown: int, ways: int
) -> None:
    """Joints laid one after another, each along its way, which is seen from the frame."""
    bones, mount, scale, fixed = code[at], code[at + 1], code[at + 4], code[at + 8] + 11
    line &= ADDRESS
    frame &= ADDRESS
    source = mount
    for bone in range(bones):
        to, way = code[at + 11 + bone], (ways + bone * VECTOR) & ADDRESS
        i, j = constants[fixed + 1], constants[fixed + 2]
        k, r = constants[fixed + 3], constants[fixed + 4]
        if bone == 0:
            for lane in EVERY:
                here, there = source + lane, to + lane
                memory[there] = memory[here]
                memory[there + Y] = memory[here + Y]
                memory[there + Z] = memory[here + Z]
        for lane in EVERY:
            here = way + lane
            ahead, up, aside = memory[here], memory[here + Y], memory[here + Z]
            here = frame + lane
            x, y, z, w = memory[here], memory[here + Y], memory[here + Z], memory[here + W]
            c, s = half_of(ahead, up)
            p, q, m, n = x * c + y * s, y * c - x * s, z * c + w * s, w * c - z * s
            c, s = half_of(math.sqrt(ahead * ahead + up * up), -aside)
            p, q, m, n = p * c - m * s, q * c + n * s, m * c + p * s, n * c - q * s
            there = to + lane
            memory[there + TURN] = n * i + p * r + q * k - m * j
            memory[there + TURN_Y] = n * j - p * k + q * r + m * i
            memory[there + TURN_Z] = n * k + p * j - q * i + m * r
            memory[there + TURN_W] = n * r - p * i - q * j - m * k
        if bone + 1 < bones:
            following = code[at + 12 + bone]
            for lane in EVERY:
                here = frame + lane
                x, y, z, w = memory[here], memory[here + Y], memory[here + Z], memory[here + W]
                a, b, c = rotated(x, y, z, w, 0.0, 1.0, 0.0)
                here = line + lane
                p, q, m = memory[here], memory[here + Y], memory[here + Z]
                here = way + lane
                ahead, up, aside = memory[here], memory[here + Y], memory[here + Z]
                size = memory[scale + lane] * memory[grown + lane]
                here, there = to + lane, following + lane
                x = p * ahead + a * up + (q * c - m * b) * aside
                y = q * ahead + b * up + (m * a - p * c) * aside
                z = m * ahead + c * up + (p * b - q * a) * aside
                memory[there] = memory[here] + x * size
                memory[there + Y] = memory[here + Y] + y * size
                memory[there + Z] = memory[here + Z] + z * size
        fixed += 5


def _two_bones(constants: Any, memory: Any, fixed: int, ways: int, distances: int) -> None:
    """Both bones of a triangle, along the line, toward the bend and aside."""
    upper, lower = constants[fixed + 11], constants[fixed + 16]
    farthest, nearest = upper + lower, abs(upper - lower)
    longer = (upper - lower) * (upper + lower)
    ways &= ADDRESS
    for lane in EVERY:
        distance = min(max(memory[distances + lane], nearest), farthest)
        folded, flat = distance <= 0.0, distance >= farthest * FULL
        ahead = (distance * distance + longer) / (1.0 if folded else 2.0 * distance)
        ahead = min(max(0.0 if folded else ahead, -upper), upper)
        ahead = upper if flat else ahead
        up = math.sqrt((upper - ahead) * (upper + ahead))
        here = ways + lane
        memory[here] = ahead
        memory[here + Y] = up
        memory[here + Z] = 0.0
        here += VECTOR
        memory[here] = lower if flat else distance - ahead
        memory[here + Y] = -up
        memory[here + Z] = 0.0


def _bent(
    constants: Any,
    memory: Any,
    shape: int,
    entries: int,
    fixed: int,
    bones: int,
    room: int,
    distance: float,
) -> None:
    """All bones of a longer chain, along the line, toward the bend and aside, written to room."""
    factor = _factor(constants, memory, shape, entries, fixed, bones, room, distance)
    ex, ey, ez = _stepped(constants, memory, shape, fixed, bones, room, factor)
    fx, fy, fz = constants[shape + 1], constants[shape + 2], constants[shape + 3]
    nx, ny, nz = constants[shape + 4], constants[shape + 5], constants[shape + 6]
    square = ex * ex + ey * ey + ez * ez
    if square < 1e-300:
        ex, ey, ez = fx, fy, fz
    else:
        size = math.sqrt(square)
        ex /= size
        ey /= size
        ez /= size
    bx, by, bz = ny * ez - nz * ey, nz * ex - nx * ez, nx * ey - ny * ex
    square = bx * bx + by * by + bz * bz
    if square < 1e-300:
        bx, by, bz = fx, fy, fz
    else:
        size = math.sqrt(square)
        bx /= size
        by /= size
        bz /= size
    ax, ay, az = ey * bz - ez * by, ez * bx - ex * bz, ex * by - ey * bx
    for bone in range(bones):
        here = room + bone * VECTOR
        length = constants[fixed + 11 + 5 * bone]
        x, y, z = memory[here], memory[here + Y], memory[here + Z]
        memory[here] = length * (x * ex + y * ey + z * ez)
        memory[here + Y] = length * (x * bx + y * by + z * bz)
        memory[here + Z] = length * (x * ax + y * ay + z * az)


def _stepped(
    constants: Any, memory: Any, shape: int, fixed: int, bones: int, room: int, factor: float
) -> tuple[float, float, float]:
    """Directions of the bones at a factor, written to room; where the chain then ends."""
    fx, fy, fz = constants[shape + 1], constants[shape + 2], constants[shape + 3]
    memory[room] = fx
    memory[room + Y] = fy
    memory[room + Z] = fz
    length = constants[fixed + 11]
    ex, ey, ez = length * fx, length * fy, length * fz
    x = y = z = 0.0
    w = 1.0
    for bone in range(1, bones):
        turning = shape + 7 + 4 * (bone - 1)
        half = factor * (constants[turning] * 0.5)
        s = math.sin(half)
        x, y, z, w = product(
            x,
            y,
            z,
            w,
            constants[turning + 1] * s,
            constants[turning + 2] * s,
            constants[turning + 3] * s,
            math.cos(half),
        )
        a, b, c = rotated(x, y, z, w, fx, fy, fz)
        here = room + bone * VECTOR
        memory[here] = a
        memory[here + Y] = b
        memory[here + Z] = c
        length = constants[fixed + 11 + 5 * bone]
        ex += length * a
        ey += length * b
        ez += length * c
    return ex, ey, ez


def _factor(
    constants: Any,
    memory: Any,
    shape: int,
    entries: int,
    fixed: int,
    bones: int,
    room: int,
    distance: float,
) -> float:
    """The factor at which root and end are so far apart, or as near to that as they come."""
    whole = constants[shape]
    hidden_at = shape + 7 + 4 * (bones - 1)
    factors_at = hidden_at + entries
    least = constants[factors_at + entries]
    wanted = clipped(distance, least, whole)
    if wanted >= whole * FULL:
        return 0.0
    hidden = math.sqrt(max(whole - wanted, 0.0))
    low, high = 0, entries
    while low < high:
        middle = (low + high) // 2
        if constants[hidden_at + middle] < hidden:
            low = middle + 1
        else:
            high = middle
    place = min(max(low - 1, 0), entries - 2)
    below, above = constants[factors_at + place], constants[factors_at + place + 1]
    start = constants[hidden_at + place]
    rise = constants[hidden_at + place + 1] - start
    slope = (above - below) / rise if rise > 0.0 else 0.0
    factor: float = below + (hidden - start) * slope
    for _ in range(REFINEMENTS):
        x, y, z = _stepped(constants, memory, shape, fixed, bones, room, factor)
        found = math.sqrt(max(whole - math.sqrt(x * x + y * y + z * z), 0.0))
        factor = clipped(factor + (hidden - found) * slope, below, above)
    return factor
