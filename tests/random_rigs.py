"""Rigs put together at random, with everything that the kernel can do, for properties of all rigs.

What stands where is drawn; what may lead what is not: a thing reads only things made before it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from rigs import at, chain_along, rig

from somite.ir import (
    Amount,
    Apply,
    Chain,
    Constant,
    Constraint,
    Curve,
    Dial,
    Face,
    Feed,
    Follow,
    Frame,
    Gauge,
    Leader,
    Map,
    Measure,
    Node,
    Reach,
    Read,
    Ride,
    Rig,
    Share,
    Twist,
    TwistEnd,
)
from somite.spatial import curve as splines
from somite.spatial.rotation import quaternion_from_axes, quaternion_from_euler
from somite.spatial.vector import subtract

AXES = ("+X", "-X", "+Y", "-Y", "+Z", "-Z")
DIALS = (
    Dial("space", "number", 1.0, options=("first", "second", "third")),
    Dial("mix", "number", 0.3, 0.0, 1.0),
    Dial("wide", "number", 0.5, -1.0, 3.0),
    Dial("loose", "number", 0.0),
    Dial("roll", "angle", 0.2, -3.0, 3.0),
    Dial("stretch", "number", 0.5, 0.0, 1.0),
    Dial("volume", "number", 0.5, 0.0, 1.0),
)


class Workshop:
    """A rig under way."""

    def __init__(self, seed: int) -> None:
        self.draw = np.random.default_rng(seed)
        self.nodes: list[Node] = []
        self.constraints: list[Constraint] = []
        self.chains: list[Chain] = []
        self.curves: list[Curve] = []
        self.feeds: list[Feed] = []
        self.gauges: list[Gauge] = []

    def maybe(self, share: float) -> bool:
        return bool(self.draw.random() < share)

    def place(self, spread: float = 1.0) -> tuple[float, float, float]:
        x, y, z = self.draw.uniform(-spread, spread, 3).tolist()
        return x, y + 1.0, z

    def one_of(self, things):
        return things[int(self.draw.integers(len(things)))]

    def leader(self) -> str:
        """Any node made so far."""
        return self.one_of(self.nodes).name

    def add(self, name: str, kind: str = "control", under: str | None = None, **more) -> Node:
        turn = quaternion_from_euler(tuple(self.draw.uniform(-3.0, 3.0, 3).tolist()))
        made = Node(
            name,
            name.replace(".", "_"),
            kind,
            under,
            Frame(more.pop("place", None) or self.place(), turn),
            order=self.one_of(("xyz", "xzy", "yxz", "yzx", "zxy", "zyx")),
            passes_size=self.maybe(0.7),
            size_even=self.maybe(0.4),
            origin=at(1),
            **more,
        )
        self.nodes.append(made)
        return made

    # ---- what constrains -------------------------------------------------------------------------

    def follow(self, name: str, leaders: list[str | None], takes: tuple[str, ...]) -> None:
        """Stated weights, a choice or a blend; of one leader or of several."""
        weights = [float(weight) for weight in self.draw.uniform(0.0, 1.0, len(leaders))]
        if self.maybe(0.2):
            weights[0] = 0.0
        made = Follow(
            f"{name}/follow-{'-'.join(takes)}",
            name,
            tuple(map(Leader, leaders, weights)),
            takes,
            landing=self.maybe(0.2),
            origin=at(2),
        )
        if self.maybe(0.6):
            dial = "space" if len(leaders) == 3 and self.maybe(0.5) else None
            made = replace(made, dial=f"panel.{dial or self.one_of(('mix', 'wide', 'loose'))}")
        if takes == ("turn",) and self.maybe(0.4):
            made = replace(made, about=self.one_of(AXES), landing=False)
        self.constraints.append(made)

    def followers(self) -> None:
        for k in range(int(self.draw.integers(2, 7))):
            under = self.leader() if self.maybe(0.8) else None
            count = int(self.draw.integers(1, 5))
            leaders: list[str | None] = [self.leader() for _ in range(count)]
            if self.maybe(0.3):
                leaders[0] = None
            every = ("move", "turn", "size")
            takes = tuple(part for part in every if self.maybe(0.6)) or ("turn",)
            name = self.add(f"follower{k}", self.one_of(("control", "joint", "group")), under).name
            self.follow(name, leaders, takes)

    def faces(self) -> None:
        for k in range(int(self.draw.integers(0, 3))):
            mark, up = self.leader(), self.leader()
            name = self.add(f"face{k}", "group", self.leader()).name
            axis = self.one_of(AXES)
            across = [other for other in AXES if other[1] != axis[1]]
            up_axis = self.one_of(AXES)
            self.constraints.append(
                Face(
                    f"{name}/face", name, mark, axis, self.one_of(across), up, up_axis, origin=at(3)
                )
            )

    def back(self) -> None:
        """A chain that rides on a curve, which may stretch, twist and be carried."""
        degree = int(self.draw.integers(1, 4))
        count = degree + 1 + int(self.draw.integers(0, 4))
        steps = self.draw.uniform(0.1, 0.4, (count, 3)) * (1.0, 1.5, self.draw.choice([-1.0, 1.0]))
        points = [tuple(map(float, point)) for point in np.cumsum(steps, axis=0)]
        fitted = splines.interpolate(points, degree)
        parent = self.leader() if self.maybe(0.4) else None
        grips = [self.add(f"grip{k}", "grip", self.leader()).name for k in range(3)]
        shares = []
        for k in range(count):
            if parent is not None and self.maybe(0.3):
                continue  # a point that nobody owns
            if self.maybe(0.3):
                shares += [Share(k, grips[0], 0.25), Share(k, grips[1], 0.75)]
            else:
                shares.append(Share(k, self.one_of(grips), 1.0))
        curve = Curve(
            "path",
            "path",
            degree,
            fitted.knots,
            fitted.points,
            tuple(shares),
            parent,
            origin=at(4),
        )
        seat, carrier = self.add("seat", "joint", self.leader()).name, self.leader()
        axis = self.one_of(("+X", "+Y", "-Z"))
        chain, joints = chain_along(curve, "back", int(self.draw.integers(2, 6)), seat, line=5)
        chain = replace(chain, axis=axis)
        self.nodes += [replace(one, passes_size=self.maybe(0.5)) for one in joints]
        self.curves.append(curve)
        self.chains.append(chain)
        self.constraints.append(
            Ride(
                "back/ride",
                "back",
                "path",
                carrier,
                self.amount("stretch"),
                self.amount("volume"),
            )
        )
        if self.maybe(0.7):
            self.twist("back", carrier)
        self.gauges.append(Gauge("length", "length", "number", Measure("stretch", ("path",))))

    def amount(self, dial: str) -> Amount:
        if self.maybe(0.5):
            return Amount(0.5, f"panel.{dial}")
        return Amount(float(self.one_of((0.0, 1.0, 0.4))))

    def twist(self, chain: str, before: str) -> None:
        controls = [
            one
            for one in self.nodes
            if one.kind == "control" and one.parent is None and not one.dials
        ]
        first, last = self.one_of(controls).name, self.one_of(controls).name
        start = TwistEnd("meets", first, None, (first,)) if self.maybe(0.5) else None
        end = TwistEnd("meets", last, None, (last,))
        if self.maybe(0.3):
            end = TwistEnd("from", last, before)
        joints = next(one for one in self.chains if one.name == chain).joints
        spread = tuple((k + 1) / len(joints) for k in range(len(joints)))
        ignores = (last,) if end.mode == "meets" and self.maybe(0.3) else ()
        self.constraints.append(
            Twist(f"{chain}/twist", chain, start, end, spread, ignores=ignores, origin=at(6))
        )

    def limb(self, name: str) -> None:
        """A chain that reaches: of two bones or more, bent or straight at rest."""
        bones = int(self.draw.integers(2, 5))
        root = self.place(0.5)
        straight = self.maybe(0.3)
        places = [root]
        for k in range(bones):
            side = 0.0 if straight else 0.12 * (-1.0) ** k
            x, y, z = places[-1]
            places.append((x + 0.3, y + side, z + (0.0 if straight else 0.02 * k)))
        under = self.add(f"{name}.root", "joint", self.leader(), place=root).name
        names = [f"{name}.{k + 1}" for k in range(bones)]
        for k, joint in enumerate(names):
            along, up = subtract(places[k + 1], places[k]), (0.0, 0.1, 1.0)
            turn = quaternion_from_axes((1.0, 0.0, 0.0), along, (0.0, 1.0, 0.0), up)
            made = self.add(joint, "joint", under if k == 0 else names[k - 1], place=places[k])
            self.nodes[-1] = replace(made, rest=Frame(places[k], turn), chain=name)
        goal = self.add(f"{name}.goal", "control", None, place=places[-1]).name
        pole = None
        if self.maybe(0.7):
            x, y, z = places[1]
            pole = self.add(f"{name}.pole", "control", None, place=(x, y + 0.5, z + 0.1)).name
        self.chains.append(Chain(name, tuple(names), places[-1], "+X", origin=at(7)))
        bend = (0.0, 1.0, 0.1) if straight else None
        ease = float(self.one_of((0.0, 0.1)))
        self.constraints.append(
            Reach(f"{name}/reach", name, goal, pole, bend, ease, self.amount("stretch"))
        )
        if self.maybe(0.5):
            self.gauges.append(Gauge(name, name, "number", Measure("stretch", (name,))))

    # ---- numbers ---------------------------------------------------------------------------------

    def numbers(self) -> None:
        first, second = self.leader(), self.leader()
        self.gauges += [
            Gauge("apart", "apart", "length", Measure("distance", (first, second))),
            Gauge("angle", "angle", "angle", Measure("angle", (second, first))),
            Gauge("turned", "turned", "angle", Measure("twist", (first, second), "+Y")),
        ]
        values = [Read("panel.loose"), Read("panel.wide"), Read("apart"), Constant(0.4)]
        for k in range(4):
            values.append(self.operation(values))
            self.gauges.append(Gauge(f"number{k}", f"number{k}", "number", values[-1]))
        fed = self.add("fed", "group", first).name
        for part in ("turn.x", "move.y", "size.z"):
            if self.maybe(0.6):
                value = Map(
                    self.one_of(values),
                    (
                        (Constant(-1.0), Constant(0.3)),
                        (Constant(0.2), Read("panel.mix")),
                        (Read("panel.wide"), Constant(0.8)),
                        (Constant(4.0), Constant(1.4)),
                    ),
                    smooth=self.maybe(0.5),
                )
                self.feeds.append(Feed(f"{fed}.{part}/feed", f"{fed}.{part}", value))

    def crossed(self) -> None:
        """Two controls, each turned by where the other is, which are taken apart for it."""
        first = self.leader()
        pair = [self.add(f"crossed{k}", "control", first).name for k in range(2)]
        self.add("crossed.under", "joint", pair[0])
        for one, other in (pair, pair[::-1]):
            far = Measure("distance", (other, first))
            self.feeds.append(Feed(f"{one}.turn.y/feed", f"{one}.turn.y", far))

    def operation(self, values):
        one, two, three = (self.one_of(values) for _ in range(3))
        return self.one_of(
            (
                Apply("add", (one, two)),
                Apply("subtract", (one, two)),
                Apply("multiply", (one, two)),
                Apply("divide", (one, two)),
                Apply("negate", (one,)),
                Apply("minimum", (one, two, three)),
                Apply("maximum", (one, two, three)),
                Apply("clamp", (one, Constant(-0.5), Constant(0.7))),
                Apply("absolute", (one,)),
                Apply("root", (one,)),
                Apply("sine", (one,)),
                Apply("cosine", (one,)),
                Apply("modulo", (one, Constant(0.7))),
                Apply("is", (Read("panel.space"), Constant(2.0))),
            )
        )


def random_rig(seed: int) -> Rig:
    """A rig with something of everything; the same for the same seed."""
    shop = Workshop(seed)
    shop.add("panel", dials=DIALS)
    for k in range(int(shop.draw.integers(3, 8))):
        under = shop.leader() if shop.maybe(0.6) else None
        shop.add(f"control{k}", "control", under)
    shop.add("top")
    for make in shop.draw.permutation(
        [shop.followers, shop.faces, shop.back, lambda: shop.limb("arm"), lambda: shop.limb("leg")]
    ):
        if shop.maybe(0.8):
            make()
    shop.numbers()
    if shop.maybe(0.5):
        shop.crossed()
    made = rig(
        shop.nodes,
        shop.constraints,
        chains=tuple(shop.chains),
        curves=tuple(shop.curves),
        height=2.0,
    )
    return replace(made, feeds=tuple(shop.feeds), gauges=tuple(shop.gauges))
