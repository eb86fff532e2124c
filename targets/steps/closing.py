"""What finishes a build: limits and lists of each part, and scale and tidy over the whole rig.

In comes a settled rig that is built and tied; out go the steps that make it scale as one and leave
to the animator only what is meant for the animator.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypedDict

from somite.ir import Follow, Limit, NamedList, Node, Pose, Reach, Ride, Shown, Vector
from somite.spatial.vector import along, subtract
from somite.targets.steps.building import named
from somite.targets.steps.lookup import Lookup
from somite.targets.steps.records import Fact, Name, Names, Saying, Step, Table, Value
from somite.text import Origin

TRIAL_ROWS = 12
"""The most places that the trial of scale lists."""


def scale(lookup: Lookup) -> Iterator[Step]:
    """How sizes pass, what takes its size from where, and the whole rig at twice its size."""
    kept = [node for node in lookup.rig.nodes if not node.passes_size]
    if kept:
        yield Step(
            Saying("do.keep-size", {"count": str(len(kept))}),
            **by_part(lookup, [(node.name, node.origin) for node in kept]),
            notes=(Saying("note.inherited-size"),),
            sees=(Saying("see.keep-size"),),
        )
    for node in lookup.rig.nodes:
        if node.stays_in_world:
            yield _stays(lookup, node)
    master = lookup.master
    if master is None:
        return
    yield _traced(lookup, master)
    if lookup.is_free(master, "size"):
        yield _twice(lookup, master)
        yield Step(
            Saying("do.size-back", {"master": lookup.name(master.name)}),
            sees=(_home(lookup, master),),
            origin=master.origin,
        )


class _Listing(TypedDict, total=False):
    facts: tuple[Fact, ...]
    table: Table


def by_part(lookup: Lookup, things: Iterable[tuple[str, Origin]]) -> _Listing:
    """Names of things with their origins: one fact, or a table where they are of several parts."""
    found: dict[str, list[Name]] = {}
    for name, origin in things:
        found.setdefault(lookup.parts.key(name, origin), []).append(lookup.name(name))
    if len(found) == 1:
        (names,) = found.values()
        return {"facts": (Fact("label.names", Names(tuple(names))),)}
    rows: list[tuple[Value, ...]] = []
    for part in (*lookup.parts.ranks, *found):
        if part in found:
            rows.append((lookup.part(part), Names(tuple(found.pop(part)))))
    return {"table": Table(("column.part", "column.names"), tuple(rows))}


def _home(lookup: Lookup, master: Node) -> Saying:
    joint = next((node for node in lookup.rig.nodes if node.kind == "joint"), master)
    values: dict[str, Value] = {
        "node": lookup.name(joint.name),
        "place": lookup.figures.place(joint.rest.place),
    }
    return Saying("see.kept-place", values)


def _stays(lookup: Lookup, node: Node) -> Step:
    name = lookup.name(node.name)
    return Step(
        Saying("do.stay-in-world", {"node": name}),
        sees=(Saying("see.stays", {"node": name}),),
        origin=node.origin,
    )


def _traced(lookup: Lookup, master: Node) -> Step:
    """Where everything at the top of the rig takes its size from."""
    rows: list[tuple[Value, ...]] = []
    for node in lookup.children.get(None, []):
        if node is not master:
            rows.append((lookup.name(node.name), _size_source(lookup, node)))
    for constraint in lookup.rig.constraints:
        if isinstance(constraint, Ride | Reach):
            rows.append((lookup.name(constraint.chain), _solver_size(lookup, constraint)))
    for curve in lookup.rig.curves:
        grips = Names(tuple(dict.fromkeys(lookup.name(share.grip) for share in curve.shares)))
        rows.append((lookup.name(curve.name), Saying("size.grips", {"grips": grips})))
    return Step(
        Saying("do.trace-size", {"master": lookup.name(master.name)}),
        table=Table(("column.name", "column.size-from"), tuple(rows)) if rows else None,
        sees=(Saying("see.traced", {"master": lookup.name(master.name)}),),
        origin=master.origin,
    )


def _size_source(lookup: Lookup, node: Node) -> Value:
    for constraint in lookup.constraints_of.get(node.name, []):
        if isinstance(constraint, Follow) and "size" in constraint.takes:
            leaders = [leader.node for leader in constraint.leaders if leader.node in lookup.nodes]
            if leaders:
                names = Names(tuple(lookup.name(name or "") for name in leaders))
                return Saying("size.follows", {"leaders": names})
    return Saying("size.world" if node.stays_in_world else "size.none")


def _solver_size(lookup: Lookup, constraint: Ride | Reach) -> Value:
    if isinstance(constraint, Ride):
        if constraint.carrier is not None:
            return Saying("size.carrier", {"carrier": lookup.name(constraint.carrier)})
        return Saying("size.parent")
    return Saying("size.parent")


def _twice(lookup: Lookup, master: Node) -> Step:
    """The rig at twice its size: every place goes twice as far from the master's."""
    center = master.rest.place
    rows: list[tuple[Value, ...]] = []
    for name, place in _watched(lookup):
        away = subtract(place, center)
        there = along(center, away, 2.0)
        rows.append((name, *(lookup.figures.bare_length(part) for part in there)))
    columns = ("column.name", "column.x", "column.y", "column.z")
    return Step(
        Saying("do.size-twice", {"master": lookup.name(master.name)}),
        table=Table(columns, tuple(rows), (False, True, True, True)),
        notes=(Saying("note.size-twice"),),
        sees=(Saying("see.size-twice", {"master": lookup.name(master.name)}),),
        origin=master.origin,
    )


