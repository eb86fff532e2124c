"""A scene file read back: the rig that it holds, as far as it holds one.

In comes the text of a scene file, out come a rig in metres and radians and the facts that no scene
file holds, or findings. Numbers are those of the file, rounded as it rounds them; lines have no
columns. `held` passes a rig through the form of a scene file, so that it can be compared with one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from somite.axes import Axes
from somite.findings import Code, Finding
from somite.ir import (
    Amount,
    Apply,
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
    Live,
    Map,
    Measure,
    Mirror,
    NamedList,
    Node,
    Nudge,
    PlacedRig,
    Pose,
    Reach,
    Read,
    Ride,
    Rig,
    Setting,
    Shape,
    Share,
    Shown,
    Sweep,
    Twist,
    TwistEnd,
    Unit,
)
from somite.spatial.rotation import quaternion_from_matrix, rotated
from somite.text import Origin, Site, Source
from somite.units import metres_per, radians

if TYPE_CHECKING:
    from somite.settle import Settled

SCENE_INVALID = Code("scene-invalid")

UNHELD = ("Reach.bend", "Rig.about", "Rig.renames")
"""Facts of a rig that no scene file holds; how a reach bends, it holds as it was worked out."""

MOST_FINDINGS = 5
"""Findings reported for one file: one mistake makes many."""

Raw = Mapping[str, Any]

_ANGLES = frozenset({"points", "turns", "twists"})


def read_scene_rig(source: Source) -> tuple[Rig | None, tuple[Finding, ...]]:
    """The rig that a scene file's text holds, or None and what is wrong with the text."""
    from pydantic import ValidationError

    from somite import document
    from somite.targets.scene_model import read_scene

    try:
        scene = read_scene(source.text)
    except ValidationError as error:
        return None, tuple(_invalid(source, error))
    try:
        rig = _Reading(scene.model_dump()).rig()
        # What is named must be there: the document of the rig is checked for that when it is read.
        return document.read_rig(Source(source.name, document.rig_text(rig)))
    except (KeyError, ValueError) as missing:
        message = f"expected a scene file that is whole, found no {missing} in it"
        help = "build the scene again with this compiler"
        return None, (SCENE_INVALID.at(source.site(0, 1), message, help=help),)


def held(settled: Settled) -> Rig:
    """A rig as a scene file holds it: the file of a settled rig, read back."""
    from somite.canonical import text
    from somite.target import Context
    from somite.targets.scene import scene
    from somite.targets.scene_model import read_scene

    return _Reading(read_scene(text(scene(settled, Context()))).model_dump()).rig()


def _invalid(source: Source, error: Any) -> list[Finding]:
    found = []
    for mistake in error.errors(include_url=False)[:MOST_FINDINGS]:
        where = ".".join(str(part) for part in mistake["loc"]) or "the file"
        problem = mistake["msg"][:1].lower() + mistake["msg"][1:]
        found.append(
            SCENE_INVALID.at(
                source.site(0, 1),
                f'expected a scene file ("somite-scene 1"), found at "{where}": {problem}',
                help="build the scene again with this compiler",
            )
        )
    return found


