"""`chain NAME along CURVE` or `through A, B, C`: an ordered run of joints, and a place `end`."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from somite.expansion import grounds
from somite.expansion.clauses import excuses_of, gather, only, text_of
from somite.expansion.curves import worked
from somite.expansion.entities import ChainEntity, CurveEntity, NodeEntity
from somite.expansion.nodes import (
    NEXT_AXIS,
    axis_of,
    dial_channel,
    emit_node,
    follow_from,
    lean_of,
    nudged,
    own_axis,
    passes_size,
)
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.expansion.state import AXIS_VECTORS, TOO_LARGE, Lazy
from somite.expansion.values import Many, Quantity
from somite.findings import Code
from somite.ir import Amount, Axis, Chain, Frame, Ride, Vector
from somite.spatial import arc, rotation, spacing, spline, vector
from somite.spatial import frames as spatial_frames
from somite.syntax import Argument, Clause, Reference, Statement, Word
from somite.units import NUMBER

CHAIN_SHAPE = Code("chain-shape")
NO_BEND = Code("no-bend")
RIDE_SHAPE = Code("ride-shape")
NUDGE_ON_CURVE = Code("nudge-on-curve")

WORDS = ("chain",)
CLAUSES = frozenset(
    {"along", "through", "bones", "named", "spacing", "denser", "axis", "lean", "under", "order"}
    | {"ride", "carried", "stretch", "volume", "each", "about", "was", "excuse", "passes", "keeps"}
    | {"one_sided"}
)
BLOCK = frozenset({"when"})

MOST_BONES = 10_000
SHORTEST = 1e-9
STRAIGHT = 1e-6


def declare(statement: Statement, scope: Scope) -> None:
    """Enter the chain and its joints; places are worked out when one is asked for."""
    head = statement.arguments[0]
    assert isinstance(head, Clause)
    word, name = scope.full_name(head)
    entity = ChainEntity(name, statement, scope, kind="chain")
    scope.declare(word, entity)
    entity.clauses = gather(statement, scope, CLAUSES)
    labels = only(entity.clauses, "named")
    if labels is not None:
        for label in labels.arguments:
            assert isinstance(label, Word)
            scope.check_word(label)
        entity.labels = tuple([w.text for w in labels.arguments if isinstance(w, Word)])
    bones = _bones(entity)
    if labels is not None and len(entity.labels) != bones:
        raise scope.stop(
            CHAIN_SHAPE,
            labels,
            f"expected {bones} names for {bones} bones, found {len(entity.labels)}",
            help="a chain through n places has n - 1 bones",
        )
    build = scope.build
    for at in range(bones):
        segment: str | int = entity.labels[at] if entity.labels else at + 1
        joint = NodeEntity(
            (*name, segment), statement, scope, kind="joint", node_kind="joint", chain=entity
        )
        joint.compute = _joint_frame(entity, at)
        entity.joints.append(joint)
        build.nodes[joint.name] = joint
    records_of(scope).later(entity, lambda: _emit(entity))


def _bones(entity: ChainEntity) -> int:
    """How many bones: stated, or one fewer than the places it runs through."""
    scope = entity.scope
    bones = only(entity.clauses, "bones")
    through = only(entity.clauses, "through")
    if bones is not None:
        count = scope.whole(bones.arguments[0])
        if not 1 <= count <= MOST_BONES:
            raise scope.stop(
                TOO_LARGE if count > MOST_BONES else CHAIN_SHAPE,
                bones,
                f"expected 1 to {MOST_BONES} bones, found {count}",
                help="give the count a range in the sheet block: count bones = 7 in 4..12",
            )
        return count
    if through is not None:
        count = sum(_places_in(argument, scope) for argument in through.arguments) - 1
        if count >= 1:
            return count
        raise scope.stop(
            CHAIN_SHAPE,
            through,
            "expected at least two places to run through",
            help="the last place is the chain's end",
        )
    raise scope.stop(
        CHAIN_SHAPE,
        entity.statement,
        f'chain "{entity.dotted}" does not say how many bones it has',
        help="write: bones 7, or let it run through places",
    )


def _places_in(argument: Argument, scope: Scope) -> int:
    """How many places an argument stands for, without working them out where that is clear."""
    if isinstance(argument, Reference) and len(argument.path) == 1:
        lazy = scope.lazy(str(argument.path[0]))
        if lazy is not None and lazy.sides is None:
            value = lazy.get()
            return len(value.members) if isinstance(value, Many) else 1
    return 1


def _joint_frame(entity: ChainEntity, at: int):  # type: ignore[no-untyped-def]
    def compute() -> tuple[Frame, bool]:
        return chain_frames(entity)[0][at], True

    return compute


def chain_frames(entity: ChainEntity) -> tuple[tuple[Frame, ...], Vector]:
    """The frames of the joints and the end's position, in the chain's own space."""
    if entity.frames is not None:
        return entity.frames
    entity.frames = entity.scope.once(entity, lambda: _worked(entity))
    return entity.frames


def _worked(entity: ChainEntity) -> tuple[tuple[Frame, ...], Vector]:
    scope = entity.scope
    clauses = entity.clauses
    along = only(clauses, "along")
    through = only(clauses, "through")
    if (along is None) == (through is None):
        raise scope.stop(
            CHAIN_SHAPE,
            entity.statement,
            "expected either a curve to stand along or places to run through, found "
            + ("neither" if along is None else "both"),
            help="write: chain back along path, or: chain limb through hip, knee, ankle",
        )
    axis = _axis(entity)
    if along is not None:
        entity.curve = scope.curve(along.arguments[0])
        return _along(entity, entity.curve, axis)
    assert through is not None
    positions = _through(entity, through)
    aims = _aims(entity, positions)
    second_axis, references = _references(entity, axis, positions, aims)
    return _frames(positions, aims, axis, second_axis, references), positions[-1]


def _axis(entity: ChainEntity) -> Axis:
    clause = only(entity.clauses, "axis")
    if clause is None:
        return "+X"
    if len(clause.arguments) > 1:
        raise entity.scope.stop(
            CHAIN_SHAPE,
            clause,
            "a chain's axis points along its bones, found a direction of its own",
            help="write only the axis: axis +X",
        )
    return axis_of(clause.arguments[0])


def _fractions(entity: ChainEntity) -> tuple[float, ...]:
    """Where joints and end stand, as fractions of the length: even, listed or graded."""
    scope, bones = entity.scope, len(entity.joints)
    listed = only(entity.clauses, "spacing")
    graded = only(entity.clauses, "denser")
    if listed is not None and graded is not None:
        raise scope.stop(
            CHAIN_SHAPE,
            graded,
            "a chain is spaced once, found a spacing and a grade",
            help="keep one of them",
        )
    if graded is not None:
        toward, density = graded.arguments[1], graded.arguments[-1]
        share = scope.number(density, NUMBER)
        if not 0.0 <= share < 1.0:
            raise scope.stop(
                CHAIN_SHAPE,
                density,
                f"expected a grade from 0 to below 100%, found {share * 100:g}%",
                help="at 40% the densest bone is 0.6 and the longest 1.4 of the mean",
            )
        return spacing.graded(
            bones, share, toward_start=isinstance(toward, Word) and toward.text == "start"
        )
    if listed is None or isinstance(listed.arguments[0], Word):
        return spacing.even(bones)
    return _listed(entity, listed, bones)


def _listed(entity: ChainEntity, clause: Clause, bones: int) -> tuple[float, ...]:
    scope = entity.scope
    weights = []
    dimension = None
    for argument in clause.arguments:
        value = scope.worth(argument)
        if not isinstance(value, Quantity) or value.value <= 0.0:
            raise scope.stop(CHAIN_SHAPE, argument, "expected a length or a weight above 0")
        if dimension not in (None, value.dimension):
            raise scope.stop(
                CHAIN_SHAPE, argument, "expected lengths or weights, found some of each"
            )
        dimension = value.dimension
        weights.append(value.value)
    if len(weights) != bones:
        raise scope.stop(
            CHAIN_SHAPE,
            clause,
            f"expected {bones} lengths for {bones} bones, found {len(weights)}",
            help="give one for each bone, from the start",
        )
    return spacing.listed(weights)


def _through(entity: ChainEntity, clause: Clause) -> list[Vector]:
    """The joints' positions and the end, from places, or spaced on a line between two."""
    scope, bones = entity.scope, len(entity.joints)
    places = scope.positions(clause.arguments)
    if len(places) == 2 and bones > 1:
        fractions = _fractions(entity)
        places = [vector.lerp(places[0], places[1], f) for f in fractions[:-1]] + [places[1]]
    elif len(places) != bones + 1:
        raise scope.stop(
            CHAIN_SHAPE,
            clause,
            f"expected {bones + 1} places for {bones} bones, found {len(places)}",
            help="leave out bones, or let the chain run from one place to another",
        )
    elif "spacing" in entity.clauses or "denser" in entity.clauses:
        raise scope.stop(
            CHAIN_SHAPE,
            (entity.clauses.get("spacing") or entity.clauses["denser"])[0],
            "the joints stand at the places that the chain runs through, found a spacing too",
            help="leave it out",
        )
    nudges = [
        nudged(joint.dotted, place, scope)
        for joint, place in zip(entity.joints, places, strict=False)
    ]
    return [*nudges, places[-1]]


