"""The two sides of a comparison, as values: whatever was named, its rigs, one a character.

In comes a recipe's file, a scene file, a folder with a cast, or `REV:path` of any of these; out
goes a `Side` with a rig for each character, or findings. A revision's recipes, parts and sheets are
all of that revision, and the work tree is not touched. Nothing here compares anything.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from somite import document, order, project, settle
from somite.builds import cast, cast_file
from somite.builds.compiling import Desk
from somite.findings import Code, Finding, Severity, has_errors, in_order
from somite.ir import Rig
from somite.revisions import Asked, GitError, Repository, asked_in, laid_out, project_folder
from somite.settle import Settled
from somite.targets.scene_reading import UNHELD, held, read_scene_rig
from somite.text import Source

SIDE_KIND = Code("side-kind")
NO_SHEETS = Code("no-sheets")
SHEET_OF_NOW = Code("sheet-of-now", Severity.NOTE)

_HELP = "name a recipe, a scene file, a folder with cast.toml, or any of these as REV:path"


@dataclass(frozen=True, slots=True)
class Version:
    """One character's rig on one side, from a recipe and a sheet or out of a scene file.

    `recipe` and `sheet` are as they lie in their project. `scene`: it is as a scene file holds it.
    `posable` are recipe and sheet by path from here, where `somite pose` can be told to pose it.
    """

    character: str
    recipe: str
    sheet: str | None
    rig: Rig | None
    settled: Settled | None
    findings: tuple[Finding, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)
    scene: bool = False
    posable: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Side:
    """What was named, and its rigs in the order of its cast."""

    written: str
    versions: tuple[Version, ...] = ()
    findings: tuple[Finding, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)
    whole_cast: bool = False


@dataclass(frozen=True, slots=True)
class Pairing:
    """Versions of the same character on both sides, and those that only one side has."""

    pairs: tuple[tuple[Version, Version], ...]
    only_old: tuple[Version, ...]
    only_new: tuple[Version, ...]


def load(written: str, sheets: Sequence[str] = (), lies_at: str | None = None) -> Side:
    """One side. `sheets` are by path from here; without any, a recipe has those of its cast.

    `lies_at` is where in its project a recipe lies of which `written` is a copy.
    """
    if not written.strip():
        message = f'expected a recipe, a scene file or a folder, found "{written}"'
        return Side(written, findings=(SIDE_KIND.at(None, message, help=_HELP),))
    asked = asked_in(written)
    if asked is None:
        if lies_at is not None and Path(lies_at).suffix.lower() == ".somite":
            return _of_copy(written, Path(lies_at), [Path(one) for one in sheets])
        return _of_files(written, Path(written), [Path(one) for one in sheets], here=True)
    try:
        return _of_revision(written, asked, sheets)
    except GitError as error:
        return Side(written, findings=(error.finding,))


def paired(old: Side, new: Side) -> Pairing:
    """Which rig is to be compared with which: one with one, else by recipe and character."""
    if len(old.versions) == 1 and len(new.versions) == 1:
        return Pairing(((old.versions[0], new.versions[0]),), (), ())
    by_recipe = old.whole_cast and new.whole_cast

    def key(version: Version) -> tuple[str, str]:
        return version.recipe if by_recipe else "", version.character

    olds = {key(version): version for version in old.versions}
    news = {key(version): version for version in new.versions}
    pairs = tuple([(olds[name], version) for name, version in news.items() if name in olds])
    one_sided = not (old.whole_cast or new.whole_cast) and (
        len(old.versions) == 1 or len(new.versions) == 1
    )
    if one_sided and pairs:
        # One character was named on one side: the rest of the other's cast is not asked about.
        return Pairing(pairs, (), ())
    return Pairing(
        pairs,
        tuple([version for name, version in olds.items() if name not in news]),
        tuple([version for name, version in news.items() if name not in olds]),
    )


def alike(old: Version, new: Version) -> tuple[Rig | None, Rig | None, tuple[str, ...]]:
    """Two rigs in one form, and the facts that it does not hold.

    Where one comes out of a scene file, the other is passed through the form of such a file.
    """
    if old.scene == new.scene:
        return old.rig, new.rig, UNHELD if old.scene else ()
    return _as_scene(old), _as_scene(new), UNHELD


def _as_scene(version: Version) -> Rig | None:
    if version.scene or version.settled is None:
        return version.rig
    return held(version.settled)


# ---- files ---------------------------------------------------------------------------------------


def _of_files(written: str, path: Path, sheets: Sequence[Path], *, here: bool) -> Side:
    """A side out of files; `here`: they are those of the work tree, which commands can name."""
    if path.name == cast_file.NAME and path.is_file():
        path = path.parent
    if path.is_dir():
        return _of_cast(written, path, sheets, here=here)
    if path.suffix.lower() == ".json":
        return _of_scene(written, path)
    if path.suffix.lower() == ".somite" or path.is_file():
        if path.suffix.lower() != ".somite":
            message = f'expected a recipe, a scene file or a folder, found "{written}"'
            return Side(written, findings=(SIDE_KIND.at(None, message, help=_HELP),))
        return _of_recipe(written, path, sheets, here=here)
    _, findings = project.read_source(path, written)
    return Side(written, findings=findings)


def _of_cast(written: str, folder: Path, sheets: Sequence[Path], *, here: bool) -> Side:
    path = folder / cast_file.NAME
    if not path.is_file():
        message = f'expected a folder with {cast_file.NAME}, found none in "{written}"'
        return Side(written, findings=(SIDE_KIND.at(None, message, help=_HELP),))
    jobs, findings, source = cast.load(path)
    wanted = {os.path.realpath(one) for one in sheets}
    pairs = [
        (Path(job.recipe), Path(job.sheet))
        for job in jobs
        if not wanted or os.path.realpath(job.sheet) in wanted
    ]
    sources = {source.name: source} if source is not None else {}
    if jobs and not pairs:
        findings = (*findings, _no_sheets(written, "none of these sheets is in its cast"))
    return Side(written, tuple(_compiled(pairs, here=here)), findings, sources, whole_cast=True)


def _of_recipe(written: str, path: Path, sheets: Sequence[Path], *, here: bool) -> Side:
    if not path.is_file():
        _, findings = project.read_source(path, written)
        return Side(written, findings=findings)
    found = list(dict.fromkeys(sheets)) or cast_sheets(path)
    if not found:
        return Side(written, findings=(_no_sheets(written, "no cast lists this recipe"),))
    return Side(written, tuple(_compiled([(path, one) for one in found], here=here)))


def _of_copy(written: str, path: Path, sheets: Sequence[Path]) -> Side:
    """A copy of a recipe that lies somewhere else, with the parts and sheets as they are there."""
    source, findings = project.read_source(Path(written), written)
    if source is None:
        return Side(written, findings=findings)
    found = list(dict.fromkeys(sheets)) or cast_sheets(path)
    if not found:
        return Side(written, findings=(_no_sheets(str(path), "no cast lists this recipe"),))
    desk = Desk()
    desk.lay(path, Source(project.shown(path, project.find_root(path)), source.text))
    return Side(written, tuple(_compiled([(path, one) for one in found], here=False, desk=desk)))


def _no_sheets(written: str, why: str) -> Finding:
    message = f'expected sheets for "{written}", found none: {why}'
    return NO_SHEETS.at(None, message, help="name one: --sheet sheets/heron.toml")


def cast_sheets(recipe: Path) -> list[Path]:
    """The sheets that the cast of a recipe's project lists it with."""
    path = cast_file.found_from(os.path.dirname(recipe) or os.curdir)
    if path is None:
        return []
    jobs, _, _ = cast.load(Path(path))
    return [Path(job.sheet) for job in cast_file.of_recipe(jobs, str(recipe))]


