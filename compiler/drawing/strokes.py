"""Strokes of a rig: what is drawn of each of its things, as lines in the rig's own space.

In comes a settled rig, and where its nodes are if it is not at rest; out come strokes, each with
its role and the name of what it stands for. Where they are looked at from, and with what pen they
are drawn, is not known here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeAlias

from somite.drawing.shapes import Line, outline
from somite.ir import Curve, Frame, Node, Vector
from somite.settle import Settled, spline
from somite.spatial.rotation import rotated
from somite.spatial.spline import point_at, spans
from somite.spatial.vector import along, distance

Role: TypeAlias = Literal["bone", "link", "joint", "curve", "point", "control", "socket", "shift"]

SAMPLES = 12
"""Points along each span of a curve."""

NEAR = 1e-6
"""Places nearer than this, by the length between, are one."""


@dataclass(frozen=True, slots=True)
class Transform:
    """Where a node is: its place (metres), and its own three axes as columns, sizes included."""

    place: Vector
    columns: tuple[Vector, Vector, Vector]

    def through(self, point: Vector) -> Vector:
        """A point of the node's frame, in the rig's space."""
        found = self.place
        for column, part in zip(self.columns, point, strict=True):
            found = along(found, column, part)
        return found


@dataclass(frozen=True, slots=True)
class Stroke:
    """What is drawn of one thing: lines in the rig's space (metres).

    A bone has one line, from its joint to its far end; a joint, a socket and a curve's control
    points have one point a line. A shift has one line, from where something was to where it is; no
    rig has any, they are made where two are compared.
    """

    role: Role
    name: str
    lines: tuple[Line, ...]


def at_rest(frame: Frame) -> Transform:
    """The transform of a node at rest."""
    x, y, z = (rotated(frame.turn, axis) for axis in ((1.0, 0, 0), (0, 1.0, 0), (0, 0, 1.0)))
    return Transform(frame.place, (x, y, z))


def strokes_of(
    settled: Settled,
    transforms: Mapping[str, Transform] | None = None,
    points: Mapping[str, Sequence[Vector]] | None = None,
) -> tuple[Stroke, ...]:
    """All that is drawn of a rig, in the order of its records: bones first, controls last.

    `transforms` by node and `points` by curve are where things are; what they leave out is at rest.
    """
    given, placed = transforms or {}, points or {}
    at = {node.name: given.get(node.name) or at_rest(node.rest) for node in settled.rig.nodes}
    curves = settled.rig.curves
    return (
        *_bones(settled, at),
        *_links(settled, at),
        *[_dot("joint", node, at) for node in settled.rig.nodes if node.kind == "joint"],
        *[stroke for curve in curves for stroke in _curve(curve, placed.get(curve.name))],
        *[_dot("socket", node, at) for node in settled.rig.nodes if _is_socket(node)],
        *[stroke for node in settled.rig.nodes for stroke in _control(node, at)],
    )


def _is_socket(node: Node) -> bool:
    return bool(getattr(node, "socket", False))


def _dot(role: Role, node: Node, at: Mapping[str, Transform]) -> Stroke:
    return Stroke(role, node.name, ((at[node.name].place,),))


def _bones(settled: Settled, at: Mapping[str, Transform]) -> Iterator[Stroke]:
    for chain in settled.rig.chains:
        places = [at[joint].place for joint in chain.joints]
        ends = [*places[1:], at[chain.joints[-1]].through(settled.ends[chain.name])]
        for joint, start, stop in zip(chain.joints, places, ends, strict=True):
            if distance(start, stop) > 0.0:
                yield Stroke("bone", joint, ((start, stop),))


def _links(settled: Settled, at: Mapping[str, Transform]) -> Iterator[Stroke]:
    """Lines from joints to the joints that carry them, where no bone is between."""
    bones = {(a, b) for chain in settled.rig.chains for a, b in pairwise(chain.joints)}
    nodes = {node.name: node for node in settled.rig.nodes}
    whole = [
        (at[chain.joints[0]].place, at[chain.joints[-1]].through(settled.ends[chain.name]))
        for chain in settled.rig.chains
    ]
    for node in settled.rig.nodes:
        carrier = _carrier(node, nodes)
        if node.kind != "joint" or carrier is None or (carrier.name, node.name) in bones:
            continue
        ends = (at[carrier.name].place, at[node.name].place)
        if distance(*ends) > 0.0 and not _is_spanned(ends, whole):
            yield Stroke("link", node.name, (ends,))


def _carrier(node: Node, nodes: Mapping[str, Node]) -> Node | None:
    """The joint that a node hangs under, directly or by groups only."""
    above = nodes.get(node.parent or "")
    while above is not None and above.kind == "group":
        above = nodes.get(above.parent or "")
    return above if above is not None and above.kind == "joint" else None


def _is_spanned(ends: Line, chains: Sequence[tuple[Vector, Vector]]) -> bool:
    """Whether a chain of bones runs from the one end to the other."""
    near = NEAR * distance(*ends)
    return any(distance(ends[0], a) <= near and distance(ends[1], b) <= near for a, b in chains)


def _curve(curve: Curve, points: Sequence[Vector] | None) -> Iterator[Stroke]:
    path = spline(curve, curve.points if points is None else points)
    parameters = [curve.knots[curve.degree]]
    for start, stop in spans(curve.knots):
        parameters.extend([start + (stop - start) * k / SAMPLES for k in range(1, SAMPLES + 1)])
    yield Stroke("curve", curve.name, (tuple([point_at(path, u) for u in parameters]),))
    yield Stroke("point", curve.name, tuple([(point,) for point in path.points]))


def _control(node: Node, at: Mapping[str, Transform]) -> Iterator[Stroke]:
    if node.shape is None:
        return
    where = at[node.name]
    lines = tuple([tuple([where.through(p) for p in line]) for line in outline(node.shape)])
    yield Stroke("control", node.name, lines)
