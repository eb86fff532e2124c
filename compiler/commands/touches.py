"""`somite touches`: which control channels move which joints, and by how much."""

from __future__ import annotations

import argparse

from somite.commands.arguments import Commands, add_one_rig, command


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    touches = command(
        commands,
        "touches",
        help="say which control channels move which joints",
        description="Prints which channels and dials of controls move which joints, by how much at"
        " rest and at most over their range; by control, the strongest first.",
    )
    add_one_rig(touches)
    touches.add_argument("--json", metavar="FILE", help="write it as JSON, too; - is the output")
    touches.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    raise NotImplementedError
