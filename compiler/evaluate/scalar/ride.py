"""Riding, one pose at a time: a chain solved along a curve.

Stations are found, frames carried along, and joints laid on their bones. What is meant is told in
`somite.evaluate.ride`.
"""

from __future__ import annotations

import math
from typing import Any

from somite.evaluate.scalar.algebra import ADDRESS, arc_behind, clipped, product
from somite.evaluate.scalar.frames import SUBSTEPS, begun, carried_on, stepped, walked
from somite.evaluate.scalar.lanes import (
    EVERY,
    LANES,
    PLACE,
    PLACE_Y,
    PLACE_Z,
    QUATERNION,
    SAMPLE,
    SLOT,
    TURN,
    TURN_W,
    TURN_Y,
    TURN_Z,
    VECTOR,
    VELOCITY,
    VELOCITY_Y,
    VELOCITY_Z,
    W,
    Y,
    Z,
)
from somite.evaluate.scalar.path import prepared
from somite.evaluate.scalar.stations import stationed

SMALLEST, LARGEST = 1e-4, 1e4
"""Bounds of a stretch along a bone."""


def ridden(code: Any, at: int, constants: Any, memory: Any) -> int:
    """Chains that ride.

    Members: first slot, slots of the first and of the last carried frame, carrier, scale, stretch,
    volume, first stretch along bones or 0, from there to the bones' axis, how many bones, control
    points, how many, polynomials, degree, stretches between knots, constants of the form, room,
    constants of the ride, parts of arc length, constants of the breaks, where velocities go, how
    many operands follow, and those of `combined`.

    Constants of the ride are the start (4), the axis (3), parameters and fractions (bones + 1
    each), lengths of bones, and rolls (4 each). Room has a row each for `whole` and two numbers
    of the search, a vector, a sample a joint and the end, samples of the walk, a frame a joint and
    the end, and what `measured` writes: see `rows_of_room`.
    """
    count = code[at]
    at += 1
    for _ in range(count):
        room, bones = code[at + 16], code[at + 9]
        ending = room + 3 * LANES
        stations = ending + VECTOR
        samples = stations + (bones + 1) * SAMPLE
        frames = samples + (bones * SUBSTEPS + 1) * SAMPLE
        lengths = frames + (bones + 1) * QUATERNION
        prepared(code, at, constants, memory, ending, room)
        stationed(code, at, constants, memory, ending, room, stations, lengths)
        walked(code, at, constants, memory, ending, room, stations, samples)
        stepped(memory, bones * SUBSTEPS, samples)
        _laid(code, at, constants, memory, samples, frames)
        if code[at + 7]:
            _resized(code, at, constants, memory, samples)
        at += 22 + code[at + 21]
    return at


def rows_of_room(bones: int, parts: int) -> int:
    """How many rows a ride works in, of so many bones along a curve of so many parts."""
    return 6 + 11 * (bones + 1) + 11 * (bones * SUBSTEPS + 1) + 4 * (bones + 1) + 2 * (parts + 1)


def _laid(code: Any, at: int, constants: Any, memory: Any, samples: int, frames: int) -> None:
    """Joints laid on their bones in the frames that are carried along."""
    bones, fixed = code[at + 9], code[at + 17]
    begun(code, at, constants, memory, samples, frames)
    _set_turns(memory, code[at + 1] + TURN, frames)
    rolls = fixed + 7 + 2 * (bones + 1) + bones
    for bone in range(bones):
        sample, frame = samples + bone * SUBSTEPS * SAMPLE, frames + bone * QUATERNION
        _joint_laid(constants, memory, code[at] + bone * SLOT, frame, sample, rolls + 4 * bone)
        carried_on(memory, sample, frame)
    _set_turns(memory, code[at + 2] + TURN, frames + bones * QUATERNION)


def _set_turns(memory: Any, to: int, source: int) -> None:
    """A quaternion written to another place."""
    for row in range(4):
        for lane in EVERY:
            memory[to + lane + row * LANES] = memory[source + lane + row * LANES]


