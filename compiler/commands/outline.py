"""`somite outline`: what one file says, in a form that a comparison of lines can use."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands.arguments import Commands, command
from somite.report.delivery import CLEAN, USAGE


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    outline = command(
        commands,
        "outline",
        help="print what a recipe or scene says, a fact a line",
        description="Prints what a recipe, a file of parts or a scene file says: one fact a line,"
        " in an order of its own, without comments. git compares these outlines once somite"
        " git-setup was run. A file that cannot be read as one is printed as it is.",
    )
    outline.add_argument("file", metavar="FILE", help="a recipe, parts or a scene file")
    outline.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    from pathlib import Path

    from somite import project
    from somite.outline import outlined

    content, findings = project.read_bytes(Path(options.file), options.file)
    if content is None and {one.code for one in findings} == {project.FILE_TOO_BIG.slug}:
        # git wants an answer, whatever the size.
        content = Path(options.file).read_bytes()
    if content is None:
        from somite.report import lines_of
        from somite.report.delivery import Delivery

        delivery = Delivery("human", None, sys.stderr, os.environ)
        delivery.take(findings, lines_of({}))
        return max(delivery.close(), USAGE)
    text = content if len(content) > project.LIMIT else outlined(content, options.file)
    sys.stdout.flush()
    sys.stdout.buffer.write(text)
    sys.stdout.buffer.flush()
    return CLEAN
