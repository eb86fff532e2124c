"""Two rigs posed alike: which joints now go elsewhere, by how much, and under which control.

In come two settled rigs and the map of their channels, out go records of measured differences,
worst first, each with the pose that shows it. What is measured holds for the poses that were tried
and is never claimed for others. Nothing here knows recipes or how a report reads.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from somite.axes import Axes
from somite.diff.carrying import carried
from somite.diff.compatibility import ChannelMap
from somite.diff.matching import Matching
from somite.diff.records import By
from somite.evaluate import Evaluator, Posed
from somite.evaluate.algebra import Array
from somite.evaluate.channels import Channel
from somite.ir import Rig
from somite.laws.motion import angles, distances
from somite.laws.trial import Trial
from somite.settle import Settled

if TYPE_CHECKING:
    from somite.clip import Clip

SAMPLES = (0.0, 0.3, 0.7, 1.0)
"""Shares of a channel's range at which it is tried alone."""
STIRRED = 2
"""Seeded poses of all controls together, and as many again for each extreme of each dial."""
STIR = (0.1, 0.2)
"""Shares of their ranges to which all controls at once are set: a working pose, not a knot."""
MORE = 1.25
"""All controls at once are told of where a joint goes so many times further elsewhere than under
any one of them, and a dial where it does so with the dial."""
CUT = 12
"""Poses of all controls at once that are cut to what matters, the worst first."""
MOST_FRAMES = 2_000
"""Frames of one clip that are posed; of a longer one, so many, evenly spread."""
LEAST_MOVED = 1e-5
"""Motion below this share of the height is none."""
LEAST_TURNED = 1e-4
"""Turns below this (radians) are none."""
MOST_KEPT = 12
"""Settings that a pose of many is cut to, those first without which most is lost."""
WELL_SHOWN = 0.1
"""A shorter pose is enough that shows a difference to within this share of it."""
KEPT_SHARE = 0.5
"""The least share of it with which a shorter pose is told at all."""

_STIRRED = ("together", "dial")


@dataclass(frozen=True, slots=True)
class Probe:
    """A pose that is tried: what brought it about, the control or dial, and the old channels."""

    by: By
    name: str
    settings: tuple[tuple[str, float], ...]
    frame: float | None = None


@dataclass(frozen=True, slots=True)
class Departure:
    """A joint that goes elsewhere: how far (metres), how much turned (radians), in which pose.

    Both are counted from each rig's own rest: `moved` is how far apart the two joints carry the
    old joint's place, so that being placed elsewhere does not count; `at_rest` says how far that
    was. `settings` of the probe are the old rig's channels, `now` the new one's, that show it.
    `control` is what moves it: a control, or a dial's full name; empty for a pose or a clip.
    """

    joint: str
    was: str
    control: str
    moved: float
    turned: float
    share: float
    probe: Probe
    now: tuple[tuple[str, float], ...]
    at_rest: float = 0.0


@dataclass(frozen=True, slots=True)
class Behaviour:
    """What was tried, and the departures, worst first: of each joint the worst under each control.

    `poses` counts what was tried by how it came about, `joints` those that both rigs have.
    """

    poses: tuple[tuple[By, int], ...]
    joints: int
    departures: tuple[Departure, ...]

    @property
    def controls(self) -> tuple[str, ...]:
        """What moves joints elsewhere, worst first."""
        return tuple(dict.fromkeys(one.control for one in self.departures if one.control))


@dataclass(frozen=True, slots=True)
class Picture:
    """The worst error of a joint's place over all poses, as carried; `share` is of the height.

    A pose is carried by the channel map: names, signs, turn orders and changed defaults. `left_out`
    are the old channels that no map carries. `by_clip` has the worst share and frame of each clip.
    """

    tolerance: float
    share: float
    moved: float
    turned: float
    joint: str
    probe: Probe
    now: tuple[tuple[str, float], ...]
    poses: int
    left_out: tuple[str, ...] = ()
    by_clip: tuple[tuple[str, float, float], ...] = ()

    @property
    def keeps(self) -> bool:
        """Whether the measured error is within the tolerance."""
        return self.share <= self.tolerance


def measured(
    old: Settled,
    new: Settled,
    matching: Matching,
    channels: ChannelMap,
    *,
    clips: Sequence[Clip] = (),
    tolerance: float = 1e-3,
    evaluators: tuple[Evaluator, Evaluator] | None = None,
) -> tuple[Behaviour, Picture]:
    """How two rigs behave over the same poses, and how much of the picture is kept.

    `tolerance` is a share of the old rig's height. Clips are of the old rig.
    """
    return _Measuring(old, new, matching, channels, evaluators).run(clips, tolerance)


