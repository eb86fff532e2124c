"""What a recipe opens with: its head, and the answers to what its sheet block asks.

In comes a recipe's syntax and a character's sheet, out come names with values, which everything
else in the recipe is worked out from. The sheets of other rigs that a sheet names are answers too.
What the rest of the recipe declares is not looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

from somite.axes import Axes
from somite.expansion.mentions import mention
from somite.expansion.scope import Scope
from somite.expansion.state import GIVEN_OR_NONE, Lazy, Stop
from somite.expansion.values import Arrow, Choice, Many, Quantity, Value
from somite.findings import Code, Finding, nearest
from somite.ir import Vector
from somite.sheet import Measures, Request, Sheet, measure
from somite.sheet.matching import MISSING_MEASURE, UNUSED_MEASURE
from somite.statements.part import check_for
from somite.statements.recipe import Head, head_of
from somite.statements.sheet import DIMENSIONS, REQUEST_FORM, requests_of
from somite.syntax import Argument, Clause, Document, Reference, Word
from somite.units import LENGTH

NO_RECIPE = Code("no-recipe")
STRAY_CLAUSE = Code("stray-clause")


@dataclass(slots=True, eq=False)
class Opened:
    """A recipe whose names have values, before anything in it is declared."""

    document: Document
    sheet: Sheet
    scope: Scope
    head: Head
    axes: Axes
    asked: dict[str, Lazy]


def open_recipe(document: Document, sheet: Sheet, scope: Scope) -> Opened | None:
    """Read the head and answer the requests into a scope; None for a file without a head."""
    build = scope.build
    head = _head_in(document, scope)
    for clause in document.stray:
        scope.report(
            STRAY_CLAUSE,
            clause,
            "this line belongs to no statement",
            help="indent it below the statement that it is about",
        )
    if head is None:
        return None
    axes = Axes(head.up, head.front)
    build.up, build.front = head.up, head.front
    build.mirror_index = "XYZ".index(axes.left[1])
    before = f"{build.placed}." if build.placed else ""
    build.nudges = {before + one.node: axes.from_neutral(one.by) for one in sheet.nudges}
    _answer_requests(document, sheet, scope, axes)
    return Opened(document, sheet, scope, head, axes, dict(scope.names))


def no_recipe(document: Document) -> Finding:
    """The finding for a file in which no recipe begins."""
    return NO_RECIPE.at(
        document.source.site(0, 1),
        "expected a recipe, found no line that begins one",
        help="begin the file with: recipe NAME; a file of parts is imported by one",
    )


def _head_in(document: Document, scope: Scope) -> Head | None:
    heads = [statement for statement in document.statements if statement.word == "recipe"]
    if not heads:
        if "recipe" not in document.poisoned:
            scope.build.report(no_recipe(document))
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


def _answer_requests(document: Document, sheet: Sheet, scope: Scope, axes: Axes) -> None:
    """Enter what the recipe asks for as names, from the sheet or from defaults."""
    build = scope.build
    asked: list[tuple[Request, Clause | None, Word]] = []
    blocks = [statement.block for statement in document.statements if statement.word == "sheet"]
    asked.extend(requests_of([line for block in blocks for line in block], scope))
    _answer_rigs([one for one in asked if one[0].kind == "rig"], sheet, scope)
    asked = [one for one in asked if one[0].kind != "rig"]
    broken = build.failed | document.poisoned
    measures, findings = measure(sheet, [request for request, _, _ in asked], broken)
    build.findings.extend(findings)
    # Pairs' defaults are worked out here and now, so they come when all else can be named.
    asked.sort(key=lambda one: one[0].kind == "pair" and one[0].name in measures.missing)
    answered: list[Argument] = []
    for request, default, word in asked:
        lazy = Lazy(scope, request.site, f'"{word.text}"')
        scope.names[request.name] = lazy
        if request.name in measures.missing and default is not None:
            _default(lazy, request, default, scope)
        else:
            _answer(lazy, request, measures, axes)
            if default is not None:
                answered.append(default)
        if lazy.value is None and lazy.expression is None and lazy.sides is None:
            build.failed.add(request.name)
            del scope.names[request.name]
    mention(answered, scope)


def _answer_rigs(
    asked: list[tuple[Request, Clause | None, Word]], sheet: Sheet, scope: Scope
) -> None:
    """Enter the rigs that stand on this one: their sheets, and whether the sheet gives them."""
    build = scope.build
    for request, default, word in asked:
        given = sheet.rigs.get(request.name)
        if default is not None and not _is_none(default.arguments[0]):
            scope.report(
                REQUEST_FORM,
                default,
                "expected none, the one default that a rig can have, found something else",
                help=f"write: rig {request.name} = none, or leave the default out",
            )
        if given is None and default is None:
            build.failed.add(request.name)
            if request.name not in sheet.refused:
                scope.report(
                    MISSING_MEASURE,
                    word,
                    f'expected the sheet to name the sheet of "{request.name}", found none',
                    help=f'add it under [rigs]: {request.name} = "FILE.toml"',
                    related=[(sheet.site, "sheet of this character")],
                )
            continue
        chosen = Choice(GIVEN_OR_NONE[given is None], GIVEN_OR_NONE)
        scope.names[request.name] = Lazy(
            scope, request.site, f'"{request.name}"', value=chosen, rig=True
        )
        build.rigs[request.name] = None if given is None else given.value
    known = {request.name for request, _, _ in asked}
    for name, rig in sheet.rigs.items():
        if name not in known:
            build.report(
                UNUSED_MEASURE.at(
                    rig.named_at,
                    f'nothing asks for rig "{name}"',
                    help=f"ask for it in the recipe's sheet block: rig {name}",
                )
            )


def _is_none(argument: Argument) -> bool:
    return isinstance(argument, Reference) and argument.path == ("none",)


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
                REQUEST_FORM,
                expression,
                f'expected one of the choices, found "{word.word}"',
                help=f'did you mean "{near}"?' if near else None,
            )
            return
        lazy.value = Choice(word.word, request.options)
        return
    if request.kind == "pair":
        left = scope.child(side="left")
        right = scope.child(side="right", mirrored=not scope.mirrored)
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
    terms: dict[str, Clause] = {}
    kind = request.kind
    if kind == "pair":  # with a range it is a row of pairs, and the default a list for one side
        kind = "point" if request.low is None else "row"
    taken: Value = check_for(kind, terms, scope, at, scope)(value)
    if isinstance(taken, (Quantity, Many)):
        low, high = request.low, request.high
        found = taken.value if isinstance(taken, Quantity) else float(len(taken.members))
        if (low is not None and found < low) or (high is not None and found > high):
            raise scope.stop(
                REQUEST_FORM,
                at,
                f'the default of "{request.name}" is outside its own range',
                help="widen the range, or change the default",
            )
    return taken
