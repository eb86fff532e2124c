"""Built expressions: what they are worth, once the sheet is known.

In goes an expression and the scope that its names are looked up in, out comes a value; operations
on values are in `values`, live expressions in `live`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from somite.expansion.state import (
    AXIS_VECTORS,
    DIMENSION,
    MOST_MEMBERS,
    TOO_LARGE,
    UNKNOWN_HELPER,
)
from somite.expansion.values import (
    HELPERS,
    Arrow,
    Choice,
    Many,
    Mismatch,
    Quantity,
    Spot,
    Value,
    added,
    between,
    compared,
    divided,
    multiplied,
    named,
    negated,
)
from somite.findings import nearest
from somite.syntax import (
    Argument,
    Between,
    Binary,
    Call,
    Direction,
    Items,
    Number,
    Reference,
    Text,
    Triple,
    Unary,
)
from somite.units import NUMBER, Dimension

if TYPE_CHECKING:
    from somite.expansion.scope import Scope


def evaluated(scope: Scope, expression: Argument) -> Value:
    if isinstance(expression, Reference):
        return scope.look_up(expression)
    if isinstance(expression, Number):
        return Quantity(expression.value, expression.dimension)
    if isinstance(expression, Binary):
        return _binary(scope, expression)
    if isinstance(expression, Direction):
        return Arrow(AXIS_VECTORS[expression.axis], NUMBER)
    if isinstance(expression, Triple):
        return _triple(scope, expression)
    if isinstance(expression, Call):
        return _call(scope, expression)
    if isinstance(expression, Between):
        first, second = scope.worth(expression.first), scope.worth(expression.second)
        return between(first, second, scope.worth(expression.share))
    if isinstance(expression, Unary):
        operand = scope.worth(expression.operand)
        if expression.operator == "not":
            if not isinstance(operand, bool):
                raise Mismatch(f"expected yes or no after not, found {named(operand)}")
            return not operand
        return negated(operand)
    if isinstance(expression, Text):
        return Choice(expression.value)
    if isinstance(expression, Items):
        return _many(scope, expression)
    raise scope.stop(DIMENSION, expression, "expected a value")


def _many(scope: Scope, expression: Items) -> Many:
    """A written list; a list in it stands for its members."""
    members: list[Value] = []
    for member in expression.members:
        value = scope.evaluate(member)
        members.extend(value.members if isinstance(value, Many) else (value,))
        if len(members) > MOST_MEMBERS:
            raise scope.stop(
                TOO_LARGE, expression, f"expected a list of at most {MOST_MEMBERS}, found more"
            )
    return Many(tuple(members))


def _binary(scope: Scope, expression: Binary) -> Value:
    operator = expression.operator
    if operator in ("and", "or"):
        left = scope.truth(expression.left)
        if left == (operator == "or"):
            return left
        return scope.truth(expression.right)
    left_value = scope.worth(expression.left)
    if operator in ("is", "is not") and isinstance(left_value, Choice):
        return compared(operator, left_value, word_of(scope, expression.right, left_value.options))
    right_value = scope.worth(expression.right)
    try:
        if operator == "+":
            return added(left_value, right_value, 1.0)
        if operator == "-":
            return added(left_value, right_value, -1.0)
        if operator == "*":
            return multiplied(left_value, right_value)
        if operator == "/":
            return divided(left_value, right_value)
        return compared(operator, left_value, right_value)
    except Mismatch as mismatch:
        raise scope.stop(DIMENSION, expression, mismatch.message, mismatch.help) from None


def word_of(scope: Scope, expression: Argument, options: tuple[str, ...]) -> Choice:
    """A word out of options, written bare or in quotes, or held by a name."""
    if isinstance(expression, Text):
        return Choice(expression.value, options)
    if isinstance(expression, Reference) and len(expression.path) == 1:
        bare = expression.path[0]
        if isinstance(bare, str) and (bare in options or scope.lazy(bare) is None):
            return Choice(bare, options)
    value = scope.worth(expression)
    if isinstance(value, Choice):
        return value
    raise scope.stop(DIMENSION, expression, f"expected a word, found {named(value)}")


def _triple(scope: Scope, expression: Triple) -> Value:
    numbers = []
    dimension: Dimension | None = None
    for part in (expression.x, expression.y, expression.z):
        value = scope.worth(part)
        if not isinstance(value, Quantity):
            raise scope.stop(DIMENSION, part, f"expected a number, found {named(value)}")
        if value.value != 0.0 or value.dimension != NUMBER:
            if dimension is not None and dimension != value.dimension:
                raise scope.stop(
                    DIMENSION,
                    part,
                    f"expected {named(Quantity(0.0, dimension))} like the components before, "
                    f"found {named(value)}",
                )
            dimension = value.dimension
        numbers.append(value.value)
    xyz = (numbers[0], numbers[1], numbers[2])
    return Arrow(xyz, NUMBER if dimension is None else dimension)


def _call(scope: Scope, expression: Call) -> Value:
    if expression.function == "reflected":
        return _reflected(scope, expression)
    helper = HELPERS.get(expression.function)
    if helper is None:
        names = (*HELPERS, "reflected")
        near = nearest(expression.function, names)
        raise scope.stop(
            UNKNOWN_HELPER,
            expression,
            f'there is no helper named "{expression.function}"',
            help=f'did you mean "{near}"?' if near else "helpers are " + ", ".join(names),
        )
    function, fewest, most = helper
    count = len(expression.arguments)
    if not fewest <= count <= most:
        wanted = str(fewest) if fewest == most else f"at least {fewest}"
        raise scope.stop(
            DIMENSION,
            expression,
            f"{expression.function} takes {wanted} values, found {count}",
        )
    values = [scope.worth(argument) for argument in expression.arguments]
    return function(*values)


def _reflected(scope: Scope, expression: Call) -> Value:
    if len(expression.arguments) != 1:
        raise scope.stop(DIMENSION, expression, "reflected takes 1 value")
    value = scope.worth(expression.arguments[0])
    if isinstance(value, Arrow | Spot):
        return scope.seen(value)
    raise Mismatch(f"expected a position or a direction, found {named(value)}")
