"""What touches what: which control channels move which joints, and by how much.

In comes a settled rig, out come records: the rate at rest, from a central difference, and the
largest motion over the channel's range. Channels without limits are taken over the working range
that the laws sweep. Nothing here judges.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from somite.settle import Settled

if TYPE_CHECKING:
    from somite.evaluate import Channel, Evaluator, Posed
    from somite.laws.trial import Trial

STEP = {"move": 1e-3, "turn": 1e-3, "size": 1e-3, "dial": 1e-3}
"""Half the difference at rest: in heights, radians, one, and shares of a dial's range."""
SAMPLES = 9
"""Samples over a channel's range."""
SEEN = 1e-7
"""Motion below this, in heights and radians, is none."""
ROWS = 1024


@dataclass(frozen=True, slots=True)
class Touch:
    """One channel (or dial) and a joint that it moves.

    `per_unit` has the metres moved and the radians turned per metre, radian or one of the channel,
    at rest; of a choice, which has no rate, both are zero. `most` has the largest of each over the
    channel's range. A joint that keeps its place and turn and only changes its size has zeros in
    both and `sized` is true.
    """

    channel: str
    joint: str
    per_unit: tuple[float, float]
    most: tuple[float, float]
    sized: bool = False


def touches(settled: Settled, evaluator: Evaluator | None = None) -> tuple[Touch, ...]:
    """Every channel and dial that an animator can set, with every joint that it moves.

    In the order of the rig's controls and joints.
    """
    from somite.laws.trial import Trial

    trial = Trial(settled, 0, evaluator)
    if not trial.joints:
        return ()
    found: list[Touch] = []
    for batch in _batches([channel for channel in trial.free]):
        found.extend(_of(trial, batch))
    order = {channel.name: at for at, channel in enumerate(trial.free)}
    return tuple(sorted(found, key=lambda touch: order[touch.channel]))


def _batches(channels: list[Channel]) -> list[list[Channel]]:
    """Channels by what fits into one run; sizes apart, since they need another plan."""
    most = ROWS // (SAMPLES + 2)
    found: list[list[Channel]] = []
    for sized in (False, True):
        some = [channel for channel in channels if (channel.part == "size") is sized]
        found.extend(some[at : at + most] for at in range(0, len(some), most))
    return found


def _values(trial: Trial, channel: Channel) -> list[float]:
    """Two values about the default for the rate, then samples over the range."""
    if channel.options:
        options = [float(k) for k in range(len(channel.options))]
        return [channel.default, channel.default, *options]
    low, high = trial.working(channel)
    step = STEP[channel.part]
    if channel.part == "move":
        step *= trial.far
    elif channel.part == "dial":
        step *= high - low
    about = [max(low, channel.default - step), min(high, channel.default + step)]
    return about + [low + (high - low) * k / (SAMPLES - 1) for k in range(SAMPLES)]


def _of(trial: Trial, channels: list[Channel]) -> list[Touch]:
    """The touches of some channels, from one run."""
    poses = trial.poses()
    of: list[tuple[Channel, list[float], int]] = []
    for channel in channels:
        values = _values(trial, channel)
        of.append((channel, values, len(poses.rows)))
        for value in values:
            poses.add({channel.name: value})
    posed = poses.posed()
    joints = [posed.index[joint.name] for joint in trial.joints]
    return [
        touch
        for channel, values, start in of
        for touch in _of_channel(trial, channel, values, posed, start, joints)
    ]


def _of_channel(
    trial: Trial, channel: Channel, values: list[float], posed: Posed, start: int, joints: list[int]
) -> list[Touch]:
    import numpy as np

    from somite.laws.motion import angles, distances, spreads

    rows = slice(start, start + len(values))
    places, turns = posed.places[rows, joints], posed.turns[rows, joints]
    rest = trial.rest
    moved = distances(places[2:], rest.places[:, joints]).max(axis=0)
    turned = angles(turns[2:], rest.turns[:, joints]).max(axis=0)
    sized = spreads(posed.linears[rows, joints], rest.linears[:, joints]).max(axis=0)
    wide = values[1] - values[0]
    rates = (distances(places[1], places[0]), angles(turns[1], turns[0]))
    found = []
    for at, joint in enumerate(trial.joints):
        still = moved[at] <= SEEN * trial.far and turned[at] <= SEEN
        if still and sized[at] <= SEEN:
            continue
        rate = tuple(
            0.0 if wide <= 0.0 else float(_seen(one[at], SEEN * wide)) / wide for one in rates
        )
        most = (
            float(_seen(moved[at], SEEN * trial.far)),
            float(_seen(turned[at], SEEN)),
        )
        found.append(Touch(channel.name, joint.name, (rate[0], rate[1]), most, bool(still)))
    assert np.isfinite([touch.most for touch in found]).all()
    return found


def _seen(value: float, least: float) -> float:
    return value if value > least else 0.0
