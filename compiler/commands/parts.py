"""`somite parts`: what the parts of the library, or of a file, need and offer."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands.arguments import Commands, Refused, command, unknown
from somite.report.delivery import CLEAN, Delivery, put_exactly


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    parts = command(
        commands,
        "parts",
        help="say what a part needs and offers",
        description="Prints the page of a part of the library, or of every part of a file of your"
        " own: what it needs, what it offers, its sockets, dials and promises.",
    )
    parts.add_argument(
        "part",
        metavar="PART",
        nargs="?",
        help="a part of the library, or a file of parts; none: list the library",
    )
    parts.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    from somite import guide

    if options.part is not None and options.part.endswith(".somite"):
        return _of_file(options.part)
    known = guide.library_parts()
    if options.part is None:
        put_exactly(sys.stdout, guide.listing(known))
        return CLEAN
    if options.part not in known:
        raise unknown("a part of the library", options.part, known)
    put_exactly(sys.stdout, guide.page(known[options.part]))
    return CLEAN


def _of_file(name: str) -> int:
    from pathlib import Path

    from somite import guide, project
    from somite.report import lines_of

    delivery = Delivery("human", None, sys.stderr, os.environ)
    source, findings = project.read_source(Path(name))
    if source is None:
        delivery.take(findings, lines_of({}))
        return delivery.close()
    found, findings = guide.parts_in(source)
    if not found and not findings:
        raise Refused(f'expected a part in "{name}", found none (a part begins with: part NAME)')
    delivery.take(findings, lines_of({source.name: source}))
    put_exactly(sys.stdout, "\n".join([guide.page(part) for part in found]))
    return delivery.close()
