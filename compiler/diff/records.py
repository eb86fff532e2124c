"""The records of a comparison: small, frozen, and complete enough to be applied.

Values are those of the IR: metres, radians, quaternions xyzw, and the records of added things as a
whole. How they read to a person is said elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from somite.ir import Rig
from somite.text import Origin

What: TypeAlias = Literal["added", "removed", "renamed", "changed"]

By: TypeAlias = Literal["rest", "channel", "control", "dial", "together", "pose", "check", "clip"]
"""What brings a pose about in which two rigs are compared."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that is other than it was.

    `kind` is the kind of thing (control, joint, group, grip, dial; chain, curve; follow, face,
    ride, reach, twist; feed, gauge, list, pose, check, nudge, rename; rig, for another recipe's
    that stands on a socket) or "recipe" for what is said of the whole. `old` and `new` are its full
    names in the two rigs, None where it is not; of a nudge, its node. `collection` is the field of
    the rig that holds it.

    added, removed: the thing (`path` empty) or one of its dials, limits or settings (`path` leads
    to it), with the record in `after` or `before`. renamed: from `old` to `new`, `confidence` 1
    where a `was` states it, else how sure the inference is, with its evidence in `because`.
    changed: the value at `path`, a chain of fields and of the names of inner records; a parent
    that is another node is the path ("parent",).

    `implied`: it follows from another record, as the spelling of a name does from a rename; it is
    there so that applying the records is complete, and a report leaves it out.
    """

    what: What
    kind: str
    old: str | None
    new: str | None
    collection: str = ""
    path: tuple[str, ...] = ()
    before: Any = None
    after: Any = None
    confidence: float = 1.0
    because: str = ""
    implied: bool = False
    old_origin: Origin = ()
    new_origin: Origin = ()

    @property
    def name(self) -> str:
        """The name by which to call it: the new one where it has one."""
        return self.new or self.old or ""

    @property
    def topic(self) -> str:
        """The field that the change is about; empty for the thing itself."""
        return self.path[0] if self.path else ""


@dataclass(frozen=True, slots=True)
class Reversal:
    """Two things that are worked out in the other order: `first` came before `second`, now after.

    Names are those of the new rig; `old_way` and `new_way` are the steps that make each so.
    """

    first: str
    second: str
    old_way: tuple[str, ...]
    new_way: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Difference:
    """All that is other between two rigs, in the order of the new rig's records.

    `unheld` are the facts that one side does not hold (a scene file has no mirror plane, for one)
    and that were therefore left out.
    """

    old: Rig
    new: Rig
    changes: tuple[Change, ...]
    reversals: tuple[Reversal, ...] = ()
    unheld: tuple[str, ...] = ()

    @property
    def renaming(self) -> dict[str, str]:
        """New names by old ones, of everything that was renamed."""
        return {
            one.old: one.new
            for one in self.changes
            if one.what == "renamed" and one.old is not None and one.new is not None
        }

    def __bool__(self) -> bool:
        return bool(self.changes or self.reversals)
