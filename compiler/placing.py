"""A whole rig on a socket of another: `use RECIPE as NAME  on SOCKET  measured by RIG`.

In comes the use and the other recipe's syntax, out come its records among those of the rig around
it, under the use's name. The other recipe is expanded as if it stood alone, in a space of its own;
its ground then carries every place and direction onto the socket. Nothing in it can see the rig
around it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from somite import statements
from somite.axes import AXES, Axes, components
from somite.expansion import grounds
from somite.expansion.clauses import gather, only
from somite.expansion.entities import NodeEntity, UseEntity
from somite.expansion.records import Records, records_of
from somite.expansion.scope import Scope
from somite.expansion.state import TOO_LARGE, Stop
from somite.findings import Code, nearest
from somite.ir import (
    Axis,
    Chain,
    Check,
    Constraint,
    Curve,
    Expectation,
    Face,
    Frame,
    Node,
    Nudge,
    PlacedRig,
    Quaternion,
    Reach,
    Vector,
)
from somite.opening import Opened, open_recipe
from somite.sheet import Sheet
from somite.spatial import rotation, vector
from somite.statements import use as use_statement
from somite.statements.use import MOST_DEPTH, PLACED_FORM
from somite.syntax import Clause, Document, Statement, Word

RECIPE_IN_ITSELF = Code("recipe-in-itself")

WRITE = "write below it: on SOCKET, and: measured by RIG"


def key_of(document: Document) -> str:
    """How a recipe is called in the row of what is placed in what: no part can be called so."""
    return f"recipe {document.source.name}"


def place(statement: Statement, document: Document, scope: Scope) -> None:
    """Declare another recipe's rig under the name of a use; nothing where the sheet gives none."""
    word, head = statement.arguments
    assert isinstance(word, Word) and isinstance(head, Clause)
    clauses = gather(statement, scope, use_statement.CLAUSES)
    _check_depth(word, document, scope)
    given = clauses.get("with", ())
    if given:
        raise scope.stop(
            PLACED_FORM,
            given[0],
            f'"{word.text}" is a recipe, which is given a sheet and no needs',
            help="put the values on its sheet, and name that: measured by RIG",
        )
    on = only(clauses, "on")
    if on is None:
        raise scope.stop(
            PLACED_FORM,
            statement,
            f'expected the socket that "{word.text}" stands on, found none',
            help=WRITE,
        )
    sheet = _sheet(statement, word, only(clauses, "measured"), scope)
    if sheet is None:
        return
    text, name = scope.full_name(head)
    entity = UseEntity(name, statement, scope, kind="rig", part=word.text, whole=True)
    entity.clauses = clauses
    scope.declare(text, entity)
    footing = _Footing(on, entity)
    inner = _inside(entity, document, footing)
    entity.inner = inner
    opened = open_recipe(document, sheet, inner)
    if opened is None:
        raise Stop(None)
    footing.axes = opened.axes
    scope.build.opened.append(opened)
    statements.declare_block(document.statements, inner)
    scope.build.statements = inner.build.statements
    records_of(scope).later(entity, lambda: _emit(entity, opened, footing))


def _check_depth(word: Word, document: Document, scope: Scope) -> None:
    key = key_of(document)
    if key in scope.stack:
        raise scope.stop(
            RECIPE_IN_ITSELF,
            word,
            f'recipe "{word.text}" is placed on itself',
            help="a rig may carry others, but none that carries it; count them instead: "
            "use it in a repeat, on a socket for each",
        )
    if len(scope.stack) >= MOST_DEPTH:
        raise scope.stop(TOO_LARGE, word, f"expected at most {MOST_DEPTH} rigs on rigs, found more")


