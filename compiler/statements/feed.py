"""`feed CHANNEL = live EXPRESSION` or `from CHANNEL` with a map: drives one channel from others."""

from __future__ import annotations

from somite.expansion.clauses import excuses_of, gather
from somite.expansion.entities import NodeEntity
from somite.expansion.live import (
    CHANNEL_DIMENSIONS,
    UNIT_DIMENSIONS,
    Flow,
    live_value,
    mapped,
    scaled_by_sign,
    sign_for,
)
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.expansion.state import PARTS
from somite.findings import Code
from somite.ir import Feed
from somite.syntax import Clause, Reference, Statement
from somite.units import Dimension, dimension_name

FEED_TARGET = Code("feed-target")
FEED_UNIT = Code("feed-unit")

WORDS = ("feed_live", "feed_from")
CLAUSES = frozenset({"map", "smooth", "excuse"})
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Make the feed when every name is known."""
    records_of(scope).later(None, lambda: _emit(statement, scope))


def _emit(statement: Statement, scope: Scope) -> None:
    clauses = gather(statement, scope, CLAUSES)
    channel, wanted, sign = target_of(statement.arguments[0], scope)
    source = live_value(statement.arguments[1], scope)
    pairs = [
        pair
        for clause in clauses.get("map", ())
        for pair in clause.arguments
        if isinstance(pair, Clause)
    ]
    if pairs:
        value = mapped(source, pairs, "smooth" in clauses, wanted, scope)
    else:
        value = source
        if "smooth" in clauses:
            scope.report(
                FEED_UNIT, clauses["smooth"][0], "only a map is smooth, and this feed has none"
            )
    _check_unit(value, wanted, statement, scope)
    records_of(scope).feeds.append(
        Feed(
            name=f"{channel}/feed",
            target=channel,
            value=scaled_by_sign(value.value, sign),
            excuses=excuses_of(clauses, scope),
            origin=(scope.site(statement), *scope.trail),
        )
    )


def _check_unit(value: Flow, wanted: Dimension, statement: Statement, scope: Scope) -> None:
    if value.dimension != wanted:
        raise scope.stop(
            FEED_UNIT,
            statement,
            f"expected {dimension_name(wanted)} for this channel, found "
            f"{dimension_name(value.dimension)}",
            help="bring it to the channel's unit with a map, or by multiplying or dividing",
        )


def target_of(argument: object, scope: Scope) -> tuple[str, Dimension, int]:
    """The channel or number dial that is driven, its dimension, and the sign of a mirror."""
    assert isinstance(argument, Reference)
    handle = scope.handle(argument)
    entity, rest = handle.entity, handle.rest
    if not isinstance(entity, NodeEntity) or not rest or (rest[0] in PARTS and len(rest) < 2):
        raise scope.stop(
            FEED_TARGET,
            argument,
            "expected one channel to drive, found something else",
            help="write the node and the channel: toe.turn.x",
        )
    name = ".".join(map(str, rest))
    if rest[0] in PARTS:
        sign = sign_for(entity, name, scope, argument)
        return f"{entity.dotted}.{name}", CHANNEL_DIMENSIONS[str(rest[0])], sign
    dial = entity.dials[str(rest[0])]
    if dial.options:
        raise scope.stop(
            FEED_TARGET,
            argument,
            f'dial "{name}" is a choice, and only numbers can be driven',
            help="drive what the choice decides, or make it a number",
            related=[(dial.origin[0], "dial declared here")],
        )
    sign = -1 if dial.flips and scope.mirrored else 1
    return f"{entity.dotted}.{name}", UNIT_DIMENSIONS[dial.unit], sign
