"""What came of a pose: transforms, curves and numbers by name, arrays with the poses first.

Arrays of everything at once are views of what the evaluator wrote; by name there is a view of one
thing. World matrices are put together when they are asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from somite.evaluate.algebra import Array
from somite.evaluate.channels import Channel, Note
from somite.evaluate.layout import Layout
from somite.evaluate.state import State
from somite.settle import Settled


@dataclass(frozen=True, slots=True)
class Posed:
    """A rig in some poses. Lengths are metres, angles radians; poses are the first axis.

    `names` are all nodes, in the order in which `places`, `turns` and `linears` have them; `index`
    finds a node there.
    """

    settled: Settled
    names: tuple[str, ...]
    index: Mapping[str, int]
    notes: tuple[Note, ...]
    _state: State
    _layout: Layout
    _table: Mapping[str, Channel] = field(repr=False)

    @property
    def poses(self) -> int:
        """How many poses there are."""
        return self._state.poses

    @property
    def places(self) -> Array:
        """World places of all nodes: (poses, nodes, 3)."""
        return self._nodes[:, :3, 3].transpose(2, 0, 1)

    @property
    def turns(self) -> Array:
        """World turns of all nodes, unit quaternions xyzw of either sign: (poses, nodes, 4)."""
        return self._nodes[:, 3].transpose(2, 0, 1)

    @property
    def linears(self) -> Array:
        """World linear parts, turn and size, of all nodes: (poses, nodes, 3, 3)."""
        return np.asarray(self._nodes[:, :3, :3].transpose(3, 0, 1, 2))

    @property
    def worlds(self) -> Array:
        """World matrices of all nodes: (poses, nodes, 4, 4)."""
        return _matrices(self._nodes)

    @property
    def _nodes(self) -> Array:
        return np.asarray(self._state.world[1 : len(self.names) + 1])

    def _slot(self, name: str) -> Array:
        return np.asarray(self._state.world[self._layout.slots[name]])

    def place(self, name: str) -> Array:
        """A node's world place: (poses, 3). KeyError for an unknown name."""
        return self._slot(name)[:3, 3].T

    def turn(self, name: str) -> Array:
        """A node's world turn, a unit quaternion xyzw: (poses, 4)."""
        return np.asarray(self._slot(name)[3].T)

    def linear(self, name: str) -> Array:
        """A node's world linear part, turn and size: (poses, 3, 3)."""
        return np.asarray(self._slot(name)[:3, :3].transpose(2, 0, 1))

    def world(self, name: str) -> Array:
        """A node's world matrix: (poses, 4, 4)."""
        return _matrices(self._slot(name)[None])[:, 0]

    def end(self, chain: str) -> Array:
        """Where a chain ends: (poses, 3)."""
        joint = next(one for one in self.settled.rig.chains if one.name == chain).joints[-1]
        offset = np.array([*self.settled.ends[chain], 1.0])
        found: Array = np.matmul(offset, self._slot(joint)[:3])
        return found.T

    def points(self, curve: str) -> Array:
        """A curve's control points: (poses, points, 3)."""
        return self._state.points[self._layout.curves[curve]].transpose(2, 1, 0)

    def gauge(self, name: str) -> Array:
        """A gauge's or an output's number: (poses,)."""
        return np.asarray(self._state.gauges[self._layout.gauges[name]])

    @property
    def outputs(self) -> dict[str, Array]:
        """The numbers that leave the rig, by name: (poses,) each."""
        return {one.name: self.gauge(one.name) for one in self.settled.rig.gauges if one.output}

    def channel(self, name: str) -> Array:
        """A channel's or dial's value as it was used, driven ones included: (poses,)."""
        held, state = self._table[name], self._state
        if held.part == "dial":
            return np.asarray(state.dials[self._layout.dials[name]])
        rows, values = {
            "move": (self._layout.moves, state.moves),
            "turn": (self._layout.turns, state.turns),
            "size": (self._layout.scaled, state.sizes),
        }[held.part]
        if held.node not in rows:
            return np.full(self.poses, held.default)
        return np.asarray(values[rows[held.node], held.axis])


def _matrices(slots: Array) -> Array:
    """Slots (n, 4, 4, poses) as matrices (poses, n, 4, 4)."""
    made = np.empty((slots.shape[-1], len(slots), 4, 4))
    made[:, :, :3] = slots[:, :3].transpose(3, 0, 1, 2)
    made[:, :, 3] = (0.0, 0.0, 0.0, 1.0)
    return made
