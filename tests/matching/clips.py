"""Clips made by chance from a seed, and looks at rigs along them, for the tests of matching."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from posed_rigs import random_pose

from somite.clip import Clip, Key, Track
from somite.evaluate import Evaluator

FRAMES = 8


def track(channel: str, *values: float, interpolation: str = "linear") -> Track:
    """A track with a value at every frame from 1 on."""
    keys = tuple(Key(float(frame), float(value)) for frame, value in enumerate(values, 1))
    return Track(channel, interpolation, keys)


def random_clip(
    evaluator: Evaluator, seed: int, without: Iterable[str] = (), *more: Track, sizes: bool = False
) -> Clip:
    """Random values of every free channel at frames 1 to 8; choices are stepped."""
    left_out = {*without, *(one.channel for one in more)}
    tracks = [
        track(
            name, *values, interpolation="stepped" if evaluator.channels[name].options else "linear"
        )
        for name, values in random_pose(evaluator, seed, FRAMES, sizes=sizes).items()
        if name not in left_out
    ]
    return Clip("walk", 24.0, (*tracks, *more))


def joints(evaluator: Evaluator) -> list[str]:
    """The joints that a mesh is bound to: those of lists called skin, or else all."""
    rig = evaluator.settled.rig
    listed = {name for one in rig.lists if one.name.endswith("skin") for name in one.members}
    found = [node.name for node in rig.nodes if node.kind == "joint"]
    return [name for name in found if name in listed] if listed else found


def apart(evaluator: Evaluator, old: Clip, new: Clip, frames, nodes: Iterable[str]):
    """The largest distance (in heights) and angle between two clips: by matrices alone."""
    before = evaluator.pose(old.sampled(frames))
    after = evaluator.pose(new.sampled(frames))
    places, turns = 0.0, 0.0
    for node in nodes:
        a, b = before.world(node), after.world(node)
        places = max(places, float(np.abs(a[:, :3, 3] - b[:, :3, 3]).max()))
        turns = max(turns, float(np.abs(a[:, :3, :3] - b[:, :3, :3]).max()))
    return places / evaluator.settled.rig.height, turns


def keyed(clip: Clip, channel: str) -> Track:
    """The track of a channel."""
    return next(one for one in clip.tracks if one.channel == channel)
