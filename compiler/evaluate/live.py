"""Live numbers: expressions over channels, dials, gauges and measures, compiled to functions.

In comes a live expression of the rig, out goes a function from a state to a number a pose. Every
result is finite: a quotient by zero and a remainder by zero are zero, the root of a negative
number is zero, and what grows beyond bounds is held at them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import TYPE_CHECKING, Any, Literal, Protocol, TypeAlias

import numpy as np

from somite.evaluate.algebra import Array
from somite.evaluate.scalar import live as scalar
from somite.evaluate.state import State
from somite.ir import Apply, Constant, Live, Map, Measure, Read

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer

HUGE = scalar.HUGE
"""What no live number goes beyond."""
Kind: TypeAlias = Literal["move", "turn", "size", "dial", "gauge"]


class Number(Protocol):
    """A number at any pose, as every `Step` in two forms."""

    def __call__(self, state: State) -> Array | float:
        """The number: one, or one a pose."""

    def encode(self, writer: Writer) -> int:
        """The row of a program's memory that has it, after operations written here."""


@dataclass(frozen=True, slots=True)
class Fixed:
    """A number that is the same in every pose."""

    value: float

    def __call__(self, state: State) -> float:
        """The number."""
        return self.value

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`."""
        return writer.fixed(self.value)


@dataclass(frozen=True, slots=True)
class Kept:
    """What a row of a state's channels, dials or gauges holds."""

    kind: Kind
    row: int
    axis: int = 0

    def __call__(self, state: State) -> Array:
        """The numbers."""
        return np.asarray(self._held(state)[self._index])

    def put(self, state: State, value: Any) -> None:
        """Keep other numbers."""
        self._held(state)[self._index] = value

    @property
    def _index(self) -> Any:
        return self.row if self.kind in ("dial", "gauge") else (self.row, self.axis)

    def _held(self, state: State) -> Array:
        held: Array = getattr(state, f"{self.kind}s")
        return held

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`."""
        if self.kind == "dial":
            return writer.dial(self.row)
        if self.kind == "gauge":
            return writer.gauge(self.row)
        place = {"move": writer.move, "turn": writer.turn, "size": writer.size}[self.kind]
        return place(self.row, self.axis)


def number(
    value: Live, read: Callable[[str], Number], measure: Callable[[Measure], Number]
) -> Number:
    """The number of an expression; `read` and `measure` give those of its leaves."""
    match value:
        case Constant():
            return Fixed(value.value)
        case Read():
            return read(value.channel)
        case Measure():
            return measure(value)
        case Map():
            source = number(value.value, read, measure)
            pairs = [(number(a, read, measure), number(b, read, measure)) for a, b in value.pairs]
            return Mapped(source, pairs, value.smooth)
        case Apply():
            operands = [number(one, read, measure) for one in value.operands]
            return Applied(value.operation, operands)


@dataclass(frozen=True, slots=True)
class Applied:
    """An operation on numbers, held within bounds."""

    operation: str
    operands: Sequence[Number]

    def __call__(self, state: State) -> Any:
        """The numbers."""
        return _bounded(_OPERATIONS[self.operation](*[one(state) for one in self.operands]))

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`; of many operands two and two are taken."""
        held = [one.encode(writer) for one in self.operands]
        made = writer.scratch(1)
        if self.operation in ("minimum", "maximum"):
            pairs = [(held[0], held[0]), *[(made, other) for other in held[1:]]]
            operands: list[tuple[int, ...]] = [(*pair, 0) for pair in pairs]
        else:
            operands = [(*held, *[0] * (3 - len(held)))]
        which = scalar.OPERATIONS.index(self.operation)
        writer.add(scalar.applied, [(made, which, *three) for three in operands])
        return made


