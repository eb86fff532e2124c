"""`part NAME` with what it `needs` and `offers`: a reusable piece of recipe.

A part is only read where a `use` places it; then its needs become names in a scope of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from somite.expansion.entities import NodeEntity
from somite.expansion.paths import select
from somite.expansion.scope import Scope
from somite.expansion.state import DECLARED_TWICE, Lazy, Stop
from somite.expansion.values import (
    Arrow,
    Choice,
    Handle,
    Many,
    Mismatch,
    Quantity,
    Spot,
    Value,
    as_direction,
    as_number,
    as_position,
    as_whole,
    named,
)
from somite.findings import Code, Severity, nearest
from somite.syntax import Argument, Clause, Expression, Reference, Statement, Word
from somite.units import ANGLE, LENGTH, NUMBER

GIVEN_UNKNOWN = Code("given-unknown")
GIVEN_MISSING = Code("given-missing")
GIVEN_TWICE = Code("given-twice")
GIVEN_KIND = Code("given-kind")
UNUSED_NEED = Code("unused-need", Severity.WARNING)
OFFER_UNKNOWN = Code("offer-unknown")

WORDS = ("part", "needs", "offers")
CLAUSES = frozenset({"about"})
BLOCK: frozenset[str] | None = None

THINGS = frozenset({"node", "nodes", "group", "socket", "joint", "control", "curve", "chain"}) | {
    "dial"
}
NUMBERS = {"length": LENGTH, "angle": ANGLE, "number": NUMBER, "count": NUMBER}
EAGER = frozenset({"length", "angle", "number", "count", "choice"})


def declare(statement: Statement, scope: Scope) -> None:
    """A part is read where it is used; its needs and offers by `use`."""


def needs_of(part: Statement) -> Iterator[tuple[str, Word, Statement, dict[str, Clause]]]:
    """Each need of a part: its kind, its name, its line and the terms on the line."""
    for line in part.block:
        if line.word != "needs":
            continue
        kind = line.arguments[0]
        assert isinstance(kind, Word)
        pieces = [piece for piece in line.arguments[1:] if isinstance(piece, Clause)]
        terms = {piece.word: piece for piece in pieces if piece.word != "asked"}
        for piece in pieces:
            if piece.word == "asked":
                word = piece.arguments[0]
                assert isinstance(word, Word)
                yield kind.text, word, line, terms


def give(
    part: Statement,
    given: dict[str, tuple[Clause, Expression]],
    caller: Scope,
    inner: Scope,
    at: Clause,
) -> None:
    """Enter a part's needs in its scope, from what a use gives and from defaults."""
    wanted = {word.text for _, word, _, _ in needs_of(part)}
    for name, (clause, _) in given.items():
        if name not in wanted:
            near = nearest(name, wanted)
            caller.report(
                GIVEN_UNKNOWN,
                clause,
                f'the part does not need "{name}"',
                help=f'did you mean "{near}"?' if near else "it needs " + ", ".join(sorted(wanted)),
                related=[(inner.site(part), "part declared here")],
            )
    for kind, word, _, terms in needs_of(part):
        inner.check_word(word)
        if word.text in inner.names:
            raise inner.stop(DECLARED_TWICE, word, f'the part needs "{word.text}" twice')
        lazy = _lazy(kind, word, terms, given, caller, inner, at)
        if lazy is not None:
            inner.names[word.text] = lazy
            if kind in EAGER:
                used = lazy.used
                lazy.get()
                lazy.used = used


def _lazy(
    kind: str,
    word: Word,
    terms: dict[str, Clause],
    given: dict[str, tuple[Clause, Expression]],
    caller: Scope,
    inner: Scope,
    at: Clause,
) -> Lazy | None:
    site = inner.site(word)
    what = f'"{word.text}"'
    if word.text in given:
        clause, expression = given[word.text]
        if kind == "pair":
            return _pair(clause, expression, caller, what)
        if kind == "choice":
            return Lazy(caller, site, what, value=_chosen(terms, caller, expression))
        lazy = Lazy(caller, site, what, expression=expression, nodes_first=kind in THINGS)
        lazy.check = check_for(kind, terms, caller, expression, inner)
        return lazy
    if "terms_default" in terms:
        stated = terms["terms_default"].arguments[0]
        lazy = Lazy(inner, site, what, expression=stated)  # type: ignore[arg-type]
        lazy.nodes_first = kind in THINGS
        lazy.check = check_for(kind, terms, inner, stated, inner)
        if kind == "choice":
            lazy.value = _chosen(terms, inner, stated)
        return lazy
    if kind == "choice" and "terms_of" in terms:
        return Lazy(inner, site, what, value=Choice(_options(terms)[0], _options(terms)))
    inner.build.failed.add(word.text)
    caller.report(
        GIVEN_MISSING,
        at,
        f'the part needs a {kind} "{word.text}", and this use gives none',
        help=f"add below it: with {word.text} = ...",
        related=[(site, "needed here")],
    )
    return None