def _watched(lookup: Lookup) -> list[tuple[Name, Vector]]:
    """Places that show whether the rig scales: chain ends first, then other joints and controls."""
    left_out = _outside(lookup)
    found: dict[Name, Vector] = {}
    for chain in lookup.rig.chains:
        if chain.joints[-1] not in left_out:
            found[lookup.name(chain.joints[0])] = lookup.nodes[chain.joints[0]].rest.place
            found[lookup.end_name(chain)] = chain.end
    for kind in ("joint", "control"):
        for node in lookup.rig.nodes:
            if node.kind == kind and node.chain is None and node.name not in left_out:
                found.setdefault(lookup.name(node.name), node.rest.place)
    rows = list(found.items())
    return rows[:TRIAL_ROWS]


def _outside(lookup: Lookup) -> set[str]:
    """Nodes that need not go with the master, and all below them."""
    found: set[str] = set()
    waiting = [
        node.name
        for node in lookup.rig.nodes
        if node.stays_in_world or any(excuse.law == "travel" for excuse in node.excuses)
    ]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting.extend(child.name for child in lookup.children.get(name, []))
    return found


def limits(lookup: Lookup) -> Iterator[tuple[str, Step]]:
    """Locks, limits and sizes that go together, by part."""
    for node in lookup.rig.nodes:
        if node.kind == "control":
            part = lookup.parts.key(node.name, node.origin)
            for step in _control_tidied(lookup, node):
                yield part, step


def lists(lookup: Lookup) -> Iterator[tuple[str, Step]]:
    """Lists and poses, by part."""
    parts = lookup.parts
    for group in lookup.rig.lists:
        yield parts.key(group.name, group.origin), _listed(lookup, group)
    for pose in lookup.rig.poses:
        yield parts.key(pose.name, pose.origin), _posed(lookup, pose)


def _listed(lookup: Lookup, group: NamedList) -> Step:
    name = lookup.name(group.name)
    count = str(len(group.members))
    members = Names(tuple(lookup.name(member) for member in group.members))
    return Step(
        Saying("do.make-list", {"list": name, "count": count}),
        facts=(Fact("label.members", members),) if group.members else (),
        sees=(Saying("see.list", {"list": name, "count": count}),),
        made=(name,),
        origin=group.origin,
    )


def _posed(lookup: Lookup, pose: Pose) -> Step:
    name = lookup.name(pose.name)
    settings = tuple(
        (lookup.channel(setting.channel), lookup.setting(setting.channel, setting.value))
        for setting in pose.settings
    )
    return Step(
        Saying("do.keep-pose", {"pose": name}),
        table=Table(("column.channel", "column.value"), settings, (False, True)),
        notes=(Saying("note.pose"),),
        sees=(Saying("see.pose", {"pose": name}),),
        made=(name,),
        origin=pose.origin,
    )


def tidy(lookup: Lookup) -> Iterator[Step]:
    """What is shown, hidden and kept from hands, over the whole rig."""
    yield from _shown(lookup)
    yield from _kept_away(lookup)
    yield from _sockets(lookup)


