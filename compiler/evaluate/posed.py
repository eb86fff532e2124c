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
from somite.evaluate.results import Results
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
    _results: Results
    _layout: Layout
    _table: Mapping[str, Channel] = field(repr=False)

    @property
    def poses(self) -> int:
        """How many poses there are."""
        return self._results.poses

    @property
    def places(self) -> Array:
        """World places of all nodes: (poses, nodes, 3)."""
        return self._results.places.transpose(2, 0, 1)

    @property
    def turns(self) -> Array:
        """World turns of all nodes, unit quaternions xyzw of either sign: (poses, nodes, 4)."""
        return self._results.turns.transpose(2, 0, 1)

    @property
    def linears(self) -> Array:
        """World linear parts, turn and size, of all nodes: (poses, nodes, 3, 3)."""
        return self._results.linears().transpose(3, 0, 1, 2)

    @property
    def worlds(self) -> Array:
        """World matrices of all nodes: (poses, nodes, 4, 4)."""
        return _matrices(self._results.places, self._results.linears())

    def place(self, name: str) -> Array:
        """A node's world place: (poses, 3). KeyError for an unknown name."""
        return np.asarray(self._results.places[self.index[name]].T)

    def turn(self, name: str) -> Array:
        """A node's world turn, a unit quaternion xyzw: (poses, 4)."""
        return np.asarray(self._results.turns[self.index[name]].T)

    def linear(self, name: str) -> Array:
        """A node's world linear part, turn and size: (poses, 3, 3)."""
        return self._results.linear(self.index[name]).transpose(2, 0, 1)

    def world(self, name: str) -> Array:
        """A node's world matrix: (poses, 4, 4)."""
        node = self.index[name]
        places, linears = self._results.places[node : node + 1], self._results.linear(node)
        return np.asarray(_matrices(places, linears[None])[:, 0])

    def end(self, chain: str) -> Array:
        """Where a chain ends: (poses, 3)."""
        joint = next(one for one in self.settled.rig.chains if one.name == chain).joints[-1]
        offset = np.array(self.settled.ends[chain])
        return np.asarray(self.place(joint) + np.matmul(self.linear(joint), offset))

    def points(self, curve: str) -> Array:
        """A curve's control points: (poses, points, 3)."""
        return self._results.points[self._layout.curves[curve]].transpose(2, 0, 1)

    def gauge(self, name: str) -> Array:
        """A gauge's or an output's number: (poses,)."""
        return np.asarray(self._results.gauges[self._layout.gauges[name]])

    @property
    def outputs(self) -> dict[str, Array]:
        """The numbers that leave the rig, by name: (poses,) each."""
        return {one.name: self.gauge(one.name) for one in self.settled.rig.gauges if one.output}

    def shown(self, name: str) -> Array:
        """Whether an animator sees a control: (poses,), of bool; KeyError for an unknown name."""
        seen = np.ones(self.poses, dtype=bool)
        for one in self.settled.rig.node(name).shown:
            value = self.channel(one.dial)
            if one.options:
                seen &= np.isin(np.rint(value), one.options)
            if one.above is not None:
                seen &= value > one.above
            if one.below is not None:
                seen &= value < one.below
        return seen

    def channel(self, name: str) -> Array:
        """A channel's or dial's value as it was used, driven ones included: (poses,)."""
        row, held = self._layout.rows.get(name), self._table[name]
        if row is None:
            return np.full(self.poses, held.default)
        return np.asarray(self._results.channels[row])


def _matrices(places: Array, linears: Array) -> Array:
    """Places (n, 3, poses) and linear parts (n, 3, 3, poses) as matrices (poses, n, 4, 4)."""
    made = np.empty((places.shape[-1], len(places), 4, 4))
    made[:, :, :3, :3] = linears.transpose(3, 0, 1, 2)
    made[:, :, :3, 3] = places.transpose(2, 0, 1)
    made[:, :, 3] = (0.0, 0.0, 0.0, 1.0)
    return made
