"""A clip of an old rig as one of a new rig, as far as it can be, and what error is left.

In come a clip, the functions of the two rigs and their channel map; out goes the clip with names,
signs, choices and old defaults carried, turns worked out again in another order, and controls that
hang in another space solved again at each frame. Which channel is which, and what breaks, is
`somite.diff.compatibility`'s to say.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from somite.axes import Axes
from somite.clip import Clip, Interpolation, Key, Track, sampled
from somite.diff.carrying import carried
from somite.diff.compatibility import (
    UNSOLVED,
    ChannelLink,
    ChannelMap,
    ControlLink,
    Verdict,
    channel_map,
    clip_verdict,
)
from somite.diff.matching import Matching, matched
from somite.diff.seeing import read
from somite.findings import Code, Finding, Severity
from somite.matching.keys import JUMP, Span, between, key_frames, spliced
from somite.matching.measure import Remaining, Sight, look, remaining, sight
from somite.matching.routes import Routes
from somite.matching.solve import Solution, Task, solve
from somite.matching.switch import because
from somite.matching.web import Web
from somite.matching.worlds import SAME, World, nearest_angles, turned_by
from somite.spatial.rotation import conjugate, matrix_from_quaternion

if TYPE_CHECKING:
    from somite.evaluate import Evaluator, Posed
    from somite.evaluate.algebra import Array

CARRY_LOST = Code("carry-lost", Severity.WARNING)
CARRY_SIDES = Code("carry-sides")

SLOPE = 1e-3
"""Frames over which a slope is taken of turns that are worked out again."""


@dataclass(frozen=True, slots=True)
class CarriedClip:
    """A clip on the new rig.

    `verdict` is of this clip: it keeps, is carried, or breaks; `done` says what was carried and
    `lost` what could not be; `left` are the errors of joints that remain, `because` what left them.
    """

    clip: Clip
    verdict: Verdict
    done: tuple[str, ...]
    lost: tuple[str, ...]
    solved: tuple[str, ...]
    left: tuple[Remaining, ...]
    because: tuple[str, ...]


def carry(
    clip: Clip, old: Evaluator, new: Evaluator, every: float = 1.0
) -> tuple[CarriedClip, tuple[Finding, ...]]:
    """A clip of the old rig as one of the new; findings say what could not be carried.

    `every` is how far apart keys are, in frames, where a control is solved again.
    """
    carrying = _Carrying(clip, old, new, every)
    made = carrying.run()
    findings = [
        CARRY_LOST.at(
            None,
            f"expected the clip to be carried whole, found that {reason}",
            help="the report says how far joints are off; key what is missing by hand",
        )
        for reason in made.lost
    ]
    return made, tuple(findings)


class _Carrying:
    """One clip under way from an old rig to a new one."""

    def __init__(self, clip: Clip, old: Evaluator, new: Evaluator, every: float) -> None:
        self.clip, self.old, self.new, self.every = clip, old, new, every
        rigs = old.settled.rig, new.settled.rig
        self.matching: Matching = matched(*rigs)
        self.map: ChannelMap = channel_map(*rigs, self.matching)
        self.links = {link.old: link for link in self.map.channels}
        self.bridge = Bridge(old, new)
        self.lost: list[str] = []

    def run(self) -> CarriedClip:
        """Carry channels, then turns in another order, then controls in another space."""
        verdict = clip_verdict(self.map, self.clip, self.old.settled.rig)
        tracks = {track.channel: track for track in self._tracks()}
        for control in self.map.controls:
            if control.reordered:
                tracks.update({track.channel: track for track in self._reordered(control)})
        made = replace(self.clip, tracks=tuple(tracks.values()))
        made, solution = self._solved(made)
        poses = 0 if solution is None else len(next(iter(solution.channels.values())))
        reasons = () if solution is None else because(solution, poses)
        solved = tuple(
            [track.channel for track in made.tracks if tracks.get(track.channel) != track]
        )
        lost = tuple(dict.fromkeys(self.lost))
        reached = [reason.partition(UNSOLVED)[0] for reason in verdict.reasons]
        done = tuple(dict.fromkeys([reason for reason in reached if reason not in lost]))
        told: Verdict = "breaks" if lost else "carries"
        if made == self.clip and not lost and not self._rewritten():
            told, done = "keeps", ()
        return CarriedClip(made, told, done, lost, solved, self._left(made), reasons)

    def _rewritten(self) -> bool:
        """Whether a length is written in another unit, though it is as long as it was."""
        links = [self.links.get(track.channel) for track in self.clip.tracks]
        return any(link is not None and link.written != 1.0 for link in links)

    # ---- channel by channel ----------------------------------------------------------------------

    def _tracks(self) -> Iterator[Track]:
        """Every track under its new name, and keys at old defaults where those changed."""
        keyed = {track.channel for track in self.clip.tracks}
        for track in self.clip.tracks:
            link = self.links.get(track.channel)
            if link is None:
                continue  # No animator could set it: the old rig paid no heed to it.
            if link.new is None:
                self._lose(link)
                continue
            made = self._track(track, link)
            for name in (link.new, *link.also):
                yield replace(made, channel=name)
        frames = [key.frame for track in self.clip.tracks for key in track.keys]
        for link in self.map.channels if frames else ():
            if link.pinned and link.new is not None and link.old not in keyed:
                yield self._pinned(link, min(frames))

    def _lose(self, link: ChannelLink) -> None:
        self.lost += link.reasons[:1]

    def _track(self, track: Track, link: ChannelLink) -> Track:
        """A track's keys with signs and choices carried."""
        values = np.array([key.value for key in track.keys])
        if link.options:
            words = np.array(link.options)[np.rint(values).astype(int)]
            if (words < 0).any():
                self._lose(link)
            default = self.new.channels[str(link.new)].default
            values = np.where(words < 0, default, words)
            keys = [
                replace(key, value=float(value))
                for key, value in zip(track.keys, values, strict=True)
            ]
            return Track(str(link.new), track.interpolation, tuple(keys))
        self._within(track, link)
        sign = link.sign
        keys = [
            Key(key.frame, sign * key.value, sign * key.arrives, sign * key.leaves)
            for key in track.keys
        ]
        return Track(str(link.new), track.interpolation, tuple(keys))

    def _within(self, track: Track, link: ChannelLink) -> None:
        """Say what the new rig does not take: a channel that is locked, or values beyond limits."""
        channel = self.new.channels[str(link.new)]
        frames = np.unique([*self.clip.frames, *[key.frame for key in track.keys]])
        values = link.sign * sampled(track, frames, self.clip.rate)
        if channel.locked or channel.driven:
            if np.abs(values - channel.default).max(initial=0.0) > SAME:
                self._lose(link)
        elif ((values < channel.low - 1e-9) | (values > channel.high + 1e-9)).any():
            self.lost.append(f'"{link.new}" goes beyond its limits, at which it stays')

    def _pinned(self, link: ChannelLink, frame: float) -> Track:
        value = link.default
        if link.options:
            value = float(link.options[int(link.default)])
            if value < 0.0:
                self._lose(link)
                value = self.new.channels[str(link.new)].default
        kind: Interpolation = "stepped" if link.options else "linear"
        return Track(str(link.new), kind, (Key(frame, value),))

    # ---- turn orders -----------------------------------------------------------------------------

    def _reordered(self, control: ControlLink) -> Iterator[Track]:
        """The three turns of a control worked out again at their keys, with slopes where curved."""
        held = [
            track
            for track in self.clip.tracks
            if track.channel.rpartition(".")[0] == f"{control.old}.turn"
        ]
        if not held:
            return
        kinds = {track.interpolation for track in held}
        frames = sorted(
            {key.frame for track in held for key in track.keys}
            | {
                key.frame - JUMP
                for track in held
                for key in track.keys[1:]
                if track.interpolation == "stepped" and len(kinds) > 1
            }
        )
        kind: Interpolation = "linear"
        if len(kinds) == 1 or "cubic" in kinds:
            kind = "cubic" if "cubic" in kinds else held[0].interpolation
        at = np.array(frames)
        values = self._turns(control, held, at)
        left = (values - self._turns(control, held, at - SLOPE, values)) / SLOPE
        right = (self._turns(control, held, at + SLOPE, values) - values) / SLOPE
        for axis, letter in enumerate("xyz"):
            name = f"{control.new}.turn.{letter}"
            keys = [
                Key(frame, *[float(one) for one in numbers])
                for frame, *numbers in zip(
                    frames,
                    values[:, axis],
                    left[:, axis] * self.clip.rate if kind == "cubic" else np.zeros(len(at)),
                    right[:, axis] * self.clip.rate if kind == "cubic" else np.zeros(len(at)),
                    strict=True,
                )
            ]
            channel = self.new.channels[name]
            used = np.abs(values[:, axis]).max() > SAME
            if used and (channel.locked or channel.driven):
                self.lost += control.reasons[:1]
            elif used or any(track.channel.endswith(letter) for track in held):
                yield Track(name, kind, tuple(keys))

    def _turns(
        self, control: ControlLink, held: list[Track], frames: Array, near: Array | None = None
    ) -> Array:
        """A control's new turns at frames (frames, 3), each nearest to the one before or `near`."""
        given = {track.channel: sampled(track, frames, self.clip.rate) for track in held}
        plain = carried(self.map, given, pinned=False, reordered=False)
        there = carried(self.map, given, pinned=False, reordered=True)
        names = [f"{control.new}.turn.{axis}" for axis in "xyz"]
        zero = np.zeros(len(frames))
        raw = np.stack([np.asarray(there.get(name, zero)) for name in names], axis=1)
        before = np.array([np.asarray(plain.get(name, zero))[0] for name in names])
        bounds = np.full(3, -np.inf), np.full(3, np.inf)
        found = np.empty_like(raw)
        for k, angles in enumerate(raw):
            before = before if near is None else near[k]
            found[k] = before = nearest_angles(angles, control.new_order, before, *bounds)
        return found

    # ---- spaces ----------------------------------------------------------------------------------

    def _solved(self, clip: Clip) -> tuple[Clip, Solution | None]:
        """The clip with controls in another space solved again, frame by frame."""
        keep = [
            str(control.new)
            for control in self.map.controls
            if control.resolved and control.new is not None
        ]
        if not keep or not clip.tracks:
            return clip, None
        olds = {str(control.new): control.old for control in self.map.controls}
        frames = key_frames(clip, Span(), self.every)
        posed = self.old.pose(self.clip.sampled(frames))
        wanted = {node: self.bridge.world(posed, olds[node], node) for node in keep}
        given = clip.sampled(frames)
        routes = Routes(self.new, lambda node: False, lambda follow: ())
        web = Web(self.new.settled.rig)
        task = Task(
            self.new,
            given,
            wanted,
            keep=tuple(keep),
            seeds=(),
            routes=routes,
            loose=(),
            seen=tuple(keep),
            sooner=lambda node: web.sooner([node]),
        )
        solution = solve(task)
        tracks = {track.channel: track for track in clip.tracks}
        drives = read(self.new.settled.rig)
        for name, channel in self.new.channels.items():
            value = solution.channels.get(name)
            if value is None:
                continue
            old = given.get(name, np.full(len(frames), channel.default))
            scale = self.new.settled.rig.height if channel.part == "move" else 1.0
            if np.abs(value - old).max(initial=0.0) > SAME * scale:
                tracks[name] = spliced(clip, name, frames, value, channel.default, Span())
                if name in drives:
                    self.lost.append(f'"{name}" was solved again, and drives something else')
        self.lost += [
            f'"{one.channel}" is {one.why}, and was to be solved again'
            for one in solution.held
            if self._wanted(one.channel)
        ]
        return replace(clip, tracks=tuple(tracks.values())), solution

    def _wanted(self, channel: str) -> bool:
        """Whether what holds a channel is a loss: of a part that nothing looks at it is none."""
        node, _, part = (
            channel.removesuffix(".x").removesuffix(".y").removesuffix(".z").rpartition(".")
        )
        return any(one.new == node and part in one.solving for one in self.map.controls)

    # ---- what is left ----------------------------------------------------------------------------

    def _left(self, made: Clip) -> tuple[Remaining, ...]:
        """What is left of the joints that both rigs have."""
        pairs = [
            (pair.old.name, pair.new.name)
            for pair in self.matching.pairs_of("nodes")
            if pair.old.kind == pair.new.kind == "joint"
        ]
        if not self.clip.tracks:
            return ()
        names = [new for _, new in pairs]

        def before(frames: Array) -> Sight:
            return self.bridge.sight(self.old.pose(self.clip.sampled(frames)), pairs)

        after = look(made, self.new, names)
        if not made.tracks:
            after = partial(_still, self.new, names)
        return remaining(before, after, names, "joint", *self._looks(made))

    def _looks(self, made: Clip) -> tuple[Array, Array]:
        """Frames at which everything has its keys, and frames between.

        A control whose turns were worked out again is exact at its own keys only.
        """
        whole = made if made.tracks else self.clip
        every = np.unique(np.concatenate([key_frames(whole, Span()), self.clip.frames]))
        keys = {key.frame for track in made.tracks for key in track.keys} or set(every.tolist())
        for control in self.map.controls:
            own = {
                key.frame
                for track in made.tracks
                for key in track.keys
                if control.reordered and track.channel.startswith(f"{control.new}.turn.")
            }
            if own:
                keys = {one for one in keys if one in own or not min(own) < one < max(own)}
        at_keys = np.array(sorted(keys or {float(every[0])}))
        return at_keys, np.setdiff1d(np.concatenate([every, between(every)]), at_keys)


