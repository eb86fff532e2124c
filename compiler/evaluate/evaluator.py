"""The rig as a function: channels in, transforms out, for one pose or for many.

In comes a settled rig; plans are laid out once and kept. A plan holds what an animator may move
and turn; where a pose also resizes, or moves what usually rests, another plan is laid for that.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from somite.evaluate.algebra import Array
from somite.evaluate.channels import (
    Alive,
    Channel,
    Note,
    PoseError,
    alive_in,
    always_alive,
    channels_of,
    checked,
    refuse_infinite,
    unknown,
    value_in_rig_units,
)
from somite.evaluate.layout import Layout, layout
from somite.evaluate.posed import Posed
from somite.evaluate.state import State, new_state
from somite.settle import Settled
from somite.units import metres_per

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

CHUNK = 1000
"""Poses that are evaluated together: enough to pay for a step, few enough to stay near, and no
power of two, whose rows would fall on the same lines of a cache."""
PLANS = 16
"""Plans that are kept."""


class Evaluator:
    """A settled rig that can be posed.

    >>> import somite
    >>> made = somite.compile_text('''
    ... recipe lantern
    ...   axes up +Y front +Z
    ... sheet
    ...   point hook, flame
    ... control pole at hook  ring 20 cm  carries all
    ... joint light at flame  under pole
    ... ''', '''
    ... character = "lumen"
    ... unit = "cm"
    ... up = "+Y"
    ... front = "+Z"
    ... [points]
    ... hook = [0, 120, 0]
    ... flame = [0, 90, 0]
    ... ''')
    >>> posed = Evaluator(made.settled).pose({"pole.move.x": [0.0, 0.5]})
    >>> posed.place("light").round(3).tolist()
    [[0.0, 0.9, 0.0], [0.5, 0.9, 0.0]]
    """

    def __init__(self, settled: Settled) -> None:
        self.settled = settled
        self.channels: dict[str, Channel] = channels_of(settled.rig)
        self._always = always_alive(settled.rig, self.channels)
        self._even = frozenset(node.name for node in settled.rig.nodes if node.size_even)
        base = layout(settled, self.channels, self._always)
        self._slots = base.slots
        self._plans: OrderedDict[Alive, Layout] = OrderedDict({self._always: base})
        self.names = tuple(sorted(self._slots, key=lambda name: self._slots[name]))
        self.index = {name: k for k, name in enumerate(self.names)}

    def pose(self, channels: Mapping[str, ArrayLike] | None = None) -> Posed:
        """The rig with these channels, all others at rest.

        `channels` gives metres, radians, or numbers (a choice is an index) by dotted name, each
        one value or one a pose. Values beyond limits are brought back to them, and locked and
        driven channels do not count: see `Posed.notes`. Raises PoseError, with findings, for
        unknown names, values that are not finite and numbers of poses that differ.
        """
        given, poses = checked(channels or {}, self.channels)
        notes: list[Note] = []
        given = self._free(given, poses, notes)
        plan = self._plan(self._always | alive_in(given, self.channels))
        kept = len(self.names) + 1 if poses > CHUNK else None
        state = new_state(plan.sizes, poses, kept)
        self._fill(state, plan, given, notes)
        with np.errstate(all="ignore"):
            if kept is None:
                plan.run(state)
            else:
                _run_in_parts(plan, state)
        return Posed(self.settled, self.names, self.index, tuple(notes), state, plan, self.channels)

    def named_pose(self, name: str) -> dict[str, float]:
        """The channels of a pose that the recipe names. Raises PoseError for an unknown name."""
        for pose in self.settled.rig.poses:
            if pose.name == name:
                return {setting.channel: setting.value for setting in pose.settings}
        known = [pose.name for pose in self.settled.rig.poses]
        raise PoseError([unknown("a pose of the recipe", name, known)])

    def from_recipe_units(self, channels: Mapping[str, Any]) -> dict[str, Any]:
        """Channels as a recipe writes them: in its unit, degrees and words of choices.

        Raises PoseError for unknown names and words.
        """
        metres = metres_per(self.settled.rig.unit)
        wrong = [
            unknown("a channel or a dial of the rig", name, self.channels)
            for name in channels
            if name not in self.channels
        ]
        if wrong:
            raise PoseError(wrong)
        return {
            name: value_in_rig_units(self.channels[name], value, metres)
            for name, value in channels.items()
        }

    def _plan(self, alive: Alive) -> Layout:
        found = self._plans.get(alive)
        if found is None:
            found = layout(self.settled, self.channels, alive, self._slots)
            self._plans[alive] = found
            if len(self._plans) > PLANS:
                oldest = next(key for key in self._plans if key != self._always)
                del self._plans[oldest]
        else:
            self._plans.move_to_end(alive)
        return found

    def _free(self, given: Mapping[str, Array], poses: int, notes: list[Note]) -> dict[str, Array]:
        """What is given without locked and driven channels, and an even size's one number."""
        found: dict[str, Array] = {}
        tied: dict[str, str] = {}
        for name, value in given.items():
            channel = self.channels[name]
            if channel.locked or channel.driven:
                asked = _count(value != channel.default, poses)
                if asked:
                    notes.append(Note(name, "locked" if channel.locked else "driven", asked))
                continue
            if channel.part == "size" and channel.node in self._even:
                first = tied.setdefault(channel.node, name)
                if first != name:
                    other = _count(value != given[first], poses)
                    if other:
                        notes.append(Note(name, "tied", other))
                    continue
            if channel.part != "size" or (value != 1.0).any():
                found[name] = value
        return found

    def _fill(
        self, state: State, plan: Layout, given: Mapping[str, Array], notes: list[Note]
    ) -> None:
        """Channels and dials put into a state, within their bounds."""
        held = {"move": state.moves, "turn": state.turns, "size": state.sizes}
        rows = {"move": plan.moves, "turn": plan.turns, "size": plan.scaled}
        state.dials[...] = plan.bounds["dial"].default
        for name, value in given.items():
            channel = self.channels[name]
            part = channel.part
            if part == "dial":
                state.dials[plan.dials[name]] = value
            else:
                even = part == "size" and channel.node in self._even
                axis = slice(None) if even else channel.axis
                held[part][rows[part][channel.node], axis] = value
        within = [
            plan.bounds[part].within(array) for part, array in {**held, "dial": state.dials}.items()
        ]
        if not all(within):
            refuse_infinite(given)
            notes.extend(self._limited(given, state.poses))
        for name, row in plan.chosen:
            if name in given:
                np.rint(state.dials[row], out=state.dials[row])

    def _limited(self, given: Mapping[str, Array], poses: int) -> Iterator[Note]:
        """Notes for what was brought back to a limit."""
        for name, value in given.items():
            channel = self.channels[name]
            beyond = _count((value < channel.low) | (value > channel.high), poses)
            if beyond:
                yield Note(name, "limited", beyond)


def _run_in_parts(plan: Layout, state: State) -> None:
    """Run a plan over many poses, a chunk at a time in arrays that stay."""
    work = new_state(plan.sizes, CHUNK)
    kept = len(state.world)
    for start in range(0, state.poses, CHUNK):
        stop = min(state.poses, start + CHUNK)
        part = state.window(start, stop, work)
        plan.run(part)
        state.world[..., start:stop] = part.world[:kept]


def _count(wrong: Any, poses: int) -> int:
    """In how many poses; one value stands for all of them."""
    if np.ndim(wrong) == 0:
        return poses if wrong else 0
    return int(np.count_nonzero(wrong))


def rig_function(settled: Settled) -> Evaluator:
    """The rig as a function: an `Evaluator`."""
    return Evaluator(settled)
