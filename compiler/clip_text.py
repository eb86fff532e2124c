"""A clip as the text of a table, CSV or JSON, from which `somite.clip` reads the same clip again.

In comes a clip in metres and radians and the channels of its rig; out goes text in the recipe's
unit, degrees and words of choices. Nothing here reads a table or changes a clip.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import TYPE_CHECKING

from somite.canonical import Json, Numeral, number, text
from somite.clip import Clip, Key, Track
from somite.ir import Rig
from somite.units import degrees, metres_per

if TYPE_CHECKING:
    from somite.evaluate.channels import Channel


def clip_text(clip: Clip, rig: Rig, channels: Mapping[str, Channel], form: str) -> str:
    """A clip as a table in a form, "csv" or "json", with a trailing newline."""
    metres = metres_per(rig.unit)
    if form == "json":
        return _json(clip, channels, metres)
    return _csv(clip, channels, metres)


def _csv(clip: Clip, channels: Mapping[str, Channel], metres: float) -> str:
    """A head and a row a frame; slopes have columns where a channel has any."""
    out = io.StringIO()
    for note in clip.notes:
        out.write(f"# {note}\n")
    out.write(f"# rate {number(clip.rate)}\n")
    head = ["frame"]
    columns: list[dict[float, str]] = []
    for track in clip.tracks:
        channel = channels[track.channel]
        head.append(f"{track.channel}{_word(track, channel)}")
        columns.append({key.frame: _value(key.value, channel, metres) for key in track.keys})
        for side, slopes in _slopes(track, channel, metres).items():
            head.append(f"{track.channel} {side}")
            columns.append(slopes)
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(head)
    for frame in sorted({key.frame for track in clip.tracks for key in track.keys}):
        writer.writerow([number(frame), *[column.get(frame, "") for column in columns]])
    return out.getvalue()


def _json(clip: Clip, channels: Mapping[str, Channel], metres: float) -> str:
    made: dict[str, Json] = {}
    for track in clip.tracks:
        channel = channels[track.channel]
        slopes = _slopes(track, channel, metres)
        keys: list[Json] = []
        for key in track.keys:
            written = _value(key.value, channel, metres)
            held: dict[str, Json] = {
                "frame": number(key.frame),
                "value": written if channel.options else Numeral(written),
            }
            held.update({side: Numeral(found[key.frame]) for side, found in slopes.items()})
            keys.append(held)
        word = _word(track, channel).strip()
        made[track.channel] = {**({"interpolation": word} if word else {}), "keys": keys}
    return text({"rate": number(clip.rate), "channels": made})


def _word(track: Track, channel: Channel) -> str:
    """How a channel runs, where that is not what it does by itself."""
    usual = "stepped" if channel.options else "linear"
    return "" if track.interpolation == usual else f" {track.interpolation}"


def _value(value: float, channel: Channel, metres: float) -> str:
    if channel.options:
        return channel.options[round(value)]
    if channel.unit == "length":
        return number(value / metres)
    return number(degrees(value)) if channel.unit == "angle" else number(value)


def _slopes(track: Track, channel: Channel, metres: float) -> dict[str, dict[float, str]]:
    """A cubic channel's slopes by side and frame; a side that is level throughout is left out."""
    if track.interpolation != "cubic":
        return {}

    def side(of: str) -> dict[float, str]:
        return {key.frame: _value(_slope(key, of), channel, metres) for key in track.keys}

    found = {"in": side("in"), "out": side("out")}
    return {name: held for name, held in found.items() if any(one != "0" for one in held.values())}


def _slope(key: Key, side: str) -> float:
    return key.arrives if side == "in" else key.leaves
