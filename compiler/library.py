"""Parts and recipes from other files: those of the project folder and those that come with Somite.

What comes in is a recipe's syntax tree and where it lies; what goes out is which parts and which
other recipes each file can see. A file is read once, however often it is imported, and imports may
form loops.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from somite import parse, project
from somite.findings import Code, Finding, nearest
from somite.syntax import Document, Statement, Word
from somite.text import Source

IMPORT_MISSING = Code("import-missing")
PART_TWICE = Code("part-twice")
IMPORTED_RECIPE = Code("imported-recipe")

Visible = dict[str, dict[str, tuple[Statement, Document]]]
Reads = Callable[[Source], tuple[Document, tuple[Finding, ...]]]


@dataclass(frozen=True, slots=True)
class Parts:
    """Which parts each file sees by name, the files that were read, and their texts.

    An imported recipe is seen by its name too: it stands there with its own head.
    """

    visible: Visible = field(default_factory=dict)
    documents: tuple[Document, ...] = ()
    inputs: tuple[Path, ...] = ()


@dataclass(slots=True)
class _Reading:
    root: Path | None
    parse: Reads
    found: dict[Path, Document] = field(default_factory=dict)
    visible: Visible = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)


def folder() -> Path:
    """The folder of the parts that come with Somite."""
    import somite.recipes

    return Path(next(iter(somite.recipes.__path__))) / "parts"


def load(
    document: Document, path: Path, root: Path | None, parsed: Reads = parse.parse
) -> tuple[Parts, tuple[Finding, ...]]:
    """The parts that a recipe at a path can see, its own and those it imports.

    `parsed` reads the text of a file.
    """
    reading = _Reading(root, parsed)
    reading.found[path] = document
    _read(document, path, root, reading)
    documents = tuple(reading.found.values())
    inputs = tuple(reading.found)
    return Parts(reading.visible, documents, inputs), tuple(reading.findings)


def _read(document: Document, path: Path, root: Path | None, reading: _Reading) -> None:
    """Enter a file's own parts, then read the files it imports, and those they import."""
    waiting = [(document, path, root)]
    while waiting:
        current, at, within = waiting.pop()
        visible = reading.visible.setdefault(current.source.name, {})
        for statement in current.statements:
            if statement.word == "part":
                _enter(visible, statement, current, reading)
        for statement in current.statements:
            if statement.word == "import":
                for file, folder_of_file in _files(statement, current, at, within, reading):
                    opened = _open(file, folder_of_file, statement, current, reading)
                    if opened is not None:
                        waiting.append((opened, file, folder_of_file))
    _link(reading)


def _enter(
    visible: dict[str, tuple[Statement, Document]],
    part: Statement,
    document: Document,
    reading: _Reading,
) -> None:
    word = part.arguments[0]
    assert isinstance(word, Word)
    there = visible.get(word.text)
    if there is not None:
        reading.findings.append(
            PART_TWICE.at(
                document.site(word),
                f'part "{word.text}" is declared twice',
                help="give one of them another name",
                related=[(there[1].site(there[0]), "first declared here")],
            )
        )
        return
    visible[word.text] = (part, document)


def _files(
    statement: Statement, document: Document, at: Path, root: Path | None, reading: _Reading
) -> list[tuple[Path, Path]]:
    """The files that an import names, each with the folder that it must not lead out of."""
    last = statement.arguments[-1]
    assert isinstance(last, Word)
    if last.kind == "STRING" and root is None:
        reading.findings.append(
            IMPORT_MISSING.at(
                document.site(last),
                "expected an import from the library, found a file, and there is no project folder",
                help="save the recipe in a folder and build it from there",
            )
        )
        return []
    if last.kind == "STRING":
        assert root is not None
        path, findings = project.resolve(root, at.parent, last.text[1:-1], document.site(last))
        reading.findings.extend(findings)
        return [] if path is None else [(path, root)]
    library = folder()
    known = sorted(file.stem for file in library.glob("*.somite"))
    found = []
    for word in _names(statement):
        if word.text in known:
            found.append((library / f"{word.text}.somite", library))
            continue
        near = nearest(word.text, known)
        reading.findings.append(
            IMPORT_MISSING.at(
                document.site(word),
                f'the library has no part named "{word.text}"',
                help=f'did you mean "{near}"?' if near else "it has " + ", ".join(known),
            )
        )
    return found


def _open(
    path: Path, root: Path, statement: Statement, document: Document, reading: _Reading
) -> Document | None:
    """Read a file if it is new."""
    if path in reading.found:
        return None
    shown = project.shown(path, root) if root == reading.root else f"library/{path.name}"
    source, findings = project.read_source(path, shown, document.site(statement))
    reading.findings.extend(findings)
    if source is None:
        return None
    opened, mistakes = reading.parse(source)
    reading.findings.extend(mistakes)
    reading.found[path] = opened
    for inner in opened.statements:
        if inner.word not in ("part", "import") and not is_of_recipe(statement):
            reading.findings.append(
                IMPORTED_RECIPE.at(
                    opened.site(inner),
                    f'expected parts in an imported file, found "{inner.word}"',
                    help="keep parts in files of their own; a whole recipe is imported so: "
                    'import recipe NAME from "FILE"',
                    related=[(document.site(statement), "imported here")],
                )
            )
            break
    return opened


def is_of_recipe(statement: Statement) -> bool:
    """Whether an import names a whole recipe."""
    first = statement.arguments[0]
    return isinstance(first, Word) and first.kind == "RECIPE"


def _names(statement: Statement) -> list[Word]:
    return [
        word for word in statement.arguments[:-1] if isinstance(word, Word) and word.kind == "WORD"
    ]


def _link(reading: _Reading) -> None:
    """Make imported parts visible under their names in the files that import them."""
    for path, document in list(reading.found.items()):
        visible = reading.visible.setdefault(document.source.name, {})
        for statement in document.statements:
            if statement.word != "import":
                continue
            for word in _names(statement):
                _make_visible(word, statement, document, path, visible, reading)


def _make_visible(
    word: Word,
    statement: Statement,
    document: Document,
    path: Path,
    visible: dict[str, tuple[Statement, Document]],
    reading: _Reading,
) -> None:
    last = statement.arguments[-1]
    assert isinstance(last, Word)
    if last.kind == "STRING":
        root = _root_of(path, reading)
        if root is None:
            return
        target, _ = project.resolve(root, path.parent, last.text[1:-1], None)
    else:
        target = folder() / f"{word.text}.somite"
    opened = reading.found.get(target) if target is not None else None
    if opened is None:
        return
    kind = "recipe" if is_of_recipe(statement) else "part"
    own = {
        name.text: part
        for part in opened.statements
        if part.word == kind and isinstance(name := part.arguments[0], Word)
    }
    part = own.get(word.text)
    if part is None:
        if word.text not in opened.poisoned:
            near = nearest(word.text, own)
            reading.findings.append(
                IMPORT_MISSING.at(
                    document.site(word),
                    f'"{opened.source.name}" has no {kind} named "{word.text}"',
                    help=f'did you mean "{near}"?' if near else None,
                )
            )
        return
    there = visible.get(word.text)
    if there is not None and there[0] is not part:
        reading.findings.append(
            PART_TWICE.at(
                document.site(word),
                f'{kind} "{word.text}" is here twice',
                help="give one of them another name",
                related=[(there[1].site(there[0]), "the other one is here")],
            )
        )
        return
    visible[word.text] = (part, opened)


def _root_of(path: Path, reading: _Reading) -> Path | None:
    library = folder()
    return library if path.is_relative_to(library) else reading.root