class _Measuring:
    """A measurement under way."""

    def __init__(
        self,
        old: Settled,
        new: Settled,
        matching: Matching,
        channels: ChannelMap,
        evaluators: tuple[Evaluator, Evaluator] | None,
    ) -> None:
        self.map = channels
        self.old, self.new = evaluators or (Evaluator(old), Evaluator(new))
        self.trial = Trial(old, 0, self.old)
        self.far = self.trial.far
        self.pairs = [
            (pair.old.name, pair.new.name)
            for pair in matching.pairs_of("nodes")
            if pair.old.kind == "joint"
        ]
        self.axes = _to_neutral(old.rig), _to_neutral(new.rig)
        self.as_carried = any(link.pinned for link in channels.channels) or any(
            link.reordered for link in channels.controls
        )

    def run(self, clips: Sequence[Clip], tolerance: float) -> tuple[Behaviour, Picture]:
        probes = [Probe("rest", "rest", ()), *self._probes(clips)]
        counts: dict[By, int] = {}
        for probe in probes:
            counts[probe.by] = counts.get(probe.by, 0) + 1
        written, picture = self._errors(probes)
        departures = self._departures(probes, written)
        behaviour = Behaviour(tuple(counts.items()), len(self.pairs), tuple(departures))
        return behaviour, self._picture(probes, picture, tolerance, clips)

    # ---- poses -------------------------------------------------------------------------------

    def _probes(self, clips: Sequence[Clip]) -> Iterator[Probe]:
        trial = self.trial
        for channel in trial.free:
            dial = channel.part == "dial"
            for value in self._values(channel):
                name = channel.name if dial else channel.node
                yield Probe("dial" if dial else "channel", name, ((channel.name, value),))
        for control in trial.controls:
            turns = [c for c in trial.free if c.node == control.name and c.part == "turn"]
            if len(turns) > 1:
                yield Probe("control", control.name, tuple(self._together(turns)))
        yield from self._stirred()
        yield from self._of_recipe()
        for clip in clips:
            yield from _of_clip(clip, self.old)

    def _values(self, channel: Channel) -> list[float]:
        """The values at which a channel is tried alone, without its default."""
        if channel.part == "dial" and channel.options:
            return list(self.trial.extremes(channel))
        low, high = self.trial.working(channel)
        values = [low + (high - low) * share for share in SAMPLES]
        return [value for value in values if value != channel.default]

    def _together(self, turns: Sequence[Channel]) -> Iterator[tuple[str, float]]:
        """All turns of a control at once: where another turn order shows."""
        for number, channel in enumerate(turns):
            low, high = self.trial.working(channel)
            share = 0.8 if number % 2 == 0 else 0.25
            yield channel.name, low + (high - low) * share

    def _stirred(self) -> Iterator[Probe]:
        """All controls at once; then again with each dial at each of its extremes."""
        trial = self.trial
        dials = {channel.name: channel for channel in trial.free if channel.part == "dial"}
        for pose in trial.seeded(STIRRED, "difference", STIR):
            held = {
                name: value
                for name, value in pose.items()
                if name not in dials and trial.channels[name].part != "size"
            }
            yield Probe("together", "", tuple(held.items()))
            for name, channel in dials.items():
                for value in trial.extremes(channel):
                    yield Probe("dial", name, ((name, value), *held.items()))

    def _of_recipe(self) -> Iterator[Probe]:
        """The poses that the recipe names, and those that its checks take."""
        rig = self.trial.rig
        poses = {pose.name: {one.channel: one.value for one in pose.settings} for pose in rig.poses}
        for name, settings in poses.items():
            yield Probe("pose", name, tuple(settings.items()))
        for check in rig.checks:
            held: dict[str, float] = {}
            for name in check.poses:
                held |= poses.get(name, {})
            held |= {one.channel: one.value for one in check.settings}
            if not check.sweeps:
                yield Probe("check", check.name, tuple(held.items()))
            for stop in (False, True) if check.sweeps else ():
                ends = {one.channel: one.stop if stop else one.start for one in check.sweeps}
                yield Probe("check", check.name, tuple({**held, **ends}.items()))

    # ---- errors ------------------------------------------------------------------------------

    def _errors(self, probes: Sequence[Probe]) -> tuple[_Errors, _Errors]:
        """Errors as written, and as carried by the channel map.

        Poses that resize are posed apart, since they need another plan.
        """
        table = self.old.channels
        sized = np.array(
            [any(table[name].part == "size" for name, _ in probe.settings) for probe in probes]
        )
        found = [
            _Errors(*[np.zeros((len(probes), len(self.pairs))) for _ in range(3)])
            for _ in range(1 + self.as_carried)
        ]
        for rows in (np.flatnonzero(~sized).tolist(), np.flatnonzero(sized).tolist()):
            if rows:
                parts = self._of([probes[k] for k in rows], carry=self.as_carried)
                for whole, part in zip(found, parts, strict=True):
                    whole.place[rows], whole.moved[rows] = part.place, part.moved
                    whole.turned[rows] = part.turned
        return found[0], found[-1]

    def _of(self, probes: Sequence[Probe], *, carry: bool = False) -> list[_Errors]:
        """The errors of some probes as written and, if so asked, as carried."""
        values, given = self._values_of(probes)
        first = self._joints(self.old.pose(values), 0)
        found = []
        for how in (False, True) if carry else (False,):
            there = self._there(values, given, carry=how)
            found.append(_errors(first, self._joints(self.new.pose(there), 1)))
        return found

    def _values_of(self, probes: Sequence[Probe]) -> tuple[dict[str, Array], dict[str, Array]]:
        """Old channels over the rest pose and then the probes, and where they were given."""
        rows = len(probes) + 1
        names = dict.fromkeys(name for probe in probes for name, _ in probe.settings)
        names = names or dict.fromkeys([next(iter(self.old.channels))])
        values = {name: np.full(rows, self.old.channels[name].default) for name in names}
        given = {name: np.zeros(rows, dtype=bool) for name in names}
        for row, probe in enumerate(probes, 1):
            for name, value in probe.settings:
                values[name][row] = value
                given[name][row] = True
        return values, given

    def _there(
        self, values: Mapping[str, Array], given: Mapping[str, Array], *, carry: bool
    ) -> dict[str, Array]:
        """The same poses for the new rig, its own rest pose first.

        As they are written, what a pose does not give is at the new rig's default; as they are
        carried, at the old one's.
        """
        table = self.new.channels
        found = carried(self.map, values, pinned=carry, reordered=carry)
        rows = len(next(iter(values.values())))
        if not carry:
            for link in self.map.channels:
                for name in (link.new, *link.also):
                    if name in found and link.old in given:
                        found[name] = np.where(given[link.old], found[name], table[name].default)
        for name, value in found.items():
            found[name] = np.concatenate([[table[name].default], value[1:]])
        if not found:
            name = next(iter(table))
            found[name] = np.full(rows, table[name].default)
        return found

    def _joints(self, posed: Posed, side: int) -> _Motion:
        """Where joints are and how they moved since rest, in neutral space; rest comes first."""
        at = [posed.index[pair[side]] for pair in self.pairs]
        matrix = self.axes[side]
        places, turns = posed.places[:, at], posed.turns[:, at]
        since = _product(turns, turns[:1] * _INVERSE)
        if matrix is not None:
            places = places @ matrix.T
            since = np.concatenate([since[..., :3] @ matrix.T, since[..., 3:]], axis=-1)
        return _Motion(places, since, posed, at, matrix)

    # ---- what they say -----------------------------------------------------------------------

    def _departures(self, probes: Sequence[Probe], errors: _Errors) -> list[Departure]:
        """Of each control (and of each pose and clip) the worst pose of each joint.

        Amounts are those of the pose that is told, so that posing it shows them.
        """
        score = self._scored(probes, errors)
        told: list[tuple[float, str, int, int]] = []
        for (by, name), rows in _grouped(probes).items():
            best = score[rows].argmax(axis=0)
            for joint, k in enumerate(best):
                worst = round(float(score[rows[k], joint]), 9)
                if worst > 0.0:
                    told.append((worst, "" if by else name, rows[k], joint))
        told.sort(key=lambda one: (-one[0], one[1], self.pairs[one[3]][1]))
        fewer, again = self._cut(probes, [(row, joint) for _, _, row, joint in told], errors)
        rows = [*dict.fromkeys([row for _, _, row, _ in told])]
        poses = [*[probes[row] for row in rows], *fewer.values()]
        now = self._now(poses, carry=False)
        set_whole = dict(zip(rows, now[: len(rows)], strict=True))
        set_cut = dict(zip(fewer, now[len(rows) :], strict=True))
        found: list[tuple[float, Departure]] = []
        for worst, control, row, joint in told:
            shown, at, probe, there, share = errors, row, probes[row], set_whole[row], worst
            if row in fewer and (left := self._share(again[row], 0, joint)) >= KEPT_SHARE * worst:
                # The pose is cut for one joint: another takes it whole, if it needs the rest.
                shown, at, probe, there, share = again[row], 0, fewer[row], set_cut[row], left
            was, name = self.pairs[joint]
            moved, turned = float(shown.moved[at, joint]), float(shown.turned[at, joint])
            at_rest = float(errors.place[0, joint])
            far = moved / self.far
            made = Departure(name, was, control, moved, turned, far, probe, there, at_rest)
            found.append((share, made))
        found.sort(key=lambda one: (-round(one[0], 9), one[1].control, one[1].joint))
        return [one for _, one in found]

    def _scored(self, probes: Sequence[Probe], errors: _Errors) -> Array:
        """How far elsewhere joints go, in heights and half turns; 0 for what is not to be told."""
        score = errors.moved / self.far + errors.turned / np.pi
        alone = np.zeros(len(self.pairs))
        still = (errors.moved <= LEAST_MOVED * self.far) & (errors.turned <= LEAST_TURNED)
        score[still] = 0.0
        together = np.array([len(one.settings) > 1 and one.by in _STIRRED for one in probes])
        single = np.array([one.by in ("channel", "control", "dial") for one in probes]) & ~together
        if single.any():
            alone = score[single].max(axis=0)
        base = alone
        for row in np.flatnonzero(together).tolist():
            dial = probes[row].by == "dial"
            score[row, score[row] < MORE * (np.maximum(base, alone) if dial else alone)] = 0.0
            base = base if dial else score[row].copy()
        return score

    def _cut(
        self, probes: Sequence[Probe], told: Sequence[tuple[int, int]], errors: _Errors
    ) -> tuple[dict[int, Probe], dict[int, _Errors]]:
        """Poses of many controls at once cut to what matters, by row, and what those show."""
        first: dict[int, int] = {}
        for row, joint in told:
            if len(probes[row].settings) > 3 and probes[row].by in (*_STIRRED, "clip"):
                first.setdefault(row, joint)
        fewer: dict[int, Probe] = {}
        again: dict[int, _Errors] = {}
        for row, joint in list(first.items())[:CUT]:
            made = self._without_idle(probes[row], joint, self._share(errors, row, joint))
            if made is not None:
                fewer[row], again[row] = made
        return fewer, again

    def _without_idle(self, probe: Probe, joint: int, whole: float) -> tuple[Probe, _Errors] | None:
        """A pose without the settings that a joint's difference does not need; None if it needs
        them together."""
        without = [
            replace(probe, settings=probe.settings[:k] + probe.settings[k + 1 :])
            for k in range(len(probe.settings))
        ]
        (left,) = self._of(without)
        lost = [abs(1.0 - self._share(left, k, joint) / whole) for k in range(len(without))]
        if probe.by == "dial":
            lost[0] = np.inf  # What is told of is the dial.
        ranked = sorted(range(len(lost)), key=lambda k: (-round(lost[k], 9), k))
        cut = [
            replace(probe, settings=tuple([probe.settings[k] for k in sorted(ranked[:most])]))
            for most in range(1, min(MOST_KEPT, len(ranked) - 1) + 1)
        ]
        (again,) = self._of(cut)
        shows = [self._share(again, k, joint) / whole for k in range(len(cut))]
        off = [abs(1.0 - share) for share in shows]
        best = next((k for k, one in enumerate(off) if one <= WELL_SHOWN), int(np.argmin(off)))
        return (cut[best], again.row(best)) if shows[best] >= KEPT_SHARE else None

    def _share(self, errors: _Errors, row: int, joint: int) -> float:
        """How far elsewhere a joint goes in a pose: in heights, and in half turns."""
        return float(errors.moved[row, joint] / self.far + errors.turned[row, joint] / np.pi)

    def _now(self, probes: Sequence[Probe], *, carry: bool) -> list[tuple[tuple[str, float], ...]]:
        """The new rig's channels of each probe, without those at their defaults."""
        if not probes:
            return []
        found = self._there(*self._values_of(probes), carry=carry)
        defaults = {name: self.new.channels[name].default for name in found}
        return [
            tuple(
                [
                    (name, float(value[row]))
                    for name, value in found.items()
                    if value[row] != defaults[name]
                ]
            )
            for row in range(1, len(probes) + 1)
        ]

    def _picture(
        self,
        probes: Sequence[Probe],
        errors: _Errors,
        tolerance: float,
        clips: Sequence[Clip],
    ) -> Picture:
        if not self.pairs:
            return Picture(tolerance, 0.0, 0.0, 0.0, "", probes[0], (), len(probes))
        row, joint = np.unravel_index(int(errors.place.argmax()), errors.place.shape)
        by_clip = []
        for clip in clips:
            rows = [k for k, one in enumerate(probes) if one.by == "clip" and one.name == clip.name]
            if rows:
                worst = rows[int(errors.place[rows].max(axis=1).argmax())]
                frame = probes[worst].frame
                share = float(errors.place[worst].max() / self.far)
                by_clip.append((clip.name, share, 0.0 if frame is None else frame))
        probe = probes[int(row)]
        moved = float(errors.place[row, joint])
        return Picture(
            tolerance,
            moved / self.far,
            moved,
            float(errors.turned[row, joint]),
            self.pairs[int(joint)][1],
            probe,
            self._now([probe], carry=True)[0],
            len(probes),
            tuple([link.old for link in self.map.channels if link.new is None]),
            tuple(by_clip),
        )


