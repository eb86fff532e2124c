"""Numbers read from results: distances, angles, twists and stretches, at every pose."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np

from somite.evaluate import lay_chains
from somite.evaluate.algebra import Array, planes, twist_angle
from somite.evaluate.curve import Path
from somite.evaluate.laying import Key, Laying
from somite.evaluate.live import Number
from somite.evaluate.nodes import scale_of
from somite.evaluate.state import TURN, State
from somite.ir import Apply, Live, Map, Measure, Read
from somite.settle import AXES
from somite.spatial.rotation import conjugate, product
from somite.spatial.vector import distance


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
    """The function of a measure."""
    if measure.what == "stretch":
        name = measure.of[0]
        return _curve(laying, name) if name in laying.curves else _chain(laying, name)
    first, second = (laying.slot(name) for name in measure.of)
    if measure.what == "distance":
        return lambda state: apart(state, first, second)
    axis = AXES[measure.axis] if measure.axis is not None else None
    if measure.what == "twist" and axis is not None:
        return lambda state: twist_angle(_relative(state, second, first), axis)
    return lambda state: _angle(_relative(state, second, first))


def apart(state: State, first: int, second: int) -> Array:
    """The distance between two slots."""
    places = (planes(state.world[slot, :3, 3]) for slot in (first, second))
    return np.asarray(distance(*places))


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
    form, row = lay_chains.form_of(laying, name), laying.curve_rows[name]
    rest, size = laying.settled.curves[name].length, _scale_of_curve(laying, name)
    laying.asked.add(size)

    def stretch(state: State) -> Any:
        return Path(form, state.points[row]).lengths()[-1] / (rest * scale_of(state, size))

    return stretch


def _chain(laying: Laying, name: str) -> Number:
    chain = laying.chains[name]
    slots = [laying.slot(joint) for joint in chain.joints]
    places = [laying.nodes[joint].rest.place for joint in chain.joints]
    rest = sum(distance(a, b) for a, b in pairwise([*places, chain.end]))
    size = laying.inherited.mount(chain.joints[0])
    laying.asked.add(size)
    end = np.array([*laying.settled.ends[name], 1.0])

    def stretch(state: State) -> Any:
        reached = [state.world[slot, :3, 3] for slot in slots]
        reached.append(np.matmul(end, state.world[slots[-1], :3]))
        total = sum(np.sqrt(((b - a) ** 2).sum(axis=0)) for a, b in pairwise(reached))
        return total / (rest * scale_of(state, size))

    return stretch
