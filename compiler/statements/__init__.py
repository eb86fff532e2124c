"""The statements of the language, one file each.

A statement's module says which words head it (`WORDS`), which clauses and which inner statements it
takes (`CLAUSES`, `BLOCK`; None means those of the block around it), and how it is declared. What
can only be made when every name is known is left with the records for later.
"""

from __future__ import annotations

import builtins
from collections.abc import Iterable
from types import ModuleType

from somite.expansion.clauses import (
    STATEMENT_MISPLACED,
    check_block,
    check_clauses,
    check_filled,
    said,
)
from somite.expansion.scope import Scope
from somite.expansion.state import Pending, Stop, endless
from somite.findings import listed
from somite.statements import (
    chain,
    check,
    control,
    curve,
    dial,
    feed,
    gauge,
    grip,
    group,
    import_,
    joint,
    let,
    list,
    mirror,
    output,
    part,
    place,
    pose,
    reach,
    recipe,
    repeat,
    sheet,
    socket,
    twist,
    use,
    when,
)
from somite.syntax import Clause, Reference, Statement, Word

MODULES: tuple[ModuleType, ...] = (
    recipe,
    import_,
    sheet,
    part,
    use,
    mirror,
    repeat,
    when,
    let,
    place,
    group,
    socket,
    joint,
    control,
    dial,
    chain,
    curve,
    grip,
    reach,
    twist,
    feed,
    gauge,
    output,
    list,
    pose,
    check,
)

STATEMENTS: dict[str, ModuleType] = {word: module for module in MODULES for word in module.WORDS}

BODY = frozenset(
    {"use", "mirror", "repeat", "when", "let", "place", "group", "socket", "joint", "control"}
    | {"chain", "curve", "reach", "twist", "feed_live", "feed_from", "gauge", "output", "list"}
    | {"pose_named", "pose_set", "pose_sweep", "check"}
)
"""Statements that a recipe or a part may hold."""

TOP_ONLY = frozenset({"recipe", "import", "sheet", "part"})
TOP = BODY | TOP_ONLY
"""Statements that a recipe's file may hold."""

BLOCKS = frozenset({"mirror", "repeat", "when"})
"""Statements whose block holds what the block around them does."""

UNGATHERED = frozenset({"import", "sheet", "mirror", "when", "let"})
"""Statements that read no clauses of their own, so that every one of theirs is misplaced."""


def takers(clause: str) -> builtins.list[str]:
    """The statements that take a clause, as they are written."""
    found = {
        said(module.WORDS[0])
        for module in MODULES
        if module.CLAUSES is not None and clause in module.CLAUSES
    }
    return sorted(found)


def declare_block(block: Iterable[Statement], scope: Scope) -> None:
    """Declare statements in a scope; a failed one is reported and the rest go on."""
    pending = Pending(
        lambda statement: _declare(statement, scope),
        dict(enumerate(sorted(block, key=_turn))),
        _declared_words,
        scope.pending,
    )
    scope.pending = pending
    try:
        pending.run()
    finally:
        scope.pending = pending.outer


def _declare(statement: Statement, scope: Scope) -> None:
    build = scope.build
    before = len(build.entities)
    try:
        scope.counted(statement)
        _check_place(statement, scope)
        module = STATEMENTS[statement.word]
        takes = module.BLOCK
        if takes is not None and "grip" not in takes:  # A curve's is checked as it is declared.
            check_block(statement, scope, takes)
        if statement.word in BLOCKS:
            check_filled(statement, scope)
            _check_inside(statement, scope)
        if statement.word in UNGATHERED:
            check_clauses(statement, scope, module.CLAUSES or frozenset())
        module.declare(statement, scope)
    except (Stop, RecursionError) as stop:
        if isinstance(stop, Stop):
            build.report(stop.finding)
        else:
            build.report(endless("this statement", scope.site(statement)))
        build.failed.update(_declared_words(statement))
        for entity in build.entities[before:]:
            if entity.statement is statement:
                entity.failed = True


def _turn(statement: Statement) -> int:
    """Values first, for counts and conditions are worked out while a block is declared."""
    return {"let": 0, "when": 1}.get(statement.word, 2)


def _check_place(statement: Statement, scope: Scope) -> None:
    if statement.word in scope.allowed:
        return
    word = said(statement.word)
    if statement.word == "request" and isinstance(statement.arguments[0], Word):
        word = statement.arguments[0].text
    homes = sorted(
        {
            said(module.WORDS[0])
            for module in MODULES
            if module.BLOCK is not None and statement.word in module.BLOCK
        }
    )
    if statement.word in ("needs", "offers"):
        homes = ["part"]
    help_line = (
        f"it belongs in the block of {listed(homes)}" if homes else "move it out, to the left"
    )
    raise scope.stop(
        STATEMENT_MISPLACED, statement, f'"{word}" does not belong here', help=help_line
    )


def _check_inside(statement: Statement, scope: Scope) -> None:
    """Report statements that only the file itself holds, and that no block may repeat."""
    for inner in statement.block:
        if inner.word in TOP_ONLY:
            scope.report(
                STATEMENT_MISPLACED,
                inner,
                f'"{inner.word}" does not belong in the block of "{statement.word}"',
                help="move it out, to the left",
            )


def _declared_words(statement: Statement) -> set[str]:
    """The words that a failed statement would have declared, with those of its block."""
    words: set[str] = set().union(*map(_declared_words, statement.block))
    for argument in statement.arguments:
        if isinstance(argument, Word):
            words.add(argument.text)
        elif isinstance(argument, Clause) and argument.word in ("declared", "asked"):
            word = argument.arguments[0]
            if isinstance(word, Word):
                words.add(word.text)
        elif (
            statement.word == "pose_named"
            and isinstance(argument, Reference)
            and isinstance(argument.path[0], str)
        ):
            words.add(argument.path[0])
    return words
