"""Records and phrases to the plain data that templates lay out.

In comes a guide and a voice; out go dictionaries, lists and texts, in which names stand between
marks. The filters here turn marked texts into Markdown, HTML and wrapped plain text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache, lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from markupsafe import Markup

from somite.targets.steps.phrases import CLOSE, OPEN, Voice
from somite.targets.steps.records import Fact, Guide, Materials, Phase, Step, Table
from somite.text import Origin

Data = dict[str, Any]

WIDTH = 88
"""Columns of the plain text."""

_MARKDOWN = re.compile(r"[\\`*_{}\[\]<>#|~]|&(?=[#A-Za-z])")
_PLACE = re.compile(r"\(-?[0-9.]+, -?[0-9.]+, -?[0-9.]+\)")


@cache
def glossary() -> tuple[Data, ...]:
    """The words and their meanings, sorted."""
    import tomllib

    text = Path(__file__).with_name("glossary.toml").read_text(encoding="utf-8")
    return tuple(sorted(tomllib.loads(text)["word"], key=lambda word: str(word["word"])))


def page(guide: Guide, voice: Voice) -> Data:
    """Everything that the templates of the steps are given, under the names that they use."""
    phases = [_phase(phase, voice) for phase in guide.phases]
    title = voice.filled("page.title", recipe=guide.recipe, character=guide.character)
    return {
        "recipe": voice.say(guide.recipe),
        "character": voice.say(guide.character),
        "revision": guide.revision,
        "about": voice.say(guide.about),
        "title": title,
        "subtitle": voice.filled("page.revision", revision=str(guide.revision)),
        "label": voice.section("page"),
        "materials": _materials(guide.materials, voice),
        "conventions": [voice.say(saying) for saying in guide.conventions],
        "phases": phases,
        "glossary": list(glossary()),
        "total": sum(phase["count"] for phase in phases),
        "digest": _digest(phases),
    }


def _phase(phase: Phase, voice: Voice) -> Data:
    steps = [_step(number, step, voice) for number, step in phase.numbered()]
    return {
        "key": phase.key,
        "title": voice.text(f"phase.{phase.key}.title"),
        "intro": voice.text(f"phase.{phase.key}.intro"),
        "steps": steps,
        "first": phase.number,
        "count": len(steps),
        "counted": _counted(voice, len(steps)),
    }


def _counted(voice: Voice, count: int) -> str:
    return voice.filled("page.steps-count" if count != 1 else "page.steps-one", count=str(count))


def _step(number: int, step: Step, voice: Voice) -> Data:
    return {
        "number": number,
        "key": step.action.key,
        "action": voice.say(step.action),
        "facts": [_fact(fact, voice) for fact in step.facts],
        "table": table(step.table, voice) if step.table is not None else None,
        "notes": [voice.say(note) for note in step.notes],
        "sees": [voice.say(see) for see in step.sees],
        "makes": [name.spelled for name in step.made],
        "source": sources(step.origin),
    }


def _fact(fact: Fact, voice: Voice) -> Data:
    return {"label": voice.text(fact.label), "value": voice.say(fact.value)}


def table(table: Table, voice: Voice) -> Data:
    """A table as its column labels, its rows of texts, and which columns are numbers."""
    numeric = list(table.numeric) or [False] * len(table.columns)
    return {
        "columns": [
            {"label": voice.text(column), "numeric": flag}
            for column, flag in zip(table.columns, numeric, strict=True)
        ],
        "rows": [[voice.say(cell) for cell in row] for row in table.rows],
    }


def _materials(materials: Materials, voice: Voice) -> Data:
    return {
        "facts": [_fact(fact, voice) for fact in materials.facts],
        "needs": [voice.say(need) for need in materials.needs],
        "counts": [
            {"label": voice.text(f"count.{kind}"), "count": count}
            for kind, count in materials.counts
        ],
        "dials": table(materials.dials, voice) if materials.dials.rows else None,
        "nudges": table(materials.nudges, voice) if materials.nudges.rows else None,
    }


def sources(origin: Origin) -> str:
    """The lines of the recipe that a step comes from, innermost first."""
    return ", ".join(dict.fromkeys(f"{site.file}:{site.line}" for site in origin))


def _digest(phases: list[Data]) -> str:
    """A digest of all that the steps say: ticks are kept only for the very same steps."""
    return sha256("\n".join(_said(phases)).encode("utf-8")).hexdigest()[:16]


def _said(phases: list[Data]) -> Iterator[str]:
    for phase in phases:
        for step in phase["steps"]:
            yield step["action"]
            for fact in step["facts"]:
                yield fact["value"]
            if step["table"] is not None:
                for row in step["table"]["rows"]:
                    yield "\t".join(row)
            yield from step["sees"]


@lru_cache(maxsize=4096)
def as_markdown(text: str) -> str:
    """A marked text as Markdown: names as code, everything else as it stands, on one line."""
    pieces = str(text).replace(CLOSE, OPEN).split(OPEN)
    for index, piece in enumerate(pieces):
        if index % 2:
            pieces[index] = f"`{piece.replace('`', '')}`"
        elif _MARKDOWN.search(piece):
            pieces[index] = _MARKDOWN.sub(_escaped, piece)
    return "".join(pieces)


def _escaped(found: re.Match[str]) -> str:
    return "&amp;" if found[0] == "&" else "\\" + found[0]


@lru_cache(maxsize=4096)
def as_html(text: str) -> Markup:
    """A marked text as HTML: escaped, names as code, three numbers kept on one line."""
    escaped = str(Markup.escape(text))
    if "(" in escaped:
        escaped = _PLACE.sub(r'<span class="whole">\g<0></span>', escaped)
    return Markup(escaped.replace(OPEN, "<code>").replace(CLOSE, "</code>"))


def as_attribute(text: str) -> Markup:
    """A marked text as the value of an HTML attribute: escaped, without its marks."""
    return Markup.escape(as_plain(text))


def as_text(text: str, indent: int = 0, first: str = "", lead: str = "") -> str:
    """A marked text as plain lines of at most 88 columns, names in quotes.

    `first` stands before the first line, within its indent, and `lead` before the text itself; a
    word longer than a line is not cut.
    """
    plain = (lead + str(text)).replace(OPEN, '"').replace(CLOSE, '"')
    room = WIDTH - min(indent, WIDTH // 2)
    if len(plain) <= room:
        return first.ljust(indent) + plain
    lines: list[str] = []
    line = ""
    for word in plain.split(" "):
        if line and len(line) + 1 + len(word) > room:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    lines.append(line)
    margin = " " * indent
    return "\n".join(
        (first.ljust(indent) if index == 0 else margin) + line for index, line in enumerate(lines)
    )


def as_fact(value: str, label: str, margin: int, indent: int) -> str:
    """A labelled value as plain lines: the label at the margin, the value at the indent."""
    return as_text(value, indent, f"{' ' * margin}{label}: ")


def as_rows(table: Data, indent: int = 0) -> str:
    """A table as plain lines: columns as wide as their widest cell, numbers flush right.

    A last column that would run over the line is wrapped under itself.
    """
    head = [column["label"] for column in table["columns"]]
    cells = [[as_plain(cell) for cell in row] for row in table["rows"]]
    last = len(head) - 1
    widths = [max(len(row[index]) for row in (head, *cells)) for index in range(len(head))]
    flags = [bool(column["numeric"]) for column in table["columns"]]
    lines: list[str] = []
    for row in (head, ["-" * width for width in widths], *cells):
        parts = [
            cell.rjust(width) if flag else cell.ljust(width) if index < last else cell
            for index, (cell, width, flag) in enumerate(zip(row, widths, flags, strict=True))
        ]
        before = " " * indent + "  ".join(parts[:-1]) + ("  " if last else "")
        rule = row is not head and set(row[last]) == {"-"}
        text = parts[-1][: max(3, WIDTH - len(before))] if rule else parts[-1]
        if len(before) + len(text) > WIDTH and not flags[last]:
            lines.append(as_text(text, len(before), before))
        else:
            lines.append((before + text).rstrip())
    return "\n".join(lines)


def as_plain(text: str) -> str:
    """A marked text without its marks."""
    return str(text).replace(OPEN, "").replace(CLOSE, "")


def underlined(text: str, mark: str = "-") -> str:
    """A heading with a line under it."""
    plain = as_plain(text)
    return f"{plain}\n{mark[:1] * min(len(plain), WIDTH)}"


FILTERS = (
    ("as_attribute", as_attribute),
    ("as_fact", as_fact),
    ("as_html", as_html),
    ("as_markdown", as_markdown),
    ("as_plain", as_plain),
    ("as_rows", as_rows),
    ("as_text", as_text),
    ("underlined", underlined),
)
"""What templates of the steps can do with marked texts."""
