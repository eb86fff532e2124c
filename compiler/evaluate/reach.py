"""Reaching: a chain's end brought to a goal, bent toward a pole.

Two bones are solved in closed form (law of cosines; Euclid, Elements II.12 and II.13). A longer
chain keeps the sense in which it is bent at rest: all its bends are taken more or less by one
factor, which is found from a table of the chain's shape and refined by a fixed number of steps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from somite.evaluate.algebra import Array, Parts, arc, half_of, stack
from somite.evaluate.live import Number
from somite.evaluate.nodes import Mount, encoded_scale, scale_of
from somite.evaluate.scalar import reach as scalar
from somite.evaluate.scalar.reach import FULL, ON_LINE, REFINEMENTS
from somite.evaluate.state import TURN, Size, State
from somite.ir import Quaternion
from somite.spatial.rotation import product, rotated, shortest_arc
from somite.spatial.vector import Y, cross, dot, rejected, subtract, unit

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer


@dataclass(slots=True)
class Bend:
    """How a group of chains is laid: arrays over the chains, constant over poses (n, 1) each.

    `line` is a rest direction in the mount, `frame` the turn there of the frame whose x is the
    line and whose y is the bend; `cosine` and `sine` are of the angle from the pole's direction to
    the bend. A pole of -1 is none.
    """

    line: Parts
    frame: Parts
    cosine: Array
    sine: Array
    poles: Sequence[int]


@dataclass(slots=True)
class Reached:
    """Reaches of as many bones each: n chains.

    `mounts` are those of the first joints, `joints` the first slot of each chain's turns; places
    of the second joint on go to the same slots. `shapes` solve chains of more bones. `extras` is
    the first row of the joints' sizes, which lengthen bones along their axes, where chains can.
    """

    joints: Sequence[int]
    mounts: Sequence[Mount]
    goals: Sequence[int]
    scales: Sequence[Size]
    bend: Bend
    bones: Array
    offsets: Sequence[Parts]
    ease_from: Array
    stretch: Sequence[Number]
    shapes: Sequence[Shape | None]
    extras: Sequence[tuple[int, int] | None]

    def run(self, state: State) -> None:
        """Reach."""
        place = _gathered([mount.places(state)[0] for mount in self.mounts])
        turn = _gathered([mount.turns(state)[0] for mount in self.mounts])
        goal = _gathered([state.world[slot, :3, 3] for slot in self.goals])
        scale = np.stack([np.ones(state.poses) * scale_of(state, one) for one in self.scales])
        frame, line, apart = self._laid(state, place, turn, goal, scale)
        stretch = np.stack([np.ones(state.poses) * one(state) for one in self.stretch])
        whole = self.bones.sum(axis=0) * scale
        near = eased(apart, self.ease_from * scale, whole)
        grown = np.where(near > 0.0, apart / np.where(near > 0.0, near, 1.0), 1.0)
        grown = 1.0 + np.clip(stretch, 0.0, 1.0) * np.maximum(grown - 1.0, 0.0)
        for held, one in zip(self.extras, grown, strict=True):
            if held is not None:
                first, axis = held
                state.extras[first : first + len(self.bones), axis] = one
        ways = self._ways(near / scale)
        self._write(state, place, frame, line, ways, scale * grown)

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        members = []
        for k, shape in enumerate(self.shapes):
            mount, count = writer.scratch(7), len(self.bones)
            self.mounts[k].encode_places(writer, [mount])
            self.mounts[k].encode_turns(writer, [mount])
            pole, held = self.bend.poles[k], self.extras[k]
            extras = 0 if held is None else writer.extra(held[0]) + held[1] * writer.lanes
            table, entries = (0, 0) if shape is None else shape.encode(writer)
            members.append(
                (
                    count,
                    mount,
                    writer.slot(self.goals[k]),
                    0 if pole < 0 else writer.slot(pole),
                    encoded_scale(writer, self.scales[k]),
                    self.stretch[k].encode(writer),
                    extras,
                    writer.scratch(scalar.rows_of_room(count)),
                    writer.constant(*self._constants(k)),
                    table,
                    entries,
                    *[writer.slot(self.joints[k] + bone) for bone in range(count)],
                )
            )
        writer.add(scalar.reached, members)

    def _constants(self, k: int) -> list[float]:
        """What the operation knows of one chain."""
        bend, bones = self.bend, self.bones[:, k, 0].tolist()
        found = [float(part[k, 0]) for part in (*bend.line, *bend.frame)]
        found += [float(bend.cosine[k, 0]), float(bend.sine[k, 0])]
        found += [float(self.bones[:, k].sum()), float(self.ease_from[k, 0])]
        for length, offset in zip(bones, self.offsets, strict=True):
            found += [length, *[float(part[k, 0]) for part in offset]]
        return found

    def _laid(
        self, state: State, place: Parts, turn: Parts, goal: Parts, scale: Array
    ) -> tuple[Parts, Parts, Array]:
        """The frame of the chain's plane (x to the goal, y to the bend), x, and how far."""
        way = subtract(goal, place)
        apart = np.sqrt(dot(way, way))
        carried = rotated(turn, self.bend.line)
        here = apart <= 1e-150
        size = np.where(here, 1.0, apart)
        line = tuple([np.where(here, a, b / size) for a, b in zip(carried, way, strict=True)])
        frame = product(product(arc(carried, line), turn), self.bend.frame)
        if any(pole >= 0 for pole in self.bend.poles):
            frame = self._poled(state, place, line, frame, scale)
        return frame, line, apart

    def _poled(self, state: State, place: Parts, line: Parts, frame: Parts, scale: Array) -> Parts:
        """The frame turned about x, so that y lies to a pole off the line as at rest."""
        slots = [max(pole, 0) for pole in self.bend.poles]
        pole = _gathered([state.world[slot, :3, 3] for slot in slots])
        toward = rejected(subtract(pole, place), line)
        limit = ON_LINE * self.bones.sum(axis=0) * scale
        none = np.array([pole < 0 for pole in self.bend.poles])[:, None]
        vague = none | (dot(toward, toward) <= limit * limit)
        bend = rotated(frame, Y)
        cosine, sine = dot(bend, toward), dot(cross(bend, toward), line)
        ahead = cosine * self.bend.cosine - sine * self.bend.sine
        aside = sine * self.bend.cosine + cosine * self.bend.sine
        c, s = half_of(np.where(vague, 1.0, ahead), np.where(vague, 0.0, aside))
        x, y, z, w = frame
        return x * c + w * s, y * c + z * s, z * c - y * s, w * c - x * s

    def _ways(self, apart: Array) -> list[Parts]:
        """Each bone as seen from the line: along it, toward the bend, and aside; rest lengths."""
        if len(self.bones) == 2:
            return _two_bones(self.bones, apart)
        made = [shape.ways(one) for shape, one in zip(self.shapes, apart, strict=True) if shape]
        return [
            tuple([np.stack([ways[k][axis] for ways in made]) for axis in range(3)])
            for k in range(len(self.bones))
        ]

    def _write(
        self,
        state: State,
        place: Parts,
        frame: Parts,
        line: Parts,
        ways: list[Parts],
        scale: Array,
    ) -> None:
        bend = rotated(frame, Y)
        normal = cross(line, bend)
        count = len(self.joints)
        at = place
        for k, (ahead, up, aside) in enumerate(ways):
            laid = _laid_along(frame, ahead, up, aside)
            turn = stack(product(laid, self.offsets[k]), (count, 4, state.poses))
            places = stack(at, (count, 3, state.poses))
            for chain, first in enumerate(self.joints):
                state.world[first + k, TURN] = turn[chain]
                state.world[first + k, :3, 3] = places[chain]
            if k + 1 == len(ways):
                break
            way = [
                a * ahead + b * up + c * aside for a, b, c in zip(line, bend, normal, strict=True)
            ]
            at = tuple([a + b * scale for a, b in zip(at, way, strict=True)])


