"""Nodes of the rig: where they stand, how they are turned, what they hang under, what they follow.

Groups, joints, controls and grips share these; what only one of them has is in its own statement.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from somite.axes import opposite
from somite.expansion.clauses import (
    CLAUSE_TWICE,
    check_terms,
    excuses_of,
    gather,
    only,
    text_of,
    was_of,
)
from somite.expansion.entities import ChainEntity, Entity, Family, NodeEntity, Placed
from somite.expansion.scope import Scope
from somite.expansion.state import AXIS_VECTORS, IDENTITY, PARTS
from somite.expansion.values import LARGEST, Spot, named
from somite.findings import Code
from somite.ir import (
    Axis,
    Constraint,
    Face,
    Follow,
    Frame,
    Leader,
    Node,
    NodeKind,
    Part,
    TurnOrder,
    Vector,
)
from somite.spatial import rotation, vector
from somite.syntax import Argument, Clause, Reference, Statement, Word
from somite.units import NUMBER, dimension_name, quantity_in

NO_PLACE = Code("no-place")
BAD_AXES = Code("bad-axes")
UNKNOWN_CHANNEL = Code("unknown-channel")
UNKNOWN_ORDER = Code("unknown-order")
DIAL_OPTIONS = Code("dial-options")
NOT_A_DIAL = Code("not-a-dial")
WEIGHTS = Code("weights")
LEADER_TWICE = Code("leader-twice")

PLACING = frozenset({"at", "like", "axis", "lean"})
HANGING = frozenset({"under", "passes", "keeps", "stays", "one_sided", "order", "about", "was"})
LEADING = frozenset({"follow", "land", "face"})
NODE = PLACING | HANGING | LEADING | {"excuse"}

NEXT_AXIS: dict[str, Axis] = {"X": "+Y", "Y": "+Z", "Z": "+X"}
"""The local axis that leans when a recipe does not say which."""

ORDERS = ("xyz", "xzy", "yxz", "yzx", "zxy", "zyx")


# ---- placing -------------------------------------------------------------------------------------


def placed(entity: Placed, scope: Scope, default: Vector | None = None) -> tuple[Frame, bool]:
    """The frame that at, like, axis and lean state, in the scope's space, and if it was turned."""
    clauses = entity.clauses
    at = only(clauses, "at")
    if at is not None:
        position = scope.position(at.arguments[0])
    elif default is not None:
        position = default
    else:
        raise scope.stop(
            NO_PLACE,
            entity.statement,
            f'{entity.kind} "{entity.dotted}" has no place',
            help='say where it stands: "at pelvis"',
        )
    position = nudged(entity.dotted, position, scope)
    entity.frame = Frame(position, IDENTITY)  # `here` in the clauses below is this place.
    try:
        turn, turning = turned(clauses, scope, position)
    finally:
        entity.frame = None
    return Frame(position, turn), turning


def nudged(dotted: str, position: Vector, scope: Scope) -> Vector:
    """A position with the sheet's correction for the thing of that name."""
    by = scope.build.nudges.get(dotted)
    if by is None:
        return position
    scope.build.nudged.add(dotted)
    if scope.mirrored != scope.build.mirrored:  # A whole rig's reflection has its nudges too.
        by = scope.build.reflected(by)
    return vector.add(position, by)


def turned(
    clauses: Mapping[str, list[Clause]], scope: Scope, position: Vector
) -> tuple[tuple[float, float, float, float], bool]:
    """The turn that like, axis and lean state, and whether any of them was said."""
    like = only(clauses, "like")
    axis = only(clauses, "axis")
    lean = only(clauses, "lean")
    if like is not None:
        if axis is not None or lean is not None:
            raise scope.stop(
                BAD_AXES,
                axis or lean or like,
                "expected one way to turn, found like and an axis or a lean",
                help="leave out like, or the others",
            )
        value = scope.worth(like.arguments[0])
        if not isinstance(value, Spot):
            raise scope.stop(
                BAD_AXES,
                like,
                f"expected a node or a place to turn like, found {named(value)}",
                help="a landmark is only a position; to point at it write: axis +Z toward X",
            )
        # What is like a node that stands like the rig stands like the rig, on both sides; but a
        # turn that was said is one, even where this sheet's measures make it none.
        return value.frame.turn, value.turning or value.frame.turn != IDENTITY
    if axis is None and lean is None:
        return IDENTITY, False
    if axis is None or len(axis.arguments) < 2:
        raise scope.stop(
            BAD_AXES,
            axis or lean or like,  # type: ignore[arg-type]
            "expected an axis and what it points toward",
            help="write: axis +Z toward nape  lean +Y toward +X",
        )
    aim_axis = axis_of(axis.arguments[0])
    aim = scope.toward(axis.arguments[1], position)
    second_axis, second = lean_of(lean, aim_axis, scope, position, aim)
    return (
        rotation.quaternion_from_axes(
            AXIS_VECTORS[aim_axis], aim, AXIS_VECTORS[second_axis], second
        ),
        True,
    )