def _sheet(
    statement: Statement, recipe: Word, measured: Clause | None, scope: Scope
) -> Sheet | None:
    """The sheet that the placed rig is measured by; None for a rig that the sheet leaves out."""
    word = None if measured is None else measured.arguments[0]
    rigs = scope.build.rigs
    lazy = scope.lazy(word.text) if isinstance(word, Word) else None
    if isinstance(word, Word) and lazy is not None and lazy.rig and word.text in rigs:
        lazy.used = True
        return rigs[word.text]
    if isinstance(word, Word) and word.text in scope.build.failed:
        raise Stop(None)
    inside = [name for name in rigs if scope.lazy(name) is not None]
    found = f'"{word.text}"' if isinstance(word, Word) else "none"
    near = nearest(word.text, inside) if isinstance(word, Word) else None
    help_line = f"ask for one in the sheet block: rig {recipe.text}_sheet"
    if scope.parent is None and scope.space.prefix and not inside:
        help_line = "a part asks no sheet; place the rig in the recipe itself"
    raise scope.stop(
        PLACED_FORM,
        statement if measured is None else measured,
        f'expected the rig of the sheet that "{recipe.text}" is measured by, found {found}',
        help=f'did you mean "{near}"?' if near else help_line,
    )


def _inside(entity: UseEntity, document: Document, footing: _Footing) -> Scope:
    """The scope of the placed recipe, in a build of its own that shares what is counted."""
    build = replace(
        entity.scope.build,
        around=entity.scope.build,
        ground=footing.ground,
        placed=entity.dotted,
        mirrored=entity.scope.mirrored,
        records=Records(),
        nudged=set(),
        failed=set(),
        rigs={},
    )
    return use_statement.inside(entity, build, document, statements.TOP, key_of(document))


# ---- where it stands -----------------------------------------------------------------------------


@dataclass(slots=True, eq=False)
class _Footing:
    """Where a placed rig stands, worked out when it is first asked for."""

    on: Clause
    use: UseEntity
    axes: Axes | None = None
    socket: NodeEntity | None = None
    frame: Frame | None = None
    failed: bool = False

    def ground(self) -> Frame:
        """Its ground in the space of the rig around it."""
        if self.failed:
            raise Stop(None)
        if self.frame is None:
            try:
                self.frame = self._worked()
            except Stop:
                self.failed = True
                raise
        return self.frame

    def _worked(self) -> Frame:
        scope = self.use.scope
        self.socket = socket = scope.node(self.on.arguments[0])
        if socket.kind != "socket":
            raise scope.stop(
                PLACED_FORM,
                self.on,
                f"expected a socket to stand on, found {socket.called}",
                help=f"declare one there: socket saddle at {socket.name[-1]}",
                related=[(socket.site, "declared here")],
            )
        assert self.use.inner is not None and self.axes is not None
        build = scope.build
        frame = socket.frame_for(scope)
        turn = rotation.product(frame.turn, _turn_between(self.axes, Axes(build.up, build.front)))
        if not scope.mirrored:
            return Frame(frame.place, rotation.canonical(turn))
        # What was built mirrored in its own plane is reflected as a whole in the plane of the rig
        # around it by S · R · S', which is a turn: minus each of the reflections is half a turn.
        own = self.use.inner.build.half_turn
        turn = rotation.product(build.half_turn, rotation.product(turn, own))
        return Frame(build.reflected(frame.place), rotation.canonical(turn))


def _turn_between(source: Axes, target: Axes) -> Quaternion:
    """The turn that takes a vector in one convention of axes to the same one in another."""
    if source == target:
        return (0.0, 0.0, 0.0, 1.0)
    rows = [
        [float(sum(a * b for a, b in zip(row, other, strict=True))) for other in source.rows]
        for row in target.rows
    ]
    return rotation.quaternion_from_matrix(
        tuple([(row[0], row[1], row[2]) for row in rows])  # type: ignore[arg-type]
    )


# ---- records -------------------------------------------------------------------------------------


def _emit(entity: UseEntity, opened: Opened, footing: _Footing) -> None:
    """Make the placed rig's records and put them, on its ground, with those around it."""
    inner = opened.scope.build
    ground = footing.ground()
    assert footing.socket is not None
    inner.emit()
    made, around = inner.records, records_of(entity.scope)
    on = _Ground(ground, footing.socket, entity.dotted)
    around.nodes.extend(on.node(node) for node in made.nodes)
    around.chains.extend(on.chain(chain) for chain in made.chains)
    around.curves.extend(on.curve(curve) for curve in made.curves)
    around.constraints.extend(on.constraint(one) for one in made.constraints)
    around.feeds.extend(made.feeds)
    around.gauges.extend(made.gauges)
    around.lists.extend(made.lists)
    around.poses.extend(made.poses)
    around.checks.extend(on.check(check) for check in made.checks)
    around.nudges.extend(on.nudge(nudge) for nudge in made.nudges)
    around.nudges.extend(on.nudge(nudge) for nudge in _own_nudges(opened))
    around.placed.append(_placed(entity, opened, footing.socket, ground))
    around.placed.extend(on.placed(one) for one in made.placed)


