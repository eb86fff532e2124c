"""Live expressions: what is worked out at every pose, as IR.

What does not read the rig is worked out now and becomes a constant. Dimensions are checked as in
built expressions. On the reflected side of a mirror, what is read and written carries the signs of
the node it belongs to.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from somite.expansion import grounds
from somite.expansion.entities import ChainEntity, CurveEntity, NodeEntity, Placed, ValueEntity
from somite.expansion.nodes import axis_of
from somite.expansion.scope import Scope
from somite.expansion.state import BUILT_READS_LIVE, PARTS, TOO_LARGE, Stop
from somite.expansion.values import Choice, Handle, Quantity, named
from somite.findings import Code, nearest
from somite.ir import Apply, Constant, Live, Map, Measure, Read
from somite.syntax import Argument, Binary, Call, Clause, Direction, Reference, Unary
from somite.units import ANGLE, LENGTH, NUMBER, Dimension, dimension_name

LIVE_VALUE = Code("live-value")
SKEW_MIRROR = Code("skew-mirror")

CHANNEL_DIMENSIONS = {"move": LENGTH, "turn": ANGLE, "size": NUMBER}
MOST_NESTED = 100
"""Operations within each other in one live value: many a reader of JSON gives up soon after."""
UNIT_DIMENSIONS: dict[str, Dimension] = {"number": NUMBER, "length": LENGTH, "angle": ANGLE}


@dataclass(frozen=True, slots=True)
class Flow:
    """A live number with its dimension; `options` where it is a choice's index."""

    value: Live
    dimension: Dimension
    options: tuple[str, ...] = ()


def live_value(expression: Argument, scope: Scope) -> Flow:
    """The live number that an expression states, nested no deeper than a reader can follow."""
    made = flow(expression, scope)
    level: list[Live] = [made.value]
    for _ in range(MOST_NESTED):
        level = [inner for value in level for inner in _inside(value)]
        if not level:
            return made
    raise scope.stop(
        TOO_LARGE,
        expression,
        f"expected at most {MOST_NESTED} operations within each other in a live value, found more",
        help="make gauges of parts of it, and read those",
    )


def _inside(value: Live) -> tuple[Live, ...]:
    if isinstance(value, Apply):
        return value.operands
    if isinstance(value, Map):
        return (value.value, *(side for pair in value.pairs for side in pair))
    return ()


def flow(expression: Argument, scope: Scope) -> Flow:
    """The live number that an expression states."""
    if isinstance(expression, Reference):
        return _reference(expression, scope)
    if isinstance(expression, Unary) and expression.operator == "-":
        operand = flow(expression.operand, scope)
        return Flow(_negated(operand.value), operand.dimension)
    if isinstance(expression, Binary):
        return _binary(expression, scope)
    if isinstance(expression, Call):
        return _call(expression, scope)
    return _built(expression, scope)


def _built(expression: Argument, scope: Scope) -> Flow:
    value = scope.worth(expression)
    if isinstance(value, Quantity):
        return Flow(Constant(value.value), value.dimension)
    if isinstance(value, bool):
        return Flow(Constant(float(value)), NUMBER)
    raise scope.stop(
        LIVE_VALUE,
        expression,
        f"expected a number, found {named(value)}",
        help="a live value is a number; measure places with distance(a, b) or angle(a, b)",
    )


def _constant(node: Live) -> float | None:
    return node.value if isinstance(node, Constant) else None


def _negated(node: Live) -> Live:
    known = _constant(node)
    if known is not None:
        return Constant(-known if known else 0.0)
    if isinstance(node, Apply) and node.operation == "negate":
        return node.operands[0]
    return Apply("negate", (node,))


