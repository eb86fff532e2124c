"""Following of several leaders, or about an axis: what single leaders do not need.

Places are summed by weight; turns are aligned in sign to the heaviest leader's, summed and
normalised (to first order the weighted mean: F. L. Markley et al., Journal of Guidance, Control,
and Dynamics 30(4), 2007). Results are written to slots that mounts read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Literal

import numpy as np

from somite.evaluate.algebra import Array, Index, numbers, planes, rows, stack
from somite.evaluate.nodes import encode_places, encode_turns, scale_of
from somite.evaluate.scalar import follow as scalar
from somite.evaluate.state import TURN, Size, State
from somite.ir import Dial, Quaternion, Vector
from somite.spatial.rotation import IDENTITY, conjugate, product, swing_twist
from somite.spatial.vector import ZERO

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights of one follow's leaders: stated, or by a dial at a row of dials.

    A choice takes one leader; a number blends between neighbours, in order over its range (0 to
    1 where it has none), and holds the outermost beyond it.
    """

    stated: tuple[float, ...]
    row: int | None = None
    chooses: bool = False
    low: float = 0.0
    high: float = 1.0

    @property
    def kind(self) -> Literal["stated", "chosen", "between"]:
        """How the weights come about."""
        if self.row is None:
            return "stated"
        return "chosen" if self.chooses else "between"


class Weighting:
    """The weights of n follows of one kind and of m leaders each, at any pose."""

    def __init__(self, held: Sequence[Weights]) -> None:
        self.kind = held[0].kind
        self.held = tuple(held)
        self.stated = np.array([one.stated for one in held])[:, :, None]
        self.order = np.arange(self.stated.shape[1])[:, None]
        self.rows = rows([one.row or 0 for one in held])
        low = np.array([one.low for one in held])[:, None]
        span = np.array([one.high for one in held])[:, None] - low
        last = float(self.stated.shape[1] - 1)
        self.low = low
        self.rate = np.where(span > 0.0, last / np.where(span > 0.0, span, 1.0), 0.0)
        self.last = last

    def of(self, state: State) -> Array:
        """(n, m, poses), summing to one."""
        if self.kind == "stated":
            return np.repeat(self.stated, state.poses, axis=2)
        if self.kind == "chosen":
            chosen = self._chosen(state)
            return np.asarray(chosen[:, None] == self.order, dtype=np.float64)
        value = state.dials[self.rows]
        at = np.minimum(np.maximum((value - self.low) * self.rate, 0.0), self.last)
        return np.asarray(np.maximum(0.0, 1.0 - np.abs(at[:, None] - self.order)))

    def _chosen(self, state: State) -> Array:
        """Which leader each dial chooses: (n, poses)."""
        return np.minimum(np.maximum(np.rint(state.dials[self.rows]), 0.0), self.last)

    def picked(self, state: State, led: Array) -> Array:
        """What the chosen of leaders' (n · m, parts, poses) is: (n, parts, poses)."""
        chosen = self._chosen(state).astype(np.intp)
        every = led.reshape(len(self.held), len(self.order), *led.shape[1:])
        return np.take_along_axis(every, chosen[:, None, None], axis=1)[:, 0]

    def encode(self, writer: Writer) -> list[int]:
        """Where each follow's weights are, one after another, in a program's memory."""
        if self.kind == "stated":
            return [writer.fixed(*one.stated) for one in self.held]
        ranges = zip(self.low[:, 0].tolist(), self.rate[:, 0].tolist(), strict=True)
        found = []
        for one, (low, rate) in zip(self.held, ranges, strict=True):
            leaders, row = len(self.order), one.row or 0
            key = (self.kind, row, leaders, low, rate)
            encode = partial(self._encode_one, writer, row, low, rate)
            found.append(writer.once(key, leaders, encode))
        return found

    def members(
        self, writer: Writer, targets: slice | Index, led: Sequence[int]
    ) -> list[tuple[int, ...]]:
        """Slots, weights (or the dials that choose), how many leaders, and theirs (addresses)."""
        leaders = len(self.order)
        if self.kind == "chosen":
            held = [writer.dial(one.row or 0) for one in self.held]
        else:
            held = self.encode(writer)
        return [
            (writer.slot(target), one, leaders, *led[k * leaders : (k + 1) * leaders])
            for k, (target, one) in enumerate(zip(numbers(targets), held, strict=True))
        ]

    def _encode_one(self, writer: Writer, row: int, low: float, rate: float, to: int) -> None:
        member = (to, writer.dial(row), len(self.order))
        if self.kind == "chosen":
            writer.add(scalar.weighed_by_choice, [member])
        else:
            writer.add(scalar.weighed_between, [(*member, writer.constant(low, rate))])


