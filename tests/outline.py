"""A settled rig as a short text that a person reads: what the goldens of the cases hold.

In comes a settled rig, out goes a line a fact, in the recipe's unit and in degrees, with numbers
from the canonical encoder. It leaves out what only repeats the recipe (about, shapes' offsets of
zero, defaults) and what the scene's own tests hold (knots, rest offsets of constraints).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from somite import canonical
from somite.ir import (
    Amount,
    Apply,
    Check,
    Constant,
    Constraint,
    Curve,
    Dial,
    Excuse,
    Expectation,
    Face,
    Follow,
    Limit,
    Live,
    Map,
    Measure,
    Node,
    Reach,
    Read,
    Ride,
    Rig,
    Setting,
    Shown,
    Signs,
    Twist,
    TwistEnd,
    Unit,
    Vector,
)
from somite.settle import Settled
from somite.spatial.rotation import rotated
from somite.units import degrees, metres_per

_PLAIN = "xyz"


def outline(settled: Settled) -> str:
    """The whole outline, with a line end after each fact."""
    return "".join(f"{line}\n" for line in _Outline(settled.rig).lines())


class _Outline:
    """Lines about one rig, lengths in its own unit."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.per = metres_per(rig.unit)

    def lines(self) -> Iterator[str]:
        rig = self.rig
        yield f"rig {rig.recipe} {rig.revision} in {rig.unit}, up {rig.up}, front {rig.front}"
        for node in rig.nodes:
            yield from self._node(node)
        for chain in rig.chains:
            along = f" along {chain.curve} at {_row(chain.fractions)}" if chain.curve else ""
            yield f"chain {chain.name} {chain.axis} of {', '.join(chain.joints)}{along}"
            yield f"  end {self._place(chain.end)}"
            yield from _excuses(chain.excuses)
        for curve in rig.curves:
            yield from self._curve(curve)
        for constraint in rig.constraints:
            yield f"{constraint.name}: {self._constraint(constraint)}"
            yield from _excuses(constraint.excuses)
        for feed in rig.feeds:
            yield f"{feed.name}: {live(feed.value)}"
            yield from _excuses(feed.excuses)
        for gauge in rig.gauges:
            what = "output" if gauge.output else "gauge"
            yield f"{what} {gauge.name} ({gauge.unit}): {live(gauge.value)}"
        for named in rig.lists:
            yield f"list {named.name}: {', '.join(named.members)}"
        for pose in rig.poses:
            yield f"pose {pose.name}: {self._settings(pose.settings)}"
        for check in rig.checks:
            yield from self._check(check)
        for nudge in rig.nudges:
            yield f"nudge {nudge.node} by {self._place(nudge.by)}: {nudge.because}"
        for placed in rig.placed:
            x = rotated(placed.ground.turn, (1.0, 0.0, 0.0))
            y = rotated(placed.ground.turn, (0.0, 1.0, 0.0))
            yield (
                f"rig {placed.name}: {placed.recipe} {placed.revision} of {placed.character}, up"
                f" {placed.up}, front {placed.front}, on {placed.socket}"
            )
            yield f"  ground at {self._place(placed.ground.place)}"
            yield f"  turned: x toward {_directed(x)}, y toward {_directed(y)}"
        for rename in rig.renames:
            yield f"was {rename.old}, now {rename.new}"

    def _node(self, node: Node) -> Iterator[str]:
        under = f" under {node.parent}" if node.parent else ""
        yield f"{node.kind} {node.name} ({node.spelled}){under} at {self._place(node.rest.place)}"
        x, y = rotated(node.rest.turn, (1.0, 0.0, 0.0)), rotated(node.rest.turn, (0.0, 1.0, 0.0))
        across, up = _directed(x), _directed(y)
        if (across, up) != ("1 0 0", "0 1 0"):
            yield f"  turned: x toward {across}, y toward {up}"
        flags = {
            f"order {node.order}": node.order != "xyz",
            "keeps size": not node.passes_size,
            "size even": node.size_even,
            "carries all": node.carries_all,
            "stays in world": node.stays_in_world,
            "one-sided": node.one_sided,
            "socket": node.socket,
        }
        said = [flag for flag, holds in flags.items() if holds]
        if said:
            yield f"  {', '.join(said)}"
        if node.shape is not None:
            shape = node.shape
            shifted = f" shifted {self._place(shape.offset)}" if any(shape.offset) else ""
            yield f"  {shape.kind} {self._length(shape.width)} across {shape.axis}{shifted}"
        for one in node.shown:
            yield f"  shown by {self._shown(one)}"
        if node.locks:
            yield f"  locks {', '.join(node.locks)}"
        for limit in node.limits:
            yield f"  limit {self._limit(limit)}"
        for dial in node.dials:
            yield f"  dial {self._dial(dial)}"
        if node.mirror is not None:
            move, turn = _signs(node.mirror.move), _signs(node.mirror.turn)
            yield f"  mirrors {node.mirror.twin}, move {move} turn {turn}"
        yield from _excuses(node.excuses)

    def _shown(self, shown: Shown) -> str:
        above = "" if shown.above is None else f" above {self._dial_worth(shown, shown.above)}"
        below = "" if shown.below is None else f" below {self._dial_worth(shown, shown.below)}"
        chosen = [self._dial_worth(shown, float(option)) for option in shown.options]
        return f"{shown.dial}{above}{below}" + (f" is {', '.join(chosen)}" if chosen else "")

    def _dial_worth(self, shown: Shown, value: float) -> str:
        return self._channel_worth(shown.dial, value)

    def _limit(self, limit: Limit) -> str:
        unit: Unit = "number"
        if limit.channel.startswith("move"):
            unit = "length"
        elif limit.channel.startswith("turn"):
            unit = "angle"
        return f"{limit.channel} {self._worth(limit.low, unit)}..{self._worth(limit.high, unit)}"

    def _dial(self, dial: Dial) -> str:
        said = (("neutral", dial.neutral), ("flips", dial.flips))
        flags = "".join(f" {word}" for word, holds in said if holds)
        if dial.options:
            default = dial.options[int(dial.default)]
            return f"{dial.name} of {', '.join(dial.options)} = {default}{flags}"
        low = "" if dial.low is None else self._worth(dial.low, dial.unit)
        high = "" if dial.high is None else self._worth(dial.high, dial.unit)
        bounds = f" in {low}..{high}" if low or high else ""
        return f"{dial.name} ({dial.unit}) = {self._worth(dial.default, dial.unit)}{bounds}{flags}"

    def _curve(self, curve: Curve) -> Iterator[str]:
        under = f" under {curve.parent}" if curve.parent else ""
        yield f"curve {curve.name} ({curve.spelled}){under} of degree {curve.degree}"
        owners: dict[int, list[str]] = {}
        for share in curve.shares:
            whole = "" if share.share == 1.0 else f" by {canonical.unit_number(share.share)}"
            owners.setdefault(share.point, []).append(f"{share.grip}{whole}")
        for number, point in enumerate(curve.points):
            owner = ", ".join(owners.get(number, []))
            yield f"  point {number + 1} at {self._place(point)}" + (f", {owner}" if owner else "")
        yield from _excuses(curve.excuses)

    def _constraint(self, made: Constraint) -> str:
        match made:
            case Follow():
                return _follow(made)
            case Face():
                up = f"{made.up_axis} of {made.up_node}" if made.up_node else made.up_axis
                exact = ", exactly" if made.exact else ""
                return f"points {made.axis} at {made.mark}, {made.up} up to {up}{exact}"
            case Ride():
                carrier = made.carrier or "world"
                return (
                    f"rides {made.curve}, carried by {carrier}, stretch {_amount(made.stretch)},"
                    f" volume {_amount(made.volume)}"
                )
            case Reach():
                pole = f", pole {made.pole}" if made.pole else ""
                bend = f", bends toward {_directed(made.bend)}" if made.bend else ""
                ease = f", ease {canonical.unit_number(made.ease)}" if made.ease else ""
                stretch = f", stretch {_amount(made.stretch)}"
                return f"reaches {made.goal}{pole}{bend}{ease}{stretch}"
            case Twist():
                ends = [f"start {_end(made.start)}"] if made.start else []
                ends += [f"end {_end(made.end)}", f"spread {made.stated} {_row(made.spread)}"]
                ends += [f"ignores {', '.join(made.ignores)}"] if made.ignores else []
                return "twists, " + ", ".join(ends)

    def _settings(self, settings: Iterable[Setting]) -> str:
        return ", ".join(
            f"{one.channel} = {self._channel_worth(one.channel, one.value)}" for one in settings
        )

    def _channel_worth(self, channel: str, value: float) -> str:
        node, _, name = channel.rpartition(".")
        dials = {f"{n.name}.{d.name}": d for n in self.rig.nodes for d in n.dials}
        if channel in dials:
            dial = dials[channel]
            return dial.options[int(value)] if dial.options else self._worth(value, dial.unit)
        part = node.rpartition(".")[2]
        units: dict[str, Unit] = {"move": "length", "turn": "angle"}
        return self._worth(value, units.get(part, "number") if name in _PLAIN else "number")

    def _check(self, check: Check) -> Iterator[str]:
        yield f"check {check.name}"
        for pose in check.poses:
            yield f"  pose {pose}"
        if check.settings:
            yield f"  pose {self._settings(check.settings)}"
        for sweep in check.sweeps:
            start = self._channel_worth(sweep.channel, sweep.start)
            yield f"  pose {sweep.channel} from {start} to " + self._channel_worth(
                sweep.channel, sweep.stop
            )
        for one in check.expectations:
            yield f"  expect {self._expectation(one)}"

    def _expectation(self, one: Expectation) -> str:
        unit: Unit = "number"
        if one.what in ("at", "apart", "still", "mirrors", "ground"):
            unit = "length"
        elif one.what in ("points", "turns", "twists"):
            unit = "angle"
        elif one.what == "reads":
            unit = next(gauge.unit for gauge in self.rig.gauges if gauge.name == one.subject)
        words = [one.subject, one.what]
        if one.axis is not None:
            words.append(one.axis)
        if one.vector is not None:
            words.append(self._place(one.vector) if one.what == "at" else _directed(one.vector))
        if one.value is not None:
            words.append(self._worth(one.value, unit))
        if one.other is not None:
            words.append(f"with {one.other}")
        return f"{' '.join(words)} within {self._worth(one.within, unit)}"

    def _length(self, metres: float) -> str:
        return str(canonical.number(metres / self.per))

    def _place(self, place: Vector) -> str:
        return " ".join(canonical.numbers([value / self.per for value in place]))

    def _worth(self, value: float, unit: Unit) -> str:
        if unit == "length":
            return f"{self._length(value)} {self.rig.unit}"
        if unit == "angle":
            return f"{canonical.number(degrees(value))} deg"
        return str(canonical.number(value))