def _reference(expression: Reference, scope: Scope) -> Flow:
    value = scope.look_up(expression, nodes_first=False)
    if not isinstance(value, Handle):
        value = scope.look_up(expression, nodes_first=True)
    if isinstance(value, Handle):
        if isinstance(value.entity, ValueEntity) and value.entity.kind in ("gauge", "output"):
            unit = value.entity.unit
            if unit in ("later", "working"):
                value.entity.scope.build.gauge_unit(value.entity)
                unit = value.entity.unit
            return Flow(Read(value.entity.dotted), UNIT_DIMENSIONS[unit])
        if isinstance(value.entity, NodeEntity) and value.rest:
            return read(expression, value.entity, value.rest, scope)
    return _built(expression, scope)


def read(node: Argument, entity: NodeEntity, rest: tuple[str | int, ...], scope: Scope) -> Flow:
    """The present value of a channel or a dial, as a scope sees it."""
    name = ".".join(map(str, rest))
    if rest[0] in PARTS:
        if len(rest) < 2:
            raise scope.stop(
                LIVE_VALUE,
                node,
                f'expected one channel, found all three of "{name}"',
                help=f"write {name}.x, {name}.y or {name}.z",
            )
        channel = Read(f"{entity.dotted}.{name}")
        dimension = CHANNEL_DIMENSIONS[str(rest[0])]
        value: Live = channel
        if sign_for(entity, name, scope, node) < 0:
            value = _negated(channel)
        return Flow(value, dimension)
    dial = entity.dials[str(rest[0])]
    value = Read(f"{entity.dotted}.{name}")
    if dial.flips and scope.mirrored:
        value = _negated(value)
    return Flow(value, UNIT_DIMENSIONS[dial.unit], dial.options)


def sign_for(entity: NodeEntity, channel: str, scope: Scope, node: Argument) -> int:
    """The sign between a channel as a scope means it and the rig's own."""
    part, axis = channel.split(".")
    if not scope.mirrored or part == "size":
        return 1
    signs = entity.signs() if entity.scope.mirrored else _midline_signs(entity, scope)
    if signs is None:
        raise scope.stop(
            SKEW_MIRROR,
            node,
            f'"{entity.dotted}" leans, so that its channel "{channel}" has no mirror image',
            help="read it outside the mirror block, or stand the node like the rig",
            related=[(entity.site, "declared here")],
        )
    return signs[0 if part == "move" else 1]["xyz".index(axis)]


def _midline_signs(entity: NodeEntity, scope: Scope) -> Any:
    """Signs of M = Rᵀ·S·R of a node that stands for itself in the mirror, if it is diagonal."""
    from somite.spatial import rotation

    real = grounds.frame_above(entity.real_frame(), entity.scope.build, scope.build)
    rows = rotation.matrix_from_quaternion(real.turn)
    at = scope.build.mirror_index
    normal = rows[at]  # The mirror plane's normal in the node's own axes.
    largest = max(range(3), key=lambda i: abs(normal[i]))
    if abs(normal[largest]) < 1.0 - 1e-9:
        return None
    move = tuple([-1 if i == largest else 1 for i in range(3)])
    return move, tuple([-sign for sign in move])


# ---- operations ----------------------------------------------------------------------------------

_ARITHMETIC = {"+": "add", "-": "subtract", "*": "multiply", "/": "divide"}


def _binary(expression: Binary, scope: Scope) -> Flow:
    operator = expression.operator
    left = flow(expression.left, scope)
    if operator in ("is", "is not") and left.options:
        word = scope.word(expression.right, left.options)
        return _is(expression, left, word, scope)
    if operator not in _ARITHMETIC:
        raise scope.stop(
            LIVE_VALUE,
            expression,
            f'"{operator}" gives no number',
            help="compare a choice dial with is, or shape a number with clamp or a map",
        )
    right = flow(expression.right, scope)
    if operator in "+-" and left.dimension != right.dimension:
        raise scope.stop(
            LIVE_VALUE,
            expression,
            f"can not {_ARITHMETIC[operator]} {dimension_name(left.dimension)} and "
            f"{dimension_name(right.dimension)}",
        )
    if operator == "/" and _constant(right.value) == 0.0:
        raise scope.stop(LIVE_VALUE, expression, "can not divide by zero")
    dimension = left.dimension
    if operator == "*":
        dimension = (dimension[0] + right.dimension[0], dimension[1] + right.dimension[1])
    elif operator == "/":
        dimension = (dimension[0] - right.dimension[0], dimension[1] - right.dimension[1])
    if _constant(left.value) is not None and _constant(right.value) is not None:
        return _built(expression, scope)
    operands = (left.value, right.value)
    return Flow(Apply(_ARITHMETIC[operator], operands), dimension)  # type: ignore[arg-type]


