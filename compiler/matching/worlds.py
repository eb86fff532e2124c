"""Where nodes are to be, and what mounts and channels bring them there, in closed form.

In come a posed rig and wanted world transforms, pose by pose; out come channels of a node: its
move, turn and size seen from its mount, each turn the one nearest to the pose before. What a lock,
a limit or a feed keeps a channel from is left out and told. Nothing here knows clips or why a node
is to be there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product as combinations
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from somite.evaluate.channels import SMALLEST, Channel
from somite.spatial.rotation import (
    ORDERS,
    conjugate,
    euler_from_quaternion,
    matrix_from_quaternion,
    product,
    quaternion_from_euler,
)
from somite.units import PI

if TYPE_CHECKING:
    from somite.evaluate import Evaluator, Posed
    from somite.evaluate.algebra import Array, Condition

SAME = 1e-12
"""Channels (in heights, radians, one) that differ by less are the same."""
HELD = 1e-9
"""What is kept from a channel by more than this is told."""
LOCK = 1e-7
"""Cosine of the middle turn below which the first and the last turn about one axis."""


@dataclass(frozen=True, slots=True)
class World:
    """A node's world transforms: places (poses, 3), turns (poses, 4), linear parts (poses, 3, 3).

    A part that nobody asks for is None.
    """

    place: Array | None = None
    turn: Array | None = None
    linear: Array | None = None


@dataclass(frozen=True, slots=True)
class Held:
    """A channel that could not have what it was asked for, why, and in which poses."""

    channel: str
    why: Literal["locked", "driven", "limited"]
    poses: Condition


@dataclass(frozen=True, slots=True)
class Solved:
    """Channels of a node by name, (poses,) each, and those that were kept from their values."""

    channels: dict[str, Array]
    held: tuple[Held, ...]


def world_of(posed: Posed, node: str) -> World:
    """A node's world transforms in a pose."""
    return World(posed.place(node), posed.turn(node), posed.linear(node))


def parts(array: Array) -> Any:
    """Components of vectors or quaternions (poses, n), as `somite.spatial` takes them."""
    return tuple(array.T)


def whole(components: Any) -> Array:
    """Components put back into one array (poses, n)."""
    return np.stack([np.asarray(one, dtype=np.float64) for one in components], axis=-1)


def turned_by(turn: Array, other: Array) -> Array:
    """Products of quaternions (poses, 4): the second turn followed by the first."""
    return whole(product(parts(turn), parts(other)))


def back(turn: Array) -> Array:
    """Opposite turns (poses, 4)."""
    return whole(conjugate(parts(turn)))


def matrices(turn: Array) -> Array:
    """Rotation matrices (poses, 3, 3) of unit quaternions (poses, 4)."""
    rows = matrix_from_quaternion(parts(turn))
    return np.stack([whole(row) for row in rows], axis=1)


def applied(matrix: Array, vector: Array) -> Array:
    """Matrices (poses, 3, 3) times vectors (poses, 3)."""
    return np.asarray((matrix @ vector[..., None])[..., 0])


def vectors(posed: Posed, node: str, part: str) -> Array:
    """A node's three channels of a part, as they were used: (poses, 3)."""
    return np.stack([posed.channel(f"{node}.{part}.{axis}") for axis in "xyz"], axis=-1)


def own_turn(posed: Posed, node: str) -> Array:
    """The turn of a node in its mount: (poses, 4)."""
    order = posed.settled.rig.node(node).order
    return whole(quaternion_from_euler(parts(vectors(posed, node, "turn")), order))


def mount_of(posed: Posed, node: str) -> World:
    """The mount that a node has in a pose: its world without its own channels.

    world = mount · T(move) · R(turn) · S(size), solved for the mount.
    """
    turn = own_turn(posed, node)
    size = np.maximum(vectors(posed, node, "size"), SMALLEST)
    linear = posed.linear(node) / size[:, None, :] @ matrices(back(turn))
    place = posed.place(node) - applied(linear, vectors(posed, node, "move"))
    return World(place, turned_by(posed.turn(node), back(turn)), linear)