def _control_tidied(lookup: Lookup, node: Node) -> Iterator[Step]:
    name = lookup.name(node.name)
    if node.size_even:
        yield Step(
            Saying("do.even-size", {"control": name}),
            sees=(Saying("see.even-size", {"control": name}),),
            origin=node.origin,
            after=(node.name,),
        )
    if node.locks:
        locks = Names(tuple(_locked(lookup, lock) for lock in merged_locks(node.locks)))
        yield Step(
            Saying("do.lock", {"control": name, "channels": locks}),
            sees=(Saying("see.lock", {"control": name}),),
            origin=node.origin,
            after=(node.name,),
        )
    if node.limits:
        rows = tuple(_limit_row(lookup, node, limit) for limit in node.limits)
        yield Step(
            Saying("do.limit", {"control": name}),
            table=Table(("column.channel", "column.from", "column.to"), rows, (False, True, True)),
            sees=(Saying("see.limit", {"control": name}),),
            origin=node.origin,
            after=(node.name,),
        )


def merged_locks(locks: tuple[str, ...]) -> list[str]:
    """Locks with three channels of one part written as the part: move.x, move.y, move.z → move."""
    merged = list(locks)
    for part in ("move", "turn", "size"):
        three = [f"{part}.{axis}" for axis in "xyz"]
        if all(channel in merged for channel in three):
            merged[merged.index(three[0])] = part
            merged = [lock for lock in merged if lock not in three]
    return merged


def _locked(lookup: Lookup, lock: str) -> Value:
    known = ("move", "turn", "size")
    if lock in known or lock.partition(".")[0] in known:
        return lookup.own_channel(lock)
    return lock


def _limit_row(lookup: Lookup, node: Node, limit: Limit) -> tuple[Value, ...]:
    channel = f"{node.name}.{limit.channel}"
    dial = channel in lookup.dials
    told = Name(channel, limit.channel) if dial else lookup.own_channel(limit.channel)
    low, high = lookup.setting(channel, limit.low), lookup.setting(channel, limit.high)
    return told, low, high


def _shown(lookup: Lookup) -> Iterator[Step]:
    """What a dial shows: the controls of one condition together."""
    together: dict[tuple[Shown, ...], list[Node]] = {}
    for node in lookup.rig.nodes:
        if node.shown:
            together.setdefault(node.shown, []).append(node)
    for conditions, nodes in together.items():
        told = Names(tuple(_condition(lookup, one) for one in conditions))
        yield Step(
            Saying("do.show-by", {"count": str(len(nodes)), "conditions": told}),
            facts=(named(lookup, nodes),),
            notes=(Saying("note.shown-elsewhere"),),
            sees=(Saying("see.shown-by", {"conditions": told}),),
            origin=nodes[0].origin,
        )


def _condition(lookup: Lookup, one: Shown) -> Saying:
    values: dict[str, Value] = {"dial": lookup.channel(one.dial)}
    if one.options:
        options = tuple(lookup.setting(one.dial, float(option)) for option in one.options)
        key = "shown.is" if len(options) == 1 else "shown.is-one"
        return Saying(key, {**values, "options": Names(options)})
    if one.above is not None:
        values["above"] = lookup.setting(one.dial, one.above)
    if one.below is not None:
        values["below"] = lookup.setting(one.dial, one.below)
    key = "between" if len(values) == 3 else ("above" if "above" in values else "below")
    return Saying(f"shown.{key}", values)


def _sockets(lookup: Lookup) -> Iterator[Step]:
    """What others put things on, to be found by whoever does."""
    sockets = [node for node in lookup.rig.nodes if node.socket]
    if sockets:
        yield Step(
            Saying("do.keep-sockets", {"count": str(len(sockets))}),
            facts=(named(lookup, sockets),),
            sees=(Saying("see.keep-sockets"),),
        )


def _kept_away(lookup: Lookup) -> Iterator[Step]:
    """What the animator neither sees nor touches."""
    rig = lookup.rig
    hidden = [(curve.name, curve.origin) for curve in rig.curves]
    hidden += [(node.name, node.origin) for node in rig.nodes if node.kind == "grip"]
    hidden += [(f"{chain.name}.end", chain.origin) for chain in rig.chains]
    if hidden:
        yield Step(
            Saying("do.hide", {"count": str(len(hidden))}),
            **by_part(lookup, hidden),
            sees=(Saying("see.hide"),),
        )
    groups = [(node.name, node.origin) for node in rig.nodes if node.kind == "group"]
    if groups:
        yield Step(
            Saying("do.lock-groups", {"count": str(len(groups))}),
            **by_part(lookup, groups),
            notes=(Saying("note.driven-groups"),),
            sees=(Saying("see.lock-groups"),),
        )
    if any(node.kind == "joint" for node in lookup.rig.nodes):
        yield Step(Saying("do.guard-joints"), sees=(Saying("see.guard-joints"),))
