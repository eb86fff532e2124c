"""Clips: channels over frames, read from a table, sampled and mirrored.

In comes the text of a table (CSV or JSON) in the recipe's unit, degrees and words of choices; out
goes a `Clip` in metres and radians, or findings at the lines that are wrong. Between keys a channel
is linear, stepped or a cubic Hermite spline, as samplers of glTF 2.0 (ISO/IEC 12113) are; before
its first key and after its last it holds still. How a rig moves is the evaluator's to say.

A CSV table has a head line, `frame` first and then channels; a row has a frame and a value for
each channel that has a key there, an empty cell being none. After a channel's name, `stepped` or
`cubic` says how it runs; a cubic channel's tangents, in units a second, stand in columns that say
`in` and `out`, and are level where those are missing. A line `# rate 30` before the head states
frames a second. JSON states the same:

    {"rate": 24, "channels": {
      "high.turn.y": {"interpolation": "cubic", "keys": [
        {"frame": 1, "value": 0}, {"frame": 9, "value": 40, "in": 0, "out": 5}]},
      "lamp.space": {"keys": [{"frame": 1, "value": "hand"}]}}}
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from somite.findings import Code, Finding, has_errors, nearest
from somite.ir import Node, Rig
from somite.text import Site, Source
from somite.units import metres_per, radians

if TYPE_CHECKING:
    from somite.evaluate.algebra import Array
    from somite.evaluate.channels import Channel
    from somite.evaluate.evaluator import Evaluator

CLIP_SYNTAX = Code("clip-syntax")
CLIP_CHANNEL = Code("clip-channel")
CLIP_VALUE = Code("clip-value")
CLIP_KEYS = Code("clip-keys")

RATE = 24.0
"""Frames a second, where a clip does not say."""
MOST_FRAMES = 1_000_000
"""Frames that a clip may span."""

Interpolation: TypeAlias = Literal["linear", "stepped", "cubic"]
INTERPOLATIONS: tuple[Interpolation, ...] = ("linear", "stepped", "cubic")


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its value, and the slopes (a second) with which a cubic arrives and leaves."""

    frame: float
    value: float
    arrives: float = 0.0
    leaves: float = 0.0


@dataclass(frozen=True, slots=True)
class Track:
    """A channel's keys, frames rising."""

    channel: str
    interpolation: Interpolation
    keys: tuple[Key, ...]


@dataclass(frozen=True, slots=True)
class Clip:
    """Channels over frames, in metres, radians and numbers (a choice is an index).

    `notes` are the comments above a table's head.
    """

    name: str
    rate: float
    tracks: tuple[Track, ...]
    notes: tuple[str, ...] = ()

    @property
    def frames(self) -> Array:
        """Every whole frame from the first key to the last: (frames,)."""
        import numpy as np

        at = [key.frame for track in self.tracks for key in track.keys]
        if not at:
            return np.zeros(0)
        first, last = np.ceil(min(at)), np.floor(max(at))
        return np.asarray(first + np.arange(max(int(last - first), 0) + 1, dtype=np.float64))

    def sampled(self, frames: Array | Sequence[float] | None = None) -> dict[str, Array]:
        """Every channel at frames (all whole ones if none are given): {channel: (frames,)}."""
        import numpy as np

        at = self.frames if frames is None else np.asarray(frames, dtype=np.float64)
        return {track.channel: sampled(track, at, self.rate) for track in self.tracks}


def sampled(track: Track, frames: Array, rate: float) -> Array:
    """A track at frames: (frames,).

    The cubic is glTF 2.0's (appendix C.5): tangents times the seconds between two keys.
    """
    import numpy as np

    at, value, arrives, leaves = (
        np.array([getattr(key, name) for key in track.keys])
        for name in ("frame", "value", "arrives", "leaves")
    )
    after = np.clip(np.searchsorted(at, frames, side="right"), 1, max(len(at) - 1, 1))
    before = after - 1
    if len(at) == 1:
        return np.full(frames.shape, value[0])
    width = at[after] - at[before]
    t = np.clip((frames - at[before]) / width, 0.0, 1.0)
    start, end = value[before], value[after]
    if track.interpolation == "stepped":
        return np.where(t >= 1.0, end, start)
    if track.interpolation == "linear":
        return np.asarray(start + (end - start) * t)
    seconds = width / rate
    square, cube = t * t, t * t * t
    return np.asarray(
        (2.0 * cube - 3.0 * square + 1.0) * start
        + seconds * (cube - 2.0 * square + t) * leaves[before]
        + (3.0 * square - 2.0 * cube) * end
        + seconds * (cube - square) * arrives[after]
    )


