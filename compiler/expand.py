"""Syntax and sheet to IR: parts placed and mirrored, names resolved, numbers computed.

The only stage that reads syntax for its meaning. Everything is declared first, so that lines may
stand in any order; then every record is made, and a mistake in one leaves the others standing.
"""

from __future__ import annotations

import sys
from dataclasses import replace

from somite import statements
from somite.axes import Axes
from somite.expansion.clauses import was_of
from somite.expansion.entities import ChainEntity, Entity, NodeEntity, Sides, UseEntity
from somite.expansion.scope import Scope
from somite.expansion.state import MOST_GUESSES, Build, Lazy, Space, Stop
from somite.expansion.values import Arrow, Choice, Many, Quantity, Value
from somite.findings import Code, Finding, Severity, in_order, nearest
from somite.ir import Nudge, Rename, Rig, Vector
from somite.library import Parts
from somite.sheet import Measures, Request, Sheet, measure
from somite.sheet.matching import UNUSED_MEASURE
from somite.spatial import vector
from somite.statements.let import UNUSED_LET
from somite.statements.part import UNUSED_NEED
from somite.statements.recipe import Head, head_of, spelled
from somite.statements.sheet import requests_of
from somite.syntax import Argument, Clause, Document, Word
from somite.units import LENGTH

NO_RECIPE = Code("no-recipe")
STRAY_CLAUSE = Code("stray-clause")
UNKNOWN_NUDGE = Code("unknown-nudge")
HIDDEN_NAME = Code("hidden-name", Severity.WARNING)
EMPTY_RIG = Code("empty-rig", Severity.WARNING)
UNUSED_PART = Code("unused-part", Severity.WARNING)

DEPTH = 100_000


def expand(
    document: Document, sheet: Sheet, parts: Parts
) -> tuple[Rig | None, tuple[Finding, ...]]:
    """The rig that a recipe describes for a sheet.

    Returns None with findings where the recipe has no head; otherwise the rig as far as it could be
    made, which is whole when no finding is an error.
    """
    limit = sys.getrecursionlimit()
    # A place may depend on a place that depends on a place; only Python frames are stacked.
    sys.setrecursionlimit(max(limit, DEPTH))
    try:
        return _expanded(document, sheet, parts)
    finally:
        sys.setrecursionlimit(limit)


def _expanded(
    document: Document, sheet: Sheet, parts: Parts
) -> tuple[Rig | None, tuple[Finding, ...]]:
    broken = any(read.poisoned for read in (document, *parts.documents))
    build = Build(parts=parts.visible, body=statements.BODY, broken=broken)
    build.declare_block = statements.declare_block
    build.takers = statements.takers
    scope = Scope(build, document, Space(), statements.TOP)
    head = _head(document, scope)
    for clause in document.stray:
        scope.report(
            STRAY_CLAUSE,
            clause,
            "this line belongs to no statement",
            help="indent it below the statement that it is about",
        )
    if head is None:
        return None, in_order(build.findings)
    axes = Axes(head.up, head.front)
    build.up, build.front = head.up, head.front
    build.mirror_index = "XYZ".index(axes.left[1])
    build.nudges = {nudge.node: axes.from_neutral(nudge.by) for nudge in sheet.nudges}
    _measured(document, sheet, scope, axes)
    asked = dict(scope.names)
    statements.declare_block(document.statements, scope)
    if build.is_too_large:
        return None, in_order(build.findings)
    _emit(build)
    for finish in build.last:
        finish()
    # What a broken line would have used is not unused, and what it would have made is not missing.
    whole = build.sound and not (sheet.refused or sheet.unread)
    if whole:
        _warn_unused(asked, scope, build)
        _warn_nudges(sheet, build)
        _warn_parts(document, scope)
    rig = _assembled(head, sheet, build, axes)
    _warn_hidden(scope)
    if not rig.nodes and whole:
        build.report(
            EMPTY_RIG.at(
                document.source.site(0, 1),
                f'recipe "{head.name}" makes no node',
                help="declare a control: control master at ground  ring 30 cm  carries all",
            )
        )
    return rig, in_order(build.findings)


