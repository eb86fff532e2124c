"""Keys over a span: what is kept outside, jumps, cubic and stepped channels, written clips."""

from __future__ import annotations

import numpy as np
import pytest
from clips import keyed, random_clip, track
from posed_rigs import exercise, text
from scipy.interpolate import CubicHermiteSpline

from somite import clip as clips
from somite.clip import Clip, Key, Track
from somite.clip_text import clip_text
from somite.matching import Span, match
from somite.matching.keys import between, held, key_frames, spliced, within
from somite.text import Source

CUBIC = Track(
    "a.move.x",
    "cubic",
    (Key(1.0, 0.0, 0.0, 3.0), Key(9.0, 2.0, -1.0, 4.0), Key(20.0, -1.0, 0.5, 0.0)),
)
OTHER = Track("b.move.x", "linear", (Key(0.0, 0.0), Key(24.0, 1.0)))
CLIP = Clip("walk", 24.0, (CUBIC, OTHER))


def spline(frames):
    """The cubic by scipy, each segment with its own slopes a second."""
    first = CubicHermiteSpline([1 / 24, 9 / 24], [0, 2], [3, -1])
    second = CubicHermiteSpline([9 / 24, 20 / 24], [2, -1], [4, 0.5])
    seconds = np.asarray(frames) / 24
    return np.where(seconds < 9 / 24, first(seconds), second(seconds))


def test_a_cubic_channel_is_the_same_curve_on_both_sides_of_a_span():
    span = Span(6.0, 11.0)
    frames = key_frames(CLIP, span)
    made = spliced(CLIP, "a.move.x", frames, np.full(len(frames), 7.0), 0.0, span)
    outside = np.concatenate([np.linspace(1, 5.999, 60), np.linspace(12, 19.999, 60)])
    assert clips.sampled(made, outside, 24.0) == pytest.approx(spline(outside), abs=1e-12)
    inside = np.linspace(6, 11.999, 60)
    assert clips.sampled(made, inside, 24.0) == pytest.approx(7.0, abs=1e-12)


def test_a_smooth_cubic_in_a_span_is_near_its_values_between_them():
    span = Span(2.0, 7.0)
    frames = key_frames(CLIP, span)
    made = spliced(CLIP, "a.move.x", frames, np.sin(frames / 3), 0.0, span)
    inside = np.linspace(3, 7, 50)
    assert np.abs(clips.sampled(made, inside, 24.0) - np.sin(inside / 3)).max() < 2e-3


def test_a_stepped_channel_that_is_solved_still_holds_outside():
    stepped = Track("a.move.x", "stepped", (Key(0.0, 1.0), Key(4.0, 2.0), Key(15.0, 5.0)))
    clip = Clip("walk", 24.0, (stepped, OTHER))
    span = Span(6.0, 9.0)
    made = spliced(clip, "a.move.x", key_frames(clip, span), np.arange(5.0), 0.0, span)
    outside = [0, 3.998, 4, 5.998, 10, 14.998, 15, 24]
    assert clips.sampled(made, np.array(outside), 24.0).tolist() == [1, 1, 2, 2, 2, 2, 5, 5]


def test_keys_are_at_every_frame_at_the_clips_own_and_before_jumps():
    stepped = Track("a.move.x", "stepped", (Key(0.0, 1.0), Key(7.5, 2.0)))
    clip = Clip("walk", 24.0, (stepped, OTHER))
    assert key_frames(clip, Span(6.0, 8.0)).tolist() == [6.0, 7.0, 7.499, 7.5, 8.0, 8.999]
    assert key_frames(clip, Span(7.0, 8.0), every=0.5).tolist()[:2] == [7.0, 7.499]


def test_nothing_between_is_looked_at_within_a_jump():
    assert between(np.array([1.0, 1.999, 2.0, 3.0])).tolist() == pytest.approx(
        [1.24975, 1.4995, 1.74925, 2.25, 2.5, 2.75]
    )


def test_a_span_that_reaches_the_clips_ends_is_open():
    assert within(Span(0.0, 24.0), CLIP) == Span(None, None)
    assert within(Span(1.0, 23.0), CLIP) == Span(1.0, 23.0)


@pytest.mark.parametrize(
    ("span", "expected"),
    [
        (Span(6.0, 8.0), [0.5, 0.5, 1, 1, 0.5, 0.5]),
        (Span(None, 8.0), [1, 1, 1, 1, 0.5, 0.5]),
        (Span(6.0, None), [0.5, 0.5, 1, 1, 1, 1]),
    ],
)
@pytest.mark.parametrize("interpolation", [None, "stepped", "linear"])
def test_a_dial_jumps_at_the_first_frame_and_back_after_the_last(span, expected, interpolation):
    tracks = (OTHER,)
    if interpolation:
        tracks += (Track("a.mix", interpolation, (Key(0.0, 0.5),)),)
    clip = Clip("walk", 24.0, tracks)
    made = held(clip, "a.mix", 1.0, 0.5, span)
    at = np.array([0.0, 5.998, 6.0, 8.998, 9.0, 24.0])
    assert clips.sampled(made, at, 24.0).tolist() == expected


# ---- the text of a clip --------------------------------------------------------------------------

TABLE = """\
# Pip carries the lantern out
# rate 30
frame,lamp.move.x,lamp.turn.y cubic,lamp.turn.y in,lamp.turn.y out,lamp.hue,lamp.glow stepped
1,2.5,0,0,12.5,red,0.25
4.5,,30,-4,4,green,
9,-1,45,0,0,,1
"""


def rig():
    return text(
        """sheet
  point a
control lamp at a  ring 9 cm
  dial hue of red, green = red
  dial glow = 0 in 0..1
joint wick at a  under lamp
""",
        "[points]\na = [0, 100, 0]\n",
    )


def test_a_clip_is_written_as_it_is_read():
    evaluator = rig()
    clip, findings = clips.read(Source("out.csv", TABLE), evaluator)
    assert findings == ()
    assert clip_text(clip, evaluator.settled.rig, evaluator.channels, "csv") == TABLE


@pytest.mark.parametrize("form", ["csv", "json"])
def test_what_is_written_is_read_as_the_same_clip(form):
    evaluator = exercise("space_choice")
    clip = random_clip(evaluator, 6, [], track("lamp.move.y", *range(8), interpolation="cubic"))
    made, _ = match(clip, evaluator, {"lamp.space": 1.0}, Span(3.0, 6.0))
    written = clip_text(made.clip, evaluator.settled.rig, evaluator.channels, form)
    again, findings = clips.read(Source(f"walk.{form}", written), evaluator)
    assert findings == ()
    assert [one.interpolation for one in again.tracks] == [
        one.interpolation for one in made.clip.tracks
    ]
    for one in made.clip.tracks:
        there = keyed(again, one.channel)
        assert [key.frame for key in there.keys] == pytest.approx([key.frame for key in one.keys])
        for a, b in zip(there.keys, one.keys, strict=True):
            assert (a.value, a.arrives, a.leaves) == pytest.approx(
                (b.value, b.arrives, b.leaves), abs=1e-10
            )
