"""Syntax and sheet to IR: parts placed and mirrored, names resolved, numbers computed.

The only stage that reads syntax for its meaning. Everything is declared first, so that lines may
stand in any order; then every record is made, and a mistake in one leaves the others standing.
"""

from __future__ import annotations

import sys
from dataclasses import replace

from somite import placing, statements
from somite.expansion.clauses import was_of
from somite.expansion.entities import ChainEntity, Entity, NodeEntity, Sides, UseEntity
from somite.expansion.scope import Scope
from somite.expansion.showing import in_order as in_order_of_dials
from somite.expansion.state import MOST_GUESSES, Build, Space
from somite.expansion.values import Arrow, Value
from somite.findings import Code, Finding, Severity, in_order, nearest
from somite.ir import Nudge, Rename, Rig, Vector
from somite.library import Parts
from somite.opening import Opened, open_recipe
from somite.sheet import Sheet
from somite.sheet.matching import UNUSED_MEASURE
from somite.spatial import vector
from somite.statements.let import UNUSED_LET
from somite.statements.part import UNUSED_NEED
from somite.statements.recipe import spelled
from somite.syntax import Document, Word

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
    build.place_rig = placing.place
    scope = Scope(build, document, Space(), statements.TOP, stack=(placing.key_of(document),))
    opened = open_recipe(document, sheet, scope)
    if opened is None:
        return None, in_order(build.findings)
    statements.declare_block(document.statements, scope)
    if build.is_too_large:
        return None, in_order(build.findings)
    build.emit()
    for finish in build.last:
        finish()
    rigs = [opened, *build.opened]
    # What a broken line would have used is not unused, and what it would have made is not missing.
    whole = build.sound and not any(one.sheet.refused or one.sheet.unread for one in rigs)
    if whole:
        _warn_unused(rigs, build)
        for one in rigs:
            _warn_nudges(one)
            _warn_parts(one)
    rig = _assembled(opened, build)
    for one in rigs:
        _warn_hidden(one)
    if not rig.nodes and whole:
        build.report(
            EMPTY_RIG.at(
                document.source.site(0, 1),
                f'recipe "{opened.head.name}" makes no node',
                help="declare a control: control master at ground  ring 30 cm  carries all",
            )
        )
    return rig, in_order(build.findings)


# ---- records -------------------------------------------------------------------------------------


def _natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """Names in order: segments by code point, numbers by size."""
    return tuple(
        [
            (0, int(segment), "") if segment.isdigit() else (1, 0, segment)
            for segment in name.replace("/", ".").split(".")
        ]
    )


def _assembled(opened: Opened, build: Build) -> Rig:
    head, sheet, axes = opened.head, opened.sheet, opened.axes
    records = build.records
    nodes = [
        replace(
            node,
            spelled=spelled(node.name, head),
            shown=in_order_of_dials((*node.shown, *build.shown.get(node.name, ()))),
        )
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
            + records.nudges
        ),
        renames=_renames(build),
        placed=tuple(
            [
                replace(one, spelled=spelled(one.name, head))
                for one in sorted(records.placed, key=lambda one: _natural(one.name))
            ]
        ),
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


def _warn_unused(rigs: list[Opened], build: Build) -> None:
    # A recipe's line stands for all the rigs that are made of it.
    used_by_some = {lazy.site for one in rigs for lazy in one.asked.values() if lazy.used}
    for opened in rigs:
        for name, lazy in opened.asked.items():
            own = lazy.site.file == opened.document.source.name
            if lazy.site not in used_by_some and own:
                used_by_some.add(lazy.site)
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


def _warn_parts(opened: Opened) -> None:
    """Parts and recipes that a recipe declares or imports and no line of its file places."""
    document, scope = opened.document, opened.scope
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
                    f'nothing places the {visible[word.text][0].word} "{word.text}"',
                    help=f"write: use {word.text} as {word.text}, or leave it out",
                )


def _warn_nudges(opened: Opened) -> None:
    """Nudges of a sheet that name nothing of its own rig, as it is named there."""
    sheet, build = opened.sheet, opened.scope.build
    before = len(opened.scope.space.prefix)
    named = [entity.name for entity in build.nodes.values() if entity.scope.build is build]
    names = [".".join(map(str, name[before:])) for name in named] if sheet.nudges else []
    nudged = {".".join(name.split(".")[before:]) for name in build.nudged}
    unknown = [nudge for nudge in sheet.nudges if nudge.node not in nudged]
    for number, nudge in enumerate(unknown):
        near = nearest(nudge.node, names) if number < MOST_GUESSES else None
        build.report(
            UNKNOWN_NUDGE.at(
                nudge.site,
                f'nothing that can be nudged is named "{nudge.node}"',
                help=f'did you mean "{near}"?' if near else "name a node of the rig in full",
            )
        )


def _warn_hidden(opened: Opened) -> None:
    """A landmark hides a node of its name in expressions; that matters where they differ."""
    scope = opened.scope
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
            place = landmark.xyz
            if lazy.scope.mirrored:
                place = scope.build.reflected(place)
            if vector.distance(node.real_frame().place, place) > 1e-9:
                scope.build.report(
                    HIDDEN_NAME.at(
                        node.site,
                        f'"{node.dotted}" is also a landmark, and stands elsewhere',
                        help=f"in values {name} is the landmark; give the node another name",
                        related=[(lazy.site, "landmark asked for here")],
                    )
                )
                break