# ---- mirroring and baking ------------------------------------------------------------------------


def mirrored(clip: Clip, rig: Rig) -> Clip:
    """The clip with left and right changed over, by the signs that the rig keeps.

    Channels of nodes without a twin stay as they are.
    """
    nodes = {node.name: node for node in rig.nodes}
    return replace(clip, tracks=tuple([_mirrored(track, nodes) for track in clip.tracks]))


def _mirrored(track: Track, nodes: Mapping[str, Node]) -> Track:
    name, _, last = track.channel.rpartition(".")
    owner, _, part = name.rpartition(".")
    if part in ("move", "turn", "size") and owner in nodes:
        node, rest, sign = nodes[owner], f"{part}.{last}", 1
        if node.mirror is not None and part != "size":
            signs = node.mirror.move if part == "move" else node.mirror.turn
            sign = signs["xyz".index(last)]
    else:
        node, rest = nodes[name], last
        sign = -1 if any(dial.name == last and dial.flips for dial in node.dials) else 1
    if node.mirror is None:
        return track
    keys = [
        Key(key.frame, sign * key.value, sign * key.arrives, sign * key.leaves)
        for key in track.keys
    ]
    return Track(f"{node.mirror.twin}.{rest}", track.interpolation, tuple(keys))


def steady(turns: Array) -> Array:
    """Quaternions (frames, 4) with signs such that neighbours are on one side, the first w ≥ 0."""
    import numpy as np

    along = np.sign((turns[1:] * turns[:-1]).sum(axis=1))
    first = -1.0 if turns[0, 3] < 0.0 else 1.0
    signs = first * np.concatenate([[1.0], np.cumprod(np.where(along < 0.0, -1.0, 1.0))])
    return np.asarray(turns * signs[:, None])


# ---- reading -------------------------------------------------------------------------------------


def read(source: Source, evaluator: Evaluator) -> tuple[Clip | None, tuple[Finding, ...]]:
    """A clip from a table: JSON where the source's name ends so, else CSV."""
    reading = _Reading(source, evaluator)
    if source.name.endswith(".json"):
        reading.read_json()
    else:
        reading.read_csv()
    findings = tuple(reading.findings)
    if has_errors(findings):
        return None, findings
    name = source.name.rpartition("/")[2].rpartition(".")[0]
    return Clip(name, reading.rate, tuple(reading.tracks()), tuple(reading.notes)), findings


@dataclass(slots=True)
class _Column:
    """A channel under way: its keys by frame, with the line each was written in."""

    channel: Channel
    interpolation: Interpolation
    site: Site
    keys: list[tuple[Key, Site]]


