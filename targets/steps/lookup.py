"""Everything that the phases ask about one settled rig, found once.

What comes in is a settled rig; what goes out is its things by name, the order in which a person
makes them, and names and channels as values for phrases. Nothing here makes a step.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

from somite.ir import (
    CHANNELS,
    Chain,
    Constraint,
    Curve,
    Dial,
    Face,
    Follow,
    Gauge,
    Node,
    Rig,
    Share,
    Vector,
)
from somite.targets.steps.figures import Figures, figures_for
from somite.targets.steps.parts import Parts
from somite.targets.steps.records import Name, Saying, Value
from somite.units import ANGLE, LENGTH, NUMBER, Dimension

if TYPE_CHECKING:
    from somite.settle import Settled

GROUPS, SKELETON, GRIPS, CONTROLS = "groups", "skeleton", "grips", "controls"
MAKING = (GROUPS, SKELETON, GRIPS, CONTROLS)
"""The phases that make nodes, in order."""

_PHASE_OF_KIND = {"joint": SKELETON, "grip": GRIPS, "control": CONTROLS}
_UNIT_DIMENSION: dict[str, Dimension] = {"length": LENGTH, "angle": ANGLE, "number": NUMBER}
_PART_DIMENSION: dict[str, Dimension] = {"move": LENGTH, "turn": ANGLE, "size": NUMBER}


@dataclass(frozen=True)
class Lookup:
    """A settled rig, and its things by name."""

    settled: Settled

    @property
    def rig(self) -> Rig:
        """The rig."""
        return self.settled.rig

    @cached_property
    def figures(self) -> Figures:
        """How its numbers are said."""
        return figures_for(self.rig.unit, self.rig.up, self.rig.front)

    @cached_property
    def parts(self) -> Parts:
        """Which part of the recipe each thing belongs to."""
        return Parts(self.rig)

    @cached_property
    def nodes(self) -> dict[str, Node]:
        """Nodes by name."""
        return {node.name: node for node in self.rig.nodes}

    @cached_property
    def chains(self) -> dict[str, Chain]:
        """Chains by name."""
        return {chain.name: chain for chain in self.rig.chains}

    @cached_property
    def before(self) -> dict[str, tuple[str, str]]:
        """For each joint of a chain but its first, the chain and the joint before it."""
        return {
            joint: (chain.name, previous)
            for chain in self.rig.chains
            for previous, joint in pairwise(chain.joints)
        }

    @cached_property
    def chains_on(self) -> dict[str, list[Chain]]:
        """Chains by the curve that they were placed on."""
        found: dict[str, list[Chain]] = {}
        for chain in self.rig.chains:
            if chain.curve is not None:
                found.setdefault(chain.curve, []).append(chain)
        return found

    @cached_property
    def owned(self) -> dict[str, dict[str, list[Share]]]:
        """The shares of each grip, by curve."""
        found: dict[str, dict[str, list[Share]]] = {}
        for curve in self.rig.curves:
            for share in curve.shares:
                found.setdefault(share.grip, {}).setdefault(curve.name, []).append(share)
        return found

    @cached_property
    def curves(self) -> dict[str, Curve]:
        """Curves by name."""
        return {curve.name: curve for curve in self.rig.curves}

    @cached_property
    def curves_of(self) -> dict[str, list[Curve]]:
        """Curves by part."""
        found: dict[str, list[Curve]] = {}
        for curve in self.rig.curves:
            found.setdefault(self.parts.key(curve.name, curve.origin), []).append(curve)
        return found

    @cached_property
    def posed(self) -> frozenset[str]:
        """Every node of which a feed, pose or check writes a channel."""
        rig = self.rig
        channels = [feed.target for feed in rig.feeds]
        for pose in rig.poses:
            channels.extend(setting.channel for setting in pose.settings)
        for check in rig.checks:
            channels.extend(setting.channel for setting in check.settings)
            channels.extend(sweep.channel for sweep in check.sweeps)
        return frozenset(channel.rsplit(".", 2)[0] for channel in channels)

    @cached_property
    def fed(self) -> frozenset[str]:
        """Every channel that a feed drives."""
        return frozenset(feed.target for feed in self.rig.feeds)

    @cached_property
    def gauges(self) -> dict[str, Gauge]:
        """Gauges by name."""
        return {gauge.name: gauge for gauge in self.rig.gauges}

    @cached_property
    def dials(self) -> dict[str, Dial]:
        """Dials by channel: `hand.space`."""
        return {f"{node.name}.{dial.name}": dial for node in self.rig.nodes for dial in node.dials}

    @cached_property
    def children(self) -> dict[str | None, list[Node]]:
        """Nodes by the name of their parent, in the rig's order."""
        found: dict[str | None, list[Node]] = {}
        for node in self.rig.nodes:
            found.setdefault(node.parent, []).append(node)
        return found

    @cached_property
    def master(self) -> Node | None:
        """The control that carries all, if there is one."""
        return next((node for node in self.rig.nodes if node.carries_all), None)

    @cached_property
    def constraints_of(self) -> dict[str, list[Constraint]]:
        """Constraints by the node or chain that they write."""
        found: dict[str, list[Constraint]] = {}
        for constraint in self.rig.constraints:
            written = constraint.node if isinstance(constraint, Face | Follow) else constraint.chain
            found.setdefault(written, []).append(constraint)
        return found

    @cached_property
    def making(self) -> dict[str, dict[str, list[Node]]]:
        """The nodes that each phase of each part makes, parents before children."""
        phases: dict[str, list[Node]] = {phase: [] for phase in MAKING}
        for node, phase in self._walk():
            phases[phase].append(node)
        phases[GRIPS] = self._as_written(phases[GRIPS])
        found: dict[str, dict[str, list[Node]]] = {}
        for phase, nodes in phases.items():
            for node in nodes:
                part = self.parts.key(node.name, node.origin)
                found.setdefault(part, {}).setdefault(phase, []).append(node)
        return found

    def _as_written(self, nodes: list[Node]) -> list[Node]:
        """The same nodes in the rig's order, but for parents, which stay before their children.

        Grips belong to curves rather than to what is above them.
        """
        rank = {node.name: index for index, node in enumerate(self.rig.nodes)}
        inner = {node.name for node in nodes}
        ranks: dict[str, tuple[int, ...]] = {}
        for node in nodes:
            above = ranks[node.parent] if node.parent in inner else ()
            ranks[node.name] = (*above, rank[node.name])
        return sorted(nodes, key=lambda node: ranks[node.name])

    def _walk(self) -> Iterator[tuple[Node, str]]:
        """Every node with the phase that makes it, parents first.

        A group is made with what is above it: with controls where an animator's control carries it.
        """
        waiting = [(node, GROUPS) for node in reversed(self.children.get(None, []))]
        while waiting:
            node, above = waiting.pop()
            phase = _PHASE_OF_KIND.get(node.kind, above)
            yield node, phase
            below = self.children.get(node.name, [])
            waiting.extend((child, phase) for child in reversed(below))

    def standing(self, sections: Iterable[tuple[str, ...]]) -> Standing:
        """When each node is made, where the parts of each section are made phase by phase."""
        order = (
            node.name
            for parts in sections
            for phase in MAKING
            for part in parts
            for node in self.making.get(part, {}).get(phase, ())
        )
        return Standing(self.nodes, {name: index for index, name in enumerate(order)})

    def name(self, dotted: str) -> Name:
        """A thing by its dotted name, as it is spelled in the scene."""
        node = self.nodes.get(dotted)
        if node is not None:
            return Name(dotted, node.spelled)
        known: Curve | Gauge | None = self.curves.get(dotted) or self.gauges.get(dotted)
        return Name(dotted, known.spelled if known is not None else self.spelled(dotted))

    def spelled(self, dotted: str) -> str:
        """A dotted name spelled as the rig's nodes are, for things that have no spelling."""
        between, upper = self._spelling
        text = between.join(dotted.split("."))
        return text.upper() if upper else text

    @cached_property
    def _spelling(self) -> tuple[str, bool]:
        for node in self.rig.nodes:
            first, dot, _ = node.name.partition(".")
            if not dot:
                continue
            rest = node.spelled[len(first) :]
            for between in ("_", "-", ".", ""):
                joined = between.join(node.name.split("."))
                if joined.casefold() == node.spelled.casefold() and rest:
                    return between, node.spelled.isupper() and not joined.isupper()
        return "_", False

    def part(self, key: str) -> str:
        """A part as its names begin in the scene; what the recipe says itself by the recipe."""
        if key:
            return self.spelled(key)
        recipe = self.rig.recipe
        return f"{recipe} itself" if recipe in self.parts.ranks else recipe

    def end_name(self, chain: Chain) -> Name:
        """The end of a chain, which is a place and not a node."""
        return self.name(f"{chain.name}.end")

    def channel(self, channel: str) -> Value:
        """A channel, dial or gauge in words: "turn Y of high"."""
        if channel in self.gauges:
            return self.name(channel)
        dial = self.dials.get(channel)
        owner = channel.rpartition(".")[0]
        if dial is not None:
            name = Name(channel, dial.name)
            return Saying("channel.dial", {"dial": name, "node": self.name(owner)})
        stem, part, axis = channel.rsplit(".", 2)
        return Saying(f"channel.{part}-{axis}", {"node": self.name(stem)})

    def own_channel(self, channel: str) -> Saying:
        """A channel of a node that is already named: "turn Y"."""
        return Saying("own." + channel.replace(".", "-"))

    def dimension(self, channel: str) -> Dimension | None:
        """The dimension of a channel, dial or gauge; None for what is not known."""
        dial = self.dials.get(channel)
        if dial is not None:
            return NUMBER if dial.options else _UNIT_DIMENSION[dial.unit]
        gauge = self.gauges.get(channel)
        if gauge is not None:
            return _UNIT_DIMENSION[gauge.unit]
        parts = channel.rsplit(".", 2)
        return _PART_DIMENSION.get(parts[1]) if len(parts) == 3 else None

    def setting(self, channel: str, value: float) -> Value:
        """The value of a channel or dial as a person sets it; of a choice, its option."""
        dial = self.dials.get(channel)
        if dial is not None and dial.options:
            return option(dial, value)
        return self.figures.value(value, self.dimension(channel))

    def stations(self, chain: Chain) -> list[tuple[Name, Vector]]:
        """The joints of a chain and its end, each with where it stands."""
        found = [(self.name(name), self.nodes[name].rest.place) for name in chain.joints]
        return [*found, (self.end_name(chain), chain.end)]

    def is_free(self, node: Node, part: str) -> bool:
        """Whether a control's channels of a part are not all locked."""
        if part in node.locks:
            return False
        return any(channel.startswith(part) and channel not in node.locks for channel in CHANNELS)


@dataclass(frozen=True, slots=True)
class Standing:
    """The order in which nodes are made."""

    nodes: Mapping[str, Node]
    at: Mapping[str, int]

    def above(self, node: Node) -> Node | None:
        """A node's parent, where that is made before the node, so that it can be put there."""
        if node.parent is None or self.at[node.parent] > self.at[node.name]:
            return None
        return self.nodes[node.parent]

    def is_late(self, node: Node) -> bool:
        """Whether a node must be put under its parent later."""
        return node.parent is not None and self.above(node) is None


def option(dial: Dial, value: float) -> str:
    """The option of a choice that an index stands for."""
    index = min(max(int(value), 0), len(dial.options) - 1)
    return dial.options[index]
