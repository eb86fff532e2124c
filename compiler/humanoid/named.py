"""Which joints of a rig bear which names of ISO/IEC 19774, at one level of articulation.

This is what naming a rig's joints gives and what an output lists. Nothing here knows a rig.
"""

from __future__ import annotations

from dataclasses import dataclass

from somite.ir import Vector
from somite.text import Site


@dataclass(frozen=True, slots=True)
class NamedJoint:
    """A joint of the standard that a rig has, by the rig's own dotted name for it.

    `parent` is its nearest ancestor in the standard's hierarchy that the rig has too, and `skipped`
    those between, the nearest first. `centre` is in the standard's own space: metres, up +Y, front
    +Z, the figure's left +X.
    """

    name: str
    node: str
    parent: str | None
    skipped: tuple[str, ...]
    level: int
    centre: Vector


@dataclass(frozen=True, slots=True)
class NamedJoints:
    """The joints of a rig at a level of articulation, parents first, and those it lacks.

    `site` is where the names are written.
    """

    standard: str
    level: int
    joints: tuple[NamedJoint, ...]
    absent: tuple[str, ...]
    site: Site
