"""Keys over a span of frames: tracks that take solved values there and are as they were elsewhere.

In comes a clip, a span and values at frames; out come tracks. What lies outside the span is kept to
the bit: linear and cubic runs are cut with their own value and slope. A jump, where the span begins
and ends, takes a thousandth of a frame. Nothing here knows what channels do.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from somite.clip import Clip, Key, Track, sampled

if TYPE_CHECKING:
    from somite.evaluate.algebra import Array

JUMP = 1e-3
"""How long before a frame a channel still has the value that it jumps from, in frames."""
BETWEEN = 4
"""Parts of the time from one key to the next at whose ends what lies between is measured."""


@dataclass(frozen=True, slots=True)
class Span:
    """Frames from `first` to `last`, both in it; None is open, to where the clip begins or ends."""

    first: float | None = None
    last: float | None = None

    @property
    def stop(self) -> float | None:
        """The frame that is as it was again."""
        return None if self.last is None else self.last + 1.0


def within(span: Span, clip: Clip) -> Span:
    """A span with its ends open where it reaches the clip's."""
    frames = clip.frames
    opens = span.first is None or not len(frames) or span.first <= frames[0]
    closes = span.last is None or not len(frames) or span.last >= frames[-1]
    return Span(None if opens else span.first, None if closes else span.last)


def key_frames(clip: Clip, span: Span, every: float = 1.0) -> Array:
    """Where values are solved: so many frames apart, at the clip's own keys, and before jumps.

    A span that ends has a last one just before the frame that is as it was again.
    """
    keys = [key.frame for track in clip.tracks for key in track.keys]
    low = min(keys) if span.first is None else span.first
    high = max(keys) if span.stop is None else span.stop
    found = set(np.arange(np.ceil(low), np.floor(high) + 1.0, every).tolist())
    found |= {low, high, *keys} | {frame - JUMP for frame in _jumps(clip)}
    if span.stop is not None:
        found = {frame for frame in found if frame < high - JUMP} | {high - JUMP}
    return np.array(sorted(frame for frame in found if low <= frame <= high))


def _jumps(clip: Clip) -> Iterable[float]:
    """Frames at which a stepped track takes another value."""
    for track in clip.tracks:
        if track.interpolation == "stepped":
            for before, after in zip(track.keys[:-1], track.keys[1:], strict=True):
                if before.value != after.value:
                    yield after.frame


def between(frames: Array) -> Array:
    """Frames between keys, at which nothing is solved; none within a jump."""
    gaps = np.diff(frames)
    shares = np.arange(1, BETWEEN) / BETWEEN
    wide = gaps > 2.0 * JUMP
    return np.asarray((frames[:-1][wide, None] + gaps[wide, None] * shares).ravel())


def held(clip: Clip, channel: str, value: float, default: float, span: Span) -> Track:
    """The track of a channel that has one value over a span, and jumps there and back."""
    track = _track(clip, channel)
    if track is not None and track.interpolation != "stepped":
        ends = _ends(clip, span)
        return spliced(clip, channel, ends, np.full(len(ends), value), default, span)
    keys: list[Key] = []
    if span.first is not None:
        keys += [key for key in track.keys if key.frame < span.first] if track else []
        if not keys:
            start = min(key.frame for one in clip.tracks for key in one.keys)
            keys.append(Key(min(start, span.first - 1.0), _at(clip, track, span.first, default)))
    first = span.first
    if first is None:
        first = min(key.frame for one in clip.tracks for key in one.keys)
    keys.append(Key(first, value))
    if span.stop is not None:
        keys.append(Key(span.stop, _at(clip, track, span.stop, default)))
        keys += [key for key in track.keys if key.frame > span.stop] if track else []
    return Track(channel, "stepped", tuple(keys))


def spliced(
    clip: Clip, channel: str, frames: Array, values: Array, default: float, span: Span
) -> Track:
    """The track of a channel that has values at frames of a span, and is as it was outside."""
    track = _track(clip, channel)
    cubic = track is not None and track.interpolation == "cubic"
    inner = _keys(frames, values, clip.rate, cubic)
    before, after = _outside(clip, track, default, span)
    return Track(channel, "cubic" if cubic else "linear", (*before, *inner, *after))


