"""What is needed before the first step: counts, facts of the scene, dials, and corrections.

In comes a settled rig and what is known of its sources; out goes the list of materials and the
conventions that all steps keep to.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from somite.ir import Apply, Dial, Feed, Follow, Live, Map, Node, Rig
from somite.target import Context
from somite.targets.steps.building import dial_kind
from somite.targets.steps.lookup import Lookup
from somite.targets.steps.records import Fact, Materials, Names, Saying, Table, Value

KINDS = (
    *("group", "joint", "chain", "curve", "grip", "control", "dial", "follow", "face", "ride"),
    *("reach", "twist", "feed", "gauge", "list", "pose", "check"),
)
"""The kinds that are counted, in the order of the list."""

DIGITS = 12
"""How much of a digest is shown: enough to tell two versions apart."""


def materials(lookup: Lookup, context: Context) -> Materials:
    """Everything that a person checks before the first step."""
    counts = counted(lookup.rig)
    return Materials(
        facts=tuple(_facts(lookup, context)),
        needs=tuple(Saying(f"need.{need}") for need in _needs(lookup, counts)),
        counts=tuple((kind, counts[kind]) for kind in KINDS if counts[kind]),
        dials=_dials(lookup),
        nudges=_nudges(lookup),
    )


def counted(rig: Rig) -> Counter[str]:
    """How many things of each kind a rig has."""
    counts = Counter[str](node.kind for node in rig.nodes)
    counts.update(type(constraint).__name__.lower() for constraint in rig.constraints)
    counts["dial"] = _length(node.dials for node in rig.nodes)
    for kind, things in (
        ("chain", rig.chains),
        ("curve", rig.curves),
        ("feed", rig.feeds),
        ("gauge", rig.gauges),
        ("list", rig.lists),
        ("pose", rig.poses),
        ("check", rig.checks),
    ):
        counts[kind] = len(things)
    return counts


def _length(groups: Iterator[tuple[object, ...]]) -> int:
    return len([thing for group in groups for thing in group])


def _facts(lookup: Lookup, context: Context) -> Iterator[Fact]:
    rig, figures = lookup.rig, lookup.figures
    yield Fact("material.recipe", rig.recipe)
    yield Fact("material.revision", str(rig.revision))
    yield Fact("material.character", rig.character)
    yield Fact("material.unit", Saying(f"unit.{rig.unit}"))
    yield Fact("material.up", rig.up)
    yield Fact("material.front", rig.front)
    yield Fact("material.left", figures.left_axis)
    yield Fact("material.height", figures.length(rig.height))
    if context.recipe_digest or context.sheet_digest:
        digests: dict[str, Value] = {
            "recipe": context.recipe_digest[:DIGITS] or "–",
            "sheet": context.sheet_digest[:DIGITS] or "–",
        }
        yield Fact("material.digests", Saying("material.sources", digests))
    if context.compiler_version:
        version = Saying("material.compiler-value", {"version": context.compiler_version})
        yield Fact("material.compiler", version)


def _needs(lookup: Lookup, counts: Counter[str]) -> Iterator[str]:
    """What an application must be able to do, each by the key of its phrase."""
    rig = lookup.rig
    yield "place"
    yield "rest"
    yield "order"
    needed = {
        "curve": counts["curve"],
        "share": any(share.share != 1.0 for curve in rig.curves for share in curve.shares),
        "follow": counts["follow"],
        "several": any(
            isinstance(constraint, Follow) and len(constraint.leaders) > 1
            for constraint in rig.constraints
        ),
        "face": counts["face"],
        "ride": counts["ride"],
        "reach": counts["reach"],
        "twist": counts["twist"],
        "dial": counts["dial"],
        "feed": counts["feed"],
        "map": any(_has_map(feed) for feed in rig.feeds),
    }
    yield from (need for need, is_needed in needed.items() if is_needed)


def _has_map(feed: Feed) -> bool:
    waiting: list[Live] = [feed.value]
    while waiting:
        found = waiting.pop()
        if isinstance(found, Map):
            return True
        if isinstance(found, Apply):
            waiting.extend(found.operands)
    return False


def _dials(lookup: Lookup) -> Table:
    """The dials; one that is the same on both sides of the rig in one row."""
    rows: dict[tuple[object, ...], list[tuple[Node, Dial]]] = {}
    for node in lookup.rig.nodes:
        pair = tuple(sorted((node.name, node.mirror.twin))) if node.mirror else (node.name,)
        for dial in node.dials:
            takes = (dial.name, dial.unit, dial.default, dial.low, dial.high, dial.options)
            rows.setdefault((pair, *takes), []).append((node, dial))
    told: list[tuple[Value, ...]] = []
    for alike in rows.values():
        node, dial = alike[0]
        names = Names(tuple(lookup.name(one.name) for one, _ in alike))
        starts = lookup.setting(f"{node.name}.{dial.name}", dial.default)
        told.append((dial.name, names, dial_kind(lookup, node, dial), starts))
    columns = ("column.dial", "column.control", "column.takes", "column.starts")
    return Table(columns, tuple(told), (False, False, False, True))


def _nudges(lookup: Lookup) -> Table:
    rows = tuple(
        (lookup.name(nudge.node), lookup.figures.place(nudge.by), nudge.because)
        for nudge in lookup.rig.nudges
    )
    return Table(("column.node", "column.by", "column.because"), rows, (False, True, False))


def conventions(lookup: Lookup) -> tuple[Saying, ...]:
    """How the steps are to be read."""
    rig, figures = lookup.rig, lookup.figures
    step = "0." + "0" * (figures.places - 1) + "1"
    return (
        Saying("convention.world"),
        Saying("convention.rounding", {"unit": rig.unit, "step": step}),
        Saying("convention.turns"),
        Saying("convention.axes", {"up": rig.up, "front": rig.front, "left": figures.left_axis}),
        Saying("convention.mount"),
        Saying("convention.names"),
        Saying("convention.still"),
    )