def _laid_along(frame: Parts, ahead: Array, up: Array, aside: Array) -> Parts:
    """The frame turned about z, then about y, so that x lies along a direction seen from it."""
    x, y, z, w = frame
    c, s = half_of(ahead, up)
    turned = x * c + y * s, y * c - x * s, z * c + w * s, w * c - z * s
    if not aside.any():
        return turned
    c, s = half_of(np.sqrt(ahead * ahead + up * up), -aside)
    x, y, z, w = turned
    return x * c - z * s, y * c + w * s, z * c + x * s, w * c - y * s


def _gathered(arrays: Sequence[Array]) -> Parts:
    return tuple([np.stack([array[k] for array in arrays]) for k in range(len(arrays[0]))])


def eased(apart: Array, start: Array, whole: Array) -> Array:
    """How far a chain reaches for a goal so far: as far, and from `start` on softly up to whole.

    The softened distance nears the whole length by exp(-x), with the slope of 1 where it begins.
    """
    room = whole - start
    soft = room > 1e-9 * whole
    over = np.maximum(apart - start, 0.0) / np.where(soft, room, 1.0)
    eased_to = whole - room * np.exp(-over)
    return np.where(apart <= start, apart, np.where(soft, eased_to, np.minimum(apart, whole)))


def _two_bones(bones: Array, apart: Array) -> list[Parts]:
    """The two bones of a triangle with the third side so long, as near as they can make it."""
    upper, lower = bones[0], bones[1]
    farthest, nearest = upper + lower, np.abs(upper - lower)
    apart = np.clip(apart, nearest, farthest)
    folded = apart <= 0.0
    ahead = (apart * apart + (upper - lower) * (upper + lower)) / np.where(folded, 1.0, 2.0 * apart)
    ahead = np.where(folded, 0.0, np.clip(ahead, -upper, upper))
    flat = apart >= farthest * FULL
    ahead = np.where(flat, upper, ahead)
    up = np.sqrt((upper - ahead) * (upper + ahead))
    aside = np.zeros(apart.shape)
    return [(ahead, up, aside), (np.where(flat, lower, apart - ahead), -up, aside)]