class _Reading:
    """One table under way."""

    def __init__(self, source: Source, evaluator: Evaluator) -> None:
        self.source, self.evaluator = source, evaluator
        self.metres = metres_per(evaluator.settled.rig.unit)
        self.findings: list[Finding] = []
        self.columns: dict[str, _Column] = {}
        self.notes: list[str] = []
        self.rate = RATE

    def site(self, line: int, column: int = 1) -> Site:
        return Site(self.source.name, line, column)

    def report(self, code: Code, site: Site, message: str, help: str | None = None) -> None:
        self.findings.append(code.at(site, message, help=help))

    def tracks(self) -> Iterator[Track]:
        for column in self.columns.values():
            if column.keys:
                keys = tuple([key for key, _ in column.keys])
                yield Track(column.channel.name, column.interpolation, keys)

    # One channel, one key.

    def column(self, name: str, interpolation: str, site: Site) -> _Column | None:
        """A new column, or None with a finding."""
        channel = self.evaluator.channels.get(name)
        if channel is None:
            near = nearest(name, self.evaluator.channels)
            help_line = f'did you mean "{near}"?' if near else "write it so: high.turn.y"
            self.report(
                CLIP_CHANNEL, site, f'expected a channel or a dial, found "{name}"', help_line
            )
            return None
        if name in self.columns:
            self.report(CLIP_CHANNEL, site, f'expected "{name}" once, found it again')
            return None
        kind: Interpolation = "stepped" if channel.options and not interpolation else "linear"
        if interpolation:
            if interpolation not in INTERPOLATIONS or (
                channel.options and interpolation != "stepped"
            ):
                self._ill_interpolation(channel, interpolation, site)
                return None
            kind = next(one for one in INTERPOLATIONS if one == interpolation)
        self.columns[name] = _Column(channel, kind, site, [])
        return self.columns[name]

    def _ill_interpolation(self, channel: Channel, found: str, site: Site) -> None:
        known = '"stepped" for a choice' if channel.options else "linear, stepped or cubic"
        self.report(CLIP_KEYS, site, f'expected {known} for "{channel.name}", found "{found}"')

    def key(
        self, column: _Column, frame: float, value: object, slopes: Sequence[object], site: Site
    ) -> None:
        """Add a key; its frame is after the one before."""
        channel = column.channel
        number = self.value(channel, value, site)
        arrives, leaves = (
            self.value(channel, slope, site) if slope not in ("", None) else 0.0 for slope in slopes
        )
        if number is None or arrives is None or leaves is None:
            return
        if column.keys and frame <= column.keys[-1][0].frame:
            self.report(
                CLIP_KEYS, site, f'expected the keys of "{channel.name}" in rising order of frames'
            )
            return
        column.keys.append((Key(frame, number, arrives, leaves), site))

    def value(self, channel: Channel, value: object, site: Site) -> float | None:
        """A value in the recipe's units as the rig takes it, or None with a finding."""
        if channel.options:
            if value in channel.options:
                return float(channel.options.index(str(value)))
            words = ", ".join(channel.options)
            self.report(
                CLIP_VALUE,
                site,
                f'expected one of the choices of "{channel.name}", found "{value}"',
                f"the choices are {words}",
            )
            return None
        number = finite(value)
        if number is None:
            self.report(
                CLIP_VALUE, site, f'expected a number for "{channel.name}", found "{value}"'
            )
            return None
        if channel.unit == "length":
            return number * self.metres
        return radians(number) if channel.unit == "angle" else number

    def frame(self, value: object, site: Site) -> float | None:
        number = finite(value)
        if number is None or abs(number) > MOST_FRAMES:
            self.report(CLIP_VALUE, site, f'expected a frame, found "{value}"')
            return None
        return number

    def set_rate(self, value: object, site: Site) -> None:
        number = finite(value)
        if number is None or not 0.0 < number <= 1e6:
            self.report(CLIP_VALUE, site, f'expected frames a second above 0, found "{value}"')
        else:
            self.rate = number

    # CSV.

    def read_csv(self) -> None:
        """Head and rows; an empty table is a finding."""
        lines = self.source.text.split("\n")
        start = 0
        while start < len(lines) and (not lines[start].strip() or lines[start].startswith("#")):
            words = lines[start].lstrip("#").split()
            if len(words) == 2 and words[0] == "rate":
                self.set_rate(words[1], self.site(start + 1))
            elif words:
                self.notes.append(lines[start][1:].strip())
            start += 1
        try:
            rows = list(csv.reader(lines[start:], strict=True))
        except csv.Error as mistake:
            self.report(CLIP_SYNTAX, self.site(start + 1), f"expected a CSV table, found {mistake}")
            return
        head = [cell.strip() for cell in rows[0]] if rows else []
        if not head or head[0] != "frame":
            found = head[0] if head and head[0] else "nothing"
            self.report(
                CLIP_SYNTAX,
                self.site(min(start + 1, len(lines))),
                f'expected a head line that begins with "frame", found "{found}"',
                "write: frame, high.turn.y, hand.space",
            )
            return
        held = self._head(head[1:], start + 1)
        for offset, row in enumerate(rows[1:], start + 2):
            if any(cell.strip() for cell in row):
                self._row([cell.strip() for cell in row], held, len(head), offset)

    def _head(self, names: Sequence[str], line: int) -> list[tuple[_Column, int, int, int]]:
        """Each channel's column with the cells of its value and slopes (-1: none)."""
        found: list[tuple[_Column, int, int, int]] = []
        for at, text in enumerate(names, 1):
            name, _, word = text.partition(" ")
            if word.strip() in ("in", "out"):
                owned = any(other.split() == [name, "cubic"] for other in names)
                if not owned:
                    self.report(
                        CLIP_KEYS,
                        self.site(line),
                        f'expected slopes for a cubic channel, found "{text}"',
                        f"write the values' column so: {name} cubic",
                    )
                continue
            column = self.column(name, word.strip(), self.site(line))
            if column is not None:
                slopes = [
                    next(
                        (k for k, other in enumerate(names, 1) if other.split() == [name, side]), -1
                    )
                    for side in ("in", "out")
                ]
                found.append((column, at, slopes[0], slopes[1]))
        return found

    def _row(
        self,
        row: Sequence[str],
        held: Sequence[tuple[_Column, int, int, int]],
        width: int,
        line: int,
    ) -> None:
        site = self.site(line)
        if len(row) > width:
            self.report(
                CLIP_SYNTAX, site, f"expected {width} cells as in the head, found {len(row)}"
            )
            return
        frame = self.frame(row[0], site)
        if frame is None:
            return
        cells = [*row, *[""] * (width - len(row))]
        for column, at, arrives, leaves in held:
            if cells[at]:
                slopes = [cells[k] if k >= 0 else "" for k in (arrives, leaves)]
                self.key(column, frame, cells[at], slopes, site)

    # JSON.

    def read_json(self) -> None:
        """The whole document; places are those of its mistakes, else its first line."""
        document = self._document()
        if document is None:
            return
        site = self.site(1)
        channels = document.get("channels") if isinstance(document, dict) else None
        if not isinstance(channels, dict):
            self.report(CLIP_SYNTAX, site, 'expected an object with "channels", found none')
            return
        if "rate" in document:
            self.set_rate(document["rate"], site)
        for name, held in channels.items():
            if not isinstance(held, dict) or not isinstance(held.get("keys"), list):
                self.report(CLIP_SYNTAX, site, f'expected "keys" of "{name}", found none')
                continue
            column = self.column(name, str(held.get("interpolation", "")), site)
            if column is not None:
                self._keys(column, held["keys"], site)

    def _document(self) -> Any:
        """What the text says, or None with a finding where the mistake is."""
        try:
            return json.loads(self.source.text)
        except json.JSONDecodeError as mistake:
            site = self.site(mistake.lineno, mistake.colno)
            told = mistake.msg[:1].lower() + mistake.msg[1:]
            self.report(CLIP_SYNTAX, site, f"expected JSON, found a mistake: {told}")
        except RecursionError:
            self.report(CLIP_SYNTAX, self.site(1), "expected a table, found far too many levels")
        return None

    def _keys(self, column: _Column, keys: Iterable[Any], site: Site) -> None:
        for key in keys:
            if not isinstance(key, dict) or "frame" not in key or "value" not in key:
                self.report(
                    CLIP_SYNTAX,
                    site,
                    f'expected "frame" and "value" in each key of "{column.channel.name}"',
                )
                return
            frame = self.frame(key["frame"], site)
            if frame is not None:
                self.key(column, frame, key["value"], (key.get("in"), key.get("out")), site)


def finite(value: object) -> float | None:
    """A number, or a text that is one, if it is finite."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return None
    try:
        number = float(value)
    except (ValueError, OverflowError):
        return None
    return number if number - number == 0.0 else None