def _is(expression: Binary, left: Flow, word: Choice, scope: Scope) -> Flow:
    if word.word not in left.options:
        near = nearest(word.word, left.options)
        raise scope.stop(
            LIVE_VALUE,
            expression.right,
            f'expected one of the choices, found "{word.word}"',
            help=f'did you mean "{near}"?' if near else "choices are " + ", ".join(left.options),
        )
    chosen = Apply("is", (left.value, Constant(float(left.options.index(word.word)))))
    if expression.operator == "is":
        return Flow(chosen, NUMBER)
    return Flow(Apply("subtract", (Constant(1.0), chosen)), NUMBER)


_SAME = {"min": "minimum", "max": "maximum", "clamp": "clamp", "modulo": "modulo"}
_PLAIN = {"sin": ("sine", ANGLE), "cos": ("cosine", ANGLE)}
_MEASURES = ("distance", "angle", "twist", "stretch")
_COUNTS = {"clamp": 3, "modulo": 2}


def _call(expression: Call, scope: Scope) -> Flow:
    name = expression.function
    if name in _MEASURES:
        return _measure(expression, scope)
    if name in _SAME:
        return _same(expression, scope)
    if name in _PLAIN or name in ("abs", "sqrt"):
        if len(expression.arguments) != 1:
            raise scope.stop(LIVE_VALUE, expression, f"{name} takes 1 value")
        inner = flow(expression.arguments[0], scope)
        if _constant(inner.value) is not None:
            return _built(expression, scope)
        if name == "abs":
            return Flow(Apply("absolute", (inner.value,)), inner.dimension)
        if name == "sqrt":
            half = (inner.dimension[0] / 2, inner.dimension[1] / 2)
            return Flow(Apply("root", (inner.value,)), half)
        operation, wanted = _PLAIN[name]
        if inner.dimension != wanted:
            raise scope.stop(
                LIVE_VALUE,
                expression.arguments[0],
                f"expected an angle, found {dimension_name(inner.dimension)}",
                help="turn a number into an angle: sin(phase * 360 deg)",
            )
        return Flow(Apply(operation, (inner.value,)), NUMBER)  # type: ignore[arg-type]
    try:
        return _built(expression, scope)
    except Stop as stop:
        if stop.finding is None or stop.finding.code != BUILT_READS_LIVE.slug:
            raise
    raise scope.stop(
        LIVE_VALUE,
        expression,
        f"{name} is worked out once, from the sheet, and is given what changes with every pose",
        help="of the helpers, min, max, clamp, modulo, abs, sqrt, sin and cos can be live",
    )


def _same(expression: Call, scope: Scope) -> Flow:
    name = expression.function
    parts = [flow(argument, scope) for argument in expression.arguments]
    wanted = _COUNTS.get(name)
    if (wanted is not None and len(parts) != wanted) or not parts:
        raise scope.stop(
            LIVE_VALUE, expression, f"{name} takes {wanted or 'some'} values, found {len(parts)}"
        )
    for part, argument in zip(parts, expression.arguments, strict=True):
        if part.dimension != parts[0].dimension:
            raise scope.stop(
                LIVE_VALUE,
                argument,
                f"expected {dimension_name(parts[0].dimension)} like the first value, found "
                f"{dimension_name(part.dimension)}",
            )
    if all(_constant(part.value) is not None for part in parts):
        return _built(expression, scope)
    operands = tuple([part.value for part in parts])
    return Flow(Apply(_SAME[name], operands), parts[0].dimension)  # type: ignore[arg-type]


