"""Sentences that every view of a review writes alike: what is told, for whom, where, how to see it.

In come an outline and what stands in it, out go texts without any marking up. Nothing here knows
how a view looks.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from somite.report.review_outline import Effect, Outline

if TYPE_CHECKING:
    from somite.text import Site

MOST_EFFECTS = 6
"""Controls that are told with what they now do; the JSON has all."""

MOST_SET = 6
"""Channels of a pose that are told where no command poses it."""


def told_effects(made: Outline, most: int = MOST_EFFECTS) -> tuple[Effect, ...]:
    """The effects that are told one by one: of controls and dials, and of clips.

    All controls at once only show what no control shows alone; what a recipe's poses and checks
    show is counted.
    """
    alone = [one for one in made.effects if one.departure.control]
    told = alone[:most] or [one for one in made.effects if one.departure.probe.by != "clip"][:2]
    clips = [one for one in made.effects if one.departure.probe.by == "clip"]
    return (*told, *clips)


def counted_effects(made: Outline, told: Sequence[Effect]) -> str:
    """How many effects are not told, in words; empty where all are."""
    left = [one for one in made.effects if one not in told]
    controls = sum(bool(one.departure.control) for one in left)
    poses = sum(one.departure.probe.by in ("pose", "check") for one in left)
    counted = [
        f"under {controls} more control{'s' if controls > 1 else ''}" if controls else "",
        f"in {poses} pose{'s' if poses > 1 else ''} of the recipe" if poses else "",
    ]
    return " and ".join([one for one in counted if one])


def effect_text(one: Effect, of: int) -> str:
    """What a control or pose now does otherwise, of so many characters."""
    under = f"under {one.control}" if one.departure.control else f"in {one.control}"
    if one.lost:
        under += f" ({', '.join(one.lost[:MOST_SET])} in the old rig)"
    others = one.joints - 1
    more = f"; {others} more joint{'s' if others > 1 else ''} with it" if others else ""
    return f"{under}: {one.text}{more}" + (f" [{one.character}]" if of > 1 else "")


def pose_text(one: Effect) -> str:
    """The pose that shows an effect, where no command does; empty for the rest pose."""
    if not one.pose:
        return ""
    more = len(one.pose) - MOST_SET
    told = ", ".join(one.pose[:MOST_SET]) + (f" and {more} more" if more > 0 else "")
    return f"at {told}" + (" in the old rig" if one.of_old else "")


def elsewhere_text(made: Outline) -> str:
    """How many joints go elsewhere, and in how many poses that was tried."""
    go = "joints go" if made.joints != 1 else "joint goes"
    return f"{made.joints} {go} elsewhere in {made.poses} poses, worst first"


def of_text(characters: Sequence[str]) -> str:
    """For whom it holds."""
    if not characters:
        return ""
    if len(characters) == 1:
        return f"for {characters[0]}"
    return f"for {len(characters)} characters: {', '.join(characters)}"


def place_text(new: Site | None, old: Site | None) -> str:
    """The recipe's lines that a change is of."""
    if new is None:
        return f"was {old.file}:{old.line}" if old is not None else ""
    if old is not None and (old.file, old.line) != (new.file, new.line):
        before = f"{old.line}" if old.file == new.file else f"{old.file}:{old.line}"
        return f"{new.file}:{new.line}, was {before}"
    return f"{new.file}:{new.line}"


def count_text(made: Outline) -> str:
    """How much changed."""
    if not made.sections:
        told = "nothing could be compared: the findings say why"
        return "no change of meaning" if made.characters else told
    return f"{made.changes} change{'s' if made.changes != 1 else ''}"
