"""`check "TEXT"`: a behaviour that a recipe promises: pose in, expectations out."""

from __future__ import annotations

from dataclasses import replace

from somite.expansion.clauses import check_block, check_clauses, gather, only, text_of
from somite.expansion.entities import ChainEntity, CurveEntity, NodeEntity, ValueEntity
from somite.expansion.live import UNIT_DIMENSIONS
from somite.expansion.mentions import mention
from somite.expansion.nodes import axis_of, own_axis
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.findings import Code
from somite.ir import Check, Expectation, Setting, Sweep
from somite.statements.pose import check_once, posed_channel, setting
from somite.syntax import Clause, Reference, Statement, Word
from somite.units import ANGLE, LENGTH, NUMBER, Dimension

CHECK_FORM = Code("check-form")

WORDS = ("check",)
CLAUSES = frozenset({"expect", "about"})
POSES = frozenset({"pose_named", "pose_set", "pose_sweep"})
BLOCK = POSES | {"when"}

WITHIN: dict[Dimension, float] = {LENGTH: 0.001, ANGLE: 0.00872664625997165, NUMBER: 0.001}
"""Tolerances where a line states none: 1 mm, half a degree, a thousandth."""


def declare(statement: Statement, scope: Scope) -> None:
    """Make the check when every name is known."""
    records_of(scope).later(None, lambda: _emit(statement, scope))


def _emit(statement: Statement, scope: Scope) -> None:
    title = statement.arguments[0]
    assert isinstance(title, Word)
    clauses = gather(statement, scope, CLAUSES)
    poses: list[str] = []
    settings: list[Setting] = []
    sweeps: list[Sweep] = []
    for line in statement.block:
        _pose(line, scope, poses, settings, sweeps)
    check_once([*settings, *sweeps], scope)
    expected = tuple([_expectation(clause, scope) for clause in clauses.get("expect", ())])
    if not expected:
        raise scope.stop(
            CHECK_FORM,
            statement,
            "a check expects nothing",
            help="write: expect back.last twists 40 deg with high within 0.5 deg",
        )
    prefix = ".".join(map(str, scope.space.prefix))
    if scope.side is not None:
        prefix = f"{prefix}.{scope.side}" if prefix else scope.side
    name = title.text[1:-1]
    records_of(scope).checks.append(
        Check(
            name=f"{prefix}: {name}" if prefix else name,
            poses=tuple(sorted(poses)),
            settings=tuple(sorted(settings, key=lambda one: one.channel)),
            sweeps=tuple(sorted(sweeps, key=lambda one: one.channel)),
            expectations=tuple(sorted(expected, key=lambda one: one.text)),
            about=text_of(only(clauses, "about")),
            origin=(scope.site(statement), *scope.trail),
        )
    )


def _pose(
    line: Statement,
    scope: Scope,
    poses: list[str],
    settings: list[Setting],
    sweeps: list[Sweep],
) -> None:
    if line.word == "when":
        if scope.truth(line.arguments[0]):
            for inner in line.block:
                _pose(inner, scope, poses, settings, sweeps)
        else:
            mention(line.block, scope)
        return
    if line.word not in POSES:
        return  # Told already, where the block was read.
    check_clauses(line, scope, frozenset())
    check_block(line, scope, frozenset())
    if line.word == "pose_set":
        settings.append(setting(line, line.arguments[0], line.arguments[1], scope))
        return
    if line.word == "pose_sweep":
        channel, dimension, sign, options = posed_channel(line.arguments[0], scope)
        if options:
            raise scope.stop(CHECK_FORM, line, "a choice can not be swept, only set")
        first = sign * scope.number(line.arguments[1], dimension)
        last = sign * scope.number(line.arguments[2], dimension)
        sweeps.append(Sweep(channel, first, last, (scope.site(line), *scope.trail)))
        return
    entity = scope.handle(line.arguments[0]).entity
    if entity.kind != "pose":
        raise scope.stop(
            CHECK_FORM,
            line,
            f"expected a pose, found {entity.called}",
            help="to pose a channel, give it a value: pose high.turn.y = 40 deg",
        )
    poses.append(entity.dotted)


