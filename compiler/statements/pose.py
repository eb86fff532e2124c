"""`pose NAME` with `set` lines: a named set of channel values; in a check, what it poses."""

from __future__ import annotations

from collections.abc import Iterable

from somite.expansion.clauses import gather, only, text_of
from somite.expansion.entities import NodeEntity, ValueEntity
from somite.expansion.live import CHANNEL_DIMENSIONS, UNIT_DIMENSIONS, sign_for
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.expansion.state import PARTS
from somite.findings import Code
from somite.ir import Pose, Setting, Sweep
from somite.syntax import Argument, Clause, Reference, Statement, Word
from somite.units import Dimension

POSE_FORM = Code("pose-form")

WORDS = ("pose_named", "pose_set", "pose_sweep")
CLAUSES = frozenset({"set", "about"})
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Enter a named pose; the other forms stand in checks."""
    name = statement.arguments[0]
    assert isinstance(name, Reference)
    if statement.word != "pose_named" or len(name.path) != 1 or not isinstance(name.path[0], str):
        raise scope.stop(
            POSE_FORM,
            statement,
            "expected a name and lines that set channels, found a channel",
            help="write: pose arms_out, and below it: set hand.move.x = 10 cm",
        )
    word = Word("WORD", name.path[0], name.start, name.end)
    text, full = scope.full_name(Clause("declared", (word,), word.start, word.end))
    entity = ValueEntity(full, statement, scope, kind="pose")
    scope.declare(text, entity)

    def emit() -> None:
        clauses = gather(statement, scope, CLAUSES)
        settings = [
            setting(clause, clause.arguments[0], clause.arguments[1], scope)
            for clause in clauses.get("set", ())
        ]
        check_once(settings, scope)
        settings.sort(key=lambda one: one.channel)
        about = text_of(only(clauses, "about"))
        records_of(scope).poses.append(Pose(entity.dotted, tuple(settings), about, entity.origin))

    records_of(scope).later(entity, emit)


def check_once(posed: Iterable[Setting | Sweep], scope: Scope) -> None:
    """Report a channel that is posed twice: only one of the two could hold."""
    first: dict[str, Setting | Sweep] = {}
    for one in posed:
        there = first.setdefault(one.channel, one)
        if there is not one:
            scope.build.report(
                POSE_FORM.at(
                    one.origin[0],
                    f'expected one value for "{one.channel}", found two',
                    help="keep one of them",
                    related=[(there.origin[0], "first posed here")],
                )
            )


def setting(line: Argument | Statement, target: Argument, value: Argument, scope: Scope) -> Setting:
    """One channel or dial and the value that a line sets it to."""
    channel, dimension, sign, options = posed_channel(target, scope)
    if options:
        word = scope.word(value, options).word
        if word not in options:
            raise scope.stop(
                POSE_FORM,
                value,
                f'expected one of the choices, found "{word}"',
                help="the choices are " + ", ".join(options),
            )
        number = float(options.index(word))
    else:
        number = sign * scope.number(value, dimension)
    return Setting(channel, number + 0.0, (scope.site(line), *scope.trail))


def posed_channel(target: Argument, scope: Scope) -> tuple[str, Dimension, int, tuple[str, ...]]:
    """The channel or dial that a line poses, its dimension, its sign here, and its choices."""
    assert isinstance(target, Reference)
    handle = scope.handle(target)
    entity, rest = handle.entity, handle.rest
    if not isinstance(entity, NodeEntity) or not rest or (rest[0] in PARTS and len(rest) < 2):
        raise scope.stop(
            POSE_FORM,
            target,
            "expected a channel or a dial, found something else",
            help="write the control and the channel: high.turn.y",
        )
    name = ".".join(map(str, rest))
    if rest[0] in PARTS:
        sign = sign_for(entity, name, scope, target)
        return f"{entity.dotted}.{name}", CHANNEL_DIMENSIONS[str(rest[0])], sign, ()
    dial = entity.dials[str(rest[0])]
    sign = -1 if dial.flips and scope.mirrored else 1
    return f"{entity.dotted}.{name}", UNIT_DIMENSIONS[dial.unit], sign, dial.options