def _head(document: Document, scope: Scope) -> Head | None:
    heads = [statement for statement in document.statements if statement.word == "recipe"]
    if not heads:
        if "recipe" not in document.poisoned:
            scope.build.report(
                NO_RECIPE.at(
                    document.source.site(0, 1),
                    "expected a recipe, found no line that begins one",
                    help="begin the file with: recipe NAME; a file of parts is imported by one",
                )
            )
        return None
    for extra in heads[1:]:
        scope.report(
            NO_RECIPE,
            extra,
            "a file holds one recipe, found a second",
            help="move it to a file of its own",
            related=[(scope.site(heads[0]), "first recipe here")],
        )
    try:
        return head_of(heads[0], scope)
    except Stop as stop:
        scope.build.report(stop.finding)
        return Head()


# ---- the sheet -----------------------------------------------------------------------------------


def _measured(document: Document, sheet: Sheet, scope: Scope, axes: Axes) -> None:
    """Enter what the recipe asks for as names, from the sheet or from defaults."""
    build = scope.build
    asked: list[tuple[Request, Clause | None, Word]] = []
    blocks = [statement.block for statement in document.statements if statement.word == "sheet"]
    asked.extend(requests_of([line for block in blocks for line in block], scope))
    broken = build.failed | document.poisoned
    measures, findings = measure(sheet, [request for request, _, _ in asked], broken)
    build.findings.extend(findings)
    for request, default, word in asked:
        lazy = Lazy(scope, request.site, f'"{request.name}"')
        scope.names[request.name] = lazy
        if request.name in measures.missing and default is not None:
            _default(lazy, request, default, scope)
        else:
            _answer(lazy, request, measures, axes)
        if lazy.value is None and lazy.expression is None and lazy.sides is None:
            build.failed.add(request.name)
            del scope.names[request.name]
        _remember_word(lazy, word)


def _remember_word(lazy: Lazy, word: Word) -> None:
    lazy.what = f'"{word.text}"'


def _answer(lazy: Lazy, request: Request, measures: Measures, axes: Axes) -> None:
    name = request.name
    if name in measures.points:
        lazy.value = _point(measures.points[name], axes)
    elif name in measures.pairs:
        left, right = measures.pairs[name]
        lazy.sides = (_point(left, axes), _point(right, axes))
    elif name in measures.pair_rows:
        rows = [Many(tuple([_point(p, axes) for p in row])) for row in measures.pair_rows[name]]
        lazy.sides = (rows[0], rows[1])
    elif name in measures.rows:
        lazy.value = Many(tuple([_point(point, axes) for point in measures.rows[name]]))
    elif name in measures.numbers:
        lazy.value = Quantity(measures.numbers[name], _dimension(request))
    elif name in measures.choices:
        lazy.value = Choice(measures.choices[name], request.options)


def _dimension(request: Request) -> tuple[float, float]:
    from somite.statements.sheet import DIMENSIONS

    return DIMENSIONS[request.kind]


def _point(place: Vector, axes: Axes) -> Arrow:
    return Arrow(axes.from_neutral(place), LENGTH, point=True)


def _default(lazy: Lazy, request: Request, clause: Clause, scope: Scope) -> None:
    """A default is worked out when it is asked for; it may use other measures."""
    expression = clause.arguments[0]
    if request.kind == "choice":
        try:
            word = scope.word(expression, request.options)
        except Stop as stop:
            scope.build.report(stop.finding)
            return
        if word.word not in request.options:
            near = nearest(word.word, request.options)
            scope.report(
                statements.sheet.REQUEST_FORM,
                expression,
                f'expected one of the choices, found "{word.word}"',
                help=f'did you mean "{near}"?' if near else None,
            )
            return
        lazy.value = Choice(word.word, request.options)
        return
    if request.kind == "pair":
        left = scope.child(side="left")
        right = scope.child(side="right", mirrored=True)
        try:
            lazy.sides = (
                _as_kind(left.worth(expression), request, left, expression),
                scope.seen(_as_kind(right.worth(expression), request, right, expression)),
            )
        except Stop as stop:
            scope.build.report(stop.finding)
        return
    lazy.expression = expression  # type: ignore[assignment]
    lazy.check = lambda value: _as_kind(value, request, scope, expression)


