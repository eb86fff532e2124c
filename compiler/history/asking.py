"""What is asked of a history: a recipe, a sheet, and one thing of it or all.

In come the words of a command, out goes a `Question` whose paths are those of the newest revision,
or a finding. Nothing here goes back in history.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from somite.findings import Code, Finding
from somite.revisions import GitError, Repository, asked_in, laid_out, project_folder
from somite.sides import NO_SHEETS, cast_sheets

NO_HISTORY = Code("no-history")


class HistoryError(Exception):
    """The history cannot be told; `finding` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


@dataclass(frozen=True, slots=True)
class Question:
    """Where to begin, and what is asked of it.

    `recipe` and `sheet` are paths from the repository's top at that revision; `name` is what is
    asked for, as it was written, or None for the whole rig; `since` is a day.
    """

    repository: Repository
    revision: str
    recipe: str
    sheet: str
    name: str | None = None
    since: str | None = None


def asked(
    written: str, sheet: str | None, name: str | None = None, since: str | None = None
) -> Question:
    """The question. Raises HistoryError."""
    asked_for = asked_in(written)
    folder = os.curdir
    if asked_for is None and os.path.isdir(os.path.dirname(written) or os.curdir):
        # Ask the repository that the recipe is in, which may be one inside that of this folder.
        folder = os.path.dirname(written) or os.curdir
    repository = Repository(os.path.realpath(folder))
    try:
        prefix = repository.prefix()
        revision = repository.commit(asked_for.revision if asked_for else "HEAD")
        if asked_for:
            recipe = repository.path_in(revision, asked_for.path)
        else:
            recipe = os.path.normpath(prefix + os.path.basename(written)).replace(os.sep, "/")
        if not recipe.lower().endswith(".somite") or not repository.holds(revision, recipe):
            raise HistoryError(_none(written, asked_for is None))
        found = _sheet(repository, revision, recipe, sheet, written)
    except GitError as error:
        raise HistoryError(error.finding) from None
    return Question(repository, revision, recipe, found, name, since)


def _none(written: str, here: bool) -> Finding:
    message = f'expected a recipe with a history, found none at "{written}"'
    help = (
        "commit it first: history is what git knows" if here else "name it as REV:path/NAME.somite"
    )
    return NO_HISTORY.at(None, message, help=help)


def _sheet(
    repository: Repository, revision: str, recipe: str, sheet: str | None, written: str
) -> str:
    """The sheet's path at the revision: the one named, or the first of the recipe's cast."""
    if sheet is not None:
        top = repository.git("rev-parse", "--show-toplevel").stdout
        whole = os.path.realpath(sheet)
        path = os.path.relpath(whole, os.path.realpath(os.fsdecode(top.rstrip(b"\n"))))
        path = path.replace(os.sep, "/")
        if not repository.holds(revision, path):
            path = repository.path_in(revision, sheet)
        if repository.holds(revision, path) and not repository.is_folder(revision, path):
            return path
        message = f'expected a sheet that git knows, found none at "{sheet}"'
        raise HistoryError(NO_SHEETS.at(None, message, help="name one of that revision"))
    with laid_out(repository) as there:
        there.turn_to(revision, project_folder(repository, revision, recipe))
        found = cast_sheets(there.folder / recipe)
        inside = [Path(os.path.realpath(one)) for one in found]
        kept = [one.relative_to(there.folder) for one in inside if one.is_relative_to(there.folder)]
    if not kept:
        message = f'expected a sheet for "{written}", found none: no cast lists this recipe'
        help = "name one: --sheet sheets/heron.toml"
        raise HistoryError(NO_SHEETS.at(None, message, help=help))
    return kept[0].as_posix()
