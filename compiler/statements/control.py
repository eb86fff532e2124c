"""`control NAME at P`: what the animator touches: a shape, channels, locks, limits and dials."""

from __future__ import annotations

from somite.expansion.clauses import check_terms, only
from somite.expansion.entities import NodeEntity
from somite.expansion.nodes import (
    NODE,
    UNKNOWN_CHANNEL,
    axis_of,
    declare_node,
    emit_node,
    leading,
    own_axis,
)
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.expansion.showing import shown_of
from somite.expansion.state import PARTS
from somite.expansion.values import Arrow, named
from somite.findings import Code, nearest
from somite.ir import CHANNELS, Limit, Shape
from somite.statements.dial import declare_dials
from somite.syntax import Clause, Statement, Word
from somite.units import ANGLE, LENGTH, NUMBER

LIMIT_BACKWARD = Code("limit-backward")
BAD_SHAPE = Code("bad-shape")

WORDS = ("control",)
CLAUSES = NODE | {"shape", "lock", "only", "limit", "size", "carries", "shown"}
BLOCK = frozenset({"when", "dial"})

DIMENSIONS = {"move": LENGTH, "turn": ANGLE, "size": NUMBER}


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the control and its dials; its record is made when every name is known."""
    entity = declare_node(statement, scope, "control", CLAUSES)
    declare_dials(statement.block, entity, entity.scope)
    records = records_of(scope)

    def emit() -> None:
        records.nodes.append(
            emit_node(
                entity,
                shape=_shape(entity),
                locks=_locks(entity),
                limits=_limits(entity),
                size_even="size" in entity.clauses,
                carries_all="carries" in entity.clauses,
                shown=shown_of(entity),
            )
        )
        records.constraints.extend(leading(entity))

    records.later(entity, emit)


def _shape(entity: NodeEntity) -> Shape | None:
    clause = only(entity.clauses, "shape")
    if clause is None:
        return None
    scope = entity.scope
    kind = clause.arguments[0]
    assert isinstance(kind, Word)
    width = scope.number(clause.arguments[1], LENGTH)
    if width <= 0.0:
        raise scope.stop(
            BAD_SHAPE,
            clause.arguments[1],
            f"expected a width above 0, found {width:g} m",
            help="give the width across, such as: ring 20 cm",
        )
    check_terms(clause.arguments, scope)
    axis = scope.build.up
    offset = (0.0, 0.0, 0.0)
    for piece in clause.arguments[2:]:
        assert isinstance(piece, Clause)
        if piece.word == "across":
            axis = axis_of(piece.arguments[0])
            continue
        value = scope.worth(piece.arguments[0])
        if not isinstance(value, Arrow) or value.point or value.dimension not in (LENGTH, NUMBER):
            raise scope.stop(
                BAD_SHAPE,
                piece,
                f"expected a displacement, found {named(value)}",
                help="shift a shape by a vector, such as: shifted (0, 2 cm, 0)",
            )
        if value.dimension == NUMBER and value.xyz != (0.0, 0.0, 0.0):
            raise scope.stop(
                BAD_SHAPE,
                piece,
                "expected a displacement, found a vector without a unit",
                help="give its components a unit, such as: shifted (0, 2 cm, 0)",
            )
        signs = entity.signs()
        assert signs is not None
        x, y, z = value.xyz
        offset = (x * signs[0][0], y * signs[0][1], z * signs[0][2])
    return Shape(kind.text, width, own_axis(entity, axis), offset)


def channels_named(word: Word, scope: Scope) -> tuple[str, ...]:
    """The channels that a word covers: `turn` is turn.x, turn.y and turn.z."""
    text = word.text
    if text in PARTS:
        return tuple([f"{text}.{axis}" for axis in "xyz"])
    if text in CHANNELS:
        return (text,)
    near = nearest(text, (*CHANNELS, *PARTS))
    raise scope.stop(
        UNKNOWN_CHANNEL,
        word,
        f'expected a channel, found "{text}"',
        help=f'did you mean "{near}"?' if near else "channels are move.x to size.z",
    )


def _locks(entity: NodeEntity) -> tuple[str, ...]:
    locked: set[str] = set()
    for clause in entity.clauses.get("lock", ()):
        for word in clause.arguments:
            assert isinstance(word, Word)
            locked.update(channels_named(word, entity.scope))
    free: set[str] = set()
    for clause in entity.clauses.get("only", ()):
        for word in clause.arguments:
            assert isinstance(word, Word)
            free.update(channels_named(word, entity.scope))
    if free:
        locked.update(channel for channel in CHANNELS if channel not in free)
    return tuple([channel for channel in CHANNELS if channel in locked])


def _limits(entity: NodeEntity) -> tuple[Limit, ...]:
    found: dict[str, Limit] = {}
    scope = entity.scope
    for clause in entity.clauses.get("limit", ()):
        bounds = clause.arguments[-1]
        assert isinstance(bounds, Clause)
        for word in clause.arguments[:-1]:
            assert isinstance(word, Word)
            for channel in channels_named(word, scope):
                dimension = DIMENSIONS[channel[:4]]
                low = scope.number(bounds.arguments[0], dimension)
                high = scope.number(bounds.arguments[1], dimension)
                if low > high:
                    raise scope.stop(
                        LIMIT_BACKWARD,
                        bounds,
                        "expected the lower bound first, found the higher one",
                        help="write the smaller number before the ..",
                    )
                if channel in found:
                    scope.report(
                        LIMIT_BACKWARD,
                        clause,
                        f'"{channel}" has two limits',
                        help="keep one of them",
                    )
                if channel_sign(entity, channel) < 0:
                    low, high = -high, -low
                found[channel] = Limit(channel, low, high)
    return tuple([found[channel] for channel in CHANNELS if channel in found])


def channel_sign(entity: NodeEntity, channel: str) -> int:
    """The sign between a channel as written on the straight side and the rig's own."""
    part, axis = channel.split(".")
    if part == "size":
        return 1
    signs = entity.signs()
    assert signs is not None
    return signs[0 if part == "move" else 1]["xyz".index(axis)]