def mount_for(posed: Posed, node: str, wanted: World) -> World:
    """The mount with which a node, its channels as they are, would be where it is wanted."""
    turn = None if wanted.turn is None else turned_by(wanted.turn, back(own_turn(posed, node)))
    if wanted.place is None:
        return World(None, turn)
    mount = mount_of(posed, node)
    assert mount.linear is not None and mount.turn is not None
    linear = mount.linear
    if turn is not None:
        linear = matrices(turned_by(turn, back(mount.turn))) @ linear
    return World(wanted.place - applied(linear, vectors(posed, node, "move")), turn)


# ---- channels ------------------------------------------------------------------------------------


def solved(
    evaluator: Evaluator, posed: Posed, node: str, wanted: World, near: Mapping[str, Array]
) -> Solved:
    """The channels with which a node is where it is wanted, or as near as its locks let it be.

    `near` are its channels in the clip: what is locked or driven stays so, and the first pose takes
    the turns nearest to them.
    """
    mount = mount_of(posed, node)
    assert mount.linear is not None and mount.turn is not None and mount.place is not None
    table = evaluator.channels
    found: dict[str, Array] = {}
    held: list[Held] = []
    turn = own_turn(posed, node)
    held += _barred(evaluator, posed, node, wanted)
    if wanted.turn is not None and free(evaluator, node, "turn"):
        local = turned_by(back(mount.turn), wanted.turn)
        angles = _angles(evaluator, posed, node, local, near)
        held += _put(table, posed, node, "turn", angles, found)
        turn = _turn_with(evaluator, posed, node, found)
    if wanted.place is not None and free(evaluator, node, "move"):
        away = (wanted.place - mount.place)[..., None]
        moves = np.asarray(np.linalg.solve(mount.linear, away)[..., 0], dtype=np.float64)
        held += _put(table, posed, node, "move", moves, found)
    if wanted.linear is not None and free(evaluator, node, "size"):
        sizes = _sizes(evaluator, posed, node, mount.linear @ matrices(turn), wanted.linear)
        if sizes is not None:
            held += _put(table, posed, node, "size", sizes, found)
    return Solved(found, tuple(held))


def _barred(evaluator: Evaluator, posed: Posed, node: str, wanted: World) -> Iterator[Held]:
    """Parts of a node that are off and have no free channel at all."""
    off = {}
    if wanted.place is not None:
        off["move"] = np.abs(posed.place(node) - wanted.place).max(axis=1)
    if wanted.turn is not None:
        off["turn"] = np.abs(turned_by(posed.turn(node), back(wanted.turn))[:, :3]).max(axis=1)
    for part, far in off.items():
        if not free(evaluator, node, part) and (far > HELD).any():
            locked = any(evaluator.channels[f"{node}.{part}.{axis}"].locked for axis in "xyz")
            yield Held(f"{node}.{part}", "locked" if locked else "driven", far > HELD)


def free(evaluator: Evaluator, node: str, part: str) -> bool:
    """Whether an animator can set any channel of a part of a node."""
    return any(True for _ in free_channels(evaluator, node, (part,)))


def free_channels(
    evaluator: Evaluator, node: str, of: tuple[str, ...] = ("move", "turn")
) -> Iterator[Channel]:
    """The channels of some parts of a node that are neither locked nor driven."""
    for part in of:
        for axis in "xyz":
            channel = evaluator.channels[f"{node}.{part}.{axis}"]
            if not channel.locked and not channel.driven:
                yield channel


def _put(
    table: Mapping[str, Channel],
    posed: Posed,
    node: str,
    part: str,
    values: Array,
    found: dict[str, Array],
) -> Iterator[Held]:
    """Put the values of a part where they may go, within limits; yields what is kept from them."""
    for axis, letter in enumerate("xyz"):
        name = f"{node}.{part}.{letter}"
        channel, value = table[name], values[:, axis]
        if channel.locked or channel.driven:
            kept = np.abs(value - posed.channel(name)) > HELD
            if kept.any():
                yield Held(name, "locked" if channel.locked else "driven", kept)
            continue
        within = np.clip(value, channel.low, channel.high)
        beyond = np.abs(value - within) > HELD
        if beyond.any():
            yield Held(name, "limited", beyond)
        found[name] = within


def _turn_with(evaluator: Evaluator, posed: Posed, node: str, found: Mapping[str, Array]) -> Array:
    angles = [
        found.get(name, posed.channel(name)) for name in (f"{node}.turn.{axis}" for axis in "xyz")
    ]
    order = evaluator.settled.rig.node(node).order
    return whole(quaternion_from_euler((angles[0], angles[1], angles[2]), order))


