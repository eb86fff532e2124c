"""`gauge NAME = live EXPRESSION`: a live number read from results."""

from __future__ import annotations

from somite.expansion.clauses import gather, only, text_of
from somite.expansion.entities import ValueEntity
from somite.expansion.live import UNIT_DIMENSIONS, Flow, live_value
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.expansion.state import CIRCULAR_VALUE, UNWIND, Stop, endless
from somite.findings import Code
from somite.ir import Gauge, Unit
from somite.syntax import Clause, Statement
from somite.units import dimension_name

GAUGE_UNIT = Code("gauge-unit")

WORDS = ("gauge",)
CLAUSES = frozenset({"about", "was"})
BLOCK = frozenset({"when"})

UNITS: dict[tuple[float, float], Unit] = {
    dimension: unit  # type: ignore[misc]
    for unit, dimension in UNIT_DIMENSIONS.items()
}


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the gauge; its value is read when every name is known."""
    declare_gauge(statement, scope, output=False)


def declare_gauge(statement: Statement, scope: Scope, *, output: bool) -> None:
    """Enter a gauge or an output."""
    head = statement.arguments[0]
    assert isinstance(head, Clause)
    word, name = scope.full_name(head)
    kind = "output" if output else "gauge"
    entity = ValueEntity(name, statement, scope, kind=kind, unit="later")
    scope.declare(word, entity)
    entity.clauses = gather(statement, scope, CLAUSES)
    scope.build.gauge_unit = gauge_unit
    records_of(scope).later(entity, lambda: _emit(entity, output))


def gauge_unit(entity: ValueEntity) -> None:
    """Work out a gauge's unit before its own turn, when another value reads it."""
    if entity.unit == "working":
        raise entity.scope.stop(
            CIRCULAR_VALUE,
            entity.statement,
            f'"{entity.dotted}" is worked out from itself',
            help=UNWIND,
        )
    if entity.unit == "later":
        _flow(entity)


def _flow(entity: ValueEntity) -> Flow:
    scope = entity.scope
    entity.unit = "working"
    try:
        value = live_value(entity.statement.arguments[1], scope)
    except Stop:
        entity.failed = True
        raise
    except RecursionError:
        entity.failed = True
        raise Stop(endless(f'"{entity.dotted}"', entity.site)) from None
    if value.dimension not in UNITS:
        entity.failed = True
        raise scope.stop(
            GAUGE_UNIT,
            entity.statement.arguments[1],
            f"expected a number, a length or an angle, found {dimension_name(value.dimension)}",
            help="divide it by a length or an angle",
        )
    entity.unit = UNITS[value.dimension]
    return value


def _emit(entity: ValueEntity, output: bool) -> None:
    value = _flow(entity)
    records_of(entity.scope).gauges.append(
        Gauge(
            name=entity.dotted,
            spelled="",
            unit=UNITS[value.dimension],
            value=value.value,
            output=output,
            about=text_of(only(entity.clauses, "about")),
            origin=entity.origin,
        )
    )
