"""Paths through names: from a thing or a value along the rest of a reference.

Numbers, `first` and `last` choose among things of one name, a side between two, a joint within a
chain, an offer within a part, a channel or dial of a node, a component of a position.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from somite.expansion import grounds
from somite.expansion.entities import (
    ChainEntity,
    CurveEntity,
    Entity,
    Family,
    Name,
    NodeEntity,
    Placed,
    Sides,
    UseEntity,
)
from somite.expansion.state import (
    NEEDS_SIDE,
    NOT_OFFERED,
    PARTS,
    UNKNOWN_NAME,
    Lazy,
    Stop,
)
from somite.expansion.values import (
    Arrow,
    Handle,
    Many,
    Quantity,
    Spot,
    Value,
    named,
)
from somite.findings import listed, nearest
from somite.ir import Frame
from somite.syntax import (
    Argument,
    Reference,
)
from somite.units import LENGTH

if TYPE_CHECKING:
    from somite.expansion.scope import Scope


def select(
    scope: Scope, node: Argument, value: Value, path: tuple[str | int, ...], lazy: Lazy
) -> Value:
    """The part of a value that the rest of a path names."""
    rest = path[1:]
    if lazy.sides is not None and rest and rest[0] in ("left", "right"):
        rest = rest[1:]
    for segment in rest:
        if isinstance(value, Many) and isinstance(segment, int):
            if not 1 <= segment <= len(value.members):
                raise scope.stop(
                    UNKNOWN_NAME,
                    node,
                    f'"{path[0]}" has {len(value.members)} members, found number {segment}',
                    related=[(lazy.site, "declared here")],
                )
            value = value.members[segment - 1]
        elif isinstance(value, Many) and segment in ("first", "last"):
            value = value.members[0 if segment == "first" else -1]
        elif isinstance(value, Arrow | Spot) and segment in ("x", "y", "z"):
            value = component(value, str(segment))
        elif isinstance(value, Handle):
            return walk_entity(scope, node, value.entity, rest[rest.index(segment) :])
        else:
            raise scope.stop(
                UNKNOWN_NAME,
                node,
                f'"{path[0]}" is {named(value)} and has no "{segment}"',
                related=[(lazy.site, "declared here")],
            )
    return value


def component(value: Arrow | Spot, axis: str) -> Value:
    """One component of a vector or of a place."""
    at = "xyz".index(axis)
    if isinstance(value, Spot):
        return Quantity(value.frame.place[at], LENGTH)
    return Quantity(value.xyz[at], value.dimension)


def walk(
    scope: Scope,
    node: Argument,
    thing: Entity | Family | Sides,
    rest: tuple[str | int, ...],
    word: str,
) -> Value:
    """Follow a path through numbers and sides to an entity, and into it."""
    if isinstance(thing, Family):
        if rest and isinstance(rest[0], int) and rest[0] in thing.members:
            return walk(scope, node, thing.members[rest[0]], rest[1:], word)
        numbers = sorted(thing.members)
        if not rest:
            return Many(tuple([walk(scope, node, thing.members[n], (), word) for n in numbers]))
        number = rest[0]
        if number == "first":
            number = numbers[0]
        elif number == "last":
            number = numbers[-1]
        inner = thing.members.get(number) if isinstance(number, int) else None
        if inner is None:
            raise scope.stop(
                UNKNOWN_NAME,
                node,
                f'"{word}" has the numbers {numbers[0]} to {numbers[-1]}, found {rest[0]}',
                help=f'write {word}[{numbers[0]}], or "under {word}[k-1], first under X"',
            )
        return walk(scope, node, inner, rest[1:], word)
    if isinstance(thing, Sides):
        if rest and rest[0] in ("left", "right"):
            side, rest = str(rest[0]), rest[1:]
        elif scope.side is not None:
            side = scope.side
        else:
            raise scope.stop(
                NEEDS_SIDE,
                node,
                f'"{word}" is built on both sides, and this line does not say which',
                help=f'write {word}.left or {word}.right, or put the line in a "mirror" block',
            )
        member = thing.members.get(side)
        if member is None:
            raise Stop(None)  # Its declaration failed and was reported.
        return walk_entity(scope, node, member, rest)
    return walk_entity(scope, node, thing, rest)


def walk_entity(scope: Scope, node: Argument, entity: Entity, rest: tuple[str | int, ...]) -> Value:
    """Follow a path into an entity: a joint of a chain, an offer of a part, a channel."""
    if entity.failed:
        raise Stop(None)
    if not rest:
        return Handle(entity)
    segment = rest[0]
    if isinstance(entity, UseEntity):
        return (within_rig if entity.whole else offered)(scope, node, entity, rest)
    if isinstance(entity, ChainEntity):
        if segment == "end":
            return chain_end(scope, entity)
        joint = entity.select(segment)
        if joint is None:
            raise scope.stop(
                UNKNOWN_NAME,
                node,
                f'chain "{entity.dotted}" has {len(entity.joints)} joints, found "{segment}"',
                help="write a number from 1, first, last, end, or a joint's own name",
                related=[(entity.site, "chain declared here")],
            )
        return walk_entity(scope, node, joint, rest[1:])
    if isinstance(entity, CurveEntity) and isinstance(segment, str):
        inner = entity.grips.get(segment)
        if inner is None:
            raise scope.stop(
                UNKNOWN_NAME,
                node,
                f'curve "{entity.dotted}" has no grip named "{segment}"',
                help="its grips are " + listed(entity.grips) if entity.grips else None,
                related=[(entity.site, "curve declared here")],
            )
        return walk(scope, node, inner, rest[1:], segment)
    if isinstance(entity, Placed) and rest in (("x",), ("y",), ("z",)):
        return component(Spot(entity.frame_for(scope)), str(segment))
    if isinstance(entity, NodeEntity):
        check_channel(scope, node, entity, rest)
        return Handle(entity, rest)
    raise scope.stop(
        UNKNOWN_NAME,
        node,
        f'{entity.kind} "{entity.dotted}" has nothing named "{segment}"',
        related=[(entity.site, "declared here")],
    )


def check_channel(scope: Scope, node: Argument, entity: NodeEntity, rest: Name) -> None:
    """A node's path may go on to its channels and dials only."""
    if rest[0] in PARTS and (len(rest) == 1 or (len(rest) == 2 and rest[1] in ("x", "y", "z"))):
        return
    if len(rest) == 1 and rest[0] in entity.dials:
        return
    names = [*entity.dials, *PARTS]
    near = nearest(str(rest[0]), names)
    raise scope.stop(
        UNKNOWN_NAME,
        node,
        f'{entity.kind} "{entity.dotted}" has no channel or dial "{".".join(map(str, rest))}"',
        help=f'did you mean "{near}"?' if near else "channels are move.x to size.z",
        related=[(entity.site, "declared here")],
    )