def _aims(entity: ChainEntity, positions: list[Vector]) -> list[Vector]:
    aims = []
    for at in range(len(positions) - 1):
        step = vector.subtract(positions[at + 1], positions[at])
        size = vector.length(step)
        if size < SHORTEST:
            raise entity.scope.stop(
                CHAIN_SHAPE,
                entity.statement,
                f'bone {at + 1} of chain "{entity.dotted}" has no length',
                help="two of its places are the same; check the sheet",
            )
        aims.append(vector.scaled(step, 1.0 / size))
    return aims


def _references(
    entity: ChainEntity, axis: Axis, positions: list[Vector], aims: list[Vector]
) -> tuple[Axis, list[Vector]]:
    """The local axis that leans, and where it leans at each joint of a straight-boned chain."""
    scope = entity.scope
    lean = only(entity.clauses, "lean")
    if lean is not None and _to_bend(lean):
        second_axis = axis_of(lean.arguments[0]) if len(lean.arguments) > 1 else None
        return second_axis or NEXT_AXIS[axis[1]], _bend_references(entity, lean, aims)
    second_axis, start = lean_of(lean, axis, scope, positions[0], aims[0])
    samples = [(position, aim) for position, aim in zip(positions, aims, strict=False)]
    return second_axis, spatial_frames.transport(start, samples)


