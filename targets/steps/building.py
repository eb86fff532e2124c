"""The phases that make things: prepare, groups, skeleton, curve, grips, controls, hierarchy.

In comes a settled rig, out go the steps that put every node and curve of one of its parts into the
scene, each under its parent where that is made before. What moves what is for later phases.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from somite.ir import Chain, Curve, Dial, Node, Share
from somite.spatial.vector import distance
from somite.targets.steps import nodes
from somite.targets.steps.figures import percent, rounded
from somite.targets.steps.lookup import (
    CONTROLS,
    GRIPS,
    GROUPS,
    MAKING,
    SKELETON,
    Lookup,
    Standing,
)
from somite.targets.steps.records import Fact, Name, Names, Saying, Step, Table, Value


def prepare(lookup: Lookup) -> Iterator[Step]:
    """The scene's unit and axes, and the character."""
    rig, figures = lookup.rig, lookup.figures
    yield Step(
        Saying("do.set-unit", {"unit": Saying(f"unit.{rig.unit}")}),
        sees=(Saying("see.unit", {"unit": rig.unit}),),
    )
    yield Step(
        Saying("do.set-axes", {"up": rig.up, "front": rig.front}),
        notes=(Saying("note.fixed-axes"),),
        sees=(Saying("see.axes", {"left": figures.left_axis}),),
    )
    yield Step(
        Saying("do.place-character", {"character": rig.character}),
        sees=(
            Saying("see.height", {"height": figures.length(rig.height)}),
            Saying("see.middle", {"front": rig.front, "across": rig.mirror_axis[1]}),
        ),
    )


def groups(lookup: Lookup, standing: Standing, part: str) -> Iterator[Step]:
    """The groups at the top of a part."""
    for node in _of(lookup, part, GROUPS):
        yield nodes.made(lookup, standing, node)


def skeleton(lookup: Lookup, standing: Standing, part: str) -> Iterator[Step]:
    """The joints, base first; after a chain's last joint its end, and a look along it."""
    waiting: dict[str, int] = {}
    for node in _of(lookup, part, SKELETON):
        yield nodes.made(lookup, standing, node)
        chain = lookup.chains.get(node.chain) if node.chain else None
        if chain is not None:
            waiting[chain.name] = waiting.get(chain.name, len(chain.joints)) - 1
            if waiting[chain.name] == 0:
                yield nodes.end_marked(lookup, chain)
                yield _looked_along(lookup, chain)


def _of(lookup: Lookup, part: str, phase: str) -> list[Node]:
    return lookup.making.get(part, {}).get(phase, [])


def _looked_along(lookup: Lookup, chain: Chain) -> Step:
    figures = lookup.figures
    stations = lookup.stations(chain)
    rows: list[tuple[Value, ...]] = []
    total = 0.0
    for (name, place), (after, there) in pairwise(stations):
        length = distance(place, there)
        total += length
        rows.append((name, after, figures.bare_length(length)))
    columns = ("column.joint", "column.points-at", "column.bone-length")
    return Step(
        Saying("do.look-along", {"chain": lookup.name(chain.name), "end": stations[-1][0]}),
        table=Table(columns, tuple(rows), (False, False, True)),
        sees=(
            Saying("see.chain-aims", {"axis": chain.axis}),
            Saying("see.chain-length", {"length": figures.length(total)}),
        ),
        origin=chain.origin,
    )


def curve(lookup: Lookup, part: str) -> Iterator[Step]:
    """Each curve of a part by its control points, degree and knots."""
    for made in lookup.curves_of.get(part, ()):
        yield _curve_made(lookup, made)


def _curve_made(lookup: Lookup, curve: Curve) -> Step:
    figures = lookup.figures
    name = lookup.name(curve.name)
    rows = tuple(
        (str(number), *(figures.bare_length(part) for part in point))
        for number, point in enumerate(curve.points, start=1)
    )
    later = "note.curve-parent-later" if curve.parent else "note.curve-stays"
    return Step(
        Saying("do.draw-curve", {"curve": name, "count": str(len(curve.points))}),
        facts=(
            Fact("label.degree", str(curve.degree)),
            Fact("label.knots", ", ".join(rounded(knot, 6) for knot in curve.knots)),
        ),
        table=Table(("column.point", "column.x", "column.y", "column.z"), rows, (True,) * 4),
        notes=(Saying("note.knots"), Saying(later)),
        sees=tuple(_curve_seen(lookup, curve)),
        made=(name,),
        origin=curve.origin,
        puts=() if curve.parent else (curve.name,),
    )


def _curve_seen(lookup: Lookup, curve: Curve) -> Iterator[Saying]:
    figures = lookup.figures
    yield Saying(
        "see.curve-ends",
        {"start": figures.place(curve.points[0]), "stop": figures.place(curve.points[-1])},
    )
    rest = lookup.settled.curves.get(curve.name)
    if rest is not None:
        yield Saying("see.curve-length", {"length": figures.length(rest.length)})
    part = lookup.parts.key(curve.name, curve.origin)
    for chain in lookup.chains_on.get(curve.name, ()):
        if lookup.parts.key(chain.name, chain.origin) != part:
            continue
        yield Saying("see.curve-chain", {"chain": lookup.name(chain.name)})


