"""The channels and dials of a rig, by name: what may be set, within what, and what is at rest.

In comes a rig, out goes a table that a pose is checked against and laid out by. What a pose gives
beyond a limit is brought back to it, what it gives to a locked or driven channel does not count;
both are told as notes. Unknown names and values that are not finite are refused with findings.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from somite.evaluate.algebra import Array
from somite.expansion.nodes import UNKNOWN_CHANNEL
from somite.findings import Code, Finding, nearest
from somite.ir import CHANNELS, Dial, Node, Rig, Unit

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

CHANNEL_VALUE = Code("channel-value")

Part: TypeAlias = Literal["move", "turn", "size", "dial"]
Alive: TypeAlias = frozenset[tuple[str, str]]
"""Parts of nodes, (node, move | turn | size), that may be other than at rest."""

SMALLEST, LARGEST = 1e-4, 1e4
"""Bounds of every size."""
FAR = 1e9
"""Bounds of every move and dial, in metres or one: beyond them squares lose all precision."""
TURNED = 1e6
"""Bounds of every turn, in radians."""

_UNITS: dict[str, tuple[Part, Unit]] = {
    "move": ("move", "length"),
    "turn": ("turn", "angle"),
    "size": ("size", "number"),
}


@dataclass(frozen=True, slots=True)
class Note:
    """What a pose asked for and did not get: of which channel, why, and in how many poses.

    limited: brought back to a limit; locked, driven: not counted; tied: an even size has one
    number, and others were given.
    """

    channel: str
    why: Literal["limited", "locked", "driven", "tied"]
    poses: int


class PoseError(ValueError):
    """A pose that cannot be taken; `findings` say what is wrong with it."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        super().__init__("; ".join(finding.message for finding in findings))
        self.findings = tuple(findings)


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel or dial: `axis` is 0 for a dial; `options` are a choice's words."""

    name: str
    node: str
    part: Part
    axis: int
    unit: Unit
    default: float
    low: float
    high: float
    locked: bool = False
    driven: bool = False
    options: tuple[str, ...] = ()


def channels_of(rig: Rig) -> dict[str, Channel]:
    """Every channel of every node, and every dial, by its dotted name."""
    driven = frozenset(feed.target for feed in rig.feeds)
    return {
        channel.name: channel for node in rig.nodes for channel in _channels_of_node(node, driven)
    }


def _channels_of_node(node: Node, driven: frozenset[str]) -> Iterator[Channel]:
    limits = {limit.channel: limit for limit in node.limits}
    for short in CHANNELS:
        part, axis = short.split(".")
        low, high = _bounds(part)
        if short in limits:
            low, high = max(low, limits[short].low), min(high, limits[short].high)
        name = f"{node.name}.{short}"
        kind, unit = _UNITS[part]
        yield Channel(
            name,
            node.name,
            kind,
            "xyz".index(axis),
            unit,
            1.0 if part == "size" else 0.0,
            low,
            max(low, high),
            short in node.locks,
            name in driven,
        )
    for dial in node.dials:
        yield _dial(node, dial, driven)


def _bounds(part: str) -> tuple[float, float]:
    if part == "size":
        return SMALLEST, LARGEST
    return (-TURNED, TURNED) if part == "turn" else (-FAR, FAR)


def _dial(node: Node, dial: Dial, driven: frozenset[str]) -> Channel:
    name = f"{node.name}.{dial.name}"
    if dial.options:
        low, high = 0.0, float(len(dial.options) - 1)
    else:
        low = -FAR if dial.low is None else dial.low
        high = FAR if dial.high is None else dial.high
    unit = dial.unit
    default = dial.default
    return Channel(
        name, node.name, "dial", 0, unit, default, low, high, False, name in driven, dial.options
    )


def always_alive(rig: Rig, table: Mapping[str, Channel]) -> Alive:
    """What an animator may move or turn, and what feeds drive; sizes only where they are driven."""
    found: set[tuple[str, str]] = set()
    for channel in table.values():
        if channel.part != "dial" and channel.driven:
            found.add((channel.node, channel.part))
    for node in rig.nodes:
        if node.kind == "control":
            for part in ("move", "turn"):
                if not all(f"{part}.{axis}" in node.locks for axis in "xyz"):
                    found.add((node.name, part))
    return frozenset(found)


Values: TypeAlias = "float | Array"
"""A channel's values: one for all poses, or one a pose."""


def checked(
    given: Mapping[str, ArrayLike], table: Mapping[str, Channel]
) -> tuple[dict[str, Values], int | None]:
    """Values by channel, and how many poses there are; None where no channel has one a pose.

    Raises PoseError for unknown names, what is no number, and lengths that differ.
    """
    found: dict[str, Values] = {}
    wrong: list[Finding] = []
    poses: int | None = None
    for name, value in given.items():
        if name not in table:
            wrong.append(unknown("a channel or a dial of the rig", name, table))
            continue
        if type(value) is float and isfinite(value):
            found[name] = value
            continue
        try:
            array = np.asarray(value, dtype=np.float64)
        except (TypeError, ValueError):
            wrong.append(_ill(name, "expected a number", repr(value)))
            continue
        if array.ndim > 1 or array.size == 0:
            wrong.append(_ill(name, "expected one number a pose", f"an array of {array.shape}"))
        elif array.ndim == 0 and not np.isfinite(array):
            wrong.append(_ill(name, "expected a finite number", str(array)))
        elif array.ndim == 1 and poses is not None and len(array) != poses:
            wrong.append(_ill(name, f"expected {poses} poses as before", f"{len(array)}"))
        elif array.ndim == 0:
            found[name] = float(array)
        else:
            poses = len(array)
            found[name] = array
    if wrong:
        raise PoseError(wrong)
    return found, poses


def refuse_infinite(given: Mapping[str, Values]) -> None:
    """Raise PoseError if any value is not finite."""
    wrong = [name for name, value in given.items() if not np.isfinite(value).all()]
    if wrong:
        raise PoseError(
            [_ill(name, "expected finite numbers", "one that is not") for name in wrong]
        )


def unknown(expected: str, name: str, known: Iterable[str]) -> Finding:
    """The finding for a name that the rig does not have."""
    near = nearest(name, known)
    help_line = f'did you mean "{near}"?' if near else "write the node and the channel: high.turn.y"
    return UNKNOWN_CHANNEL.at(None, f'expected {expected}, found "{name}"', help=help_line)


def _ill(name: str, expected: str, found: str) -> Finding:
    return CHANNEL_VALUE.at(None, f'{expected} for "{name}", found {found}')