def _grouped(probes: Sequence[Probe]) -> dict[tuple[str, str], list[int]]:
    """Probes by what is told of them: the control or dial that moves, or the pose or clip."""
    found: dict[tuple[str, str], list[int]] = {}
    for row, probe in enumerate(probes):
        if probe.by in ("channel", "control", "dial"):
            found.setdefault(("", probe.name), []).append(row)
        elif probe.by != "rest":
            found.setdefault((probe.by, probe.name), []).append(row)
    return found


@dataclass(slots=True)
class _Errors:
    """Differences (poses, joints): of places; of motions since rest; of turns since rest.

    Lengths are metres, angles radians.
    """

    place: Array
    moved: Array
    turned: Array

    def row(self, at: int) -> _Errors:
        """Those of one pose."""
        return _Errors(*[one[at : at + 1] for one in (self.place, self.moved, self.turned)])


@dataclass(slots=True)
class _Motion:
    """Joints of one rig: places (poses, joints, 3), turns since rest (poses, joints, 4)."""

    places: Array
    since: Array
    posed: Posed
    at: list[int]
    matrix: Array | None

    def carried(self, points: Array, joints: list[int]) -> Array:
        """Points (joints, 3) of the rest pose as these joints carry them: (poses, joints, 3)."""
        linears = self.posed.linears[:, [self.at[k] for k in joints]]
        motion = linears @ linears[:1].transpose(0, 1, 3, 2)
        if self.matrix is not None:
            motion = self.matrix @ motion @ self.matrix.T
        places = self.places[:, joints]
        offset: Array = points - places[0]
        return np.asarray((motion @ offset[None, :, :, None])[..., 0] + places)


