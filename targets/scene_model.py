"""The records of a scene file, to validate one that is read back and to publish its schema.

In comes the text of a scene file, out comes a frozen `Scene`, or pydantic's ValidationError.
`somite.targets.scene` writes what these describe; nothing here knows a rig.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from somite.canonical import text
from somite.document import plain

Triple = tuple[float, float, float]
Four = tuple[float, float, float, float]
Rows = tuple[Four, Four, Four, Four]
Signs = tuple[int, int, int]
Axis = Literal["+X", "-X", "+Y", "-Y", "+Z", "-Z"]
Unit = Literal["length", "angle", "number"]


class Record(BaseModel):
    """Anything of a scene file: frozen, with no facts beside those named, all numbers finite."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class ExpressionUnits(Record):
    length: Literal["metres"]
    angle: Literal["radians"]


class Units(Record):
    """Lengths of the file in `length` units, angles in degrees; expressions as they say."""

    length: str
    metres_per_unit: float
    angle: Literal["degrees"]
    up: Axis
    front: Axis
    height: float
    expressions: ExpressionUnits


class Offset(Record):
    """A rigid offset: rotation is a quaternion xyzw."""

    translation: Triple
    rotation: Four


class Rest(Offset):
    """A node's rest relative to its parent; scale is one for every node at rest."""

    scale: Triple


class Excuse(Record):
    law: str
    because: str


class Traced(Record):
    """A record with the recipe lines that made it, its own statement first."""

    lines: tuple[str, ...]
    about: str | None = None
    excuses: tuple[Excuse, ...] = ()


class Mirror(Record):
    """The twin on the other side, and the signs that take its channels to this node's own."""

    twin: str
    move: Signs
    turn: Signs


class Shape(Record):
    kind: str
    width: float
    axis: Axis
    offset: Triple


class Limit(Record):
    channel: str
    low: float
    high: float


class Dial(Record):
    """A number with its unit and bounds, or a choice with options, its default one of them."""

    name: str
    options: tuple[str, ...] = ()
    unit: Unit | None = None
    default: float | str
    low: float | None = None
    high: float | None = None
    neutral: bool
    flips: bool
    about: str | None = None


class Shown(Record):
    """A condition for a control to be shown; every one must hold.

    A number dial above and below what is stated, or a choice at one of `is`.
    """

    dial: str
    options: tuple[str, ...] = Field(default=(), alias="is")
    above: float | None = None
    below: float | None = None


class Node(Traced):
    """A transform. `world` is four rows, for column vectors; `turn_order` xyz is Rz·Ry·Rx."""

    name: str
    id: str
    kind: Literal["group", "joint", "control", "grip"]
    parent: str | None
    rest: Rest
    world: Rows
    turn_order: Literal["xyz", "xzy", "yxz", "yzx", "zxy", "zyx"]
    passes_size: bool
    carries_all: bool = False
    stays_in_world: bool = False
    one_sided: bool = False
    socket: bool = False
    chain: str | None = None
    mirror: Mirror | None = None
    was: str | None = None
    shape: Shape | None = None
    shown: tuple[Shown, ...] = ()
    size_even: bool = False
    locks: tuple[str, ...] = ()
    limits: tuple[Limit, ...] = ()
    dials: tuple[Dial, ...] = ()


class PlacedRig(Traced):
    """Another recipe's rig on a socket; the ids of its nodes begin with its id and a dot.

    `ground` is where its own origin stands and how its own space, in which `up` and `front` are up
    and front, is turned at rest.
    """

    name: str
    id: str
    recipe: str
    character: str
    revision: int
    socket: str
    ground: Offset
    up: Axis
    front: Axis


class Share(Record):
    """A grip's share of a control point (counted from zero); offset: the point in its frame."""

    point: int
    grip: str
    share: float
    offset: Triple


class Curve(Traced):
    """A clamped B-spline at rest."""

    name: str
    id: str
    parent: str | None
    degree: int
    knots: tuple[float, ...]
    points: tuple[Triple, ...]
    shares: tuple[Share, ...]
    length: float


class Chain(Traced):
    name: str
    joints: tuple[str, ...]
    end: Triple
    axis: Axis
    curve: str | None
    fractions: tuple[float, ...]


class Amount(Record):
    """A number, or the channel that states it with its default."""

    value: float
    channel: str | None


class Leader(Record):
    """A leader (none: the world) and where the follower stands in its frame at rest.

    `base`, of a follow about an axis: the leader's rest turn seen from the follower's parent.
    """

    node: str | None
    weight: float
    offset: Offset
    base: Four | None = None


class Follow(Traced):
    name: str
    kind: Literal["follow"]
    node: str
    takes: tuple[Literal["move", "turn", "size"], ...]
    about: Axis | None
    dial: str | None
    landing: bool
    leaders: tuple[Leader, ...]


