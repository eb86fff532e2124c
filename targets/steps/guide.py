"""The guide: all sections of one rig, in order, as records.

In comes a settled rig, out goes a `Guide` without a word of English in it. Each part of the recipe
has a section, both sides of one that is mirrored together; before them stands what prepares the
scene, and after them what is said of the whole rig, and the trials of each part.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING

from somite.target import Context
from somite.targets.steps import building, closing, trials
from somite.targets.steps.arranging import Item, Laid, laid
from somite.targets.steps.grouping import Phased, free_steps, ordered_groups
from somite.targets.steps.lookup import Lookup, Standing
from somite.targets.steps.materials import conventions, materials
from somite.targets.steps.mirrored import Mirroring, folded, is_symmetric, mirroring
from somite.targets.steps.parts import COUNTED, OWN, SIDES
from somite.targets.steps.records import (
    JOIN,
    PART,
    PHASES,
    PREPARE,
    PROVE,
    SCALE,
    TIDY,
    TRIALS,
    Both,
    Entry,
    Guide,
    Name,
    Need,
    Phase,
    Section,
    Step,
    steps_of,
)
from somite.targets.steps.sharing import shares

if TYPE_CHECKING:
    from somite.settle import Settled


@dataclass(frozen=True, slots=True)
class Draft:
    """A section before its steps are in order: its parts, and its steps by phase."""

    kind: str
    parts: tuple[str, ...]
    phases: Mapping[str, list[Entry]]


def guide(settled: Settled, context: Context, *, together: bool = True) -> Guide:
    """The whole instructions for a settled rig; sections and phases without steps are left out.

    `together` tells the work on both sides once, where it is the same.
    """
    lookup = Lookup(settled)
    sections = tuple(_sections(lookup, _drafts(lookup, together)))
    rig = settled.rig
    return Guide(
        rig.recipe,
        rig.character,
        rig.revision,
        rig.about,
        materials(lookup, context),
        conventions(lookup),
        sections,
        rig.mirror_axis[1],
        shares(sections, context.people) if context.people > 1 else (),
    )


def _drafts(lookup: Lookup, together: bool) -> list[Draft]:
    """Every section with its steps, parts in an order in which they can be built."""
    free = free_steps(lookup)
    groups = ordered_groups(lookup, free)
    standing = lookup.standing(groups)
    whole: Phased = {
        PREPARE: [(OWN, step) for step in building.prepare(lookup)],
        SCALE: [(OWN, step) for step in closing.scale(lookup)],
        TIDY: [(OWN, step) for step in closing.tidy(lookup)],
        PROVE: [(OWN, step) for step in trials.laws(lookup)],
    }
    whole[TIDY].extend(free.get(OWN, {}).pop("lists", ()))
    parts = {
        part: _part_steps(lookup, standing, part, free.get(part, {})) for part in _flat(groups)
    }
    checks: dict[str, list[tuple[str, Step]]] = {}
    for part, step in trials.checks(lookup):
        checks.setdefault(part, []).append((part, step))
    phased = [*whole.items(), *(one for found in parts.values() for one in found.items())]
    said = [step for _, steps in (*phased, *checks.items()) for _, step in steps]
    sides = _Sides(lookup, mirroring(lookup.rig, said), together)
    drafts = [Draft(PREPARE, (), {PREPARE: sides.folded(whole[PREPARE])})]
    for group in groups:
        drafts.extend(sides.drafts(PART, [(part, parts[part]) for part in group]))
    for kind in (SCALE, TIDY, PROVE):
        drafts.append(Draft(kind, (), {kind: sides.folded(whole[kind])}))
    for group in (*groups, *({(OWN,)} - set(groups))):
        tried = [(part, {TRIALS: checks[part]}) for part in group if part in checks]
        drafts.extend(sides.drafts(TRIALS, tried))
    return drafts


def _flat(groups: Iterable[tuple[str, ...]]) -> list[str]:
    return [part for group in groups for part in group]


def _part_steps(lookup: Lookup, standing: Standing, part: str, free: Phased) -> Phased:
    """All steps of a part, by phase in order."""
    made = {
        "groups": building.groups(lookup, standing, part),
        "skeleton": building.skeleton(lookup, standing, part),
        "curve": building.curve(lookup, part),
        "grips": building.grips(lookup, standing, part),
        "controls": building.controls(lookup, standing, part),
        "hierarchy": building.hierarchy(lookup, standing, part),
    }
    found: Phased = {phase: [(part, step) for step in steps] for phase, steps in made.items()}
    return {**found, **free}


@dataclass(frozen=True)
class _Sides:
    """Tells the steps of both sides once, where they say the same."""

    lookup: Lookup
    mirroring: Mirroring
    together: bool

    def folded(self, steps: list[tuple[str, Step]]) -> list[Entry]:
        """Steps, those of both sides together."""
        if not self.together:
            return [step for _, step in steps]
        return folded(steps, self.mirroring, self._is_symmetric)

    def _is_symmetric(self, step: Step) -> bool:
        return is_symmetric(self.lookup.rig, self.lookup.nodes, step)

    def drafts(self, kind: str, parts: list[tuple[str, Phased]]) -> Iterator[Draft]:
        """One section for the parts, or one for each where the sides are not much alike."""
        if len(parts) > 1 and self.together:
            phases = {
                phase: self.folded([one for _, found in parts for one in found.get(phase, ())])
                for phase in (*PHASES, TRIALS)
            }
            entries = [entry for found in phases.values() for entry in found]
            both = sum(isinstance(entry, Both) for entry in entries)
            if 2 * both >= len(entries):
                yield Draft(kind, tuple(part for part, _ in parts), phases)
                return
        for part, found in parts:
            phases = {phase: self.folded(found.get(phase, [])) for phase in (*PHASES, TRIALS)}
            yield Draft(kind, (part,), phases)


def _sections(lookup: Lookup, drafts: list[Draft]) -> Iterator[Section]:
    """The drafts with their steps in order: what lacks something goes where that is made."""
    entries: list[Entry] = []
    where: list[tuple[int, str]] = []
    runs: list[range] = []
    for number, draft in enumerate(drafts):
        first = len(entries)
        for phase, found in draft.phases.items():
            entries.extend(found)
            where.extend((number, phase) for _ in found)
        runs.append(range(first, len(entries)))
    order: list[list[Laid]] = [[] for _ in drafts]
    items = [_item(entry) for entry in entries]
    for one in laid(items, runs):
        order[one.run].append(one)
    labels = _labels(lookup, drafts)
    made: dict[str, tuple[str, int]] = {}
    for number, draft in enumerate(drafts):
        phases = tuple(_phases(lookup, drafts, number, entries, where, order[number]))
        if not phases:
            continue
        section = Section(
            labels[number],
            draft.kind,
            phases,
            tuple(lookup.part(part) for part in draft.parts),
            _counts(lookup, draft) if draft.kind == PART else {},
        )
        yield replace(section, needs=_needs(section, made))


def _item(entry: Entry) -> Item:
    """What must be there before a step, and what it makes or puts under its last parent."""
    steps = steps_of(entry)
    makes = {name.identity for step in steps for name in step.made}
    needs = {name.identity for step in steps for name in step.mentioned()}
    puts = frozenset(f"put {name}" for step in steps for name in step.puts)
    after = frozenset(f"put {name}" for step in steps for name in step.after)
    return Item(frozenset(needs - makes) | (after - puts), frozenset(makes) | puts)


def _phases(
    lookup: Lookup,
    drafts: list[Draft],
    own: int,
    entries: list[Entry],
    where: list[tuple[int, str]],
    order: list[Laid],
) -> Iterator[Phase]:
    """A section's phases with their steps in order, at the end the join."""
    number = 1
    for phase, run in groupby(order, key=lambda one: JOIN if one.late else where[one.index][1]):
        indices = [one.index for one in run]
        late = dict.fromkeys(where[index][0] for index in indices if where[index][0] != own)
        waited = [part for other in late for part in drafts[other].parts]
        parts = tuple(lookup.part(part) for part in waited) if phase == JOIN else ()
        yield Phase(phase, number, tuple(entries[index] for index in indices), parts)
        number += len(indices)


