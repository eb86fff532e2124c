"""Small rigs made by hand, for tests of the stages after expansion.

The troupe of the night market lends its proportions: metres, +Y up, +Z front, +X left.
"""

from __future__ import annotations

from dataclasses import replace

from somite.ir import (
    Amount,
    Apply,
    Axis,
    Chain,
    Check,
    Constant,
    Constraint,
    Curve,
    Dial,
    Excuse,
    Expectation,
    Face,
    Feed,
    Follow,
    Frame,
    Gauge,
    Leader,
    Limit,
    Map,
    Measure,
    Mirror,
    NamedList,
    Node,
    NodeKind,
    Nudge,
    Part,
    Pose,
    Quaternion,
    Reach,
    Read,
    Ride,
    Rig,
    Setting,
    Shape,
    Share,
    Sweep,
    Twist,
    TwistEnd,
    Vector,
)
from somite.spatial import curve as splines
from somite.spatial.rotation import quaternion_from_axes, quaternion_from_euler
from somite.spatial.spacing import graded
from somite.spatial.vector import subtract
from somite.text import Origin, Site
from somite.units import PI

RECIPE = "recipes/heron.somite"
EVERY: tuple[Part, ...] = ("move", "turn", "size")


def at(line: int) -> Origin:
    return (Site(RECIPE, line, 1, 7),)


def rig(
    nodes: list[Node],
    constraints: list[Constraint] | None = None,
    *,
    chains: tuple[Chain, ...] = (),
    curves: tuple[Curve, ...] = (),
    height: float = 1.7,
) -> Rig:
    return Rig(
        recipe="heron",
        character="heron postal clerk",
        revision=4,
        about="a rig made by hand",
        unit="cm",
        up="+Y",
        front="+Z",
        mirror_axis="+X",
        height=height,
        nodes=tuple(nodes),
        chains=chains,
        curves=curves,
        constraints=tuple(constraints or ()),
    )


def node(
    name: str,
    place: Vector = (0.0, 0.0, 0.0),
    under: str | None = None,
    *,
    kind: NodeKind = "control",
    turn: Quaternion = (0.0, 0.0, 0.0, 1.0),
    line: int = 1,
    dials: tuple[Dial, ...] = (),
    chain: str | None = None,
) -> Node:
    return Node(
        name=name,
        spelled=name.replace(".", "_"),
        kind=kind,
        parent=under,
        rest=Frame(place, turn),
        passes_size=kind != "joint",
        dials=dials,
        chain=chain,
        origin=at(line),
    )


def follow(
    name: str, *leaders: str | None, takes: tuple[Part, ...] = EVERY, line: int = 1
) -> Follow:
    led = tuple(Leader(leader) for leader in leaders)
    return Follow(f"{name}/follow", name, led, takes, origin=at(line))


def spine(bones: int = 7, *, twisted: bool = True) -> Rig:
    """A riding back: five controls, a base joint, a curve with two grips, a chain on it."""
    points = [(0.0, 0.96, 0.01), (0.0, 1.12, 0.03), (0.01, 1.28, -0.02), (0.0, 1.46, -0.04)]
    fitted = splines.interpolate(points, 3)
    grips = [
        node("path.below", points[0], "body", kind="grip", line=13),
        node("path.above", points[3], "bow", kind="grip", line=14),
    ]
    curve = Curve(
        "path",
        "path",
        fitted.degree,
        fitted.knots,
        fitted.points,
        tuple(Share(k, "path.below" if k < 2 else "path.above", 1.0, at(13)) for k in range(4)),
        origin=at(12),
    )
    controls = [
        node("master", (0.0, 0.0, 0.0), line=5),
        node("body", points[0], "master", line=6),
        node("low", points[0], "body", line=7, turn=quaternion_from_euler((0.1, 0.2, -0.1))),
        node("bow", points[1], "body", line=8),
        node("high", points[3], "bow", line=9, turn=quaternion_from_euler((0.3, -0.2, 0.4))),
        node("seat", points[0], kind="joint", line=10),
    ]
    chain, joints = chain_along(curve, "back", bones, "seat", line=16)
    path = tuple(("body", "low")), tuple(("body", "bow", "high"))
    twist = Twist(
        "back/twist",
        "back",
        TwistEnd("meets", "low", "master", path[0]),
        TwistEnd("meets", "high", "low", path[1]),
        tuple((k + 1) / bones for k in range(bones)),
        origin=at(20),
    )
    constraints: list[Constraint] = [
        follow("seat", "low", line=11),
        follow("path.below", "low", line=13),
        follow("path.above", "high", line=14),
        Ride("back/ride", "back", "path", "seat", volume=Amount(1.0), origin=at(18)),
    ]
    if twisted:
        constraints.append(twist)
    return rig([*controls, *grips, *joints], constraints, chains=(chain,), curves=(curve,))


def chain_along(
    curve: Curve, name: str, bones: int, under: str | None, *, line: int, axis: Axis = "+X"
) -> tuple[Chain, list[Node]]:
    """A chain at graded fractions of a curve's arc length, each joint aimed along its bone."""
    along = splines.Curve(curve.knots, curve.degree, curve.points)
    table = splines.arc_table(along)
    fractions = graded(bones, 0.4)
    places = [
        splines.point_at(along, splines.parameter_at_length(table, share * table.length))
        for share in fractions
    ]
    names = [f"{name}.{k + 1}" for k in range(bones)]
    joints = [
        node(
            names[k],
            places[k],
            under if k == 0 else names[k - 1],
            kind="joint",
            turn=quaternion_from_axes(
                (1.0, 0.0, 0.0), subtract(places[k + 1], places[k]), (0.0, 1.0, 0.0), (0, 0.1, 1)
            ),
            line=line,
            chain=name,
        )
        for k in range(bones)
    ]
    chain = Chain(name, tuple(names), places[-1], axis, curve.name, fractions, origin=at(line))
    return chain, joints