TABLE = 1024
"""Entries of a longer chain's table, from straight to folded."""


class Shape:
    """A chain of three bones or more, bent by a factor: 0 is straight, 1 the rest.

    `line`, `bend` and `points` as settling keeps them, in the mount's frame. A chain that is
    straight at rest bends evenly, and there 0 is the rest.
    """

    def __init__(self, points: Array, line: Array, bend: Array, straight: bool) -> None:
        ways = np.diff(points, axis=0)
        self.lengths = np.sqrt((ways * ways).sum(axis=1))
        self.whole = float(self.lengths.sum())
        normal = np.cross(line, bend)
        self.first = ways[0] / self.lengths[0]
        self.normal = normal
        unit_ways = ways / self.lengths[:, None]
        if straight:
            even = -normal * (np.pi / len(self.lengths))
            self.turnings = np.repeat(even[None], len(ways) - 1, axis=0)
        else:
            self.turnings = _bends(unit_ways, normal)
        self._tabulate()

    def encode(self, writer: Writer) -> tuple[int, int]:
        """The constants of a shape, and how many entries its table has."""
        found = [self.whole, *self.first, *self.normal]
        for turning in self.turnings:
            found += self._angle_and_axis(turning)
        table = (*self.hidden, *self.factors, self.apart[-1])
        return writer.constant(*found, *table), len(self.factors)

    def _angle_and_axis(self, turning: Array) -> list[float]:
        angle = float(np.sqrt(turning @ turning))
        return [angle, *(turning / angle if angle > 0.0 else self.normal)]

    def _tabulate(self) -> None:
        """Distances from root to end by factor, up to where the end first comes nearest."""
        largest = float(np.sqrt((self.turnings**2).sum(axis=1)).max())
        top = 0.98 * np.pi / largest
        factors = np.linspace(0.0, top, TABLE)
        apart = self._apart(factors)
        rising = np.flatnonzero(np.diff(apart) > 0.0)
        last = max(2, int(rising[0]) + 1) if len(rising) else TABLE
        self.factors, self.apart = factors[:last], apart[:last]
        self.hidden = np.sqrt(np.maximum(self.whole - self.apart, 0.0))

    def _steps(self, factor: Array) -> list[Parts]:
        """Unit directions of the bones in the mount's frame, at factors (poses)."""
        ahead = tuple([np.full(factor.shape, float(c)) for c in self.first])
        found = [ahead]
        total: Any = None
        for turning in self.turnings:
            angle, *axis = self._angle_and_axis(turning)
            half = factor * (angle * 0.5)
            s = np.sin(half)
            step = (axis[0] * s, axis[1] * s, axis[2] * s, np.cos(half))
            total = step if total is None else product(total, step)
            found.append(rotated(total, self.first))
        return found

    def _end(self, steps: list[Parts]) -> Parts:
        end: list[Any] = [0.0, 0.0, 0.0]
        for length, step in zip(self.lengths, steps, strict=True):
            end = [e + length * s for e, s in zip(end, step, strict=True)]
        return tuple(end)

    def _apart(self, factor: Array) -> Array:
        end = self._end(self._steps(factor))
        return np.asarray(np.sqrt(end[0] ** 2 + end[1] ** 2 + end[2] ** 2))

    def _factor(self, apart: Array) -> Array:
        """The factor at which root and end are so far apart, or as near to that as they come."""
        wanted = np.clip(apart, self.apart[-1], self.whole)
        hidden = np.sqrt(np.maximum(self.whole - wanted, 0.0))
        low_hidden, factors = self.hidden, self.factors
        place = np.clip(np.searchsorted(low_hidden, hidden) - 1, 0, len(factors) - 2)
        low, high = factors[place], factors[place + 1]
        rise = low_hidden[place + 1] - low_hidden[place]
        slope = (high - low) / np.where(rise > 0.0, rise, np.inf)
        factor = low + (hidden - low_hidden[place]) * slope
        for _ in range(REFINEMENTS):
            found = np.sqrt(np.maximum(self.whole - self._apart(factor), 0.0))
            factor = np.clip(factor + (hidden - found) * slope, low, high)
        return np.where(wanted >= self.whole * FULL, 0.0, factor)

    def ways(self, apart: Array) -> list[Parts]:
        """Each bone (along the line, toward the bend, aside) with root and end so far apart."""
        steps = self._steps(self._factor(apart))
        end = self._end(steps)
        normal: Parts = tuple([np.full(apart.shape, float(c)) for c in self.normal])
        line = unit(end, steps[0])
        bend = unit(cross(normal, line), steps[0])
        aside = cross(line, bend)
        found = []
        for length, step in zip(self.lengths, steps, strict=True):
            found.append(tuple([length * dot(step, way) for way in (line, bend, aside)]))
        return found


def _bends(ways: Array, normal: Array) -> Array:
    """The turn, as axis times angle, from each bone to the next, seen from the first bone.

    Composed in order with factor 1, they give back the ways.
    """
    total: Quaternion = (0.0, 0.0, 0.0, 1.0)
    first: Parts = tuple([float(c) for c in ways[0]])
    found = []
    for way in ways[1:]:
        back = (-total[0], -total[1], -total[2], total[3])
        seen: Parts = tuple([float(c) for c in way])
        local = rotated(back, seen)
        x, y, z, w = shortest_arc(first, local)
        size = float(np.sqrt(x * x + y * y + z * z))
        angle = 2.0 * float(np.arctan2(size, w))
        axis = np.array([x, y, z]) / size if size > 0.0 else normal
        found.append(axis * angle)
        total = product(total, (x, y, z, w))
    return np.array(found)
