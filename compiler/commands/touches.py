"""`somite touches`: which control channels move which joints, and by how much."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands import inputs
from somite.commands.arguments import Commands, add_one_rig, command
from somite.report.delivery import Delivery, put_exactly, put_file


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    touches = command(
        commands,
        "touches",
        help="say which control channels move which joints",
        description="Prints which channels and dials of controls move which joints: how much at"
        " rest for each unit of the channel, and how much at most over its range. By control, the"
        " strongest joint of a channel first.",
    )
    add_one_rig(touches)
    touches.add_argument(
        "--json", metavar="FILE", help="write it as JSON, too; - prints JSON in place of the table"
    )
    touches.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    delivery = Delivery("human", None, sys.stderr, os.environ)
    settled = inputs.settled_rig(options.recipe, options.sheet, delivery)
    if settled is None:
        return delivery.close()
    from somite.report.touches_form import document, json_text, table_text
    from somite.touches import touches

    made = document(touches(settled), settled.rig)
    if options.json == "-":
        put_exactly(sys.stdout, json_text(made))
    else:
        put_exactly(sys.stdout, table_text(made))
        if options.json is not None:
            put_file(options.json, json_text(made))
    return delivery.close()
