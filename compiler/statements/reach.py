"""`reach CHAIN to GOAL`: a chain's end brought to a goal, bent toward a pole."""

from __future__ import annotations

from somite.expansion.clauses import excuses_of, gather, only
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.findings import Code
from somite.ir import Reach
from somite.statements.chain import amount
from somite.syntax import Statement
from somite.units import NUMBER

REACH_SHAPE = Code("reach-shape")

WORDS = ("reach",)
CLAUSES = frozenset({"pole", "bend", "ease", "stretch", "excuse"})
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Make the reach when every name is known."""
    records_of(scope).later(None, lambda: _emit(statement, scope))


def _emit(statement: Statement, scope: Scope) -> None:
    clauses = gather(statement, scope, CLAUSES)
    chain = scope.chain(statement.arguments[0])
    if len(chain.joints) < 2:
        raise scope.stop(
            REACH_SHAPE,
            statement.arguments[0],
            f'a reach bends a chain of two bones or more, "{chain.dotted}" has one',
            help="to point one bone at something, face it",
        )
    goal = scope.node(statement.arguments[1])
    pole_clause, bend_clause, ease_clause = (
        only(clauses, "pole"),
        only(clauses, "bend"),
        only(clauses, "ease"),
    )
    pole = scope.node(pole_clause.arguments[0]) if pole_clause else None
    bend = None
    if bend_clause is not None:
        start = chain.joints[0].frame_for(scope).place
        bend = scope.toward(bend_clause.arguments[0], start)
        if scope.mirrored:
            bend = scope.build.reflected(bend)
    ease = scope.number(ease_clause.arguments[0], NUMBER) if ease_clause else 0.0
    if not 0.0 <= ease < 1.0:
        raise scope.stop(
            REACH_SHAPE,
            ease_clause or statement,
            f"expected an ease from 0 to below 100%, found {ease * 100:g}%",
            help="5% softens the last twentieth of the reach",
        )
    records_of(scope).constraints.append(
        Reach(
            name=f"{chain.dotted}/reach",
            chain=chain.dotted,
            goal=goal.dotted,
            pole=pole.dotted if pole else None,
            bend=bend,
            ease=ease,
            stretch=amount(only(clauses, "stretch"), scope),
            excuses=excuses_of(clauses, scope),
            origin=(scope.site(statement), *scope.trail),
        )
    )
