"""How one node is made by hand: what it is like, and how to see that it stands where it should.

In comes a node of a settled rig, out goes the step that makes it. The phases decide which nodes are
made when; nothing here knows the others.
"""

from __future__ import annotations

from collections.abc import Iterator

from somite.ir import Axis, Chain, Node, Shape, TurnOrder, Vector
from somite.spatial.vector import distance, dot, subtract
from somite.targets.steps.figures import Figures, turned
from somite.targets.steps.lookup import Lookup, Standing
from somite.targets.steps.records import Fact, Name, Names, Saying, Step, Value

SECOND: dict[str, Axis] = {"X": "+Y", "Y": "+Z", "Z": "+Y"}
"""The axis that is told beside a chain's own, by the letter of that."""

_STILL = 1.0 - 1e-14
"""A turn whose w is nearer to one than this is none: under a hundredth of a degree by far."""


def made(lookup: Lookup, standing: Standing, node: Node) -> Step:
    """The step that makes a node at its place, under its parent where that is there already."""
    late = standing.is_late(node)
    return Step(
        Saying(
            f"do.make-{'socket' if node.socket else node.kind}", {"node": lookup.name(node.name)}
        ),
        facts=tuple(_facts(lookup, node, late)),
        notes=tuple(_notes(lookup, node)),
        sees=tuple(_sees(lookup, node, standing.above(node))),
        made=(lookup.name(node.name),),
        origin=node.origin,
        puts=() if late else (node.name,),
    )


def _facts(lookup: Lookup, node: Node, late: bool) -> Iterator[Fact]:
    figures = lookup.figures
    yield Fact("label.place", figures.place(node.rest.place))
    yield Fact("label.turns", turns(figures, node))
    yield from axes_told(lookup, node)
    yield Fact("label.parent", _parent(lookup, node, late))
    if node.kind == "control":
        yield Fact("label.turn-order", order_told(node.order))
    if node.shape is not None:
        yield Fact("label.shape", shape_told(figures, node.shape))


def _notes(lookup: Lookup, node: Node) -> Iterator[Saying]:
    if node.about:
        yield Saying("note.about", {"text": node.about})
    for placed in lookup.rig.placed if node.socket else ():
        if placed.socket == node.name:
            values: dict[str, Value] = {
                "rig": placed.name,
                "spelled": placed.spelled,
                "recipe": placed.recipe,
                "character": placed.character,
            }
            yield Saying("note.rig-on-socket", values)


def _sees(lookup: Lookup, node: Node, parent: Node | None) -> Iterator[Saying]:
    before = lookup.before.get(node.name)
    if before is not None:
        chain, joint = lookup.chains[before[0]], lookup.nodes[before[1]]
        length = distance(joint.rest.place, node.rest.place)
        yield Saying(
            "see.next-in-chain",
            {
                "before": lookup.name(joint.name),
                "axis": chain.axis,
                "length": lookup.figures.length(length),
            },
        )
        return
    if parent is None:
        yield from_origin(lookup, node.rest.place)
    else:
        yield standing_from(lookup, parent, node.rest.place)


def from_origin(lookup: Lookup, place: Vector) -> Saying:
    """Where a place is, told from the origin."""
    steps = offset(lookup.figures, place)
    if steps is None:
        return Saying("see.at-origin")
    return Saying("see.from-origin", {"offset": steps})


def standing_from(lookup: Lookup, other: Node, place: Vector) -> Saying:
    """Where a place is, told from another node."""
    steps = offset(lookup.figures, subtract(place, other.rest.place))
    name = lookup.name(other.name)
    if steps is None:
        return Saying("see.on-parent", {"parent": name})
    return Saying("see.from-parent", {"parent": name, "offset": steps})


def offset(figures: Figures, vector: Vector) -> Names | None:
    """A difference of places as distances up, to the front and to the left; None for none."""
    told: list[Value] = []
    for amount, ahead, behind in (
        (dot(vector, figures.up), "up", "down"),
        (dot(vector, figures.front), "front", "back"),
        (dot(vector, figures.left), "left", "right"),
    ):
        if figures.bare_length(abs(amount)) != "0":
            way = ahead if amount > 0.0 else behind
            told.append(Saying(f"offset.{way}", {"length": figures.length(abs(amount))}))
    return Names(tuple(told)) if told else None


def turns(figures: Figures, node: Node) -> Saying:
    """A node's turn, as turns about the scene's axes in the node's own order."""
    if abs(node.rest.turn[3]) >= _STILL:
        return Saying("fact.no-turns")
    x, y, z = figures.turns(node.rest.turn, node.order)
    order = order_told(node.order)
    return Saying("fact.turns", {"x": x, "y": y, "z": z, "order": order})


def order_told(order: TurnOrder) -> Saying:
    """A turn order in words."""
    first, second, third = (order[index].upper() for index in (0, 1, 2))
    return Saying("fact.order", {"first": first, "second": second, "third": third})


def axes_told(lookup: Lookup, node: Node) -> Iterator[Fact]:
    """Where the two axes that matter of a node point; nothing for a node that is not turned."""
    chain = lookup.chains.get(node.chain) if node.chain else None
    if chain is None and abs(node.rest.turn[3]) >= _STILL:
        return
    first: Axis = chain.axis if chain is not None else "+X"
    label = "label.bone-axis" if chain is not None else "label.first-axis"
    for key, axis in ((label, first), ("label.second-axis", SECOND[first[1]])):
        direction = turned(node.rest, axis)
        values: dict[str, Value] = {
            "axis": axis,
            "way": lookup.figures.way(direction),
            "direction": lookup.figures.direction(direction),
        }
        yield Fact(key, Saying("fact.axis-way", values))


def _parent(lookup: Lookup, node: Node, late: bool) -> Value:
    if node.parent is None:
        return Saying("fact.no-parent")
    if late:
        return Saying("fact.parent-later")
    return lookup.name(node.parent)


def shape_told(figures: Figures, shape: Shape) -> Saying:
    """The shape of a control: its kind, width, axis and offset."""
    values: dict[str, Value] = {
        "kind": shape_word(shape.kind),
        "width": figures.length(shape.width),
        "axis": shape.axis,
    }
    x, y, z = shape.offset
    if all(figures.bare_length(part) == "0" for part in (x, y, z)):
        return Saying("fact.shape", values)
    return Saying("fact.shape-shifted", {**values, "offset": figures.place(shape.offset)})


def shape_word(kind: str) -> str:
    """The word for a shape, which is its own."""
    return kind.replace("_", " ")


def end_marked(lookup: Lookup, chain: Chain) -> Step:
    """The step that marks where a chain ends."""
    last = lookup.nodes[chain.joints[-1]]
    name: Name = lookup.end_name(chain)
    length = lookup.figures.length(distance(last.rest.place, chain.end))
    return Step(
        Saying("do.mark-end", {"end": name, "chain": lookup.name(chain.name)}),
        facts=(
            Fact("label.place", lookup.figures.place(chain.end)),
            Fact("label.parent", lookup.name(last.name)),
        ),
        notes=(Saying("note.end"),),
        sees=(
            Saying(
                "see.next-in-chain",
                {"before": lookup.name(last.name), "axis": chain.axis, "length": length},
            ),
        ),
        made=(name, lookup.name(chain.name)),
        origin=chain.origin,
    )
