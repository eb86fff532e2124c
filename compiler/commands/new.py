"""`somite new`: a project's folder with a recipe, a sheet and a cast to start from."""

from __future__ import annotations

import argparse
import os

from somite.commands.arguments import Commands, Refused, command
from somite.report.delivery import CLEAN


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    new = command(commands, "new", help="start a project: a recipe, a sheet and a cast")
    new.add_argument("folder", metavar="NAME", help="the folder to make; the recipe is called so")
    new.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    from somite import start
    from somite.builds.write import write_all

    folder = os.path.normpath(options.folder)
    name = start.recipe_name(os.path.basename(os.path.abspath(folder)))
    if name is None:
        raise Refused(f'expected a name that starts with a letter, found "{options.folder}"')
    if os.path.lexists(folder) and (not os.path.isdir(folder) or os.listdir(folder)):
        raise Refused(f'expected a folder that is new or empty, found "{options.folder}"')
    files = {os.path.join(folder, path): text for path, text in start.files(name).items()}
    for path in write_all({path: text.encode("utf-8") for path, text in files.items()}):
        print(f"wrote {path}")
    print(f"next: cd {folder}, then: somite build")
    return CLEAN
