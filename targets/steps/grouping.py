"""In which order the parts of a rig are built, those of both sides together.

In comes a settled rig; out go its parts in groups, ordered so that as few steps as possible wait
for a part that comes later. The steps that are the same whatever the order are made here too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from somite.targets.steps import closing, wiring
from somite.targets.steps.arranging import ordered
from somite.targets.steps.lookup import Lookup
from somite.targets.steps.records import Step

Phased = dict[str, list[tuple[str, Step]]]
"""The steps of a section by phase, each with its part."""


def free_steps(lookup: Lookup) -> dict[str, Phased]:
    """The steps that are the same whatever the order of parts, by part."""
    found: dict[str, Phased] = {}
    for phase, steps in (
        ("constraints", wiring.constraints(lookup)),
        ("twist", wiring.twist(lookup)),
        ("limits", closing.limits(lookup)),
        ("lists", closing.lists(lookup)),
    ):
        for part, step in steps:
            found.setdefault(part, {}).setdefault(phase, []).append((part, step))
    return found


def ordered_groups(lookup: Lookup, free: Mapping[str, Phased]) -> list[tuple[str, ...]]:
    """The parts in the order of building, those of both sides together."""
    group_of: dict[str, str] = {}
    groups: dict[str, tuple[str, ...]] = {}
    ranks = (*lookup.parts.ranks, *(part for part in free if part not in lookup.parts.ranks))
    for part in ranks:
        twin = lookup.parts.twin(part)
        if part not in group_of:
            groups[part] = (part,) if twin is None or twin in group_of else (part, twin)
            group_of.update(dict.fromkeys(groups[part], part))
    needs: dict[str, Counter[str]] = {}
    for part, other in _uses(lookup, free):
        if group_of[part] != group_of[other]:
            needs.setdefault(group_of[part], Counter())[group_of[other]] += 1
    return [groups[group] for group in ordered(list(groups), needs)]


def _uses(lookup: Lookup, free: Mapping[str, Phased]) -> Iterator[tuple[str, str]]:
    """Each part with another of which it uses something, once for each step that does."""
    rig, key = lookup.rig, lookup.parts.key
    maker = {node.name: key(node.name, node.origin) for node in rig.nodes}
    for node in rig.nodes:
        maker.update((f"{node.name}.{dial.name}", maker[node.name]) for dial in node.dials)
    for chain in rig.chains:
        part = key(chain.name, chain.origin)
        maker.update({chain.name: part, f"{chain.name}.end": part})
    for curve in rig.curves:
        maker[curve.name] = key(curve.name, curve.origin)
        for grip in {share.grip for share in curve.shares}:
            yield maker[grip], maker[curve.name]
    for part, phases in free.items():
        for phase in ("constraints", "twist"):
            maker.update(
                (one.identity, part) for _, step in phases.get(phase, ()) for one in step.made
            )
    for node in rig.nodes:
        if node.parent is not None:
            # A control that waits for its parent has its rest and its locks waiting behind it.
            for _ in range(3 if node.kind == "control" else 1):
                yield maker[node.name], maker[node.parent]
    for part, phases in free.items():
        for phase in ("constraints", "twist"):
            for _, step in phases.get(phase, ()):
                for other in {maker[one.identity] for one in step.used() if one.identity in maker}:
                    yield part, other