def within_rig(
    scope: Scope, node: Argument, entity: UseEntity, rest: tuple[str | int, ...]
) -> Value:
    """What stands in another rig on a socket: everything that its own recipe could name."""
    word = str(rest[0])
    assert entity.inner is not None
    thing = entity.inner.space.things.get(word)
    if thing is None:
        if word in entity.inner.document.poisoned or word in entity.inner.build.failed:
            raise Stop(None)
        near = nearest(word, entity.inner.space.things)
        raise scope.stop(
            UNKNOWN_NAME,
            node,
            f'recipe "{entity.part}" has nothing named "{word}"',
            help=f'did you mean "{near}"?' if near else None,
            related=[(entity.site, "placed here")],
        )
    return walk(scope, node, thing, rest[1:], word)


def offered(scope: Scope, node: Argument, entity: UseEntity, rest: tuple[str | int, ...]) -> Value:
    """What a part offers under a name, seen from outside."""
    word = str(rest[0])
    offer = entity.offers.get(word)
    assert entity.inner is not None
    if offer is None:
        inside = word in entity.inner.space.things
        near = nearest(word, entity.offers)
        raise scope.stop(
            NOT_OFFERED,
            node,
            f'part "{entity.part}" does not offer "{word}"'
            + (", though it has one inside" if inside else ""),
            help=f'did you mean "{near}"?'
            if near
            else (
                "it offers " + listed(entity.offers)
                if entity.offers
                else f'write "offers {word}" in the part'
            ),
            related=[(entity.site, "part placed here")],
        )
    clause, inner = offer
    if len(clause.arguments) > 1:
        target = clause.arguments[1]
        assert isinstance(target, Reference)
        value = inner.look_up(target, nodes_first=True)
        if isinstance(value, Handle):
            if value.rest:
                return value
            return walk_entity(scope, node, value.entity, rest[1:])
        return scope.taken_from(inner, value)
    thing = inner.thing(word)
    if thing is None:
        lazy = inner.lazy(word)
        if lazy is None:
            raise Stop(None)  # Reported where the part is read.
        value = inner.value_of(lazy, clause, (word,))
        return scope.taken_from(inner, value)
    return walk(scope, node, thing, rest[1:], word)


def chain_end(scope: Scope, chain: ChainEntity) -> Value:
    """The place where a chain ends: its end position, with its last joint's turn."""
    last = chain.joints[-1]
    turn = last.frame_for(scope).turn
    assert chain.frames is not None
    end = grounds.vector_between(chain.frames[1], chain.scope, scope, point=True)
    return Spot(Frame(end, turn), last.turning)
