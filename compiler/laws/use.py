"""Use: every free channel and dial changes something, and every joint moves with some control.

A channel is tried at rest, then at the extremes of every dial, then in seeded poses, until it has
moved a joint, a curve or a gauge, or has shown or hidden a control.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from somite.evaluate import Channel, Posed
from somite.findings import Code
from somite.laws.law import Breach, Law, Statement
from somite.laws.motion import distances
from somite.laws.trial import Trial, Values

LAW_USE = Code("law-use")

CHANGED = 1e-7
"""In heights of the rig, and in a linear part: less is no change."""
SEEDED = 6
PROBED = {"move": 0.05, "turn": 0.3, "size": 0.2}
"""How far a channel is taken from where it is: in heights, radians, one."""
AT_ONCE = 1_000_000
"""Nodes, all poses counted, that are posed together: more would fill the memory for large rigs."""


def breaches(trial: Trial) -> Iterator[Breach]:
    """Useless channels by control; useless dials; joints that no control moves."""
    found = _Use(trial)
    waiting = list(trial.free)
    for base in _bases(trial):
        if not waiting:
            break
        waiting = found.tried(base, waiting)
    yield from _useless(trial, waiting)
    if found.left():
        found.tried_in_all()
    yield from _left(trial, found.left())


class _Use:
    """What has been seen to change: joints by number, moved by more than the carrier of all."""

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.moving: set[str] = set()
        names = trial.rest.names
        kinds = [trial.nodes[name].kind for name in names]
        told = ("joint",) if "joint" in kinds else ("joint", "group", "grip", "control")
        self.watched = np.array([k for k, kind in enumerate(kinds) if kind in told], dtype=np.int64)
        self.names = [names[k] for k in self.watched]

    def left(self) -> set[str]:
        """Joints that only the carrier of all moves, or nothing; a root where it stands may."""
        trial = self.trial
        if all(node.carries_all for node in trial.controls):
            return set()
        roots = [node.rest.place for node in trial.carriers]
        close = 1e-6 * trial.far
        return {
            joint.name
            for joint in trial.joints
            if joint.name not in self.moving
            and not any(_near(joint.rest.place, place, close) for place in roots)
        }

    def tried(self, base: Sequence[Values], waiting: list[Channel]) -> list[Channel]:
        """Try channels from some poses, those no more that changed something; the others."""
        most = self._most
        waiting, base = list(waiting), list(base)
        while base and waiting:
            count = max(1, most // len(waiting))
            held: list[Channel] = []
            for start in range(0, len(waiting), most):
                held += self._tried(base[:count], waiting[start : start + most])
            waiting, base = held, base[count:]
        return waiting

    def tried_in_all(self) -> None:
        """Try every channel from every pose until no joint is left that none has moved."""
        for bases in _bases(self.trial):
            for base in bases:
                for start in range(0, len(self.trial.free), self._most):
                    self._tried([base], list(self.trial.free[start : start + self._most]))
                    if not self.left():
                        return

    @property
    def _most(self) -> int:
        """Channels, from all poses, that are tried at once; each takes two poses or three."""
        return max(1, AT_ONCE // (3 * max(1, len(self.trial.nodes))))

    def _tried(self, base: Sequence[Values], waiting: list[Channel]) -> list[Channel]:
        """Try channels from some poses, all at once; those that changed nothing."""
        trial = self.trial
        poses = trial.poses()
        rows: list[tuple[int, int]] = []
        of: list[int] = []
        for values in base:
            start = poses.add(values)
            for k, channel in enumerate(waiting):
                for value in _probes(trial, channel, values.get(channel.name, channel.default)):
                    rows.append((start, poses.add({**values, channel.name: value})))
                    of.append(k)
        if not rows:
            return waiting
        posed = poses.posed()
        pairs = np.array(rows)
        nodes = self._nodes_changed(posed, pairs)
        others = self._others_changed(posed, pairs)
        own = np.array([[name == waiting[k].node for name in self.names] for k in of])
        useful = (nodes & ~own).any(axis=1) | others
        carrying = np.array([trial.nodes[waiting[k].node].carries_all for k in of])
        moved = nodes[~carrying].any(axis=0)
        self.moving.update(self.names[k] for k in np.flatnonzero(moved))
        done = {of[k] for k in np.flatnonzero(useful)}
        return [channel for k, channel in enumerate(waiting) if k not in done]

    def _nodes_changed(self, posed: Posed, pairs: np.ndarray) -> np.ndarray:
        places, linears = posed.places[:, self.watched], posed.linears[:, self.watched]
        far = CHANGED * self.trial.far
        changed = distances(places[pairs[:, 0]], places[pairs[:, 1]]) > far
        turned = np.abs(linears[pairs[:, 0]] - linears[pairs[:, 1]]).max(axis=(2, 3)) > CHANGED
        return np.asarray(changed | turned)

    def _others_changed(self, posed: Posed, pairs: np.ndarray) -> np.ndarray:
        changed = np.zeros(len(pairs), dtype=bool)
        far = CHANGED * self.trial.far
        for curve in self.trial.rig.curves:
            points = posed.points(curve.name)
            changed |= distances(points[pairs[:, 0]], points[pairs[:, 1]]).max(axis=1) > far
        for gauge in self.trial.rig.gauges:
            values = posed.gauge(gauge.name)
            changed |= np.abs(values[pairs[:, 0]] - values[pairs[:, 1]]) > CHANGED
        for node in self.trial.controls:
            if node.shown:
                shown = posed.shown(node.name)
                changed |= shown[pairs[:, 0]] != shown[pairs[:, 1]]
        return changed


def _bases(trial: Trial) -> Iterator[list[Values]]:
    """Poses to try from: rest, the extremes of every dial, seeded ones that go further."""
    yield [{}]
    extremes: list[Values] = []
    for name in trial.dials:
        channel = trial.channels[name]
        if not channel.driven:
            extremes.extend({name: value} for value in trial.extremes(channel))
    yield extremes
    yield list(trial.seeded(SEEDED, "use", (0.1, 1.0)))


def _probes(trial: Trial, channel: Channel, present: float) -> list[float]:
    low, high = trial.span(channel)
    if channel.part == "dial":
        return [value for value in (*trial.extremes(channel), channel.default) if value != present]
    step = PROBED[channel.part] * (trial.far if channel.part == "move" else 1.0)
    return [present + step if present + step <= high else max(low, present - step)]


def _useless(trial: Trial, waiting: Sequence[Channel]) -> Iterator[Breach]:
    channels: dict[str, list[Channel]] = {}
    for channel in waiting:
        if channel.part == "dial":
            dial = trial.dials[channel.name]
            control = trial.statements[channel.node]
            yield Breach(
                Statement(channel.name, dial.origin or control.origin, control.excuses),
                f'expected the dial "{channel.name}" to change something in some pose, found that'
                " no joint, curve or gauge heeds it",
                "let a feed or a constraint read it, or take the dial away",
                (control,),
            )
        else:
            channels.setdefault(channel.node, []).append(channel)
    for node, idle in channels.items():
        words = _words([channel.name.removeprefix(f"{node}.") for channel in idle])
        if trial.nodes[node].size_even:
            words = ["size" if word == "size.x" else word for word in words]
        which = ", ".join(words)
        yield Breach(
            trial.statements[node],
            f'expected every free channel of "{node}" to move something, found that'
            f" {which} {'moves' if len(words) == 1 else 'move'} no joint, curve or gauge in any"
            f" pose (seed {trial.seed})",
            f"lock {which}, or tie to the control what it should move",
        )


def _words(names: list[str]) -> list[str]:
    """Channels, three of one part as the part: `turn` for turn.x, turn.y and turn.z."""
    found: list[str] = []
    for part in ("move", "turn", "size"):
        own = [name for name in names if name.startswith(part)]
        found.extend([part] if len(own) == 3 else own)
    return found


def _left(trial: Trial, left: set[str]) -> Iterator[Breach]:
    """What is told of joints that no control moves."""
    for name in trial.upstream(left) if left else ():
        also = len(trial.reached([name]) & left) - 1
        more = f" (nor the {also} below it)" if also else ""
        held = "no control moves it" if not trial.carriers else "only what carries all moves it"
        yield Breach(
            trial.statements[name],
            f'expected "{name}" to move with some control, found that {held}{more}',
            "let it follow its control, or hang it under a joint that does",
            trial.excusers(name),
        )


def _near(a: tuple[float, ...], b: tuple[float, ...], close: float) -> bool:
    return max(abs(p - q) for p, q in zip(a, b, strict=True)) <= close


LAW = Law(
    3,
    "use",
    "every free channel and dial changes something, and every joint moves with some control",
    LAW_USE,
    breaches,
)