def _sizes(
    evaluator: Evaluator, posed: Posed, node: str, mounted: Array, wanted: Array
) -> Array | None:
    """Sizes along a node's own axes that bring its linear part nearest; None where they are so."""
    sizes = np.sqrt((wanted**2).sum(axis=1) / (mounted**2).sum(axis=1))
    if evaluator.settled.rig.node(node).size_even:
        sizes = np.repeat(np.cbrt(np.prod(sizes, axis=1))[:, None], 3, axis=1)
    now = vectors(posed, node, "size")
    return None if np.abs(sizes - now).max(initial=0.0) <= HELD else sizes


# ---- turns ---------------------------------------------------------------------------------------


def _angles(
    evaluator: Evaluator, posed: Posed, node: str, local: Array, near: Mapping[str, Array]
) -> Array:
    """Turns about x, y and z (poses, 3) that make the local turns, each nearest to the one before.

    Of equal ways to make a turn, those that locks and limits allow come first.
    """
    channels = [evaluator.channels[f"{node}.turn.{axis}"] for axis in "xyz"]
    order = evaluator.settled.rig.node(node).order
    raw = whole(euler_from_quaternion(parts(local), order))
    now = vectors(posed, node, "turn")
    before = np.array(
        [np.broadcast_to(near.get(c.name, now[:, k]), len(now))[0] for k, c in enumerate(channels)]
    )
    fixed = np.array([c.locked or c.driven for c in channels])
    low = np.array([c.low for c in channels])
    high = np.array([c.high for c in channels])
    found = np.empty_like(raw)
    for k in range(len(raw)):
        low_now, high_now = np.where(fixed, now[k], low), np.where(fixed, now[k], high)
        found[k] = before = nearest_angles(raw[k], order, before, low_now, high_now)
    return found


def nearest_angles(angles: Array, order: str, before: Array, low: Array, high: Array) -> Array:
    """The three turns that make the same turn as `angles`, within bounds if any is, nearest.

    The middle turn m has a second way, 180° - m, with the first and the last turned by 180°; each
    turn may go round more. At a middle turn of ±90° the first and the last turn about one axis:
    they share what is left so that both go as little as they can.
    """
    first, middle, last, parity = ORDERS[order]
    ways = []
    for flipped in (False, True):
        way = angles.copy()
        if flipped:
            way[first] += PI
            way[last] += PI
            way[middle] = PI - way[middle]
        way = before + _wrapped(way - before)
        if abs(np.cos(way[middle])) < LOCK:
            way = _shared(way, before, first, last, parity * np.sign(np.sin(way[middle])))
        ways.append(way)
    ways += _rounds(ways, low, high)
    best = min(
        range(len(ways)), key=lambda k: (_outside(ways[k], low, high), _far(ways[k], before), k)
    )
    return np.asarray(ways[best])


def _wrapped(angles: Array) -> Array:
    return np.asarray(angles - 2.0 * PI * np.round(angles / (2.0 * PI)))


def _shared(way: Array, before: Array, first: int, last: int, sign: float) -> Array:
    """At the middle's ±90° only first - sign · last counts: shift both, and keep that."""
    shift = ((before[first] - way[first]) + sign * (before[last] - way[last])) / 2.0
    found = way.copy()
    found[first] += shift
    found[last] += sign * shift
    return found


def _rounds(ways: list[Array], low: Array, high: Array) -> list[Array]:
    """The ways with turns gone round once more or less, where that comes within bounds."""
    found = []
    for way in ways:
        if _outside(way, low, high) <= HELD:
            continue
        for rounds in combinations((-1.0, 0.0, 1.0), repeat=3):
            other = way + 2.0 * PI * np.array(rounds)
            if _outside(other, low, high) < _outside(way, low, high):
                found.append(other)
    return found


def _outside(way: Array, low: Array, high: Array) -> float:
    """How far beyond their bounds turns are in all, in steps that rounding does not cross."""
    beyond = np.maximum(np.maximum(low - way, way - high), 0.0).sum()
    return float(np.round(beyond, 9))


def _far(way: Array, before: Array) -> float:
    return float(np.round(((way - before) ** 2).sum(), 9))