def _as_kind(value: Value, request: Request, scope: Scope, at: Argument) -> Value:
    """A default must be of the kind that is asked for, and within its bounds."""
    from somite.statements.part import check_for

    terms: dict[str, Clause] = {}
    kind = "point" if request.kind == "pair" else request.kind
    taken: Value = check_for(kind, terms, scope, at, scope)(value)
    if isinstance(taken, Quantity):
        low, high = request.low, request.high
        if (low is not None and taken.value < low) or (high is not None and taken.value > high):
            raise scope.stop(
                statements.sheet.REQUEST_FORM,
                at,
                f'the default of "{request.name}" is outside its own range',
                help="widen the range, or change the default",
            )
    return taken


# ---- records -------------------------------------------------------------------------------------


def _emit(build: Build) -> None:
    """Make every record; a failure is reported and the others go on."""
    for entity, emit in build.records.waiting:
        if entity is not None and entity.failed:
            continue
        try:
            emit()
        except Stop as stop:
            build.report(stop.finding)
            if entity is not None:
                entity.failed = True


def _natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Names in order: segments by code point, numbers by size."""
    return tuple(
        [
            (0, int(segment), "") if segment.isdigit() else (1, 0, segment)
            for segment in name.replace("/", ".").split(".")
        ]
    )


def _assembled(head: Head, sheet: Sheet, build: Build, axes: Axes) -> Rig:
    records = build.records
    nodes = [
        replace(node, spelled=spelled(node.name, head))
        for node in sorted(records.nodes, key=lambda node: _natural(node.name))
    ]
    curves = [
        replace(curve, spelled=spelled(curve.name, head))
        for curve in sorted(records.curves, key=lambda curve: _natural(curve.name))
    ]
    gauges = [
        replace(gauge, spelled=spelled(gauge.name, head))
        for gauge in sorted(records.gauges, key=lambda gauge: _natural(gauge.name))
    ]
    points = [node.rest.place for node in nodes]
    points += [point for curve in curves for point in curve.points]
    return Rig(
        recipe=head.name,
        character=sheet.character,
        revision=head.revision,
        about=head.about,
        unit=head.unit,
        up=head.up,
        front=head.front,
        mirror_axis=axes.left,
        height=_extent(points),
        nodes=tuple(nodes),
        chains=tuple(sorted(records.chains, key=lambda chain: _natural(chain.name))),
        curves=tuple(curves),
        constraints=tuple(sorted(records.constraints, key=lambda made: _natural(made.name))),
        feeds=tuple(sorted(records.feeds, key=lambda feed: _natural(feed.name))),
        gauges=tuple(gauges),
        lists=tuple(sorted(records.lists, key=lambda made: _natural(made.name))),
        poses=tuple(sorted(records.poses, key=lambda pose: _natural(pose.name))),
        checks=tuple(sorted(records.checks, key=lambda check: check.name)),
        nudges=tuple(
            [
                Nudge(nudge.node, axes.from_neutral(nudge.by), nudge.because, (nudge.site,))
                for nudge in sheet.nudges
            ]
        ),
        renames=_renames(build),
    )


def _extent(points: list[Vector]) -> float:
    """The largest side of the box around the ground's origin and every place."""
    largest = 0.0
    for axis in range(3):
        low = min([0.0, *[point[axis] for point in points]])
        high = max([0.0, *[point[axis] for point in points]])
        largest = max(largest, high - low)
    return largest


