"""What a recipe declares, while it is being expanded: things with names and lazily known places.

An entity's frame is worked out when it is first asked for, in the space of its own scope: on the
reflected side of a `mirror` block that space is the mirror image of the rig's, so that both sides
are built by the same arithmetic. `real` frames are those of the rig; a rig that stands on a socket
of another has a space of its own, which its ground carries into the other's.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from somite.expansion import grounds
from somite.ir import Dial, Frame, Mirror, NodeKind, Signs
from somite.spatial import rotation
from somite.syntax import Clause, Statement
from somite.text import Origin, Site

if TYPE_CHECKING:
    from somite.expansion.scope import Scope

Name = tuple[str | int, ...]

OTHER_SIDE = {"left": "right", "right": "left"}


def name_of(dotted: str) -> Name:
    """A full name as its segments, numbers as numbers."""
    return tuple([int(part) if part.isdigit() else part for part in dotted.split(".")])


@dataclass(slots=True)
class Family:
    """Things of one name, told apart by a whole number."""

    members: dict[int, Entity | Sides] = field(default_factory=dict)


@dataclass(slots=True)
class Sides:
    """A thing built on both sides."""

    members: dict[str, Entity] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class Entity:
    """A declared thing: its dotted name, where it was written, and the scope it was written in."""

    name: Name
    statement: Statement
    scope: Scope
    kind: str = "thing"
    failed: bool = False
    clauses: dict[str, list[Clause]] = field(default_factory=dict)

    @property
    def dotted(self) -> str:
        """The name in full."""
        return ".".join(map(str, self.name))

    @property
    def called(self) -> str:
        """What kind of thing it is, as a person says it."""
        words = {"output": "an output", "use": "a part in use", "rig": "a rig on a socket"}
        return words.get(self.kind, f"a {self.kind}")

    @property
    def site(self) -> Site:
        """Where it was declared."""
        return self.scope.site(self.statement)

    @property
    def origin(self) -> Origin:
        """Its statement, then the uses that placed it."""
        return (self.site, *self.scope.trail)


@dataclass(slots=True, eq=False)
class Placed(Entity):
    """An entity with a place: a node of the rig, or a named place.

    `compute` gives the frame in the scope's own space; `turning` says that its turn was stated, so
    that its mirror image turns with it rather than standing like the rig.
    """

    compute: Callable[[], tuple[Frame, bool]] | None = None
    turning: bool = False
    frame: Frame | None = None
    computing: bool = False

    def own_frame(self) -> Frame:
        """The frame in the scope's own space, worked out once."""
        if self.frame is None:
            self.frame, self.turning = self.scope.work_out(self)
        return self.frame

    def real_frame(self) -> Frame:
        """The frame in the rig's space."""
        own = self.own_frame()
        if not self.scope.mirrored:
            return own
        build = self.scope.build
        place = build.reflected(own.place)
        if not self.turning:
            return Frame(place, own.turn)
        return Frame(place, rotation.product(build.half_turn, own.turn))

    def frame_for(self, reader: Scope) -> Frame:
        """The frame as a scope sees it, in its own space."""
        same = reader.build is self.scope.build
        if same and reader.mirrored == self.scope.mirrored:
            return self.own_frame()
        real = self.real_frame()
        if not same:
            real = grounds.frame_above(real, self.scope.build, reader.build)
        if not reader.mirrored:
            return real
        return Frame(reader.build.reflected(real.place), real.turn)

    def signs(self) -> tuple[Signs, Signs] | None:
        """Signs from channels as written in a mirrored scope to the rig's, for move and turn.

        On the straight side they are ones. None where the node leans so that a reflection does not
        map its axes onto themselves.
        """
        if self.scope.mirrored:
            self.own_frame()
            return self.scope.build.mirror_signs(self.turning)
        return (1, 1, 1), (1, 1, 1)


@dataclass(slots=True, eq=False)
class NodeEntity(Placed):
    """A node of the rig."""

    node_kind: NodeKind = "group"
    dials: dict[str, Dial] = field(default_factory=dict)
    dial_was: dict[str, str] = field(default_factory=dict)
    chain: ChainEntity | None = None

    def mirror(self) -> Mirror | None:
        """The twin and the signs between them, for a node built on both sides."""
        twin = twin_name(self.name)
        if twin is None or twin not in self.scope.build.nodes:
            return None
        self.own_frame()
        move, turn = self.scope.build.mirror_signs(self.turning)
        return Mirror(".".join(map(str, twin)), move, turn)


def twin_name(name: Name) -> Name | None:
    """The same name with its outermost side exchanged, or None without a side."""
    for at, segment in enumerate(name):
        if segment in OTHER_SIDE:
            return (*name[:at], OTHER_SIDE[str(segment)], *name[at + 1 :])
    return None


@dataclass(slots=True, eq=False)
class ChainEntity(Entity):
    """A run of joints; places are worked out together, when the first is asked for."""

    joints: list[NodeEntity] = field(default_factory=list)
    labels: tuple[str, ...] = ()
    frames: tuple[tuple[Frame, ...], tuple[float, float, float]] | None = None
    fractions: tuple[float, ...] = ()
    curve: CurveEntity | None = None
    computing: bool = False

    def select(self, segment: str | int) -> NodeEntity | None:
        """The joint of a number, a label, `first` or `last`."""
        if segment == "first":
            return self.joints[0]
        if segment == "last":
            return self.joints[-1]
        if isinstance(segment, int):
            return self.joints[segment - 1] if 1 <= segment <= len(self.joints) else None
        return self.joints[self.labels.index(segment)] if segment in self.labels else None


@dataclass(slots=True, eq=False)
class CurveEntity(Entity):
    """A curve; its control points are worked out when they are first asked for."""

    grips: dict[str, Entity | Family | Sides] = field(default_factory=dict)
    computing: bool = False
    shape: object = None
    lengths: object = None


@dataclass(slots=True, eq=False)
class UseEntity(Entity):
    """A part in its place: the names inside, and those it offers.

    `whole` says that it is another recipe, placed on a socket, which offers all its names.
    """

    part: str = ""
    whole: bool = False
    inner: Scope | None = None
    offers: dict[str, tuple[Clause, Scope]] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class ValueEntity(Entity):
    """A gauge, an output, a list or a pose: something that is named but has no place."""

    unit: str = "number"
    members: tuple[str, ...] | None = None


def entities_in(thing: Entity | Family | Sides) -> Iterator[Entity]:
    """Every entity of a thing, in the order of their numbers, left before right."""
    if isinstance(thing, Family):
        for number in sorted(thing.members):
            yield from entities_in(thing.members[number])
    elif isinstance(thing, Sides):
        for side in ("left", "right"):
            if side in thing.members:
                yield thing.members[side]
    else:
        yield thing