def limb(
    places: list[Vector],
    *,
    pole: Vector | None = (0.3, 1.2, -0.6),
    bend: Vector | None = None,
    goal: Vector | None = None,
    ease: float = 0.0,
) -> Rig:
    """A chain through points that reaches for a hand, with a pole if one is given."""
    names = [f"arm.{k + 1}" for k in range(len(places) - 1)]
    joints = [
        node(
            name,
            places[k],
            "collar" if k == 0 else names[k - 1],
            kind="joint",
            turn=quaternion_from_axes(
                (1.0, 0.0, 0.0), subtract(places[k + 1], places[k]), (0.0, 1.0, 0.0), (0, 0, 1)
            ),
            line=7,
            chain="arm",
        )
        for k, name in enumerate(names)
    ]
    nodes = [
        node("master", line=3),
        node(
            "collar",
            (0.05, 1.4, 0.0),
            "master",
            kind="joint",
            line=4,
            turn=quaternion_from_euler((0.2, 0.5, -0.3)),
        ),
        node("hand", goal if goal is not None else places[-1], "master", line=5),
        *joints,
    ]
    if pole is not None:
        nodes.append(node("guide", pole, "master", line=6))
    chain = Chain("arm", tuple(names), places[-1], "+X", origin=at(7))
    guide = None if pole is None else "guide"
    reach = Reach("arm/reach", "arm", "hand", guide, bend, ease, origin=at(8))
    return rig(nodes, [reach], chains=(chain,))


def arm(**options: object) -> Rig:
    """A two-boned arm, bent at rest, with a pole off its plane."""
    places = [(0.18, 1.42, -0.02), (0.46, 1.30, -0.06), (0.70, 1.22, 0.05)]
    return limb(places, **options)  # type: ignore[arg-type]


def lantern() -> Rig:
    """Follows of every sort: shares, a dial of leaders, about an axis, the world, and a face."""
    space = Dial("space", "number", 0.0, options=("world", "hand", "head"), origin=at(4))
    mix = Dial("mix", "number", 0.25, 0.0, 1.0, origin=at(4))
    nodes = [
        node("master", line=2),
        node("hand", (0.7, 1.2, 0.1), "master", line=3, turn=quaternion_from_euler((0.4, 0.1, 2))),
        node("head", (0.0, 1.6, 0.1), "master", line=4, dials=(space, mix)),
        node("hook", (0.7, 1.0, 0.1), "master", line=5, turn=quaternion_from_euler((1, 0.2, 0.3))),
        node("flame", (0.69, 0.9, 0.12), "hook", line=6),
        node("ring", (0.5, 0.9, 0.12), "master", line=7, turn=quaternion_from_euler((0, 2.5, 0))),
        node("eye", (0.03, 1.62, 0.15), "head", kind="group", line=8),
        node("gaze", (0.1, 1.6, 2.0), "master", line=9),
    ]
    weighed = Follow(
        "flame/follow", "flame", (Leader("hand", 0.3), Leader("head", 0.7)), EVERY, origin=at(6)
    )
    about = replace(follow("ring", "hand", "head", takes=("turn",), line=7), about="+Y")
    dialled = replace(follow("hook", None, "hand", "head", line=5), dial="head.space")
    mixed = replace(
        follow("ring", "hand", "head", takes=("move", "size"), line=7),
        name="ring/follow-move-size",
        dial="head.mix",
    )
    face = Face("eye/face", "eye", "gaze", "+Z", "+Y", "head", "+Y", origin=at(8))
    return rig(nodes, [weighed, about, dialled, mixed, face])


def furnished() -> Rig:
    """A spine with one of everything that can be said."""
    made = spine()
    dials = (
        Dial("space", "number", 1.0, options=("world", "body")),
        Dial("roll", "angle", PI / 6, -PI / 2, PI / 2),
        Dial("rise", "length", 0.02, 0.0, None),
    )
    low = replace(
        made.node("low"),
        dials=dials,
        shape=Shape("ring", 0.33, "+Y", (0.0, 0.02, 0.0)),
        locks=("size.x",),
        limits=(Limit("turn.x", -PI / 6, PI / 3), Limit("move.y", -0.1, 0.1)),
        mirror=Mirror("high", (-1, 1, 1), (1, -1, -1)),
        excuses=(Excuse("travel", "it hangs in the world"),),
        about="turns the hips",
        was="hips",
    )
    feed = Feed(
        "seat.turn.x/feed",
        "seat.turn.x",
        Map(
            Apply("add", (Read("low.roll"), Read("bend"))),
            ((Constant(0.0), Constant(0.0)), (Constant(1.0), Read("low.roll"))),
            smooth=True,
        ),
    )
    gauge = Gauge("bend", "bend", "angle", Measure("angle", ("high", "master")), output=True)
    settings = (Setting("low.turn.y", PI / 4), Setting("low.space", 0.0))
    expectations = (
        Expectation("twists", "back.7", "high", value=PI / 4, within=PI / 360),
        Expectation("at", "high", vector=(0.0, 1.46, -0.04), within=0.001),
    )
    return replace(
        made,
        nodes=tuple(low if one.name == "low" else one for one in made.nodes),
        feeds=(feed,),
        gauges=(gauge,),
        lists=(NamedList("skin", ("back.1", "seat")),),
        poses=(Pose("work", settings),),
        checks=(Check("turns", ("work",), settings, (Sweep("low.move.x", 0, 0.1),), expectations),),
        nudges=(Nudge("low", (0.0, 0.0, -0.003), "a thick coat"),),
    )
