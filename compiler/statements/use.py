"""`use PART as NAME`: a part in its place; its name goes before every name inside.

A recipe is placed by the same line, on a socket: `somite.placing` does that.
"""

from __future__ import annotations

from somite.expansion.clauses import check_block, check_clauses, check_terms, gather, was_of
from somite.expansion.entities import UseEntity
from somite.expansion.scope import Scope
from somite.expansion.state import TOO_LARGE, Build, Space
from somite.findings import Code, nearest
from somite.statements.part import CLAUSES as PART_CLAUSES
from somite.statements.part import GIVEN_TWICE, OFFER_UNKNOWN, give, needs_of, offers_of
from somite.syntax import Clause, Document, Expression, Statement, Word

UNKNOWN_PART = Code("unknown-part")
PART_IN_ITSELF = Code("part-in-itself")
PLACED_FORM = Code("placed-form")

WORDS = ("use",)
CLAUSES = frozenset({"with", "was", "about", "shown", "on", "measured"})
BLOCK = frozenset({"when"})

MOST_DEPTH = 40


def declare(statement: Statement, scope: Scope) -> None:
    """Place the part: give it what it needs, then declare its body under the use's name."""
    word, head = statement.arguments
    assert isinstance(word, Word) and isinstance(head, Clause)
    build = scope.build
    found = _found(word, head, scope)
    if found is None:
        return
    part, document = found
    if part.word == "recipe":
        build.place_rig(statement, document, scope)
        return
    _check_depth(word, scope)
    text, name = scope.full_name(head)
    entity = UseEntity(name, statement, scope, kind="use", part=word.text)
    scope.declare(text, entity)
    entity.clauses = gather(statement, scope, CLAUSES)
    for clause in (*entity.clauses.get("on", ()), *entity.clauses.get("measured", ())):
        scope.report(
            PLACED_FORM,
            clause,
            f'"{clause.word}" belongs to the use of a recipe, and "{word.text}" is a part',
            help="give a part what it needs: with NEED = ...",
        )
    entity.inner = inner = inside(entity, build, document, build.body, word.text)
    check_clauses(part, inner, PART_CLAUSES)
    for line in part.block:
        if line.word in ("needs", "offers"):
            check_clauses(line, inner, frozenset())
            check_block(line, inner, frozenset())
            if line.word == "needs":
                check_terms(line.arguments, inner)
    for offer in offers_of(part):
        offered = offer.arguments[0]
        assert isinstance(offered, Word)
        entity.offers[offered.text] = (offer, inner)
    give(part, _given(entity, scope), scope, inner, head)
    build.declare_block(
        [line for line in part.block if line.word not in ("needs", "offers")], inner
    )
    for offered_name in entity.offers:
        if (value := inner.names.get(offered_name)) is not None:
            value.used = True  # Whether anyone takes what is offered is not the part's affair.
    build.last.append(lambda: _finish(part, entity, inner))


def _found(word: Word, head: Clause, scope: Scope) -> tuple[Statement, Document] | None:
    """The part of a name, or the recipe; None for one that was refused, which is reported."""
    build = scope.build
    visible = build.parts.get(scope.document.source.name, {})
    found = visible.get(word.text)
    if found is not None:
        return found
    if word.text in build.failed or word.text in scope.document.poisoned:
        build.failed.add(_name_of(head))
        return None
    near = nearest(word.text, visible)
    raise scope.stop(
        UNKNOWN_PART,
        word,
        f'there is no part named "{word.text}" here',
        help=f'did you mean "{near}"?' if near else f"import {word.text} from library",
    )


def inside(
    entity: UseEntity, build: Build, document: Document, allowed: frozenset[str], placed: str
) -> Scope:
    """The scope of what a use places: names under its own, as seen from where it stands.

    `placed` is how that is called in the row of what is placed in what.
    """
    scope, at = entity.scope, len(entity.scope.space.prefix)
    was = was_of(entity.clauses) or str(entity.name[at])
    return Scope(
        build,
        document,
        Space(
            prefix=entity.name, old_prefix=(*scope.space.old_prefix, was, *entity.name[at + 1 :])
        ),
        allowed,
        mirrored=scope.mirrored,
        trail=(scope.site(entity.statement), *scope.trail),
        stack=(*scope.stack, placed),
        shown=(*scope.shown, *((clause, scope) for clause in entity.clauses.get("shown", ()))),
    )


def _name_of(head: Clause) -> str:
    word = head.arguments[0]
    assert isinstance(word, Word)
    return word.text


def _check_depth(word: Word, scope: Scope) -> None:
    if word.text in scope.stack:
        loop = [*scope.stack[scope.stack.index(word.text) :], word.text]
        raise scope.stop(
            PART_IN_ITSELF,
            word,
            f'part "{word.text}" is placed inside itself: ' + " in ".join(reversed(loop)),
            help="a part may use others, but not one that it is used by; repeat k in 1..n instead",
        )
    if len(scope.stack) >= MOST_DEPTH:
        raise scope.stop(
            TOO_LARGE, word, f"expected at most {MOST_DEPTH} parts within parts, found more"
        )


def _given(entity: UseEntity, scope: Scope) -> dict[str, tuple[Clause, Expression]]:
    found: dict[str, tuple[Clause, Expression]] = {}
    for clause in entity.clauses.get("with", ()):
        for piece in clause.arguments:
            assert isinstance(piece, Clause)
            word, value = piece.arguments
            assert isinstance(word, Word)
            if word.text in found:
                scope.report(
                    GIVEN_TWICE,
                    piece,
                    f'"{word.text}" is given twice',
                    help="keep one of them",
                    related=[(scope.site(found[word.text][0]), "first given here")],
                )
                continue
            found[word.text] = (piece, value)  # type: ignore[assignment]
    return found


def _finish(part: Statement, entity: UseEntity, inner: Scope) -> None:
    """Note which needs were read in this use, and report offers that name nothing."""
    build = inner.build
    document = inner.document.source.name
    for _, word, _, _ in needs_of(part):
        lazy = inner.names.get(word.text)
        key = (document, entity.part, word.text)
        used = lazy is None or lazy.used
        build.needs_used[key] = build.needs_used.get(key, False) or used
        build.needs_at[key] = inner.site(word)
    for name, (offer, _) in entity.offers.items():
        if len(offer.arguments) > 1 or inner.thing(name) or inner.lazy(name):
            continue
        if name in build.failed or name in inner.document.poisoned or entity.failed:
            continue
        if (document, entity.part, name) in build.offers_told:
            continue
        build.offers_told.add((document, entity.part, name))
        near = nearest(name, inner.known())
        build.report(
            OFFER_UNKNOWN.at(
                inner.site(offer),
                f'part "{entity.part}" offers "{name}", and nothing in it has that name',
                help=f'did you mean "{near}"?' if near else "declare it in the part",
            )
        )
