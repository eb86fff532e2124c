"""What revisions of a recipe mean, and what changed between two: worked out once, and kept.

In come states, the files of a revision with the recipe and the sheet among them; out go records of
plain values, of a state and of a pair of states, which hold for ever for the same files and the
same compiler. A `Desk` works them out in a folder of its own. Nothing here knows git's history.
"""

from __future__ import annotations

import gc
import json
import os
from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

from somite.builds.digest import digest_of
from somite.diff.comparing import difference
from somite.diff.matching import matched
from somite.diff.meaning import collections, key_of
from somite.findings import Finding, Severity
from somite.history.reading import Reader
from somite.ir import Rig
from somite.report.change_words import Words
from somite.report.review_outline import changes_outline
from somite.revisions import Entry, LaidOut, Repository, is_read, laid_out

HELD = 8
"""Rigs that a desk keeps: neighbours in history are asked for one after another."""


@dataclass(frozen=True, slots=True)
class State:
    """The files of a revision, and where the recipe and the sheet lie among them."""

    recipe: str
    sheet: str
    files: Mapping[str, Entry]


@dataclass(frozen=True, slots=True)
class Meaning:
    """What is known of a state: its own digest, the files it depends on, and what is wrong.

    `inputs` are objects by path, "" for a file that must not be there. A state that does not
    compile has no inputs but `whole`, the digest of all its files.
    """

    digest: str
    recipe: str
    sheet: str
    inputs: Mapping[str, str] = field(default_factory=dict)
    whole: str = ""
    broken: str = ""

    def holds(self, state: State) -> bool:
        """Whether it is that of a state."""
        if (self.recipe, self.sheet) != (state.recipe, state.sheet):
            return False
        if self.whole:
            return self.whole == whole_digest(state.files)
        return all(object_at(state.files, path) == one for path, one in self.inputs.items())


