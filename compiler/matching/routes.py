"""From what is to stay to the controls that answer for it: how each asked node is led.

In come a settled rig and nodes that are asked to be somewhere; out go rules, one an asked node: it
has channels of its own, it takes after leaders, it is carried by its parent, or it is a joint of a
chain that reaches. Where no rule is known the search is left to try. Nothing here has numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from somite.ir import Constraint, Follow, Node, Reach
from somite.matching.worlds import free
from somite.order import written

if TYPE_CHECKING:
    from somite.evaluate import Evaluator


@dataclass(frozen=True, slots=True)
class Own:
    """The node has free channels, and may be moved: it answers for itself."""


@dataclass(frozen=True, slots=True)
class Led:
    """The node's mount takes after leaders of a follow, by index."""

    follow: Follow
    leaders: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Carried:
    """The node goes with its parent as one piece."""

    parent: str


@dataclass(frozen=True, slots=True)
class Reached:
    """The node is a joint of a chain that reaches for a goal."""

    reach: Reach


@dataclass(frozen=True, slots=True)
class Unknown:
    """Nothing is known of how to bring the node anywhere, and why."""

    because: str


Rule: TypeAlias = Own | Led | Carried | Reached | Unknown
Leaders: TypeAlias = Callable[[Follow], tuple[int, ...]]
"""Which leaders of a follow count in any pose, by index."""


class Routes:
    """The rules of all nodes that are asked, found from the nodes that are seen, upstream."""

    def __init__(
        self, evaluator: Evaluator, may_move: Callable[[str], bool], leaders: Leaders
    ) -> None:
        self.evaluator, self.may_move, self.leaders = evaluator, may_move, leaders
        rig = evaluator.settled.rig
        self.nodes: dict[str, Node] = {node.name: node for node in rig.nodes}
        self.chains = {chain.name: chain for chain in rig.chains}
        self.rules: dict[str, Rule] = {}
        self.turned_by: dict[str, list[Constraint]] = {}
        self.placed_by: dict[str, list[Constraint]] = {}
        for constraint in rig.constraints:
            for node, parts in written(constraint, self.chains):
                if "turn" in parts:
                    self.turned_by.setdefault(node, []).append(constraint)
                if "move" in parts:
                    self.placed_by.setdefault(node, []).append(constraint)

    def seed(self, follow: Follow) -> None:
        """Ask the leaders of a follow for what its node has to keep."""
        if follow.about is None:
            self.rules[follow.node] = Led(follow, self.leaders(follow))
            self._onward(follow.node, follow.takes)

    def ask(self, node: str | None, parts: Iterable[str]) -> None:
        """Find the rule of a node that has to keep its place (move), its turn, or both."""
        wanted = tuple(parts)
        if node is None or node not in self.nodes or node in self.rules:
            return
        self.rules[node] = self._rule(node, wanted)
        self._onward(node, wanted)

    def _rule(self, node: str, parts: tuple[str, ...]) -> Rule:
        if self.nodes[node].kind == "control" and any(
            free(self.evaluator, node, part) for part in parts
        ):
            if self.may_move(node):
                return Own()
            return Unknown("moves other joints, too")
        turned = self.turned_by.get(node, [])
        placed = self.placed_by.get(node, [])
        if len(turned) == 1 and isinstance(turned[0], Reach):
            return Reached(turned[0])
        writers = {one.name: one for one in (*turned, *placed)}
        if writers:
            (first, *more) = writers.values()
            if more or not isinstance(first, Follow) or first.about is not None:
                return Unknown("is led in a way that has no closed form back")
            return Led(first, self.leaders(first))
        parent = self.nodes[node].parent
        if parent is None:
            return Unknown("is carried by nothing that may move")
        return Carried(parent)

    def _onward(self, node: str, parts: Iterable[str]) -> None:
        match self.rules[node]:
            case Led(follow, leaders):
                taken = [part for part in follow.takes if part in parts and part != "size"]
                for index in leaders:
                    self.ask(follow.leaders[index].node, taken)
            case Carried(parent):
                self.ask(parent, parts)
            case Reached(reach):
                for joint in self.chains[reach.chain].joints:
                    self.rules.setdefault(joint, Reached(reach))
                self.ask(reach.goal, ("move", "turn"))
                if reach.pole is not None:
                    self.ask(reach.pole, ("move",))

    # ---- what came of it -------------------------------------------------------------------------

    def controls(self) -> tuple[str, ...]:
        """The controls that answer, in the rig's order."""
        return tuple([name for name in self.nodes if isinstance(self.rules.get(name), Own)])

    def reaches(self) -> tuple[Reach, ...]:
        """The reaches that are asked, each once."""
        found = [rule.reach for rule in self.rules.values() if isinstance(rule, Reached)]
        return tuple({reach.name: reach for reach in found}.values())

    def unknown(self) -> tuple[str, ...]:
        """Why some of what is asked has nobody to answer for it."""
        found: dict[str, list[str]] = {}
        for node, rule in self.rules.items():
            if isinstance(rule, Unknown):
                found.setdefault(rule.because, []).append(node)
        said = []
        for reason, nodes in found.items():
            more = f" (and so with {len(nodes) - 1} more)" if len(nodes) > 1 else ""
            said.append(f'"{nodes[0]}" {reason}{more}')
        return tuple(said)