def lean_of(
    lean: Clause | None, aim_axis: Axis, scope: Scope, position: Vector, aim: Vector
) -> tuple[Axis, Vector]:
    """The local axis that leans, and the direction it leans toward."""
    if lean is None:
        build = scope.build
        for choice in (build.up, build.front):
            direction = AXIS_VECTORS[choice]
            if abs(vector.dot(direction, aim)) < 0.9:
                return NEXT_AXIS[aim_axis[1]], direction
        return NEXT_AXIS[aim_axis[1]], AXIS_VECTORS[build.front]
    if isinstance(lean.arguments[-1], Word):
        raise scope.stop(
            BAD_AXES,
            lean,
            "only a chain leans to its bend, this is a single node",
            help="lean toward a direction or a position: lean +Y toward +X",
        )
    if len(lean.arguments) > 1:
        second_axis = axis_of(lean.arguments[0])
        if second_axis[1] == aim_axis[1]:
            raise scope.stop(
                BAD_AXES,
                lean,
                f"expected another axis to lean than {aim_axis}, found {second_axis}",
                help="the axis that points and the axis that leans must differ",
            )
    else:
        second_axis = NEXT_AXIS[aim_axis[1]]
    return second_axis, scope.toward(lean.arguments[-1], position)


def axis_of(argument: Argument) -> Axis:
    """The axis that a word states."""
    text = argument.text if isinstance(argument, Word) else getattr(argument, "axis", "+X")
    return cast(Axis, str(text))


def own_axis(entity: NodeEntity, axis: Axis) -> Axis:
    """A local axis of a node as its mirrored frame has it: signs M of a direction."""
    signs = entity.signs()
    assert signs is not None
    return axis if signs[0]["XYZ".index(axis[1])] > 0 else opposite(axis)


# ---- declaring -----------------------------------------------------------------------------------


def declare_node(
    statement: Statement, scope: Scope, kind: NodeKind, takes: frozenset[str]
) -> NodeEntity:
    """Enter a node under the name that its head states."""
    head = statement.arguments[0]
    assert isinstance(head, Clause)
    word, name = scope.full_name(head)
    entity = NodeEntity(name, statement, scope, kind=kind, node_kind=kind)
    entity.scope = scope.child(within=entity)
    entity.compute = lambda: placed(entity, entity.scope)
    scope.declare(word, entity)
    entity.clauses = gather(statement, scope, takes)
    return entity


def parent_of(entity: NodeEntity, scope: Scope) -> NodeEntity | None:
    """The node that `under` names; `first under` where the first has no such number."""
    under = only(entity.clauses, "under")
    if under is None:
        return None
    target = under.arguments[0]
    assert isinstance(target, Reference)
    if len(under.arguments) > 1 and _is_before_first(target, scope):
        target = under.arguments[1]
    parent = scope.node_or_world(target)
    if parent is entity:
        raise scope.stop(
            NO_PLACE, under, f'"{entity.dotted}" can not hang under itself', help="name its parent"
        )
    return parent


def _is_before_first(reference: Reference, scope: Scope) -> bool:
    path = scope.segments(reference)
    numbers = [at for at, segment in enumerate(path) if isinstance(segment, int)]
    if not numbers:
        return False
    at = numbers[-1]
    if at == 1:
        thing = scope.thing(str(path[0]))
        if isinstance(thing, Family):
            number = int(path[at])
            return number not in thing.members and number < min(thing.members)
        if isinstance(thing, Entity):
            return isinstance(thing, ChainEntity) and int(path[at]) < 1
    return int(path[at]) < 1


def emit_node(entity: NodeEntity, **extra: object) -> Node:
    """The IR of a node, with its parent and mirror."""
    scope = entity.scope
    clauses = entity.clauses
    parent = parent_of(entity, scope)
    node = Node(
        name=entity.dotted,
        spelled="",
        kind=entity.node_kind,
        parent=parent.dotted if parent else None,
        rest=entity.real_frame(),
        order=order_of(clauses, scope),
        passes_size=passes_size(clauses, scope, usual=True),
        dials=tuple([entity.dials[name] for name in sorted(entity.dials)]),
        stays_in_world="stays" in clauses,
        one_sided="one_sided" in clauses,
        mirror=entity.mirror(),
        was=was_of(clauses),
        about=text_of(only(clauses, "about")),
        excuses=excuses_of(clauses, scope),
        origin=entity.origin,
        **extra,  # type: ignore[arg-type]
    )
    return node


