"""`somite schema`: the published JSON Schema of a document."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands.arguments import Commands, command, unknown
from somite.report.delivery import CLEAN, put_exactly

FOLDER = os.path.join(os.path.dirname(os.path.dirname(__file__)), "schemas")
ENDING = ".schema.json"


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    schema = command(commands, "schema", help="print the JSON Schema of a document")
    schema.add_argument("document", metavar="NAME", nargs="?", help="such as scene; none: list all")
    schema.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    names = sorted(n.removesuffix(ENDING) for n in os.listdir(FOLDER) if n.endswith(ENDING))
    if options.document is None:
        print("\n".join(names))
        return CLEAN
    if options.document not in names:
        raise unknown("the name of a document", options.document, names)
    with open(os.path.join(FOLDER, options.document + ENDING), encoding="utf-8") as file:
        put_exactly(sys.stdout, file.read())
    return CLEAN
