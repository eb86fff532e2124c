"""Sizes that nodes inherit and make, told apart before anything is evaluated.

Two transforms whose sizes are the same by construction share one `Size`, so that most of a rig
needs no arithmetic for it. Only what may be other than at rest makes a size of its own.
"""

from __future__ import annotations

from collections.abc import Mapping

from somite.evaluate.channels import Alive
from somite.evaluate.follow import Weights
from somite.evaluate.state import ONE, Size, Sizes
from somite.ir import Constraint, Follow, Node, Ride


class Inherited:
    """The sizes of a rig's nodes, worked out when asked for: each node's own, and what it passes.

    `blends` are sizes between leaders, `evened` even scales of stretches, each to be worked out
    by a step of its own once its sources are there.
    """

    def __init__(
        self,
        nodes: Mapping[str, Node],
        writers: Mapping[tuple[str, str], Constraint],
        alive: Alive,
        counts: Sizes,
    ) -> None:
        self.nodes, self.writers, self.alive, self.counts = nodes, writers, alive, counts
        self.stretched: set[str] = set()
        self.carriers: dict[str, str | None] = {}
        self.weights: dict[str, Weights] = {}
        self.blends: dict[str, tuple[tuple[Size, ...], Size]] = {}
        self.evened: dict[Size, Size] = {}
        self._mounts: dict[str, Size] = {}
        self._own: dict[str, Size] = {}

    def mount(self, name: str) -> Size:
        """The size that a node's mount has."""
        found = self._mounts.get(name)
        if found is None:
            found = self._mounts[name] = self._of_mount(name)
        return found

    def passed(self, name: str | None) -> Size:
        """The size that a node gives to what is under it."""
        if name is None or name not in self.nodes:
            return ONE
        return self.own(name) if self.nodes[name].passes_size else self.mount(name)

    def own(self, name: str | None) -> Size:
        """The size of a node itself."""
        if name is None or name not in self.nodes:
            return ONE
        found = self._own.get(name)
        if found is None:
            found = self._own[name] = self._of_node(name)
        return found

    def sized(self, name: str) -> bool:
        """Whether a node may have a size of its own."""
        return (name, "size") in self.alive or name in self.stretched

    def _of_node(self, name: str) -> Size:
        inherited = self.mount(name)
        if not self.sized(name):
            return inherited
        even = self.nodes[name].size_even and name not in self.stretched and inherited.kind != "any"
        return self._new("even" if even else "any")

    def _new(self, kind: str) -> Size:
        if kind == "even":
            self.counts.scales += 1
            return Size("even", self.counts.scales - 1)
        self.counts.stretches += 1
        return Size("any", self.counts.stretches - 1)

    def _of_mount(self, name: str) -> Size:
        writer = self.writers.get((name, "size"))
        if isinstance(writer, Follow):
            return self._followed(name, writer)
        if isinstance(writer, Ride):
            return self.even_of(self.passed(self.carriers[writer.name]))
        return self.passed(self.nodes[name].parent)

    def even_of(self, size: Size) -> Size:
        """The even scale of a size."""
        if size.kind != "any":
            return size
        if size not in self.evened:
            self.evened[size] = self._new("even")
        return self.evened[size]

    def _followed(self, name: str, follow: Follow) -> Size:
        weights = self.weights.get(follow.name)
        if weights is None:
            return self.passed(self.nodes[name].parent)
        sources = [self.own(leader.node) for leader in follow.leaders]
        if weights.row is None:
            sources = [s for s, w in zip(sources, weights.stated, strict=True) if w > 0.0]
        if all(source == sources[0] for source in sources):
            return sources[0]
        kind = "any" if any(source.kind == "any" for source in sources) else "even"
        made = self._new(kind)
        every = tuple([self.own(leader.node) for leader in follow.leaders])
        self.blends[follow.name] = (every, made)
        return made
