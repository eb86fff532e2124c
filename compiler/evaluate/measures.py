"""Numbers read from results: distances, angles, twists and stretches, at every pose."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from somite.evaluate import lay_chains
from somite.evaluate.algebra import Array, planes, twist_angle
from somite.evaluate.curve import Form, Path
from somite.evaluate.laying import Key, Laying
from somite.evaluate.live import Number
from somite.evaluate.nodes import encode_places, encoded_scale, scale_of
from somite.evaluate.scalar import live as scalar
from somite.evaluate.scalar.curve import curve_stretched
from somite.evaluate.state import TURN, Size, State
from somite.ir import Apply, Live, Map, Measure, Read, Vector
from somite.settle import AXES
from somite.spatial.rotation import conjugate, product
from somite.spatial.vector import ZERO, distance

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer


def needs(laying: Laying, value: Live) -> Iterator[Key]:
    """What a live number is read from."""
    match value:
        case Read():
            yield from laying.channel_needs(value.channel)
        case Measure():
            yield from _measure_needs(laying, value)
        case Apply():
            for operand in value.operands:
                yield from needs(laying, operand)
        case Map():
            yield from needs(laying, value.value)
            for start, stop in value.pairs:
                yield from needs(laying, start)
                yield from needs(laying, stop)


def _measure_needs(laying: Laying, measure: Measure) -> Iterator[Key]:
    name = measure.of[0]
    if measure.what == "stretch" and name in laying.curves:
        lay_chains.points(laying, name)
        yield "curve", name
        yield "size", _scale_of_curve(laying, name)
    elif measure.what == "stretch":
        chain = laying.chains[name]
        yield "size", laying.inherited.mount(chain.joints[0])
        for joint in chain.joints:
            yield "place", laying.slot(joint)
        yield "linear", laying.slot(chain.joints[-1])
    else:
        part = "place" if measure.what == "distance" else "turn"
        for node in measure.of:
            yield part, laying.slot(node)


def measure(laying: Laying, measure: Measure) -> Number:
    """The number of a measure."""
    if measure.what == "stretch":
        name = measure.of[0]
        return _curve(laying, name) if name in laying.curves else _chain(laying, name)
    first, second = (laying.slot(name) for name in measure.of)
    if measure.what == "distance":
        return Apart(first, second)
    axis = AXES[measure.axis] if measure.axis is not None else None
    return Angle(second, first, axis if measure.what == "twist" else None)


@dataclass(frozen=True, slots=True)
class Apart:
    """The distance between two slots."""

    first: int
    second: int

    def __call__(self, state: State) -> Array:
        """The distances."""
        places = (planes(state.world[slot, :3, 3]) for slot in (self.first, self.second))
        return np.asarray(distance(*places))

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`."""
        made = writer.scratch(1)
        writer.add(scalar.apart, [(made, writer.slot(self.first), writer.slot(self.second))])
        return made


@dataclass(frozen=True, slots=True)
class Angle:
    """The angle of the second slot's turn seen from the first; of its twist, with an axis."""

    first: int
    second: int
    axis: Vector | None

    def __call__(self, state: State) -> Array:
        """The angles."""
        relative = _relative(state, self.first, self.second)
        return _angle(relative) if self.axis is None else twist_angle(relative, self.axis)

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`."""
        made, about = writer.scratch(1), self.axis is not None
        axis = writer.constant(*(self.axis or ZERO))
        slots = (writer.slot(self.first), writer.slot(self.second))
        writer.add(scalar.angle_between, [(made, *slots, axis, int(about))])
        return made


def _relative(state: State, first: int, second: int) -> Any:
    """The turn of the second as seen from the first."""
    a, b = (planes(state.world[slot, TURN]) for slot in (first, second))
    return product(conjugate(a), b)


def _angle(q: Any) -> Array:
    x, y, z, w = q
    return np.asarray(2.0 * np.arctan2(np.sqrt(x * x + y * y + z * z), np.abs(w)))


def _scale_of_curve(laying: Laying, name: str) -> Any:
    """A curve's size is that of its first owner, or of what carries it."""
    curve = laying.curves[name]
    owner = curve.shares[0].grip if curve.shares else curve.parent
    return laying.inherited.passed(owner)


def _curve(laying: Laying, name: str) -> Number:
    size = _scale_of_curve(laying, name)
    laying.asked.add(size)
    form, row = lay_chains.form_of(laying, name), laying.curve_rows[name]
    return CurveStretch(form, row, laying.settled.curves[name].length, size)


@dataclass(frozen=True, slots=True)
class CurveStretch:
    """How many times its rest length, at its present size, a curve is long."""

    form: Form
    row: int
    rest: float
    size: Size

    def __call__(self, state: State) -> Any:
        """The ratios."""
        lengths = Path(self.form, state.points[self.row]).lengths()
        return lengths[-1] / (self.rest * scale_of(state, self.size))

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`."""
        form, made, scale = self.form, writer.scratch(1), encoded_scale(writer, self.size)
        slopes, velocities = form.encode_slopes(writer, self.row)
        parts = len(form.halves)
        fixed = writer.constant(self.rest, *form.breaks)
        lengths = writer.scratch(2 * (parts + 1))
        following = (len(velocities), *velocities)
        writer.add(curve_stretched, [(made, scale, fixed, slopes, parts, lengths, *following)])
        return made


def _chain(laying: Laying, name: str) -> Number:
    chain = laying.chains[name]
    size = laying.inherited.mount(chain.joints[0])
    laying.asked.add(size)
    places = [laying.nodes[joint].rest.place for joint in chain.joints]
    rest = sum(distance(a, b) for a, b in pairwise([*places, chain.end]))
    slots = [laying.slot(joint) for joint in chain.joints]
    return ChainStretch(slots, laying.settled.ends[name], rest, size)


@dataclass(frozen=True, slots=True)
class ChainStretch:
    """How many times its rest length, at its present size, a chain is long."""

    slots: Sequence[int]
    end: Vector
    rest: float
    size: Size

    def __call__(self, state: State) -> Any:
        """The ratios."""
        reached = [state.world[slot, :3, 3] for slot in self.slots]
        reached.append(np.matmul(np.array([*self.end, 1.0]), state.world[self.slots[-1], :3]))
        total = sum(np.sqrt(((b - a) ** 2).sum(axis=0)) for a, b in pairwise(reached))
        return total / (self.rest * scale_of(state, self.size))

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`."""
        count, end = len(self.slots), writer.scratch(3)
        encode_places(writer, [end], self.slots[-1:], [self.end])
        rows = [writer.scratch(1) for _ in range(count)]
        reached = [*map(writer.slot, self.slots), end]
        writer.add(
            scalar.apart,
            [(row, *pair) for row, pair in zip(rows, pairwise(reached), strict=True)],
        )
        total, made = writer.scratch(1), writer.scratch(1)
        shares = writer.constant(*[1.0 / self.rest] * count)
        writer.add(scalar.summed, [(total, shares, count, *rows)])
        divided = scalar.OPERATIONS.index("divide")
        writer.add(scalar.applied, [(made, divided, total, encoded_scale(writer, self.size), 0)])
        return made
