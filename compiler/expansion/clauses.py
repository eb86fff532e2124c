"""Clauses of a statement: gathered from its line, its block and the blocks that a choice includes.

Which clauses a statement takes is said by its own module; here a clause that stands in the wrong
place, or twice, is told where it belongs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from somite.expansion.mentions import mention
from somite.expansion.scope import Scope
from somite.findings import Code, Severity, listed
from somite.ir import Excuse
from somite.syntax import Argument, Clause, Statement, Word

CLAUSE_MISPLACED = Code("clause-misplaced")
CLAUSE_TWICE = Code("clause-twice")
STATEMENT_MISPLACED = Code("statement-misplaced")
UNKNOWN_LAW = Code("unknown-law")
EMPTY_BLOCK = Code("empty-block", Severity.WARNING)

LAWS = ("rest", "travel", "use", "ownership", "once", "mirror", "calm", "twist", "names")
"""The laws of a rig by the word that an excuse names them with."""

REPEATABLE = frozenset(
    {"follow", "land", "face", "each", "excuse", "lock", "only", "limit", "owns", "with"}
    | {"expect", "set", "map", "ignores", "shown"}
)

SAID = {
    "starts": "start",
    "ends": "end",
    "one_sided": "one-sided",
    "shaped": "shaped by",
    "feed_live": "feed",
    "feed_from": "feed",
    "pose_named": "pose",
    "pose_set": "pose",
    "pose_sweep": "pose",
    "request": "sheet",
    "shape": "ring",
    "terms_of": "of",
    "terms_default": "=",
    "terms_in": "in",
    "follow_for": "for",
    "follow_by": "by",
    "face_pointing": "pointing",
    "face_up": "up",
    "face_exactly": "exactly",
    "shown_above": "above",
    "shown_below": "below",
    "shown_is": "is",
}


def said(word: str) -> str:
    """A clause's or statement's word as it is written in a recipe."""
    return SAID.get(word, word)


def gather(statement: Statement, scope: Scope, takes: frozenset[str]) -> dict[str, list[Clause]]:
    """A statement's clauses by word, those in `when` blocks that hold among them."""
    found: dict[str, list[Clause]] = {}
    for clause in _all(statement, scope):
        word = clause.word
        if word not in takes:
            _misplaced(clause, statement, scope, takes)
            continue
        there = found.setdefault(word, [])
        if there and word not in REPEATABLE:
            _twice(clause, there[0], statement, scope)
            continue
        there.append(clause)
    return found


def check_clauses(statement: Statement, scope: Scope, takes: frozenset[str]) -> None:
    """Report clauses of a statement that gathers none, so that no line is left unread."""
    seen: dict[str, Clause] = {}
    for clause in statement.clauses:
        if clause.word not in takes:
            _misplaced(clause, statement, scope, takes)
        elif clause.word not in REPEATABLE and clause.word in seen:
            _twice(clause, seen[clause.word], statement, scope)
        seen.setdefault(clause.word, clause)


def check_block(statement: Statement, scope: Scope, takes: frozenset[str]) -> None:
    """Report statements in a block that it does not take."""
    for inner in statement.block:
        if inner.word in ("when", "repeat", "mirror") and inner.word in takes:
            check_block(inner, scope, takes)
        elif inner.word not in takes:
            scope.report(
                STATEMENT_MISPLACED,
                inner,
                f'"{said(inner.word)}" does not belong in the block of "{said(statement.word)}"',
                help="move it out, to the left",
            )


def check_filled(statement: Statement, scope: Scope) -> None:
    """Warn of a block that holds nothing, unless a line that was in it could not be read."""
    if statement.block or statement.clauses or scope.build.broken:
        return
    scope.report(
        EMPTY_BLOCK,
        statement,
        f'"{statement.word}" has nothing in its block, and does nothing',
        help="indent below it what belongs to it, or take the line away",
    )


