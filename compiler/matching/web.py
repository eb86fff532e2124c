"""What a dial touches, and whose part it is to bring back what is seen: relations without numbers.

In comes a rig, out go sets of names: what reads a dial, everything after that, which joints a
control moves. Nodes are taken whole. Nothing here poses anything.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from somite.ir import Apply, Feed, Follow, Gauge, Live, Map, Reach, Read, Ride, Rig
from somite.order import node_edges


def reads(value: Live) -> Iterator[str]:
    """The channels, dials and gauges that a live number reads."""
    match value:
        case Read():
            yield value.channel
        case Apply():
            for operand in value.operands:
                yield from reads(operand)
        case Map():
            yield from reads(value.value)
            for pair in value.pairs:
                for one in pair:
                    yield from reads(one)


def readers(rig: Rig, channel: str) -> tuple[str, ...]:
    """The constraints, feeds and gauges that read a channel or a dial, by name."""
    found = []
    for one in rig.constraints:
        match one:
            case Follow():
                used: tuple[str | None, ...] = (one.dial,)
            case Ride():
                used = (one.stretch.channel, one.volume.channel)
            case Reach():
                used = (one.stretch.channel,)
            case _:
                used = ()
        if channel in used:
            found.append(one.name)
    lives: list[Feed | Gauge] = [*rig.feeds, *rig.gauges]
    found += [live.name for live in lives if channel in reads(live.value)]
    return tuple(found)


class Web:
    """The reading relations of a rig, forward and back."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.kinds = {node.name: node.kind for node in rig.nodes}
        self.after: dict[str, list[str]] = {}
        self.before: dict[str, list[str]] = {}
        for before, after in node_edges(rig):
            self.after.setdefault(before, []).append(after)
            self.before.setdefault(after, []).append(before)

    def later(self, starts: Iterable[str]) -> frozenset[str]:
        """Everything that reads one of these, at whatever remove; they themselves among it."""
        return _gone(self.after, starts, frozenset())

    def sooner(self, starts: Iterable[str], without: Collection[str] = ()) -> frozenset[str]:
        """Everything that one of these reads, but for what only leads through `without`."""
        return _gone(self.before, starts, without)

    def of_kind(self, kind: str, names: Collection[str]) -> tuple[str, ...]:
        """The nodes of a kind among names, in the rig's order."""
        return tuple(
            [node.name for node in self.rig.nodes if node.kind == kind and node.name in names]
        )


def _gone(
    steps: dict[str, list[str]], starts: Iterable[str], without: Collection[str]
) -> frozenset[str]:
    found: set[str] = set()
    waiting = list(starts)
    while waiting:
        name = waiting.pop()
        if name not in found and name not in without:
            found.add(name)
            waiting.extend(steps.get(name, ()))
    return frozenset(found)


@dataclass(frozen=True, slots=True)
class Touched:
    """What some dials touch: who reads them, all nodes after those, and joints that nobody sees.

    `unseen` are joints on the two sides of a switch: they lead what the dials touch, only through
    the dials' own follows, and no list of joints has them.
    """

    readers: tuple[str, ...]
    nodes: frozenset[str]
    unseen: frozenset[str]


def touched(web: Web, dials: Iterable[str]) -> Touched:
    """What dials touch."""
    found = tuple([name for dial in dials for name in readers(web.rig, dial)])
    nodes = web.later(found) & web.kinds.keys()
    direct = web.sooner(nodes, without=found)
    sides = web.sooner(nodes) - direct
    listed = {member for one in web.rig.lists for member in one.members}
    joints = {name for name, kind in web.kinds.items() if kind == "joint"}
    if listed & joints:
        unseen = (sides & joints) - listed
    else:
        unseen = sides & {joint for chain in web.rig.chains for joint in chain.joints}
    return Touched(found, frozenset(nodes), frozenset(unseen))


class Duty:
    """Which controls may be moved so that what dials touch stays: those that move nothing else.

    `owners` are the controls that the dials are on, which may be moved all the same when a reach or
    a follow of the switched side asks for them.
    """

    def __init__(self, web: Web, touched: Touched, owners: Collection[str]) -> None:
        self.web, self.touched, self.owners = web, touched, frozenset(owners)
        self._others: dict[str, tuple[str, ...]] = {}

    def others(self, control: str) -> tuple[str, ...]:
        """The joints that a control moves and the dials do not touch."""
        found = self._others.get(control)
        if found is None:
            after = self.web.later([control]) - self.touched.nodes - self.touched.unseen
            found = self._others[control] = self.web.of_kind("joint", after)
        return found

    def may_move(self, control: str) -> bool:
        """Whether a control may be moved where the switched side asks for it."""
        return control in self.owners or not self.others(control)

    def own(self) -> tuple[str, ...]:
        """The controls that move nothing but what the dials touch, in the rig's order.

        Where constraints read the dials, only those that these depend on; else all on which what
        is touched depends. The one that carries all is never among them: it moves the picture, not
        the pose.
        """
        constraints = {one.name for one in self.web.rig.constraints}
        asked = [name for name in self.touched.readers if name in constraints]
        sooner = self.web.sooner(asked or self.touched.nodes)
        return tuple(
            [
                node.name
                for node in self.web.rig.nodes
                if node.kind == "control"
                and node.name in sooner
                and not node.carries_all
                and not self.others(node.name)
            ]
        )