def passes_size(clauses: Mapping[str, list[Clause]], scope: Scope, *, usual: bool) -> bool:
    """Whether a node passes its own size on: as stated, else as is usual for its kind."""
    passes, keeps = only(clauses, "passes"), only(clauses, "keeps")
    if passes is not None and keeps is not None:
        scope.report(
            CLAUSE_TWICE,
            keeps,
            'expected one of "passes size" and "keeps size", found both',
            help="keep one of them",
            related=[(scope.site(passes), "the other one")],
        )
    if passes is not None:
        return True
    return usual if keeps is None else False


def order_of(clauses: Mapping[str, list[Clause]], scope: Scope) -> TurnOrder:
    """The turn order that a node states, xyz by default."""
    clause = only(clauses, "order")
    if clause is None:
        return "xyz"
    word = clause.arguments[0]
    assert isinstance(word, Word)
    if word.text not in ORDERS:
        scope.report(
            UNKNOWN_ORDER,
            word,
            f'expected a turn order, found "{word.text}"',
            help="the orders are " + ", ".join(ORDERS) + "; zyx turns about z first",
        )
        return "xyz"
    return cast(TurnOrder, word.text)


# ---- leading -------------------------------------------------------------------------------------


def leading(entity: NodeEntity) -> list[Constraint]:
    """The constraints that a node's follow, land and face clauses state."""
    found: list[Constraint] = []
    for word in ("follow", "land"):
        for clause in entity.clauses.get(word, ()):
            found.append(follow_from(clause, entity, entity.scope, landing=word == "land"))
    for clause in entity.clauses.get("face", ()):
        found.append(_face(clause, entity))
    return found


def follow_from(
    clause: Clause, entity: NodeEntity, scope: Scope, *, landing: bool = False
) -> Follow:
    """The follow that a clause states for a node, its leaders read in a scope."""
    leaders = [
        piece for piece in clause.arguments if isinstance(piece, Clause) and piece.word == "leader"
    ]
    terms = {
        piece.word: piece
        for piece in clause.arguments
        if isinstance(piece, Clause) and piece.word != "leader"
    }
    check_terms(clause.arguments, scope)
    _check_leaders(leaders, scope)
    takes, about = _taken(terms.get("follow_for"), scope)
    weights = [_weight(leader, scope) for leader in leaders]
    stated = [weight for weight in weights if weight is not None]
    if stated and (len(stated) != len(weights) or "follow_by" in terms):
        raise scope.stop(
            WEIGHTS,
            clause,
            "expected a weight for every leader and no dial, found some of each",
            help="give every leader a weight, or none and a dial: follow a, b by mix",
        )
    named_leaders = tuple(
        Leader(node.dotted if node else None, 1.0 if weight is None else weight)
        for node, weight in (
            (scope.node_or_world(leader.arguments[0]), weight)
            for leader, weight in zip(leaders, weights, strict=True)
        )
    )
    dial = None
    if "follow_by" in terms:
        dial = dial_channel(terms["follow_by"].arguments[0], entity, scope, len(named_leaders))
    name = f"{entity.dotted}/follow"
    if takes != PARTS:
        name += "-" + "-".join(takes)
    return Follow(
        name=name,
        node=entity.dotted,
        leaders=named_leaders,
        takes=cast(tuple[Part, ...], takes),
        about=about,
        dial=dial,
        landing=landing,
        excuses=excuses_of(entity.clauses, scope),
        origin=(scope.site(clause), *scope.trail),
    )


def _check_leaders(leaders: list[Clause], scope: Scope) -> None:
    """A leader is written once; two names that a use gives one node are no mistake."""
    text = scope.document.source.text
    seen: dict[str, Clause] = {}
    for leader in leaders:
        name = leader.arguments[0]
        there = seen.setdefault("".join(text[name.start : name.end].split()), leader)
        if there is not leader:
            raise scope.stop(
                LEADER_TWICE,
                leader,
                f'expected each leader once, found "{text[name.start : name.end]}" twice',
                help="name another leader, or give it a larger weight: follow low 70%, high 30%",
                related=[(scope.site(there), "first named here")],
            )