def _placed(entity: UseEntity, opened: Opened, socket: NodeEntity, ground: Frame) -> PlacedRig:
    head = opened.head
    return PlacedRig(
        name=entity.dotted,
        spelled="",
        recipe=head.name,
        character=opened.sheet.character,
        revision=head.revision,
        socket=socket.dotted,
        ground=ground,
        up=head.up,
        front=head.front,
        mirror_axis=opened.axes.left,
        about=head.about or None,
        origin=entity.origin,
    )


def _own_nudges(opened: Opened) -> list[Nudge]:
    before, axes = opened.scope.build.placed, opened.axes
    mirrored = opened.scope.mirrored
    reflected = opened.scope.build.reflected
    return [
        Nudge(
            f"{before}.{one.node}",
            reflected(axes.from_neutral(one.by)) if mirrored else axes.from_neutral(one.by),
            one.because,
            (one.site,),
        )
        for one in opened.sheet.nudges
    ]


@dataclass(frozen=True, slots=True)
class _Ground:
    """Carries the records of a placed rig onto its socket."""

    ground: Frame
    socket: NodeEntity
    name: str

    def _place(self, place: Vector) -> Vector:
        return grounds.place_on(self.ground, place)

    def _way(self, direction: Vector) -> Vector:
        return rotation.rotated(self.ground.turn, direction)

    def node(self, node: Node) -> Node:
        """What stood at the top hangs under the socket, and nothing carries all of the whole."""
        top = node.parent is None and not node.stays_in_world
        return replace(
            node,
            rest=grounds.carried(self.ground, node.rest),
            parent=self.socket.dotted if top else node.parent,
            carries_all=False,
        )

    def chain(self, chain: Chain) -> Chain:
        return replace(chain, end=self._place(chain.end))

    def curve(self, curve: Curve) -> Curve:
        return replace(curve, points=tuple([self._place(point) for point in curve.points]))

    def constraint(self, one: Constraint) -> Constraint:
        if isinstance(one, Reach) and one.bend is not None:
            return replace(one, bend=self._way(one.bend))
        if isinstance(one, Face) and one.up_node is None:
            # Up in its own space is up on the socket.
            return replace(one, up_node=self.socket.dotted, up_axis=self._socket_axis(one.up_axis))
        return one

    def _socket_axis(self, axis: Axis) -> Axis:
        x, y, z = components(axis)
        held = rotation.conjugate(self.socket_turn())
        way = rotation.rotated(held, self._way((float(x), float(y), float(z))))
        return max(AXES, key=lambda one: vector.dot(way, _floats(components(one))))

    def socket_turn(self) -> Quaternion:
        return self.socket.real_frame().turn

    def check(self, check: Check) -> Check:
        expectations = tuple([self._expectation(one) for one in check.expectations])
        return replace(check, expectations=expectations)

    def _expectation(self, one: Expectation) -> Expectation:
        made = one
        if one.what in ("ground", "mirrors") and one.rig is None:
            made = replace(one, rig=self.name)
        if one.vector is None:
            return made
        move: Callable[[Vector], Vector] = self._place if one.what == "at" else self._way
        return replace(made, vector=move(one.vector))

    def nudge(self, nudge: Nudge) -> Nudge:
        return replace(nudge, by=self._way(nudge.by))

    def placed(self, one: PlacedRig) -> PlacedRig:
        return replace(one, ground=grounds.carried(self.ground, one.ground))


def _floats(parts: tuple[int, int, int]) -> Vector:
    x, y, z = parts
    return float(x), float(y), float(z)