def _follow(made: Follow) -> str:
    leaders = []
    for leader in made.leaders:
        weight = "" if leader.weight == 1.0 else f" {canonical.unit_number(leader.weight)}"
        leaders.append(f"{leader.node or 'world'}{weight}")
    about = f" about {made.about}" if made.about else ""
    dial = f", by {made.dial}" if made.dial else ""
    verb = "lands on" if made.landing else "follows"
    return f"{verb} {', '.join(leaders)} for {', '.join(made.takes)}{about}{dial}"


def _end(end: TwistEnd) -> str:
    if end.mode == "from":
        return f"from {end.node}"
    path = f" through {', '.join(end.path)}" if end.path else ""
    return f"meets {end.node} relative to {end.relative or 'world'}{path}"


def _amount(amount: Amount) -> str:
    share = str(canonical.unit_number(amount.value))
    return f"{amount.channel} ({share})" if amount.channel else share


def live(value: Live) -> str:
    """A live number as nested calls; constants are in metres, radians or one."""
    match value:
        case Constant():
            return str(canonical.unit_number(value.value))
        case Read():
            return value.channel
        case Apply():
            return f"{value.operation}({', '.join(live(operand) for operand in value.operands)})"
        case Map():
            pairs = ", ".join(f"{live(start)} -> {live(stop)}" for start, stop in value.pairs)
            return f"map{' smooth' if value.smooth else ''}({live(value.value)}: {pairs})"
        case Measure():
            axis = f", {value.axis}" if value.axis else ""
            return f"{value.what} of ({', '.join(value.of)}{axis})"


def _excuses(excuses: Iterable[Excuse]) -> Iterator[str]:
    for excuse in excuses:
        yield f"  excused {excuse.law}: {excuse.because}"


def _directed(direction: Sequence[float]) -> str:
    return " ".join(canonical.unit_numbers(direction))


def _row(values: Iterable[float]) -> str:
    return ", ".join(canonical.unit_numbers(values))


def _signs(signs: Signs) -> str:
    return "".join("+" if sign > 0 else "-" for sign in signs)
