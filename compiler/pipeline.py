"""The stages in their order: from a recipe and a sheet to a settled rig.

Each stage is a plain function from value to value and findings; this module only passes them on. A
stage that had errors ends the run, since the next would report their echoes.
"""

from __future__ import annotations

import gc
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from somite import expand, library, order, parse, project, settle, sheet, soundness
from somite.findings import Finding, Severity, has_errors, in_order
from somite.ir import Rig
from somite.library import Parts
from somite.settle import Settled
from somite.sheet import Sheet
from somite.sheet.matching import UNUSED_MEASURE
from somite.syntax import Document
from somite.text import Source, clean

if TYPE_CHECKING:
    from somite.evaluate import BackEnd, Evaluator, Posed

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
    _laid: dict[str, Evaluator] = field(default_factory=dict, init=False, repr=False, compare=False)
    """The rig laid out for posing, by back end, once somebody poses it."""

    def pose(
        self, channels: Mapping[str, Any] | None = None, *, back_end: BackEnd = "auto"
    ) -> Posed:
        """The rig with these channels, all others at rest; one pose, or as many as values.

        `channels` gives values by the channel's dotted name (`high.turn.y`, `hand.space`): a number
        is in metres, radians or one, and may be an array with one a pose, shape (poses,); a text is
        as people write it, with a unit ("40 deg") or in the recipe's unit and degrees ("40"), and
        for a choice one of its words. The result is in metres, with the poses as the first axis; a
        value that a limit or a lock kept back is told in its `notes`.

        `back_end` says what works the poses out: "arrays", "scalar", "compiled" or, by how many
        there are, one of the first two. Results are the same within rounding.

        Raises `somite.PoseError`, with findings, for names and values that cannot be, ValueError
        where the rig did not compile or the back end is unknown, and `somite.MissingExtra` where
        "compiled" is asked for without numba.

        >>> import somite
        >>> made = somite.compile_text('''
        ... recipe lantern
        ...   units cm
        ...   axes up +Y front +Z
        ... sheet
        ...   point hook, flame
        ... control pole at hook  ring 20 cm  carries all
        ... joint light at flame  under pole
        ... ''', '''
        ... character = "lumen"
        ... unit = "cm"
        ... up = "+Y"
        ... front = "+Z"
        ... [points]
        ... hook = [0, 120, 0]
        ... flame = [0, 90, 0]
        ... ''')
        >>> made.pose({"pole.turn.z": "90 deg"}).place("light").round(6).tolist()
        [[0.3, 1.2, 0.0]]
        >>> made.pose({"pole.move.x": [0.0, 0.5, 1.0]}).world("light").shape
        (3, 4, 4)
        >>> try:
        ...     made.pose({"pole.turm.z": 0.5})
        ... except somite.PoseError as error:
        ...     print(error.findings[0].help)
        did you mean "pole.turn.z"?
        """
        from somite.posing import channels_from

        evaluator = self._laid.get(back_end)
        if evaluator is None:
            evaluator = self._laid[back_end] = self._evaluator(back_end)
        return evaluator.pose(channels_from(channels or {}, evaluator))

    def _evaluator(self, back_end: BackEnd) -> Evaluator:
        from somite.evaluate import Evaluator

        if self.settled is not None:
            return Evaluator(self.settled, back_end)
        wrong = "; ".join(one.message for one in self.findings if one.severity is Severity.ERROR)
        reason = f": {wrong}" if wrong else ""
        raise ValueError(f"a rig that did not compile can not be posed{reason}")


def read_recipe(path: Path) -> tuple[Read | None, tuple[Finding, ...]]:
    """A recipe's file with the parts that it can see; None if it can not be read at all."""
    root = project.find_root(path)
    source, findings = project.read_source(path, project.shown(path, root))
    if source is None:
        return None, findings
    return read_text(source, path.resolve(), root)


def read_text(
    source: Source, path: Path, root: Path | None
) -> tuple[Read | None, tuple[Finding, ...]]:
    """A recipe's text, as if it lay at a path of a project folder (None: in no folder)."""
    document, mistakes = parse.parse(source)
    parts, more = library.load(document, path, root)
    findings = (*mistakes, *more)
    sources = {made.source.name: made.source for made in parts.documents}
    return Read(document, parts, findings, sources, parts.inputs), findings


def compile_rig(read: Read, character: Sheet) -> Compiled:
    """A rig from a recipe that was read and a sheet."""
    collecting = gc.isenabled()
    gc.disable()  # Only growth happens here; the collector would walk what is made again and again.
    try:
        return _compiled(read, character)
    finally:
        if collecting:
            gc.enable()


def _compiled(read: Read, character: Sheet) -> Compiled:
    rig, findings = expand.expand(read.document, character, read.parts)
    if has_errors(read.findings):
        # What a line that could not be read would have asked for is not unused.
        findings = tuple([found for found in findings if found.code != UNUSED_MEASURE.slug])
    found = [*read.findings, *findings]
    settled: Settled | None = None
    if rig is not None and not has_errors(found) and _is_readable(character):
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


def _is_readable(character: Sheet) -> bool:
    """Whether all that stands on a sheet could be read: what hangs on the rest was left out."""
    if character.refused or character.unread:
        return False
    return all(_is_readable(one.value) for one in character.rigs.values())


def compile_text(recipe: str, sheet_text: str, name: str = "recipe.somite") -> Compiled:
    """A rig from the text of a recipe and of a sheet (TOML), without any file.

    Imports are of the library only, since there is no project folder.
    """
    read, findings = read_text(Source(name, clean(recipe)), Path(name), None)
    character, more = sheet.read(Source("sheet.toml", clean(sheet_text)))
    return _joined(read, character, findings, more)


def compile(recipe: Path | str, sheet_path: Path | str) -> Compiled:
    """A rig from a recipe's file and a sheet's."""
    read, findings = read_recipe(Path(recipe))
    character, more = sheet.load(Path(sheet_path))
    return _joined(read, character, findings, more)


def _joined(
    read: Read | None,
    character: Sheet | None,
    findings: tuple[Finding, ...],
    more: tuple[Finding, ...],
) -> Compiled:
    """What came of both readings; a rig only where neither had errors."""
    if read is None or character is None:
        sources = {} if read is None else read.sources
        return Compiled(None, None, in_order((*findings, *more)), sources)
    compiled = compile_rig(read, character)
    found = in_order((*compiled.findings, *more))
    return replace(
        compiled, findings=found, settled=None if has_errors(found) else compiled.settled
    )
