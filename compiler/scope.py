"""Names and what they are worth, while a recipe is being expanded.

A scope holds values by name and points at the space that its statements declare things into. A
part's body is a scope of its own that sees only what the part needs. Expressions are worked out
here, once, from the sheet; those that a feed or a gauge marks `live` are translated in
`somite.live`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from somite.entities import (
    ChainEntity,
    CurveEntity,
    Entity,
    Family,
    Name,
    NodeEntity,
    Placed,
    Sides,
    UseEntity,
    ValueEntity,
)
from somite.findings import Code, Finding, has_errors, listed, nearest
from somite.ir import Axis, Frame, Quaternion, Signs, Vector
from somite.records import Records
from somite.syntax import (
    Argument,
    Between,
    Binary,
    Call,
    Clause,
    Direction,
    Document,
    Expression,
    Items,
    Number,
    Reference,
    Statement,
    Text,
    Triple,
    Unary,
    Word,
)
from somite.text import Origin, Site
from somite.units import LENGTH, NUMBER, Dimension
from somite.values import (
    HELPERS,
    Arrow,
    Choice,
    Handle,
    Many,
    Mismatch,
    Quantity,
    Spot,
    Value,
    added,
    as_direction,
    as_number,
    as_position,
    as_whole,
    between,
    compared,
    divided,
    is_bounded,
    multiplied,
    named,
    negated,
)

UNKNOWN_NAME = Code("unknown-name")
UNKNOWN_HELPER = Code("unknown-helper")
NEEDS_SIDE = Code("needs-side")
NOT_OFFERED = Code("not-offered")
NOT_A_NODE = Code("not-a-node")
DECLARED_TWICE = Code("declared-twice")
RESERVED_NAME = Code("reserved-name")
BAD_NAME = Code("bad-name")
DIMENSION = Code("dimension")
BUILT_READS_LIVE = Code("built-reads-live")
CIRCULAR_PLACE = Code("circular-place")
CIRCULAR_VALUE = Code("circular-value")
TOO_LARGE = Code("too-large")

RESERVED = frozenset(
    {"move", "turn", "size", "left", "right", "first", "last", "end", "world", "here", "ground"}
    | {"side"}
)
UNWIND = "follow the names in it back, until one is the first again, and break the loop there"
PARTS = ("move", "turn", "size")
MOST_STATEMENTS = 250_000
"""Statements that an expansion may come to, all repetitions counted."""
MOST_REPEATS = 200_000
MOST_GUESSES = 50
"""Unknown names for which the one that was meant is looked for."""
MOST_LETTERS = 100
"""Letters of one word of a name."""
MOST_MEMBERS = 10_000
"""Members of a written list, those of lists in it counted."""

AXIS_VECTORS: dict[str, Vector] = {
    "+X": (1.0, 0.0, 0.0),
    "-X": (-1.0, 0.0, 0.0),
    "+Y": (0.0, 1.0, 0.0),
    "-Y": (0.0, -1.0, 0.0),
    "+Z": (0.0, 0.0, 1.0),
    "-Z": (0.0, 0.0, -1.0),
}
IDENTITY: Quaternion = (0.0, 0.0, 0.0, 1.0)


class Stop(Exception):
    """A statement can not be expanded further; carries the finding, or none if it was told."""

    def __init__(self, finding: Finding | None) -> None:
        super().__init__(finding)
        self.finding = finding


def _endless(what: str, site: Site) -> Finding:
    """The finding for a value at the end of a longer row than can be followed back."""
    return TOO_LARGE.at(
        site,
        f"{what} stands in a row of too many values that each wait for the next",
        help="count from the other end, so that each one asks for one that is known already",
    )


@dataclass(slots=True, eq=False)
class Lazy:
    """A value by name: worked out when first asked for, and whether it ever was."""

    scope: Scope
    site: Site
    what: str
    expression: Expression | None = None
    value: Value | None = None
    used: bool = False
    computing: bool = False
    sides: tuple[Value, Value] | None = None
    check: Callable[[Value], Value] | None = None
    nodes_first: bool = False
    failed: bool = False

    def get(self) -> Value:
        """The value in the space of its own scope."""
        self.used = True
        if self.failed:
            raise Stop(None)
        if self.value is None:
            if self.computing:
                message = f"{self.what} is worked out from itself"
                raise Stop(CIRCULAR_VALUE.at(self.site, message, help=UNWIND))
            if self.expression is None:
                raise Stop(None)
            self.computing = True
            try:
                if self.nodes_first and isinstance(self.expression, Reference):
                    value = self.scope.look_up(self.expression, nodes_first=True)
                else:
                    value = self.scope.evaluate(self.expression)
                self.value = self.check(value) if self.check else value
            except Stop:
                self.failed = True
                raise
            except RecursionError:
                self.failed = True
                raise Stop(_endless(self.what, self.site)) from None
            finally:
                self.computing = False
        return self.value


@dataclass(slots=True, eq=False)
class Space:
    """Where things are declared: a recipe, a part in use, or a curve with its grips.

    `sided` says that the side of a mirror is in the prefix already.
    """

    prefix: Name = ()
    things: dict[str, Entity | Family | Sides] = field(default_factory=dict)
    outer: Space | None = None
    old_prefix: Name = ()
    sided: bool = False


@dataclass(slots=True, eq=False)
class Build:
    """What one expansion shares: findings, nodes by name, the recipe's axes, the sheet's nudges."""

    up: Axis = "+Y"
    front: Axis = "+Z"
    mirror_index: int = 0
    findings: list[Finding] = field(default_factory=list)
    nodes: dict[Name, NodeEntity] = field(default_factory=dict)
    entities: list[Entity] = field(default_factory=list)
    records: Records = field(default_factory=Records)
    last: list[Callable[[], None]] = field(default_factory=list)
    declare_block: Callable[[Iterable[Statement], Scope], None] = lambda block, scope: None
    takers: Callable[[str], list[str]] = lambda word: []
    gauge_unit: Callable[[ValueEntity], None] = lambda entity: None
    nudges: Mapping[str, Vector] = field(default_factory=dict)
    nudged: set[str] = field(default_factory=set)
    parts: Mapping[str, Mapping[str, tuple[Statement, Document]]] = field(default_factory=dict)
    body: frozenset[str] = frozenset()
    failed: set[str] = field(default_factory=set)
    lets: list[Lazy] = field(default_factory=list)
    needs_used: dict[tuple[str, str, str], bool] = field(default_factory=dict)
    needs_at: dict[tuple[str, str, str], Site] = field(default_factory=dict)
    offers_told: set[tuple[str, str, str]] = field(default_factory=set)
    statements: int = 0
    guesses: int = 0
    broken: bool = False

    @property
    def sound(self) -> bool:
        """Whether every line was understood so far; where not, nothing is called unused."""
        return not self.broken and not has_errors(self.findings)

    def report(self, finding: Finding | None) -> None:
        """Keep a finding."""
        if finding is not None:
            self.findings.append(finding)

    def reflected(self, v: Vector) -> Vector:
        """A vector seen in the recipe's mirror plane."""
        i = self.mirror_index
        return (-v[0] if i == 0 else v[0], -v[1] if i == 1 else v[1], -v[2] if i == 2 else v[2])

    @property
    def is_too_large(self) -> bool:
        """Whether the expansion came to more statements than a rig may have."""
        return self.statements > MOST_STATEMENTS

    @property
    def half_turn(self) -> Quaternion:
        """Half a turn about the mirror plane's normal, which is minus the reflection."""
        i = self.mirror_index
        return (float(i == 0), float(i == 1), float(i == 2), 0.0)

    def mirror_signs(self, turning: bool) -> tuple[Signs, Signs]:
        """Signs M of a mirrored frame, for move and for turn (det(M) · M).

        A turning frame is R′ = −S·R, so M = −1; one placed like the rig is R′ = R = 1, so M = S.
        """
        if turning:
            return (-1, -1, -1), (1, 1, 1)
        i = self.mirror_index
        move = (-1 if i == 0 else 1, -1 if i == 1 else 1, -1 if i == 2 else 1)
        return move, (-move[0], -move[1], -move[2])


