"""A search for channels where no closed form is known: damped least squares, pose by pose.

In come the channels of controls that may be moved and the world transforms that nodes are to keep;
out come the channels that bring them nearest, within limits. Derivatives are central differences,
all poses and channels in one run of the evaluator (K. Levenberg, Quarterly of Applied Mathematics
2(2), 1944; D. W. Marquardt, SIAM Journal on Applied Mathematics 11(2), 1963). The number of rounds
is fixed and nothing is drawn by chance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from somite.matching.worlds import World, back, turned_by

if TYPE_CHECKING:
    from somite.evaluate import Evaluator, Posed
    from somite.evaluate.algebra import Array, Index
    from somite.evaluate.channels import Channel

ROUNDS = 40
"""Steps at most."""
STEP = 1e-5
"""Half the difference that gives a derivative, in heights and radians."""
ENOUGH = 1e-13
"""A step that betters the sum of squares by a smaller share of it is the last."""
AT_ONCE = 4096
"""Poses that are evaluated in one run."""
ARM = 0.25
"""A turn by one radian weighs as much as a place off by so many heights."""


@dataclass(frozen=True, slots=True)
class Quarry:
    """What is searched for: channels to change and nodes to bring to their worlds."""

    channels: tuple[Channel, ...]
    wanted: Mapping[str, World]
    height: float


def searched(
    evaluator: Evaluator, channels: Mapping[str, Array], quarry: Quarry, rows: Index
) -> dict[str, Array]:
    """New values of the quarry's channels in some poses (row numbers), the others as they were."""
    if not quarry.channels or not len(rows):
        return {}
    given = {name: np.asarray(values)[rows] for name, values in channels.items()}
    wanted = {node: _rows(world, rows) for node, world in quarry.wanted.items()}
    hunt = _Hunt(evaluator, given, Quarry(quarry.channels, wanted, quarry.height), len(rows))
    values = hunt.run()
    poses = len(next(iter(channels.values())))
    found = {}
    for k, channel in enumerate(quarry.channels):
        whole = np.array(channels.get(channel.name, np.full(poses, channel.default)))
        whole[rows] = values[:, k]
        found[channel.name] = whole
    return found


def errors(posed: Posed, wanted: Mapping[str, World], height: float) -> Array:
    """How far nodes are from their worlds, as rows of numbers: (poses, numbers)."""
    found = []
    for node, world in wanted.items():
        if world.place is not None:
            found.append((posed.place(node) - world.place) / (ARM * height))
        if world.turn is not None:
            since = turned_by(posed.turn(node), back(world.turn))
            found.append(2.0 * since[:, :3] * np.where(since[:, 3:] < 0.0, -1.0, 1.0))
    return np.concatenate(found, axis=1) if found else np.zeros((posed.poses, 0))


def _rows(world: World, rows: Index) -> World:
    return World(
        None if world.place is None else world.place[rows],
        None if world.turn is None else world.turn[rows],
    )


class _Hunt:
    """One search under way, all its poses side by side."""

    def __init__(
        self, evaluator: Evaluator, given: Mapping[str, Array], quarry: Quarry, poses: int
    ) -> None:
        self.evaluator, self.given, self.quarry, self.poses = evaluator, given, quarry, poses
        channels = quarry.channels
        self.low = np.array([channel.low for channel in channels])
        self.high = np.array([channel.high for channel in channels])
        self.scale = np.array([quarry.height if c.part == "move" else 1.0 for c in channels])

    def run(self) -> Array:
        """The best values found: (poses, channels)."""
        start = [
            self.given.get(c.name, np.full(self.poses, c.default)) for c in self.quarry.channels
        ]
        at: Array = np.clip(np.stack(start, axis=1), self.low, self.high)
        error = self._errors(at)
        cost = (error**2).sum(axis=1)
        damping = np.full(self.poses, 1e-3)
        for _ in range(ROUNDS):
            slopes = self._slopes(at)
            step = self._step(at, error, slopes, damping)
            tried = np.clip(at + step, self.low, self.high)
            new = self._errors(tried)
            new_cost = (new**2).sum(axis=1)
            better = new_cost < cost
            done = better & (cost - new_cost <= ENOUGH * cost)
            at = np.where(better[:, None], tried, at)
            error = np.where(better[:, None], new, error)
            cost = np.where(better, new_cost, cost)
            damping = np.clip(np.where(better, damping * 0.1, damping * 10.0), 1e-12, 1e12)
            if (done | (damping >= 1e12) | (cost <= 1e-24)).all():
                break
        return at

    def _step(self, at: Array, error: Array, slopes: Array, damping: Array) -> Array:
        """A damped step; a channel at its limit that would go beyond it stays."""
        gradient = np.einsum("pne,pe->pn", slopes, error)
        stuck = ((at <= self.low) & (gradient > 0.0)) | ((at >= self.high) & (gradient < 0.0))
        slopes = np.where(stuck[:, :, None], 0.0, slopes)
        normal = np.einsum("pne,pme->pnm", slopes, slopes)
        diagonal = np.einsum("pnn->pn", normal)
        floor = 1e-9 * np.maximum(diagonal.max(axis=1), 1e-30)[:, None]
        size = len(self.quarry.channels)
        normal[:, range(size), range(size)] += damping[:, None] * diagonal + floor
        step: Array = np.linalg.solve(normal, -np.where(stuck, 0.0, gradient)[..., None])[..., 0]
        scaled: Array = step * self.scale
        return scaled

    def _slopes(self, at: Array) -> Array:
        """Derivatives of the errors by channels in their own scale: (poses, channels, numbers)."""
        count = len(self.quarry.channels)
        asked = []
        for k in range(count):
            for sign in (1.0, -1.0):
                moved = at.copy()
                moved[:, k] += sign * STEP * self.scale[k]
                asked.append(np.clip(moved, self.low, self.high))
        some = max(1, AT_ONCE // self.poses)
        found = []
        for first in range(0, len(asked), some):
            part = asked[first : first + some]
            made = self._errors(np.concatenate(part), repeat=len(part))
            found += list(made.reshape(len(part), self.poses, -1))
        slopes = []
        for k in range(count):
            plus, minus = asked[2 * k][:, k], asked[2 * k + 1][:, k]
            width = np.maximum(plus - minus, 1e-300) / self.scale[k]
            slopes.append((found[2 * k] - found[2 * k + 1]) / width[:, None])
        return np.stack(slopes, axis=1)

    def _errors(self, at: Array, repeat: int = 1) -> Array:
        channels = {name: np.tile(values, repeat) for name, values in self.given.items()}
        channels.update({channel.name: at[:, k] for k, channel in enumerate(self.quarry.channels)})
        wanted = {
            node: World(_tiled(world.place, repeat), _tiled(world.turn, repeat))
            for node, world in self.quarry.wanted.items()
        }
        return errors(self.evaluator.pose(channels), wanted, self.quarry.height)


def _tiled(array: Array | None, repeat: int) -> Array | None:
    return array if array is None or repeat == 1 else np.tile(array, (repeat, 1))
