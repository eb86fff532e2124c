"""The guide: all phases of one rig, in order, as records.

In comes a settled rig, out goes a `Guide` without a word of English in it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from somite.target import Context
from somite.targets.steps import building, closing, trials, wiring
from somite.targets.steps.lookup import Lookup
from somite.targets.steps.materials import conventions, materials
from somite.targets.steps.records import Guide, Phase, Step

if TYPE_CHECKING:
    from somite.settle import Settled

PHASES: tuple[tuple[str, Callable[[Lookup], Iterator[Step]]], ...] = (
    ("prepare", building.prepare),
    ("skeleton", building.skeleton),
    ("curve", building.curve),
    ("grips", building.grips),
    ("controls", building.controls),
    ("hierarchy", building.hierarchy),
    ("constraints", wiring.constraints),
    ("twist", wiring.twist),
    ("scale", closing.scale),
    ("tidy", closing.tidy),
    ("prove", trials.prove),
)
"""The phases, in order, each with the function that gives its steps."""


def guide(settled: Settled, context: Context) -> Guide:
    """The whole instructions for a settled rig; phases without steps are left out."""
    lookup = Lookup(settled)
    phases: list[Phase] = []
    number = 1
    for key, steps_of in PHASES:
        steps = tuple(steps_of(lookup))
        if steps:
            phases.append(Phase(key, number, steps))
            number += len(steps)
    rig = settled.rig
    return Guide(
        rig.recipe,
        rig.character,
        rig.revision,
        rig.about,
        materials(lookup, context),
        conventions(lookup),
        tuple(phases),
    )
