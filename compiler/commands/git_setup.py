"""`somite git-setup`: has git compare and merge recipes by meaning in one repository."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands.arguments import Commands, command
from somite.report.delivery import CLEAN

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

    from somite.git_setup import Done


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    setup = command(
        commands,
        "git-setup",
        help="have git compare and merge recipes by meaning, here",
        description="Tells the git repository of the current folder to compare recipes and scene"
        " files by their outlines, to merge recipes by meaning, and that git difftool -t somite"
        " shows what changed between two rigs. Only the repository's own config and"
        " info/attributes are written; no tracked file is changed.",
    )
    setup.add_argument("--undo", action="store_true", help="take back what it wrote")
    setup.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    from somite import git_setup

    try:
        done = (git_setup.undo if options.undo else git_setup.set_up)(os.curdir)
    except git_setup.SetupError as error:
        return _refused(error)
    if options.undo:
        _say_undone(done)
        return CLEAN
    said = (
        "diff.somite, difftool.somite and merge.somite",
        "how *.somite and *.scene.json are compared, and *.somite merged",
    )
    for one, what in zip(done, said, strict=True):
        print(f"{'wrote' if one.changed else 'unchanged:'} {_shown(one)}: {what}")
    print("take it back with: somite git-setup --undo")
    return CLEAN


def _say_undone(done: Sequence[Done]) -> None:
    for one in done:
        if one.changed:
            gone = "removed" if not one.path.exists() else "took the lines of somite out of"
            print(f"{gone} {_shown(one)}")
    if not any(one.changed for one in done):
        print("nothing to take back")


def _shown(one: Done) -> str:
    """A file's path from here, or whole where it is elsewhere."""
    here = os.path.realpath(os.curdir)
    path = str(one.path)
    return os.path.relpath(path, here) if path.startswith(here + os.sep) else path


def _refused(error: Exception) -> int:
    from somite.git_setup import SetupError
    from somite.report import lines_of
    from somite.report.delivery import Delivery

    assert isinstance(error, SetupError)
    delivery = Delivery("human", None, sys.stderr, os.environ)
    delivery.take([error.finding], lines_of({}))
    return delivery.close()
