"""The examples of the reference's pages and of the findings' pages, and what becomes of them.

What comes in is Markdown; what goes out is its fenced examples, and the findings that the compiler
has for one. Short examples are laid over the frame that `grammar/reference/index.md` prints: what
they name and do not declare is taken from there, and nothing else.
"""

from __future__ import annotations

import io
import json
import re
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from somite import pipeline, sheet, start
from somite.findings import Finding
from somite.pipeline import Compiled
from somite.text import Source

TREE = Path(__file__).resolve().parents[2]
REFERENCE = TREE / "grammar" / "reference"
FINDINGS = TREE / "grammar" / "findings"
NOWHERE = Path("/nowhere")
"""A folder that does not exist: no example may find a file by luck."""

_FENCE = re.compile(r"^```([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_SAID = re.compile(r'"[^"\n]*"|#[^\n]*')
_WORD = re.compile(r"[a-z][a-z0-9_]*")
_DECLARED = re.compile(
    r"^\s*(?:control|joint|group|socket|chain|curve|grip|place|let|gauge|output|list|part"
    r"|use \w+ as)"
    r" (\w+)|^pose (\w+)$",
    re.MULTILINE,
)
_ASKED = re.compile(r"^  (point|pair|length) (.+)$")


@dataclass(frozen=True, slots=True)
class Example:
    """A fenced block: the page it stands on, its line there, the words of its fence, its text."""

    page: Path
    line: int
    words: tuple[str, ...]
    text: str

    def __str__(self) -> str:
        return f"{self.page.stem}:{self.line} {' '.join(self.words)}"


def pages(folder: Path) -> list[Path]:
    """The Markdown pages of a folder, by name."""
    return sorted(folder.glob("*.md"))


@cache
def examples(page: Path) -> tuple[Example, ...]:
    """Every fenced block of a page, in order."""
    text = page.read_text(encoding="utf-8")
    return tuple(
        Example(
            page,
            text.count("\n", 0, found.start()) + 1,
            tuple(found.group(1).split()),
            found.group(2),
        )
        for found in _FENCE.finditer(text)
    )


# ---- the frame -----------------------------------------------------------------------------------


@cache
def _frame(language: str) -> str:
    for example in examples(REFERENCE / "index.md"):
        if example.words == (language, "frame"):
            return example.text
    raise AssertionError(f"index.md prints no frame in {language}")


def named(text: str) -> set[str]:
    """Every word of a recipe outside comments and texts in quotes."""
    return set(_WORD.findall(_SAID.sub(" ", text)))


def _frame_statements() -> dict[str, str]:
    """The statements of the frame by the name that each declares, its head and sheet left out."""
    pieces = re.split(r"\n(?=\S)", _frame("somite").strip("\n"))
    return {
        found.group(1): piece.strip("\n")
        for piece in pieces
        if (found := re.match(r"(?:control|group|joint|curve|chain) (\w+)", piece))
    }


def framed(body: str) -> str:
    """A whole recipe: the body, then what it needs of the frame."""
    if re.search(r"^recipe ", body, re.MULTILINE):
        return body
    statements = _frame_statements()
    declared = {word for found in _DECLARED.findall(body) for word in found}
    wanted = named(body)
    taken: list[str] = []
    while more := [name for name in statements if name in wanted - declared and name not in taken]:
        taken.extend(more)
        wanted |= set().union(*(named(statements[name]) for name in more))
    lines = [line for line in _frame("somite").split("\n") if (asked := _ASKED.match(line))]
    requests = []
    for line in lines:
        asked = _ASKED.match(line)
        assert asked is not None
        for one in asked.group(2).split(", "):
            if one.split()[0] in wanted:
                requests.append(f"  {asked.group(1)} {one}")
    head = "\nrecipe stall_holder\n"
    block = "\nsheet\n" + "\n".join(requests) + "\n" if requests else ""
    return body + head + block + "\n".join(s for n, s in statements.items() if n in taken) + "\n"


def framed_sheet(recipe: str) -> str:
    """The frame's sheet with the landmarks that a recipe names."""
    words = named(recipe)
    kept = []
    for line in _frame("toml").split("\n"):
        name = line.partition(" =")[0]
        header = name in ("character", "about", "unit", "up", "front")
        if "=" not in line or header or name in words:
            kept.append(line)
    return "\n".join(kept)


# ---- compiling -----------------------------------------------------------------------------------


def compiled(recipe: str, sheet_text: str | None = None) -> tuple[Compiled | None, list[Finding]]:
    """What becomes of an example, and its findings but for those on landmarks of the frame."""
    whole = framed(recipe)
    text = framed_sheet(whole) if sheet_text is None else sheet_text
    return _outcome(whole, text, spared=whole is not recipe or sheet_text is None)


def as_written(recipe: str, sheet_text: str) -> list[Finding]:
    """The findings of a recipe and a sheet that stand for themselves."""
    return _outcome(recipe, sheet_text, spared=False)[1]


def _outcome(
    recipe: str, sheet_text: str, *, spared: bool
) -> tuple[Compiled | None, list[Finding]]:
    character, found = sheet.read(Source("heron.toml", sheet_text))
    source = Source("example.somite", recipe)
    read, mistakes = pipeline.read_text(source, NOWHERE / "example.somite", NOWHERE)
    if read is None or character is None:
        return None, [*mistakes, *found]
    result = pipeline.compile_rig(read, character)
    landmarks = named(_frame("toml")) if spared else set()
    return result, [
        finding
        for finding in (*found, *result.findings)
        if not (finding.code == "unused-measure" and finding.message.split('"')[1] in landmarks)
    ]


# ---- small projects ------------------------------------------------------------------------------


def laid_out(example: Example, folder: Path) -> str:
    """Writes an example's files over a new project, and returns the command that it runs."""
    command, *rest = example.text.split("\n--- ")
    files = start.files("lantern")
    files |= {name: text for name, _, text in (piece.partition("\n") for piece in rest)}
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text if text.endswith("\n") else text + "\n", encoding="utf-8")
    assert command.startswith("$ somite "), example
    return command.removeprefix("$ somite ").strip()


def ran(example: Example, folder: Path) -> list[tuple[str, str]]:
    """The codes and severities that the command of an example reports, run in its own folder."""
    from somite.cli import main

    command = laid_out(example, folder)
    out, errors = io.StringIO(), io.StringIO()
    with chdir(folder), redirect_stdout(out), redirect_stderr(errors):
        # Where a command's own result has forms, those of findings have a longer name.
        option = "--findings-format" if command.startswith("diff ") else "--format"
        main([*command.split(), option, "json"])
    text = errors.getvalue()
    assert "Traceback" not in text, text
    assert text.startswith("{"), text
    document = json.loads(text)
    return [(finding["code"], finding["severity"]) for finding in document["findings"]]
