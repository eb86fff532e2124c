"""`dial NAME = DEFAULT in LOW..HIGH` or `dial NAME of A, B = A`: an extra number or choice."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from somite.expansion.clauses import check_block, check_terms, gather, only, text_of, was_of
from somite.expansion.entities import NodeEntity
from somite.expansion.mentions import mention
from somite.expansion.scope import Scope
from somite.expansion.state import DECLARED_TWICE, RESERVED_NAME
from somite.expansion.values import Quantity, named
from somite.findings import Code, nearest
from somite.ir import Dial, Unit
from somite.syntax import Clause, Reference, Statement, Text, Word
from somite.units import ANGLE, LENGTH, NUMBER, Dimension

DIAL_DEFAULT = Code("dial-default")

WORDS = ("dial",)
CLAUSES = frozenset({"neutral", "flips", "about", "was"})
BLOCK: frozenset[str] = frozenset()

UNITS: dict[Dimension, Unit] = {NUMBER: "number", LENGTH: "length", ANGLE: "angle"}


def declare(statement: Statement, scope: Scope) -> None:
    """A dial stands in a control's block; `control` enters it."""


def declare_dials(block: Iterable[Statement], entity: NodeEntity, scope: Scope) -> None:
    """Enter the dials of a control's block."""
    for statement in block:
        if statement.word == "dial":
            _declare(statement, entity, scope)
        elif statement.word == "when":
            if scope.truth(statement.arguments[0]):
                declare_dials(statement.block, entity, scope)
            else:
                mention(statement.block, scope)


def _declare(statement: Statement, entity: NodeEntity, scope: Scope) -> None:
    word = statement.arguments[0]
    assert isinstance(word, Word)
    scope.check_word(word)
    if word.text in ("x", "y", "z"):
        raise scope.stop(
            RESERVED_NAME,
            word,
            f'"{entity.dotted}.{word.text}" is where the control stands, and can not be a dial',
            help="choose another word",
        )
    if word.text in entity.dials:
        raise scope.stop(
            DECLARED_TWICE,
            word,
            f'dial "{word.text}" is declared twice on "{entity.dotted}"',
            help="give one of them another name",
            related=[(entity.dials[word.text].origin[0], "first declared here")],
        )
    check_terms(statement.arguments, scope)
    terms = {piece.word: piece for piece in statement.arguments[1:] if isinstance(piece, Clause)}
    clauses = gather(statement, scope, CLAUSES)
    check_block(statement, scope, BLOCK)
    build = _choice if "terms_of" in terms else _number
    made = build(
        word.text,
        statement,
        terms,
        scope,
        only(clauses, "neutral") is not None,
        only(clauses, "flips") is not None,
    )
    entity.dials[word.text] = replace(made, about=text_of(only(clauses, "about")))
    was = was_of(clauses)
    if was is not None:
        entity.dial_was[word.text] = was


def _choice(
    name: str,
    statement: Statement,
    terms: dict[str, Clause],
    scope: Scope,
    neutral: bool,
    flips: bool,
) -> Dial:
    options = tuple(
        [word.text.strip('"') for word in terms["terms_of"].arguments if isinstance(word, Word)]
    )
    if len(set(options)) != len(options) or len(options) < 2:
        raise scope.stop(
            DIAL_DEFAULT,
            terms["terms_of"],
            "expected at least two different choices",
            help="a choice of one is none; repeat no word",
        )
    if "terms_in" in terms or flips:
        raise scope.stop(
            DIAL_DEFAULT, statement, "a choice has no range and does not flip", help="leave it out"
        )
    default = options[0]
    if "terms_default" in terms:
        stated = terms["terms_default"].arguments[0]
        if isinstance(stated, Reference) and len(stated.path) == 1:
            default = str(stated.path[0])
        elif isinstance(stated, Text):
            default = stated.value
        if default not in options:
            near = nearest(default, options)
            raise scope.stop(
                DIAL_DEFAULT,
                stated,
                f'expected one of the choices, found "{default}"',
                help=f'did you mean "{near}"?' if near else "choices are " + ", ".join(options),
            )
    return Dial(
        name,
        "number",
        float(options.index(default)),
        options=options,
        neutral=neutral,
        origin=(scope.site(statement), *scope.trail),
    )


def _number(
    name: str,
    statement: Statement,
    terms: dict[str, Clause],
    scope: Scope,
    neutral: bool,
    flips: bool,
) -> Dial:
    default, dimension = 0.0, NUMBER
    if "terms_default" in terms:
        stated = terms["terms_default"].arguments[0]
        value = scope.worth(stated)
        if not isinstance(value, Quantity) or value.dimension not in UNITS:
            raise scope.stop(
                DIAL_DEFAULT,
                stated,
                f"expected a number, a length or an angle, found {named(value)}",
                help="for a choice of words write: dial space of world, body = body",
            )
        default, dimension = value.value, value.dimension
    low: float | None = None
    high: float | None = None
    if "terms_in" in terms:
        bounds = terms["terms_in"].arguments[0]
        assert isinstance(bounds, Clause)
        first = scope.worth(bounds.arguments[0])
        if (
            isinstance(first, Quantity)
            and first.dimension in UNITS
            and "terms_default" not in terms
        ):
            dimension = first.dimension
        low = scope.number(bounds.arguments[0], dimension)
        high = scope.number(bounds.arguments[1], dimension)
        if low > high:
            raise scope.stop(
                DIAL_DEFAULT,
                bounds,
                "expected the lower bound first, found the higher one",
                help="write the smaller number before the ..",
            )
        if "terms_default" not in terms:
            default = min(max(default, low), high)
    if flips and scope.mirrored:
        default = -default if default else 0.0
        low, high = (None if high is None else -high), (None if low is None else -low)
    return Dial(
        name,
        UNITS[dimension],
        default,
        low,
        high,
        neutral=neutral,
        flips=flips,
        origin=(scope.site(statement), *scope.trail),
    )