@dataclass(frozen=True, slots=True)
class Mapped:
    """A number through a map, held within bounds."""

    source: Number
    pairs: Sequence[tuple[Number, Number]]
    smooth: bool

    def __call__(self, state: State) -> Any:
        """The numbers."""
        starts, values = ([pair[k](state) for pair in self.pairs] for k in (0, 1))
        return _bounded((smooth if self.smooth else straight)(self.source(state), starts, values))

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`."""
        source = self.source.encode(writer)
        pairs = [one.encode(writer) for pair in self.pairs for one in pair]
        made = writer.scratch(1)
        writer.add(scalar.mapped, [(made, source, int(self.smooth), len(self.pairs), *pairs)])
        return made


@dataclass(frozen=True, slots=True)
class Summed:
    """A sum of numbers by constant shares."""

    terms: Sequence[tuple[float, Number]]

    def __call__(self, state: State) -> Any:
        """The numbers."""
        found: Any = 0.0
        for share, value in self.terms:
            found = found + share * value(state)
        return found

    def encode(self, writer: Writer) -> int:
        """As `Number.encode`."""
        held = [value.encode(writer) for _, value in self.terms]
        made, shares = writer.scratch(1), writer.constant(*[share for share, _ in self.terms])
        writer.add(scalar.summed, [(made, shares, len(held), *held)])
        return made


def _bounded(value: Any) -> Any:
    return np.clip(value, -HUGE, HUGE)


def _quotient(a: Any, b: Any) -> Any:
    nothing = np.equal(b, 0.0)
    return np.where(nothing, 0.0, np.clip(a / np.where(nothing, 1.0, b), -HUGE, HUGE))


def _modulo(a: Any, b: Any) -> Any:
    nothing = np.equal(b, 0.0)
    return np.where(nothing, 0.0, np.mod(a, np.where(nothing, 1.0, b)))


def _least(*values: Any) -> Any:
    found = values[0]
    for value in values[1:]:
        found = np.minimum(found, value)
    return found


def _most(*values: Any) -> Any:
    found = values[0]
    for value in values[1:]:
        found = np.maximum(found, value)
    return found


_OPERATIONS: dict[str, Callable[..., Any]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "divide": _quotient,
    "negate": lambda a: -a,
    "minimum": _least,
    "maximum": _most,
    "clamp": lambda value, low, high: np.minimum(np.maximum(value, low), high),
    "absolute": np.abs,
    "root": lambda a: np.sqrt(np.maximum(a, 0.0)),
    "sine": np.sin,
    "cosine": np.cos,
    "modulo": _modulo,
    "is": lambda a, b: np.equal(np.rint(a), b).astype(np.float64),
}


def _shares(x: Any, starts: Sequence[Any]) -> list[Any]:
    """How far x has come from each breakpoint to the next: 0 before, 1 beyond.

    Breakpoints that meet or cross, as live ones can, make a step at the later one.
    """
    found = []
    for low, high in pairwise(starts):
        width = np.subtract(high, low)
        open_ = width > 1e-12
        share = np.clip((x - low) / np.where(open_, width, 1.0), 0.0, 1.0)
        found.append(np.where(open_, share, np.greater_equal(x, high).astype(np.float64)))
    return found


def straight(x: Any, starts: Sequence[Any], values: Sequence[Any]) -> Any:
    """The piecewise linear map through (starts, values), held flat outside."""
    found = values[0]
    for k, share in enumerate(_shares(x, starts)):
        found = found + (values[k + 1] - values[k]) * share
    return found


def smooth(x: Any, starts: Sequence[Any], values: Sequence[Any]) -> Any:
    """The monotone cubic Hermite map through (starts, values), level at both ends.

    Inner slopes are weighted harmonic means of the neighbouring secants where these agree in
    sign, else zero (F. N. Fritsch and J. Butland, SIAM Journal on Scientific and Statistical
    Computing 5(2), 1984).
    """
    widths = [np.maximum(np.subtract(b, a), 1e-12) for a, b in pairwise(starts)]
    secants = [
        np.subtract(b, a) / width
        for a, b, width in zip(values[:-1], values[1:], widths, strict=True)
    ]
    slopes: list[Any] = [0.0]
    for k in range(1, len(secants)):
        slopes.append(_slope(secants[k - 1], secants[k], widths[k - 1], widths[k]))
    slopes.append(0.0)
    found = values[0]
    for k, t in enumerate(_shares(x, starts)):
        rise = np.subtract(values[k + 1], values[k]) * (t * t * (3.0 - 2.0 * t))
        bend = widths[k] * (slopes[k] * (t * (1.0 - t) ** 2) - slopes[k + 1] * (t * t * (1.0 - t)))
        found = found + rise + bend
    return found


def _slope(before: Any, after: Any, width_before: Any, width_after: Any) -> Any:
    agree = before * after > 0.0
    a, b = np.where(agree, before, 1.0), np.where(agree, after, 1.0)
    heavy, light = 2.0 * width_after + width_before, width_after + 2.0 * width_before
    return np.where(agree, (heavy + light) / (heavy / a + light / b), 0.0)


@dataclass(slots=True)
class Written:
    """A live number kept in rows, within bounds."""

    value: Number
    kept: Sequence[Kept]
    low: float = -inf
    high: float = inf

    def run(self, state: State) -> None:
        """Work it out and keep it."""
        found = np.clip(self.value(state), self.low, self.high)
        for row in self.kept:
            row.put(state, found)

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        value = self.value.encode(writer)
        bounds = writer.constant(self.low, self.high)
        writer.add(scalar.kept, [(row.encode(writer), value, bounds) for row in self.kept])