def grips(lookup: Lookup, standing: Standing, part: str) -> Iterator[Step]:
    """The grips, and which control points each owns."""
    for node in _of(lookup, part, GRIPS):
        yield nodes.made(lookup, standing, node)
        for name, shares in lookup.owned.get(node.name, {}).items():
            yield _owned(lookup, node, lookup.curves[name], shares)


def _owned(lookup: Lookup, grip: Node, curve: Curve, shares: list[Share]) -> Step:
    points = Names(tuple(str(share.point + 1) for share in shares))
    values: dict[str, Value] = {
        "grip": lookup.name(grip.name),
        "curve": lookup.name(curve.name),
        "points": points,
    }
    whole = all(share.share == 1.0 for share in shares)
    rows = tuple((str(share.point + 1), percent(share.share)) for share in shares)
    table = Table(("column.point", "column.share"), rows, (True, True))
    origin = shares[0].origin or curve.origin
    ten = lookup.figures.length(lookup.rig.height / 20.0)
    return Step(
        Saying("do.own-points" if len(shares) > 1 else "do.own-point", values),
        table=None if whole else table,
        notes=() if whole else (Saying("note.shares"),),
        sees=(Saying("see.owned" if whole else "see.owned-shares", {**values, "length": ten}),),
        origin=origin,
    )


def controls(lookup: Lookup, standing: Standing, part: str) -> Iterator[Step]:
    """What an animator touches, parents before children, each with its dials."""
    for node in _of(lookup, part, CONTROLS):
        yield nodes.made(lookup, standing, node)
        for dial in node.dials:
            yield _dial_added(lookup, node, dial)


def _dial_added(lookup: Lookup, node: Node, dial: Dial) -> Step:
    name = Name(f"{node.name}.{dial.name}", dial.name)
    facts = [
        Fact("label.dial-kind", dial_kind(lookup, node, dial)),
        Fact("label.starts-at", lookup.setting(name.identity, dial.default)),
    ]
    key = "see.dial-choice" if dial.options else "see.dial-number"
    value = lookup.setting(name.identity, dial.default)
    return Step(
        Saying("do.add-dial", {"dial": name, "control": lookup.name(node.name)}),
        facts=tuple(facts),
        notes=(Saying("note.neutral"),) if dial.neutral else (),
        sees=(Saying(key, {"dial": name, "value": value}),),
        made=(name,),
        origin=dial.origin or node.origin,
    )


def dial_kind(lookup: Lookup, node: Node, dial: Dial) -> Saying:
    """What may be set on a dial, in words."""
    if dial.options:
        return Saying("dial.choice", {"options": Names(dial.options)})
    channel = f"{node.name}.{dial.name}"
    if dial.low is None or dial.high is None:
        return Saying(f"dial.{dial.unit}")
    low, high = lookup.setting(channel, dial.low), lookup.setting(channel, dial.high)
    return Saying(f"dial.{dial.unit}-within", {"low": low, "high": high})


def hierarchy(lookup: Lookup, standing: Standing, part: str) -> Iterator[Step]:
    """What could not go under its parent when it was made, and where channels count from."""
    made = [node for phase in MAKING for node in _of(lookup, part, phase)]
    for node in made:
        if standing.is_late(node):
            yield _put_under(lookup, node)
    for curve in lookup.curves_of.get(part, ()):
        if curve.parent is not None:
            yield _curve_put_under(lookup, curve, curve.parent)
    yield from _rests(lookup, standing, sorted(made, key=lambda node: node.name))


def _put_under(lookup: Lookup, node: Node) -> Step:
    name = lookup.name(node.name)
    return Step(
        Saying("do.put-under", {"node": name, "parent": lookup.name(node.parent or "")}),
        sees=(
            Saying(
                "see.kept-place",
                {"node": name, "place": lookup.figures.place(node.rest.place)},
            ),
        ),
        origin=node.origin,
        puts=(node.name,),
    )


def _curve_put_under(lookup: Lookup, curve: Curve, parent: str) -> Step:
    name = lookup.name(curve.name)
    place = lookup.figures.place(curve.points[0])
    return Step(
        Saying("do.put-under", {"node": name, "parent": lookup.name(parent)}),
        sees=(Saying("see.curve-kept-place", {"curve": name, "place": place}),),
        origin=curve.origin,
        puts=(curve.name,),
    )


def _rests(lookup: Lookup, standing: Standing, made: list[Node]) -> Iterator[Step]:
    """Where channels count from; what waits for its parent is told apart, since it waits too."""
    posed = lookup.posed
    kinds = (
        ("do.rest-controls", [node for node in made if node.kind == "control"]),
        (
            "do.rest-others",
            [node for node in made if node.kind != "control" and node.name in posed],
        ),
    )
    for key, found in kinds:
        for late in (False, True):
            told = [node for node in found if standing.is_late(node) is late]
            if told:
                yield Step(
                    Saying(f"{key}-late" if late else key, {"count": str(len(told))}),
                    facts=(named(lookup, told),),
                    notes=(Saying("note.mount"),),
                    sees=(Saying("see.zero"),),
                    after=tuple(node.name for node in told),
                )


def named(lookup: Lookup, nodes: Iterable[Node]) -> Fact:
    """The names of several nodes, as one fact."""
    return Fact("label.names", Names(tuple(lookup.name(node.name) for node in nodes)))
