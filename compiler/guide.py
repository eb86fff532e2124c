"""The guide to parts: what the library's parts need and offer, as pages for people.

In comes a file of parts; out come pages in Markdown, made of the part itself: its header comment,
its needs and offers with the words beside them, its sockets and the behaviours that it promises. A
picture shows the part in a rig that uses it. Nothing is said of a part that its file does not say.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from somite import explain, library, parse, project
from somite.findings import Finding
from somite.statements.part import needs_of, offers_of
from somite.syntax import Argument, Clause, Document, Statement, Word
from somite.text import Source

if TYPE_CHECKING:
    from somite.drawing import Stroke
    from somite.ir import Axis, Node
    from somite.pipeline import Compiled

SIDES = ("left", "right")
FLAT = 0.05
"""A part that is less tall than this, for its width, is drawn from above."""


@dataclass(frozen=True, slots=True)
class Part:
    """A part, and the file that it stands in."""

    name: str
    statement: Statement
    document: Document

    @property
    def about(self) -> str:
        """What the part is, in its own words; empty if it does not say."""
        return _about(self.statement)


def parts_in(source: Source) -> tuple[tuple[Part, ...], tuple[Finding, ...]]:
    """The parts of a file, in order, and what is wrong with the file."""
    document, findings = parse.parse(source)
    found = tuple(
        [Part(_word(one), one, document) for one in document.statements if one.word == "part"]
    )
    return found, findings


def library_parts() -> dict[str, Part]:
    """The parts that come with Somite, by name."""
    found: dict[str, Part] = {}
    for file in sorted(library.folder().glob("*.somite")):
        source, _ = project.read_source(file, f"library/{file.name}")
        if source is not None:
            found.update({part.name: part for part in parts_in(source)[0]})
    return found


def listing(parts: Mapping[str, Part]) -> str:
    """Every part with what it is, one a line."""
    return explain.listed({name: part.about for name, part in parts.items()})


# ---- the page ------------------------------------------------------------------------------------


def page(part: Part, picture: str | None = None, example: str | None = None) -> str:
    """A part's page in Markdown; `picture` is the path of its drawing, `example` lines of use."""
    blocks = [f"# {part.name}", part.about, *_header(part.document)]
    if picture is not None:
        blocks.append(f"![The part {part.name} in a rig that uses it]({picture})")
    if example is not None:
        blocks.append("## In use")
        blocks.append(f"    import {part.name} from library\n\n{_indented(example)}")
    blocks += _section(
        "What it needs", _table(("name", "kind", "default", "what it is"), needs(part))
    )
    blocks += _section("What it offers", _table(("name", "what it is"), offers(part)))
    blocks += _section("Where things can be attached", _table(("socket", "for"), sockets(part)))
    blocks += _section("What animators set", _table(("dial", "values", "does"), dials(part)))
    blocks += _section("What it promises", "\n".join([f"- {one}" for one in checks(part)]))
    return "\n\n".join([block for block in blocks if block]) + "\n"


def _section(title: str, text: str) -> list[str]:
    return [f"## {title}", text] if text else []


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    if not rows:
        return ""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(["| " + " | ".join([_cell(cell) for cell in line]) + " |" for line in lines])


def _cell(text: str) -> str:
    return text.replace("|", "\\|") or " "


def _indented(text: str) -> str:
    return "\n".join([f"    {line}" if line else "" for line in text.splitlines()])


def _header(document: Document) -> Iterator[str]:
    """The paragraphs of the comment that the file begins with."""
    lines: list[str] = []
    for line in document.source.text.splitlines():
        if not line.startswith("#"):
            break
        lines.append(line.lstrip("#").strip())
    yield from ["\n".join(block) for block in _paragraphs(lines)]


def _paragraphs(lines: Sequence[str]) -> Iterator[list[str]]:
    block: list[str] = []
    for line in [*lines, ""]:
        if line:
            block.append(line)
        elif block:
            yield block
            block = []


def needs(part: Part) -> list[tuple[str, str, str, str]]:
    """Each need: its name, its kind with its range or choices, its default, the words beside it."""
    found = []
    for kind, word, line, terms in needs_of(part.statement):
        told = kind
        if "terms_of" in terms:
            told += " of " + _listed(terms["terms_of"].arguments, part.document)
        if "terms_in" in terms:
            told += " in " + _text(terms["terms_in"].arguments[0], part.document)
        default = terms.get("terms_default")
        given = f"`{_text(default.arguments[0], part.document)}`" if default is not None else ""
        found.append((f"`{word.text}`", told, given, _beside(line, part.document)))
    return found


def offers(part: Part) -> list[tuple[str, str]]:
    """Each offer: its name, and what it is."""
    declared = {_word(one): one for one in _everything(part.statement) if _word(one)}
    found = []
    for clause in offers_of(part.statement):
        words = clause.arguments
        name = _text(words[0], part.document)
        thing = _text(words[1], part.document) if len(words) > 1 else name
        statement = declared.get(thing.split(".")[0])
        told = thing if thing != name else ""
        if statement is not None and thing == _word(statement):
            told = ": ".join([one for one in (statement.word, _about(statement)) if one])
        found.append((f"`{name}`", told))
    return found


def sockets(part: Part) -> list[tuple[str, str]]:
    """Each socket: its name, and what it is for."""
    return [
        (f"`{_word(one)}`", _about(one))
        for one in _everything(part.statement)
        if one.word == "socket"
    ]


