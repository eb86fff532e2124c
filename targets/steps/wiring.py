"""The phases that make things move each other: constraints with their feeds and gauges, and twist.

In comes a settled rig with everything of it in the scene; out go the steps that tie it together,
in the order in which the rig is evaluated, each with a motion to try. The numbers of the rest are
not said again, since no constraint may change them.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from somite.ir import (
    WORLD,
    Amount,
    Dial,
    Face,
    Feed,
    Follow,
    Gauge,
    Leader,
    Node,
    Reach,
    Ride,
    Twist,
    TwistEnd,
)
from somite.spatial.vector import distance
from somite.targets.steps import live
from somite.targets.steps.figures import percent, rounded
from somite.targets.steps.lookup import Lookup, option
from somite.targets.steps.records import Fact, Name, Names, Saying, Step, Table, Value
from somite.units import PI

PARTS = ("move", "turn", "size")


def constraints(lookup: Lookup) -> Iterator[tuple[str, Step]]:
    """Follows, faces, rides, reaches, gauges and feeds in the order of the plan, by part."""
    waiting: dict[str, Follow | Face | Ride | Reach | Feed | Gauge] = {}
    for constraint in lookup.rig.constraints:
        if not isinstance(constraint, Twist):
            waiting[constraint.name] = constraint
    waiting.update((gauge.name, gauge) for gauge in lookup.rig.gauges)
    waiting.update((feed.name, feed) for feed in lookup.rig.feeds)
    for name in (*lookup.settled.plan.steps, *list(waiting)):
        record = waiting.pop(name, None)
        if record is not None:
            yield lookup.parts.key(record.name, record.origin), _tied(lookup, record)


def _tied(lookup: Lookup, record: Follow | Face | Ride | Reach | Feed | Gauge) -> Step:
    if isinstance(record, Follow):
        return _followed(lookup, record)
    if isinstance(record, Face):
        return _faced(lookup, record)
    if isinstance(record, Ride):
        return _ridden(lookup, record)
    if isinstance(record, Reach):
        return _reached(lookup, record)
    return _fed(lookup, record) if isinstance(record, Feed) else _gauged(lookup, record)


def _leader(lookup: Lookup, leader: Leader) -> Value:
    return _space(lookup, leader.node)


def _space(lookup: Lookup, node: str | None) -> Value:
    return Saying("space.world") if node in (None, WORLD) else lookup.name(node or "")


def _taken(follow: Follow) -> Value:
    told: list[Value] = [Saying(f"part.{part}") for part in PARTS if part in follow.takes]
    return Names(tuple(told))


def _followed(lookup: Lookup, follow: Follow) -> Step:
    node = lookup.nodes[follow.node]
    leaders = Names(tuple(_leader(lookup, leader) for leader in follow.leaders))
    key = "do.land-on" if follow.landing else "do.follow"
    action: dict[str, Value] = {
        "node": lookup.name(follow.node),
        "leaders": leaders,
        "parts": _taken(follow),
    }
    about: tuple[Saying, ...] = ()
    if follow.about is not None:
        about = (Saying("note.about-axis", {"axis": follow.about}),)
    several = len(follow.leaders) > 1
    return Step(
        Saying(key, action),
        table=_leaders_table(lookup, follow) if several or follow.dial else None,
        notes=(*_leader_notes(lookup, follow), *about),
        sees=tuple(_follow_seen(lookup, follow, node)),
        origin=follow.origin,
    )


def _leader_notes(lookup: Lookup, follow: Follow) -> Iterator[Saying]:
    if follow.dial is not None:
        dial = lookup.dials.get(follow.dial)
        chooses = dial is not None and bool(dial.options)
        key = "note.leader-by-choice" if chooses else "note.leader-by-number"
        yield Saying(key, {"dial": lookup.channel(follow.dial)})
    elif len(follow.leaders) > 1:
        yield Saying("note.leaders-weighted")
    if len(follow.leaders) > 1 and not follow.landing:
        yield Saying("note.offset-each")


def _leaders_table(lookup: Lookup, follow: Follow) -> Table:
    rows: tuple[tuple[Value, ...], ...]
    if follow.dial is None:
        total = live.total([leader.weight for leader in follow.leaders]) or 1.0
        rows = tuple(
            (_leader(lookup, leader), percent(leader.weight / total)) for leader in follow.leaders
        )
        return Table(("column.leader", "column.weight"), rows, (False, True))
    dial = lookup.dials.get(follow.dial)
    rows = tuple(
        (_dial_stop(lookup, follow.dial, dial, index, len(follow.leaders)), _leader(lookup, leader))
        for index, leader in enumerate(follow.leaders)
    )
    return Table(("column.dial-at", "column.leader"), rows)


def _dial_stop(lookup: Lookup, channel: str, dial: Dial | None, index: int, count: int) -> Value:
    """The value of a dial at which a leader has all of the say."""
    if dial is not None and dial.options:
        return option(dial, float(index))
    low = dial.low if dial is not None and dial.low is not None else 0.0
    high = dial.high if dial is not None and dial.high is not None else 1.0
    share = index / (count - 1) if count > 1 else 0.0
    return lookup.setting(channel, low + (high - low) * share)


def _follow_seen(lookup: Lookup, follow: Follow, node: Node) -> Iterator[Saying]:
    name = lookup.name(node.name)
    if follow.landing and "move" in follow.takes and follow.leaders[0].node in lookup.nodes:
        there = lookup.nodes[follow.leaders[0].node or ""].rest.place
        yield Saying("see.landed", {"node": name, "place": lookup.figures.place(there)})
    elif not follow.landing:
        place = lookup.figures.place(node.rest.place)
        yield Saying("see.follow-still", {"node": name, "place": place})
        if follow.dial is not None:
            yield Saying("see.dial-still", {"node": name, "dial": lookup.channel(follow.dial)})
    leader = lookup.nodes.get(follow.leaders[0].node or "")
    if leader is None or len(follow.leaders) > 1:
        return
    values: dict[str, Value] = {"leader": lookup.name(leader.name), "node": name}
    if leader.kind == "control" and "move" in follow.takes and lookup.is_free(leader, "move"):
        values["length"] = lookup.figures.length(lookup.rig.height / 20.0)
        yield Saying("see.follow-move", values)
    elif leader.kind == "control" and "turn" in follow.takes and lookup.is_free(leader, "turn"):
        yield Saying("see.follow-turn", values)
    else:
        yield Saying("see.follow-any", values)


def _faced(lookup: Lookup, face: Face) -> Step:
    node, mark = lookup.nodes[face.node], lookup.nodes[face.mark]
    name, mark_name = lookup.name(face.node), lookup.name(face.mark)
    away = lookup.figures.length(distance(node.rest.place, mark.rest.place))
    up = {"up": face.up, "up_axis": face.up_axis, "space": _space(lookup, face.up_node)}
    return Step(
        Saying("do.face", {"node": name, "mark": mark_name, "axis": face.axis}),
        facts=(
            Fact("label.axis-to-mark", Saying("fact.face-axis", {"axis": face.axis})),
            Fact("label.up", Saying("fact.face-up", up)),
            Fact("label.offset", Saying("fact.exact" if face.exact else "fact.keep-offset")),
        ),
        sees=(
            Saying("see.face-exact" if face.exact else "see.face-still", {"node": name}),
            Saying("see.face-follows", {"node": name, "mark": mark_name, "away": away}),
        ),
        origin=face.origin,
    )


def _amount(lookup: Lookup, amount: Amount) -> Value:
    if amount.channel is None:
        return percent(amount.value)
    return Saying(
        "amount.by-dial",
        {"dial": lookup.channel(amount.channel), "value": percent(amount.value)},
    )


def _ridden(lookup: Lookup, ride: Ride) -> Step:
    chain = lookup.chains[ride.chain]
    curve = lookup.curves[ride.curve]
    facts = [Fact("label.carrier", _carrier(lookup, ride))]
    facts.append(Fact("label.stretch", _amount(lookup, ride.stretch)))
    facts.append(Fact("label.volume", _amount(lookup, ride.volume)))
    rows = tuple(
        (name, percent(fraction))
        for (name, _), fraction in zip(lookup.stations(chain), chain.fractions, strict=False)
    )
    table = Table(("column.joint", "column.along-curve"), rows, (False, True)) if rows else None
    chain_name, curve_name = lookup.name(chain.name), lookup.name(curve.name)
    return Step(
        Saying("do.ride", {"chain": chain_name, "curve": curve_name}),
        facts=tuple(facts),
        table=table,
        notes=(Saying("note.ride-roll"), Saying("note.ride-stretch")),
        sees=(
            Saying("see.solver-still", {"chain": chain_name}),
            Saying("see.ride-bends", {"chain": chain_name, "curve": curve_name}),
        ),
        origin=ride.origin,
    )


def _carrier(lookup: Lookup, ride: Ride) -> Value:
    if ride.carrier is None:
        return Saying("fact.no-carrier")
    return Saying("fact.carrier", {"carrier": lookup.name(ride.carrier)})


def _reached(lookup: Lookup, reach: Reach) -> Step:
    chain = lookup.chains[reach.chain]
    end, goal = lookup.end_name(chain), lookup.nodes[reach.goal]
    goal_name = lookup.name(reach.goal)
    values: dict[str, Value] = {"chain": lookup.name(chain.name), "goal": goal_name, "end": end}
    return Step(
        Saying("do.reach", values),
        facts=tuple(_reach_facts(lookup, reach)),
        notes=(Saying("note.reach-plane"),) if reach.pole is not None else (),
        sees=(
            Saying("see.solver-still", {"chain": lookup.name(chain.name)}),
            _goal_seen(lookup, reach, distance(goal.rest.place, chain.end)),
            Saying("see.reach-follows", values),
        ),
        origin=reach.origin,
    )


def _goal_seen(lookup: Lookup, reach: Reach, apart: float) -> Saying:
    length = lookup.figures.length(apart)
    values: dict[str, Value] = {
        "goal": lookup.name(reach.goal),
        "end": lookup.end_name(lookup.chains[reach.chain]),
        "length": length,
    }
    on = lookup.figures.bare_length(apart) == "0"
    return Saying("see.goal-on-end" if on else "see.goal-from-end", values)


def _reach_facts(lookup: Lookup, reach: Reach) -> Iterator[Fact]:
    figures = lookup.figures
    stations = lookup.stations(lookup.chains[reach.chain])
    lengths = [
        figures.length(distance(first, second)) for (_, first), (_, second) in pairwise(stations)
    ]
    yield Fact("label.bones", Names(tuple(lengths)))
    if reach.pole is not None:
        yield Fact("label.pole", lookup.name(reach.pole))
        angle = figures.angle(lookup.settled.reaches[reach.name].pole_angle)
        yield Fact("label.pole-angle", Saying("fact.pole-angle", {"angle": angle}))
    if reach.bend is not None:
        values: dict[str, Value] = {
            "way": figures.way(reach.bend),
            "direction": figures.direction(reach.bend),
        }
        yield Fact("label.bend", Saying("fact.bend", values))
    if reach.ease:
        yield Fact("label.ease", Saying("fact.ease", {"share": percent(reach.ease)}))
    yield Fact("label.stretch", _amount(lookup, reach.stretch))


def _gauged(lookup: Lookup, gauge: Gauge) -> Step:
    name = lookup.name(gauge.name)
    value = live.told(lookup, gauge.value, lookup.dimension(gauge.name))
    return Step(
        Saying("do.gauge", {"gauge": name}),
        facts=(Fact("label.formula", Saying("fact.formula", {"target": name, "value": value})),),
        notes=(Saying("note.output"),) if gauge.output else (),
        sees=(Saying("see.gauge", {"gauge": name}),),
        made=(name,),
        origin=gauge.origin,
    )


def _fed(lookup: Lookup, feed: Feed) -> Step:
    dimension = lookup.dimension(feed.target)
    target = lookup.channel(feed.target)
    tabled = live.only_map(feed.value)
    value = live.told(lookup, feed.value, dimension, tabled=tabled)
    table: Table | None = None
    notes: tuple[Saying, ...] = ()
    if tabled is not None:
        wanted = dimension if tabled is feed.value else live.dimension_of(lookup, tabled)
        rows = live.map_rows(lookup, tabled, wanted)
        table = Table(("column.when-it-is", "column.it-gives"), rows, (True, True))
        notes = (Saying("note.map-smooth" if tabled.smooth else "note.map-straight"),)
    return Step(
        Saying("do.feed", {"target": target}),
        facts=(Fact("label.formula", Saying("fact.formula", {"target": target, "value": value})),),
        table=table,
        notes=notes,
        sees=tuple(_feed_seen(lookup, feed)),
        origin=feed.origin,
    )


def _feed_seen(lookup: Lookup, feed: Feed) -> Iterator[Saying]:
    sources = tuple(dict.fromkeys(live.reads(feed.value)))
    known = _defaults(lookup, sources)
    target = lookup.channel(feed.target)
    rest = live.result(feed.value, known)
    if rest is not None:
        value = lookup.setting(feed.target, rest)
        yield Saying("see.feed-rest", {"target": target, "value": value})
    for source in sources:
        tried = _trial_value(lookup, source)
        if source not in known or tried is None:
            continue
        gives = live.result(feed.value, {**known, source: tried})
        if gives is not None and gives != rest:
            yield Saying(
                "see.feed-trial",
                {
                    "source": lookup.channel(source),
                    "at": lookup.setting(source, tried),
                    "target": target,
                    "value": lookup.setting(feed.target, gives),
                },
            )
            return
    if sources:
        told = Names(tuple(lookup.channel(source) for source in sources))
        yield Saying("see.feed-follows", {"sources": told, "target": target})


def _defaults(lookup: Lookup, sources: tuple[str, ...]) -> dict[str, float]:
    """The values at rest of channels and dials; gauges are left out unless they can be worked out.

    A channel that another feed drives is left out too, since its trial value would not hold.
    """
    found: dict[str, float] = {}
    for source in sources:
        if source in lookup.fed:
            continue
        dial = lookup.dials.get(source)
        if dial is not None:
            found[source] = dial.default
        elif source not in lookup.gauges:
            found[source] = 1.0 if ".size." in source else 0.0
    return found


def _trial_value(lookup: Lookup, channel: str) -> float | None:
    """A value of a channel that is worth trying: what a hand would set."""
    dial = lookup.dials.get(channel)
    if dial is not None and (dial.high is not None or dial.options):
        high = float(len(dial.options) - 1) if dial.options else dial.high
        return high if high != dial.default else dial.low
    dimension = lookup.dimension(channel)
    if dimension is None:
        return None
    length, angle = dimension
    if length:
        return lookup.rig.height / 20.0
    return PI / 6.0 if angle else 2.0


def twist(lookup: Lookup) -> Iterator[tuple[str, Step]]:
    """For each twist where its ends are read, and what share of it each joint takes, by part."""
    for constraint in lookup.rig.constraints:
        if isinstance(constraint, Twist):
            part = lookup.parts.key(constraint.name, constraint.origin)
            for step in _twisted(lookup, constraint):
                yield part, step


def _twisted(lookup: Lookup, twist: Twist) -> Iterator[Step]:
    ends = (("start", twist.start), ("end", twist.end))
    for which, end in ends:
        if end is not None:
            yield _twist_read(lookup, twist, which, end)
    yield _twist_spread(lookup, twist)


def twist_name(twist: Twist, which: str) -> Name:
    """The reading of one end of a twist, as a thing of its own."""
    return Name(f"{twist.name}.{which}", f"{twist.chain}.{which}-twist")


def reading(lookup: Lookup, twist: Twist, which: str) -> Name:
    """The reading of one end of a twist, spelled as the rig spells its names."""
    return Name(twist_name(twist, which).identity, lookup.spelled(f"{twist.chain}.{which}.twist"))


def _twist_read(lookup: Lookup, twist: Twist, which: str, end: TwistEnd) -> Step:
    chain = lookup.chains[twist.chain]
    at = chain.joints[-1] if which == "end" else chain.joints[0]
    values: dict[str, Value] = {
        "reading": reading(lookup, twist, which),
        "chain": lookup.name(chain.name),
        "joint": lookup.name(at),
        "node": lookup.name(end.node),
        "axis": chain.axis,
        "relative": _space(lookup, end.relative),
    }
    facts = [Fact("label.formula", Saying(f"fact.twist-{end.mode}", values))]
    notes = [Saying("note.twist-copy", values)]
    notes.append(Saying("note.twist-whole-turns", _path(lookup, end)))
    if end.mode == "from":
        notes = [Saying("note.twist-swing")]
    return Step(
        Saying(f"do.read-twist-{which}", values),
        facts=tuple(facts),
        notes=tuple(notes),
        sees=(Saying("see.twist-read", values),),
        made=(reading(lookup, twist, which),),
        origin=twist.origin,
    )


def _path(lookup: Lookup, end: TwistEnd) -> dict[str, Value]:
    names = end.path or (end.node,)
    return {"path": Names(tuple(lookup.name(name) for name in names))}


def _twist_spread(lookup: Lookup, twist: Twist) -> Step:
    chain = lookup.chains[twist.chain]
    last = lookup.name(chain.joints[-1])
    rows: list[tuple[Value, ...]] = []
    for joint, share in zip(chain.joints, twist.spread, strict=False):
        cells: tuple[Value, ...] = (lookup.name(joint), percent(share))
        rows.append((*cells, percent(1.0 - share)) if twist.start is not None else cells)
    columns = ("column.joint", "column.end-share", "column.start-share")
    count = 3 if twist.start is not None else 2
    halfway = twist.spread[len(twist.spread) // 2] if twist.spread else 0.0
    middle = lookup.name(chain.joints[min(len(twist.spread) // 2, len(chain.joints) - 1)])
    readings = [reading(lookup, twist, "end")]
    if twist.start is not None:
        readings.insert(0, reading(lookup, twist, "start"))
    values: dict[str, Value] = {
        "chain": lookup.name(chain.name),
        "readings": Names(tuple(readings)),
        "axis": chain.axis,
        "node": lookup.name(twist.end.node),
        "last": last,
        "middle": middle,
        "part": rounded(30.0 * halfway, 2) + "°",
        "spread": Saying(f"spread.{twist.stated}"),
    }
    notes = [Saying("note.twist-last")]
    if twist.ignores:
        ignored = Names(tuple(lookup.name(name) for name in twist.ignores))
        notes.append(Saying("note.twist-ignores", {"ignored": ignored}))
    return Step(
        Saying("do.spread-twist", values),
        table=Table(columns[:count], tuple(rows), (False, True, True)[:count]),
        notes=tuple(notes),
        sees=(Saying("see.twist-spread", values),),
        origin=twist.origin,
    )
