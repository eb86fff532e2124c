"""Work that is the same on both sides of a rig, told once.

In come the steps of a part and of its twin on the other side; out go entries, a step of both sides
where the two say the same but for the sides and for values, and each step alone where they do not.
What is said of the left is turned into what is expected on the right by one rule: names change to
those of the twin, the words left and right change places, and so does the sign of places across the
middle. Nothing here knows what steps do.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from somite.ir import Axis, Node, Rig, Vector
from somite.spatial.rotation import rotated
from somite.spatial.vector import distance
from somite.targets.steps.figures import AXES
from somite.targets.steps.parts import SIDES, swapped_side
from somite.targets.steps.records import (
    Both,
    Entry,
    Fact,
    Name,
    Names,
    Saying,
    Step,
    Table,
    Value,
)

NEAR = 1e-6
"""Metres, and parts of a direction, within which sides are mirror images: below any rounding."""

_WORDS = {"left": "right", "right": "left", "straight-left": "straight-right"}
_WORDS["straight-right"] = "straight-left"
_SIDED = ("offset.", "way.", "side.")
"""Phrases of which the last word is a side of the character."""

_PLACE = re.compile(r"\((-?[0-9.]+), (-?[0-9.]+), (-?[0-9.]+)\)( [a-z]+)")
"""A place as it is told, with its unit; directions have none, and are turned in other ways."""


@dataclass(frozen=True, slots=True)
class Mirroring:
    """What each name on one side is on the other."""

    twins: Mapping[str, str]
    names: Mapping[str, Name]
    across: int

    def name(self, name: Name) -> Name:
        """The name on the other side; itself where it is of both sides."""
        other = self.twins.get(name.identity)
        if other is None:
            swapped = swapped_side(name.identity)
            other = swapped if swapped is not None and swapped in self.names else name.identity
        return self.names.get(other, name)

    def value(self, value: Value) -> Value:
        """What is expected on the other side where this is said."""
        if isinstance(value, Name):
            return self.name(value)
        if isinstance(value, Names):
            return Names(tuple(self.value(member) for member in value.members))
        if isinstance(value, Saying):
            return self.saying(value)
        place = _PLACE.fullmatch(value) if value.startswith("(") else None
        return self._place(place) if place is not None else value

    def _place(self, place: re.Match[str]) -> str:
        parts = list(place.groups()[:3])
        part = parts[self.across]
        if part != "0":
            parts[self.across] = part[1:] if part.startswith("-") else f"-{part}"
        return f"({', '.join(parts)}){place[4]}"

    def saying(self, saying: Saying) -> Saying:
        """A saying as it is expected on the other side."""
        key = saying.key
        stem, dot, word = key.partition(".")
        if stem + dot in _SIDED and word in _WORDS:
            key = stem + dot + _WORDS[word]
        return Saying(key, {blank: self.value(inner) for blank, inner in saying.values.items()})

    def table(self, table: Table) -> Table:
        """A table as it is expected on the other side."""
        rows = tuple(tuple(self.value(cell) for cell in row) for row in table.rows)
        return replace(table, rows=rows)

    def step(self, step: Step) -> Step:
        """A step as it is expected on the other side; where it comes from is not expected."""
        return Step(
            self.saying(step.action),
            tuple(Fact(fact.label, self.value(fact.value)) for fact in step.facts),
            self.table(step.table) if step.table is not None else None,
            tuple(self.saying(note) for note in step.notes),
            tuple(self.saying(see) for see in step.sees),
            tuple(self.name(name) for name in step.made),
        )

    def is_right(self, part: str, step: Step) -> bool:
        """Whether a step is of the right side: by its part, or by the first thing of a side."""
        sides = [segment for segment in part.split(".") if segment in SIDES]
        for name in step.mentioned() if not sides else ():
            if self.name(name) != name:
                sides = [segment for segment in name.identity.split(".") if segment in SIDES]
                break
        return bool(sides) and sides[-1] == "right"


def mirroring(rig: Rig, steps: Iterable[Step]) -> Mirroring:
    """The names of both sides: those of nodes by their twins, and everything else by its side."""
    nodes = rig.nodes
    names: dict[str, Name] = {}
    for step in steps:
        for name in (*step.made, *step.mentioned()):
            names.setdefault(name.identity, name)
    twins = {node.name: node.mirror.twin for node in nodes if node.mirror is not None}
    dials = {
        f"{node.name}.{dial.name}": f"{node.mirror.twin}.{dial.name}"
        for node in nodes
        if node.mirror is not None
        for dial in node.dials
    }
    return Mirroring({**twins, **dials}, names, "XYZ".index(rig.mirror_axis[1]))


def folded(
    steps: Sequence[tuple[str, Step]], mirroring: Mirroring, symmetric: Callable[[Step], bool]
) -> list[Entry]:
    """Steps, each with its part, where those of both sides are told once if they say the same.

    Nothing is lost or added. A step that has its like on the other side, but says something else,
    stands directly before it; every other keeps its place.
    """
    at = {(part, _said(step.action)): index for index, (part, step) in enumerate(steps)}
    entries: list[Entry] = []
    told: set[int] = set()
    for index, (part, step) in enumerate(steps):
        if index in told:
            continue
        action = _said(mirroring.saying(step.action))
        twins = (
            at.get((other, action)) for other in (swapped_side(part), part) if other is not None
        )
        twin = next((one for one in twins if one is not None and one > index), None)
        if twin is None or twin in told:
            entries.append(step)
            continue
        told.add(twin)
        left, right = step, steps[twin][1]
        if mirroring.is_right(part, step):
            left, right = right, left
        if symmetric(left) and _alike(left, right, mirroring):
            entries.append(Both(left, right, mirroring.step(left)))
        else:
            entries.extend((left, right))
    return entries


def _said(saying: Saying) -> tuple[object, ...]:
    """What is said, but for the signs of axes: a chain's bones lie the other way on the right."""
    return saying.key, *((blank, _held(inner)) for blank, inner in saying.values.items())