def _compiled(
    pairs: Sequence[tuple[Path, Path]], *, here: bool, desk: Desk | None = None
) -> Iterator[Version]:
    """Each recipe compiled for its sheet."""
    desk = desk or Desk()
    for recipe, sheet_path in pairs:
        made = desk.compile(recipe, sheet_path)
        root = project.find_root(recipe)
        rig = made.rig if made.settled is not None else None
        yield Version(
            rig.character if rig is not None else sheet_path.stem,
            project.shown(recipe, root),
            project.shown(sheet_path, root),
            rig,
            made.settled,
            made.findings,
            made.sources,
            posable=(str(recipe), str(sheet_path)) if here else None,
        )


def _of_scene(written: str, path: Path) -> Side:
    """A scene file, or the IR's own document."""
    source, findings = project.read_source(path, written, limit=8 * project.LIMIT)
    if source is None:
        return Side(written, findings=findings)
    is_document = f'"{document.FORMAT}"' in source.text[:200]
    rig, found = (document.read_rig if is_document else read_scene_rig)(source)
    if rig is None:
        return Side(written, findings=found, sources={source.name: source})
    settled, more = _settled(rig)
    version = Version(
        rig.character,
        written,
        None,
        rig,
        settled,
        tuple(more),
        scene=not is_document,
    )
    return Side(written, (version,), sources={source.name: source})


def _settled(rig: Rig) -> tuple[Settled | None, tuple[Finding, ...]]:
    plan, findings = order.order(rig)
    if plan is None:
        return None, findings
    settled, more = settle.settle(rig, plan)
    return settled, (*findings, *more)


# ---- revisions -----------------------------------------------------------------------------------


def _of_revision(written: str, asked: Asked, sheets: Sequence[str]) -> Side:
    repository = Repository(os.curdir)
    repository.prefix()  # Refuses a folder that is in no repository, before any revision of it.
    commit = repository.commit(asked.revision)
    path = repository.path_in(commit, asked.path)
    with laid_out(repository) as there:
        there.turn_to(commit, project_folder(repository, commit, path))
        if not repository.holds(commit, path):
            message = f'expected a file or folder of that revision, found none at "{written}"'
            help = "write the path from the top of the repository, or from here as REV:./path"
            return Side(written, findings=(SIDE_KIND.at(None, message, help=help),))
        named, notes = _named_sheets(repository, there.folder, sheets, written)
        side = _of_files(written, there.folder / path, named, here=False)
        return replace(side, findings=(*notes, *side.findings))


def _named_sheets(
    repository: Repository, folder: Path, sheets: Sequence[str], written: str
) -> tuple[list[Path], list[Finding]]:
    """Sheets named from here, as they were at the revision; those that were not, as they are."""
    prefix = repository.prefix() if sheets else ""
    found: list[Path] = []
    notes: list[Finding] = []
    for one in sheets:
        then = folder / os.path.normpath(os.path.join(prefix, one))
        if not os.path.isabs(one) and then.is_file():
            found.append(then)
            continue
        message = f'expected "{one}" in "{written}", found it only as it is now, which was taken'
        help = "nothing is wrong if the sheet is new: both sides are measured alike"
        notes.append(SHEET_OF_NOW.at(None, message, help=help))
        found.append(Path(one))
    return found, notes


def broken(side: Side) -> bool:
    """Whether a side has no rig at all, or a mistake in one."""
    return has_errors(side.findings) or any(has_errors(one.findings) for one in side.versions)


def findings_of(side: Side) -> tuple[Finding, ...]:
    """Every finding of a side, each once."""
    every = [*side.findings, *(found for one in side.versions for found in one.findings)]
    return in_order(every)
