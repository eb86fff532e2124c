"""Compiling from files for a whole cast: each recipe is read once, however many sheets it has.

What comes in is paths; what goes out is what the pipeline makes of them, with every file that was
read and every text that a finding may point into. Nothing here is written to a file.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from somite import pipeline, project, sheet
from somite.findings import Finding, in_order
from somite.pipeline import Compiled, Read
from somite.sheet import Sheet
from somite.text import Source


@dataclass(slots=True)
class Desk:
    """Compiles one after another, and keeps the recipes that it has read."""

    _reads: dict[Path, tuple[Read | None, tuple[Finding, ...]]] = field(default_factory=dict)

    def lay(self, recipe: Path, source: Source) -> None:
        """Have a text stand for what a recipe's file holds."""
        read, findings = pipeline.read_text(source, recipe.resolve(), project.find_root(recipe))
        self._reads[recipe] = read, findings

    def compile(self, recipe: Path, sheet_path: Path | None) -> Compiled:
        """A recipe compiled for a sheet; without one, only what can be said of the recipe."""
        if recipe not in self._reads:
            self._reads[recipe] = pipeline.read_recipe(recipe)
        read, findings = self._reads[recipe]
        sources = dict(read.sources) if read is not None else {}
        if sheet_path is None:
            return Compiled(None, None, in_order(findings), sources)
        character, more = sheet.load(sheet_path)
        sources |= _sheet_sources(sheet_path, character)
        if read is None or character is None:
            return Compiled(None, None, in_order((*findings, *more)), sources)
        compiled = pipeline.compile_rig(read, character)
        return replace(
            compiled,
            findings=in_order((*compiled.findings, *findings, *more)),
            sources=sources,
            inputs=(*read.inputs, *(Path(source.path) for source in character.sources)),
        )


def _sheet_sources(path: Path, character: Sheet | None) -> dict[str, Source]:
    """The texts of a sheet and of the files it takes landmarks from, as far as they are text."""
    files = {project.shown(path, project.find_root(path)): path}
    if character is not None:
        files |= {source.name: Path(source.path) for source in character.sources}
    read = (project.read_source(file, name)[0] for name, file in files.items())
    return {source.name: source for source in read if source is not None}
