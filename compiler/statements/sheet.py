"""`sheet` with its requests: what a recipe asks to be measured on each character."""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

from somite.expansion.clauses import check_block, check_clauses, check_terms
from somite.expansion.scope import Scope
from somite.expansion.state import DECLARED_TWICE, Stop
from somite.findings import Code
from somite.sheet import Request
from somite.sheet.matching import Kind
from somite.syntax import Clause, Statement, Word
from somite.units import ANGLE, LENGTH, NUMBER, Dimension

REQUEST_FORM = Code("request-form")

WORDS = ("sheet", "request")
CLAUSES: frozenset[str] = frozenset({"about"})
BLOCK: frozenset[str] = frozenset({"request"})

DIMENSIONS: dict[str, Dimension] = {
    "length": LENGTH,
    "angle": ANGLE,
    "count": NUMBER,
    "number": NUMBER,
    "row": NUMBER,
    "pair": NUMBER,
}
"""What bounds are of: a row's and a row of pairs' are of how many they are."""


def declare(statement: Statement, scope: Scope) -> None:
    """Requests are read before everything else, by `expand`."""


def requests_of(
    block: Iterable[Statement], scope: Scope
) -> list[tuple[Request, Clause | None, Word]]:
    """Each request, with the clause that states its default and the word of its name."""
    found: list[tuple[Request, Clause | None, Word]] = []
    seen: dict[str, Word] = {}
    for line in block:
        if line.word != "request":
            continue
        check_clauses(line, scope, frozenset())
        check_block(line, scope, frozenset())
        check_terms(line.arguments, scope)
        kind = line.arguments[0]
        assert isinstance(kind, Word)
        pieces = [piece for piece in line.arguments[1:] if isinstance(piece, Clause)]
        terms = {piece.word: piece for piece in pieces if piece.word != "asked"}
        for piece in pieces:
            if piece.word != "asked":
                continue
            word = piece.arguments[0]
            assert isinstance(word, Word)
            if word.text in seen:
                scope.report(
                    DECLARED_TWICE,
                    word,
                    f'"{word.text}" is asked for twice',
                    help="keep one of them",
                    related=[(scope.site(seen[word.text]), "first asked for here")],
                )
                continue
            seen[word.text] = word
            try:
                request = _request(kind.text, piece, terms, scope)
            except Stop as stop:
                scope.build.report(stop.finding)
                scope.build.failed.add(word.text)
                continue
            found.append((request, terms.get("terms_default"), word))
    return found


def _request(kind: str, piece: Clause, terms: dict[str, Clause], scope: Scope) -> Request:
    word = piece.arguments[0]
    assert isinstance(word, Word)
    scope.check_word(word)
    about = None
    if len(piece.arguments) > 1:
        text = piece.arguments[1]
        assert isinstance(text, Word)
        about = text.text[1:-1]
    low: float | None = None
    high: float | None = None
    if "terms_in" in terms:
        bounds = terms["terms_in"].arguments[0]
        assert isinstance(bounds, Clause)
        if kind not in DIMENSIONS:
            raise scope.stop(REQUEST_FORM, bounds, f"a {kind} has no range", help="leave it out")
        low = scope.number(bounds.arguments[0], DIMENSIONS[kind])
        high = scope.number(bounds.arguments[1], DIMENSIONS[kind])
        if low > high:
            raise scope.stop(
                REQUEST_FORM,
                bounds,
                "expected the lower bound first, found the higher one",
                help="write the smaller number before the ..",
            )
    options: tuple[str, ...] = ()
    if "terms_of" in terms:
        options = tuple(
            [w.text.strip('"') for w in terms["terms_of"].arguments if isinstance(w, Word)]
        )
    if (kind == "choice") != bool(options):
        raise scope.stop(
            REQUEST_FORM,
            piece,
            "expected the words to choose from, found none"
            if kind == "choice"
            else f"a {kind} has no choices",
            help="write: choice tail of none, short, long = none",
        )
    return Request(
        kind=cast(Kind, kind),
        name=word.text,
        site=scope.site(word),
        about=about,
        has_default="terms_default" in terms,
        low=low,
        high=high,
        options=options,
    )
