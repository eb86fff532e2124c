"""The stages in their order: from a recipe and a sheet to a settled rig.

Each stage is a plain function from value to value and findings; this module only passes them on. A
stage that had errors ends the run, since the next would report their echoes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from somite import expand, library, order, parse, project, settle, sheet, soundness
from somite.findings import Finding, has_errors, in_order
from somite.ir import Rig
from somite.library import Parts
from somite.settle import Settled
from somite.sheet import Sheet
from somite.syntax import Document
from somite.text import Source

STAGES = (
    parse.parse,
    sheet.load,
    expand.expand,
    soundness.examine,
    order.order,
    settle.settle,
)
"""What a compilation runs through, in order."""


@dataclass(frozen=True, slots=True)
class Read:
    """A recipe that was read once and can be built for any number of sheets."""

    document: Document
    parts: Parts
    findings: tuple[Finding, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)
    inputs: tuple[Path, ...] = ()

    @property
    def digest(self) -> str:
        """SHA-256 of the recipe's text and of the parts that it imports, in hexadecimal."""
        texts = sorted(document.source.text for document in self.parts.documents)
        whole = hashlib.sha256()
        for text in (self.document.source.text, *texts):
            whole.update(hashlib.sha256(text.encode()).digest())
        return whole.hexdigest()


@dataclass(frozen=True, slots=True)
class Compiled:
    """What came of a compilation, as far as it went, with every finding in order of place."""

    rig: Rig | None
    settled: Settled | None
    findings: tuple[Finding, ...]
    sources: Mapping[str, Source] = field(default_factory=dict)
    inputs: tuple[Path, ...] = ()
    recipe_digest: str = ""
    sheet_digest: str = ""


def read_recipe(path: Path) -> tuple[Read | None, tuple[Finding, ...]]:
    """A recipe's file with the parts that it can see; None if it can not be read at all."""
    root = project.find_root(path)
    source, findings = project.read_source(path, project.shown(path, root))
    if source is None:
        return None, findings
    return read_text(source, path.resolve(), root)


def read_text(source: Source, path: Path, root: Path) -> tuple[Read | None, tuple[Finding, ...]]:
    """A recipe's text, as if it lay at a path of a project folder."""
    document, mistakes = parse.parse(source)
    parts, more = library.load(document, path, root)
    findings = (*mistakes, *more)
    sources = {made.source.name: made.source for made in parts.documents}
    return Read(document, parts, findings, sources, parts.inputs), findings


def compile_rig(read: Read, character: Sheet) -> Compiled:
    """A rig from a recipe that was read and a sheet."""
    rig, findings = expand.expand(read.document, character, read.parts)
    found = [*read.findings, *findings]
    settled: Settled | None = None
    if rig is not None and not has_errors(found):
        found.extend(soundness.examine(rig))
        if not has_errors(found):
            plan, more = order.order(rig)
            found.extend(more)
            if plan is not None:
                settled, more = settle.settle(rig, plan)
                found.extend(more)
    return Compiled(
        rig,
        None if has_errors(found) else settled,
        in_order(found),
        read.sources,
        read.inputs,
        read.digest,
        character.digest,
    )


def compile_files(recipe: Path, sheet_path: Path, read: Read | None = None) -> Compiled:
    """A rig from files; with `read`, the recipe is not read again."""
    found: tuple[Finding, ...] = ()
    if read is None:
        read, found = read_recipe(recipe)
    character, more = sheet.load(sheet_path)
    if read is None or character is None:
        base = found if read is None else read.findings
        sources = {} if read is None else read.sources
        return Compiled(None, None, in_order((*base, *more)), sources)
    compiled = compile_rig(read, character)
    findings = in_order((*compiled.findings, *more))
    return Compiled(
        compiled.rig,
        None if has_errors(findings) else compiled.settled,
        findings,
        compiled.sources,
        compiled.inputs,
        compiled.recipe_digest,
        compiled.sheet_digest,
    )