def _still(evaluator: Evaluator, names: Sequence[str], frames: Array) -> Sight:
    """Nodes at rest, at every frame."""
    rest = sight(evaluator.pose(), names)
    parts = (rest.places, rest.turns, rest.linears)
    return Sight(*[np.repeat(one, len(frames), axis=0) for one in parts])


# ---- from the old rig's space to the new one's ---------------------------------------------------


class Bridge:
    """What an old rig's world transforms are in the space, and for the rest, of a new one.

    Turns are taken since rest: a node that was placed with another turn goes on from that.
    """

    def __init__(self, old: Evaluator, new: Evaluator) -> None:
        self.rigs = old.settled.rig, new.settled.rig
        there, here = (np.array(Axes(rig.up, rig.front).rows, dtype=float) for rig in self.rigs)
        self.matrix = here @ there.T

    def sight(self, posed: Posed, pairs: Iterable[tuple[str, str]]) -> Sight:
        """Old nodes as they would be seen in the new rig: places as they are, turns since rest."""
        worlds = [self._turned(posed, old, new) for old, new in pairs]
        places, turns, linears = (list(one) for one in zip(*worlds, strict=True))
        return Sight(np.stack(places, axis=1), np.stack(turns, axis=1), np.stack(linears, axis=1))

    def world(self, posed: Posed, old: str, new: str) -> World:
        """Where a new node is to be: as the old one was, its own rest kept."""
        place, turn, linear = self._turned(posed, old, new)
        a, b = (
            np.array(rig.node(name).rest.place)
            for rig, name in zip(self.rigs, (old, new), strict=True)
        )
        motion = linear @ _matrix(self.rigs[1].node(new).rest.turn).T
        return World(place + (motion @ (b - self.matrix @ a)[:, None])[..., 0], turn, linear)

    def _turned(self, posed: Posed, old: str, new: str) -> tuple[Array, Array, Array]:
        before, after = self.rigs[0].node(old).rest.turn, self.rigs[1].node(new).rest.turn
        matrix = self.matrix
        since = turned_by(posed.turn(old), np.array([conjugate(before)]))
        since = np.concatenate([since[:, :3] @ matrix.T, since[:, 3:]], axis=1)
        turn = turned_by(since, np.array([after]))
        linear = matrix @ posed.linear(old) @ _matrix(before).T @ matrix.T @ _matrix(after)
        return posed.place(old) @ matrix.T, turn, linear


def _matrix(turn: tuple[float, float, float, float]) -> Array:
    return np.array(matrix_from_quaternion(turn))