def _pair(clause: Clause, expression: Expression, caller: Scope, what: str) -> Lazy:
    """A pair of the sheet, or one of a row of pairs by its number, handed on with both sides."""
    if isinstance(expression, Reference):
        path = caller.segments(expression)
        word = str(path[0])
        source = caller.lazy(word)
        if source is None and word in caller.build.failed:
            raise Stop(None)  # A landmark that was refused, which has been reported.
        if source is not None and source.sides is not None:
            one_side = len(path) > 1 and path[1] in ("left", "right")
            left, right = (select(caller, expression, side, path, source) for side in source.sides)
            if isinstance(left, Arrow) and not one_side:
                source.used = True
                return Lazy(source.scope, source.site, what, sides=(left, right))
    raise caller.stop(
        GIVEN_KIND,
        clause,
        "expected a pair, found something else",
        help="name a pair of the sheet, or one of a row of pairs by its number: eye[2]",
    )


def _chosen(terms: dict[str, Clause], scope: Scope, expression: Argument) -> Value:
    """The word that a use or a default chooses, written bare or held by a name."""
    options = _options(terms)
    return check_for("choice", terms, scope, expression, scope)(scope.word(expression, options))


def _options(terms: dict[str, Clause]) -> tuple[str, ...]:
    if "terms_of" not in terms:
        return ()
    words = terms["terms_of"].arguments
    return tuple([word.text.strip('"') for word in words if isinstance(word, Word)])


def check_for(
    kind: str, terms: dict[str, Clause], scope: Scope, at: Argument, inner: Scope
) -> Callable[[Value], Value]:
    """A function that takes a given value as the kind that is needed."""

    def check(value: Value) -> Value:
        try:
            return _as_kind(kind, terms, value, scope, at, inner)
        except Mismatch as mismatch:
            raise scope.stop(GIVEN_KIND, at, mismatch.message, mismatch.help) from None

    return check


def _as_kind(
    kind: str, terms: dict[str, Clause], value: Value, scope: Scope, at: Argument, inner: Scope
) -> Value:
    if kind in THINGS:
        return _as_thing(kind, value, scope, at)
    if kind == "choice":
        options = _options(terms)
        word = scope.word(at, options)
        if options and word.word not in options:
            raise Mismatch(
                f'expected one of the choices, found "{word.word}"',
                "the choices are " + ", ".join(options),
            )
        return Choice(word.word, options)
    if kind == "row":
        members = value.members if isinstance(value, Many) else (value,)
        return Many(
            tuple([Arrow(as_position(scope.as_value(m, at)), LENGTH, point=True) for m in members])
        )
    value = scope.as_value(value, at)
    if kind == "point":
        return Arrow(as_position(value), LENGTH, point=True)
    if kind == "direction":
        return Arrow(as_direction(value), NUMBER)
    if kind == "place":
        if isinstance(value, Spot):
            return value
        raise Mismatch(f"expected a place or a node, found {named(value)}")
    number = float(as_whole(value)) if kind == "count" else as_number(value, NUMBERS[kind])
    if "terms_in" in terms:
        bounds = terms["terms_in"].arguments[0]
        assert isinstance(bounds, Clause)
        low = inner.number(bounds.arguments[0], NUMBERS[kind])
        high = inner.number(bounds.arguments[1], NUMBERS[kind])
        if not low <= number <= high:
            text = inner.document.source.text
            raise Mismatch(
                "expected a value in "
                + text[bounds.arguments[0].start : bounds.arguments[1].end]
                + f", found {scope.document.source.text[at.start : at.end]}",
                "give another, or widen the range in the part",
            )
    return Quantity(number, NUMBERS[kind])


def _as_thing(kind: str, value: Value, scope: Scope, at: Argument) -> Value:
    if kind == "nodes":
        members = value.members if isinstance(value, Many) else (value,)
        for member in members:
            _as_thing("node", member, scope, at)
        return Many(tuple(members))
    if not isinstance(value, Handle):
        raise Mismatch(
            f"expected a {kind}, found {named(value)}",
            "a landmark is only a position; declare a node there",
        )
    entity = value.entity
    if kind == "dial":
        if value.rest and str(value.rest[0]) in getattr(entity, "dials", {}):
            return value
        raise Mismatch("expected a dial of a control, found something else")
    if value.rest:
        raise Mismatch(f"expected a {kind}, found a channel")
    if entity.kind == kind or (kind == "node" and isinstance(entity, NodeEntity)):
        return value
    if (entity.kind, kind) == ("socket", "group"):
        return value  # A socket is a group with a marked role.
    raise Mismatch(
        f"expected a {kind}, found {entity.called}",
        "for one of its joints write .first or .last" if entity.kind == "chain" else None,
    )


def offers_of(part: Statement) -> Iterator[Clause]:
    """Each offer of a part."""
    for line in part.block:
        if line.word == "offers":
            for piece in line.arguments:
                if isinstance(piece, Clause):
                    yield piece
