"""The scene target: a settled rig as one neutral JSON file for a loader to read.

In comes a settled rig, out goes canonical JSON: lengths in the recipe's unit, angles in degrees,
nodes named as outputs spell them, and each record with the recipe lines that made it. It
expresses every kind of the IR and knows nothing of any application.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from somite.canonical import (
    Json,
    Numeral,
    exact,
    number,
    numbers,
    quaternion,
    text,
    unit_number,
    unit_numbers,
)
from somite.findings import Finding
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
    Live,
    Map,
    Measure,
    Node,
    PlacedRig,
    Pose,
    Quaternion,
    Reach,
    Read,
    Ride,
    Rig,
    Setting,
    Shown,
    Twist,
    Unit,
    Vector,
)
from somite.order import channel_node
from somite.spatial.rotation import matrix_from_quaternion
from somite.target import KINDS, Context, Output, Target
from somite.text import Origin
from somite.units import degrees, metres_per

if TYPE_CHECKING:
    from somite.settle import Settled, TwistEndRest

FORMAT = "somite-scene 1"
SUFFIX = ".scene.json"

Record = dict[str, Json]

_ANGLES = frozenset({"points", "turns", "twists"})


def emit(settled: Settled, context: Context) -> tuple[tuple[Output, ...], tuple[Finding, ...]]:
    """The scene file of a rig; it has no findings, since it expresses everything."""
    return (Output(SUFFIX, text(scene(settled, context))),), ()


def scene(settled: Settled, context: Context) -> Record:
    """The scene as a tree of plain values, its keys in the order in which they are written."""
    rig = settled.rig
    writer = _Writer(settled)
    return {
        "format": FORMAT,
        "units": _units(rig),
        "nodes": [writer.node(node) for node in rig.nodes],
        "sockets": [node.spelled for node in rig.nodes if node.socket],
        "rigs": [writer.placed(placed) for placed in rig.placed],
        "curves": [writer.curve(curve) for curve in rig.curves],
        "chains": [writer.chain(chain) for chain in rig.chains],
        "constraints": [writer.constraint(constraint) for constraint in rig.constraints],
        "feeds": [writer.feed(feed) for feed in rig.feeds],
        "gauges": [writer.gauge(gauge) for gauge in rig.gauges],
        "lists": [
            {
                "name": named.name,
                "members": [writer.spelled(member) for member in named.members],
                **({} if named.about is None else {"about": named.about}),
                "lines": lines(named.origin),
            }
            for named in rig.lists
        ],
        "poses": [writer.pose(pose) for pose in rig.poses],
        "order": [writer.step(step) for step in settled.plan.steps],
        "checks": [writer.check(check) for check in rig.checks],
        "nudges": [
            {
                "node": writer.spelled(nudge.node),
                "by": writer.lengths(nudge.by),
                "because": nudge.because,
                "lines": lines(nudge.origin),
            }
            for nudge in rig.nudges
        ],
        "origin": {
            "recipe": rig.recipe,
            "revision": rig.revision,
            "character": rig.character,
            "recipe_digest": context.recipe_digest,
            "sheet_digest": context.sheet_digest,
            "compiler": context.compiler_version,
        },
    }


def lines(origin: Origin) -> list[Json]:
    """Where something was written, as "file:line", its own statement first; never a full path."""
    return list(dict.fromkeys(f"{_relative(site.file)}:{site.line}" for site in origin))


def _relative(file: str) -> str:
    file = file.replace("\\", "/")
    full = file.startswith("/") or file[1:3] == ":/"
    return file.rpartition("/")[2] if full else file


def _units(rig: Rig) -> Record:
    return {
        "length": rig.unit,
        "metres_per_unit": exact(metres_per(rig.unit)),
        "angle": "degrees",
        "up": rig.up,
        "front": rig.front,
        "height": number(rig.height / metres_per(rig.unit)),
        "expressions": {"length": "metres", "angle": "radians"},
    }


class _Writer:
    """Records of one rig as plain values: names spelled, numbers in the units of the file."""

    def __init__(self, settled: Settled) -> None:
        rig = settled.rig
        self.settled = settled
        self.unit = metres_per(rig.unit)
        self.spelling: dict[str, str] = {node.name: node.spelled for node in rig.nodes}
        self.curve_spelling = {curve.name: curve.spelled for curve in rig.curves}
        self.gauges: dict[str, Gauge] = {gauge.name: gauge for gauge in rig.gauges}
        self.dials: dict[str, Dial] = {
            f"{node.name}.{dial.name}": dial for node in rig.nodes for dial in node.dials
        }

    def spelled(self, name: str) -> str:
        """A node, curve or gauge as outputs spell it; anything else by its own name."""
        if name in self.spelling:
            return self.spelling[name]
        if name in self.curve_spelling:
            return self.curve_spelling[name]
        return self.gauges[name].spelled if name in self.gauges else name

    def spelled_or_none(self, name: str | None) -> str | None:
        return None if name is None else self.spelled(name)

    def channel(self, name: str | None) -> str | None:
        """A channel or dial of a node, the node spelled: `arm_left_hand.turn.x`; or a gauge."""
        if name is None or name in self.gauges:
            return self.spelled_or_none(name)
        node = channel_node(name)
        return self.spelled(node) + name[len(node) :]

    def step(self, step: str) -> str:
        """A step of the plan: a node taken apart keeps the aspect after its spelled name."""
        node, _, aspect = step.rpartition(".")
        if step not in self.spelling and node in self.settled.plan.split:
            return f"{self.spelled(node)}.{aspect}"
        return self.spelled(step)

    def length(self, metres: float) -> Numeral:
        return number(metres / self.unit)

    def lengths(self, vector: Vector | tuple[float, ...]) -> list[Numeral]:
        return numbers(part / self.unit for part in vector)

    def value(self, value: float, unit: Unit) -> Numeral:
        if unit == "length":
            return self.length(value)
        return number(degrees(value) if unit == "angle" else value)

    def unit_of(self, channel: str) -> Unit:
        """The unit of a channel, dial or gauge."""
        if channel in self.gauges:
            return self.gauges[channel].unit
        if channel in self.dials:
            return self.dials[channel].unit
        part = channel.rpartition(".")[0].rpartition(".")[2]
        return {"move": "length", "turn": "angle"}.get(part, "number")  # type: ignore[return-value]

    def frame(self, frame: Frame) -> Record:
        return {"translation": self.lengths(frame.place), "rotation": quaternion(frame.turn)}

    def node(self, node: Node) -> Record:
        rest = self.settled.locals[node.name]
        record: Record = {
            "name": node.spelled,
            "id": node.name,
            "kind": node.kind,
            "parent": self.spelled_or_none(node.parent),
            "rest": {**self.frame(rest), "scale": unit_numbers((1.0, 1.0, 1.0))},
            "world": self._world(node.rest),
            "turn_order": node.order,
            "passes_size": node.passes_size,
        }
        record.update(self._marks(node))
        record.update(self._channels(node))
        record["lines"] = lines(node.origin)
        return record

    def _world(self, frame: Frame) -> list[Json]:
        """Four rows for column vectors: linear part to 1e-12, place to 1e-9."""
        rows: list[Json] = [
            [*unit_numbers(row), self.length(place)]
            for row, place in zip(matrix_from_quaternion(frame.turn), frame.place, strict=True)
        ]
        return [*rows, unit_numbers((0.0, 0.0, 0.0, 1.0))]

    def _marks(self, node: Node) -> Iterator[tuple[str, Json]]:
        """What is said of a node beside its place, where it is said."""
        if node.carries_all:
            yield "carries_all", True
        if node.stays_in_world:
            yield "stays_in_world", True
        if node.one_sided:
            yield "one_sided", True
        if node.socket:
            yield "socket", True
        if node.chain is not None:
            yield "chain", node.chain
        if node.mirror is not None:
            yield (
                "mirror",
                {
                    "twin": self.spelled(node.mirror.twin),
                    "move": list(node.mirror.move),
                    "turn": list(node.mirror.turn),
                },
            )
        if node.was is not None:
            yield "was", node.was
        if node.about is not None:
            yield "about", node.about
        if node.excuses:
            yield "excuses", _excuses(node.excuses)

    def _shown(self, shown: Shown) -> Record:
        """A condition under which a control is shown."""
        record: Record = {"dial": self.channel(shown.dial)}
        if shown.options:
            dial = self.dials[shown.dial]
            record["is"] = [dial.options[option] for option in shown.options]
            return record
        unit = self.unit_of(shown.dial)
        record["above"] = None if shown.above is None else self.value(shown.above, unit)
        record["below"] = None if shown.below is None else self.value(shown.below, unit)
        return record

    def _channels(self, node: Node) -> Iterator[tuple[str, Json]]:
        """A node's shape and what holds for its channels, where anything does."""
        if node.shape is not None:
            shape = node.shape
            yield (
                "shape",
                {
                    "kind": shape.kind,
                    "width": self.length(shape.width),
                    "axis": shape.axis,
                    "offset": self.lengths(shape.offset),
                },
            )
        if node.shown:
            yield "shown", [self._shown(shown) for shown in node.shown]
        if node.size_even:
            yield "size_even", True
        if node.locks:
            yield "locks", list(node.locks)
        if node.limits:
            yield (
                "limits",
                [
                    {
                        "channel": limit.channel,
                        "low": self.value(limit.low, self.unit_of(f"{node.name}.{limit.channel}")),
                        "high": self.value(
                            limit.high, self.unit_of(f"{node.name}.{limit.channel}")
                        ),
                    }
                    for limit in node.limits
                ],
            )
        if node.dials:
            yield "dials", [self._dial(dial) for dial in node.dials]

    def _dial(self, dial: Dial) -> Record:
        record: Record = {"name": dial.name}
        if dial.options:
            record["options"] = list(dial.options)
            record["default"] = dial.options[int(dial.default)]
        else:
            record["unit"] = dial.unit
            record["default"] = self.value(dial.default, dial.unit)
            record["low"] = None if dial.low is None else self.value(dial.low, dial.unit)
            record["high"] = None if dial.high is None else self.value(dial.high, dial.unit)
        record["neutral"] = dial.neutral
        record["flips"] = dial.flips
        if dial.about is not None:
            record["about"] = dial.about
        return record

    def placed(self, placed: PlacedRig) -> Record:
        """Another recipe's rig on a socket: the ids of its nodes begin with its id."""
        record: Record = {
            "name": placed.spelled,
            "id": placed.name,
            "recipe": placed.recipe,
            "character": placed.character,
            "revision": placed.revision,
            "socket": self.spelled(placed.socket),
            "ground": self.frame(placed.ground),
            "up": placed.up,
            "front": placed.front,
        }
        return _closed(record, (), placed.origin, placed.about)

    def curve(self, curve: Curve) -> Record:
        rest = self.settled.curves[curve.name]
        record: Record = {
            "name": curve.spelled,
            "id": curve.name,
            "parent": self.spelled_or_none(curve.parent),
            "degree": curve.degree,
            "knots": unit_numbers(curve.knots),
            "points": [self.lengths(point) for point in curve.points],
            "shares": [
                {
                    "point": share.point,
                    "grip": self.spelled(share.grip),
                    "share": unit_number(share.share),
                    "offset": self.lengths(local),
                }
                for share, local in zip(curve.shares, rest.held, strict=True)
            ],
            "length": self.length(rest.length),
        }
        return _closed(record, curve.excuses, curve.origin, curve.about)

    def chain(self, chain: Chain) -> Record:
        record: Record = {
            "name": chain.name,
            "joints": [self.spelled(joint) for joint in chain.joints],
            "end": self.lengths(chain.end),
            "axis": chain.axis,
            "curve": self.spelled_or_none(chain.curve),
            "fractions": unit_numbers(chain.fractions),
        }
        return _closed(record, chain.excuses, chain.origin, chain.about)

    def constraint(self, constraint: Constraint) -> Record:
        record: Record = {"name": constraint.name}
        match constraint:
            case Follow():
                record.update(self._follow(constraint))
            case Face():
                record.update(self._face(constraint))
            case Ride():
                record.update(self._ride(constraint))
            case Reach():
                record.update(self._reach(constraint))
            case Twist():
                record.update(self._twist(constraint))
        return _closed(record, constraint.excuses, constraint.origin)

    def _follow(self, follow: Follow) -> Record:
        leaders: list[Json] = []
        offsets = self.settled.follows[follow.name]
        bases = self.settled.abouts.get(follow.name)
        for k, (leader, offset) in enumerate(zip(follow.leaders, offsets, strict=True)):
            record: Record = {
                "node": self.spelled_or_none(leader.node),
                "weight": unit_number(leader.weight),
                "offset": self.frame(offset),
            }
            if bases is not None:
                record["base"] = quaternion(bases[k])
            leaders.append(record)
        return {
            "kind": "follow",
            "node": self.spelled(follow.node),
            "takes": list(follow.takes),
            "about": follow.about,
            "dial": self.channel(follow.dial),
            "landing": follow.landing,
            "leaders": leaders,
        }

    def _face(self, face: Face) -> Record:
        return {
            "kind": "face",
            "node": self.spelled(face.node),
            "mark": self.spelled(face.mark),
            "axis": face.axis,
            "up": face.up,
            "up_node": self.spelled_or_none(face.up_node),
            "up_axis": face.up_axis,
            "exact": face.exact,
            "offset": quaternion(self.settled.faces[face.name].offset),
        }

    def _ride(self, ride: Ride) -> Record:
        rest = self.settled.rides[ride.name]
        return {
            "kind": "ride",
            "chain": ride.chain,
            "curve": self.spelled(ride.curve),
            "carrier": self.spelled_or_none(rest.carrier),
            "start": quaternion(rest.start),
            "stretch": self._amount(ride.stretch),
            "volume": self._amount(ride.volume),
            "parameters": unit_numbers(rest.parameters),
            "fractions": unit_numbers(rest.fractions),
            "bones": self.lengths(rest.bones),
            "curve_length": self.length(rest.curve_length),
            "rolls": _turns(rest.rolls),
        }

    def _reach(self, reach: Reach) -> Record:
        rest = self.settled.reaches[reach.name]
        return {
            "kind": "reach",
            "chain": reach.chain,
            "goal": self.spelled(reach.goal),
            "pole": self.spelled_or_none(reach.pole),
            "pole_angle": number(degrees(rest.pole_angle)),
            "ease": unit_number(reach.ease),
            "ease_from": self.length(rest.ease_from),
            "stretch": self._amount(reach.stretch),
            "straight": rest.straight,
            "bones": self.lengths(rest.bones),
            "line": unit_numbers(rest.line),
            "bend": unit_numbers(rest.bend),
            "points": [self.lengths(point) for point in rest.points],
            "offsets": _turns(rest.offsets),
        }

    def _twist(self, twist: Twist) -> Record:
        rest = self.settled.twists[twist.name]
        start: Json = None
        if twist.start is not None and rest.start is not None:
            start = self._twist_end(twist.start.mode, twist.start.relative, rest.start)
        return {
            "kind": "twist",
            "chain": twist.chain,
            "axis": unit_numbers(rest.axis),
            "start": start,
            "end": self._twist_end(twist.end.mode, twist.end.relative, rest.end),
            "stated": twist.stated,
            "spread": unit_numbers(twist.spread),
            "ignores": [self.spelled(name) for name in twist.ignores],
        }

    def _twist_end(self, mode: str, relative: str | None, rest: TwistEndRest) -> Record:
        return {
            "mode": mode,
            "node": self.spelled(rest.node),
            "relative": self.spelled_or_none(relative),
            "offset": quaternion(rest.offset),
            "path": [
                {"node": self.spelled(name), "axis": unit_numbers(axis)} for name, axis in rest.path
            ],
        }

    def _amount(self, amount: Amount) -> Record:
        return {"value": unit_number(amount.value), "channel": self.channel(amount.channel)}

    def feed(self, feed: Feed) -> Record:
        record: Record = {
            "name": feed.name,
            "target": self.channel(feed.target),
            "value": self.live(feed.value),
        }
        return _closed(record, feed.excuses, feed.origin)

    def gauge(self, gauge: Gauge) -> Record:
        record: Record = {
            "name": gauge.spelled,
            "id": gauge.name,
            "unit": gauge.unit,
            "output": gauge.output,
            "value": self.live(gauge.value),
        }
        return _closed(record, (), gauge.origin, gauge.about)

    def live(self, value: Live) -> Record:
        """A live expression; its numbers stay in metres and radians, as `units` says."""
        match value:
            case Constant():
                return {"kind": "constant", "value": unit_number(value.value)}
            case Read():
                return {"kind": "read", "channel": self.channel(value.channel)}
            case Apply():
                return {
                    "kind": "apply",
                    "operation": value.operation,
                    "operands": [self.live(operand) for operand in value.operands],
                }
            case Map():
                return {
                    "kind": "map",
                    "value": self.live(value.value),
                    "smooth": value.smooth,
                    "pairs": [[self.live(a), self.live(b)] for a, b in value.pairs],
                }
            case Measure():
                return {
                    "kind": "measure",
                    "what": value.what,
                    "of": [self.spelled(name) for name in value.of],
                    "axis": value.axis,
                }

    def setting(self, setting: Setting) -> Record:
        return {
            "channel": self.channel(setting.channel),
            "value": self._setting_value(setting.channel, setting.value),
        }

    def _setting_value(self, channel: str, value: float) -> Json:
        dial = self.dials.get(channel)
        if dial is not None and dial.options:
            return dial.options[int(value)]
        return self.value(value, self.unit_of(channel))

    def pose(self, pose: Pose) -> Record:
        record: Record = {
            "name": pose.name,
            "settings": [self.setting(setting) for setting in pose.settings],
        }
        return _closed(record, (), pose.origin, pose.about)

    def check(self, check: Check) -> Record:
        record: Record = {
            "name": check.name,
            "poses": list(check.poses),
            "settings": [self.setting(setting) for setting in check.settings],
            "sweeps": [
                {
                    "channel": self.channel(sweep.channel),
                    "from": self._setting_value(sweep.channel, sweep.start),
                    "to": self._setting_value(sweep.channel, sweep.stop),
                }
                for sweep in check.sweeps
            ],
            "expectations": [self.expectation(one) for one in check.expectations],
        }
        return _closed(record, (), check.origin, check.about)

    def expectation(self, expectation: Expectation) -> Record:
        """What is expected; an absent fact is left out."""
        unit = self._expected_unit(expectation)
        record: Record = {
            "what": expectation.what,
            "subject": self.spelled(expectation.subject),
        }
        if expectation.other is not None:
            record["other"] = self.spelled(expectation.other)
        if expectation.axis is not None:
            record["axis"] = expectation.axis
        if expectation.vector is not None:
            direction = expectation.what == "points"
            vector = expectation.vector
            record["vector"] = unit_numbers(vector) if direction else self.lengths(vector)
        if expectation.value is not None:
            record["value"] = self.value(expectation.value, unit)
        if expectation.rig is not None:
            record["rig"] = expectation.rig
        record["within"] = self.value(expectation.within, unit)
        record["text"] = expectation.text
        return record

    def _expected_unit(self, expectation: Expectation) -> Unit:
        if expectation.what in _ANGLES:
            return "angle"
        if expectation.what == "keeps":
            return "number"  # How far off its length: a share of it.
        return self.unit_of(expectation.subject) if expectation.what == "reads" else "length"


def _turns(turns: tuple[Quaternion, ...]) -> list[Json]:
    return [quaternion(turn) for turn in turns]


def _excuses(excuses: tuple[Excuse, ...]) -> list[Json]:
    return [{"law": excuse.law, "because": excuse.because} for excuse in excuses]


def _closed(
    record: Record, excuses: tuple[Excuse, ...], origin: Origin, about: str | None = None
) -> Record:
    """A record with what every record ends in: what it is for, its excuses, its lines."""
    if about is not None:
        record["about"] = about
    if excuses:
        record["excuses"] = _excuses(excuses)
    record["lines"] = lines(origin)
    return record


TARGET = Target(
    name="scene",
    about="a neutral scene graph in JSON, for a loader",
    expresses=KINDS,
    emit=emit,
)
"""The scene target."""
