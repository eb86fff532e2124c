"""A dial switched over some frames of a clip, so that what is seen does not move.

In come a clip, the rig's function, dials with new values and a span of frames; out comes the clip
with keys on the dials and on the controls that answer for them, with what error is left and what it
is that left it. How a rig is solved is `solve`'s to say, and how keys lie over frames `keys`'.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from somite.canonical import number
from somite.findings import Code, Finding, Severity, has_errors, listed
from somite.ir import Follow, Reach, Ride
from somite.matching.keys import Span, held, key_frames, spliced, within
from somite.matching.measure import Kind, Remaining, look, remaining
from somite.matching.routes import Routes
from somite.matching.solve import Solution, Task, solve, worlds_of
from somite.matching.web import Duty, Touched, Web, readers, touched
from somite.matching.worlds import SAME, free
from somite.order import channel_node

if TYPE_CHECKING:
    from collections.abc import Callable

    from somite.clip import Clip, Track
    from somite.evaluate import Evaluator, Posed
    from somite.evaluate.algebra import Array

MATCH_DIAL = Code("match-dial")
MATCH_FRAMES = Code("match-frames")
MATCH_SAME = Code("match-same", Severity.NOTE)
MATCH_APART = Code("match-apart", Severity.WARNING)

MOST_KEYS = 20_000
"""Keys of a channel in one run."""
APART, TURNED = 1e-6, 1e-5
"""Heights and radians from which a joint that is off at a key is told as a warning."""


@dataclass(frozen=True, slots=True)
class Matched:
    """A clip with a dial switched.

    `changed` are the channels that have new keys, `frames` those where values were solved, `left`
    the errors that remain, and `because` what it is that left them.
    """

    clip: Clip
    changed: tuple[str, ...]
    frames: Array
    left: tuple[Remaining, ...]
    because: tuple[str, ...]


def match(
    clip: Clip,
    evaluator: Evaluator,
    dials: Mapping[str, float],
    span: Span | None = None,
    every: float = 1.0,
) -> tuple[Matched | None, tuple[Finding, ...]]:
    """The clip with dials at new values over a span, and what is seen where it was.

    `dials` has values in metres, radians or one, a choice's index. The findings say what cannot be
    switched, or what error is left.
    """
    span = span or Span()
    findings = (*_dial_findings(evaluator, dials), *_frame_findings(clip, span, every))
    if has_errors(findings):
        return None, findings
    switching = _Switching(clip, evaluator, dials, within(span, clip), every)
    if switching.same():
        names = listed(dials).replace(" or ", " and ")
        said = f"expected {names} at another value in these frames, found nothing to switch"
        return Matched(clip, (), switching.frames, (), ()), (MATCH_SAME.at(None, said),)
    matched = switching.matched()
    return matched, tuple(_apart(matched, evaluator))


# ---- what is refused, and what is told -----------------------------------------------------------


def _dial_findings(evaluator: Evaluator, dials: Mapping[str, float]) -> list[Finding]:
    rig = evaluator.settled.rig
    found = []
    for name, value in dials.items():
        channel = evaluator.channels[name]
        if channel.part != "dial":
            found.append(
                MATCH_DIAL.at(
                    None,
                    f'expected a dial, found "{name}", which is a channel of its control',
                    help="a switch is of a dial, such as hand.space; keys set channels",
                )
            )
        elif channel.driven:
            found.append(
                MATCH_DIAL.at(
                    None,
                    f'expected a dial that an animator sets, found "{name}", driven by a feed',
                    help="switch the dial that the feed reads",
                )
            )
        elif not readers(rig, name):
            found.append(
                MATCH_DIAL.at(
                    None,
                    f'expected a dial that moves something, found "{name}", which moves nothing',
                    help="key it: a switch of it moves nothing",
                )
            )
        elif not channel.low <= value <= channel.high:
            found.append(
                MATCH_DIAL.at(
                    None,
                    f'expected "{name}" within its range, found a value beyond it',
                    help="take a value that the recipe gives the dial",
                )
            )
    return found


def _frame_findings(clip: Clip, span: Span, every: float) -> list[Finding]:
    frames = clip.frames
    if not len(frames):
        return [MATCH_FRAMES.at(None, "expected a clip with keys, found none")]
    first, last = float(frames[0]), float(frames[-1])
    low = first if span.first is None else span.first
    high = last if span.last is None else span.last
    if (high - low) / every > MOST_KEYS:
        said = (
            f"expected at most {MOST_KEYS} keys of a channel, found {number((high - low) / every)}"
        )
        return [MATCH_FRAMES.at(None, said, help="switch fewer frames at once")]
    if first <= low <= high <= last:
        return []
    return [
        MATCH_FRAMES.at(
            None,
            f"expected frames within those of the clip, {number(first)}..{number(last)},"
            f" found {number(low)}..{number(high)}",
            help=f"write: --at {number(first)}..{number(last)}, or leave an end out",
        )
    ]


def _apart(matched: Matched, evaluator: Evaluator) -> list[Finding]:
    """A warning where a joint is seen to move at a key."""
    height = evaluator.settled.rig.height
    bounds = {"place": APART * height, "turn": TURNED, "size": TURNED}
    off = [
        one for one in matched.left if one.kind == "joint" and one.at_keys.amount > bounds[one.what]
    ]
    if not off:
        return []
    worst = off[0].at_keys
    reason = f": {matched.because[0]}" if matched.because else ""
    return [
        MATCH_APART.at(
            None,
            f'expected what is seen to stay, found "{worst.node}" moved at frame'
            f" {number(worst.frame)}{reason}",
            help="the report says how far; free a channel, or switch where the pose allows it",
        )
    ]


# ---- the switch ----------------------------------------------------------------------------------


class _Switching:
    """One switch under way."""

    def __init__(
        self,
        clip: Clip,
        evaluator: Evaluator,
        dials: Mapping[str, float],
        span: Span,
        every: float,
    ) -> None:
        self.clip, self.evaluator, self.dials, self.span = clip, evaluator, dials, span
        self.rig = evaluator.settled.rig
        self.frames = key_frames(clip, span, every)
        self.given = clip.sampled(self.frames)
        for name in dials:
            default = evaluator.channels[name].default
            self.given.setdefault(name, np.full(len(self.frames), default))
        self.before = evaluator.pose(self.given)
        self.web = Web(self.rig)
        self.touched: Touched = touched(self.web, dials)

    def same(self) -> bool:
        """Whether the dials have their new values at every frame already."""
        return all(
            bool((self.before.channel(name) == value).all()) for name, value in self.dials.items()
        )

    def matched(self) -> Matched:
        """Solve, write the keys, and measure."""
        solution = solve(self._task())
        changed = self._changed(solution)
        tracks = {track.channel: track for track in self.clip.tracks}
        for name in changed:
            tracks[name] = self._track(name, solution)
        made = replace(self.clip, tracks=tuple(tracks.values()))
        left = self._left(made, changed)
        reasons = because(solution, len(self.frames))
        alone = changed == tuple(self.dials) and not reasons
        if alone and any(one.kind == "joint" and one.at_keys.amount > APART for one in left):
            reasons = ("no control moves what the dial touches and nothing else",)
        return Matched(made, changed, self.frames, left, reasons)

    def _task(self) -> Task:
        evaluator, touched = self.evaluator, self.touched
        channels = dict(self.given)
        for name, value in self.dials.items():
            channels[name] = np.full(len(self.frames), value)
        after = evaluator.pose(channels)
        duty = Duty(self.web, touched, [channel_node(name) for name in self.dials])
        routes = Routes(evaluator, duty.may_move, leading(after))
        keep = [
            name
            for name in self.web.of_kind("control", touched.nodes)
            if any(free(evaluator, name, part) for part in ("move", "turn", "size"))
        ]
        seeds = []
        for one in self.rig.constraints:
            if isinstance(one, Follow) and one.dial in self.dials and one.node not in keep:
                routes.seed(one)
                seeds.append(one.node)
        seen = tuple(seeds) or self._written() or self.web.of_kind("joint", touched.nodes)
        seen = seen or tuple(keep)
        wanted = worlds_of(self.before, tuple(dict.fromkeys((*keep, *seeds, *seen))))
        return Task(
            evaluator,
            channels,
            wanted,
            keep=tuple(keep),
            seeds=tuple(seeds),
            routes=routes,
            loose=duty.own(),
            seen=seen,
            sooner=lambda node: self.web.sooner([node]),
            fixed=frozenset(self.dials),
        )

    def _written(self) -> tuple[str, ...]:
        """The joints of rides and reaches that read the dials: what a search goes by."""
        chains = {chain.name: chain for chain in self.rig.chains}
        return tuple(
            joint
            for one in self.rig.constraints
            if one.name in self.touched.readers and isinstance(one, Ride | Reach)
            for joint in chains[one.chain].joints
        )

    def _changed(self, solution: Solution) -> tuple[str, ...]:
        """The dials, then the channels that have other values, in the rig's order."""
        found = list(self.dials)
        for name, channel in self.evaluator.channels.items():
            value = solution.channels.get(name)
            if name in self.dials or value is None:
                continue
            old = self.given.get(name, np.full(len(self.frames), channel.default))
            scale = self.rig.height if channel.part == "move" else 1.0
            if np.abs(value - old).max(initial=0.0) > SAME * scale:
                found.append(name)
        return tuple(found)

    def _track(self, name: str, solution: Solution) -> Track:
        default = self.evaluator.channels[name].default
        if name in self.dials:
            return held(self.clip, name, self.dials[name], default, self.span)
        if name in solution.levelled:
            return held(self.clip, name, 0.0, default, self.span)
        return spliced(self.clip, name, self.frames, solution.channels[name], default, self.span)

    def _left(self, made: Clip, changed: tuple[str, ...]) -> tuple[Remaining, ...]:
        """What is left of joints that the dials or the changed controls move, and of controls."""
        moved = self.web.later([channel_node(name) for name in changed if name not in self.dials])
        nodes = (self.touched.nodes | (moved & self.web.kinds.keys())) - self.touched.unseen
        found: list[Remaining] = []
        kinds: tuple[tuple[Kind, frozenset[str]], ...] = (
            ("joint", nodes),
            ("control", self.touched.nodes),
        )
        for kind, of in kinds:
            names = self.web.of_kind(kind, of)
            before, after = (look(one, self.evaluator, names) for one in (self.clip, made))
            found += remaining(before, after, names, kind, self.frames)
        return tuple(found)