class Face(Traced):
    """`offset` is the rest turn seen from the turn that faces the mark exactly."""

    name: str
    kind: Literal["face"]
    node: str
    mark: str
    axis: Axis
    up: Axis
    up_node: str | None
    up_axis: Axis
    exact: bool
    offset: Four


class Ride(Traced):
    """A chain along its curve: see the rest records of the compiler for each fact."""

    name: str
    kind: Literal["ride"]
    chain: str
    curve: str
    carrier: str | None
    start: Four
    stretch: Amount
    volume: Amount
    parameters: tuple[float, ...]
    fractions: tuple[float, ...]
    bones: tuple[float, ...]
    curve_length: float
    rolls: tuple[Four, ...]


class Reach(Traced):
    """Line, bend and points are seen from the mount of the chain's first joint."""

    name: str
    kind: Literal["reach"]
    chain: str
    goal: str
    pole: str | None
    pole_angle: float
    ease: float
    ease_from: float
    stretch: Amount
    straight: bool
    bones: tuple[float, ...]
    line: Triple
    bend: Triple
    points: tuple[Triple, ...]
    offsets: tuple[Four, ...]


class TwistPath(Record):
    """A node between reference and leader, and the chain's axis seen from it."""

    node: str
    axis: Triple


class TwistEnd(Record):
    mode: Literal["meets", "from"]
    node: str
    relative: str | None
    offset: Four
    path: tuple[TwistPath, ...]


class Twist(Traced):
    name: str
    kind: Literal["twist"]
    chain: str
    axis: Triple
    start: TwistEnd | None
    end: TwistEnd
    stated: Literal["even", "eased", "listed"]
    spread: tuple[float, ...]
    ignores: tuple[str, ...]


Constraint = Annotated[Follow | Face | Ride | Reach | Twist, Field(discriminator="kind")]


class Constant(Record):
    kind: Literal["constant"]
    value: float


class Read(Record):
    kind: Literal["read"]
    channel: str


class Apply(Record):
    kind: Literal["apply"]
    operation: str
    operands: tuple[Live, ...]


class Map(Record):
    kind: Literal["map"]
    value: Live
    smooth: bool
    pairs: tuple[tuple[Live, Live], ...]


class Measure(Record):
    kind: Literal["measure"]
    what: Literal["distance", "angle", "twist", "stretch"]
    of: tuple[str, ...]
    axis: Axis | None


Live = Annotated[Constant | Read | Apply | Map | Measure, Field(discriminator="kind")]


class Feed(Traced):
    name: str
    target: str
    value: Live


class Gauge(Traced):
    name: str
    id: str
    unit: Unit
    output: bool
    value: Live


class NamedList(Traced):
    name: str
    members: tuple[str, ...]


class Setting(Record):
    """A channel and its value; a choice's is one of its options."""

    channel: str
    value: float | str


class Pose(Traced):
    name: str
    settings: tuple[Setting, ...]


class Sweep(Record):
    channel: str
    start: float | str = Field(alias="from")
    stop: float | str = Field(alias="to")


class Expectation(Record):
    what: str
    subject: str
    other: str | None = None
    axis: Axis | None = None
    vector: Triple | None = None
    value: float | None = None
    rig: str | None = None
    within: float
    text: str


class Check(Traced):
    name: str
    poses: tuple[str, ...]
    settings: tuple[Setting, ...]
    sweeps: tuple[Sweep, ...]
    expectations: tuple[Expectation, ...]


class Nudge(Traced):
    node: str
    by: Triple
    because: str


class Origin(Record):
    """What the file was made from; digests instead of a date."""

    recipe: str
    revision: int
    character: str
    recipe_digest: str
    sheet_digest: str
    compiler: str


class Scene(Record):
    """A whole scene file."""

    format: Literal["somite-scene 1"]
    units: Units
    nodes: tuple[Node, ...]
    sockets: tuple[str, ...]
    rigs: tuple[PlacedRig, ...]
    curves: tuple[Curve, ...]
    chains: tuple[Chain, ...]
    constraints: tuple[Constraint, ...]
    feeds: tuple[Feed, ...]
    gauges: tuple[Gauge, ...]
    lists: tuple[NamedList, ...]
    poses: tuple[Pose, ...]
    order: tuple[str, ...]
    checks: tuple[Check, ...]
    nudges: tuple[Nudge, ...]
    origin: Origin


def read_scene(scene: str) -> Scene:
    """The scene of a file's text. Raises pydantic's ValidationError for one that is not."""
    return Scene.model_validate_json(scene)


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of a scene file, as canonical JSON."""
    schema = Scene.model_json_schema()
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return text(plain(schema))
