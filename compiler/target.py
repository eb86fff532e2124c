"""What a target is: a plain function from a settled rig to files, and what it may be told.

A target sees the rig's IR, its plan and its rest pose, never syntax. It states which kinds of the
IR it can express; what it cannot is reported at the recipe's own lines, never dropped in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from somite.findings import Finding

if TYPE_CHECKING:
    from somite.humanoid.named import NamedJoints
    from somite.settle import Settled

KINDS = frozenset(
    {
        "group",
        "joint",
        "control",
        "grip",
        "curve",
        "chain",
        "follow",
        "face",
        "ride",
        "reach",
        "twist",
        "feed",
        "gauge",
        "dial",
        "list",
        "pose",
        "check",
    }
)
"""Everything that a target can be asked to express."""


@dataclass(frozen=True, slots=True)
class Output:
    """One file of a build: what follows the rig's name in its file name, and its whole text."""

    suffix: str
    text: str


@dataclass(frozen=True, slots=True)
class Context:
    """What a target may know beside the rig: digests of its sources, and a team's own wording.

    `phrases` replaces phrases of a target by key; `templates` maps template names to their text and
    goes before a target's own. `joints` are the rig's in the hierarchy of a standard, where a names
    file says which is which.
    """

    recipe_digest: str = ""
    sheet_digest: str = ""
    compiler_version: str = ""
    phrases: Mapping[str, str] = field(default_factory=dict)
    templates: Mapping[str, str] = field(default_factory=dict)
    joints: NamedJoints | None = None
    people: int = 1


Emitter = Callable[["Settled", Context], tuple[tuple[Output, ...], tuple[Finding, ...]]]


@dataclass(frozen=True, slots=True)
class Target:
    """A named output form."""

    name: str
    about: str
    expresses: frozenset[str]
    emit: Emitter
