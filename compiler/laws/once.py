"""Once: moving one control moves nothing further than itself, and turning it turns nothing further.

Each control is moved along each axis and turned about it, at rest. What depends on a reach, a ride,
a face or a feed is left out, since those may well amplify.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from somite.evaluate import Channel, Posed
from somite.evaluate.algebra import Array
from somite.findings import Code
from somite.ir import Face, Reach, Ride
from somite.laws.law import Breach, Law
from somite.laws.motion import angle_words, angles, length_words
from somite.laws.trial import Trial

LAW_ONCE = Code("law-once")

STEP = 0.02
"""How far a control is moved, in heights of the rig."""
TURNED = 0.25
"""How far a control is turned, in radians."""
CLOSE = 1e-6
"""In shares of the step."""


@dataclass(frozen=True, slots=True)
class _Worst:
    """What went too far, and by how much of what was given."""

    thing: str
    share: float
    channel: Channel


def breaches(trial: Trial) -> Iterator[Breach]:
    """The furthest, of what has one cause."""
    channels = [
        channel
        for channel in trial.free
        if channel.part in ("move", "turn") and channel.name in trial.channels
    ]
    if not channels:
        return
    amplified = trial.reached(
        [one.name for one in trial.rig.constraints if isinstance(one, Face | Reach | Ride)]
        + [feed.name for feed in trial.rig.feeds]
    )
    poses = trial.poses()
    poses.add({})
    for channel in channels:
        poses.add({channel.name: _step(trial, channel)})
    posed = poses.posed()
    found: dict[str, _Worst] = {}
    for row, channel in enumerate(channels, 1):
        for worst in _further(trial, posed, row, channel, amplified):
            held = found.get(worst.thing)
            if held is None or worst.share > held.share:
                found[worst.thing] = worst
    for name in trial.upstream(found) if found else ():
        yield _told(trial, found[name])


def _step(trial: Trial, channel: Channel) -> float:
    step = STEP * trial.far if channel.part == "move" else TURNED
    low, high = trial.span(channel)
    return step if step <= high else max(low, -step)


def _further(
    trial: Trial, posed: Posed, row: int, channel: Channel, amplified: set[str]
) -> Iterator[_Worst]:
    """Nodes and curves that one channel takes further than its own control goes."""
    own = posed.index[channel.node]
    if channel.part == "turn":
        turned = angles(posed.turns[row], posed.turns[0])
        given = float(turned[own])
        over = turned > given * (1.0 + CLOSE) + 1e-9 if given > 0.0 else turned < 0.0
        for k in np.flatnonzero(over):
            if posed.names[k] not in amplified:
                yield _Worst(posed.names[k], float(turned[k]) / given, channel)
        return
    places = posed.places
    step = places[row, own] - places[0, own]
    for at, share in _off(places[row] - places[0], step):
        if posed.names[at] not in amplified:
            yield _Worst(posed.names[at], share, channel)
    for curve in trial.rig.curves:
        if curve.name in amplified:
            continue
        points = posed.points(curve.name)
        off = _off(points[row] - points[0], step)
        if off:
            yield _Worst(curve.name, max(share for _, share in off), channel)


def _off(moved: Array, step: Array) -> list[tuple[int, float]]:
    """What does not go with a step by a share from 0 to 1, and the share that it goes."""
    square = float(step @ step)
    if square <= 0.0:
        return []
    shares = moved @ step / square
    across = np.sqrt(((moved - shares[:, None] * step) ** 2).sum(axis=1) / square)
    wrong = (shares > 1.0 + CLOSE) | (shares < -CLOSE) | (across > CLOSE)
    size = np.sqrt((moved**2).sum(axis=1) / square)
    return [(int(k), float(size[k])) for k in np.flatnonzero(wrong)]


def _told(trial: Trial, worst: _Worst) -> Breach:
    part = worst.channel.part
    step = _step(trial, worst.channel)
    if part == "move":
        given = length_words(trial.rig, abs(step))
        found = length_words(trial.rig, abs(step) * worst.share)
    else:
        given, found = angle_words(abs(step)), angle_words(abs(step) * worst.share)
    did = "move" if part == "move" else "turn"
    blamed = (
        trial.explaining(worst.thing, part)
        if worst.thing in trial.nodes
        else trial.statements[worst.thing]
    )
    return Breach(
        blamed,
        f'expected "{worst.thing}" to {did} no further than "{worst.channel.node}", and the same'
        f' way, found that "{worst.channel.name}" {did}s it by {found} for {given}',
        "let one thing move it: take away its parent, or one of what it follows",
        (
            *(trial.excusers(worst.thing) if worst.thing in trial.nodes else ()),
            trial.statements[worst.channel.node],
        ),
    )


LAW = Law(
    5,
    "once",
    "moving one control moves nothing further than itself, and turning it turns nothing further",
    LAW_ONCE,
    breaches,
)
