"""Poses as people write them: names, units, degrees and words into the channels of a rig.

What comes in is texts such as `high.turn.y` and `40 deg`, or numbers; what goes out is channels in
metres, radians and plain numbers, or findings about what the rig does not have. Nothing here poses
a rig or knows how a command line is written beyond `CHANNEL=VALUE`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from somite.canonical import number
from somite.evaluate.channels import (
    CHANNEL_VALUE,
    Channel,
    Note,
    PoseError,
    unknown,
)
from somite.expansion.state import UNKNOWN_NAME
from somite.findings import Code, Finding, Severity, nearest
from somite.ir import Rig
from somite.units import (
    ANGLE,
    ANGLE_UNITS,
    LENGTH,
    LENGTH_UNITS,
    NUMBER,
    UNITS,
    Dimension,
    degrees,
    dimension_name,
    metres_per,
    quantity,
)

if TYPE_CHECKING:
    from somite.evaluate import Evaluator

CHANNEL_HELD = Code("channel-held", Severity.NOTE)

_DIMENSIONS: dict[str, Dimension] = {"length": LENGTH, "angle": ANGLE, "number": NUMBER}
_QUANTITY = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\W\d]+|%)?")
_LONGEST = 64
"""Characters of a value; longer ones are mistakes, and slow to read."""


def channels_from(given: Mapping[str, Any], evaluator: Evaluator) -> dict[str, Any]:
    """Channels by name with values of either kind: texts as people write them, numbers inside.

    A number, or an array with one a pose, is in metres, radians or one, and a choice's index; a
    text may bring its unit ("40 deg") or leave it out ("40", in the recipe's unit and degrees), and
    is a choice's word. A name may be spelled as in outputs. Raises PoseError with a finding for
    each name and value that cannot be.
    """
    names = Names(evaluator)
    found: dict[str, Any] = {}
    wrong: list[Finding] = []
    for written, value in given.items():
        name = names.resolved(written)
        if name is None:
            wrong.append(unknown("a channel or a dial of the rig", written, evaluator.channels))
        elif isinstance(value, str):
            try:
                found[name] = typed_value(value, evaluator.channels[name], evaluator.settled.rig)
            except PoseError as error:
                wrong += error.findings
        else:
            found[name] = value
    if wrong:
        raise PoseError(wrong)
    return found


class Names:
    """The channels of a rig by the names that people may write for them."""

    def __init__(self, evaluator: Evaluator) -> None:
        self._channels = evaluator.channels
        self._rig = evaluator.settled.rig
        self._spelled: dict[str, str] | None = None

    def resolved(self, written: str) -> str | None:
        """A channel's own name: `written` itself, or the node may be spelled as in outputs."""
        if written in self._channels:
            return written
        if self._spelled is None:
            spelled = {node.name: node.spelled for node in self._rig.nodes}
            self._spelled = {
                spelled[one.node] + name[len(one.node) :]: name
                for name, one in self._channels.items()
            }
        return self._spelled.get(written)


def settings_from(written: Iterable[str], evaluator: Evaluator) -> dict[str, float]:
    """Channels from `CHANNEL=VALUE` texts, the last of a channel counting. Raises PoseError."""
    given: dict[str, str] = {}
    for one in written:
        name, _, value = one.partition("=")
        given[name.strip()] = value.strip()
    return channels_from(given, evaluator)


def typed_value(text: str, channel: Channel, rig: Rig) -> float:
    """A value as a person writes it, in metres, radians or one; a choice's word as its index.

    Without a unit, lengths are in the recipe's and angles in degrees. Raises PoseError.
    """
    text = text.strip()
    if channel.options:
        return _choice(channel, text)
    wanted = _DIMENSIONS[channel.unit]
    found = _QUANTITY.fullmatch(text) if len(text) <= _LONGEST else None
    if found is None:
        raise _ill(channel, wanted, rig, f'"{text[:_LONGEST]}"')
    digits, unit = found.groups()
    if unit is None:
        unit = {LENGTH: rig.unit, ANGLE: "deg"}.get(wanted)
    elif unit not in UNITS:
        known = {LENGTH: tuple(LENGTH_UNITS), ANGLE: ANGLE_UNITS}.get(wanted, ("%",))
        message = f'expected a unit for "{channel.name}", found "{unit}"'
        help = f"its units are {', '.join(known)}" if len(known) > 1 else f"its unit is {known[0]}"
        raise PoseError([CHANNEL_VALUE.at(None, message, help=help)])
    value, dimension = quantity(digits, unit)
    if dimension != wanted:
        raise _ill(channel, wanted, rig, f'"{text}", which is {dimension_name(dimension)}')
    return value


def _choice(channel: Channel, word: str) -> float:
    if word in channel.options:
        return float(channel.options.index(word))
    close = nearest(word, channel.options)
    help = f'did you mean "{close}"?' if close else f"the choices are {', '.join(channel.options)}"
    message = f'expected one of the choices of "{channel.name}", found "{word}"'
    raise PoseError([CHANNEL_VALUE.at(None, message, help=help)])


def _ill(channel: Channel, wanted: Dimension, rig: Rig, found: str) -> PoseError:
    example = {LENGTH: f"3 {rig.unit}", ANGLE: "40 deg"}.get(wanted, "0.5")
    message = f'expected {dimension_name(wanted)} for "{channel.name}", found {found}'
    return PoseError([CHANNEL_VALUE.at(None, message, help=f"write: {channel.name}={example}")])


def named_pose(name: str, rig: Rig) -> dict[str, float]:
    """The channels of a pose of the recipe. Raises PoseError for an unknown name."""
    for pose in rig.poses:
        if pose.name == name:
            return {setting.channel: setting.value for setting in pose.settings}
    known = [pose.name for pose in rig.poses]
    close = nearest(name, known)
    if close:
        help = f'did you mean "{close}"?'
    else:
        help = f"its poses are {', '.join(known)}" if known else "this recipe names no poses"
    message = f'expected a pose of the recipe, found "{name}"'
    raise PoseError([UNKNOWN_NAME.at(None, message, help=help)])


def told_notes(notes: Iterable[Note], evaluator: Evaluator, poses: int) -> Iterator[Finding]:
    """What a pose asked for and did not get, as findings of severity note."""
    rig = evaluator.settled.rig
    for note in notes:
        channel = evaluator.channels[note.channel]
        if note.why == "limited":
            low, high = (
                written_value(bound, channel, rig) for bound in (channel.low, channel.high)
            )
            message = (
                f'expected "{note.channel}" from {low} to {high}, found it beyond:'
                " it stays at the limit"
            )
        elif note.why == "tied":
            message = f'expected one size for "{channel.node}", found several: the first counts'
        else:
            why = "locked" if note.why == "locked" else "driven by a feed"
            message = (
                f'expected a free channel, found "{note.channel}", which is {why}:'
                " its value does not count"
            )
        if poses > 1:
            message += f" (in {note.poses} of {poses} poses)"
        yield CHANNEL_HELD.at(None, message)


def written_value(value: float, channel: Channel, rig: Rig) -> str:
    """A value in metres, radians or one as a person writes it, with its unit."""
    if channel.options:
        return channel.options[int(value)]
    if channel.unit == "length":
        return f"{number(value / metres_per(rig.unit))} {rig.unit}"
    return f"{number(degrees(value))} deg" if channel.unit == "angle" else number(value)
