"""The joints of ISO/IEC 19774-1:2019: names, parents, levels of articulation, centres at rest.

What comes in is a joint's name and a level; what goes out is the joint, or its parent there. Of the
levels, 1 to 3 are held. Nothing here knows a rig.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

STANDARD = "ISO/IEC 19774-1:2019"
LEVELS = (1, 2, 3)
"""The levels of articulation (LOA) that are held; 4 adds joints inside hands and feet."""

Centre = tuple[Decimal, Decimal, Decimal]


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint of the standard.

    `older` is its name in the edition of 2005 where that was another. `level` is the lowest at
    which it is there (0: always), `centre` where it lies in the standing figure: metres, up +Y,
    front +Z, the figure's left +X.
    """

    name: str
    older: str
    parent: str | None
    level: int
    centre: Centre


@cache
def joints() -> Mapping[str, Joint]:
    """Every joint of level 3 by name, each after its parent, the left side before the right."""
    listed = [_joint(*row) for row in _data()["joints"]]
    sided = [_reflected(joint) for joint in listed if joint.name.startswith("l_")]
    below: dict[str | None, list[Joint]] = {}
    for joint in (*listed, *sided):
        below.setdefault(joint.parent, []).append(joint)
    ordered: dict[str, Joint] = {}
    waiting = below[None][::-1]
    while waiting:
        joint = waiting.pop()
        ordered[joint.name] = joint
        waiting.extend(below.get(joint.name, ())[::-1])
    return ordered


@cache
def newer_names() -> Mapping[str, str]:
    """The names of the edition of 2005 that are no longer used, each with the present one."""
    return {joint.older: joint.name for joint in joints().values() if joint.older}


@cache
def height() -> Decimal:
    """The height of the standing figure in metres."""
    value: Decimal = _data()["height"]
    return value


def is_at(name: str, level: int) -> bool:
    """Whether a joint is there at a level of articulation."""
    return joints()[name].level <= level


def ancestors(name: str, level: int = LEVELS[-1]) -> tuple[str, ...]:
    """A joint's ancestors at a level, the nearest first.

    At a lower level the parent of a joint is its nearest ancestor that is there.
    """
    known = joints()
    found: list[str] = []
    parent = known[name].parent
    while parent is not None:
        if known[parent].level <= level:
            found.append(parent)
        parent = known[parent].parent
    return tuple(found)


def run(first: str, last: str, level: int) -> tuple[str, ...]:
    """The joints from one down to another that is below it, both included, at a level.

    Raises ValueError where the second does not lie below the first.
    """
    above = (last, *ancestors(last))
    if first not in above:
        raise ValueError(f"{last} is not below {first}")
    down = above[: above.index(first) + 1][::-1]
    return tuple(name for name in down if is_at(name, level))


def other_side(name: str) -> str:
    """The joint of the other side; a joint on the midline is its own."""
    if name.startswith("l_"):
        return "r_" + name[2:]
    return "l_" + name[2:] if name.startswith("r_") else name


def _data() -> dict[str, Any]:
    text = (Path(__file__).parent / "joints.toml").read_text(encoding="utf-8")
    return tomllib.loads(text, parse_float=Decimal)


def _joint(name: str, older: str, parent: str, level: int, centre: list[Any]) -> Joint:
    x, y, z = (Decimal(part) for part in centre)
    return Joint(name, older, parent or None, level, (x, y, z))


def _reflected(joint: Joint) -> Joint:
    x, y, z = joint.centre
    parent = None if joint.parent is None else other_side(joint.parent)
    older = other_side(joint.older)
    return Joint(other_side(joint.name), older, parent, joint.level, (-x, y, z))
