"""The rest pose settled: all that an evaluator needs so that nothing moves when it first runs.

In comes a rig and its plan, out go the two with every node's rest relative to its parent and, for
each constraint, what it must remember of the rest pose; a rest pose that a solver could not give
back is a finding. Only floats and `somite.spatial` take part, so the numbers are the same on every
machine. Nothing here knows channel values, outputs or units of a recipe.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from somite.findings import Code, Finding, Severity
from somite.ir import (
    Chain,
    Constraint,
    Curve,
    Face,
    Follow,
    Frame,
    Node,
    Quaternion,
    Reach,
    Ride,
    Rig,
    Twist,
    TwistEnd,
    Vector,
)
from somite.order import Plan
from somite.spatial import curve as splines
from somite.spatial.frames import frames_along
from somite.spatial.rotation import (
    IDENTITY,
    canonical,
    conjugate,
    product,
    quaternion_from_axes,
    rotated,
    shortest_arc,
)
from somite.spatial.transform import point_within, relative
from somite.spatial.trig import arc_tangent
from somite.spatial.vector import (
    ZERO,
    X,
    Z,
    cross,
    distance,
    dot,
    length,
    perpendicular,
    rejected,
    subtract,
    unit,
)
from somite.text import Origin, Site

CURVE_WITHOUT_LENGTH = Code("curve-without-length")
FACE_MARK_HERE = Code("face-mark-here")
FACE_UP_ALONG = Code("face-up-along", Severity.WARNING)
RIDE_OFF_CURVE = Code("ride-off-curve")
RIDE_SHARP = Code("ride-sharp")
STRAIGHT_REACH = Code("straight-reach")
POLE_ON_LINE = Code("pole-on-line")
REACH_GOAL_APART = Code("reach-goal-apart")

CLOSE = 1e-9
"""How far, in heights of the rig, a placed thing may be from where a solver would put it."""

STRAIGHT = 1e-6
"""A chain that bends by less than this share of its length is straight: below it the bend's
direction is lost in rounding."""

AXES: dict[str, Vector] = {
    "+X": (1.0, 0.0, 0.0),
    "-X": (-1.0, 0.0, 0.0),
    "+Y": (0.0, 1.0, 0.0),
    "-Y": (0.0, -1.0, 0.0),
    "+Z": (0.0, 0.0, 1.0),
    "-Z": (0.0, 0.0, -1.0),
}
"""The unit vector of each named axis."""

_LOOKS = 8
_CLOSE_LOOKS = 128


@dataclass(frozen=True, slots=True)
class CurveRest:
    """`length` is the arc length; `held` has each share's control point in its grip's frame."""

    length: float
    held: tuple[Vector, ...]


@dataclass(frozen=True, slots=True)
class FaceRest:
    """`offset` is the placed turn seen from the turn that faces the mark exactly."""

    offset: Quaternion


@dataclass(frozen=True, slots=True)
class RideRest:
    """A chain on its curve at rest.

    `carrier` gives start roll and scale: the named one, or else the first joint's parent (None is
    the world); `start` is the curve's first frame seen from it. `parameters`, `fractions` (of arc
    length) are those of the joints and the end, n + 1; `bones` the straight lengths between them.
    `rolls` are the joints' placed turns seen from the carried frame, laid on the bone (`aimed`).
    """

    carrier: str | None
    start: Quaternion
    parameters: tuple[float, ...]
    fractions: tuple[float, ...]
    bones: tuple[float, ...]
    curve_length: float
    rolls: tuple[Quaternion, ...]


@dataclass(frozen=True, slots=True)
class ReachRest:
    """A chain that reaches, at rest.

    `bones` are the lengths. `line` (root to end) and `bend` (unit, square to it) are directions
    and `points` the joints and the end, all seen from the first joint's mount. `pole_angle` is
    the angle about the line from the pole's direction to the bend. `offsets` are the joints'
    placed turns seen from their bones' frames: x along the bone, z along line × bend. Easing
    begins where root and goal are `ease_from` apart, never short of the rest itself. `straight`:
    the goal is at full reach at rest.
    """

    bones: tuple[float, ...]
    line: Vector
    bend: Vector
    points: tuple[Vector, ...]
    pole_angle: float
    offsets: tuple[Quaternion, ...]
    ease_from: float
    straight: bool


@dataclass(frozen=True, slots=True)
class TwistEndRest:
    """`offset` is the chain's untwisted end frame seen from `node`'s turn.

    `path` pairs each node from the reference (excluded) to `node` with the chain's axis seen from
    that node: its product with the node's three turn channels is what the node adds to the twist.
    """

    node: str
    offset: Quaternion
    path: tuple[tuple[str, Vector], ...]


@dataclass(frozen=True, slots=True)
class TwistRest:
    """`axis` is the chain's own axis in each joint's frame."""

    axis: Vector
    start: TwistEndRest | None
    end: TwistEndRest


@dataclass(frozen=True, slots=True)
class Settled:
    """A rig, its plan, and all that was computed from its rest pose.

    `locals` are nodes' rests relative to their parents; `follows` has one offset a leader,
    leader⁻¹ · follower (the identity for a landing); `abouts`, for a follow about an axis, has
    each leader's rest turn seen from the follower's parent; `ends` are chains' ends in their last
    joints' frames. Constraints are keyed by name.
    """

    rig: Rig
    plan: Plan
    locals: dict[str, Frame] = field(default_factory=dict)
    curves: dict[str, CurveRest] = field(default_factory=dict)
    ends: dict[str, Vector] = field(default_factory=dict)
    follows: dict[str, tuple[Frame, ...]] = field(default_factory=dict)
    abouts: dict[str, tuple[Quaternion, ...]] = field(default_factory=dict)
    faces: dict[str, FaceRest] = field(default_factory=dict)
    rides: dict[str, RideRest] = field(default_factory=dict)
    reaches: dict[str, ReachRest] = field(default_factory=dict)
    twists: dict[str, TwistRest] = field(default_factory=dict)


def settle(rig: Rig, plan: Plan) -> tuple[Settled | None, tuple[Finding, ...]]:
    """The settled rig, or None where a finding is an error. Linear in the size of the rig."""
    settling = _Settling(rig, plan)
    findings = tuple(settling.run())
    failed = any(finding.severity is Severity.ERROR for finding in findings)
    return None if failed else settling.settled, findings


def carried_turns(
    curve: splines.Curve[float], parameters: Sequence[float], axis: Vector, start: Quaternion
) -> list[Quaternion]:
    """Turns along a curve that lay a local axis on its tangent and never turn about it.

    `start` is swung the shortest way onto the first tangent; the rest follow by double
    reflection (`somite.spatial.frames`, Wang et al. 2008).
    """
    side = side_axis(axis)
    first = splines.tangent_at(curve, parameters[0])
    swing = shortest_arc(rotated(start, axis), first)
    reference = rotated(product(swing, start), side)
    return [
        quaternion_from_axes(axis, tangent, side, carried)
        for tangent, carried in frames_along(curve, parameters, reference)
    ]


def side_axis(axis: Vector) -> Vector:
    """The axis after a coordinate axis or its opposite, in the round x, y, z."""
    x, y, z = axis
    return abs(z), abs(x), abs(y)


def aimed(turn: Quaternion, axis: Vector, direction: Vector) -> Quaternion:
    """A turn swung the shortest way, so that its local axis lies on a direction."""
    return product(shortest_arc(rotated(turn, axis), direction), turn)


def bone_turn(direction: Vector, normal: Vector) -> Quaternion:
    """The frame of a bone that bends in a plane: x along the bone, z along the normal."""
    return quaternion_from_axes(X, direction, Z, normal)


def facing_turn(face: Face, place: Vector, mark: Vector, up_turn: Quaternion) -> Quaternion:
    """The turn at a place that faces a mark exactly, its up axis as near up as it can be."""
    up = rotated(up_turn, AXES[face.up_axis])
    return quaternion_from_axes(AXES[face.axis], subtract(mark, place), AXES[face.up], up)


class _Settling:
    """One run over a rig: names looked up once, records gathered as they are made."""

    def __init__(self, rig: Rig, plan: Plan) -> None:
        self.rig = rig
        self.settled = Settled(rig, plan)
        self.nodes: dict[str, Node] = {node.name: node for node in rig.nodes}
        self.chains: dict[str, Chain] = {chain.name: chain for chain in rig.chains}
        self.curves: dict[str, Curve] = {curve.name: curve for curve in rig.curves}
        self.tables: dict[str, splines.ArcTable[float]] = {}
        self.end_turns: dict[str, tuple[Quaternion, Quaternion]] = {}
        self.close = CLOSE * rig.height if rig.height > 0.0 else CLOSE

    def run(self) -> Iterator[Finding]:
        for node in self.rig.nodes:
            self.settled.locals[node.name] = self._local(node)
        for chain in self.rig.chains:
            last = self.nodes[chain.joints[-1]].rest
            self.settled.ends[chain.name] = point_within((last.place, last.turn), chain.end)
        for curve in self.rig.curves:
            yield from self._curve(curve)
        twists: list[Twist] = []
        for constraint in self.rig.constraints:
            if isinstance(constraint, Twist):
                twists.append(constraint)
            else:
                yield from self._constraint(constraint)
        for twist in twists:
            self._twist(twist)

    def _local(self, node: Node) -> Frame:
        if node.parent is None:
            return node.rest
        parent = self.nodes[node.parent].rest
        place, turn = relative((parent.place, parent.turn), (node.rest.place, node.rest.turn))
        return Frame(place, turn)

    def _rest(self, name: str | None) -> Frame:
        return Frame() if name is None or name not in self.nodes else self.nodes[name].rest

    def _curve(self, curve: Curve) -> Iterator[Finding]:
        held = []
        for share in curve.shares:
            grip = self.nodes[share.grip].rest
            held.append(point_within((grip.place, grip.turn), curve.points[share.point]))
        try:
            table = splines.arc_table(spline(curve, curve.points))
        except splines.CurveError:
            yield CURVE_WITHOUT_LENGTH.at(
                _site(curve.origin),
                f'expected "{curve.name}" to have a length, found all its points in one place',
                help="place its points apart, on the sheet or in the recipe",
            )
            return
        self.tables[curve.name] = table
        self.settled.curves[curve.name] = CurveRest(table.length, tuple(held))

    def _constraint(self, constraint: Constraint) -> Iterator[Finding]:
        match constraint:
            case Follow():
                self._follow(constraint)
            case Face():
                yield from self._face(constraint)
            case Ride():
                yield from self._ride(constraint)
            case Reach():
                yield from self._reach(constraint)

    def _follow(self, follow: Follow) -> None:
        node = self.nodes[follow.node]
        offsets: list[Frame] = []
        for leader in follow.leaders:
            if follow.landing:
                offsets.append(Frame())
                continue
            rest = self._rest(leader.node)
            place, turn = relative((rest.place, rest.turn), (node.rest.place, node.rest.turn))
            offsets.append(Frame(place, canonical(turn)))
        self.settled.follows[follow.name] = tuple(offsets)
        if follow.about is not None:
            back = conjugate(self._rest(node.parent).turn)
            self.settled.abouts[follow.name] = tuple(
                canonical(product(back, self._rest(leader.node).turn)) for leader in follow.leaders
            )

    def _face(self, face: Face) -> Iterator[Finding]:
        node, mark = self.nodes[face.node], self._rest(face.mark)
        way = subtract(mark.place, node.rest.place)
        if length(way) <= self.close:
            yield FACE_MARK_HERE.at(
                _site(face.origin),
                f'expected the mark of "{face.node}" at a distance, found "{face.mark}" in the'
                " same place",
                help="move the mark away, so that there is a direction to face",
            )
            return
        up_turn = self._rest(face.up_node).turn
        up = rotated(up_turn, AXES[face.up_axis])
        if length(cross(unit(way, X), up)) < STRAIGHT:
            yield FACE_UP_ALONG.at(
                _site(face.origin),
                f'expected the up direction of "{face.node}" across the way to "{face.mark}",'
                " found it along it, where it cannot say which way is up",
                help="take up from another axis or another node",
            )
        exactly = facing_turn(face, node.rest.place, mark.place, up_turn)
        offset = IDENTITY if face.exact else product(conjugate(exactly), node.rest.turn)
        self.settled.faces[face.name] = FaceRest(canonical(offset))

    def _ride(self, ride: Ride) -> Iterator[Finding]:
        chain, curve = self.chains[ride.chain], self.curves[ride.curve]
        table = self.tables.get(curve.name)
        if table is None:
            return
        stations = self._stations(chain)
        if chain.curve != ride.curve or len(chain.fractions) != len(stations):
            yield RIDE_OFF_CURVE.at(
                _site(ride.origin),
                f'expected "{chain.name}" to be placed along "{curve.name}", which it rides,'
                f" found it placed {_placed(chain)}",
                help=f"place it so: chain {chain.name} along {curve.name}",
                related=_related([(chain.origin, f'"{chain.name}" is placed here')]),
            )
            return
        along = spline(curve, curve.points)
        parameters = [
            splines.parameter_at_length(table, fraction * table.length)
            for fraction in chain.fractions
        ]
        off = list(self._off_curve(ride, chain, along, parameters, stations))
        yield from off
        if off:
            return
        bones = [distance(a, b) for a, b in pairwise(stations)]
        if ride.stretch.channel is not None or ride.stretch.value != 1.0:
            yield from _sharp(ride, chain, along, parameters, stations, bones)
        self._ride_rest(ride, chain, along, parameters, stations, bones, table.length)

    def _stations(self, chain: Chain) -> list[Vector]:
        return [*[self.nodes[joint].rest.place for joint in chain.joints], chain.end]

    def _off_curve(
        self,
        ride: Ride,
        chain: Chain,
        along: splines.Curve[float],
        parameters: Sequence[float],
        stations: Sequence[Vector],
    ) -> Iterator[Finding]:
        names = [*chain.joints, f"{chain.name}.end"]
        for name, parameter, station in zip(names, parameters, stations, strict=True):
            away = distance(splines.point_at(along, parameter), station)
            if away > self.close:
                yield RIDE_OFF_CURVE.at(
                    _site(ride.origin),
                    f'expected "{name}" on "{ride.curve}", which its chain rides, found it'
                    f" {away * 1000.0:.3g} mm away",
                    help="leave the placing of its joints to the curve; move the curve's points"
                    " instead of the joint",
                    related=_related([(chain.origin, f'"{chain.name}" is placed here')]),
                )

    def _ride_rest(
        self,
        ride: Ride,
        chain: Chain,
        along: splines.Curve[float],
        parameters: Sequence[float],
        stations: Sequence[Vector],
        bones: Sequence[float],
        curve_length: float,
    ) -> None:
        axis = AXES[chain.axis]
        joints = [self.nodes[joint] for joint in chain.joints]
        carried = carried_turns(along, parameters, axis, joints[0].rest.turn)
        rolls = []
        for joint, turn, here, there in zip(
            joints, carried[:-1], stations[:-1], stations[1:], strict=True
        ):
            laid = aimed(turn, axis, subtract(there, here))
            rolls.append(canonical(product(conjugate(laid), joint.rest.turn)))
        carrier = ride.carrier if ride.carrier is not None else joints[0].parent
        back = conjugate(self._rest(carrier).turn)
        self.settled.rides[ride.name] = RideRest(
            carrier=carrier,
            start=canonical(product(back, carried[0])),
            parameters=tuple(parameters),
            fractions=chain.fractions,
            bones=tuple(bones),
            curve_length=curve_length,
            rolls=tuple(rolls),
        )
        self.end_turns[chain.name] = (carried[0], carried[-1])

    def _reach(self, reach: Reach) -> Iterator[Finding]:
        chain = self.chains[reach.chain]
        points = self._stations(chain)
        goal = self._rest(reach.goal).place
        apart = distance(goal, chain.end)
        if apart > self.close:
            yield self._goal_apart(reach, chain, apart)
        bones = [distance(a, b) for a, b in pairwise(points)]
        whole = _total(bones)
        line = unit(subtract(points[-1], points[0]), X)
        bend, height = _bend_of(points, line)
        straight = height <= STRAIGHT * whole
        if straight:
            stated = rejected(unit(reach.bend, line), line) if reach.bend is not None else ZERO
            if length(stated) > STRAIGHT:
                bend = unit(stated, X)
            elif len(bones) == 1:
                bend = perpendicular(line)
            else:
                yield _straight(reach, chain)
                return
        angle = 0.0
        if reach.pole is not None:
            toward = rejected(subtract(self._rest(reach.pole).place, points[0]), line)
            if length(toward) <= STRAIGHT * whole:
                yield self._pole_on_line(reach, chain)
                return
            angle = arc_tangent(dot(cross(toward, bend), line), dot(toward, bend))
        at_full = straight and height <= self.close
        self._reach_rest(reach, chain, points, bones, line, bend, angle, at_full)

    def _reach_rest(
        self,
        reach: Reach,
        chain: Chain,
        points: Sequence[Vector],
        bones: Sequence[float],
        line: Vector,
        bend: Vector,
        angle: float,
        straight: bool,
    ) -> None:
        normal = cross(line, bend)
        joints = [self.nodes[joint].rest for joint in chain.joints]
        offsets = []
        for joint, here, there in zip(joints, points[:-1], points[1:], strict=True):
            laid = bone_turn(subtract(there, here), normal)
            offsets.append(canonical(product(conjugate(laid), joint.turn)))
        mount = (joints[0].place, joints[0].turn)
        back = conjugate(joints[0].turn)
        whole, apart = _total(bones), distance(points[0], points[-1])
        self.settled.reaches[reach.name] = ReachRest(
            bones=tuple(bones),
            line=rotated(back, line),
            bend=rotated(back, bend),
            points=tuple(point_within(mount, point) for point in points),
            pole_angle=angle,
            offsets=tuple(offsets),
            ease_from=max((1.0 - reach.ease) * whole, apart),
            straight=straight,
        )

    def _goal_apart(self, reach: Reach, chain: Chain, apart: float) -> Finding:
        return REACH_GOAL_APART.at(
            _site(reach.origin),
            f'expected the goal "{reach.goal}" at the end of "{chain.name}", found it'
            f" {apart * 1000.0:.3g} mm away, so that the chain would jump to it",
            help=f"place it there: at {chain.name}.end",
            related=_related(
                [
                    (self.nodes[reach.goal].origin, f'"{reach.goal}" is placed here'),
                    (chain.origin, f'"{chain.name}" is placed here'),
                ]
            ),
        )

    def _pole_on_line(self, reach: Reach, chain: Chain) -> Finding:
        pole = reach.pole or ""
        return POLE_ON_LINE.at(
            _site(reach.origin),
            f'expected the pole "{pole}" to one side of "{chain.name}", found it on the line'
            " from the chain's root to its end",
            help="place the pole beside the line, on the side toward which the chain bends",
            related=_related([(self._origin(pole), f'"{pole}" is placed here')]),
        )

    def _origin(self, name: str) -> Origin:
        return self.nodes[name].origin if name in self.nodes else ()

    def _twist(self, twist: Twist) -> None:
        chain = self.chains[twist.chain]
        axis = AXES[chain.axis]
        first, last = (self.nodes[chain.joints[k]].rest.turn for k in (0, -1))
        start_turn, end_turn = self.end_turns.get(chain.name, (first, last))
        start = self._twist_end(twist.start, axis, start_turn) if twist.start else None
        end = self._twist_end(twist.end, axis, end_turn)
        self.settled.twists[twist.name] = TwistRest(axis, start, end)

    def _twist_end(self, end: TwistEnd, axis: Vector, turn: Quaternion) -> TwistEndRest:
        along = rotated(turn, axis)
        path = tuple((name, rotated(conjugate(self._rest(name).turn), along)) for name in end.path)
        offset = product(conjugate(self._rest(end.node).turn), turn)
        return TwistEndRest(end.node, canonical(offset), path)


def spline(curve: Curve, points: Sequence[Vector]) -> splines.Curve[float]:
    """A curve of the rig as the mathematics takes it, with its control points where they are."""
    return splines.Curve(curve.knots, curve.degree, tuple(points))


def _total(values: Sequence[float]) -> float:
    total = 0.0
    for value in values:
        total = total + value
    return total


def _bend_of(points: Sequence[Vector], line: Vector) -> tuple[Vector, float]:
    """The direction in which the farthest joint stands off the line, and how far it does."""
    best, height = ZERO, 0.0
    for point in points[1:-1]:
        off = rejected(subtract(point, points[0]), line)
        if length(off) > height:
            best, height = off, length(off)
    return unit(best, ZERO), height


def _straight(reach: Reach, chain: Chain) -> Finding:
    found = "no bend stated" if reach.bend is None else "a bend stated along the chain itself"
    return STRAIGHT_REACH.at(
        _site(reach.origin),
        f'expected to know which way "{chain.name}" bends, which is straight at rest,'
        f" found {found}",
        help="say which way: bend toward -Z",
        related=_related([(chain.origin, f'"{chain.name}" is placed here')]),
    )


def _sharp(
    ride: Ride,
    chain: Chain,
    along: splines.Curve[float],
    parameters: Sequence[float],
    stations: Sequence[Vector],
    bones: Sequence[float],
) -> Iterator[Finding]:
    """A bone that would meet the curve sooner than where the next joint was placed."""
    names = [*chain.joints, f"{chain.name}.end"]
    for k, bone in enumerate(bones):
        if _crosses_early(along, stations[k], bone, parameters[k], parameters[k + 1]):
            yield RIDE_SHARP.at(
                _site(ride.origin),
                f'expected "{names[k + 1]}" where the curve first comes a bone\'s length from'
                f' "{names[k]}", found that the curve bends back and comes there sooner',
                help="give the chain more bones here, or the curve a gentler bend",
                related=_related([(chain.origin, f'"{chain.name}" is placed here')]),
            )


def _crosses_early(
    along: splines.Curve[float], centre: Vector, radius: float, start: float, stop: float
) -> bool:
    """Whether the curve leaves a ball before `stop`, where it is on its surface.

    A few looks settle it where the distance only grows; else many are taken.
    """
    near = [_distance_at(along, centre, start, stop, k / _LOOKS) for k in range(1, _LOOKS)]
    if all(a < b for a, b in zip([0.0, *near], [*near, radius], strict=True)):
        return False
    outside = radius * (1.0 + CLOSE)
    return any(
        _distance_at(along, centre, start, stop, k / _CLOSE_LOOKS) > outside
        for k in range(1, _CLOSE_LOOKS)
    )


def _distance_at(
    along: splines.Curve[float], centre: Vector, start: float, stop: float, share: float
) -> float:
    return distance(splines.point_at(along, start + (stop - start) * share), centre)


def _placed(chain: Chain) -> str:
    return f'along "{chain.curve}"' if chain.curve is not None else "through points of its own"


def _site(origin: Origin) -> Site | None:
    return origin[0] if origin else None


def _related(places: Sequence[tuple[Origin, str]]) -> list[tuple[Site, str]]:
    return [(origin[0], label) for origin, label in places if origin]
