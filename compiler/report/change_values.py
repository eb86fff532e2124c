"""Values of changes for reading: in the units of the recipe they are from, rounded.

In come records of the IR and single values, out go words. Nothing here knows what is said of a
change.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from typing import Any

from somite.axes import Axes
from somite.canonical import number
from somite.diff.records import Change
from somite.ir import (
    Apply,
    Constant,
    Dial,
    Expectation,
    Frame,
    Limit,
    Map,
    Measure,
    Read,
    Rig,
    Setting,
    Shape,
    Shown,
    Sweep,
    Vector,
)
from somite.units import degrees, metres_per

PLACES = 3
"""Decimal places of numbers in sentences."""

LENGTHS = frozenset({"place", "end", "points", "width", "offset", "height", "by"})
"""Fields that hold lengths wherever they stand."""

OF_CHANNELS = frozenset({"low", "high", "default", "value", "start", "stop"})
"""Fields whose numbers are values of a channel or dial, which the path leads to."""

MOST_NAMES = 5
"""Names that one sentence lists."""


class Values:
    """The values of two rigs: those of side 0 in the old recipe's unit, of side 1 in the new's."""

    def __init__(self, old: Rig, new: Rig) -> None:
        self.old, self.new = old, new
        self.nodes = (
            {node.name: node for node in old.nodes},
            {node.name: node for node in new.nodes},
        )

    def apart(self, before: Vector, after: Vector) -> float:
        """How far two places are apart (metres), each as its side's recipe counts."""
        old, new = (Axes(rig.up, rig.front) for rig in (self.old, self.new))
        return math.dist(old.to_neutral(before), new.to_neutral(after))

    def before(self, change: Change) -> str | None:
        """The value before, in the old recipe's units; None where there was none."""
        if change.what == "added" or (change.before is None and change.after is None):
            return None
        return self.value(change.before, change, 0)

    def after(self, change: Change) -> str | None:
        """The value after, in the new recipe's units; None where there is none."""
        if change.what == "removed" or (change.before is None and change.after is None):
            return None
        return self.value(change.after, change, 1)

    def both(self, change: Change) -> tuple[str, str]:
        """The values before and after, each in the units of its side's recipe."""
        return self.value(change.before, change, 0), self.value(change.after, change, 1)

    def value(self, value: Any, change: Change, side: int) -> str:
        """A value of a change in the units of a side's recipe."""
        rig = (self.old, self.new)[side]
        field = change.path[-1] if change.path else ""
        if isinstance(value, float) and field in OF_CHANNELS:
            return self._channel_value(value, change, side)
        return self._shown(value, field, rig, side)

    def _channel_value(self, value: float, change: Change, side: int) -> str:
        """A value of a channel or dial that the path leads to."""
        path, name = change.path, (change.old, change.new)[side] or ""
        if path[0] in ("limits", "dials"):
            return self.of_channel(value, f"{name}.{path[1]}", side)
        if path[0] in ("settings", "sweeps"):
            return self.of_channel(value, path[1], side)
        return figure(value)

    def of_channel(self, value: float, channel: str, side: int) -> str:
        """A value of a channel by its full name, a choice as its word."""
        rig = (self.old, self.new)[side]
        head, _, last = channel.rpartition(".")
        node, _, part = head.rpartition(".")
        if part == "move" and node in self.nodes[side]:
            return self.length(value, rig)
        if part == "turn" and node in self.nodes[side]:
            return angle(value)
        owner = self.nodes[side].get(head)
        dial = next((one for one in owner.dials if one.name == last), None) if owner else None
        if dial is None:
            return figure(value)
        return self.of_dial(value, dial, rig)

    def of_dial(self, value: float, dial: Dial, rig: Rig) -> str:
        """A value of a dial."""
        if dial.options:
            return dial.options[int(value)]
        if dial.unit == "length":
            return self.length(value, rig)
        return angle(value) if dial.unit == "angle" else figure(value)

    def length(self, metres: float, rig: Rig) -> str:
        """A length in a rig's unit."""
        return f"{figure(metres / metres_per(rig.unit))} {rig.unit}"

    def place(self, place: Any, rig: Rig) -> str:
        """A place or a vector of lengths in a rig's unit."""
        inner = ", ".join([figure(part / metres_per(rig.unit)) for part in place])
        return f"({inner}) {rig.unit}"

    def _shown(self, value: Any, field: str, rig: Rig, side: int) -> str:
        if value is None:
            return "nothing"
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, int):
            return str(value)
        if isinstance(value, float):
            return self.length(value, rig) if field in LENGTHS else figure(value)
        if isinstance(value, str):
            return value
        if isinstance(value, tuple):
            return self._tuple(value, field, rig, side)
        if isinstance(value, Frame):
            return self.place(value.place, rig)
        if isinstance(value, Shape):
            return f"a {value.kind}, {self.length(value.width, rig)} wide across {value.axis}"
        if isinstance(value, Limit):
            return self.bounds(value.low, value.high, value.channel)
        if isinstance(value, Dial):
            return self._dial(value, rig)
        if isinstance(value, Setting):
            return self.of_channel(value.value, value.channel, side)
        if isinstance(value, Sweep):
            ends = [self.of_channel(one, value.channel, side) for one in (value.start, value.stop)]
            return f"{ends[0]} to {ends[1]}"
        if isinstance(value, Expectation):
            return value.text or f"{value.subject} {value.what}"
        if isinstance(value, Constant | Read | Apply | Map | Measure):
            return live(value)
        if isinstance(value, Shown):
            return self.condition(value, side)
        return self._record(value, rig, side)

    def _tuple(self, value: tuple[Any, ...], field: str, rig: Rig, side: int) -> str:
        if len(value) == 3 and all(isinstance(one, float) for one in value) and field in LENGTHS:
            return self.place(value, rig)
        if all(isinstance(one, str) for one in value):
            return listed(value) or "nothing"
        if all(isinstance(one, int | float) for one in value):
            inner = ", ".join([figure(one) for one in value[:8]])
            return f"({inner}{', …' if len(value) > 8 else ''})"
        if field == "points":
            return f"{len(value)} points"
        return ", ".join([self._shown(one, field, rig, side) for one in value[:MOST_NAMES]]) + (
            f" and {len(value) - MOST_NAMES} more" if len(value) > MOST_NAMES else ""
        )

    def _record(self, value: Any, rig: Rig, side: int) -> str:
        """Any other record: what it says that is not by default, a word each."""
        if not is_dataclass(value):
            return str(value)
        told = []
        for field in fields(value):
            held = getattr(value, field.name)
            plain = field.name in ("name", "origin", "spelled", "kind", "excuses", "text")
            if plain or held is None or held == () or held is False:
                continue
            word = field.name.replace("_", " ")
            told.append(
                word if held is True else f"{word} {self._shown(held, field.name, rig, side)}"
            )
        return ", ".join(told)

    def _dial(self, dial: Dial, rig: Rig) -> str:
        if dial.options:
            return f"{', '.join(dial.options)} = {self.of_dial(dial.default, dial, rig)}"
        text = self.of_dial(dial.default, dial, rig)
        if dial.low is not None and dial.high is not None:
            text += f" in {self.of_dial(dial.low, dial, rig)}..{self.of_dial(dial.high, dial, rig)}"
        return text

    def bounds(self, low: float, high: float, channel: str) -> str:
        """A limit of a channel, in the new recipe's unit whichever side it is from."""
        part = channel.partition(".")[0]
        unit = metres_per(self.new.unit)
        scale = {"move": 1.0 / unit, "turn": degrees(1.0)}.get(part, 1.0)
        word = {"move": f" {self.new.unit}", "turn": " deg"}.get(part, "")
        return f"{figure(low * scale)}..{figure(high * scale)}{word}"

    def condition(self, shown: Shown, side: int) -> str:
        """A condition for a control to be seen, in the units of a side's recipe."""
        if shown.options:
            words = [self.of_channel(float(one), shown.dial, side) for one in shown.options]
            return f"{shown.dial} is {' or '.join(words)}"
        bounds = [
            f"{word} {self.of_channel(value, shown.dial, side)}"
            for word, value in (("above", shown.above), ("below", shown.below))
            if value is not None
        ]
        return f"{shown.dial} is {' and '.join(bounds)}"