def _joint_laid(constants: Any, memory: Any, slot: int, frame: int, sample: int, roll: int) -> None:
    """A joint's place and turn: the carried frame laid on the bone, and turned as at rest."""
    i, j, k, r = constants[roll], constants[roll + 1], constants[roll + 2], constants[roll + 3]
    behind = 0
    slot &= ADDRESS
    frame &= ADDRESS
    sample &= ADDRESS
    for lane in EVERY:
        here, there = sample + lane, slot + lane
        px, py, pz = memory[here + PLACE], memory[here + PLACE_Y], memory[here + PLACE_Z]
        ax, ay, az = memory[here + VELOCITY], memory[here + VELOCITY_Y], memory[here + VELOCITY_Z]
        here += SUBSTEPS * SAMPLE
        bx = memory[here + PLACE] - px
        by = memory[here + PLACE_Y] - py
        bz = memory[here + PLACE_Z] - pz
        size = 1.0 / max(math.sqrt(bx * bx + by * by + bz * bz), 1e-300)
        bx *= size
        by *= size
        bz *= size
        cosine = ax * bx + ay * by + az * bz
        behind += 1 if cosine < -0.7 else 0
        size = math.sqrt(max(cosine + 1.0, 0.25) * 2.0)
        memory[there] = px
        memory[there + Y] = py
        memory[there + Z] = pz
        memory[there + TURN] = (ay * bz - az * by) / size
        memory[there + TURN_Y] = (az * bx - ax * bz) / size
        memory[there + TURN_Z] = (ax * by - ay * bx) / size
        memory[there + TURN_W] = size * 0.5
    if behind:
        for lane in EVERY:
            _laid_behind(memory, slot + lane, sample + lane)
    for lane in EVERY:
        here, there = frame + lane, slot + lane
        p, q, s, t = product(
            memory[there + TURN],
            memory[there + TURN_Y],
            memory[there + TURN_Z],
            memory[there + TURN_W],
            memory[here],
            memory[here + Y],
            memory[here + Z],
            memory[here + W],
        )
        p, q, s, t = product(p, q, s, t, i, j, k, r)
        memory[there + TURN] = p
        memory[there + TURN_Y] = q
        memory[there + TURN_Z] = s
        memory[there + TURN_W] = t


def _laid_behind(memory: Any, there: int, here: int) -> None:
    """The arc onto a bone that lies behind the tangent."""
    ax, ay, az = memory[here + VELOCITY], memory[here + VELOCITY_Y], memory[here + VELOCITY_Z]
    next_joint = here + SUBSTEPS * SAMPLE
    bx = memory[next_joint + PLACE] - memory[here + PLACE]
    by = memory[next_joint + PLACE_Y] - memory[here + PLACE_Y]
    bz = memory[next_joint + PLACE_Z] - memory[here + PLACE_Z]
    size = 1.0 / max(math.sqrt(bx * bx + by * by + bz * bz), 1e-300)
    bx *= size
    by *= size
    bz *= size
    cosine = ax * bx + ay * by + az * bz
    if cosine < -0.7:
        x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
        x, y, z, w = arc_behind(ax, ay, az, x, y, z, cosine)
        memory[there + TURN] = x
        memory[there + TURN_Y] = y
        memory[there + TURN_Z] = z
        memory[there + TURN_W] = w


def _resized(code: Any, at: int, constants: Any, memory: Any, samples: int) -> None:
    """Stretch along each bone, and what volume keeps across it; none where bones are kept."""
    scale, stretch, volume = code[at + 4], code[at + 5], code[at + 6]
    extras, along, bones = code[at + 7], code[at + 8], code[at + 9]
    lengths = code[at + 17] + 7 + 2 * (bones + 1)
    for bone in range(bones):
        for lane in EVERY:
            here = samples + lane + bone * SUBSTEPS * SAMPLE
            there = here + SUBSTEPS * SAMPLE
            ratio = across = 1.0
            if memory[stretch + lane] > 0.0:
                x = memory[there + PLACE] - memory[here + PLACE]
                y = memory[there + PLACE_Y] - memory[here + PLACE_Y]
                z = memory[there + PLACE_Z] - memory[here + PLACE_Z]
                ratio = math.sqrt(x * x + y * y + z * z)
                ratio /= constants[lengths + bone] * memory[scale + lane]
                ratio = clipped(ratio, SMALLEST, LARGEST)
                share = clipped(memory[volume + lane], 0.0, 1.0)
                across = math.exp(-0.5 * share * math.log(ratio))
            here = extras + lane + bone * VECTOR
            memory[here] = across
            memory[here + Y] = across
            memory[here + Z] = across
            memory[here + along] = ratio
