"""How far nodes are from where they were: at keys, and between them.

In come two looks, functions from frames to world transforms of the same nodes in one space; out
come the worst distances, turns and sizes, with node and frame. Nothing here judges or mends.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from somite.matching.keys import between

if TYPE_CHECKING:
    from somite.clip import Clip
    from somite.evaluate import Evaluator, Posed
    from somite.evaluate.algebra import Array

Kind = Literal["joint", "control"]
What = Literal["place", "turn", "size"]
AT_ONCE = 2000
"""Frames that are looked at in one run."""


@dataclass(frozen=True, slots=True)
class Sight:
    """World transforms of nodes: places (poses, nodes, 3), turns (..., 4), linears (..., 3, 3)."""

    places: Array
    turns: Array
    linears: Array


Look: TypeAlias = Callable[["Array"], Sight]
"""A look at frames."""


@dataclass(frozen=True, slots=True)
class Off:
    """A node that is off: by metres, radians or (sizes) one, and the frame where it is worst."""

    node: str
    amount: float
    frame: float


@dataclass(frozen=True, slots=True)
class Remaining:
    """What is left of one kind of node: the worst at keys and the worst between them."""

    kind: Kind
    what: What
    at_keys: Off
    between: Off


def look(clip: Clip, evaluator: Evaluator, nodes: Sequence[str]) -> Look:
    """A look at nodes along a clip."""

    def seen(frames: Array) -> Sight:
        return sight(evaluator.pose(clip.sampled(frames)), nodes)

    return seen


def sight(posed: Posed, nodes: Sequence[str]) -> Sight:
    """The world transforms of nodes in some poses."""
    at = [posed.index[name] for name in nodes]
    return Sight(posed.places[:, at], posed.turns[:, at], posed.linears[:, at])


def remaining(
    before: Look,
    after: Look,
    names: Sequence[str],
    kind: Kind,
    frames: Array,
    apart: Array | None = None,
) -> tuple[Remaining, ...]:
    """What is left of some nodes of one kind at frames, and at those between (or `apart`)."""
    if not names or not len(frames):
        return ()
    apart = between(frames) if apart is None else apart
    at_keys = _looked(before, after, names, frames)
    within = _looked(before, after, names, apart) if len(apart) else at_keys
    whats: tuple[What, ...] = ("place", "turn", "size")
    return tuple(Remaining(kind, what, at_keys[k], within[k]) for k, what in enumerate(whats))


def _looked(before: Look, after: Look, names: Sequence[str], frames: Array) -> tuple[Off, ...]:
    """The worst place, turn and size; of equals the first node, then the first frame."""
    found: list[list[Array]] = [[], [], []]
    for start in range(0, len(frames), AT_ONCE):
        some = frames[start : start + AT_ONCE]
        for held, off in zip(found, _offs(before(some), after(some)), strict=True):
            held.append(off)
    return tuple([_worst(np.concatenate(held), names, frames) for held in found])


def _offs(old: Sight, new: Sight) -> tuple[Array, Array, Array]:
    """Distances, angles and relative differences of sizes: (poses, nodes) each."""
    places = np.sqrt(((new.places - old.places) ** 2).sum(axis=-1))
    same = ((new.turns - old.turns) ** 2).sum(axis=-1)
    opposite = ((new.turns + old.turns) ** 2).sum(axis=-1)
    chord = np.sqrt(np.minimum(same, opposite))
    turns = 4.0 * np.arcsin(np.minimum(1.0, 0.5 * chord))
    sizes_new = np.sqrt((new.linears**2).sum(axis=-2))
    sizes_old = np.sqrt((old.linears**2).sum(axis=-2))
    sizes = np.abs(sizes_new / np.maximum(sizes_old, 1e-12) - 1.0).max(axis=-1)
    return places, turns, sizes


def _worst(off: Array, names: Sequence[str], frames: Array) -> Off:
    shown = np.round(off, 12)
    node = int(np.argmax(shown.max(axis=0)))
    row = int(np.argmax(shown[:, node]))
    return Off(names[node], float(off[row, node]), float(frames[row]))