def _weight(leader: Clause, scope: Scope) -> float | None:
    if len(leader.arguments) < 2:
        return None
    stated = leader.arguments[1]
    if isinstance(stated, Word):
        value, dimension = quantity_in(stated.text)
        if dimension != NUMBER:
            raise scope.stop(
                WEIGHTS,
                leader,
                f"expected a share or a plain number as weight, found {dimension_name(dimension)}",
                help="write it so: follow low 30%, high 70%",
            )
    else:
        value = scope.number(stated, NUMBER)
    if not 0.0 <= value <= LARGEST:
        raise scope.stop(
            WEIGHTS, leader, f"expected a weight from 0 up to {LARGEST:g}, found {value:g}"
        )
    return value


def _taken(clause: Clause | None, scope: Scope) -> tuple[tuple[str, ...], Axis | None]:
    if clause is None:
        return PARTS, None
    parts = set()
    about: Axis | None = None
    for piece in clause.arguments:
        assert isinstance(piece, Clause)
        word = piece.arguments[0]
        assert isinstance(word, Word)
        if word.text not in PARTS:
            raise scope.stop(
                UNKNOWN_CHANNEL,
                word,
                f'expected move, turn or size, found "{word.text}"',
                help="a follow takes whole channels; one component is fed: feed a.move.x from ...",
            )
        parts.add(word.text)
        if len(piece.arguments) > 1:
            if word.text != "turn":
                raise scope.stop(
                    UNKNOWN_CHANNEL, piece, f'only a turn is taken about an axis, not "{word.text}"'
                )
            about = axis_of(piece.arguments[1])
    return tuple([part for part in PARTS if part in parts]), about


def dial_named(
    argument: Argument, entity: NodeEntity | None, scope: Scope
) -> tuple[NodeEntity, str]:
    """The control and the dial of it that a clause names, its own control's dials first."""
    assert isinstance(argument, Reference)
    path = argument.path
    owner: NodeEntity | None = None
    if entity is not None and len(path) == 1 and path[0] in entity.dials:
        owner, name = entity, str(path[0])
    else:
        handle = scope.handle(argument)
        name = str(handle.rest[0]) if handle.rest else ""
        if isinstance(handle.entity, NodeEntity):
            owner = handle.entity
    if owner is None or name not in owner.dials:
        raise scope.stop(
            NOT_A_DIAL,
            argument,
            "expected a dial, found something else",
            help="declare one on a control: dial mix = 0 in 0..1",
        )
    return owner, name


def dial_channel(
    argument: Argument, entity: NodeEntity | None, scope: Scope, leaders: int | None
) -> str:
    """The channel of the dial that a clause names; a choice has as many words as leaders."""
    owner, name = dial_named(argument, entity, scope)
    dial = owner.dials[name]
    if leaders is not None and dial.options and len(dial.options) != leaders:
        raise scope.stop(
            DIAL_OPTIONS,
            argument,
            f'dial "{name}" has {len(dial.options)} choices for {leaders} leaders',
            help="name one leader for each choice, in their order",
            related=[(dial.origin[0], "dial declared here")],
        )
    if leaders is not None and leaders < 2:
        raise scope.stop(
            DIAL_OPTIONS,
            argument,
            "expected at least two leaders to choose from, found one",
            help="add world as a leader, or leave the dial out",
        )
    return f"{owner.dotted}.{name}"


def _face(clause: Clause, entity: NodeEntity) -> Face:
    scope = entity.scope
    mark = scope.node(clause.arguments[0])
    check_terms(clause.arguments, scope)
    terms = {piece.word: piece for piece in clause.arguments[1:] if isinstance(piece, Clause)}
    build = scope.build
    axis: Axis = build.front
    if "face_pointing" in terms:
        axis = axis_of(terms["face_pointing"].arguments[0])
    up: Axis = build.up if build.up[1] != axis[1] else build.front
    up_node: NodeEntity | None = None
    up_axis = up
    if "face_up" in terms:
        stated = terms["face_up"].arguments
        up = up_axis = axis_of(stated[0])
        if len(stated) > 1:
            up_node = scope.node_or_world(stated[1])
        if len(stated) > 2:
            up_axis = axis_of(stated[2])
    if up[1] == axis[1]:
        raise scope.stop(
            BAD_AXES,
            clause,
            f"expected an up axis other than {axis}, found {up}",
            help="the axis that points and the axis that is up must differ",
        )
    return Face(
        name=f"{entity.dotted}/face",
        node=entity.dotted,
        mark=mark.dotted,
        axis=own_axis(entity, axis),
        up=own_axis(entity, up),
        up_node=up_node.dotted if up_node else None,
        up_axis=own_axis(up_node, up_axis) if up_node else up_axis,
        exact="face_exactly" in terms,
        excuses=excuses_of(entity.clauses, scope),
        origin=(scope.site(clause), *scope.trail),
    )