@dataclass(frozen=True, slots=True)
class Said:
    """One change in words. `about` are the full names by which its thing can be asked for."""

    subject: str
    text: str
    site: str
    about: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """What is other between two states: in short, each by itself, and new names by old ones."""

    short: tuple[Said, ...] = ()
    each: tuple[Said, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two states to be compared; without an old one, all that there is is to be named."""

    old: State | None
    new: State


@dataclass(frozen=True, slots=True)
class Compared:
    """What came of a pair. `names` are the things of the new state by name, with their kinds."""

    old: Meaning | None
    new: Meaning
    change: Change | None
    names: tuple[tuple[str, str], ...] | None = None


@dataclass(frozen=True, slots=True)
class Piece:
    """Pairs for one worker, and the folder of their repository."""

    folder: str
    pairs: tuple[Pair, ...]


class Works(Protocol):
    """Works pieces out, here or elsewhere, in their order."""

    def __call__(self, pieces: Sequence[Piece]) -> Iterator[tuple[Compared, ...] | None]: ...


def object_at(files: Mapping[str, Entry], path: str) -> str:
    """The object of a file; empty where there is none."""
    entry = files.get(path)
    return entry.object if entry is not None else ""


def whole_digest(files: Mapping[str, Entry]) -> str:
    """One digest of all files."""
    rows = sorted([f"{path}\0{entry.object}" for path, entry in files.items()])
    return digest_of("\n".join(rows).encode("utf-8", "surrogateescape"))


def worked_out(piece: Piece) -> tuple[Compared, ...]:
    """The work of one worker: every pair of a piece."""
    collecting = gc.isenabled()
    gc.disable()  # Rigs are made and dropped whole; the collector would walk them for nothing.
    try:
        with laid_out(Repository(piece.folder)) as there:
            desk = Desk(there)
            desk.fetch([one for pair in piece.pairs for one in (pair.old, pair.new) if one])
            return tuple([desk.compared(pair) for pair in piece.pairs])
    finally:
        if collecting:
            gc.enable()
            gc.collect()


class Desk:
    """Compiles and compares states in a folder, each state and each text once."""

    def __init__(self, there: LaidOut) -> None:
        """A desk that may use a folder for the files of states."""
        self.there = there
        self.read = Reader()
        self.rigs: OrderedDict[str, Rig] = OrderedDict()
        self.known: dict[tuple[str, str], list[Meaning]] = {}
        self.sizes: dict[str, int] = {}

    def compared(self, pair: Pair) -> Compared:
        """One pair."""
        old = None if pair.old is None else self.meaning(pair.old)
        new = self.meaning(pair.new)
        if new.broken or (old is not None and old.broken):
            return Compared(old, new, None)
        if pair.old is None or old is None:
            return Compared(None, new, None, named(self.rig(pair.new, new)))
        if old.digest == new.digest:
            return Compared(old, new, Change())
        return Compared(old, new, changed(self.rig(pair.old, old), self.rig(pair.new, new)))

    def meaning(self, state: State) -> Meaning:
        """What is known of a state."""
        key = (object_at(state.files, state.recipe), object_at(state.files, state.sheet))
        there = self.known.setdefault(key, [])
        found = next((one for one in there if one.holds(state)), None)
        if found is None:
            found = self._compiled(state)
            there.append(found)
        return found

    def rig(self, state: State, meaning: Meaning) -> Rig:
        """The rig of a state that compiles."""
        if meaning.digest not in self.rigs:
            self._compiled(state)
        self.rigs.move_to_end(meaning.digest)
        return self.rigs[meaning.digest]

    def _compiled(self, state: State) -> Meaning:
        self.there.hold(self._sized(state.files))
        rig, findings, read = compiled(self.there.folder, state, self.read)
        wrong = [one for one in findings if one.severity is Severity.ERROR]
        if rig is None or wrong:
            whole = whole_digest(state.files)
            digest = digest_of(f"{state.recipe}\0{state.sheet}\0{whole}".encode())
            return Meaning(digest, state.recipe, state.sheet, {}, whole, _told(wrong))
        inputs = {path: object_at(state.files, path) for path in (*read, *_casts(state.recipe))}
        text = json.dumps([state.recipe, state.sheet, sorted(inputs.items())])
        made = Meaning(digest_of(text.encode()), state.recipe, state.sheet, inputs)
        self.rigs[made.digest] = rig
        while len(self.rigs) > HELD:
            self.rigs.popitem(last=False)
        return made

    def fetch(self, states: Sequence[State]) -> None:
        """Have the contents of states ready, all at once."""
        every = {path_and_one for state in states for path_and_one in state.files.items()}
        self.sizes.update(self.there.repository.sizes({one.object for _, one in every}))
        self.there.repository.contents(
            [one.object for path, one in every if is_read(path, self._sized_entry(one))]
        )

    def _sized(self, files: Mapping[str, Entry]) -> dict[str, Entry]:
        """The files with their sizes: those that are too big for a build are never laid out."""
        return {path: self._sized_entry(one) for path, one in files.items()}

    def _sized_entry(self, one: Entry) -> Entry:
        return Entry(one.mode, one.object, self.sizes.get(one.object, 0))


def _casts(recipe: str) -> Iterator[str]:
    """Where a cast may lie that makes a folder above the recipe its project."""
    folder = os.path.dirname(recipe)
    while folder:
        yield f"{folder}/cast.toml"
        folder = os.path.dirname(folder)
    yield "cast.toml"


def _told(wrong: Sequence[Finding]) -> str:
    if not wrong:
        return "the rig cannot be made"
    first = wrong[0]
    place = f"{first.site.file}:{first.site.line}: " if first.site is not None else ""
    more = f" (and {len(wrong) - 1} more)" if len(wrong) > 1 else ""
    return f"{place}{first.message}{more}"


def compiled(
    folder: Path, state: State, read: Reader
) -> tuple[Rig | None, tuple[Finding, ...], tuple[str, ...]]:
    """The rig of the files in a folder, what is wrong, and the files that it was made of.

    The rest pose is not settled: all that a recipe and a sheet say is in the rig before that.
    """
    from somite import expand, library, project, sheet, soundness
    from somite.findings import has_errors

    path = folder / state.recipe
    root = project.find_root(path)
    source, findings = project.read_source(path, project.shown(path, root))
    if source is None:
        return None, findings, ()
    document, mistakes = read(source)
    parts, lacking = library.load(document, path.resolve(), root, read)
    character, more = sheet.load(folder / state.sheet)
    findings = (*mistakes, *lacking, *more)
    if character is None or has_errors(findings):
        return None, findings, ()
    rig, expanded = expand.expand(document, character, parts)
    findings = (*findings, *expanded)
    if rig is not None and not has_errors(findings):
        findings = (*findings, *soundness.examine(rig))
    inputs = [*parts.inputs, path.resolve(), *[Path(one.path) for one in character.sources]]
    inputs.append((folder / state.sheet).resolve())
    own = dict.fromkeys(one.relative_to(folder) for one in inputs if one.is_relative_to(folder))
    return rig, findings, tuple([one.as_posix() for one in own])


# ---- changes in words ----------------------------------------------------------------------------


def changed(old: Rig, new: Rig) -> Change:
    """What is other between two rigs, in words."""
    matching = matched(old, new)
    found = difference(old, new, matching)
    if not found:
        return Change()
    words = Words(old, new)
    short = [
        Said(line.subject, line.text, str_of(line.new or line.old))
        for section in changes_outline(new.character, found)
        for line in section.lines
    ]
    each: dict[tuple[str, str], Said] = {}
    for one in found.changes:
        if one.implied or one.kind == "recipe":
            continue
        said = words.said(one)
        origin = one.new_origin or one.old_origin
        site = str_of(origin[0] if origin else None)
        key = (said.subject, said.text)
        each.setdefault(key, Said(*key, site, tuple(dict.fromkeys(_about(one)))))
    return Change(tuple(short), tuple(each.values()), dict(matching.names))


def _about(change: Any) -> Iterator[str]:
    """The full names of what a change is of, in both rigs, the most particular first."""
    for name in (change.new, change.old):
        if name is None:
            continue
        if len(change.path) > 1 and change.path[0] in ("dials", "limits"):
            yield f"{name}.{change.path[1]}"
        yield name
        if "/" in name:
            yield name.partition("/")[0]


def str_of(site: Any) -> str:
    """A file and a line; empty where there are none."""
    return "" if site is None else f"{site.file}:{site.line}"


def named(rig: Rig) -> tuple[tuple[str, str], ...]:
    """Everything that can be asked for: its name and what it is; dials by their full names."""
    found: list[tuple[str, str]] = []
    for collection in collections():
        for record in getattr(rig, collection):
            kind = getattr(record, "kind", None) or type(record).__name__.lower()
            found.append((key_of(record), "list" if kind == "namedlist" else str(kind)))
            found += [
                (f"{key_of(record)}.{one.name}", "dial") for one in getattr(record, "dials", ())
            ]
    return tuple(found)