def _held(value: Value) -> object:
    if isinstance(value, Saying):
        return _said(value)
    if isinstance(value, Names):
        return tuple(_held(member) for member in value.members)
    return value[1:] if value in AXES else value


def _alike(left: Step, right: Step, mirroring: Mirroring) -> bool:
    """Whether the two steps have the same form, so that only values can differ."""
    return (
        [fact.label for fact in left.facts] == [fact.label for fact in right.facts]
        and [note.key for note in left.notes] == [note.key for note in right.notes]
        and [see.key for see in left.sees] == [see.key for see in right.sees]
        and [mirroring.name(name) for name in left.made] == list(right.made)
        and (left.table is None) is (right.table is None)
        and (left.table is None or right.table is None or _same_form(left.table, right.table))
    )


def _same_form(left: Table, right: Table) -> bool:
    return left.columns == right.columns and left.numeric == right.numeric


def is_symmetric(rig: Rig, nodes: Mapping[str, Node], step: Step) -> bool:
    """Whether every node that a step makes stands as the mirror image of its twin."""
    for name in step.made:
        node = nodes.get(name.identity)
        if node is not None and not _mirrors(rig, nodes, node):
            return False
    return True


def _mirrors(rig: Rig, nodes: Mapping[str, Node], node: Node) -> bool:
    """Whether R' = S·R·M and p' = S·p in the plane of the rig that the node is of."""
    twin = nodes.get(node.mirror.twin) if node.mirror is not None else None
    if twin is None or node.mirror is None:
        return False
    across = AXES[rig.mirror_axis]
    middle: Vector = (0.0, 0.0, 0.0)
    home = rig.home(node.name, twin.name) if rig.placed else None
    if home is not None:
        across, middle = rotated(home.ground.turn, AXES[home.mirror_axis]), home.ground.place
    if distance(_reflected(node.rest.place, across, middle), twin.rest.place) > NEAR:
        return False
    axes: tuple[Axis, ...] = ("+X", "+Y", "+Z")
    for axis, sign in zip(axes, node.mirror.move, strict=True):
        expected = _reflected(rotated(node.rest.turn, AXES[axis]), across, (0.0, 0.0, 0.0))
        x, y, z = rotated(twin.rest.turn, AXES[axis])
        if distance(expected, (sign * x, sign * y, sign * z)) > NEAR:
            return False
    return True


def _reflected(place: Vector, across: Vector, middle: Vector) -> Vector:
    x, y, z = (a - b for a, b in zip(place, middle, strict=True))
    twice = 2.0 * (x * across[0] + y * across[1] + z * across[2])
    return (
        place[0] - twice * across[0],
        place[1] - twice * across[1],
        place[2] - twice * across[2],
    )
