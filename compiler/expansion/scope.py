"""Names and what they are worth, while a recipe is being expanded.

A scope holds values by name and points at the space that its statements declare things into. A
part's body is a scope of its own that sees only what the part needs. Expressions are worked out
here, once, from the sheet; those that a feed or a gauge marks `live` are translated in
`somite.expansion.live`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TypeVar

from somite.expansion import expressions, grounds, paths
from somite.expansion.entities import (
    ChainEntity,
    CurveEntity,
    Entity,
    Family,
    Name,
    NodeEntity,
    Placed,
    Sides,
    ValueEntity,
)
from somite.expansion.state import (
    BAD_NAME,
    BUILT_READS_LIVE,
    CIRCULAR_PLACE,
    DECLARED_TWICE,
    DIMENSION,
    MOST_GUESSES,
    MOST_LETTERS,
    MOST_STATEMENTS,
    NEEDS_SIDE,
    NOT_A_NODE,
    RESERVED,
    RESERVED_NAME,
    TOO_LARGE,
    UNKNOWN_NAME,
    UNWIND,
    Build,
    Lazy,
    Pending,
    Space,
    Stop,
    endless,
)
from somite.expansion.values import (
    Arrow,
    Choice,
    Handle,
    Many,
    Mismatch,
    Spot,
    Value,
    as_direction,
    as_number,
    as_position,
    as_whole,
    is_bounded,
    named,
)
from somite.findings import Code, nearest
from somite.ir import Frame, Vector
from somite.syntax import (
    Argument,
    Clause,
    Document,
    Reference,
    Statement,
    Word,
)
from somite.text import Origin, Site
from somite.units import LENGTH, Dimension

Worked = TypeVar("Worked")
Taken = TypeVar("Taken")


@dataclass(slots=True, eq=False)
class Scope:
    """Values by name, the space to declare into, and which side of a mirror this is.

    `shown` holds what the uses around say of when the controls in them are shown.
    """

    build: Build
    document: Document
    space: Space
    allowed: frozenset[str]
    names: dict[str, Lazy] = field(default_factory=dict)
    parent: Scope | None = None
    side: str | None = None
    mirrored: bool = False
    trail: Origin = ()
    within: NodeEntity | None = None
    stack: tuple[str, ...] = ()
    pending: Pending | None = None
    shown: tuple[tuple[Clause, Scope], ...] = ()

    def child(
        self,
        *,
        space: Space | None = None,
        allowed: frozenset[str] | None = None,
        side: str | None = None,
        mirrored: bool | None = None,
        within: NodeEntity | None = None,
    ) -> Scope:
        """A scope inside this one, which sees its names."""
        return Scope(
            self.build,
            self.document,
            space or self.space,
            self.allowed if allowed is None else allowed,
            {},
            self,
            side or self.side,
            self.mirrored if mirrored is None else mirrored,
            self.trail,
            within or self.within,
            self.stack,
            shown=self.shown,
        )

    # ---- places in the text ----

    def counted(self, statement: Statement) -> None:
        """Count a statement or a repetition of one; beyond the bound nothing more is expanded."""
        self.build.statements += 1
        if self.build.is_too_large:
            if self.build.statements > MOST_STATEMENTS + 1:
                raise Stop(None)
            raise self.stop(
                TOO_LARGE,
                statement,
                f"expected a rig of at most {MOST_STATEMENTS} statements, found more",
                help="are the counts in the sheet what you meant?",
            )

    def site(self, node: Argument | Statement) -> Site:
        """Where a node stands."""
        return self.document.site(node)

    def stop(
        self,
        code: Code,
        node: Argument | Statement,
        message: str,
        help: str | None = None,
        related: Iterable[tuple[Site, str]] = (),
    ) -> Stop:
        """The exception that ends a statement with a finding at a node, through its uses."""
        placed = [(site, "placed by this use") for site in self.trail]
        return Stop(code.at(self.site(node), message, help=help, related=(*related, *placed)))

    def report(
        self,
        code: Code,
        node: Argument | Statement,
        message: str,
        help: str | None = None,
        related: Iterable[tuple[Site, str]] = (),
    ) -> None:
        """Keep a finding at a node and go on."""
        self.build.report(self.stop(code, node, message, help, related).finding)

    # ---- declaring ----

    def full_name(self, declared: Clause) -> tuple[str, Name]:
        """The word and the full dotted name that a head declares here."""
        word = declared.arguments[0]
        assert isinstance(word, Word)
        self.check_word(word)
        name: Name = (*self.space.prefix, word.text)
        if len(declared.arguments) > 1:
            index = self.whole(declared.arguments[1])
            if index < 0:
                raise self.stop(
                    BAD_NAME,
                    declared,
                    f"expected a number from 0 up in a name, found {index}",
                )
            name = (*name, index)
        if self.side is not None and not self.space.sided:
            name = (*name, self.side)
        return word.text, name

    def check_word(self, word: Word) -> None:
        """A declared word must be one lower-case word that is not reserved."""
        text = word.text
        if "." in text or not text.isascii() or text != text.lower() or text.startswith("_"):
            raise self.stop(
                BAD_NAME,
                word,
                f'expected a name of lower-case letters, digits and "_", found "{text}"',
                help=f'write "{text.lower().replace(".", "_").strip("_")}"; sides and parts are '
                "added to names by themselves",
            )
        if len(text) > MOST_LETTERS:
            raise self.stop(
                BAD_NAME,
                word,
                f"expected a name of at most {MOST_LETTERS} letters, found {len(text)}",
                help="a short name says more",
            )
        if text in RESERVED:
            raise self.stop(
                RESERVED_NAME,
                word,
                f'"{text}" has a meaning of its own and can not be a name',
                help=f'choose another word, such as "{text}_one"',
            )

    def declare(self, word: str, entity: Entity) -> None:
        """Enter a thing under its word, and its number and side where it has them."""
        rest = entity.name[len(self.space.prefix) + 1 :]
        things = self.space.things
        there = things.get(word)
        if not rest:
            if there is not None:
                raise self._twice(entity, there)
            things[word] = entity
        else:
            self._enter(things, word, rest, entity)
        self.build.entities.append(entity)
        if isinstance(entity, NodeEntity):
            self.build.nodes[entity.name] = entity

    def _enter(
        self,
        holder: dict[str, Entity | Family | Sides],
        word: str,
        rest: Name,
        entity: Entity,
    ) -> None:
        numbered = isinstance(rest[0], int)
        there = holder.get(word)
        if numbered:
            family = holder.setdefault(word, Family())
            if not isinstance(family, Family):
                raise self._twice(entity, family)
            number = rest[0]
            assert isinstance(number, int)
            inner = family.members.get(number)
            if len(rest) == 1:
                if inner is not None:
                    raise self._twice(entity, inner)
                family.members[number] = entity
                return
            sides = family.members.setdefault(number, Sides())
            if not isinstance(sides, Sides):
                raise self._twice(entity, sides)
        else:
            if there is None:
                there = holder[word] = Sides()
            if not isinstance(there, Sides):
                raise self._twice(entity, there)
            sides = there
        side = str(rest[-1])
        if side in sides.members:
            raise self._twice(entity, sides.members[side])
        sides.members[side] = entity

    def _twice(self, entity: Entity, there: Entity | Family | Sides) -> Stop:
        first = there
        while not isinstance(first, Entity):
            first = next(iter(first.members.values()))
        return self.stop(
            DECLARED_TWICE,
            entity.statement,
            f'"{entity.dotted}" is declared twice',
            help="give one of them another name; things of one name differ by [number]",
            related=[(first.site, "first declared here")],
        )

    # ---- looking names up ----

    def lazy(self, word: str) -> Lazy | None:
        """The value of that name in this scope or one around it."""
        scope: Scope | None = self
        while scope is not None:
            found = scope.names.get(word)
            if found is not None:
                return found
            scope = scope.parent
        return None

    def thing(self, word: str) -> Entity | Family | Sides | None:
        """The thing of that name in this space or one around it."""
        space: Space | None = self.space
        while space is not None:
            found = space.things.get(word)
            if found is not None:
                return found
            space = space.outer
        return None

    def known(self) -> list[str]:
        """Every name that could be meant here."""
        names: set[str] = {"ground"}
        scope: Scope | None = self
        while scope is not None:
            names.update(scope.names)
            scope = scope.parent
        space: Space | None = self.space
        while space is not None:
            names.update(space.things)
            space = space.outer
        return sorted(names)

    def unknown(self, node: Argument, word: str) -> Stop:
        """The finding for a name that nothing has; none if a broken line may declare it."""
        if word in self.document.poisoned or word in self.build.failed:
            return Stop(None)  # Its own line is broken, and was reported.
        help_line = "declare it, or ask the sheet for it"
        self.build.guesses += 1
        if self.build.guesses <= MOST_GUESSES:
            help_line = self._meant(word) or help_line
        if word == "side":
            help_line = 'in a "mirror" block it is left or right; give it to a part as a need'
        return self.stop(UNKNOWN_NAME, node, f'nothing is named "{word}" here', help=help_line)

    def _meant(self, word: str) -> str | None:
        """What an unknown name was perhaps meant to be; takes a walk through every name."""
        owners = [node.dotted for node in self.build.nodes.values() if word in node.dials]
        if owners:
            return f'the dial is "{owners[0]}.{word}"'
        near = nearest(word, self.known())
        return f'did you mean "{near}"?' if near else None

    def segments(self, reference: Reference) -> tuple[str | int, ...]:
        """A reference's path with its bracketed expressions worked out."""
        path: list[str | int] = []
        for segment in reference.path:
            if isinstance(segment, str | int):
                path.append(segment)
            else:
                path.append(self.whole(segment))
        return tuple(path)

    def look_up(self, reference: Reference, *, nodes_first: bool = False) -> Value:
        """What a reference stands for: a value, or a handle on a thing of the rig."""
        path = self.segments(reference)
        first = path[0]
        if not isinstance(first, str):
            raise self.stop(UNKNOWN_NAME, reference, f"expected a name, found {first}")
        if first == "ground" and len(path) == 1:
            return Arrow((0.0, 0.0, 0.0), LENGTH, point=True)
        if first == "here" and len(path) == 1:
            return self.here(reference)
        self.demand(first)
        lazy = self.lazy(first)
        if lazy is None and not nodes_first and first in self.build.failed:
            raise Stop(None)  # A landmark that was refused; a node of its name is not meant.
        # A rig that the sheet is asked for is named like the rig: `rider` alone is the answer.
        beyond = lazy is not None and lazy.rig and len(path) > 1
        thing = self.thing(first) if nodes_first or lazy is None or beyond else None
        if thing is not None:
            return paths.walk(self, reference, thing, path[1:], first)
        if lazy is None:
            raise self.unknown(reference, first)
        if lazy.rig and (beyond or nodes_first):
            raise self.stop(
                UNKNOWN_NAME,
                reference,
                f'no rig stands here under the name "{first}"',
                help=f"place it: use RECIPE as {first}; what needs a rig that a sheet may leave "
                f"out stands in a block of its own: when {first} is given",
                related=[(lazy.site, "asked for here")],
            )
        return paths.select(self, reference, self.value_of(lazy, reference, path), path, lazy)

    def demand(self, word: str) -> None:
        """While blocks are being declared, declare first what declares a word."""
        scope: Scope | None = self
        while scope is not None:
            pending = scope.pending
            while pending is not None:
                if pending.waiting:
                    pending.demand(word)
                pending = pending.outer
            scope = scope.parent

    def here(self, node: Argument) -> Value:
        """The position of the node whose clauses are being read."""
        if self.within is None:
            raise self.stop(UNKNOWN_NAME, node, '"here" is the place of a node, and this is none')
        return Arrow(self.within.frame_for(self).place, LENGTH, point=True)

    def value_of(self, lazy: Lazy, node: Argument, path: tuple[str | int, ...]) -> Value:
        """A named value as this scope sees it; a pair by its stated or present side."""
        lazy.used = True
        if lazy.sides is not None:
            if len(path) > 1 and path[1] in ("left", "right"):
                side = str(path[1])
            elif self.side is not None:
                side = self.side
            else:
                raise self.stop(
                    NEEDS_SIDE,
                    node,
                    f'"{path[0]}" is a pair, and this line does not say which side',
                    help=f'write {path[0]}.left or {path[0]}.right, or put the line in a "mirror" '
                    "block",
                    related=[(lazy.site, "asked for as a pair here")],
                )
            value: Value = lazy.sides[side == "right"]
        else:
            value = lazy.get()
        return self.taken_from(lazy.scope, value)

    def taken_from(self, source: Scope, value: Value) -> Value:
        """A value of another scope's own space, in this one's."""
        if source.build is self.build:
            return value if source.mirrored == self.mirrored else self.seen(value)
        if isinstance(value, Arrow):
            xyz = grounds.vector_between(value.xyz, source, self, point=value.point)
            return Arrow(xyz, value.dimension, value.point)
        if isinstance(value, Spot):
            real = value.frame
            if source.mirrored:
                real = Frame(source.build.reflected(real.place), real.turn)
            real = grounds.frame_above(real, source.build, self.build)
            place = self.build.reflected(real.place) if self.mirrored else real.place
            return Spot(Frame(place, real.turn), value.turning)
        if isinstance(value, Many):
            return Many(tuple([self.taken_from(source, member) for member in value.members]))
        return value

    def seen(self, value: Value) -> Value:
        """A value of the other side of the mirror."""
        reflected = self.build.reflected
        if isinstance(value, Arrow):
            return Arrow(reflected(value.xyz), value.dimension, value.point)
        if isinstance(value, Spot):
            return Spot(Frame(reflected(value.frame.place), value.frame.turn), value.turning)
        if isinstance(value, Many):
            return Many(tuple([self.seen(member) for member in value.members]))
        return value

    # ---- working out ----

    def work_out(self, entity: Placed) -> tuple[Frame, bool]:
        """An entity's own frame; a place that depends on itself is reported as the loop it is."""
        assert entity.compute is not None
        try:
            return self.once(
                entity,
                entity.compute,
                help="follow the references in its at, like, axis and lean back to the sheet",
            )
        except RecursionError:
            entity.failed = True
            raise Stop(endless(f'"{entity.dotted}"', entity.site)) from None

    def once(
        self,
        entity: Placed | ChainEntity | CurveEntity,
        work: Callable[[], Worked],
        help: str = UNWIND,
    ) -> Worked:
        """What working an entity's places out gives; a loop is reported, a failure remembered."""
        if entity.failed:
            raise Stop(None)
        if entity.computing:
            raise self.stop(
                CIRCULAR_PLACE,
                entity.statement,
                f'the place of "{entity.dotted}" depends on itself',
                help=help,
            )
        entity.computing = True
        try:
            return work()
        except Stop:
            entity.failed = True
            raise
        finally:
            entity.computing = False

    def evaluate(self, expression: Argument) -> Value:
        """The worth of a built expression; things of the rig stay handles."""
        try:
            value = expressions.evaluated(self, expression)
        except Mismatch as mismatch:
            raise self.stop(DIMENSION, expression, mismatch.message, mismatch.help) from None
        if not is_bounded(value):
            raise self.stop(
                TOO_LARGE,
                expression,
                "expected a number of a size that a rig can have, found one that is far beyond it",
                help="check the digits and the units; is something divided by almost nothing?",
            )
        return value

    # ---- taking what is needed ----

    def word(self, expression: Argument, options: tuple[str, ...]) -> Choice:
        """A word out of options, written bare or in quotes, or held by a name."""
        return expressions.word_of(self, expression, options)

    def worth(self, expression: Argument) -> Value:
        """The worth of an expression as a value; a node stands for its place."""
        return self.as_value(self.evaluate(expression), expression)

    def as_value(self, value: Value, node: Argument) -> Value:
        """A handle as the place it stands for; everything else as it is."""
        if not isinstance(value, Handle):
            return value
        entity = value.entity
        if value.rest:
            raise self.stop(
                BUILT_READS_LIVE,
                node,
                f'"{entity.dotted}.{".".join(map(str, value.rest))}" changes with every pose, and '
                "this value is worked out once, from the sheet",
                help="to follow it as the rig moves, write a feed or a gauge with = live",
                related=[(entity.site, "declared here")],
            )
        if isinstance(entity, Placed):
            frame = entity.frame_for(self)
            return Spot(frame, entity.turning)
        if isinstance(entity, ValueEntity) and entity.kind in ("gauge", "output"):
            raise self.stop(
                BUILT_READS_LIVE,
                node,
                f'gauge "{entity.dotted}" changes with every pose, and this value is worked out '
                "once, from the sheet",
                help="to follow it as the rig moves, write a feed or a gauge with = live",
                related=[(entity.site, "declared here")],
            )
        return value

    def number(self, expression: Argument, dimension: Dimension) -> float:
        """A number of the dimension that is needed."""
        return self._taken(expression, lambda value: as_number(value, dimension))

    def whole(self, expression: Argument) -> int:
        """A whole number."""
        return int(self._taken(expression, lambda value: float(as_whole(value))))

    def truth(self, expression: Argument) -> bool:
        """Yes or no."""
        value = self.worth(expression)
        if isinstance(value, bool):
            return value
        raise self.stop(
            DIMENSION,
            expression,
            f"expected a comparison, found {named(value)}",
            help="compare with is, is not, <, <=, > or >=",
        )

    def position(self, expression: Argument) -> Vector:
        """A position."""
        return self._taken(expression, as_position)

    def positions(self, expressions: Iterable[Argument]) -> list[Vector]:
        """Positions, a list among them standing for its members."""
        found: list[Vector] = []
        for expression in expressions:
            value = self.evaluate(expression)
            members = value.members if isinstance(value, Many) else (value,)
            for member in members:
                found.append(
                    self._matched(expression, self.as_value(member, expression), as_position)
                )
        return found

    def direction(self, expression: Argument) -> Vector:
        """A unit direction."""
        return self._taken(expression, as_direction)

    def toward(self, expression: Argument, start: Vector) -> Vector:
        """The unit direction that a direction states, or from a start to a position."""

        def way(value: Value) -> Vector:
            if isinstance(value, Spot) or (isinstance(value, Arrow) and value.point):
                target = as_position(value)
                value = Arrow(
                    (target[0] - start[0], target[1] - start[1], target[2] - start[2]), LENGTH
                )
            return as_direction(value)

        return self._taken(expression, way)

    def _taken(self, expression: Argument, take: Callable[[Value], Taken]) -> Taken:
        return self._matched(expression, self.worth(expression), take)

    def _matched(self, expression: Argument, value: Value, take: Callable[[Value], Taken]) -> Taken:
        """A value taken as what is needed; a mismatch is a finding at the expression."""
        try:
            return take(value)
        except Mismatch as mismatch:
            raise self.stop(DIMENSION, expression, mismatch.message, mismatch.help) from None

    # ---- things of the rig ----

    def handle(self, reference: Argument) -> Handle:
        """The thing of the rig that a reference names."""
        assert isinstance(reference, Reference)
        value = self.look_up(reference, nodes_first=True)
        if isinstance(value, Handle):
            return value
        raise self.stop(
            NOT_A_NODE,
            reference,
            f"expected something of the rig, found {named(value)}",
            help="a landmark is only a position; declare a joint, group or control there",
        )

    def node(self, reference: Argument) -> NodeEntity:
        """The node that a reference names."""
        handle = self.handle(reference)
        if isinstance(handle.entity, NodeEntity) and not handle.rest:
            return handle.entity
        what = "a channel" if handle.rest else handle.entity.called
        help_line = None
        if isinstance(handle.entity, ChainEntity):
            help_line = f"write {handle.entity.name[-1]}.first or {handle.entity.name[-1]}.last"
        raise self.stop(
            NOT_A_NODE,
            reference,
            f"expected a joint, group, control or grip, found {what}",
            help=help_line,
            related=[(handle.entity.site, "declared here")],
        )

    def node_or_world(self, reference: Argument) -> NodeEntity | None:
        """The node that a reference names, or None for `world`."""
        assert isinstance(reference, Reference)
        if reference.path == ("world",):
            return None
        return self.node(reference)

    def chain(self, reference: Argument) -> ChainEntity:
        """The chain that a reference names."""
        entity = self.handle(reference).entity
        if isinstance(entity, ChainEntity):
            return entity
        raise self.stop(NOT_A_NODE, reference, f"expected a chain, found {entity.called}")

    def curve(self, reference: Argument) -> CurveEntity:
        """The curve that a reference names."""
        entity = self.handle(reference).entity
        if isinstance(entity, CurveEntity):
            return entity
        raise self.stop(NOT_A_NODE, reference, f"expected a curve, found {entity.called}")
