"""Which part of a recipe each thing of a rig belongs to.

In comes a rig; out goes, for each of its things by name and origin, the key of a part: the name of
the `use` that made it with its number and side, such as `arm.left` or `leg.3.right`. What the
recipe says itself has the key "", and what a placed rig says itself that rig's name. Nothing here
knows what a step is.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from somite.ir import Rig
from somite.text import Origin

OWN = ""
"""The key of what a recipe says itself, outside every part."""

SIDES = {"left": "right", "right": "left"}

COUNTED = ("joint", "control", "constraint", "feed")
"""What is counted for each part, in the order of the columns."""

Rank = tuple[tuple[tuple[int, int], ...], tuple[tuple[int, str], ...]]


def swapped_side(dotted: str) -> str | None:
    """A dotted name with its last side turned into the other; None where it has no side."""
    segments = dotted.split(".")
    for index in range(len(segments) - 1, -1, -1):
        if segments[index] in SIDES:
            segments[index] = SIDES[segments[index]]
            return ".".join(segments)
    return None


@dataclass(frozen=True)
class Parts:
    """The parts of one rig."""

    rig: Rig

    @cached_property
    def _placed(self) -> frozenset[str]:
        return frozenset(one.name for one in self.rig.placed)

    def key(self, name: str, origin: Origin) -> str:
        """The part that a thing belongs to: by its name, and by how deep in uses it was written."""
        segments = name.partition("/")[0].split(".")
        base = depth = 0
        if self._placed:
            for end in range(1, len(segments)):
                if ".".join(segments[:end]) in self._placed:
                    base, depth = end, depth + 1
        if len(origin) <= depth + 1 or base + 1 >= len(segments):
            return ".".join(segments[:base])
        end = base + 1
        while end < len(segments) - 1 and segments[end].isdigit():
            end += 1
        if end < len(segments) - 1 and segments[end] in SIDES:
            end += 1
        return ".".join(segments[:end])

    def of_check(self, name: str, origin: Origin) -> str:
        """The part that a check belongs to: its name begins with where it is made and a colon."""
        stem, colon, _ = name.partition(": ")
        key = self.key(f"{stem}.check", origin) if colon else OWN
        return key if key in self.ranks else OWN

    @cached_property
    def ranks(self) -> dict[str, Rank]:
        """The keys of all parts, each with where it stands in the recipe: lines of its use."""
        found: dict[str, Rank] = {}
        for name, origin in self._things():
            key = self.key(name, origin)
            rank = _rank(key, origin)
            if key not in found or rank < found[key]:
                found[key] = rank
        return dict(sorted(found.items(), key=lambda one: (one[1], one[0])))

    def _things(self) -> Iterator[tuple[str, Origin]]:
        rig = self.rig
        for things in (rig.nodes, rig.chains, rig.curves, rig.constraints, rig.feeds, rig.gauges):
            yield from ((thing.name, thing.origin) for thing in things)

    @cached_property
    def counts(self) -> Mapping[str, Mapping[str, int]]:
        """How many joints, controls, constraints and feeds each part has."""
        found: dict[str, Counter[str]] = {}
        rig = self.rig
        for node in rig.nodes:
            found.setdefault(self.key(node.name, node.origin), Counter())[node.kind] += 1
        for kind, things in (("constraint", rig.constraints), ("feed", rig.feeds)):
            for thing in things:
                found.setdefault(self.key(thing.name, thing.origin), Counter())[kind] += 1
        return found

    def twin(self, key: str) -> str | None:
        """The part that the same use made on the other side, where there is one."""
        other = swapped_side(key)
        if other is None or not {key, other} <= self.ranks.keys():
            return None
        return other if self.ranks[key][0] == self.ranks[other][0] else None


def _rank(key: str, origin: Origin) -> Rank:
    """Lines of the recipe from the outermost use inward, then the key, its numbers as numbers."""
    lines = tuple((site.line, site.column) for site in reversed(origin))
    natural = tuple((int(one), "") if one.isdigit() else (0, one) for one in key.split("."))
    return lines, natural