def _labels(lookup: Lookup, drafts: list[Draft]) -> list[str]:
    """What the steps of each section are called by: unlike each other, parts first."""
    found: dict[int, str] = {}
    taken: set[str] = set()
    for number, draft in sorted(enumerate(drafts), key=lambda one: one[1].kind != PART):
        parts = draft.parts
        name = lookup.part(_both_sides(parts[0]) if len(parts) > 1 else parts[0]) if parts else ""
        label = name if draft.kind == PART else f"{draft.kind} {name}".rstrip()
        while label in taken:
            label += "*"
        found[number] = label
        taken.add(label)
    return [found[number] for number in range(len(drafts))]


def _both_sides(part: str) -> str:
    """The name of a part without its last side."""
    segments = part.split(".")
    at = max(index for index, segment in enumerate(segments) if segment in SIDES)
    return ".".join(segments[:at] + segments[at + 1 :])


def _counts(lookup: Lookup, draft: Draft) -> dict[str, int]:
    counts = [lookup.parts.counts.get(part, {}) for part in draft.parts]
    return {kind: sum(found.get(kind, 0) for found in counts) for kind in COUNTED}


def _needs(section: Section, made: dict[str, tuple[str, int]]) -> tuple[Need, ...]:
    """What each phase of a section takes from earlier sections, everything once.

    `made` then also says what this section makes.
    """
    needs: list[Need] = []
    known: set[Name] = set()
    for phase in section.phases:
        taken: dict[str, dict[Name, int]] = {}
        for number, entry in phase.numbered():
            for step in steps_of(entry):
                for name in step.used():
                    source, at = made.get(name.identity, (section.key, 0))
                    if source != section.key and name not in known:
                        known.add(name)
                        taken.setdefault(source, {})[name] = at
                made.update((name.identity, (section.key, number)) for name in step.made)
        needs.extend(
            Need(source, max(names.values()), tuple(names), phase.number)
            for source, names in taken.items()
        )
    return tuple(needs)
