"""A small compiler for the tests of builds: it reads real files and knows no language.

A recipe or sheet that says `wrong` gives an error at its first line, one that says `doubtful` a
warning, and one that says `broken` has the compiler fail in a way that nobody expected. The first
line of a sheet is the character's name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from somite import project
from somite.builds import wording
from somite.builds.digest import digest_of
from somite.builds.job import Job
from somite.builds.rendering import Tools
from somite.findings import Code, Finding, Severity, has_errors
from somite.ir import Rig
from somite.target import Context, Output, Target
from somite.text import Site, Source

WRONG = Code("wrong-word")
DOUBTFUL = Code("doubtful-word", Severity.WARNING)
UNKNOWN_TARGET = Code("unknown-target")


@dataclass
class Compiled:
    settled: Any
    findings: tuple[Finding, ...]
    sources: dict[str, Source]
    inputs: tuple[Path, ...]
    recipe_digest: str
    sheet_digest: str


class Workshop:
    """A folder with a recipe and sheets, and tools that count what they are asked."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.compiled: list[str] = []
        self.emitted = 0
        self.between: Callable[[], None] = lambda: None
        self.write("upright.somite", "recipe upright\n")
        self.write("heron.toml", "heron\n")

    def write(self, name: str, text: str) -> str:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return str(path)

    def job(self, sheet: str = "heron.toml", **rest: Any) -> Job:
        folder = str(self.folder / "build")
        recipe = str(self.folder / rest.pop("recipe", "upright.somite"))
        return Job(recipe, str(self.folder / sheet), rest.pop("targets", ("list",)), folder, **rest)

    @property
    def tools(self) -> Tools:
        return Tools(self.compile, self.find, wording.load)

    def outputs(self) -> dict[str, str]:
        """The outputs that are there, by name."""
        folder = self.folder / "build"
        return {path.name: path.read_text() for path in sorted(folder.glob("[!.]*"))}

    def compile(self, recipe: Path, sheet: Path | None) -> Compiled:
        self.compiled.append(recipe.name)
        sources: dict[str, Source] = {}
        findings: list[Finding] = []
        for path in (recipe, sheet):
            source, found = project.read_source(path)
            findings += found
            if source is None:
                continue
            if "broken" in source.text:
                raise RuntimeError("the compiler met something it does not know")
            sources[source.name] = source
            for word, code in (("wrong", WRONG), ("doubtful", DOUBTFUL)):
                if word in source.text:
                    findings.append(code.at(Site(source.name, 1, 1), f'found "{word}"'))
        self.between()
        settled = None
        if not has_errors(findings):
            character = sources[project.shown(sheet)].text.split("\n")[0]
            settled = SimpleNamespace(rig=rig(recipe.stem, character))
        digests = [digest_of(source.text.encode()) for source in sources.values()]
        return Compiled(settled, tuple(findings), sources, (recipe, sheet), *[*digests, "", ""][:2])

    def find(self, name: str) -> tuple[Target | None, tuple[Finding, ...]]:
        if name == "none":
            return None, (UNKNOWN_TARGET.at(None, 'expected a target, found "none"'),)
        return Target(name, "a list", frozenset(), self.emitter(name)), ()

    def emitter(self, name: str) -> Callable[..., Any]:
        def emit(settled: Any, context: Context) -> tuple[tuple[Output, ...], tuple[Finding, ...]]:
            self.emitted += 1
            if name == "refusing":
                return (), (WRONG.at(None, "this target cannot say it"),)
            if name == "climbing":
                return (Output("/../../escaped.txt", "x"),), ()
            text = f"{settled.rig.character} {context.recipe_digest} {context.sheet_digest}"
            text += f" {dict(context.phrases)} {dict(context.templates)}\n"
            return (Output(f".{name}.txt", text),), ()

        return emit


def rig(recipe: str, character: str) -> Rig:
    return Rig(
        recipe=recipe,
        character=character,
        revision=1,
        about="",
        unit="cm",
        up="+Y",
        front="+Z",
        mirror_axis="+X",
        height=1.0,
    )


@pytest.fixture
def workshop(tmp_path: Path) -> Workshop:
    return Workshop(tmp_path)
