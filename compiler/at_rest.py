"""A settled rig evaluated once, at rest, step by step in the order of its plan.

In comes a settled rig, out come its nodes' frames as an evaluator would find them with every
channel at its default. It is the plainest form of the meaning of each constraint, in floats, and
the yardstick for the fact that settling leaves nothing to move. It knows no channel values, so no
size and no feeds.
"""

from __future__ import annotations

from collections.abc import Sequence

from somite.ir import (
    Chain,
    Constraint,
    Curve,
    Dial,
    Face,
    Feed,
    Follow,
    Frame,
    Node,
    Quaternion,
    Reach,
    Ride,
    Twist,
    Vector,
)
from somite.order import channel_node
from somite.settle import (
    AXES,
    ReachRest,
    Settled,
    TwistEndRest,
    aimed,
    bone_turn,
    carried_turns,
    facing_turn,
    spline,
)
from somite.spatial import curve as splines
from somite.spatial.reach import reach as two_bones
from somite.spatial.rotation import (
    IDENTITY,
    blended,
    conjugate,
    product,
    quaternion_from_axis_angle,
    rotated,
    shortest_arc,
    swing_twist,
    twist_angle,
)
from somite.spatial.transform import composed, inverse, point_through
from somite.spatial.vector import ZERO, add, along, cross, rejected, subtract, unit

Placed = tuple[Vector, Quaternion]

FULL_REACH = 1.0 - 1e-12
"""A goal beyond this share of full reach is at full reach: the height of so flat a triangle is
rounding alone."""


def world_at_rest(settled: Settled) -> dict[str, Frame]:
    """The world frame of every node, recomputed from local rests and offsets in plan order."""
    pose = _Pose(settled)
    for step in settled.plan.steps:
        pose.take(step)
    return {
        node.name: Frame(pose.places[node.name], pose.turns[node.name])
        for node in settled.rig.nodes
    }


def leader_weights(follow: Follow, dial: Dial | None, value: float) -> list[float]:
    """The weight of each leader: stated, chosen, or blended in order over the dial's range."""
    count = len(follow.leaders)
    if dial is None:
        return [leader.weight for leader in follow.leaders]
    if dial.options:
        return [1.0 if k == int(value) else 0.0 for k in range(count)]
    low = 0.0 if dial.low is None else dial.low
    high = 1.0 if dial.high is None else dial.high
    at = (value - low) / (high - low) * (count - 1) if high > low else 0.0
    return [max(0.0, 1.0 - abs(at - k)) for k in range(count)]