def weights_of(stated: Sequence[float], dial: Dial | None, row: int | None) -> Weights:
    """The weights of a follow; stated ones are normalised, and must not sum to zero."""
    if dial is None or row is None:
        total = sum(stated)
        return Weights(tuple([weight / total for weight in stated]))
    low = 0.0 if dial.low is None else dial.low
    high = 1.0 if dial.high is None else dial.high
    return Weights(tuple(stated), row, bool(dial.options), low, high)


@dataclass(slots=True)
class BlendedPlaces:
    """Places between leaders: n follows of m leaders each.

    `leaders` has n · m slots, `offsets` (n · m, 1, 4) the rest offsets, None where there are none:
    then the leaders' linear parts are not read.
    """

    target: slice | Index
    leaders: slice | Index
    offsets: Array | None
    weights: Weighting

    def run(self, state: State) -> None:
        """Blend."""
        if self.offsets is None:
            led = state.world[self.leaders, :3, 3]
        else:
            led = np.matmul(self.offsets[:, None], state.world[self.leaders, :3])[:, :, 0]
        if self.weights.kind == "chosen":
            state.world[self.target, :3, 3] = self.weights.picked(state, led)
            return
        weights = self.weights.of(state)
        led = led.reshape(*weights.shape[:2], 3, state.poses)
        state.world[self.target, :3, 3] = (led * weights[:, :, None]).sum(axis=1)

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        slots = numbers(self.leaders)
        if self.offsets is None:
            offsets = [ZERO] * len(slots)
        else:
            offsets = [(x, y, z) for x, y, z in self.offsets[:, 0, :3].tolist()]
        led, moved = _led(writer, slots, [offset == ZERO for offset in offsets])
        encode_places(
            writer, [led[k] for k in moved], [slots[k] for k in moved], [offsets[k] for k in moved]
        )
        chosen = self.weights.kind == "chosen"
        operation = scalar.chosen_places if chosen else scalar.blended_places
        writer.add(operation, self.weights.members(writer, self.target, led))


@dataclass(slots=True)
class BlendedTurns:
    """Turns between leaders: n follows of m leaders each; `turnings` (n · m, 4, 4)."""

    target: slice | Index
    leaders: slice | Index
    turnings: Array
    weights: Weighting

    def run(self, state: State) -> None:
        """Blend."""
        led = np.matmul(self.turnings, state.world[self.leaders, TURN])
        state.world[self.target, TURN] = _weighed(state, led, self.weights)

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        slots = numbers(self.leaders)
        rests = [(x, y, z, w) for x, y, z, w in self.turnings[:, :, 3].tolist()]
        led, turned = _led(writer, slots, [rest == IDENTITY for rest in rests])
        encode_turns(
            writer, [led[k] for k in turned], [slots[k] for k in turned], [rests[k] for k in turned]
        )
        _encode_blend(writer, self.target, led, self.weights)


def _led(
    writer: Writer, slots: Sequence[int], as_it_is: Sequence[bool]
) -> tuple[list[int], list[int]]:
    """Where leaders are to be read, rest offsets included: the slots themselves, or scratch.

    And which of them have to be written to scratch.
    """
    led = [
        writer.slot(slot) if same else writer.scratch(7)
        for slot, same in zip(slots, as_it_is, strict=True)
    ]
    return led, [k for k, same in enumerate(as_it_is) if not same]


def _encode_blend(
    writer: Writer, targets: slice | Index, led: Sequence[int], weights: Weighting
) -> None:
    """Have turns of leaders blended."""
    members = weights.members(writer, targets, led)
    if weights.kind == "chosen":
        writer.add(scalar.chosen_turns, members)
    elif len(weights.order) == 2:
        writer.add(scalar.blended_two, [(to, held, a, b) for to, held, _, a, b in members])
    else:
        writer.add(scalar.blended_turns, members)