def _errors(first: _Motion, second: _Motion) -> _Errors:
    """What is other between two rigs' joints.

    Motion is that of the old joint's place: where the new joint stands elsewhere at rest, it
    carries that place along, so that being placed elsewhere is not taken for moving otherwise.
    """
    place = distances(first.places, second.places)
    moved = place.copy()
    elsewhere: list[int] = np.flatnonzero(place[0] > 0.0).tolist()
    if elsewhere:
        there = second.carried(first.places[0, elsewhere], elsewhere)
        moved[:, elsewhere] = distances(first.places[:, elsewhere], there)
    return _Errors(place[1:], moved[1:], angles(first.since, second.since)[1:])


def _of_clip(clip: Clip, evaluator: Evaluator) -> Iterator[Probe]:
    """A clip's frames as poses of the old rig."""
    frames = clip.frames
    if len(frames) > MOST_FRAMES:
        frames = frames[np.linspace(0, len(frames) - 1, MOST_FRAMES).astype(int)]
    values = {
        name: value for name, value in clip.sampled(frames).items() if name in evaluator.channels
    }
    for row, frame in enumerate(frames):
        settings = tuple([(name, float(value[row])) for name, value in values.items()])
        yield Probe("clip", clip.name, settings, float(frame))


_INVERSE = np.array([-1.0, -1.0, -1.0, 1.0])


def _product(a: Array, b: Array) -> Array:
    """Products of quaternions (..., 4)."""
    ax, ay, az, aw = (a[..., k] for k in range(4))
    bx, by, bz, bw = (b[..., k] for k in range(4))
    return np.stack(
        [
            aw * bx + ax * bw + ay * bz - az * by,
            aw * by - ax * bz + ay * bw + az * bx,
            aw * bz + ax * by - ay * bx + az * bw,
            aw * bw - ax * bx - ay * by - az * bz,
        ],
        axis=-1,
    )


def _to_neutral(rig: Rig) -> Array | None:
    """The matrix from a rig's space to the neutral one; None where they are one."""
    if (rig.up, rig.front) == ("+Y", "+Z"):
        return None
    return np.array(Axes(rig.up, rig.front).rows, dtype=np.float64).T