class _Pose:
    """The frames found so far, and what constraints have written for those still to come."""

    def __init__(self, settled: Settled) -> None:
        rig = settled.rig
        self.settled = settled
        self.nodes: dict[str, Node] = {node.name: node for node in rig.nodes}
        self.chains: dict[str, Chain] = {chain.name: chain for chain in rig.chains}
        self.curves: dict[str, Curve] = {curve.name: curve for curve in rig.curves}
        self.constraints: dict[str, Constraint] = {c.name: c for c in rig.constraints}
        self.feeds: dict[str, Feed] = {feed.name: feed for feed in rig.feeds}
        self.places: dict[str, Vector] = {}
        self.turns: dict[str, Quaternion] = {}
        self.written_places: dict[str, Vector] = {}
        self.written_turns: dict[str, Quaternion] = {}
        self.end_turns: dict[str, Quaternion] = {}

    def take(self, step: str) -> None:
        """Evaluate one step; feeds and gauges move nothing at rest."""
        if step in self.nodes:
            self.places[step] = self._mount_place(step)
            self.turns[step] = self._mount_turn(step)
            return
        node, _, aspect = step.rpartition(".")
        if node in self.settled.plan.split and aspect == "place":
            self.places[node] = self._mount_place(node)
        elif node in self.settled.plan.split and aspect == "turn":
            self.turns[node] = self._mount_turn(node)
        constraint = self.constraints.get(step)
        match constraint:
            case Follow():
                self._follow(constraint)
            case Face():
                self._face(constraint)
            case Ride():
                self._ride(constraint)
            case Reach():
                self._reach(constraint)
            case Twist():
                self._twist(constraint)

    def _place(self, name: str | None) -> Vector:
        return ZERO if name is None or name not in self.nodes else self.places[name]

    def _turn(self, name: str | None) -> Quaternion:
        return IDENTITY if name is None or name not in self.nodes else self.turns[name]

    def _mount_place(self, name: str) -> Vector:
        if name in self.written_places:
            return self.written_places[name]
        parent = self.nodes[name].parent
        local = self.settled.locals[name]
        return add(self._place(parent), rotated(self._turn(parent), local.place))

    def _mount_turn(self, name: str) -> Quaternion:
        if name in self.written_turns:
            return self.written_turns[name]
        return product(self._turn(self.nodes[name].parent), self.settled.locals[name].turn)

    def _follow(self, follow: Follow) -> None:
        weights = self._weights(follow)
        total = 0.0
        for weight in weights:
            total = total + weight
        if total == 0.0:
            return
        offsets = self.settled.follows[follow.name]
        if "move" in follow.takes:
            place = ZERO
            for leader, offset, weight in zip(follow.leaders, offsets, weights, strict=True):
                led = self._place(leader.node)
                if not follow.landing:
                    led = add(led, rotated(self._turn(leader.node), offset.place))
                place = along(place, led, weight / total)
            self.written_places[follow.node] = place
        if "turn" in follow.takes:
            turns = [self._led_turn(follow, k) for k in range(len(weights))]
            self.written_turns[follow.node] = blended(turns, weights)

    def _weights(self, follow: Follow) -> list[float]:
        if follow.dial is None:
            return leader_weights(follow, None, 0.0)
        owner = self.nodes.get(channel_node(follow.dial))
        for dial in owner.dials if owner is not None else ():
            if follow.dial == f"{owner.name if owner else ''}.{dial.name}":
                return leader_weights(follow, dial, dial.default)
        return leader_weights(follow, None, 0.0)

    def _led_turn(self, follow: Follow, index: int) -> Quaternion:
        """A leader's turn with its offset; about an axis, only what it turned since rest about it.

        What is taken about an axis is seen from the follower's parent, so that the rig can be
        carried as a whole.
        """
        offset = self.settled.follows[follow.name][index].turn
        turn = self._turn(follow.leaders[index].node)
        if follow.about is None:
            return product(turn, offset)
        parent = self._turn(self.nodes[follow.node].parent)
        rest = self.settled.abouts[follow.name][index]
        since = product(conjugate(product(parent, rest)), turn)
        _, twist = swing_twist(since, AXES[follow.about])
        return product(product(product(parent, rest), twist), offset)

    def _face(self, face: Face) -> None:
        place = self._mount_place(face.node)
        exactly = facing_turn(face, place, self._place(face.mark), self._turn(face.up_node))
        self.written_turns[face.node] = product(exactly, self.settled.faces[face.name].offset)

    def _points(self, curve: Curve) -> list[Vector]:
        """A curve's control points: each the sum of what its owners hold, then its parent's."""
        points = [ZERO] * len(curve.points) if curve.shares else list(curve.points)
        held = self.settled.curves[curve.name].held
        for share, local in zip(curve.shares, held, strict=True):
            placed = point_through((self._place(share.grip), self._turn(share.grip)), local)
            points[share.point] = along(points[share.point], placed, share.share)
        if curve.parent is None:
            return points
        rest = self.nodes[curve.parent].rest
        parent = (self._place(curve.parent), self._turn(curve.parent))
        moved = composed(parent, inverse((rest.place, rest.turn)))
        return [point_through(moved, point) for point in points]

    def _ride(self, ride: Ride) -> None:
        """The joints at their parameters of the curve: at rest, keeping and stretching agree."""
        rest = self.settled.rides[ride.name]
        chain, curve = self.chains[ride.chain], self.curves[ride.curve]
        axis = AXES[chain.axis]
        path = spline(curve, self._points(curve))
        stations = [splines.point_at(path, u) for u in rest.parameters]
        start = product(self._turn(rest.carrier), rest.start)
        carried = carried_turns(path, rest.parameters, axis, start)
        for k, joint in enumerate(chain.joints):
            laid = aimed(carried[k], axis, subtract(stations[k + 1], stations[k]))
            self.written_places[joint] = stations[k]
            self.written_turns[joint] = product(laid, rest.rolls[k])
        self.end_turns[f"{chain.name}/start"] = carried[0]
        self.end_turns[f"{chain.name}/end"] = carried[-1]

    def _reach(self, reach: Reach) -> None:
        rest = self.settled.reaches[reach.name]
        chain = self.chains[reach.chain]
        first = chain.joints[0]
        mount = (self._mount_place(first), self._mount_turn(first))
        goal = self._place(reach.goal)
        line = unit(subtract(goal, mount[0]), rotated(mount[1], rest.line))
        bend = self._bend(reach, rest, mount, line)
        points = _reached(rest, mount, goal, bend)
        normal = cross(line, bend)
        for k, joint in enumerate(chain.joints):
            laid = bone_turn(subtract(points[k + 1], points[k]), normal)
            self.written_turns[joint] = product(laid, rest.offsets[k])
            if k > 0:
                self.written_places[joint] = points[k]

    def _bend(self, reach: Reach, rest: ReachRest, mount: Placed, line: Vector) -> Vector:
        """The pole's direction turned by its rest angle, or the rest plane carried by the mount."""
        swing = shortest_arc(rotated(mount[1], rest.line), line)
        carried = rotated(product(swing, mount[1]), rest.bend)
        if reach.pole is None:
            return unit(rejected(carried, line), carried)
        toward = rejected(subtract(self._place(reach.pole), mount[0]), line)
        turned = quaternion_from_axis_angle(line, rest.pole_angle)
        return unit(rotated(turned, toward), carried)

    def _twist(self, twist: Twist) -> None:
        rest = self.settled.twists[twist.name]
        chain = self.chains[twist.chain]
        turns = self._untwisted(chain)
        first = self.end_turns.get(f"{chain.name}/start", turns[0])
        last = self.end_turns.get(f"{chain.name}/end", turns[-1])
        start = 0.0 if rest.start is None else self._angle(rest.start, rest.axis, first)
        end = self._angle(rest.end, rest.axis, last)
        for joint, turn, share in zip(chain.joints, turns, twist.spread, strict=True):
            angle = start * (1.0 - share) + end * share
            self.written_turns[joint] = product(turn, quaternion_from_axis_angle(rest.axis, angle))

    def _untwisted(self, chain: Chain) -> list[Quaternion]:
        """The joints' turns before the twist, each carried by the one before unless written."""
        turns: list[Quaternion] = []
        for k, joint in enumerate(chain.joints):
            if joint in self.written_turns:
                turns.append(self.written_turns[joint])
            elif k > 0 and self.nodes[joint].parent == chain.joints[k - 1]:
                turns.append(product(turns[-1], self.settled.locals[joint].turn))
            else:
                turns.append(self._mount_turn(joint))
        return turns

    def _angle(self, rest: TwistEndRest, axis: Vector, turn: Quaternion) -> float:
        met = product(self._turn(rest.node), rest.offset)
        return twist_angle(product(conjugate(turn), met), axis)


def _reached(rest: ReachRest, mount: Placed, goal: Vector, bend: Vector) -> Sequence[Vector]:
    """Where the joints and the end of a reaching chain come to be at rest."""
    if len(rest.bones) != 2:
        return [point_through(mount, point) for point in rest.points]
    upper, lower = rest.bones
    if rest.straight:
        upper, lower = upper * FULL_REACH, lower * FULL_REACH
    fallback = rotated(mount[1], rest.bend)
    found = two_bones(mount[0], goal, upper, lower, bend, fallback)
    return [mount[0], found.elbow, found.end]