def check_terms(pieces: Iterable[Argument], scope: Scope) -> None:
    """Report a term that stands twice in one line: only one of them could hold."""
    seen: dict[str, Clause] = {}
    for piece in pieces:
        if not isinstance(piece, Clause) or piece.word in ("asked", "leader"):
            continue
        if piece.word in seen:
            scope.report(
                CLAUSE_TWICE,
                piece,
                f'"{said(piece.word)}" is said twice in this line',
                help="keep one of them",
                related=[(scope.site(seen[piece.word]), "first said here")],
            )
        seen[piece.word] = piece


def _misplaced(clause: Clause, statement: Statement, scope: Scope, takes: frozenset[str]) -> None:
    owner = _article(said(statement.word))
    if statement.word == "when":
        owner = 'a "when" that stands in no statement'
    scope.report(
        CLAUSE_MISPLACED,
        clause,
        f'"{_written(clause)}" does not belong to {owner}',
        help=_belongs(clause, statement.word, takes, scope),
    )


def _twice(clause: Clause, first: Clause, statement: Statement, scope: Scope) -> None:
    scope.report(
        CLAUSE_TWICE,
        clause,
        _again(clause, first, said(statement.word)),
        help="keep one of them",
        related=[(scope.site(first), "first said here")],
    )


def _again(clause: Clause, first: Clause, statement: str) -> str:
    now, before = _written(clause), _written(first)
    if now == before:
        return f'"{now}" is said twice for this {statement}'
    return f'expected one of "{before}" and "{now}" for this {statement}, found both'


def _all(statement: Statement, scope: Scope) -> Iterator[Clause]:
    yield from statement.clauses
    for inner in statement.block:
        if inner.word == "when":
            check_filled(inner, scope)
        # Conditions over statements alone are asked where those are declared.
        if inner.word == "when" and _has_clauses(inner):
            if scope.truth(inner.arguments[0]):
                yield from _all(inner, scope)
            else:
                mention([inner], scope)


def _has_clauses(block: Statement) -> bool:
    return bool(block.clauses) or any(
        inner.word == "when" and _has_clauses(inner) for inner in block.block
    )


def _written(clause: Clause) -> str:
    """A clause's first word as the recipe has it: a shape is called by its own."""
    first = clause.arguments[0] if clause.word == "shape" else None
    return first.text if isinstance(first, Word) else said(clause.word)


def _article(word: str) -> str:
    return f"an {word}" if word[0] in "aeiou" else f"a {word}"


def _belongs(clause: Clause, statement: str, takes: frozenset[str], scope: Scope) -> str:
    owners = scope.build.takers(clause.word)
    if owners:
        return f'"{_written(clause)}" belongs to {listed(owners)}; move the line into its block'
    return f"{said(statement)} takes " + listed(sorted(map(said, takes)), most=30)


def only(clauses: Mapping[str, list[Clause]], word: str) -> Clause | None:
    """The clause of that word, if it was said."""
    there = clauses.get(word)
    return there[0] if there else None


def text_of(clause: Clause | None) -> str | None:
    """The text in quotes that a clause states."""
    if clause is None:
        return None
    word = clause.arguments[-1]
    assert isinstance(word, Word)
    return word.text[1:-1]


def excuses_of(clauses: Mapping[str, list[Clause]], scope: Scope) -> tuple[Excuse, ...]:
    """The declared exceptions to laws."""
    found = []
    for clause in clauses.get("excuse", ()):
        word = clause.arguments[0]
        assert isinstance(word, Word)
        if word.text not in LAWS:
            scope.report(
                UNKNOWN_LAW,
                word,
                f'there is no law named "{word.text}"',
                help="the laws are " + ", ".join(LAWS),
            )
            continue
        found.append(Excuse(word.text, text_of(clause) or "", (scope.site(clause), *scope.trail)))
    return tuple(sorted(found, key=lambda excuse: excuse.law))


def was_of(clauses: Mapping[str, list[Clause]]) -> str | None:
    """The old name that a `was` records, as written."""
    clause = only(clauses, "was")
    if clause is None:
        return None
    word = clause.arguments[0]
    assert isinstance(word, Word)
    return word.text
