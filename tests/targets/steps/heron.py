"""A small whole rig for tests of instructions: the heron postal clerk, with one of everything.

A riding back with twist, an arm that reaches, eyes on a mark, a satchel that follows by a dial, a
lantern that stays in the world, feeds by formula and by table, and a pair of feathers.
"""

from __future__ import annotations

from dataclasses import replace

from rigs import EVERY, at, follow, node, spine

from somite.ir import (
    Amount,
    Apply,
    Chain,
    Check,
    Constant,
    Dial,
    Excuse,
    Expectation,
    Face,
    Feed,
    Follow,
    Gauge,
    Leader,
    Limit,
    Map,
    Measure,
    Mirror,
    NamedList,
    Node,
    Nudge,
    Pose,
    Reach,
    Read,
    Rig,
    Setting,
    Shape,
    Sweep,
)
from somite.order import order
from somite.settle import Settled, settle
from somite.spatial.rotation import quaternion_from_axes
from somite.spatial.vector import subtract
from somite.units import PI

SHOULDER, ELBOW, WRIST = (0.18, 1.42, -0.02), (0.46, 1.30, -0.06), (0.70, 1.22, 0.05)
SPACE = Dial("space", "number", 1.0, options=("world", "body", "high"), neutral=True, origin=at(31))
ROLL = Dial("roll", "angle", 0.0, -PI / 6, PI / 2, origin=at(32))
STRETCH = Dial("stretch", "number", 0.0, 0.0, 1.0, origin=at(33))


def settled(rig: Rig) -> Settled:
    """A rig ordered and settled, which must go without a finding of error."""
    plan, findings = order(rig)
    assert plan is not None, findings
    found, findings = settle(rig, plan)
    assert found is not None, findings
    return found


def heron() -> Rig:
    made = spine()
    nodes = [_dressed(one) for one in made.nodes]
    nodes += _arm_nodes()
    nodes += [
        node("skeleton", kind="group", line=50),
        replace(node("seat.tail", (0, 0.9, -0.1), "seat", kind="joint", line=51), about="the tail"),
        node("gaze", (0.0, 1.6, 2.0), "master", line=52),
        node("eye", (0.03, 1.6, 0.1), "high", kind="group", line=53),
        node("satchel", (0.3, 1.0, 0.1), "master", line=54),
        node("strap", (0.2, 1.2, 0.1), "master", line=55),
        replace(node("lantern", (0.0, 2.0, 0.5), line=56), stays_in_world=True),
        _feather("left", 0.1),
        _feather("right", -0.1),
    ]
    chain = Chain("arm", ("arm.1", "arm.2"), WRIST, "+X", origin=at(43))
    reach = Reach("arm/reach", "arm", "hand", "guide", None, 0.05, Amount(0.0, "hand.stretch"))
    constraints = (
        *made.constraints,
        replace(reach, origin=at(44)),
        follow("skeleton", "master", line=50),
        Face("eye/face", "eye", "gaze", "+Z", "+Y", "high", "+Y", origin=at(53)),
        replace(follow("satchel", None, "body", "high", line=54), dial="hand.space"),
        Follow("strap/follow", "strap", (Leader("low", 1.0), Leader("high", 3.0)), EVERY, "+Y"),
    )
    return replace(
        made,
        nodes=tuple(nodes),
        chains=(*made.chains, chain),
        constraints=constraints,
        feeds=_feeds(),
        gauges=(Gauge("bend", "bend", "angle", Measure("angle", ("high", "low")), True, at(60)),),
        lists=(NamedList("skin", ("seat", "back.1", "arm.1"), at(61)),),
        poses=(Pose("bow_down", (Setting("bow.turn.x", PI / 6),), at(62)),),
        checks=_checks(),
        nudges=(Nudge("arm.2", (0.0, 0.0, -0.003), "the sleeve is thick", at(70)),),
    )


