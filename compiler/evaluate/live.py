"""Live numbers: expressions over channels, dials, gauges and measures, compiled to functions.

In comes a live expression of the rig, out goes a function from a state to a number a pose. Every
result is finite: a quotient by zero and a remainder by zero are zero, the root of a negative
number is zero, and what grows beyond bounds is held at them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeAlias

import numpy as np

from somite.evaluate.algebra import Array
from somite.evaluate.state import State
from somite.ir import Apply, Constant, Live, Map, Measure, Read

Number: TypeAlias = Callable[[State], "Array | float"]

HUGE = 1e12
"""What no live number goes beyond."""


def number(value: Live, read: Callable[[str], Number], measure: Callable[[Measure], Number]) -> Any:
    """The function of an expression; `read` and `measure` give those of its leaves."""
    match value:
        case Constant():
            constant = value.value
            return lambda state: constant
        case Read():
            return read(value.channel)
        case Measure():
            return measure(value)
        case Map():
            source = number(value.value, read, measure)
            pairs = [(number(a, read, measure), number(b, read, measure)) for a, b in value.pairs]
            shape = smooth if value.smooth else straight
            return lambda state: _bounded(
                shape(source(state), [a(state) for a, _ in pairs], [b(state) for _, b in pairs])
            )
        case Apply():
            operation = _OPERATIONS[value.operation]
            operands = [number(one, read, measure) for one in value.operands]
            return lambda state: _bounded(operation(*[one(state) for one in operands]))


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
    """A live number kept in a row: `keep` takes the state and the number."""

    value: Number
    keep: Callable[[State, Any], None]

    def run(self, state: State) -> None:
        """Work it out and keep it."""
        self.keep(state, self.value(state))
