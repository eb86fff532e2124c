"""The canonical outline of one file: what it says, one fact a line, in an order of its own.

In come the bytes of a recipe, a file of parts or a scene file; out goes a text in which formatting,
comments and the order of facts make no difference, so that a comparison of lines shows what means
something. What cannot be read comes out as it came in. Nothing here reads a file or knows git.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import MISSING, fields, is_dataclass
from typing import TYPE_CHECKING, Any

from somite import project
from somite.merge.items import closed

if TYPE_CHECKING:
    from somite.ir import Rig
    from somite.syntax import Clause, Statement
    from somite.text import Source

FIRST = ("recipe", "import", "sheet", "part", "request", "needs", "offers", "let", "use")
"""Statements that an outline has first, in this order; the others follow by their words."""

LENGTH_PLACES = 4
"""Decimal places of lengths (in the scene's unit) and of angles in an outline."""
UNIT_PLACES = 6
"""Decimal places of quaternions, fractions and shares."""

_STRING_OR_COMMENT = re.compile(r'("[^"\n]*")|#[^\n]*')
_QUIET = frozenset({"origin", "spelled", "version", "kind", "name"})
"""Fields that an outline leaves out, or says in another way."""
_LENGTHS = frozenset({"place", "end", "points", "width", "offset", "height"})
_VALUES = frozenset({"low", "high", "default", "value", "start", "stop"})
"""Fields that hold a value of the channel or dial that the record is of."""


def outlined(content: bytes, name: str) -> bytes:
    """The outline of a file's bytes, or the bytes themselves where they say nothing known.

    `name` is what the file is called: a `.json` is a scene, anything else a recipe. Never fails.
    """
    source, _ = project.decoded(content, name)
    if source is None or "\0" in source.text:
        return content
    of = scene_outline if name.lower().endswith(".json") else recipe_outline
    text = of(source)
    return content if text is None else text.encode("utf-8")


# ---- recipes -------------------------------------------------------------------------------------


def recipe_outline(source: Source) -> str | None:
    """The outline of a recipe or a file of parts; None where it cannot be read."""
    from somite import parse
    from somite.format import formatted
    from somite.text import Source

    document, findings = parse.parse(source)
    if findings:
        return None
    lines = [*_facts(document.stray, source.text, 0), *_blocks(document.statements, source.text, 0)]
    text = "".join([f"{line}\n" for line in lines])
    # Blanks inside a line are the formatter's affair; what it cannot read stays as it was put here.
    return formatted(Source(source.name, text))[0] or text


def _blocks(statements: Sequence[Statement], text: str, level: int) -> Iterator[str]:
    """Statements with what belongs to them, those of a kind together and in the order of words."""

    def key(one: Statement) -> tuple[int, str, list[str]]:
        rank = FIRST.index(one.word) if one.word in FIRST else len(FIRST)
        return (rank, one.word, list(_block(one, text, 0)))

    for one in sorted(statements, key=key):
        yield from _block(one, text, level)


def _block(one: Statement, text: str, level: int) -> Iterator[str]:
    # The head alone: up to its first fact, on whatever line that stands.
    end = one.arguments[-1].end if one.arguments else one.start + len(_first_word(text, one.start))
    yield "  " * level + _on_one_line(text[one.start : closed(text, one.start, end)])
    yield from _facts(one.clauses, text, level + 1)
    yield from _blocks(one.block, text, level + 1)


def _facts(clauses: Sequence[Clause], text: str, level: int) -> Iterator[str]:
    ends = [closed(text, one.start, one.end) for one in clauses]
    told = [text[one.start : end] for one, end in zip(clauses, ends, strict=True)]
    for line in sorted([_on_one_line(words) for words in told]):
        yield "  " * level + line


def _first_word(text: str, start: int) -> str:
    return re.split(r"\s", text[start:], maxsplit=1)[0]


def _on_one_line(text: str) -> str:
    """Words that brackets let run over several lines, without line ends and comments."""
    return " ".join(_STRING_OR_COMMENT.sub(lambda found: found[1] or "", text).split())


# ---- scenes --------------------------------------------------------------------------------------


def scene_outline(source: Source) -> str | None:
    """The outline of a scene file, or of a rig's document; None where it is neither."""
    from somite import document
    from somite.targets.scene_reading import read_scene_rig

    if f'"{document.FORMAT}"' in source.text[:200]:
        rig, _ = document.read_rig(source)
    elif '"somite-scene ' in source.text[:200]:
        rig, _ = read_scene_rig(source)
    else:
        return None
    return None if rig is None else rig_outline(rig)


def rig_outline(rig: Rig) -> str:
    """A rig, one thing after another as it has them, each with the facts that are not the default.

    Lengths are in the rig's unit, bounds of angles in degrees, turns quaternions xyzw.
    """
    from somite.units import metres_per

    unit = metres_per(rig.unit)
    lines = [f"rig {rig.recipe} of {rig.character}"]
    for one in fields(rig):
        value = getattr(rig, one.name)
        if not _is_records(value) and one.name not in ("recipe", "character", *_QUIET):
            lines += _field(one.name, value, one.default, unit, 1)
    for one in fields(rig):
        value = getattr(rig, one.name)
        if _is_records(value):
            for record in value:
                lines += _record(record, unit, 0)
    return "".join([f"{line}\n" for line in lines])


def _is_records(value: Any) -> bool:
    return isinstance(value, tuple) and bool(value) and is_dataclass(value[0])


def _record(record: Any, unit: float, level: int) -> Iterator[str]:
    """A record: its kind and name, and below them its fields."""
    kind = getattr(record, "kind", None) or type(record).__name__.lower()
    name = getattr(record, "name", None)
    yield "  " * level + (f"{kind} {name}" if name else str(kind))
    for one in fields(record):
        if one.name not in _QUIET:
            yield from _field(one.name, getattr(record, one.name), one.default, unit, level + 1)


def _field(name: str, value: Any, default: Any, unit: float, level: int) -> Iterator[str]:
    if value in (None, (), "") or (default is not MISSING and value == default):
        return
    word = name.replace("_", " ")
    if _is_records(value):
        for record in value:
            yield "  " * level + f"{word}: {_inline(record, unit)}"
    elif value is True:
        yield "  " * level + word
    else:
        said = _shown(value, name, unit)
        yield (
            "  " * level
            + f"{word}: {said[1:-1] if is_dataclass(value) and said[0] == '(' else said}"
        )


def _inline(record: Any, unit: float) -> str:
    """A record within a record, on one line: its fields in order, those at their defaults not."""
    told = []
    for one in fields(record):
        value = getattr(record, one.name)
        if one.name == "node" and value is None:
            told.append("world")
            continue
        if one.name == "origin" or value is None or value == ():
            continue
        if one.default is not MISSING and value == one.default:
            continue
        word = "" if one.name in ("name", "node", "channel", "kind") else f"{one.name} "
        told.append(word + _with_unit(record, one.name, value, unit))
    return ", ".join(told)


def _with_unit(record: Any, name: str, value: Any, unit: float) -> str:
    """A value of a field as people read it: lengths in the rig's unit, angles in degrees."""
    from somite.units import degrees

    channel = str(getattr(record, "channel", "") or "")
    kind = getattr(record, "unit", None)
    if isinstance(value, float) and name in _VALUES:
        if ".turn." in f".{channel}" or kind == "angle":
            return f"{_number(degrees(value), LENGTH_PLACES)} deg"
        if ".move." in f".{channel}" or kind == "length":
            return _number(value / unit, LENGTH_PLACES)
    return _shown(value, name, unit)


def _shown(value: Any, name: str, unit: float) -> str:
    from somite.ir import Apply, Constant, Map, Measure, Read
    from somite.report.change_values import live

    if isinstance(value, Constant | Read | Apply | Map | Measure):
        return live(value)
    if is_dataclass(value):
        return f"({_inline(value, unit)})"
    if isinstance(value, bool) or value is None:
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return f"({', '.join([_shown(one, name, unit) for one in value])})"
    if isinstance(value, float):
        if name in _LENGTHS:
            return _number(value / unit, LENGTH_PLACES)
        return _number(value, UNIT_PLACES)
    return str(value)


def _number(value: float, places: int) -> str:
    from somite.canonical import number

    return number(round(value, places))