def _dressed(one: Node) -> Node:
    if one.name == "master":
        return replace(one, carries_all=True, shape=Shape("ring", 0.6, "+Y"), size_even=True)
    if one.name == "seat":
        return replace(one, parent="skeleton")
    if one.name == "low":
        limits = (Limit("turn.x", -PI / 6, PI / 3), Limit("move.y", -0.1, 0.1))
        locks = ("size.x", "size.y", "size.z", "move.x")
        shape = Shape("ring", 0.33, "+Y", (0.0, 0.02, 0.0))
        return replace(one, limits=limits, locks=locks, shape=shape, order="zxy")
    return one


def _arm_nodes() -> list[Node]:
    def aimed(name: str, start: tuple[float, ...], stop: tuple[float, ...], under: str) -> Node:
        x, y, z = start
        a, b, c = stop
        bone = subtract((a, b, c), (x, y, z))
        turn = quaternion_from_axes((1.0, 0.0, 0.0), bone, (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
        return node(name, (x, y, z), under, kind="joint", turn=turn, line=43, chain="arm")

    return [
        node("hand", WRIST, "master", line=40, dials=(SPACE, ROLL, STRETCH)),
        node("guide", (0.3, 1.2, -0.6), "master", line=41),
        aimed("arm.1", SHOULDER, ELBOW, "high"),
        aimed("arm.2", ELBOW, WRIST, "arm.1"),
    ]


def _feather(side: str, x: float) -> Node:
    other = "right" if side == "left" else "left"
    mirror = Mirror(f"feather.{other}", (-1, 1, 1), (1, -1, -1))
    made = replace(node(f"feather.{side}", (x, 1.7, 0.0), "high", line=57), mirror=mirror)
    excuse = Excuse("calm", "it is blown by the wind", at(57))
    return replace(made, excuses=(excuse,)) if side == "left" else made


def _feeds() -> tuple[Feed, ...]:
    half = Apply("multiply", (Read("hand.roll"), Constant(0.5)))
    held = Apply("clamp", (half, Constant(0.0), Constant(PI / 6)))
    rows = (
        (Constant(0.0), Constant(0.0)),
        (Constant(PI / 4), Constant(0.02)),
        (Constant(PI / 2), Constant(0.03)),
    )
    return (
        Feed("seat.tail.turn.x/feed", "seat.tail.turn.x", held, origin=at(58)),
        Feed("seat.tail.move.z/feed", "seat.tail.move.z", Map(Read("hand.roll"), rows)),
    )


def _checks() -> tuple[Check, ...]:
    degree = PI / 180.0
    half = 0.5 * degree
    expectations = (
        Expectation("twists", "back.7", "high", value=40 * degree, within=half),
        Expectation("twists", "back.7", axis="+X", value=40 * degree, within=half),
        Expectation("at", "master", vector=(0.0, 0.0, 0.0), within=0.001),
        Expectation("points", "eye", axis="+Z", vector=(0.0, 0.0, 1.0), within=half),
        Expectation("turns", "high", value=40 * degree, within=half),
        Expectation("turns", "high", "low", value=40 * degree, within=half),
        Expectation("apart", "hand", "arm.end", value=0.0, within=0.001),
        Expectation("keeps", "back", within=0.001),
        Expectation("still", "seat", within=0.001),
        Expectation("mirrors", "feather.left", "feather.right", within=0.001),
        Expectation("ground", "master", within=0.001),
        Expectation("reads", "bend", value=40 * degree, within=half),
    )
    turned = (Setting("high.turn.y", 40 * degree),)
    sweep = (Sweep("low.turn.x", -PI / 6, PI / 6),)
    return (
        Check(
            "turning the chest turns the last bone with it", (), turned, (), expectations, at(64)
        ),
        Check("bowing keeps the feet", ("bow_down",), (), sweep, expectations[8:9], at(66)),
        Check("the clerk stands", (), (), (), expectations[10:11], at(68)),
    )