def _to_bend(lean: Clause) -> bool:
    last = lean.arguments[-1]
    return isinstance(last, Word) and last.text == "bend"


def _bend_references(entity: ChainEntity, lean: Clause, aims: list[Vector]) -> list[Vector]:
    """Toward the inside of the bend at each joint, in the plane of the sharpest bend."""
    normal: Vector | None = None
    sharpest = STRAIGHT
    for first, second in pairwise(aims):
        across = vector.cross(first, second)
        size = vector.length(across)
        if size > sharpest:
            sharpest, normal = size, vector.scaled(across, 1.0 / size)
    if normal is None:
        raise entity.scope.stop(
            NO_BEND,
            lean,
            f'chain "{entity.dotted}" is straight, so it has no bend to lean to',
            help="bend it a little in the sheet, or lean toward a direction: lean +Y toward -Z",
        )
    return [vector.cross(normal, aim) for aim in aims]


def _frames(
    positions: list[Vector],
    aims: list[Vector],
    axis: Axis,
    second_axis: Axis,
    references: list[Vector],
) -> tuple[Frame, ...]:
    return tuple(
        [
            Frame(
                position,
                rotation.quaternion_from_axes(
                    AXIS_VECTORS[axis], aim, AXIS_VECTORS[second_axis], reference
                ),
            )
            for position, aim, reference in zip(positions, aims, references, strict=False)
        ]
    )


def _along(entity: ChainEntity, curve: CurveEntity, axis: Axis) -> tuple[tuple[Frame, ...], Vector]:
    """Joints at fractions of a curve's length, rolled by rotation-minimising frames."""
    scope = entity.scope
    shape = worked(curve)
    made, table = shape.spline, shape.table
    if curve.scope.build is not scope.build or curve.scope.mirrored != scope.mirrored:
        here = [grounds.vector_between(p, curve.scope, scope, point=True) for p in made.points]
        made = spline.Curve(made.knots, made.degree, tuple(here))
    entity.fractions = _fractions(entity)
    total = table.length
    parameters = [arc.parameter_at_length(table, total * fraction) for fraction in entity.fractions]
    positions = [spline.point_at(made, parameter) for parameter in parameters]
    aims = _aims(entity, positions)
    for joint in entity.joints:
        if joint.dotted in scope.build.nudges:
            scope.build.nudged.add(joint.dotted)
            scope.report(
                NUDGE_ON_CURVE,
                entity.statement,
                f'"{joint.dotted}" stands on a curve and can not be nudged off it',
                help="nudge a landmark of the curve, or change the spacing",
            )
    lean = only(entity.clauses, "lean")
    if lean is not None and _to_bend(lean):
        second_axis = axis_of(lean.arguments[0]) if len(lean.arguments) > 1 else NEXT_AXIS[axis[1]]
        return _frames(
            positions, aims, axis, second_axis, _bend_references(entity, lean, aims)
        ), positions[-1]
    second_axis, start = lean_of(lean, axis, scope, positions[0], aims[0])
    carried = spatial_frames.frames_along(made, parameters, start)
    references = [reference for _, reference in carried[:-1]]
    return _frames(positions, aims, axis, second_axis, references), positions[-1]


