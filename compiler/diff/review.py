"""A review of one character: what changed, how the rig moves now, and what it does to clips.

In come two rigs, settled where they could be, and clips of the old one; out goes a `Review`, from
which every view is written. Nothing here reads a file or words anything.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from somite.diff.comparing import difference
from somite.diff.compatibility import (
    ChannelMap,
    ClipVerdict,
    channel_map,
    clip_verdict,
)
from somite.diff.matching import matched
from somite.diff.records import Difference
from somite.diff.skin import Skin, skin
from somite.ir import Rig

if TYPE_CHECKING:
    from somite.clip import Clip
    from somite.diff.behaviour import Behaviour, Picture
    from somite.evaluate import Evaluator
    from somite.settle import Settled

TOLERANCE = 1e-3
"""The share of the height by which a joint may miss and the picture is still called kept."""


@dataclass(frozen=True, slots=True)
class Review:
    """Everything that is told of two rigs of one character.

    `behaviour` and `picture` are None where nothing was posed: it was not asked for, or one of the
    rigs could not be settled.
    """

    difference: Difference
    channels: ChannelMap
    skin: Skin
    clips: tuple[ClipVerdict, ...] = ()
    behaviour: Behaviour | None = None
    picture: Picture | None = None

    @property
    def same(self) -> bool:
        """Whether nothing at all is to be told."""
        return not self.difference and (self.behaviour is None or not self.behaviour.departures)


def reviewed(
    old: Rig,
    new: Rig,
    settled: tuple[Settled, Settled] | None = None,
    *,
    clips: Sequence[Clip] = (),
    tolerance: float = TOLERANCE,
    unheld: Collection[str] = (),
    evaluators: tuple[Evaluator, Evaluator] | None = None,
) -> Review:
    """The review of two rigs; with settled ones, they are posed as well.

    `clips` are of the old rig, `tolerance` is a share of its height, `unheld` are facts that a side
    does not hold, as `Record.field`.
    """
    matching = matched(old, new)
    made = difference(old, new, matching, unheld=unheld)
    channels = channel_map(old, new, matching)
    verdicts = tuple([clip_verdict(channels, clip, old) for clip in clips])
    behaviour: Behaviour | None = None
    picture: Picture | None = None
    if settled is not None:
        from somite.diff.behaviour import measured

        behaviour, picture = measured(
            *settled,
            matching,
            channels,
            clips=clips,
            tolerance=tolerance,
            evaluators=evaluators,
        )
    return Review(made, channels, skin(old, new, matching), verdicts, behaviour, picture)
