"""What of a node anything else of its rig looks at: parts of its world, and its channels.

In comes a rig, out go the parts of each node by name (its move where its place counts, its turn
where that counts), and the channels that feeds and gauges read. A control at which nothing looks
may be anywhere. Nothing here knows another rig.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from typing import Any

from somite.ir import Face, Follow, Measure, Reach, Read, Rig

PLACES = frozenset({(Reach, "goal"), (Reach, "pole"), (Face, "mark")})
"""Fields that name a node of which the place alone counts."""

OWN = frozenset({(Follow, "node"), (Face, "node"), (Follow, "name"), (Face, "name")})
"""Fields that name what is led, not what leads."""

_WHOLE = frozenset({"move", "turn"})


def seen(rig: Rig) -> dict[str, frozenset[str]]:
    """The parts (`move`, `turn`) of each node that another node, constraint or measure looks at."""
    found: dict[str, frozenset[str]] = {}

    def look(node: str, parts: frozenset[str]) -> None:
        found[node] = found.get(node, frozenset()) | parts

    for node in rig.nodes:
        if node.parent is not None:
            look(node.parent, _WHOLE)
    for curve in rig.curves:
        if curve.parent is not None:
            look(curve.parent, _WHOLE)
    for constraint in rig.constraints:
        for name, parts in _named(constraint):
            look(name, parts)
    expressions = [*[feed.value for feed in rig.feeds], *[gauge.value for gauge in rig.gauges]]
    for expression in expressions:
        for live in _live(expression):
            for name in live.of if isinstance(live, Measure) else ():
                look(name, _WHOLE)
    return found


def read(rig: Rig) -> frozenset[str]:
    """The channels and dials that feeds read, by their full names."""
    every = (live for feed in rig.feeds for live in _live(feed.value))
    return frozenset([live.channel for live in every if isinstance(live, Read)])


def _named(record: Any) -> Iterator[tuple[str, frozenset[str]]]:
    """Names in a constraint, with what counts of what they name."""
    for field in fields(record):
        value, at = getattr(record, field.name), (type(record), field.name)
        if field.name in ("origin", "excuses") or at in OWN:
            continue
        parts = frozenset({"move"}) if at in PLACES else _WHOLE
        if isinstance(value, str):
            yield value, parts
        for one in value if isinstance(value, tuple) else (value,):
            if is_dataclass(one) and not isinstance(one, type):
                yield from _named(one)


def _live(value: Any) -> Iterator[Any]:
    """A live expression and all that it is made of."""
    if is_dataclass(value):
        yield value
        for field in fields(value):
            yield from _live(getattr(value, field.name))
    elif isinstance(value, tuple):
        for one in value:
            yield from _live(one)
