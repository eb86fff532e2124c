"""The order in which a rig is evaluated: everything that is read comes before what reads it.

In comes a rig, out goes a `Plan`, the same for every order of the rig's own records: ties are
broken by name. Nodes are taken whole; only those that stand in a loop when taken whole are taken
apart, since two controls may drive each other's different channels. A loop that is left is a
finding. Nothing here knows positions or what the numbers come to.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from somite.findings import Code, Finding
from somite.ir import (
    CHANNELS,
    Apply,
    Chain,
    Constraint,
    Curve,
    Face,
    Feed,
    Follow,
    Gauge,
    Live,
    Map,
    Measure,
    Node,
    Reach,
    Read,
    Ride,
    Rig,
    Twist,
    TwistEnd,
)
from somite.text import Site

if TYPE_CHECKING:
    import networkx

CYCLE = Code("cycle")

PLACE, TURN, SIZE = "place", "turn", "size"
ASPECTS = (PLACE, TURN, SIZE)
"""What a node that is taken apart gives: where it is, how it is turned, its linear part."""

MOST_LOOPS = 20
"""Loops reported in one run; mending these will show whether others are left."""

MOST_NAMES = 12
"""Names of a loop that its message tells."""

MOST_STATEMENTS = 100
"""Statements of a loop that are reported with their lines."""

_ASPECT_OF_PART = {"move": PLACE, "turn": TURN, "size": SIZE}
_PARTS = {"move", "turn", "size"}
_CHANNELS = frozenset(CHANNELS)
_STAGES: dict[type, int] = {Follow: 0, Face: 0, Ride: 1, Reach: 1, Twist: 2}


@dataclass(frozen=True, slots=True)
class Plan:
    """Names of nodes, constraints, feeds and gauges, each after everything that it reads.

    A node of `split` appears as its place, turn and size: `hand.turn`; its size step stands for
    its whole linear part.
    """

    steps: tuple[str, ...]
    split: tuple[str, ...] = ()


def order(rig: Rig) -> tuple[Plan | None, tuple[Finding, ...]]:
    """The plan of a rig, or None and one finding for each loop of statements.

    Node by node first; nodes in a loop are then taken place, turn and size apart (design: a loop
    that exists only when nodes are taken whole is none). Linear in the size of the rig.
    """
    import networkx

    wiring = Wiring(rig)
    graph = _graph(rig, wiring, ())
    tangled = _tangled(graph)
    split: tuple[str, ...] = ()
    if tangled:
        nodes = {node.name for node in rig.nodes}
        split = tuple(sorted(nodes.intersection(set().union(*tangled))))
        graph = _graph(rig, wiring, split)
        tangled = _tangled(graph)
    if tangled:
        return None, tuple(_cycles(rig, graph))
    steps = networkx.lexicographical_topological_sort(graph)
    return Plan(tuple(_step(vertex) for vertex in steps), split), ()


def node_edges(rig: Rig) -> Iterator[tuple[str, str]]:
    """What is read and what reads it, nodes taken whole: pairs of names (before, after).

    A pair may come more than once.
    """
    yield from Wiring(rig).edges()


class Wiring:
    """The reading relations of a rig, looked up by name once."""

    __slots__ = ("chains", "curves", "feeds_of", "gauges", "nodes", "rig", "writers")

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.nodes: dict[str, Node] = {node.name: node for node in rig.nodes}
        self.chains: dict[str, Chain] = {chain.name: chain for chain in rig.chains}
        self.curves: dict[str, Curve] = {curve.name: curve for curve in rig.curves}
        self.gauges: dict[str, Gauge] = {gauge.name: gauge for gauge in rig.gauges}
        self.feeds_of: dict[str, list[Feed]] = {}
        for feed in rig.feeds:
            self.feeds_of.setdefault(feed.target, []).append(feed)
        self.writers: dict[str, list[tuple[Constraint, Collection[str]]]] = {}
        for constraint in rig.constraints:
            for node, parts in written(constraint, self.chains):
                self.writers.setdefault(node, []).append((constraint, parts))

    def edges(self, split: Collection[str] = ()) -> Iterator[tuple[str, str]]:
        """Pairs of vertices (before, after); nodes of `split` are three vertices each."""
        for node in self.rig.nodes:
            if node.name in split:
                yield from self._aspect_edges(node, split)
            else:
                yield from self._node_edges(node, split)
        for constraint in self.rig.constraints:
            for before in self._constraint_reads(constraint, split):
                yield before, constraint.name
        for feed in self.rig.feeds:
            for before in self._live_reads(feed.value, split):
                yield before, feed.name
        for gauge in self.rig.gauges:
            for before in self._live_reads(gauge.value, split):
                yield before, gauge.name

    def _node_edges(self, node: Node, split: Collection[str]) -> Iterator[tuple[str, str]]:
        for before in self._whole(node.parent, split):
            yield before, node.name
        for constraint, _ in self.writers.get(node.name, ()):
            yield constraint.name, node.name
        for channel in _inputs(node):
            for feed in self.feeds_of.get(channel, ()):
                yield feed.name, node.name

    def _aspect_edges(self, node: Node, split: Collection[str]) -> Iterator[tuple[str, str]]:
        """A node taken apart. Its move is made in the mount's own axes, so place reads them all."""
        place, turn, size = (_vertex(node.name, aspect) for aspect in ASPECTS)
        written_parts: set[str] = set()
        for constraint, parts in self.writers.get(node.name, ()):
            written_parts.update(parts)
            yield constraint.name, place
            if "turn" in parts:
                yield constraint.name, turn
            if "turn" in parts or "size" in parts:
                yield constraint.name, size
        yield turn, size
        for part, fed in (("move", (place,)), ("turn", (turn, size)), ("size", (size,))):
            for channel in _channels(node.name, part):
                for feed in self.feeds_of.get(channel, ()):
                    for vertex in fed:
                        yield feed.name, vertex
        reads: dict[str, tuple[str, ...]] = {
            place: () if written_parts >= _PARTS else ASPECTS,
            turn: () if "turn" in written_parts else (TURN,),
            size: () if written_parts >= {"turn", "size"} else (TURN, SIZE),
        }
        for after, aspects in reads.items():
            for before in self._aspects(node.parent, aspects, split):
                yield before, after

    def _constraint_reads(self, constraint: Constraint, split: Collection[str]) -> Iterator[str]:
        match constraint:
            case Follow():
                yield from self._follow_reads(constraint, split)
            case Face():
                yield from self._face_reads(constraint, split)
            case Ride():
                yield from self._curve_reads(self.curves[constraint.curve], split)
                yield from self._whole(constraint.carrier, split)
                yield from self._channel_reads(constraint.stretch.channel, split)
                yield from self._channel_reads(constraint.volume.channel, split)
                yield from self._chain_reads(constraint, split)
            case Reach():
                yield from self._whole(constraint.goal, split)
                yield from self._aspects(constraint.pole, (PLACE,), split)
                yield from self._channel_reads(constraint.stretch.channel, split)
                yield from self._chain_reads(constraint, split)
            case Twist():
                for end in (constraint.start, constraint.end):
                    if end is not None:
                        yield from self._twist_end_reads(end, split)
                yield from self._chain_reads(constraint, split)

    def _follow_reads(self, follow: Follow, split: Collection[str]) -> Iterator[str]:
        """Leaders, the dial, and the follower's parent, which stands in where weights come to 0.

        A dial of the follower's own is set, not worked out: it makes no loop in any application.
        """
        aspects: set[str] = set()
        for part in follow.takes:
            aspects.add(_ASPECT_OF_PART[part])
            if part == "move" and not follow.landing:
                aspects.update(ASPECTS)
        read = [aspect for aspect in ASPECTS if aspect in aspects]
        for leader in follow.leaders:
            yield from self._aspects(leader.node, read, split)
        if follow.dial is not None and channel_node(follow.dial) == follow.node:
            yield from (feed.name for feed in self.feeds_of.get(follow.dial, ()))
        else:
            yield from self._channel_reads(follow.dial, split)
        yield from self._aspects(self.nodes[follow.node].parent, read, split)

    def _face_reads(self, face: Face, split: Collection[str]) -> Iterator[str]:
        """The mark's place, the up node's turn, and where the mount itself stands."""
        yield from self._aspects(face.mark, (PLACE,), split)
        yield from self._aspects(face.up_node, (TURN,), split)
        yield from self._whole(self.nodes[face.node].parent, split)
        yield from self._earlier(face, face.node)

    def _chain_reads(
        self, constraint: Ride | Reach | Twist, split: Collection[str]
    ) -> Iterator[str]:
        """The mount of a chain before this constraint: its parent and what else writes its joints.

        A twist leaves the joints' own turns on, so it reads what feeds them.
        """
        joints = self.chains[constraint.chain].joints
        for joint in joints[:1]:
            yield from self._whole(self.nodes[joint].parent, split)
        for joint in joints:
            yield from self._earlier(constraint, joint)
            if isinstance(constraint, Twist):
                for channel in _channels(joint, "turn"):
                    for feed in self.feeds_of.get(channel, ()):
                        yield feed.name

    def _twist_end_reads(self, end: TwistEnd, split: Collection[str]) -> Iterator[str]:
        yield from self._aspects(end.node, (TURN,), split)
        yield from self._aspects(end.relative, (TURN,), split)
        for name in end.path:
            for channel in _channels(name, "turn"):
                yield from self._channel_reads(channel, split)

    def _earlier(self, constraint: Constraint, node: str) -> Iterator[str]:
        """Constraints on the same node whose result this one goes on from.

        Following comes first, then solving a chain, then twisting it; facing reads the place that
        a follow gave.
        """
        stage = _STAGES[type(constraint)]
        for other, parts in self.writers.get(node, ()):
            sooner = _STAGES[type(other)] < stage
            if sooner or (isinstance(constraint, Face) and "move" in parts):
                yield other.name

    def _curve_reads(self, curve: Curve, split: Collection[str]) -> Iterator[str]:
        for share in curve.shares:
            yield from self._whole(share.grip, split)
        yield from self._whole(curve.parent, split)

    def _live_reads(self, value: Live, split: Collection[str]) -> Iterator[str]:
        match value:
            case Read():
                yield from self._channel_reads(value.channel, split)
            case Measure():
                yield from self._measure_reads(value, split)
            case Apply():
                for operand in value.operands:
                    yield from self._live_reads(operand, split)
            case Map():
                yield from self._live_reads(value.value, split)
                for start, stop in value.pairs:
                    yield from self._live_reads(start, split)
                    yield from self._live_reads(stop, split)

    def _measure_reads(self, measure: Measure, split: Collection[str]) -> Iterator[str]:
        aspects = (PLACE,) if measure.what == "distance" else (TURN,)
        for name in measure.of:
            if name in self.curves:
                yield from self._curve_reads(self.curves[name], split)
            elif name in self.chains:
                for joint in self.chains[name].joints:
                    yield from self._whole(joint, split)
            else:
                yield from self._aspects(name, aspects, split)

    def _channel_reads(self, channel: str | None, split: Collection[str]) -> Iterator[str]:
        """A gauge, or a channel or dial: of a node taken apart, only what feeds it."""
        if channel is None:
            return
        if channel in self.gauges:
            yield channel
            return
        node = channel_node(channel)
        if node not in split:
            yield from self._whole(node, split)
        else:
            for feed in self.feeds_of.get(channel, ()):
                yield feed.name

    def _whole(self, node: str | None, split: Collection[str]) -> Iterator[str]:
        return self._aspects(node, ASPECTS, split)

    def _aspects(
        self, node: str | None, aspects: Collection[str], split: Collection[str]
    ) -> Iterator[str]:
        if node not in self.nodes:
            return
        if node not in split:
            if aspects:
                yield node
        else:
            for aspect in aspects:
                yield _vertex(node, aspect)


