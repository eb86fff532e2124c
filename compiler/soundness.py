"""What is wrong with a rig that can be seen without evaluating it.

In comes a rig, out go findings. Each check is one small function with its own code beside it, and
`CHECKS` lists them all; a law excused on a statement silences the check that says the same thing
earlier. Nothing here knows the order of evaluation or any target.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TypeAlias

from somite.axes import components
from somite.findings import Code, Finding, Severity
from somite.ir import (
    Chain,
    Constraint,
    Curve,
    Dial,
    Excuse,
    Face,
    Feed,
    Follow,
    Gauge,
    Limit,
    Node,
    Reach,
    Ride,
    Rig,
    Share,
    Twist,
)
from somite.order import channel_node, written
from somite.spatial.rotation import rotated
from somite.spatial.vector import dot, subtract
from somite.text import Origin, Site

POINT_OWNED_TWICE = Code("point-owned-twice")
POINT_UNOWNED = Code("point-unowned")
POINT_MISSING = Code("point-missing")
SHARES_NOT_ONE = Code("shares-not-one")
CURVE_MOVED_TWICE = Code("curve-moved-twice")
DRIVEN_TWICE = Code("driven-twice")
LEADER_IN_SUBTREE = Code("leader-in-subtree")
NAME_CLASH = Code("name-clash")
LOCKED_AND_FED = Code("locked-and-fed")
FED_TWICE = Code("fed-twice")
FACE_AXES_ALIKE = Code("face-axes-alike")
LIMIT_EXCLUDES_DEFAULT = Code("limit-excludes-default")
LIMIT_ON_LOCKED = Code("limit-on-locked", Severity.WARNING)
TWINS_TOGETHER = Code("twins-together", Severity.WARNING)
CARRIES_TWICE = Code("carries-twice")
SHOWN_BY_ITSELF = Code("shown-by-itself")
POSE_HELD = Code("pose-held")
STAYS_AND_FOLLOWS = Code("stays-and-follows")
CHECK_TWICE = Code("check-twice")

EXCUSED_BY = {
    POINT_OWNED_TWICE.slug: "ownership",
    POINT_UNOWNED.slug: "ownership",
    SHARES_NOT_ONE.slug: "ownership",
    CURVE_MOVED_TWICE.slug: "once",
    LIMIT_EXCLUDES_DEFAULT.slug: "rest",
    CARRIES_TWICE.slug: "travel",
    TWINS_TOGETHER.slug: "mirror",
    TWINS_TOGETHER.slug: "mirror",
}
"""The law whose excuse on a statement silences a check; the checks not named cannot be excused."""

SIDE_TOLERANCE = 1e-9
"""How near two places are one, in heights of the rig."""

MOST_NAMED = 8
"""Grips of one point that a message names."""

SHARE_TOLERANCE = 1e-9
"""How far the shares of a point may be from one: three written thirds are within it."""


def examine(rig: Rig) -> tuple[Finding, ...]:
    """All static findings of a rig, in the order of `CHECKS`; none if it is sound."""
    return tuple(finding for check in CHECKS for finding in check(rig))


def points_owned(rig: Rig) -> Iterator[Finding]:
    """Every control point of a curve is owned once: by one grip, or by shares that sum to one."""
    grips = {node.name: node for node in rig.nodes if node.kind == "grip"}
    for curve in rig.curves:
        owners: list[list[Share]] = [[] for _ in curve.points]
        for share in curve.shares:
            if 0 <= share.point < len(owners):
                owners[share.point].append(share)
            else:
                yield _missing(curve, share)
        unowned = [number for number, shares in enumerate(owners, 1) if not shares]
        if unowned and not (curve.parent is not None and not curve.shares):
            yield from _unless_excused(curve.excuses, _unowned(curve, unowned))
        for number, shares in enumerate(owners, 1):
            excuses = [*curve.excuses]
            for share in shares:
                if share.grip in grips:
                    excuses.extend(grips[share.grip].excuses)
            yield from _unless_excused(excuses, *_ill_shared(curve, number, shares))


def _missing(curve: Curve, share: Share) -> Finding:
    return POINT_MISSING.at(
        _site(share.origin or curve.origin),
        f'expected a point from 1 to {len(curve.points)} of "{curve.name}",'
        f' found that "{share.grip}" owns point {share.point + 1}',
        help=f"own points that the curve has, or give it more: points {share.point + 1}",
        related=_related([(curve.origin, f'"{curve.name}" is declared here')]),
    )


def _unowned(curve: Curve, numbers: Sequence[int]) -> Finding:
    which = ", ".join(str(number) for number in numbers)
    return POINT_UNOWNED.at(
        _site(curve.origin),
        f'expected a grip for each of the {len(curve.points)} points of "{curve.name}",'
        f" found none for {'point' if len(numbers) == 1 else 'points'} {which}",
        help=f"let a grip own it: grip tip owns {numbers[0]}",
        related=_related((share.origin, _owns(share)) for share in curve.shares[:1]),
    )


def _ill_shared(curve: Curve, number: int, shares: Sequence[Share]) -> Iterator[Finding]:
    if not shares:
        return
    shares = sorted(shares, key=lambda share: _line(share.origin))
    whole = [share for share in shares if share.share >= 1.0 - SHARE_TOLERANCE]
    related = _related((share.origin, _owns(share)) for share in shares[:MOST_NAMED])
    total = 0.0
    for share in shares:
        total = total + share.share
    if len(whole) > 1:
        names = " and ".join(f'"{share.grip}"' for share in whole[:MOST_NAMED])
        yield POINT_OWNED_TWICE.at(
            _site(whole[1].origin or curve.origin),
            f'expected one owner for point {number} of "{curve.name}", found {names}',
            help=f"let one grip own it, or share it: grip below owns {number} by 50%",
            related=related,
        )
    elif abs(total - 1.0) > SHARE_TOLERANCE:
        yield SHARES_NOT_ONE.at(
            _site(shares[0].origin or curve.origin),
            f'expected the shares of point {number} of "{curve.name}" to sum to 100%,'
            f" found {total * 100.0:.6g}%",
            help="change the shares of its grips so that they sum to 100%",
            related=related,
        )


def _owns(share: Share) -> str:
    return f'"{share.grip}" owns point {share.point + 1} by {share.share * 100.0:.6g}% here'


def curves_moved_once(rig: Rig) -> Iterator[Finding]:
    """No node moves a curve both as what carries it and through its grips."""
    nodes = {node.name: node for node in rig.nodes}
    led: dict[str, list[Follow]] = {}
    for constraint in rig.constraints:
        if isinstance(constraint, Follow):
            led.setdefault(constraint.node, []).append(constraint)
    for curve in rig.curves:
        if curve.parent is None or not curve.shares:
            continue
        carried = dict(_upstream(curve.parent, nodes, led))
        for grip in dict.fromkeys(share.grip for share in curve.shares):
            shared = next(
                (found for found in _upstream(grip, nodes, led) if found[0] in carried), None
            )
            if shared is not None:
                yield from _unless_excused(curve.excuses, _moved_twice(curve, nodes[grip], *shared))
                break


def _upstream(
    start: str, nodes: dict[str, Node], led: dict[str, list[Follow]]
) -> Iterator[tuple[str, Origin]]:
    """A node and all that carries it, nearest first, each with the statement that ties it."""
    seen = {start}
    waiting: list[tuple[str, Origin]] = [(start, nodes[start].origin)]
    for name, origin in waiting:
        yield name, origin
        above: list[tuple[str | None, Origin]] = [(nodes[name].parent, nodes[name].origin)]
        for follow in led.get(name, ()):
            above.extend((leader.node, follow.origin) for leader in follow.leaders)
        for other, tie in above:
            if other is not None and other in nodes and other not in seen:
                seen.add(other)
                waiting.append((other, tie))


def _moved_twice(curve: Curve, grip: Node, mover: str, tie: Origin) -> Finding:
    return CURVE_MOVED_TWICE.at(
        _site(curve.origin),
        f'expected "{curve.name}" to be moved once, found that "{mover}" moves it both as what'
        f' "{curve.parent}" carries and through the grip "{grip.name}"',
        help="keep the curve out of the hierarchy of its grips' leaders: take its parent away",
        related=_related([(tie, f'"{grip.name}" moves with "{mover}" here')]),
    )


def mounts_driven_once(rig: Rig) -> Iterator[Finding]:
    """No part of a mount is written by two constraints, and no chain twists twice."""
    chains = {chain.name: chain for chain in rig.chains}
    owners: dict[tuple[str, str], int] = {}
    clashes: dict[tuple[int, int], list[tuple[str, str]]] = {}
    for number, constraint in enumerate(rig.constraints):
        for node, parts in written(constraint, chains):
            for part in ("twist",) if isinstance(constraint, Twist) else parts:
                owner = owners.setdefault((node, part), number)
                if owner != number:
                    clashes.setdefault((owner, number), []).append((node, part))
    for pair, parts_of in clashes.items():
        both = [rig.constraints[number] for number in pair]
        first, second = sorted(both, key=lambda constraint: _line(constraint.origin))
        yield _driven_twice(first, second, parts_of)


def _driven_twice(first: Constraint, second: Constraint, both: list[tuple[str, str]]) -> Finding:
    node = both[0][0]
    parts = _and([part for name, part in both if name == node])
    found = f'"{first.name}" and "{second.name}"'
    if first.name == second.name:
        found = f'"{first.name}" twice'
    others = len({name for name, _ in both}) - 1
    more = f" (and {others} more like it)" if others else ""
    return DRIVEN_TWICE.at(
        _site(second.origin),
        f'expected one constraint to drive the {parts} of "{node}"{more}, found {found}',
        help="take one away, name what each takes (follow hand for move), or give one statement"
        " several leaders",
        related=_related([(first.origin, f'"{first.name}" drives "{node}" here')]),
    )


def _and(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def leaders_outside(rig: Rig) -> Iterator[Finding]:
    """Nothing is led by itself or by what it carries."""
    chains = {chain.name: chain for chain in rig.chains}
    nodes = {node.name: node for node in rig.nodes}
    inside = _subtrees(rig.nodes)
    for constraint in rig.constraints:
        driven = _driven_top(constraint, chains)
        for role, leader in _read_by(constraint):
            if leader in nodes and driven in nodes and inside(leader, driven):
                yield _in_subtree(constraint, driven, role, nodes[leader])


def _driven_top(constraint: Constraint, chains: dict[str, Chain]) -> str:
    if isinstance(constraint, Follow | Face):
        return constraint.node
    return chains[constraint.chain].joints[0]


def _read_by(constraint: Constraint) -> Iterator[tuple[str, str]]:
    """What a constraint is led by, each with its part in it."""
    named: list[tuple[str, str | None]]
    match constraint:
        case Follow():
            named = [("leader", leader.node) for leader in constraint.leaders]
        case Face():
            named = [("mark", constraint.mark), ("up node", constraint.up_node)]
        case Ride():
            named = [("carrier", constraint.carrier)]
        case Reach():
            named = [("goal", constraint.goal), ("pole", constraint.pole)]
        case Twist():
            ends = [end for end in (constraint.start, constraint.end) if end is not None]
            named = [("leader", end.node) for end in ends]
            named += [("reference", end.relative) for end in ends]
    for role, name in named:
        if name is not None:
            yield role, name


def _subtrees(nodes: Sequence[Node]) -> Callable[[str, str], bool]:
    """Whether one node is another or stands below it, answered at once for a tree of any depth."""
    children: dict[str | None, list[str]] = {}
    for node in nodes:
        children.setdefault(node.parent, []).append(node.name)
    enter: dict[str, int] = {}
    leave: dict[str, int] = {}
    waiting = [(name, False) for name in reversed(children.get(None, []))]
    clock = 0
    while waiting:
        name, done = waiting.pop()
        if done:
            leave[name] = clock
        elif name not in enter:
            enter[name] = clock
            clock += 1
            waiting.append((name, True))
            waiting.extend((child, False) for child in reversed(children.get(name, [])))

    def inside(name: str, top: str) -> bool:
        if name == top:
            return True
        if name not in enter or top not in enter:
            return False
        return enter[top] <= enter[name] < leave[top]

    return inside


def _in_subtree(constraint: Constraint, driven: str, role: str, leader: Node) -> Finding:
    where = "is itself" if leader.name == driven else f'is carried by "{driven}"'
    return LEADER_IN_SUBTREE.at(
        _site(constraint.origin),
        f'expected the {role} of "{constraint.name}" to move on its own,'
        f' found "{leader.name}", which {where}',
        help=f'lead it by something that "{driven}" does not carry, or move "{leader.name}" out'
        f' from under "{driven}"',
        related=_related([(leader.origin, f'"{leader.name}" is placed here')]),
    )


def faces_have_two_axes(rig: Rig) -> Iterator[Finding]:
    """What faces a mark turns another axis up than the one that points."""
    for face in rig.constraints:
        if isinstance(face, Face) and face.axis[1] == face.up[1]:
            yield FACE_AXES_ALIKE.at(
                _site(face.origin),
                f'expected two axes of "{face.node}", one to point and one for up,'
                f" found {face.axis} and {face.up}",
                help="take another axis for up: face gaze pointing +Z up +Y from head",
            )


def names_distinct(rig: Rig) -> Iterator[Finding]:
    """Nodes, curves and gauges are still told apart when their names are spelled for outputs."""
    seen: dict[str, tuple[str, Origin]] = {}
    records: list[Node | Curve | Gauge] = [*rig.nodes, *rig.curves, *rig.gauges]
    for record in records:
        other = seen.setdefault(record.spelled, (record.name, record.origin))
        if other[1] is not record.origin or other[0] != record.name:
            yield NAME_CLASH.at(
                _site(record.origin),
                f'expected names that differ in outputs, found "{other[0]}" and "{record.name}",'
                f' both spelled "{record.spelled}"',
                help="rename one of them, or choose another spelling in the recipe's header",
                related=_related([(other[1], f'"{other[0]}" is declared here')]),
            )


def carried_once(rig: Rig) -> Iterator[Finding]:
    """At most one control carries and scales the whole rig."""
    carriers = [node for node in rig.nodes if node.carries_all]
    for extra in carriers[1:]:
        yield from _unless_excused(
            extra.excuses,
            CARRIES_TWICE.at(
                _site(extra.origin),
                f'expected one control that carries all, found "{carriers[0].name}" and '
                f'"{extra.name}"',
                help="the master carries all; hang the other under it",
                related=_related([(carriers[0].origin, f'"{carriers[0].name}" carries all here')]),
            ),
        )


def shown_from_outside(rig: Rig) -> Iterator[Finding]:
    """No control is shown by a dial that hides with it, of its own or of one that it shows."""
    fed = {feed.target for feed in rig.feeds}
    by: dict[str, list[str]] = {
        node.name: [channel_node(one.dial) for one in node.shown if one.dial not in fed]
        for node in rig.nodes
        if node.shown
    }
    known = {node.name: node for node in rig.nodes}
    told: set[str] = set()
    for name in by:
        loop = _shown_loop(name, by)
        if not loop or told & set(loop):
            continue
        told.update(loop)
        node = known[name]
        others = [other for other in loop if other != name]
        shown = "its own dial"
        if others:
            shown = f'a dial of "{others[0]}", which it shows in turn'
            if others[1:]:
                shown += f" through {_listed_names(others[1:])}"
        yield SHOWN_BY_ITSELF.at(
            _site(node.origin),
            f'expected "{name}" to be shown by a dial that stays in sight, found that it is shown'
            f" by {shown}",
            help="once hidden it could not be shown again: put the dial on another control, which"
            " is always shown",
            related=_related((known[other].origin, f'"{other}" stands here') for other in others),
        )


def _shown_loop(start: str, by: Mapping[str, Sequence[str]]) -> list[str]:
    """The controls through which one is shown by itself, or none: the first way that is found."""
    waiting: list[tuple[str, list[str]]] = [(start, [start])]
    seen: set[str] = set()
    while waiting:
        name, way = waiting.pop()
        for other in by.get(name, ()):
            if other == start:
                return way
            if other not in seen:
                seen.add(other)
                waiting.append((other, [*way, other]))
    return []


def _listed_names(names: Sequence[str]) -> str:
    return " and ".join(f'"{name}"' for name in names[:MOST_NAMED])


def fed_channels_free(rig: Rig) -> Iterator[Finding]:
    """A channel that a feed drives is not locked, and has one feed."""
    locked = {f"{node.name}.{lock}": node for node in rig.nodes for lock in node.locks}
    first: dict[str, Feed] = {}
    for feed in rig.feeds:
        if feed.target in locked:
            node = locked[feed.target]
            yield LOCKED_AND_FED.at(
                _site(feed.origin),
                f'expected a free channel to feed, found "{feed.target}", which is locked',
                help="take the lock away, or feed another channel",
                related=_related([(node.origin, f'"{node.name}" is locked here')]),
            )
        other = first.setdefault(feed.target, feed)
        if other is not feed:
            yield FED_TWICE.at(
                _site(feed.origin),
                f'expected one feed for "{feed.target}", found two',
                help="make one feed of the two: add or blend their expressions",
                related=_related([(other.origin, f'"{feed.target}" is fed here first')]),
            )


def limits_fit(rig: Rig) -> Iterator[Finding]:
    """Limits and dial ranges include the default, and stand on channels that can change."""
    for node in rig.nodes:
        for limit in node.limits:
            default = 1.0 if limit.channel.startswith("size") else 0.0
            if not limit.low <= default <= limit.high:
                yield from _unless_excused(
                    node.excuses, _excludes(node.name, node.origin, limit, default)
                )
            if limit.channel in node.locks:
                yield LIMIT_ON_LOCKED.at(
                    _site(node.origin),
                    f'expected a free channel to limit, found "{node.name}.{limit.channel}",'
                    " which is locked",
                    help="take the lock or the limit away",
                )
        for dial in node.dials:
            if not _within(dial):
                yield from _unless_excused(node.excuses, _out_of_range(node, dial))


def poses_held(rig: Rig) -> Iterator[Finding]:
    """A pose of the recipe sets what an animator could set, to what that can be."""
    bounds: dict[str, tuple[float, float]] = {}
    held: dict[str, str] = {f"{n.name}.{lock}": "is locked" for n in rig.nodes for lock in n.locks}
    held.update({feed.target: "a feed drives" for feed in rig.feeds})
    for node in rig.nodes:
        for limit in node.limits:
            bounds[f"{node.name}.{limit.channel}"] = (limit.low, limit.high)
        for dial in node.dials:
            if not dial.options:
                low = -math.inf if dial.low is None else dial.low
                high = math.inf if dial.high is None else dial.high
                bounds[f"{node.name}.{dial.name}"] = (low, high)
    for pose in rig.poses:
        for one in pose.settings:
            low, high = bounds.get(one.channel, (-math.inf, math.inf))
            problem = held.get(one.channel)
            if problem is None and not low <= one.value <= high:
                problem = "goes beyond its limits there"
            if problem is not None:
                found = f'"{one.channel}", which {problem}'
                yield POSE_HELD.at(
                    _site(one.origin or pose.origin),
                    f'expected pose "{pose.name}" to set what can be set so, found {found}',
                    help="set another channel or another value, or widen the limits",
                    related=_related([(known[1], known[0])])
                    if (known := _holder(rig, one.channel)) is not None
                    else (),
                )


def _holder(rig: Rig, channel: str) -> tuple[str, Origin] | None:
    name = channel_node(channel)
    node = next((node for node in rig.nodes if node.name == name), None)
    return None if node is None else (f'"{name}" is declared here', node.origin)


def stays_alone(rig: Rig) -> Iterator[Finding]:
    """What stays in the world follows nothing of the rig."""
    staying = {node.name: node for node in rig.nodes if node.stays_in_world}
    for one in rig.constraints:
        if not isinstance(one, Follow) or one.node not in staying:
            continue
        led = next((leader.node for leader in one.leaders if leader.node is not None), None)
        if led is not None:
            yield STAYS_AND_FOLLOWS.at(
                _site(one.origin),
                f'expected "{one.node}", which stays in the world, to follow nothing of the rig,'
                f' found "{led}"',
                help="leave one of the two out; to choose between them, follow world and the other"
                " by a dial",
                related=_related([(staying[one.node].origin, "it is declared here")]),
            )


def checks_distinct(rig: Rig) -> Iterator[Finding]:
    """Two checks are told apart by their texts; one line that is repeated is one check."""
    first: dict[str, Origin] = {}
    for check in rig.checks:
        there = first.setdefault(check.name, check.origin)
        if there and check.origin and there[0] != check.origin[0]:
            yield CHECK_TWICE.at(
                _site(check.origin),
                f'expected checks of different names, found two called "{check.name}"',
                help="say in one of them what it is about that the other is not",
                related=_related([(there, "the other one is here")]),
            )


def twins_apart(rig: Rig) -> Iterator[Finding]:
    """A thing built on both sides does not stand on one of them twice."""
    nodes = {node.name: node for node in rig.nodes}
    close = SIDE_TOLERANCE * rig.height
    told: set[Site | None] = set()
    for node in rig.nodes:
        twin = nodes.get(node.mirror.twin) if node.mirror is not None else None
        if twin is None or node.one_sided or _aside(rig, node, twin) <= close:
            continue
        apart = [abs(a - b) for a, b in zip(node.rest.place, twin.rest.place, strict=True)]
        if max(apart) > close or _site(node.origin) in told:
            continue
        told.add(_site(node.origin))
        yield from _unless_excused(
            node.excuses,
            TWINS_TOGETHER.at(
                _site(node.origin),
                f'expected "{node.name}" and "{twin.name}" each on its own side, found both at one'
                " place",
                help="a landmark of one side stays there in a mirror block: ask the sheet for a"
                " pair, or for a row of pairs (pair hip in 2..40)",
                related=[(site, "placed by this use") for site in node.origin[1:]],
            ),
        )


def _aside(rig: Rig, node: Node, twin: Node) -> float:
    """How far a node stands from the plane that it and its twin mirror in."""
    home = rig.home(node.name, twin.name)
    if home is None:
        return abs(node.rest.place["XYZ".index(rig.mirror_axis[1])])
    x, y, z = components(home.mirror_axis)
    normal = rotated(home.ground.turn, (float(x), float(y), float(z)))
    return abs(dot(subtract(node.rest.place, home.ground.place), normal))


def _within(dial: Dial) -> bool:
    if dial.options:
        return 0 <= dial.default < len(dial.options)
    low = dial.low is None or dial.low <= dial.default
    return low and (dial.high is None or dial.default <= dial.high)


def _excludes(node: str, origin: Origin, limit: Limit, default: float) -> Finding:
    return LIMIT_EXCLUDES_DEFAULT.at(
        _site(origin),
        f'expected the limits of "{node}.{limit.channel}" to include its default {default:g},'
        f" found {'only more' if limit.low > default else 'only less'}",
        help=f"widen the limits so that {default:g} is among them",
    )


def _out_of_range(node: Node, dial: Dial) -> Finding:
    return LIMIT_EXCLUDES_DEFAULT.at(
        _site(dial.origin or node.origin),
        f'expected the range of dial "{node.name}.{dial.name}" to include its default,'
        f" found it {'below' if dial.low is not None and dial.default < dial.low else 'above'}",
        help="widen the range, or choose a default in it",
    )


def _unless_excused(excuses: Sequence[Excuse], *findings: Finding) -> Iterator[Finding]:
    laws = {excuse.law for excuse in excuses}
    for finding in findings:
        if EXCUSED_BY.get(finding.code) not in laws:
            yield finding


def _site(origin: Origin) -> Site | None:
    return origin[0] if origin else None


def _line(origin: Origin) -> int:
    """Where something was written, so that of two the later one is blamed."""
    return origin[0].line if origin else 0


def _related(
    places: Sequence[tuple[Origin, str]] | Iterator[tuple[Origin, str]],
) -> list[tuple[Site, str]]:
    return [(origin[0], label) for origin, label in places if origin]


Check: TypeAlias = Callable[[Rig], Iterator[Finding]]

CHECKS: tuple[Check, ...] = (
    names_distinct,
    carried_once,
    points_owned,
    curves_moved_once,
    mounts_driven_once,
    leaders_outside,
    faces_have_two_axes,
    shown_from_outside,
    stays_alone,
    fed_channels_free,
    limits_fit,
    poses_held,
    checks_distinct,
    twins_apart,
)
"""Every static check, in the order in which they are run."""