# ---- records -------------------------------------------------------------------------------------


def _emit(entity: ChainEntity) -> None:
    scope, records = entity.scope, records_of(entity.scope)
    _, end = chain_frames(entity)
    axis = own_axis(entity.joints[0], _axis(entity))
    excuses = excuses_of(entity.clauses, scope)
    holder = entity.joints[0]
    holder.clauses = {
        word: entity.clauses[word] for word in ("under", "order") if word in entity.clauses
    }
    records.nodes.append(_joint(holder, entity, None))
    for before, joint in pairwise(entity.joints):
        joint.clauses = {word: c for word, c in holder.clauses.items() if word == "order"}
        records.nodes.append(_joint(joint, entity, before))
    records.chains.append(
        Chain(
            name=entity.dotted,
            joints=tuple([joint.dotted for joint in entity.joints]),
            end=scope.build.reflected(end) if scope.mirrored else end,
            axis=axis,
            curve=entity.curve.dotted if entity.curve else None,
            fractions=entity.fractions,
            about=text_of(only(entity.clauses, "about")),
            excuses=excuses,
            origin=entity.origin,
        )
    )
    _ride(entity)
    _each(entity)


def _joint(joint: NodeEntity, entity: ChainEntity, before: NodeEntity | None):  # type: ignore[no-untyped-def]
    node = emit_node(joint)
    return replace(
        node,
        parent=before.dotted if before else node.parent,
        passes_size=passes_size(entity.clauses, entity.scope, usual=False),
        one_sided="one_sided" in entity.clauses,
        chain=entity.dotted,
        about=None,
        excuses=excuses_of(entity.clauses, entity.scope),
    )


def amount(clause: Clause | None, scope: Scope) -> Amount:
    """A share that a clause states, or the dial that does."""
    if clause is None:
        return Amount(0.0)
    argument = clause.arguments[0]
    if isinstance(argument, Reference):
        from somite.expansion.values import Handle

        value = scope.look_up(argument, nodes_first=True)
        if isinstance(value, Handle) and value.rest:
            channel = dial_channel(argument, None, scope, None)
            owner = value.entity
            assert isinstance(owner, NodeEntity)
            return Amount(owner.dials[str(value.rest[0])].default, channel)
    share = scope.number(argument, NUMBER)
    if not 0.0 <= share <= 1.0:
        raise scope.stop(
            RIDE_SHAPE, clause, f"expected a share from 0 to 100%, found {share * 100:g}%"
        )
    return Amount(share)


def _ride(entity: ChainEntity) -> None:
    scope, clauses = entity.scope, entity.clauses
    ride = only(clauses, "ride")
    if ride is None:
        for word in ("carried", "stretch", "volume"):
            clause = only(clauses, word)
            if clause is not None:
                scope.report(
                    RIDE_SHAPE,
                    clause,
                    f'"{word}" belongs to a riding chain, and "{entity.dotted}" rides no curve',
                    help='say which: ride path, beside "along path"',
                )
        return
    curve = scope.curve(ride.arguments[0])
    if curve is not entity.curve:
        raise scope.stop(
            RIDE_SHAPE,
            ride,
            f'chain "{entity.dotted}" rides a curve that it does not stand along',
            help="a chain rides the curve it was placed on, or it would jump at rest",
        )
    carried = only(clauses, "carried")
    if carried is None:
        raise scope.stop(
            RIDE_SHAPE,
            ride,
            f'chain "{entity.dotted}" rides without a carrier',
            help="say what gives its roll and scale: carried by seat",
        )
    carrier = scope.node_or_world(carried.arguments[0])
    records_of(scope).constraints.append(
        Ride(
            name=f"{entity.dotted}/ride",
            chain=entity.dotted,
            curve=curve.dotted,
            carrier=carrier.dotted if carrier else None,
            stretch=amount(only(clauses, "stretch"), scope),
            volume=amount(only(clauses, "volume"), scope),
            excuses=excuses_of(clauses, scope),
            origin=(scope.site(ride), *scope.trail),
        )
    )


def _each(entity: ChainEntity) -> None:
    """`each k follows a[k], b[k]`: one follow for every joint."""
    scope = entity.scope
    for clause in entity.clauses.get("each", ()):
        word = clause.arguments[0]
        assert isinstance(word, Word)
        inner_clause = Clause("follow", clause.arguments[1:], clause.start, clause.end)
        for at, joint in enumerate(entity.joints):
            inner = scope.child(within=joint)
            inner.names[word.text] = Lazy(
                scope, scope.site(word), word.text, value=Quantity(float(at + 1)), used=True
            )
            records_of(scope).constraints.append(follow_from(inner_clause, joint, inner))