@dataclass(slots=True, eq=False)
class Pending:
    """Statements of a block that are still to be declared, so that lines may stand in any order.

    Counts, conditions and dials are worked out while a block is declared; what they name is
    declared first, wherever it stands.
    """

    declare: Callable[[Statement], None]
    waiting: dict[int, Statement]
    words: Callable[[Statement], set[str]]
    outer: Pending | None = None
    by_word: dict[str, list[int]] | None = None

    def run(self) -> None:
        """Declare what is left, in order."""
        for number in tuple(self.waiting):
            statement = self.waiting.pop(number, None)
            if statement is not None:
                self.declare(statement)

    def demand(self, word: str) -> None:
        """Declare now whatever declares a word."""
        if self.by_word is None:
            self.by_word = {}
            for number, statement in self.waiting.items():
                for declared in self.words(statement):
                    self.by_word.setdefault(declared, []).append(number)
        for number in self.by_word.pop(word, ()):
            wanted = self.waiting.pop(number, None)
            if wanted is not None:
                self.declare(wanted)


@dataclass(slots=True, eq=False)
class Scope:
    """Values by name, the space to declare into, and which side of a mirror this is."""

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
        thing = self.thing(first) if nodes_first or lazy is None else None
        if thing is not None:
            return self.walk(reference, thing, path[1:], first)
        if lazy is None:
            raise self.unknown(reference, first)
        return self.select(reference, self.value_of(lazy, reference, path), path, lazy)

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
        if lazy.scope.mirrored != self.mirrored:
            return self.seen(value)
        return value

    def seen(self, value: Value) -> Value:
        """A value of the other side of the mirror."""
        reflected = self.build.reflected
        if isinstance(value, Arrow):
            return Arrow(reflected(value.xyz), value.dimension, value.point)
        if isinstance(value, Spot):
            return Spot(Frame(reflected(value.frame.place), value.frame.turn))
        if isinstance(value, Many):
            return Many(tuple([self.seen(member) for member in value.members]))
        return value

    def select(
        self, node: Argument, value: Value, path: tuple[str | int, ...], lazy: Lazy
    ) -> Value:
        """The part of a value that the rest of a path names."""
        rest = path[1:]
        if lazy.sides is not None and rest and rest[0] in ("left", "right"):
            rest = rest[1:]
        for segment in rest:
            if isinstance(value, Many) and isinstance(segment, int):
                if not 1 <= segment <= len(value.members):
                    raise self.stop(
                        UNKNOWN_NAME,
                        node,
                        f'"{path[0]}" has {len(value.members)} members, found number {segment}',
                        related=[(lazy.site, "declared here")],
                    )
                value = value.members[segment - 1]
            elif isinstance(value, Many) and segment in ("first", "last"):
                value = value.members[0 if segment == "first" else -1]
            elif isinstance(value, Arrow | Spot) and segment in ("x", "y", "z"):
                value = self.component(value, str(segment))
            elif isinstance(value, Handle):
                return self.walk_entity(node, value.entity, rest[rest.index(segment) :])
            else:
                raise self.stop(
                    UNKNOWN_NAME,
                    node,
                    f'"{path[0]}" is {named(value)} and has no "{segment}"',
                    related=[(lazy.site, "declared here")],
                )
        return value

    def component(self, value: Arrow | Spot, axis: str) -> Value:
        """One component of a vector or of a place."""
        at = "xyz".index(axis)
        if isinstance(value, Spot):
            return Quantity(value.frame.place[at], LENGTH)
        return Quantity(value.xyz[at], value.dimension)

    def walk(
        self,
        node: Argument,
        thing: Entity | Family | Sides,
        rest: tuple[str | int, ...],
        word: str,
    ) -> Value:
        """Follow a path through numbers and sides to an entity, and into it."""
        if isinstance(thing, Family):
            if rest and isinstance(rest[0], int) and rest[0] in thing.members:
                return self.walk(node, thing.members[rest[0]], rest[1:], word)
            numbers = sorted(thing.members)
            if not rest:
                return Many(tuple([self.walk(node, thing.members[n], (), word) for n in numbers]))
            number = rest[0]
            if number == "first":
                number = numbers[0]
            elif number == "last":
                number = numbers[-1]
            inner = thing.members.get(number) if isinstance(number, int) else None
            if inner is None:
                raise self.stop(
                    UNKNOWN_NAME,
                    node,
                    f'"{word}" has the numbers {numbers[0]} to {numbers[-1]}, found {rest[0]}',
                    help=f'write {word}[{numbers[0]}], or "under {word}[k-1], first under X"',
                )
            return self.walk(node, inner, rest[1:], word)
        if isinstance(thing, Sides):
            if rest and rest[0] in ("left", "right"):
                side, rest = str(rest[0]), rest[1:]
            elif self.side is not None:
                side = self.side
            else:
                raise self.stop(
                    NEEDS_SIDE,
                    node,
                    f'"{word}" is built on both sides, and this line does not say which',
                    help=f'write {word}.left or {word}.right, or put the line in a "mirror" block',
                )
            member = thing.members.get(side)
            if member is None:
                raise Stop(None)  # Its declaration failed and was reported.
            return self.walk_entity(node, member, rest)
        return self.walk_entity(node, thing, rest)

    def walk_entity(self, node: Argument, entity: Entity, rest: tuple[str | int, ...]) -> Value:
        """Follow a path into an entity: a joint of a chain, an offer of a part, a channel."""
        if entity.failed:
            raise Stop(None)
        if not rest:
            return Handle(entity)
        segment = rest[0]
        if isinstance(entity, UseEntity):
            return self.offered(node, entity, rest)
        if isinstance(entity, ChainEntity):
            if segment == "end":
                return self.chain_end(entity)
            joint = entity.select(segment)
            if joint is None:
                raise self.stop(
                    UNKNOWN_NAME,
                    node,
                    f'chain "{entity.dotted}" has {len(entity.joints)} joints, found "{segment}"',
                    help="write a number from 1, first, last, end, or a joint's own name",
                    related=[(entity.site, "chain declared here")],
                )
            return self.walk_entity(node, joint, rest[1:])
        if isinstance(entity, CurveEntity) and isinstance(segment, str):
            inner = entity.grips.get(segment)
            if inner is None:
                raise self.stop(
                    UNKNOWN_NAME,
                    node,
                    f'curve "{entity.dotted}" has no grip named "{segment}"',
                    help="its grips are " + listed(entity.grips) if entity.grips else None,
                    related=[(entity.site, "curve declared here")],
                )
            return self.walk(node, inner, rest[1:], segment)
        if isinstance(entity, Placed) and rest in (("x",), ("y",), ("z",)):
            return self.component(Spot(entity.frame_for(self)), str(segment))
        if isinstance(entity, NodeEntity):
            self.check_channel(node, entity, rest)
            return Handle(entity, rest)
        raise self.stop(
            UNKNOWN_NAME,
            node,
            f'{entity.kind} "{entity.dotted}" has nothing named "{segment}"',
            related=[(entity.site, "declared here")],
        )

    def check_channel(self, node: Argument, entity: NodeEntity, rest: Name) -> None:
        """A node's path may go on to its channels and dials only."""
        if rest[0] in PARTS and (len(rest) == 1 or (len(rest) == 2 and rest[1] in ("x", "y", "z"))):
            return
        if len(rest) == 1 and rest[0] in entity.dials:
            return
        names = [*entity.dials, *PARTS]
        near = nearest(str(rest[0]), names)
        raise self.stop(
            UNKNOWN_NAME,
            node,
            f'{entity.kind} "{entity.dotted}" has no channel or dial "{".".join(map(str, rest))}"',
            help=f'did you mean "{near}"?' if near else "channels are move.x to size.z",
            related=[(entity.site, "declared here")],
        )

    def offered(self, node: Argument, entity: UseEntity, rest: tuple[str | int, ...]) -> Value:
        """What a part offers under a name, seen from outside."""
        word = str(rest[0])
        offer = entity.offers.get(word)
        assert entity.inner is not None
        if offer is None:
            inside = word in entity.inner.space.things
            near = nearest(word, entity.offers)
            raise self.stop(
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
                return self.walk_entity(node, value.entity, rest[1:])
            return self.seen(value) if inner.mirrored != self.mirrored else value
        thing = inner.thing(word)
        if thing is None:
            lazy = inner.lazy(word)
            if lazy is None:
                raise Stop(None)  # Reported where the part is read.
            value = inner.value_of(lazy, clause, (word,))
            return self.seen(value) if inner.mirrored != self.mirrored else value
        return self.walk(node, thing, rest[1:], word)

    def chain_end(self, chain: ChainEntity) -> Value:
        """The place where a chain ends: its end position, with its last joint's turn."""
        last = chain.joints[-1]
        turn = last.frame_for(self).turn
        assert chain.frames is not None
        end = chain.frames[1]
        if chain.scope.mirrored != self.mirrored:
            end = self.build.reflected(end)
        return Spot(Frame(end, turn))

    # ---- working out ----

    def work_out(self, entity: Placed) -> tuple[Frame, bool]:
        """An entity's own frame; a place that depends on itself is reported as the loop it is."""
        if entity.failed:
            raise Stop(None)
        if entity.computing:
            entity.failed = True
            raise self.stop(
                CIRCULAR_PLACE,
                entity.statement,
                f'the place of "{entity.dotted}" depends on itself',
                help="follow the references in its at, like, axis and lean back to the sheet",
            )
        assert entity.compute is not None
        entity.computing = True
        try:
            return entity.compute()
        except Stop:
            entity.failed = True
            raise
        except RecursionError:
            entity.failed = True
            raise Stop(_endless(f'"{entity.dotted}"', entity.site)) from None
        finally:
            entity.computing = False

    def evaluate(self, expression: Argument) -> Value:
        """The worth of a built expression; things of the rig stay handles."""
        try:
            value = self._evaluate(expression)
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

    def _evaluate(self, expression: Argument) -> Value:
        if isinstance(expression, Reference):
            return self.look_up(expression)
        if isinstance(expression, Number):
            return Quantity(expression.value, expression.dimension)
        if isinstance(expression, Binary):
            return self._binary(expression)
        if isinstance(expression, Direction):
            return Arrow(AXIS_VECTORS[expression.axis], NUMBER)
        if isinstance(expression, Triple):
            return self._triple(expression)
        if isinstance(expression, Call):
            return self._call(expression)
        if isinstance(expression, Between):
            first, second = self.worth(expression.first), self.worth(expression.second)
            return between(first, second, self.worth(expression.share))
        if isinstance(expression, Unary):
            operand = self.worth(expression.operand)
            if expression.operator == "not":
                if not isinstance(operand, bool):
                    raise Mismatch(f"expected yes or no after not, found {named(operand)}")
                return not operand
            return negated(operand)
        if isinstance(expression, Text):
            return Choice(expression.value)
        if isinstance(expression, Items):
            return self._many(expression)
        raise self.stop(DIMENSION, expression, "expected a value")

    def _many(self, expression: Items) -> Many:
        """A written list; a list in it stands for its members."""
        members: list[Value] = []
        for member in expression.members:
            value = self.evaluate(member)
            members.extend(value.members if isinstance(value, Many) else (value,))
            if len(members) > MOST_MEMBERS:
                raise self.stop(
                    TOO_LARGE, expression, f"expected a list of at most {MOST_MEMBERS}, found more"
                )
        return Many(tuple(members))

    def _binary(self, expression: Binary) -> Value:
        operator = expression.operator
        if operator in ("and", "or"):
            left = self.truth(expression.left)
            if left == (operator == "or"):
                return left
            return self.truth(expression.right)
        left_value = self.worth(expression.left)
        if operator in ("is", "is not") and isinstance(left_value, Choice):
            return compared(operator, left_value, self.word(expression.right, left_value.options))
        right_value = self.worth(expression.right)
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
            raise self.stop(DIMENSION, expression, mismatch.message, mismatch.help) from None

    def word(self, expression: Argument, options: tuple[str, ...]) -> Choice:
        """A word out of options, written bare or in quotes, or held by a name."""
        if isinstance(expression, Text):
            return Choice(expression.value, options)
        if isinstance(expression, Reference) and len(expression.path) == 1:
            bare = expression.path[0]
            if isinstance(bare, str) and (bare in options or self.lazy(bare) is None):
                return Choice(bare, options)
        value = self.worth(expression)
        if isinstance(value, Choice):
            return value
        raise self.stop(DIMENSION, expression, f"expected a word, found {named(value)}")

    def _triple(self, expression: Triple) -> Value:
        numbers = []
        dimension: Dimension | None = None
        for part in (expression.x, expression.y, expression.z):
            value = self.worth(part)
            if not isinstance(value, Quantity):
                raise self.stop(DIMENSION, part, f"expected a number, found {named(value)}")
            if value.value != 0.0 or value.dimension != NUMBER:
                if dimension is not None and dimension != value.dimension:
                    raise self.stop(
                        DIMENSION,
                        part,
                        f"expected {named(Quantity(0.0, dimension))} like the components before, "
                        f"found {named(value)}",
                    )
                dimension = value.dimension
            numbers.append(value.value)
        xyz = (numbers[0], numbers[1], numbers[2])
        return Arrow(xyz, NUMBER if dimension is None else dimension)

    def _call(self, expression: Call) -> Value:
        if expression.function == "reflected":
            return self._reflected(expression)
        helper = HELPERS.get(expression.function)
        if helper is None:
            names = (*HELPERS, "reflected")
            near = nearest(expression.function, names)
            raise self.stop(
                UNKNOWN_HELPER,
                expression,
                f'there is no helper named "{expression.function}"',
                help=f'did you mean "{near}"?' if near else "helpers are " + ", ".join(names),
            )
        function, fewest, most = helper
        count = len(expression.arguments)
        if not fewest <= count <= most:
            wanted = str(fewest) if fewest == most else f"at least {fewest}"
            raise self.stop(
                DIMENSION,
                expression,
                f"{expression.function} takes {wanted} values, found {count}",
            )
        values = [self.worth(argument) for argument in expression.arguments]
        return function(*values)

    def _reflected(self, expression: Call) -> Value:
        if len(expression.arguments) != 1:
            raise self.stop(DIMENSION, expression, "reflected takes 1 value")
        value = self.worth(expression.arguments[0])
        if isinstance(value, Arrow | Spot):
            return self.seen(value)
        raise Mismatch(f"expected a position or a direction, found {named(value)}")

    # ---- taking what is needed ----

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
            return Spot(entity.frame_for(self))
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
        value = self.worth(expression)
        try:
            return as_position(value)
        except Mismatch as mismatch:
            raise self.stop(DIMENSION, expression, mismatch.message, mismatch.help) from None

    def positions(self, expressions: Iterable[Argument]) -> list[Vector]:
        """Positions, a list among them standing for its members."""
        found: list[Vector] = []
        for expression in expressions:
            value = self.evaluate(expression)
            members = value.members if isinstance(value, Many) else (value,)
            for member in members:
                try:
                    found.append(as_position(self.as_value(member, expression)))
                except Mismatch as mismatch:
                    raise self.stop(
                        DIMENSION, expression, mismatch.message, mismatch.help
                    ) from None
        return found

    def direction(self, expression: Argument) -> Vector:
        """A unit direction."""
        value = self.worth(expression)
        try:
            return as_direction(value)
        except Mismatch as mismatch:
            raise self.stop(DIMENSION, expression, mismatch.message, mismatch.help) from None

    def toward(self, expression: Argument, start: Vector) -> Vector:
        """The unit direction that a direction states, or from a start to a position."""
        value = self.worth(expression)
        try:
            if isinstance(value, Spot) or (isinstance(value, Arrow) and value.point):
                target = as_position(value)
                value = Arrow(
                    (target[0] - start[0], target[1] - start[1], target[2] - start[2]), LENGTH
                )
            return as_direction(value)
        except Mismatch as mismatch:
            raise self.stop(DIMENSION, expression, mismatch.message, mismatch.help) from None

    def _taken(self, expression: Argument, take: Callable[[Value], float]) -> float:
        value = self.worth(expression)
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