def dials(part: Part) -> list[tuple[str, str, str]]:
    """Each dial: its control and name, its default and range or choices, the words beside it."""
    found = []
    for control in _everything(part.statement):
        if control.word != "control":
            continue
        for dial in _everything(control):
            if dial.word == "dial":
                text = part.document.source.text[dial.start : dial.end].splitlines()[0]
                _, _, rest = text.partition(_word(dial))
                values = re.sub(r"\s*#.*", "", rest).strip().removeprefix("= ")
                told = _about(dial) or _beside(dial, part.document)
                found.append((f"`{_word(control)}.{_word(dial)}`", values, told))
    return found


def checks(part: Part) -> list[str]:
    """The behaviours that the part promises, in its own words."""
    return [
        _text(one.arguments[0], part.document).strip('"')
        for one in _everything(part.statement)
        if one.word == "check"
    ]


def _everything(statement: Statement) -> Iterator[Statement]:
    """All statements in a block, and in theirs, in the order they are written."""
    for one in statement.block:
        yield one
        yield from _everything(one)


def _word(statement: Statement) -> str:
    for one in statement.arguments:
        if isinstance(one, Word):
            return one.text
        if isinstance(one, Clause):
            for word in one.arguments:
                if isinstance(word, Word):
                    return word.text
    return ""


def _about(statement: Statement) -> str:
    for clause in statement.clauses:
        if clause.word == "about":
            text = clause.arguments[0]
            return text.text.strip('"') if isinstance(text, Word) else getattr(text, "value", "")
    return ""


def _text(node: Argument, document: Document) -> str:
    return document.source.text[node.start : node.end]


def _listed(nodes: Sequence[Argument], document: Document) -> str:
    words = [node for node in nodes if isinstance(node, Word) and node.kind != "COMMA"]
    return ", ".join([_text(node, document) for node in words])


def _beside(statement: Statement, document: Document) -> str:
    """The comment at the end of a statement's line."""
    line = document.source.line(document.source.site(statement.start, statement.end).line)
    return line.partition("#")[2].strip()


# ---- the picture ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Placed:
    """A part as one use of it stands in a rig: its nodes and curves, and the lines of the use."""

    names: Mapping[str, str]
    example: str


def placed(part: Part, made: Compiled) -> Placed | None:
    """The first use of a part in a rig, on the left where it is mirrored; None without one.

    `names` has each node and curve of it with its name inside the part.
    """
    assert made.rig is not None
    file = part.document.source.name
    for node in made.rig.nodes:
        use = _use_of(node, file, made)
        if use is None or SIDES[1] in node.name.split("."):
            continue
        name, example = use
        prefix = _prefix(node.name, name)
        things = [node.name for node in made.rig.nodes]
        things += [curve.name for curve in made.rig.curves]
        inside = {one: one.removeprefix(prefix) for one in things if one.startswith(prefix)}
        return Placed(inside, example)
    return None


def _use_of(node: Node, file: str, made: Compiled) -> tuple[str, str] | None:
    """The name of the use that placed a node of a part's file, and the lines of it."""
    for site, at in zip(node.origin, node.origin[1:], strict=False):
        if site.file == file and at.file != file:
            text = made.sources[at.file].text.splitlines()
            found = re.match(r"(\s*)use\s+\w+\s+as\s+(\w+)", text[at.line - 1])
            if found is not None:
                return found[2], _block(text[at.line - 1 :], len(found[1]))
    return None


def _block(lines: Sequence[str], indent: int) -> str:
    """A statement with the lines that stand further in below it, moved to the margin."""
    found = [lines[0]]
    for line in lines[1:]:
        if line.strip() and len(line) - len(line.lstrip()) <= indent:
            break
        found.append(line)
    return "\n".join([line[indent:] for line in found]).rstrip()


def _prefix(name: str, use: str) -> str:
    """What stands before a part's own names: the use, its number and its side."""
    segments = name.split(".")
    at = segments.index(use) + 1
    while at < len(segments) and (segments[at].isdigit() or segments[at] in SIDES):
        at += 1
    return ".".join(segments[:at]) + "."


def drawn(part: Part, made: Compiled, height: float = 320.0) -> str | None:
    """A picture of a part in a rig that uses it: the part itself with its names, and faintly what
    stands around it. None if the rig does not use it.
    """
    from somite.axes import Axes
    from somite.drawing import picture, solved_only, strokes_of

    use = placed(part, made)
    if use is None or made.settled is None or made.rig is None:
        return None
    own = set(use.names)
    helping = solved_only(made.rig)
    strokes = [stroke for stroke in strokes_of(made.settled) if stroke.name not in helping]
    held = {stroke.name for stroke in strokes if stroke.role in ("control", "socket")}
    named = {name: short for name, short in use.names.items() if name in held}
    axes = Axes(made.rig.up, made.rig.front)
    subject = [stroke for stroke in strokes if stroke.name in own]
    return picture(
        subject,
        axes,
        title=f"The part {part.name}, in {made.rig.recipe} for {made.rig.character}",
        views=("top", "side") if _is_flat(subject, axes.up) else ("front", "side"),
        height=height,
        names=named,
        around=[stroke for stroke in strokes if stroke.name not in own],
    )


def _is_flat(strokes: Sequence[Stroke], up: Axis) -> bool:
    """Whether strokes lie along the ground, so that they show only from above."""
    points = [point for stroke in strokes for line in stroke.lines for point in line]
    spans = [max(along) - min(along) for along in zip(*points, strict=True)]
    return bool(spans) and spans["XYZ".index(up[1])] < FLAT * max(spans)