# ---- expectations --------------------------------------------------------------------------------


def _expectation(clause: Clause, scope: Scope) -> Expectation:
    subject = clause.arguments[0]
    assert isinstance(subject, Reference)
    pieces = [piece for piece in clause.arguments[1:] if isinstance(piece, Clause)]
    said = pieces[0]
    within = next((piece for piece in pieces if piece.word == "within"), None)
    what = said.word.removeprefix("expect_").removesuffix("_with")
    origin = (scope.site(clause), *scope.trail)
    text = " ".join(scope.document.source.text[clause.start : clause.end].split())
    base = Expectation(what, "", text=text, origin=origin)  # type: ignore[arg-type]
    if what in ("keeps", "reads"):
        return _of_results(base, said, subject, within, scope)
    node = scope.node(subject)
    made = replace(base, subject=node.dotted)
    dimension = LENGTH
    if what == "at":
        place = scope.position(said.arguments[0])
        made = replace(made, vector=scope.build.reflected(place) if scope.mirrored else place)
    elif what == "points":
        dimension = ANGLE
        made = _points(made, said, node, scope)
    elif what == "turns":
        dimension = ANGLE
        other = scope.node(said.arguments[1]).dotted if len(said.arguments) > 1 else None
        made = replace(made, value=scope.number(said.arguments[0], ANGLE), other=other)
    elif what == "twists":
        dimension = ANGLE
        made = _twists(made, said, node, scope)
    elif what == "apart":
        other_node = scope.node(said.arguments[0])
        value = scope.number(said.arguments[1], LENGTH)
        made = replace(made, value=value, other=other_node.dotted)
    elif what == "mirrors":
        made = replace(made, other=scope.node(said.arguments[0]).dotted)
    return replace(made, within=_within(within, dimension, scope))


def _within(clause: Clause | None, dimension: Dimension, scope: Scope) -> float:
    if clause is None:
        return WITHIN[dimension]
    value = scope.number(clause.arguments[0], dimension)
    if value < 0.0:
        raise scope.stop(CHECK_FORM, clause, "expected a tolerance from 0 up, found less")
    return value


def _points(made: Expectation, said: Clause, node: NodeEntity, scope: Scope) -> Expectation:
    axis = axis_of(said.arguments[0])
    direction = scope.toward(said.arguments[1], node.frame_for(scope).place)
    if scope.mirrored:
        direction = scope.build.reflected(direction)
    return replace(made, axis=own_axis(node, axis), vector=direction)


def _twists(made: Expectation, said: Clause, node: NodeEntity, scope: Scope) -> Expectation:
    value = scope.number(said.arguments[0], ANGLE)
    if scope.mirrored and value:
        value = -value
    if said.word.endswith("_with"):
        return replace(made, value=value, other=scope.node(said.arguments[1]).dotted)
    if node.chain is None:
        raise scope.stop(
            CHECK_FORM,
            said,
            f'"{node.dotted}" is no joint of a chain and has no axis of its own',
            help="say which control it twists with: twists 40 deg with high",
        )
    return replace(made, value=value)


def _of_results(
    made: Expectation, said: Clause, subject: Reference, within: Clause | None, scope: Scope
) -> Expectation:
    entity = scope.handle(subject).entity
    if made.what == "keeps":
        if not isinstance(entity, ChainEntity | CurveEntity):
            raise scope.stop(
                CHECK_FORM, subject, f"expected a chain or a curve, found {entity.called}"
            )
        return replace(made, subject=entity.dotted, within=_within(within, NUMBER, scope))
    if not isinstance(entity, ValueEntity) or entity.kind not in ("gauge", "output"):
        raise scope.stop(CHECK_FORM, subject, f"expected a gauge, found {entity.called}")
    if entity.unit == "later":
        entity.scope.build.gauge_unit(entity)
    dimension = UNIT_DIMENSIONS[entity.unit]
    return replace(
        made,
        subject=entity.dotted,
        value=scope.number(said.arguments[0], dimension),
        within=_within(within, dimension, scope),
    )
