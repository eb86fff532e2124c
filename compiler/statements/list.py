"""`list NAME of A, B, C`: a named set of nodes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from somite.expansion.clauses import gather, only, text_of
from somite.expansion.entities import (
    ChainEntity,
    CurveEntity,
    Entity,
    Family,
    NodeEntity,
    UseEntity,
    ValueEntity,
    entities_in,
    name_of,
)
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.expansion.showing import SHOWN_FORM, shown_from
from somite.expansion.state import NEEDS_SIDE, Stop
from somite.expansion.values import Handle, Many, Value, named
from somite.findings import Code
from somite.ir import NamedList
from somite.syntax import Argument, Clause, Items, Reference, Statement, Word

LIST_MEMBER = Code("list-member")

WORDS = ("list",)
CLAUSES = frozenset({"about", "shown"})
BLOCK = frozenset({"when"})

ENDS = ("first", "last")
MOST_DEPTH = 32
"""Lists within lists."""


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the list; its members are found when every name is known."""
    word = statement.arguments[0]
    assert isinstance(word, Word)
    declared = Clause("declared", (word,), word.start, word.end)
    text, name = scope.full_name(declared)
    entity = ValueEntity(name, statement, scope, kind="list")
    scope.declare(text, entity)

    def emit() -> None:
        clauses = gather(statement, scope, CLAUSES)
        about = text_of(only(clauses, "about"))
        members = members_of(entity)
        records_of(scope).lists.append(NamedList(entity.dotted, members, about, entity.origin))
        for clause in clauses.get("shown", ()):
            _show(clause, members, scope)

    records_of(scope).later(entity, emit)


def _show(clause: Clause, members: tuple[str, ...], scope: Scope) -> None:
    """Show every control of a list by a dial."""
    nodes = scope.build.nodes
    controls = [name for name in members if nodes[name_of(name)].node_kind == "control"]
    if not controls:
        raise scope.stop(
            SHOWN_FORM,
            clause,
            "expected controls in this list to show, found none",
            help="name controls in the list; joints and groups are never shown to an animator",
        )
    condition = shown_from(clause, scope, None)
    for name in controls:
        scope.build.shown.setdefault(name, []).append(condition)


def members_of(entity: ValueEntity, depth: int = 0) -> tuple[str, ...]:
    """The nodes of a list in their order, each once; lists in it are opened."""
    if entity.members is None:
        found: dict[str, None] = {}
        for argument in entity.statement.arguments[1:]:
            for node in _nodes(argument, entity.scope, depth):
                found.setdefault(node)
        entity.members = tuple(found)
    return entity.members


def _nodes(argument: Argument, scope: Scope, depth: int) -> Iterator[str]:
    if depth > MOST_DEPTH:
        raise scope.stop(
            LIST_MEMBER,
            argument,
            f"lists hold each other in a loop, or more than {MOST_DEPTH} deep",
            help="name the nodes themselves in one of the lists",
        )
    if isinstance(argument, Items):
        for member in argument.members:
            yield from _nodes(member, scope, depth)
        return
    if not isinstance(argument, Reference):
        raise scope.stop(LIST_MEMBER, argument, "expected the name of a node, found a value")
    yield from _opened(_look_up(argument, scope), argument, scope, depth)


def _look_up(argument: Reference, scope: Scope) -> Value:
    """A name; one that has numbers stands for all of them, also for what is named inside each."""
    path = scope.segments(argument)
    family = scope.thing(path[0]) if isinstance(path[0], str) else None
    if not isinstance(family, Family) or len(path) == 1 or path[1] in (*family.members, *ENDS):
        return _on_sides(argument, scope)
    word, *inner = argument.path
    numbers = sorted(family.members)
    each = [replace(argument, path=(word, number, *inner)) for number in numbers]
    return Many(tuple([_on_sides(one, scope) for one in each]))


def _on_sides(argument: Reference, scope: Scope) -> Value:
    """A name; one that is built on both sides stands for both."""
    try:
        return scope.look_up(argument, nodes_first=True)
    except Stop as stop:
        if stop.finding is None or stop.finding.code != NEEDS_SIDE.slug:
            raise
    both = []
    for side in ("left", "right"):
        sided = scope.child(side=side)
        both.append(sided.look_up(argument, nodes_first=True))
    return Many(tuple(both))


def _opened(value: Value, argument: Argument, scope: Scope, depth: int) -> Iterator[str]:
    if isinstance(value, Many):
        for member in value.members:
            yield from _opened(member, argument, scope, depth)
        return
    if not isinstance(value, Handle) or value.rest:
        raise scope.stop(LIST_MEMBER, argument, f"expected a node, found {named(value)}")
    yield from _entity(value.entity, argument, scope, depth)


def _entity(entity: Entity, argument: Argument, scope: Scope, depth: int) -> Iterator[str]:
    if isinstance(entity, NodeEntity):
        yield entity.dotted
    elif isinstance(entity, ChainEntity):
        for joint in entity.joints:
            yield joint.dotted
    elif isinstance(entity, CurveEntity):
        for thing in entity.grips.values():
            for grip in entities_in(thing):
                yield grip.dotted
    elif isinstance(entity, ValueEntity) and entity.kind == "list":
        yield from members_of(entity, depth + 1)
    else:
        raise scope.stop(
            LIST_MEMBER,
            argument,
            f"expected nodes, found {entity.called}",
            help="name a list that the part offers" if isinstance(entity, UseEntity) else None,
        )
