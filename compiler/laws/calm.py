"""Calm: while one channel is swept, no joint jumps.

Every free channel is swept alone from rest. Where joints leave the smooth way that their
neighbouring samples tell, the sweep is halved again and again towards the larger motion: a jump is
one above a thousandth of the height that is still there at the end. The control that carries all
is left to the law of travel: what it does to things that stay in the world is meant.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from somite.evaluate import Channel, Posed
from somite.evaluate.algebra import Array
from somite.findings import Code
from somite.ir import Follow
from somite.laws.law import Breach, Law
from somite.laws.motion import length_words, value_words
from somite.laws.trial import Trial

LAW_CALM = Code("law-calm")

JUMP = 1e-3
"""A motion above this share of the height is a jump."""
LEVER = 0.1
"""How far along its axes a joint is watched, in heights, so that a jump of its turn shows."""
SAMPLES = {"turn": 17, "move": 9, "size": 9, "dial": 25}
HALVINGS = 24
ROWS = 1024
SUSPECTS = 3
"""Intervals of one sweep that are looked into."""


@dataclass(slots=True)
class _Suspect:
    """An interval of a sweep that may hold a jump."""

    channel: Channel
    low: float
    high: float
    moved: float = 0.0
    joints: set[str] = field(default_factory=set)


def breaches(trial: Trial) -> Iterator[Breach]:
    """One breach a cause: the channel, the joint furthest upstream and where it jumps."""
    if not trial.joints:
        return
    stepped = _stepped(trial)
    carriers = {node.name for node in trial.carriers}
    channels = [
        one
        for one in trial.free
        if not one.options
        and one.name not in stepped
        and (one.part == "dial" or one.node not in carriers)
    ]
    suspects: list[_Suspect] = []
    for batch in _batches(channels):
        suspects.extend(_swept(trial, batch))
    if suspects:
        _halved(trial, suspects)
    jumps = [one for one in suspects if one.moved > JUMP * trial.far]
    yield from _told(trial, jumps)


def _stepped(trial: Trial) -> set[str]:
    """Dials that choose a leader in steps."""
    return {
        one.dial
        for one in trial.rig.constraints
        if isinstance(one, Follow)
        and one.dial is not None
        and one.dial in trial.dials
        and trial.dials[one.dial].options
    }


def _batches(channels: Sequence[Channel]) -> Iterator[list[Channel]]:
    """Channels whose samples fit into one run; sizes apart, since they need another plan."""
    for sized in (False, True):
        batch: list[Channel] = []
        rows = 0
        for channel in channels:
            if (channel.part == "size") is not sized:
                continue
            rows += SAMPLES[channel.part]
            batch.append(channel)
            if rows >= ROWS:
                yield batch
                batch, rows = [], 0
        if batch:
            yield batch


def _marks(trial: Trial, posed: Posed) -> Array:
    """What is watched of each joint: its place, and places a lever along its x and y axes.

    (poses, joints, 3 marks, 3).
    """
    joints = [posed.index[joint.name] for joint in trial.joints]
    places = posed.places[:, joints]
    levers = posed.linears[:, joints][..., :2] * (LEVER * trial.far)
    return np.concatenate(
        [places[:, :, None], places[:, :, None] + levers.transpose(0, 1, 3, 2)], axis=2
    )


def _swept(trial: Trial, channels: Sequence[Channel]) -> Iterator[_Suspect]:
    """Intervals in which fourth differences are larger than a smooth motion has them."""
    values: list[Array] = []
    for channel in channels:
        low, high = trial.working(channel)
        values.append(np.linspace(low, high, SAMPLES[channel.part]))
    rows = sum(len(one) for one in values)
    given: dict[str, Array] = {}
    at = 0
    for channel, swept in zip(channels, values, strict=True):
        column = np.full(rows, channel.default)
        column[at : at + len(swept)] = swept
        given[channel.name] = column
        at += len(swept)
    marks = _marks(trial, trial.evaluator.pose(given)).reshape(rows, -1)
    at = 0
    for channel, swept in zip(channels, values, strict=True):
        own = marks[at : at + len(swept)]
        at += len(swept)
        for k in _leaps(own, JUMP * trial.far):
            yield _Suspect(channel, float(swept[k]), float(swept[k + 1]))


def _leaps(marks: Array, jump: float) -> list[int]:
    """Intervals that may hold a jump: a step J shows as up to 3 J in fourth differences."""
    steps = np.diff(marks, axis=0)
    bent = np.abs(np.diff(steps, n=3, axis=0)).max(axis=1)
    if not (bent > jump).any():
        return []
    suspicion = np.abs(steps).max(axis=1)
    near = np.zeros(len(suspicion), dtype=bool)
    for k in np.flatnonzero(bent > jump):
        near[k : k + 4] = True
    order = np.argsort(-np.where(near, suspicion, -1.0), kind="stable")
    return [int(k) for k in order[:SUSPECTS] if near[k] and suspicion[k] > jump]


def _halved(trial: Trial, suspects: Sequence[_Suspect]) -> None:
    """Halve every suspect's interval towards the larger motion, until none is left in it."""
    names = [joint.name for joint in trial.joints]
    jump = JUMP * trial.far
    left = list(suspects)
    for _ in range(HALVINGS):
        if not left:
            return
        moved = _moved_in_halves(trial, left)
        for one, halves in zip(left, moved, strict=True):
            half = int(halves[1].max() > halves[0].max())
            middle = 0.5 * (one.low + one.high)
            one.low, one.high = (middle, one.high) if half else (one.low, middle)
            one.moved = float(halves[half].max())
            jumping = {names[at] for at in np.flatnonzero(halves[half] > jump)}
            one.joints = jumping
        left = [one for one in left if one.moved > jump]


def _moved_in_halves(trial: Trial, suspects: Sequence[_Suspect]) -> Array:
    """How far each joint moves in both halves of each interval: (suspects, 2, joints)."""
    poses = trial.poses()
    for one in suspects:
        for value in (one.low, 0.5 * (one.low + one.high), one.high):
            poses.add({one.channel.name: value})
    marks = _marks(trial, poses.posed())
    marks = marks.reshape(len(suspects), 3, len(trial.joints), 3, 3)
    steps = np.diff(marks, axis=1)
    return np.asarray(np.sqrt((steps * steps).sum(axis=-1)).max(axis=-1))


def _told(trial: Trial, jumps: Sequence[_Suspect]) -> Iterator[Breach]:
    """The largest jump of each cause."""
    worst: dict[str, tuple[_Suspect, str]] = {}
    for one in jumps:
        joint = trial.upstream(one.joints)[0]
        blamed = trial.explaining(joint, "turn").name
        if blamed not in worst or worst[blamed][0].moved < one.moved:
            worst[blamed] = one, joint
    for blamed, (one, joint) in worst.items():
        where = value_words(trial.rig, one.channel.unit, 0.5 * (one.low + one.high))
        yield Breach(
            trial.statements[blamed],
            f'expected "{joint}" to move smoothly while "{one.channel.name}" is swept, found'
            f" that it jumps by {length_words(trial.rig, one.moved)} at {where}",
            "limit the channel short of it, or move what makes it flip (a pole, an up direction)"
            " out of the way",
            (*trial.excusers(joint), trial.statements[one.channel.node]),
        )


LAW = Law(
    7,
    "calm",
    "no joint jumps while one channel is swept over its limits",
    LAW_CALM,
    breaches,
)