def written(
    constraint: Constraint, chains: dict[str, Chain]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    """The nodes whose mount a constraint writes, each with the parts: move, turn, size.

    A twist turns what is there already, so it owns nothing; it is given as writing turn.
    """
    match constraint:
        case Follow():
            yield constraint.node, constraint.takes
        case Face():
            yield constraint.node, ("turn",)
        case Ride():
            for joint in chains[constraint.chain].joints:
                yield joint, ("move", "turn", "size")
        case Reach():
            stretches = constraint.stretch.channel is not None or constraint.stretch.value != 0.0
            for k, joint in enumerate(chains[constraint.chain].joints):
                yield joint, ("move", "turn") if stretches and k > 0 else ("turn",)
        case Twist():
            for joint in chains[constraint.chain].joints:
                yield joint, ("turn",)


def channel_node(channel: str) -> str:
    """The node of a channel (`arm.left.turn.x`) or of a dial (`hand.space`)."""
    head, _, axis = channel.rpartition(".")
    node, _, part = head.rpartition(".")
    return node if f"{part}.{axis}" in _CHANNELS else head


def _channels(node: str, part: str) -> Iterator[str]:
    for axis in "xyz":
        yield f"{node}.{part}.{axis}"


def _inputs(node: Node) -> Iterator[str]:
    for channel in CHANNELS:
        yield f"{node.name}.{channel}"
    for dial in node.dials:
        yield f"{node.name}.{dial.name}"


def _vertex(node: str, aspect: str) -> str:
    return f"{node}\0{aspect}"


def _node(vertex: str) -> str:
    return vertex.partition("\0")[0]


def _step(vertex: str) -> str:
    return vertex.replace("\0", ".")


def _graph(rig: Rig, wiring: Wiring, split: Collection[str]) -> networkx.DiGraph[str]:
    import networkx

    apart = frozenset(split)
    graph: networkx.DiGraph[str] = networkx.DiGraph()
    for node in rig.nodes:
        if node.name in apart:
            graph.add_nodes_from(_vertex(node.name, aspect) for aspect in ASPECTS)
        else:
            graph.add_node(node.name)
    graph.add_nodes_from(constraint.name for constraint in rig.constraints)
    graph.add_nodes_from(feed.name for feed in rig.feeds)
    graph.add_nodes_from(gauge.name for gauge in rig.gauges)
    graph.add_edges_from(wiring.edges(apart))
    return graph


def _tangled(graph: networkx.DiGraph[str]) -> list[set[str]]:
    """The strongly connected parts of a graph that hold a loop."""
    import networkx

    return [
        part
        for part in networkx.strongly_connected_components(graph)
        if len(part) > 1 or any(graph.has_edge(vertex, vertex) for vertex in part)
    ]


def _cycles(rig: Rig, graph: networkx.DiGraph[str]) -> Iterator[Finding]:
    """A finding for each loop that shares no node and no statement with one reported before."""
    for _ in range(MOST_LOOPS):
        tangled = _tangled(graph)
        if not tangled:
            return
        loop = _shortest_loop(graph, min(map(min, tangled)))
        yield _cycle_finding(rig, loop)
        told = {_node(vertex) for vertex in loop}
        left = [v for v in set().union(*tangled) if _node(v) not in told]
        graph = graph.subgraph(left).copy()


def _shortest_loop(graph: networkx.DiGraph[str], start: str) -> list[str]:
    """The shortest loop from a vertex to itself, the first by name where several are as short."""
    came: dict[str, str] = {}
    edge = [start]
    while start not in came:
        onward: list[str] = []
        for vertex in edge:
            for after in sorted(graph.successors(vertex)):
                if after not in came:
                    came[after] = vertex
                    onward.append(after)
        edge = onward
    loop = [came[start]]
    while loop[-1] != start:
        loop.append(came[loop[-1]])
    return loop[::-1]


def _cycle_finding(rig: Rig, loop: list[str]) -> Finding:
    """The loop read aloud, each of its statements with its own line."""
    placed = [(site, label) for site, label in _statements(rig, loop) if site is not None]
    names = list(dict.fromkeys(map(_node, loop)))
    told = [f'"{name}"' for name in names[:MOST_NAMES]]
    if len(names) > MOST_NAMES:
        told.append(f"{len(names) - MOST_NAMES} more")
    return CYCLE.at(
        placed[0][0] if placed else None,
        "expected what is read to come before what reads it, found a loop: "
        + " -> ".join([*told, told[0]]),
        help="take one of these statements out of the loop: let it follow or read something"
        " that does not depend on the rest",
        related=placed[:MOST_STATEMENTS],
    )


def _statements(rig: Rig, loop: list[str]) -> Iterator[tuple[Site | None, str]]:
    """The statements that make a loop: its constraints, feeds and gauges, and who is under whom."""
    nodes = {node.name: node for node in rig.nodes}
    others: dict[str, Constraint | Feed | Gauge] = {
        record.name: record for record in (*rig.constraints, *rig.feeds, *rig.gauges)
    }
    for before, after in zip((loop[-1], *loop[:-1]), loop, strict=True):
        before_name, after_name = _node(before), _node(after)
        record = others.get(after)
        if record is not None:
            site = record.origin[0] if record.origin else None
            yield site, f'"{after}" reads "{before_name}" here'
        elif before_name in nodes and before_name != after_name:
            node = nodes[after_name]
            site = node.origin[0] if node.origin else None
            yield site, f'"{after_name}" is under "{before_name}" here'