def _ends(clip: Clip, span: Span) -> Array:
    """The first and the last frame of a span in a clip; one, where they are the same."""
    keys = [key.frame for track in clip.tracks for key in track.keys]
    low = min(keys) if span.first is None else span.first
    high = max(keys) if span.stop is None else span.stop - JUMP
    return np.unique([low, max(low, high)])


def _track(clip: Clip, channel: str) -> Track | None:
    return next((track for track in clip.tracks if track.channel == channel), None)


def _at(clip: Clip, track: Track | None, frame: float, default: float) -> float:
    """A track's value at a frame."""
    return default if track is None else float(sampled(track, np.array([frame]), clip.rate)[0])


def _slope(clip: Clip, track: Track | None, frame: float) -> float:
    """A cubic track's slope a second at a frame: that of its Hermite segment, exactly."""
    if track is None or track.interpolation != "cubic":
        return 0.0
    for start, end in zip(track.keys[:-1], track.keys[1:], strict=True):
        if start.frame <= frame < end.frame:
            seconds = (end.frame - start.frame) / clip.rate
            t = (frame - start.frame) / (end.frame - start.frame)
            rise = (end.value - start.value) / seconds
            return (
                6.0 * t * (1.0 - t) * rise
                + (1.0 - t) * (1.0 - 3.0 * t) * start.leaves
                + t * (3.0 * t - 2.0) * end.arrives
            )
    return 0.0


def _keys(frames: Array, values: Array, rate: float, cubic: bool) -> list[Key]:
    """Keys at frames; a cubic's slopes are those of its neighbours, and do not look over jumps."""
    slopes = np.zeros(len(frames))
    if cubic and len(frames) > 1:
        seconds = np.diff(frames) / rate
        rises = np.diff(values) / seconds
        smooth = np.diff(frames) > 2.0 * JUMP
        for k in range(len(frames)):
            left = rises[k - 1] if k > 0 and smooth[k - 1] else None
            right = rises[k] if k < len(rises) and smooth[k] else None
            if left is not None and right is not None:
                a, b = seconds[k - 1], seconds[k]
                slopes[k] = (left * b + right * a) / (a + b)
            else:
                slopes[k] = left if left is not None else right if right is not None else 0.0
    return [
        Key(float(frame), float(value), float(slope), float(slope))
        for frame, value, slope in zip(frames, values, slopes, strict=True)
    ]


def _outside(
    clip: Clip, track: Track | None, default: float, span: Span
) -> tuple[list[Key], list[Key]]:
    """The keys before and after a span, with the runs that it cuts ended as they were there."""
    keys = () if track is None else track.keys
    stepped = track is not None and track.interpolation == "stepped"
    before: list[Key] = []
    after: list[Key] = []
    if span.first is not None:
        end = span.first - JUMP
        before = [key for key in keys if key.frame < end]
        before.append(_cut(clip, track, end, default))
        before = _as_steps(before) if stepped else before
    if span.stop is not None:
        after = [key for key in keys if key.frame > span.stop]
        here = next((key for key in keys if key.frame == span.stop), None)
        after.insert(0, here or _cut(clip, track, span.stop, default))
        after = _as_steps(after) if stepped else after
    return before, after


def _cut(clip: Clip, track: Track | None, frame: float, default: float) -> Key:
    slope = _slope(clip, track, frame)
    return Key(frame, _at(clip, track, frame, default), slope, slope)


def _as_steps(keys: list[Key]) -> list[Key]:
    """Keys of a stepped run as linear ones: each value is held until just before the next."""
    found: list[Key] = []
    for key, following in zip(keys, [*keys[1:], None], strict=True):
        found.append(Key(key.frame, key.value))
        if (
            following is not None
            and following.value != key.value
            and following.frame - JUMP > key.frame
        ):
            found.append(Key(following.frame - JUMP, key.value))
    return found
