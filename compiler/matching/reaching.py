"""The goal and the pole with which a reaching chain lies as its joints are wanted, in closed form.

In come a posed rig and wanted world turns of a chain's joints; out come places for the goal and the
pole. Two bones are turned round exactly where they are bent in one plane about one axis, which is
all that reaching does; a longer chain is brought to its end, and turned about the line to it as
near as it can be. Easing at full reach is taken back (`somite.evaluate.reach`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from somite.ir import Reach
from somite.matching.worlds import back, matrices, mount_of, turned_by

if TYPE_CHECKING:
    from collections.abc import Sequence

    from somite.evaluate import Posed
    from somite.evaluate.algebra import Array
    from somite.settle import ReachRest

SHORT = 1e-9
"""A chain is never asked to be nearer to its full length than this share of it: at full length,
easing would take the goal infinitely far away."""
FLAT = 1e-7
"""A bend of less than this share of a bone says nothing of its plane."""


@dataclass(frozen=True, slots=True)
class Aim:
    """World places (poses, 3) of a reach's goal and pole, and in which poses the goal is eased."""

    goal: Array
    pole: Array | None
    eased: Array


def aim(posed: Posed, reach: Reach, turns: Sequence[Array]) -> Aim:
    """Where a goal and a pole have to be for a chain's joints to have these world turns."""
    rest = posed.settled.reaches[reach.name]
    root, scale = _root(posed, reach, rest)
    bones = np.array(rest.bones)
    ways = [
        turned_by(turn, back(_all(offset, turn)))
        for turn, offset in zip(turns, rest.offsets, strict=True)
    ]
    frames = [matrices(way) for way in ways]
    steps = [frame[:, :, 0] * bone for frame, bone in zip(frames, bones, strict=True)]
    end = np.sum(steps, axis=0)
    near = np.sqrt((end**2).sum(axis=1))
    line = np.where(
        near[:, None] > 0.0, end / np.maximum(near, 1e-300)[:, None], frames[0][:, :, 0]
    )
    apart = uneased(near, rest.ease_from, float(bones.sum()))
    goal = root + (scale * apart)[:, None] * line
    eased = apart > near * (1.0 + 1e-9)
    if reach.pole is None:
        return Aim(goal, None, eased)
    if len(bones) == 2:
        bend = _bend(line, frames, steps[0] / bones[0])
    else:
        bend = _carried_bend(posed, reach, rest, line, turns)
    toward = _about(line, bend, np.full(posed.poses, -rest.pole_angle))
    ahead = (steps[0] * line).sum(axis=1)[:, None] * line
    pole = root + scale[:, None] * (ahead + _pole_off_line(posed, reach) * toward)
    return Aim(goal, pole, eased)


def uneased(near: Array, start: float, full: float) -> Array:
    """How far away a goal is for which a chain reaches so far: the other way round of `eased`."""
    room = full - start
    if room <= 1e-9 * full:
        return near
    left = np.maximum(full - near, SHORT * full) / room
    return np.where(near <= start, near, start - room * np.log(np.minimum(left, 1.0)))


def _all(turn: Sequence[float], like: Array) -> Array:
    return np.broadcast_to(np.asarray(turn, dtype=np.float64), like.shape)


def _root(posed: Posed, reach: Reach, rest: ReachRest) -> tuple[Array, Array]:
    """The world place of a chain's first joint, and the scale that its bones inherit.

    Bones may be lengthened along their axes, which the determinant has once and the distance from
    joint to joint once: det = s³ · g, distance = s · g · bone.
    """
    joints = next(one.joints for one in posed.settled.rig.chains if one.name == reach.chain)
    root = posed.place(joints[0])
    way = posed.place(joints[1]) - root
    long = np.sqrt((way**2).sum(axis=1)) / rest.bones[0]
    mount = mount_of(posed, joints[0])
    assert mount.linear is not None
    volume = np.abs(np.linalg.det(mount.linear))
    return root, np.sqrt(volume / np.maximum(long, 1e-300))


def _bend(line: Array, frames: Sequence[Array], upper: Array) -> Array:
    """The direction in which two bones bend: in their plane, on the side that their turns say.

    Where they lie straight, or are bent the wrong way, the turns alone decide.
    """
    normal = frames[0][:, :, 2] + frames[1][:, :, 2]
    turned = _unit(_off(np.cross(normal, line), line), frames[0][:, :, 1])
    off = _off(upper, line)
    size = np.sqrt((off**2).sum(axis=1))
    side = np.where((off * turned).sum(axis=1) < 0.0, -1.0, 1.0)
    placed = off * (side / np.maximum(size, 1e-300))[:, None]
    return np.where((size > FLAT)[:, None], placed, turned)


def _carried_bend(
    posed: Posed, reach: Reach, rest: ReachRest, line: Array, turns: Sequence[Array]
) -> Array:
    """The direction toward the bend now, turned about the line as the joints have to turn."""
    joints = next(one.joints for one in posed.settled.rig.chains if one.name == reach.chain)
    total = np.zeros((posed.poses, 2))
    for joint, turn in zip(joints, turns, strict=True):
        since = turned_by(turn, back(posed.turn(joint)))
        along = np.stack([(since[:, :3] * line).sum(axis=1), since[:, 3]], axis=1)
        total += along * np.where(along[:, 1:] < 0.0, -1.0, 1.0)
    angle = 2.0 * np.arctan2(total[:, 0], total[:, 1])
    pole = posed.place(str(reach.pole)) - posed.place(joints[0])
    toward = _unit(_off(pole, line), _across(line))
    return _about(line, _about(line, toward, np.full(posed.poses, rest.pole_angle)), angle)


def _pole_off_line(posed: Posed, reach: Reach) -> float:
    """How far a pole is off the line from a chain's root to its end, at rest."""
    rig = posed.settled.rig
    chain = next(one for one in rig.chains if one.name == reach.chain)
    root = np.array(rig.node(chain.joints[0]).rest.place)
    line, way = np.array(chain.end) - root, np.array(rig.node(str(reach.pole)).rest.place) - root
    return float(np.sqrt((_off(way[None], _unit(line[None], line[None])) ** 2).sum()))


# ---- directions ----------------------------------------------------------------------------------


def _off(vector: Array, line: Array) -> Array:
    """What of vectors (poses, 3) is at right angles to unit vectors."""
    return np.asarray(vector - (vector * line).sum(axis=1)[:, None] * line)


def _unit(vector: Array, otherwise: Array) -> Array:
    """Directions of vectors (poses, 3); of those without a length, another vector."""
    size = np.sqrt((vector**2).sum(axis=1))[:, None]
    return np.where(size > 1e-12, vector / np.maximum(size, 1e-300), otherwise)


def _across(line: Array) -> Array:
    """Some direction at right angles to each."""
    least = np.eye(3)[np.argmin(np.abs(line), axis=1)]
    return _unit(_off(least, line), least)


def _about(line: Array, vector: Array, angle: Array) -> Array:
    """Vectors at right angles to unit vectors, turned about them by angles (poses,)."""
    cosine, sine = np.cos(angle)[:, None], np.sin(angle)[:, None]
    return np.asarray(cosine * vector + sine * np.cross(line, vector))
