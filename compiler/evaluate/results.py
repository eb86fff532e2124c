"""What a run leaves: arrays of everything that outlives it, with the poses on the last axis.

A run over arrays leaves linear parts as well. A program leaves turns and sizes, and linear parts
are made of them when they are asked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from somite.evaluate.algebra import Array, composed, rotation
from somite.evaluate.scalar.writer import Program
from somite.evaluate.state import LINEAR, PLACE, TURN, State


@dataclass(slots=True)
class Results:
    """Arrays of one run: places (nodes, 3, poses), turns (nodes, 4, poses), points of each curve
    (points, 3, poses), and rows of channels and gauges (rows, poses).

    `known` are linear parts (nodes, 3, 3, poses); None where nodes have their turns and sizes. Then
    `sizes` has those of nodes that are sized: a scale (poses), or a matrix (3, 3, poses) after the
    turn.
    """

    places: Array
    turns: Array
    points: Sequence[Array]
    channels: Array
    gauges: Array
    known: Array | None = None
    sizes: Mapping[int, Array] = field(default_factory=dict)

    @property
    def poses(self) -> int:
        """How many poses there are."""
        return int(self.places.shape[-1])

    def linears(self) -> Array:
        """Linear parts of all nodes: (nodes, 3, 3, poses)."""
        if self.known is None:
            made = rotation(self.turns)
            for node, size in self.sizes.items():
                made[node] = _sized(made[node], size)
            self.known = made
        return self.known

    def linear(self, node: int) -> Array:
        """The linear part of one node: (3, 3, poses)."""
        if self.known is not None:
            return np.asarray(self.known[node])
        return _sized(rotation(self.turns[node]), self.sizes.get(node))


def _sized(turn: Array, size: Array | None) -> Array:
    """A linear part from a turn as a matrix, and a size."""
    if size is None:
        return turn
    return np.asarray(turn * size) if size.ndim == 1 else composed(size, turn)


def results_of_state(state: State, nodes: int) -> Results:
    """What a run over arrays left."""
    world = state.world[1 : nodes + 1]
    points = [points.swapaxes(0, 1) for points in state.points]
    held = (world[PLACE], world[:, TURN], points, state.channels, state.gauges, world[LINEAR])
    return Results(*held)


def results_of_rows(program: Program, rows: Array, channels: Array) -> Results:
    """What a program left: the rows (rows, poses) that are kept of its memory."""
    slots, poses = program.slots, rows.shape[-1]
    world = rows[7 : 7 * slots].reshape(slots - 1, 7, poses)
    points = [
        rows[start : start + 3 * count].reshape(count, 3, poses)
        for start, count in zip(program.points, program.point_counts, strict=True)
    ]
    gauges = rows[program.gauges : program.points[0] if program.points else program.kept]
    stretches = rows[program.stretches : program.gauges].reshape(-1, 3, 3, poses)
    sizes = {
        slot - 1: rows[program.scales + size.row] if size.kind == "even" else stretches[size.row]
        for slot, size in program.sized.items()
    }
    return Results(world[:, :3], world[:, 3:], points, channels, gauges, None, sizes)