def _renames(build: Build) -> tuple[Rename, ...]:
    """Old names of things that a `was` renamed, or that live in what was renamed."""
    found: dict[str, Rename] = {}
    for entity in build.entities:
        space = entity.scope.space
        at = len(space.prefix)
        if isinstance(entity, UseEntity) or len(entity.name) <= at:
            continue
        was = was_of(entity.clauses) or entity.name[at]
        old = (*(space.old_prefix or space.prefix), was, *entity.name[at + 1 :])
        pairs = [(old, entity.name)]
        if isinstance(entity, ChainEntity):
            pairs += [((*old, *j.name[len(entity.name) :]), j.name) for j in entity.joints]
        if isinstance(entity, NodeEntity):
            pairs += [
                ((*old, entity.dial_was.get(dial, dial)), (*entity.name, dial))
                for dial in entity.dials
            ]
        for before, after in pairs:
            if before != after:
                new = ".".join(map(str, after))
                found[new] = Rename(".".join(map(str, before)), new, entity.origin)
    return tuple([found[name] for name in sorted(found, key=_natural)])


# ---- warnings ------------------------------------------------------------------------------------


def _warn_unused(asked: dict[str, Lazy], scope: Scope, build: Build) -> None:
    for name, lazy in asked.items():
        if not lazy.used and lazy.site.file == scope.document.source.name:
            build.report(
                UNUSED_MEASURE.at(
                    lazy.site,
                    f'the sheet is asked for "{name}", and nothing uses it',
                    help="use it or do not ask for it",
                )
            )
    # A part's line stands for all its uses, and a mirror's for both sides.
    used_somewhere = {lazy.site for lazy in build.lets if lazy.used}
    for lazy in build.lets:
        if lazy.site not in used_somewhere:
            message = f"nothing uses {lazy.what}"
            build.report(UNUSED_LET.at(lazy.site, message, help="use it or leave it out"))
    for key, used in build.needs_used.items():
        if not used:
            build.report(
                UNUSED_NEED.at(
                    build.needs_at[key],
                    f'part "{key[1]}" needs "{key[2]}", and never uses it',
                    help="use it or leave it out",
                )
            )


def _warn_parts(document: Document, scope: Scope) -> None:
    """Parts that a recipe declares or imports and no line of its file places."""
    placed: set[str] = set()
    visible = scope.build.parts.get(document.source.name, {})
    waiting = list(document.statements)
    while waiting:
        statement = waiting.pop()
        waiting.extend(statement.block)
        if statement.word == "use" and isinstance(statement.arguments[0], Word):
            placed.add(statement.arguments[0].text)
    for statement in document.statements:
        if statement.word not in ("part", "import"):
            continue
        for word in statement.arguments:
            if isinstance(word, Word) and word.text in visible and word.text not in placed:
                scope.report(
                    UNUSED_PART,
                    word,
                    f'nothing places the part "{word.text}"',
                    help=f"write: use {word.text} as {word.text}, or leave it out",
                )


def _warn_nudges(sheet: Sheet, build: Build) -> None:
    names = [".".join(map(str, name)) for name in build.nodes] if sheet.nudges else []
    unknown = [nudge for nudge in sheet.nudges if nudge.node not in build.nudged]
    for number, nudge in enumerate(unknown):
        near = nearest(nudge.node, names) if number < MOST_GUESSES else None
        build.report(
            UNKNOWN_NUDGE.at(
                nudge.site,
                f'nothing that can be nudged is named "{nudge.node}"',
                help=f'did you mean "{near}"?' if near else "name a node of the rig in full",
            )
        )


def _warn_hidden(scope: Scope) -> None:
    """A landmark hides a node of its name in expressions; that matters where they differ."""
    for name, lazy in scope.names.items():
        thing = scope.space.things.get(name)
        pairs: list[tuple[Entity, Value | None]] = []
        if isinstance(thing, Sides) and lazy.sides is not None:
            there = thing.members
            pairs = [(there[s], lazy.sides[s == "right"]) for s in ("left", "right") if s in there]
        elif isinstance(thing, Entity):
            pairs = [(thing, lazy.value)]
        for node, landmark in pairs:
            if not isinstance(node, NodeEntity) or node.failed or not isinstance(landmark, Arrow):
                continue
            if vector.distance(node.real_frame().place, landmark.xyz) > 1e-9:
                scope.build.report(
                    HIDDEN_NAME.at(
                        node.site,
                        f'"{node.dotted}" is also a landmark, and stands elsewhere',
                        help=f"in values {name} is the landmark; give the node another name",
                        related=[(lazy.site, "landmark asked for here")],
                    )
                )
                break
