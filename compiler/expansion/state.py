"""What one expansion shares: findings, nodes by name, limits, and values that wait to be asked for.

A `Stop` ends one statement with a finding; a `Lazy` is a value by name, a `Space` holds what was
declared, and `Pending` statements are declared when something needs what they declare.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from somite.expansion.entities import (
    Entity,
    Family,
    Name,
    NodeEntity,
    Sides,
    ValueEntity,
)
from somite.expansion.records import Records
from somite.expansion.values import (
    Value,
)
from somite.findings import Code, Finding, has_errors
from somite.ir import Axis, Frame, Quaternion, Shown, Signs, Vector
from somite.syntax import (
    Document,
    Expression,
    Reference,
    Statement,
)
from somite.text import Site

if TYPE_CHECKING:
    from somite.expansion.scope import Scope
    from somite.opening import Opened
    from somite.sheet import Sheet

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
GIVEN_OR_NONE = ("given", "none")
"""What a rig that the sheet is asked for can be compared with."""
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


def endless(what: str, site: Site) -> Finding:
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
    rig: bool = False

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
                raise Stop(endless(self.what, self.site)) from None
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
    """What one expansion shares: findings, nodes by name, the recipe's axes, the sheet's nudges.

    A rig that is placed on a socket of another has a build of its own: its axes, nudges and records
    are its own; findings, nodes and counts it shares. `around` is the other's, `ground` gives where
    it stands there, `placed` what it is called, and `mirrored` says that it is built as a whole on
    the reflected side. `rigs` are the sheets that this one's sheet names,
    None for one that it leaves out.
    """

    up: Axis = "+Y"
    front: Axis = "+Z"
    mirror_index: int = 0
    findings: list[Finding] = field(default_factory=list)
    nodes: dict[Name, NodeEntity] = field(default_factory=dict)
    entities: list[Entity] = field(default_factory=list)
    records: Records = field(default_factory=Records)
    shown: dict[str, list[Shown]] = field(default_factory=dict)
    last: list[Callable[[], None]] = field(default_factory=list)
    declare_block: Callable[[Iterable[Statement], Scope], None] = lambda block, scope: None
    takers: Callable[[str], list[str]] = lambda word: []
    place_rig: Callable[[Statement, Document, Scope], None] = lambda use, document, scope: None
    around: Build | None = None
    ground: Callable[[], Frame] | None = None
    placed: str | None = None
    mirrored: bool = False
    rigs: dict[str, Sheet | None] = field(default_factory=dict)
    opened: list[Opened] = field(default_factory=list)
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

    def emit(self) -> None:
        """Make every record; a failure is reported and the others go on."""
        for entity, emit in self.records.waiting:
            if entity is not None and entity.failed:
                continue
            try:
                emit()
            except Stop as stop:
                self.report(stop.finding)
                if entity is not None:
                    entity.failed = True

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