def _measure(expression: Call, scope: Scope) -> Flow:
    name = expression.function
    arguments = list(expression.arguments)
    if name == "stretch":
        if len(arguments) != 1:
            raise scope.stop(LIVE_VALUE, expression, "stretch takes a curve or a chain")
        entity = scope.handle(arguments[0]).entity if _is_name(arguments[0]) else None
        if not isinstance(entity, CurveEntity | ChainEntity):
            raise scope.stop(
                LIVE_VALUE, arguments[0], "expected a curve or a chain, found something else"
            )
        return Flow(Measure("stretch", (entity.dotted,)), NUMBER)
    axis = None
    if name == "twist":
        if len(arguments) != 3 or not isinstance(arguments[1], Direction):
            raise scope.stop(
                LIVE_VALUE,
                expression,
                "expected a node, an axis and a node",
                help="write twist(wrist, +X, elbow): about the first one's +X, against the last",
            )
        axis = axis_of(arguments.pop(1))
    if len(arguments) != 2:
        raise scope.stop(LIVE_VALUE, expression, f"{name} takes 2 nodes, found {len(arguments)}")
    nodes = [_node(argument, scope) for argument in arguments]
    if any(node is None for node in nodes):
        if name == "twist" or any(node is not None for node in nodes):
            still = arguments[[node is None for node in nodes].index(True)]
            raise scope.stop(
                LIVE_VALUE,
                still,
                f"{name} is measured between two nodes, found a place that does not move",
                help="put a group there, and measure to that",
            )
        return _built(expression, scope)
    dotted = tuple([node.dotted for node in nodes if node is not None])
    flowing: Live = Measure(name, dotted, axis)  # type: ignore[arg-type]
    if axis is not None and scope.mirrored and nodes[0] is not None:
        signs = nodes[0].signs()
        if signs is not None and signs[1]["XYZ".index(axis[1])] < 0:
            flowing = _negated(flowing)
    return Flow(flowing, LENGTH if name == "distance" else ANGLE)


def _is_name(argument: Argument) -> bool:
    return isinstance(argument, Reference)


def _node(argument: Argument, scope: Scope) -> NodeEntity | None:
    if not isinstance(argument, Reference):
        return None
    value = scope.look_up(argument, nodes_first=True)
    if isinstance(value, Handle) and isinstance(value.entity, NodeEntity) and not value.rest:
        return value.entity
    if isinstance(value, Handle) and not isinstance(value.entity, Placed):
        raise scope.stop(LIVE_VALUE, argument, f"expected a node, found {value.entity.called}")
    return None


# ---- maps and targets ----------------------------------------------------------------------------


def mapped(
    source: Flow, pairs: list[Clause], smooth: bool, wanted: Dimension, scope: Scope
) -> Flow:
    """A flow through a map of pairs; breakpoints may be dials."""
    built = []
    last: float | None = None
    for pair in pairs:
        before, after = live_value(pair.arguments[0], scope), live_value(pair.arguments[1], scope)
        for part, argument, dimension in (
            (before, pair.arguments[0], source.dimension),
            (after, pair.arguments[1], wanted),
        ):
            if part.dimension != dimension:
                raise scope.stop(
                    LIVE_VALUE,
                    argument,
                    f"expected {dimension_name(dimension)}, found {dimension_name(part.dimension)}",
                    help="the left side is what is read, the right side what is driven",
                )
        known = _constant(before.value)
        if known is not None and last is not None and known <= last:
            raise scope.stop(
                LIVE_VALUE,
                pair,
                "expected the left sides of a map in rising order",
                help="sort the pairs by their left side",
            )
        last = known if known is not None else last
        built.append((before.value, after.value))
    if len(built) < 2:
        raise scope.stop(
            LIVE_VALUE,
            pairs[0],
            "expected at least two pairs in a map",
            help="write: map 0 deg -> 0 cm, 90 deg -> 5 cm",
        )
    return Flow(Map(source.value, tuple(built), smooth), wanted)


def scaled_by_sign(value: Live, sign: int) -> Live:
    """A live number, turned over for a sign of -1."""
    return _negated(value) if sign < 0 else value