def because(solution: Solution, poses: int) -> tuple[str, ...]:
    """What stood in the way of a solution, in words."""
    said = []
    for one in solution.held:
        why = {"locked": "is locked", "driven": "is driven by a feed", "limited": "is limited"}
        said.append(f'"{one.channel}" {why[one.why]} (in {int(one.poses.sum())} of {poses} keys)')
    said += [f'the reach of "{name}" bends it about one axis only' for name in solution.flat]
    said += [f'"{name}" is 0, so that no bone is lengthened' for name in solution.levelled]
    said += solution.because
    if solution.searched:
        said.append("a search brought what has no closed form as near as it came")
    return tuple(said)


def leading(posed: Posed) -> Callable[[Follow], tuple[int, ...]]:
    """Which leaders of a follow count in any of some poses."""
    table = posed.settled.rig

    def of(follow: Follow) -> tuple[int, ...]:
        if follow.dial is None:
            return tuple([k for k, one in enumerate(follow.leaders) if one.weight > 0.0])
        owner = table.node(channel_node(follow.dial))
        dial = next(one for one in owner.dials if f"{owner.name}.{one.name}" == follow.dial)
        value = posed.channel(follow.dial)
        last = len(follow.leaders) - 1
        if dial.options:
            at = np.clip(np.rint(value), 0, last)
        else:
            low = 0.0 if dial.low is None else dial.low
            high = 1.0 if dial.high is None else dial.high
            at = np.clip((value - low) * (last / (high - low) if high > low else 0.0), 0, last)
        return tuple([k for k in range(last + 1) if (np.abs(at - k) < 1.0).any()])

    return of
