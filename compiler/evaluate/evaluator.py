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
from somite.evaluate.back_ends import BackEnd, chosen, run
from somite.evaluate.channels import (
    Alive,
    Channel,
    Note,
    Values,
    always_alive,
    channels_of,
    checked,
    refuse_infinite,
)
from somite.evaluate.layout import Layout, layout
from somite.evaluate.posed import Posed
from somite.settle import Settled

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

PLANS = 16
"""Plans that are kept."""


class Evaluator:
    """A settled rig that can be posed.

    `back_end` says what works poses out: "arrays", "scalar", "compiled" (which needs the extra of
    that name; MissingExtra is raised without it) or, by how many poses there are, one of the first
    two. They give the same within rounding: see the reference on evaluating.

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

    def __init__(self, settled: Settled, back_end: BackEnd = "auto") -> None:
        self.settled, self.back_end = settled, back_end
        chosen(back_end, 1)
        self.channels: dict[str, Channel] = channels_of(settled.rig)
        self._always = always_alive(settled.rig, self.channels)
        self._asleep = {
            name: frozenset([(one.node, one.part)])
            for name, one in self.channels.items()
            if one.part != "dial" and (one.node, one.part) not in self._always
        }
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
        given, found = checked(channels or {}, self.channels)
        poses = 1 if found is None else found
        notes: list[Note] = []
        given = self._free(given, poses, notes)
        woken = [self._asleep[name] for name in given if name in self._asleep]
        plan = self._plan(self._always.union(*woken))
        values = self._values(plan, given, poses, notes)
        results = run(chosen(self.back_end, poses), plan, values)
        names, index, table = self.names, self.index, self.channels
        return Posed(self.settled, names, index, tuple(notes), results, plan, table)

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

    def _free(
        self, given: Mapping[str, Values], poses: int, notes: list[Note]
    ) -> dict[str, Values]:
        """What is given without locked and driven channels, and an even size's one number."""
        found: dict[str, Values] = {}
        tied: dict[str, str] = {}
        for name, value in given.items():
            channel = self.channels[name]
            if channel.locked or channel.driven:
                asked = _count(value != channel.default, poses)
                if asked:
                    notes.append(Note(name, "locked" if channel.locked else "driven", asked))
                continue
            if channel.part == "size":
                if channel.node in self._even:
                    first = tied.setdefault(channel.node, name)
                    if first != name:
                        other = _count(value != given[first], poses)
                        if other:
                            notes.append(Note(name, "tied", other))
                        continue
                if not _count(value != 1.0, poses):
                    continue
            found[name] = value
        return found

    def _values(
        self, plan: Layout, given: Mapping[str, Values], poses: int, notes: list[Note]
    ) -> Array:
        """All channels of a plan (rows, poses), within their bounds."""
        if poses == 1:
            return self._values_of_one(plan, given, notes)
        values = np.empty((plan.sizes.channels, poses))
        resting = np.ones(plan.sizes.channels, dtype=bool)
        resting[[plan.rows[name] for name in given]] = False
        values[resting] = plan.bounds.rest[resting]
        for name, value in given.items():
            channel = self.channels[name]
            if channel.part == "size" and channel.node in self._even:
                first = plan.rows[f"{channel.node}.size.x"]
                values[first : first + 3] = value
            else:
                values[plan.rows[name]] = value
        if not plan.bounds.within(values):
            refuse_infinite(given)
            notes.extend(self._limited(given, poses))
        for name in given:
            if self.channels[name].options:
                row = plan.rows[name]
                np.rint(values[row], out=values[row])
        return values

    def _values_of_one(self, plan: Layout, given: Mapping[str, Values], notes: list[Note]) -> Array:
        """The same of one pose, without an array for each channel."""
        values, beyond = plan.rest.copy(), False
        for name, value in given.items():
            channel = self.channels[name]
            one = value if isinstance(value, float) else float(value[0])
            if not channel.low <= one <= channel.high:
                beyond = True
                one = min(max(one, channel.low), channel.high)
            if channel.options:
                one = float(round(one))
            if channel.part == "size" and channel.node in self._even:
                first = plan.rows[f"{channel.node}.size.x"]
                values[first : first + 3] = [one] * 3
            else:
                values[plan.rows[name]] = one
        if beyond:
            refuse_infinite(given)
            notes.extend(self._limited(given, 1))
        return np.array(values).reshape(-1, 1)

    def _limited(self, given: Mapping[str, Values], poses: int) -> Iterator[Note]:
        """Notes for what was brought back to a limit."""
        for name, value in given.items():
            channel = self.channels[name]
            beyond = _count(_beyond(value, channel), poses)
            if beyond:
                yield Note(name, "limited", beyond)


def _beyond(value: Values, channel: Channel) -> Any:
    """Whether values are beyond the limits of a channel."""
    if isinstance(value, float):
        return value < channel.low or value > channel.high
    return (value < channel.low) | (value > channel.high)


def _count(wrong: Any, poses: int) -> int:
    """In how many poses; one value stands for all of them."""
    if isinstance(wrong, bool):
        return poses if wrong else 0
    return int(np.count_nonzero(np.broadcast_to(wrong, (poses,))))


def rig_function(settled: Settled) -> Evaluator:
    """The rig as a function: an `Evaluator`."""
    return Evaluator(settled)
