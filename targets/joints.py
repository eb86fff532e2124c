"""The joints target: a rig's joints under the names of ISO/IEC 19774 (H-Anim), as one JSON file.

In comes a settled rig and which of its joints bear which names; out goes each joint with its
parent in the standard's hierarchy and its centre at rest, in the standard's own space (metres, up
+Y, front +Z), and which joints of the level the rig lacks. Controls, curves and what moves the
joints are none of its affair: the scene has those.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from somite.canonical import Json, number, text
from somite.findings import Code, Finding, Severity
from somite.humanoid.named import NamedJoint, NamedJoints
from somite.target import Context, Output, Target

if TYPE_CHECKING:
    from somite.settle import Settled

NAMES_MISSING = Code("names-missing")
NAMES_ABSENT = Code("names-absent", Severity.NOTE)

FORMAT = "somite-joints 1"
SUFFIX = ".joints.json"

MOST_NAMED = 12
"""The most joints that are named of those that a rig lacks."""


def emit(settled: Settled, context: Context) -> tuple[tuple[Output, ...], tuple[Finding, ...]]:
    """The file of joints; a finding where nobody said which names they bear."""
    if context.joints is None:
        message = 'expected a names file for the target "joints", found none'
        help = "say --names names/h_anim.toml, or names = in cast.toml"
        return (), (NAMES_MISSING.at(None, message, help=help),)
    rig = settled.rig
    origin: dict[str, Json] = {
        "recipe": rig.recipe,
        "revision": rig.revision,
        "character": rig.character,
        "recipe_digest": context.recipe_digest,
        "sheet_digest": context.sheet_digest,
        "compiler": context.compiler_version,
    }
    joints = context.joints
    findings = (_absent(joints),) if joints.absent else ()
    return (Output(SUFFIX, text(document(joints, origin))),), findings


def _absent(joints: NamedJoints) -> Finding:
    total = len(joints.absent) + len(joints.joints)
    names = [*joints.absent[:MOST_NAMED]]
    if len(joints.absent) > MOST_NAMED:
        names.append(f"{len(joints.absent) - MOST_NAMED} more")
    message = (
        f"expected the {total} joints of level of articulation {joints.level}, found"
        f" {len(joints.joints)}, without {', '.join(names)}"
    )
    help = "their children hang under the nearest ancestor that is there; a lower loa asks for less"
    return NAMES_ABSENT.at(joints.site, message, help=help)


def document(joints: NamedJoints, origin: Json) -> dict[str, Json]:
    """The file as a tree of plain values, its keys in the order in which they are written."""
    return {
        "format": FORMAT,
        "standard": joints.standard,
        "loa": joints.level,
        "units": {"length": "m", "up": "+Y", "front": "+Z"},
        "joints": [_joint(joint) for joint in joints.joints],
        "absent": list(joints.absent),
        "origin": origin,
    }


def _joint(joint: NamedJoint) -> dict[str, Json]:
    return {
        "name": joint.name,
        "node": joint.node,
        "parent": joint.parent,
        **({"skipped": list(joint.skipped)} if joint.skipped else {}),
        "loa": joint.level,
        "center": [number(part) for part in joint.centre],
    }


TARGET = Target(
    "joints",
    "the joints under the names of ISO/IEC 19774 (H-Anim), with their parents and centres",
    frozenset({"joint"}),
    emit,
)