class _Reading:
    """One scene under way: names as the recipe has them, lengths in metres."""

    def __init__(self, raw: Raw) -> None:
        self.raw = raw
        self.metres = metres_per(raw["units"]["length"])
        self.nodes = {node["name"]: node["id"] for node in raw["nodes"]}
        self.things = {
            one["name"]: one["id"] for one in (*raw["gauges"], *raw["curves"], *raw["nodes"])
        }
        self.gauges = {gauge["name"]: gauge for gauge in raw["gauges"]}
        self.dials: dict[str, Raw] = {
            f"{node['id']}.{dial['name']}": dial for node in raw["nodes"] for dial in node["dials"]
        }
        self.mounts: dict[str, Frame] = {}

    def rig(self) -> Rig:
        """The whole."""
        raw, units = self.raw, self.raw["units"]
        nodes = tuple([self.node(one) for one in raw["nodes"]])
        self.mounts = {node.name: node.rest for node in nodes}
        chains = tuple([self.chain(one) for one in raw["chains"]])
        self.first = {chain.name: chain.joints[0] for chain in chains}
        origin = raw["origin"]
        made = self.record(
            Rig,
            {},
            recipe=origin["recipe"],
            character=origin["character"],
            revision=origin["revision"],
            about="",
            unit=units["length"],
            up=units["up"],
            front=units["front"],
            mirror_axis=Axes(units["up"], units["front"]).left,
            height=units["height"] * self.metres,
            nodes=nodes,
            chains=chains,
            curves=tuple([self.curve(one) for one in raw["curves"]]),
            constraints=tuple([self.constraint(one) for one in raw["constraints"]]),
            feeds=tuple([self.feed(one) for one in raw["feeds"]]),
            gauges=tuple([self.gauge(one) for one in raw["gauges"]]),
            lists=tuple([self.named_list(one) for one in raw["lists"]]),
            poses=tuple([self.pose(one) for one in raw["poses"]]),
            checks=tuple([self.check(one) for one in raw["checks"]]),
            nudges=tuple([self.nudge(one) for one in raw["nudges"]]),
            placed=tuple([self.placed(one) for one in raw["rigs"]]),
        )
        assert isinstance(made, Rig)
        return made

    # ---- what records are made of --------------------------------------------------------------

    def record(self, kind: Any, raw: Raw, **given: Any) -> Any:
        """A record of the IR: what is given, else what the file has under the field's own name."""
        taken: dict[str, Any] = {}
        for field in fields(kind):
            if field.name in given:
                taken[field.name] = given[field.name]
            elif field.name == "origin":
                taken["origin"] = _origin(raw.get("lines", ()))
            elif field.name == "excuses":
                taken["excuses"] = tuple(
                    [Excuse(one["law"], one["because"]) for one in raw.get("excuses", ())]
                )
            elif field.name in raw:
                taken[field.name] = _frozen(raw[field.name])
        return kind(**taken)

    def name(self, spelled: str | None) -> Any:
        """The dotted name of a node, a curve or a gauge; of anything else its own."""
        return spelled if spelled is None else self.things.get(spelled, spelled)

    def channel(self, spelled: str | None) -> Any:
        """The dotted name of a channel, a dial or a gauge."""
        if spelled is None or spelled in self.gauges:
            return self.name(spelled)
        head, _, last = spelled.rpartition(".")
        node, _, part = head.rpartition(".")
        if part in ("move", "turn", "size") and last in ("x", "y", "z") and node in self.nodes:
            return f"{self.nodes[node]}.{part}.{last}"
        return f"{self.nodes.get(head, head)}.{last}"

    def lengths(self, values: Sequence[float]) -> Any:
        return tuple([value * self.metres for value in values])

    def value(self, value: float, unit: Unit) -> float:
        if unit == "length":
            return value * self.metres
        return radians(value) if unit == "angle" else value

    def unit_of(self, channel: str) -> Unit:
        if channel in self.dials:
            return self.dials[channel]["unit"] or "number"
        units: dict[str, Unit] = {"move": "length", "turn": "angle"}
        return units.get(channel.split(".")[-2], "number")

    def set_value(self, channel: str, value: float | str) -> float:
        """A value of a channel, a choice's word as its index."""
        if isinstance(value, str):
            return float(list(self.dials[channel]["options"]).index(value))
        return self.value(value, self.unit_of(channel))

    def amount(self, raw: Raw) -> Amount:
        return Amount(raw["value"], self.channel(raw["channel"]))

    # ---- things --------------------------------------------------------------------------------

    def node(self, raw: Raw) -> Node:
        rows = raw["world"]
        first, second, third = (tuple(row[:3]) for row in rows[:3])
        turn = quaternion_from_matrix((first, second, third))
        node: Node = self.record(
            Node,
            raw,
            name=raw["id"],
            spelled=raw["name"],
            parent=self.name(raw["parent"]),
            rest=Frame(self.lengths([row[3] for row in rows[:3]]), turn),
            order=raw["turn_order"],
            limits=tuple([self.limit(one) for one in raw["limits"]]),
            dials=tuple([self.dial(one) for one in raw["dials"]]),
            shape=self.shape(raw["shape"]),
            mirror=self.mirror(raw["mirror"]),
            shown=tuple([self.shown(one) for one in raw["shown"]]),
        )
        return node

    def shown(self, raw: Raw) -> Shown:
        """A condition for a control to be shown."""
        dial = self.channel(raw["dial"])
        options = tuple([int(self.set_value(dial, word)) for word in raw["options"]])
        bounds = [
            None if raw[side] is None else self.value(raw[side], self.unit_of(dial))
            for side in ("above", "below")
        ]
        return Shown(dial, bounds[0], bounds[1], options)

    def limit(self, raw: Raw) -> Limit:
        unit = self.unit_of(f".{raw['channel']}")
        return Limit(raw["channel"], self.value(raw["low"], unit), self.value(raw["high"], unit))

    def dial(self, raw: Raw) -> Dial:
        unit: Unit = raw["unit"] or "number"
        default = raw["default"]
        if isinstance(default, str):
            default = float(list(raw["options"]).index(default))
        else:
            default = self.value(default, unit)
        low, high = (
            None if raw[side] is None else self.value(raw[side], unit) for side in ("low", "high")
        )
        made: Dial = self.record(Dial, raw, unit=unit, default=default, low=low, high=high)
        return made

    def shape(self, raw: Raw | None) -> Shape | None:
        if raw is None:
            return None
        offset, width = self.lengths(raw["offset"]), raw["width"] * self.metres
        made: Shape = self.record(Shape, raw, width=width, offset=offset)
        return made

    def mirror(self, raw: Raw | None) -> Mirror | None:
        if raw is None:
            return None
        return Mirror(self.name(raw["twin"]), tuple(raw["move"]), tuple(raw["turn"]))

    def chain(self, raw: Raw) -> Chain:
        made: Chain = self.record(
            Chain,
            raw,
            joints=tuple([self.name(joint) for joint in raw["joints"]]),
            end=self.lengths(raw["end"]),
            curve=self.name(raw["curve"]),
        )
        return made

    def curve(self, raw: Raw) -> Curve:
        shares = [
            Share(one["point"], self.name(one["grip"]), one["share"]) for one in raw["shares"]
        ]
        made: Curve = self.record(
            Curve,
            raw,
            name=raw["id"],
            spelled=raw["name"],
            parent=self.name(raw["parent"]),
            points=tuple([self.lengths(point) for point in raw["points"]]),
            shares=tuple(shares),
        )
        return made

    def constraint(self, raw: Raw) -> Constraint:
        made: Constraint = getattr(self, f"_{raw['kind']}")(raw)
        return made

    def _follow(self, raw: Raw) -> Follow:
        leaders = [Leader(self.name(one["node"]), one["weight"]) for one in raw["leaders"]]
        made: Follow = self.record(
            Follow,
            raw,
            node=self.name(raw["node"]),
            leaders=tuple(leaders),
            dial=self.channel(raw["dial"]),
        )
        return made

    def _face(self, raw: Raw) -> Face:
        named = {field: self.name(raw[field]) for field in ("node", "mark", "up_node")}
        made: Face = self.record(Face, raw, **named)
        return made

    def _ride(self, raw: Raw) -> Ride:
        made: Ride = self.record(
            Ride,
            raw,
            curve=self.name(raw["curve"]),
            carrier=self.name(raw["carrier"]),
            stretch=self.amount(raw["stretch"]),
            volume=self.amount(raw["volume"]),
        )
        return made

    def _reach(self, raw: Raw) -> Reach:
        mount = self.mounts[self.first[raw["chain"]]]
        made: Reach = self.record(
            Reach,
            raw,
            goal=self.name(raw["goal"]),
            pole=self.name(raw["pole"]),
            bend=rotated(mount.turn, tuple(raw["bend"])),
            stretch=self.amount(raw["stretch"]),
        )
        return made

    def _twist(self, raw: Raw) -> Twist:
        made: Twist = self.record(
            Twist,
            raw,
            start=None if raw["start"] is None else self.twist_end(raw["start"]),
            end=self.twist_end(raw["end"]),
            ignores=tuple([self.name(one) for one in raw["ignores"]]),
        )
        return made

    def twist_end(self, raw: Raw) -> TwistEnd:
        path = tuple([self.name(one["node"]) for one in raw["path"]])
        return TwistEnd(raw["mode"], self.name(raw["node"]), self.name(raw["relative"]), path)

    # ---- wiring --------------------------------------------------------------------------------

    def live(self, raw: Raw) -> Live:
        """A live expression: its numbers are metres and radians in the file, too."""
        match raw["kind"]:
            case "constant":
                return Constant(raw["value"])
            case "read":
                return Read(self.channel(raw["channel"]))
            case "apply":
                return Apply(raw["operation"], tuple([self.live(one) for one in raw["operands"]]))
            case "map":
                pairs = tuple([(self.live(a), self.live(b)) for a, b in raw["pairs"]])
                return Map(self.live(raw["value"]), pairs, raw["smooth"])
            case _:
                of = tuple([self.name(one) for one in raw["of"]])
                return Measure(raw["what"], of, raw["axis"])

    def feed(self, raw: Raw) -> Feed:
        made: Feed = self.record(
            Feed, raw, target=self.channel(raw["target"]), value=self.live(raw["value"])
        )
        return made

    def gauge(self, raw: Raw) -> Gauge:
        made: Gauge = self.record(
            Gauge, raw, name=raw["id"], spelled=raw["name"], value=self.live(raw["value"])
        )
        return made

    def named_list(self, raw: Raw) -> NamedList:
        members = tuple([self.name(one) for one in raw["members"]])
        made: NamedList = self.record(NamedList, raw, members=members)
        return made

    # ---- poses and checks ----------------------------------------------------------------------

    def settings(self, raw: Sequence[Raw]) -> tuple[Setting, ...]:
        found = []
        for one in raw:
            channel = self.channel(one["channel"])
            found.append(Setting(channel, self.set_value(channel, one["value"])))
        return tuple(found)

    def pose(self, raw: Raw) -> Pose:
        made: Pose = self.record(Pose, raw, settings=self.settings(raw["settings"]))
        return made

    def check(self, raw: Raw) -> Check:
        sweeps = []
        for one in raw["sweeps"]:
            channel = self.channel(one["channel"])
            ends = [self.set_value(channel, one[side]) for side in ("start", "stop")]
            sweeps.append(Sweep(channel, ends[0], ends[1]))
        made: Check = self.record(
            Check,
            raw,
            settings=self.settings(raw["settings"]),
            sweeps=tuple(sweeps),
            expectations=tuple([self.expectation(one) for one in raw["expectations"]]),
        )
        return made

    def expectation(self, raw: Raw) -> Expectation:
        unit = self._expected_unit(raw)
        vector, value = raw["vector"], raw["value"]
        if vector is not None:
            vector = tuple(vector) if raw["what"] == "points" else self.lengths(vector)
        made: Expectation = self.record(
            Expectation,
            raw,
            subject=self.name(raw["subject"]),
            other=self.name(raw["other"]),
            vector=vector,
            value=None if value is None else self.value(value, unit),
            within=self.value(raw["within"], unit),
        )
        return made

    def _expected_unit(self, raw: Raw) -> Unit:
        """The unit in which the file has an expectation's numbers."""
        if raw["what"] in _ANGLES:
            return "angle"
        if raw["what"] == "keeps":
            return "number"  # How far off its length: a share of it.
        if raw["what"] != "reads":
            return "length"
        gauge = self.gauges.get(raw["subject"])
        return gauge["unit"] if gauge is not None else self.unit_of(self.channel(raw["subject"]))

    def nudge(self, raw: Raw) -> Nudge:
        made: Nudge = self.record(
            Nudge, raw, node=self.name(raw["node"]), by=self.lengths(raw["by"])
        )
        return made

    def placed(self, raw: Raw) -> PlacedRig:
        """Another recipe's rig on a socket."""
        ground = raw["ground"]
        made: PlacedRig = self.record(
            PlacedRig,
            raw,
            name=raw["id"],
            spelled=raw["name"],
            socket=self.name(raw["socket"]),
            ground=Frame(self.lengths(ground["translation"]), tuple(ground["rotation"])),
            mirror_axis=Axes(raw["up"], raw["front"]).left,
        )
        return made


def _frozen(value: Any) -> Any:
    return tuple([_frozen(one) for one in value]) if isinstance(value, list | tuple) else value


def _origin(lines: Sequence[str]) -> Origin:
    """Sites from "file:line" texts; a file may have a colon in its name."""
    found = []
    for line in lines:
        file, _, number = line.rpartition(":")
        found.append(Site(file, int(number) if number.isdigit() else 1, 1))
    return tuple(found)