def _weighed(state: State, led: Array, weights: Weighting) -> Array:
    """The turns (n, 4, poses) that weights make of leaders' (n · m, 4, poses)."""
    if weights.kind == "chosen":
        return weights.picked(state, led)
    share = weights.of(state)
    return blended(led.reshape(*share.shape[:2], 4, state.poses), share)


def blended(turns: Array, weights: Array) -> Array:
    """The blend (n, 4, poses) of turns (n, m, 4, poses) by weights (n, m, poses).

    Where a sum vanishes the heaviest leader is taken.
    """
    if turns.shape[1] == 2:
        return _between_two(turns[:, 0], turns[:, 1], weights[:, 0], weights[:, 1])
    chosen = np.argmax(weights, axis=1)[:, None, None, :]
    heaviest = np.take_along_axis(turns, chosen, axis=1)[:, 0]
    along = (turns * heaviest[:, None]).sum(axis=2)
    signed = np.where(along < 0.0, -weights, weights)
    total: Array = (turns * signed[:, :, None]).sum(axis=1)
    square = (total * total).sum(axis=1)[:, None]
    nothing = square < 1e-24
    if nothing.any():
        total, square = np.where(nothing, heaviest, total), np.where(nothing, 1.0, square)
    total /= np.sqrt(square)
    return total


def _between_two(a: Array, b: Array, share: Array, other: Array) -> Array:
    """The blend of two turns (n, 4, poses), which aligned in sign cannot vanish."""
    product = a * b
    along = product[:, 0] + product[:, 1] + product[:, 2] + product[:, 3]
    total: Array = a * share[:, None]
    total += b * np.where(along < 0.0, -other, other)[:, None]
    np.multiply(total, total, out=product)
    square = product[:, 0] + product[:, 1] + product[:, 2] + product[:, 3]
    total /= np.sqrt(square)[:, None]
    return total


@dataclass(slots=True)
class TurnsAbout:
    """One follow's turn about an axis of its leaders, seen from its parent.

    `rests` are the leaders' rest turns seen from the parent, `offsets` the rest offsets: what a
    leader has turned about the axis since rest is taken, and nothing else of it.
    """

    target: int
    parent: int
    axis: Vector
    leaders: Sequence[int]
    rests: Sequence[Quaternion]
    offsets: Sequence[Quaternion]
    weights: Weighting

    def run(self, state: State) -> None:
        """Blend."""
        parent = planes(state.world[self.parent, TURN])
        led = []
        for slot, rest, offset in zip(self.leaders, self.rests, self.offsets, strict=True):
            level = product(parent, rest)
            since = product(conjugate(level), planes(state.world[slot, TURN]))
            _, twist = swing_twist(since, self.axis)
            led.append(stack(product(product(level, twist), offset), (4, state.poses)))
        state.world[self.target, TURN] = _weighed(state, np.stack(led), self.weights)[0]

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        led = [writer.scratch(7) for _ in self.leaders]
        parent = writer.slot(self.parent)
        told = zip(led, self.leaders, self.rests, self.offsets, strict=True)
        writer.add(
            scalar.turned_about,
            [
                (to, parent, writer.slot(leader), writer.constant(*self.axis, *rest, *offset))
                for to, leader, rest, offset in told
            ],
        )
        _encode_blend(writer, slice(self.target, self.target + 1), led, self.weights)


@dataclass(slots=True)
class BlendedSize:
    """An inherited size between several, by weight; `made` is where it is kept."""

    sources: Sequence[Size]
    weights: Weighting
    made: Size

    def run(self, state: State) -> None:
        """Blend and keep."""
        total: Array = np.zeros(())
        for weight, source in zip(self.weights.of(state)[0], self.sources, strict=True):
            total = total + weight * self._one(state, source)
        kept = state.scales if self.made.kind == "even" else state.stretches
        kept[self.made.row] = total

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        (weights,) = self.weights.encode(writer)
        sources = [part for one in self.sources for part in writer.size_of(one)]
        made = writer.size_of(self.made)
        writer.add(scalar.blended_sizes, [(*made, weights, len(self.sources), *sources)])

    def _one(self, state: State, source: Size) -> Array:
        if source.kind == "any":
            return np.asarray(state.stretches[source.row])
        scale = np.ones(state.poses) * scale_of(state, source)
        return scale if self.made.kind == "even" else np.eye(3)[:, :, None] * scale
