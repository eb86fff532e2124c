"""The intermediate representation: what a recipe and a sheet say, with nothing left to decide.

A small closed set of kinds. Targets, laws, diff and evaluation know only these, never syntax.
Every record is a frozen dataclass; `somite.document` reads and writes them as canonical JSON and
publishes their schema. Lengths are metres, angles radians, quaternions xyzw; positions and turns
are those of the rest pose in the rig's own space, which is the recipe's (up and front as its
header states).

Names are dotted (`arm.left.elbow`) and are the identity of a thing; `spelled` says how they are
written in outputs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from somite.text import Origin

VERSION = 1
"""Raised when the meaning or the shape of a record changes."""

Vector = tuple[float, float, float]
Quaternion = tuple[float, float, float, float]
Signs = tuple[int, int, int]
Axis = Literal["+X", "-X", "+Y", "-Y", "+Z", "-Z"]
NodeKind = Literal["group", "joint", "control", "grip"]
TurnOrder = Literal["xyz", "xzy", "yxz", "yzx", "zxy", "zyx"]
Part = Literal["move", "turn", "size"]
Unit = Literal["length", "angle", "number"]

CHANNELS = tuple(f"{part}.{axis}" for part in ("move", "turn", "size") for axis in "xyz")
"""The nine channels of every node."""

WORLD = "world"
"""The name of the space outside the rig, where a node can be named as a leader or a parent."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A position (metres) and a turn (unit quaternion xyzw)."""

    place: Vector = (0.0, 0.0, 0.0)
    turn: Quaternion = (0.0, 0.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Excuse:
    """A declared exception to a law, with its reason."""

    law: str
    because: str
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Mirror:
    """A node's twin, and the signs that take the twin's channels to this node's own.

    move' = move * twin.move, turn' = turn * twin.turn, component by component; size is equal.
    """

    twin: str
    move: Signs
    turn: Signs


@dataclass(frozen=True, slots=True)
class Limit:
    """Bounds of one channel of a control, in metres, radians or one."""

    channel: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Shape:
    """What an animator grabs: one of our closed list of shapes, drawn about the control.

    `width` is across (metres), `axis` the local axis that the shape looks along, `offset` its
    centre in the control's own frame.
    """

    kind: str
    width: float
    axis: Axis
    offset: Vector = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Dial:
    """An extra number or named choice on a control; its channel is `control.dial`.

    A choice has `options` and its default is an index into them; a number has bounds.
    """

    name: str
    unit: Unit
    default: float
    low: float | None = None
    high: float | None = None
    options: tuple[str, ...] = ()
    neutral: bool = False
    flips: bool = False
    about: str | None = None
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Shown:
    """When an animator sees a control.

    Either while a number dial is above one value and below another, where stated (metres, radians
    or one), or while a choice stands at one of `options` (their indices).
    """

    dial: str
    above: float | None = None
    below: float | None = None
    options: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Node:
    """A transform: group, joint, control or grip.

    world = mount · T(move) · R(turn) · S(size); mount = parent.world · rest offset, unless a
    constraint writes the mount's place, turn or size. `rest` is in the rig's space. `parent` None
    is the top of the rig. Turn order "xyz" means R = Rz·Ry·Rx. A socket is a group with a marked
    role: a named place for a prop, a rider or another rig. A control is shown while every one of
    `shown` holds; an empty tuple says always.
    """

    name: str
    spelled: str
    kind: NodeKind
    parent: str | None
    rest: Frame
    order: TurnOrder = "xyz"
    passes_size: bool = True
    size_even: bool = False
    locks: tuple[str, ...] = ()
    limits: tuple[Limit, ...] = ()
    dials: tuple[Dial, ...] = ()
    shape: Shape | None = None
    shown: tuple[Shown, ...] = ()
    carries_all: bool = False
    stays_in_world: bool = False
    one_sided: bool = False
    socket: bool = False
    chain: str | None = None
    mirror: Mirror | None = None
    was: str | None = None
    about: str | None = None
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Chain:
    """An ordered run of joints: n bones are n joints and a place `end`.

    `axis` is the local axis along each bone. On a curve, `fractions` are the n + 1 fractions of its
    arc length at which the joints and the end stand.
    """

    name: str
    joints: tuple[str, ...]
    end: Vector
    axis: Axis
    curve: str | None = None
    fractions: tuple[float, ...] = ()
    about: str | None = None
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Share:
    """How much of a curve's control point (counted from zero) a grip owns."""

    point: int
    grip: str
    share: float
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Curve:
    """A clamped B-spline with its control points at rest, and who owns them.

    A control point's world place is the sum of share · grip.world · grip.rest⁻¹ · point; a `parent`
    carries the whole on top of that.
    """

    name: str
    spelled: str
    degree: int
    knots: tuple[float, ...]
    points: tuple[Vector, ...]
    shares: tuple[Share, ...] = ()
    parent: str | None = None
    about: str | None = None
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Amount:
    """A number between 0 and 1, or the channel (a dial) that states it; `value` is its default."""

    value: float
    channel: str | None = None


@dataclass(frozen=True, slots=True)
class Leader:
    """One of the nodes that a follow takes from; `node` None is the world outside the rig."""

    node: str | None
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Follow:
    """A node's mount takes chosen channels of its leaders.

    `about` (with turn) keeps only the leader's turn about that axis of the leader. `dial` chooses
    (a choice) or blends between (a number) leaders in their order; otherwise weights hold. With
    `landing` the rest offset is not kept.
    """

    name: str
    node: str
    leaders: tuple[Leader, ...]
    takes: tuple[Part, ...]
    about: Axis | None = None
    dial: str | None = None
    landing: bool = False
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Face:
    """A node's mount turns so that `axis` points at a mark, `up` toward `up_axis` of `up_node`."""

    name: str
    node: str
    mark: str
    axis: Axis
    up: Axis
    up_node: str | None
    up_axis: Axis
    exact: bool = False
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Ride:
    """A chain solved along the curve it was placed on, its roll and scale given by a carrier.

    `stretch` 0 keeps each bone's rest length, 1 keeps fractions of arc length; `volume` is the
    weight w of the side size s^(-w/2).
    """

    name: str
    chain: str
    curve: str
    carrier: str | None
    stretch: Amount = field(default_factory=lambda: Amount(0.0))
    volume: Amount = field(default_factory=lambda: Amount(0.0))
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Reach:
    """A chain's end brought to a goal, bent toward a pole.

    `bend` is the direction, in the rig's space at rest, toward which a straight chain bends.
    `ease` is the fraction of the full length over which full reach is softened.
    """

    name: str
    chain: str
    goal: str
    pole: str | None
    bend: Vector | None = None
    ease: float = 0.0
    stretch: Amount = field(default_factory=lambda: Amount(0.0))
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class TwistEnd:
    """Where one end of a twist comes from.

    "meets": the end frame meets `node` turned relative to `relative`. "from": the twist part of
    `node` about the chain's rest axis. `path` names the nodes from `relative` (excluded) to `node`.
    """

    mode: Literal["meets", "from"]
    node: str
    relative: str | None = None
    path: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Twist:
    """How turning about a chain's own axis is spread along it.

    `spread` has one number a joint: the share of the end's twist that the joint takes (the last
    is 1); the start's twist fades with 1 - share. `stated` says how the recipe put it.
    """

    name: str
    chain: str
    start: TwistEnd | None
    end: TwistEnd
    spread: tuple[float, ...]
    stated: Literal["even", "eased", "listed"] = "even"
    ignores: tuple[str, ...] = ()
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


Constraint = Follow | Face | Ride | Reach | Twist


@dataclass(frozen=True, slots=True)
class Constant:
    """A number in a live expression, in metres, radians or one."""

    value: float
    kind: Literal["constant"] = "constant"


@dataclass(frozen=True, slots=True)
class Read:
    """The present value of a channel (`high.turn.y`), a dial (`hand.space`) or a gauge."""

    channel: str
    kind: Literal["read"] = "read"


@dataclass(frozen=True, slots=True)
class Apply:
    """An operation on live numbers.

    add, subtract, multiply, divide, negate; minimum, maximum, clamp (value, low, high), absolute,
    root, sine, cosine, modulo; is (a choice's index equals: 1 or 0).
    """

    operation: Literal[
        "add",
        "subtract",
        "multiply",
        "divide",
        "negate",
        "minimum",
        "maximum",
        "clamp",
        "absolute",
        "root",
        "sine",
        "cosine",
        "modulo",
        "is",
    ]
    operands: tuple[Live, ...]
    kind: Literal["apply"] = "apply"


@dataclass(frozen=True, slots=True)
class Map:
    """A map through pairs of (from, to), which may themselves be live.

    Piecewise linear, or smooth (cubic Hermite, monotone, level at both ends); held flat outside.
    """

    value: Live
    pairs: tuple[tuple[Live, Live], ...]
    smooth: bool = False
    kind: Literal["map"] = "map"


@dataclass(frozen=True, slots=True)
class Measure:
    """A number read from results: of nodes, a chain or a curve.

    distance (metres between two nodes), angle (between the turns of two nodes), twist (of the first
    relative to the second, about an axis of the first), stretch (of a curve or chain: length over
    rest length).
    """

    what: Literal["distance", "angle", "twist", "stretch"]
    of: tuple[str, ...]
    axis: Axis | None = None
    kind: Literal["measure"] = "measure"


Live = Constant | Read | Apply | Map | Measure


@dataclass(frozen=True, slots=True)
class Feed:
    """Drives one channel (or number dial) from others through a live expression."""

    name: str
    target: str
    value: Live
    excuses: tuple[Excuse, ...] = ()
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Gauge:
    """A live number, readable by feeds and checks; an output also leaves the rig."""

    name: str
    spelled: str
    unit: Unit
    value: Live
    output: bool = False
    about: str | None = None
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class NamedList:
    """A named set of nodes, in the order they were listed."""

    name: str
    members: tuple[str, ...]
    about: str | None = None
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Setting:
    """A channel or dial and its value (metres, radians, one; a choice is an index)."""

    channel: str
    value: float
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Sweep:
    """A channel taken from one value to another."""

    channel: str
    start: float
    stop: float
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Pose:
    """A named set of channel values; everything else is at its default."""

    name: str
    settings: tuple[Setting, ...]
    about: str | None = None
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Expectation:
    """What a check expects after its pose.

    at: `subject` stands at `vector`; points: its `axis` points along `vector`; turns: it turned by
    `value` from rest (relative to `other`); twists: by `value` about its own axis or `other`'s;
    apart: `value` from `other`; keeps: a chain or curve keeps its length; still: it did not move;
    mirrors: it stands as `other`'s reflection; ground: it stands on the ground; reads: a gauge
    gives `value`. `within` is the tolerance, in metres, radians or one. `rig` names the placed rig
    whose own ground and mirror plane are meant.
    """

    what: Literal[
        "at",
        "points",
        "turns",
        "twists",
        "apart",
        "keeps",
        "still",
        "mirrors",
        "ground",
        "reads",
    ]
    subject: str
    other: str | None = None
    axis: Axis | None = None
    vector: Vector | None = None
    value: float | None = None
    rig: str | None = None
    within: float = 0.0
    text: str = ""
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Check:
    """A behaviour that a recipe promises: pose in, expectations out."""

    name: str
    poses: tuple[str, ...]
    settings: tuple[Setting, ...]
    sweeps: tuple[Sweep, ...]
    expectations: tuple[Expectation, ...]
    about: str | None = None
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Nudge:
    """A small placement correction that a sheet made, with its reason."""

    node: str
    by: Vector
    because: str
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class PlacedRig:
    """Another recipe's rig, standing whole on a socket of this one.

    What is in it has its name before its own; `spelled` is how outputs write that. `ground` is
    where its own origin stands and how its own space is turned, at rest, in the space of the whole;
    `up`, `front` and `mirror_axis` are those of its own space, so that it mirrors in a plane of its
    own.
    """

    name: str
    spelled: str
    recipe: str
    character: str
    revision: int
    socket: str
    ground: Frame
    up: Axis
    front: Axis
    mirror_axis: Axis
    about: str | None = None
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Rename:
    """A recorded rename: the old dotted name and the one that the thing has now."""

    old: str
    new: str
    origin: Origin = ()


@dataclass(frozen=True, slots=True)
class Rig:
    """A whole rig at rest: one recipe built for one sheet."""

    recipe: str
    character: str
    revision: int
    about: str
    unit: str
    up: Axis
    front: Axis
    mirror_axis: Axis
    height: float
    nodes: tuple[Node, ...] = ()
    chains: tuple[Chain, ...] = ()
    curves: tuple[Curve, ...] = ()
    constraints: tuple[Constraint, ...] = ()
    feeds: tuple[Feed, ...] = ()
    gauges: tuple[Gauge, ...] = ()
    lists: tuple[NamedList, ...] = ()
    poses: tuple[Pose, ...] = ()
    checks: tuple[Check, ...] = ()
    nudges: tuple[Nudge, ...] = ()
    renames: tuple[Rename, ...] = ()
    placed: tuple[PlacedRig, ...] = ()
    version: int = VERSION

    def node(self, name: str) -> Node:
        """The node of that name; KeyError if there is none."""
        for node in self.nodes:
            if node.name == name:
                return node
        raise KeyError(name)

    def home(self, *names: str) -> PlacedRig | None:
        """The innermost placed rig that holds all of these; None for the rig itself."""
        holding = [
            one for one in self.placed if all(name.startswith(f"{one.name}.") for name in names)
        ]
        return max(holding, key=lambda one: len(one.name)) if holding else None