def live(value: Any) -> str:
    """A live expression as it is read: in metres and radians, as the IR has it."""
    match value:
        case Constant():
            return figure(value.value)
        case Read():
            return str(value.channel)
        case Measure():
            axis = f" about {value.axis}" if value.axis else ""
            return f"{value.what}({', '.join(value.of)}){axis}"
        case Map():
            pairs = ", ".join([f"{live(a)} to {live(b)}" for a, b in value.pairs])
            return f"{live(value.value)} through {pairs}{' smooth' if value.smooth else ''}"
        case Apply():
            inner = [live(one) for one in value.operands]
            sign = {"add": " + ", "subtract": " - ", "multiply": " * ", "divide": " / "}
            if value.operation in sign:
                return f"({sign[value.operation].join(inner)})"
            if value.operation == "negate":
                return f"-{inner[0]}"
            return f"{value.operation}({', '.join(inner)})"
    return str(value)


def rough(value: float, unit: str) -> str:
    """A measured amount: three figures are all that a reader wants of it."""
    size = abs(value)
    places = 1 if size >= 10.0 else 2 if size >= 1.0 else 3
    return f"{figure(round(value, places))} {unit}"


def rough_length(metres: float, unit: str) -> str:
    """A measured length, in metres, told in a recipe's unit."""
    return rough(metres / metres_per(unit), unit)


def angle(radians: float) -> str:
    """An angle in degrees."""
    return f"{figure(degrees(radians))} deg"


def listed(names: Iterable[str]) -> str:
    """Names, a long list cut with a count."""
    held = list(names)
    text = ", ".join(held[:MOST_NAMES])
    return text if len(held) <= MOST_NAMES else f"{text} and {len(held) - MOST_NAMES} more"


def figure(value: float) -> str:
    """A number for reading: three places, or two digits that mean something where it is small."""
    if value != 0.0 and abs(value) < 10.0**-PLACES:
        return f"{value:.2g}"
    return number(round(value, PLACES))
