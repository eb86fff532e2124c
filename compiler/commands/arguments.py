"""Arguments that several commands take, and how help is laid out.

What comes in is a parser under way or the options it gave; what goes out is the parser with more
arguments, or what the options mean. A command that cannot be carried out as it was asked for raises
`Refused`; nothing here carries one out.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterable

from somite.report import FORMS
from somite.report.delivery import Delivery

Commands = argparse._SubParsersAction  # the type has no public name


MOST_LISTED = 30
"""How many names a refusal lists where none of them is near."""


class Refused(Exception):
    """A command that cannot be carried out as it was asked for; says what was expected."""


def formatter(prog: str) -> argparse.HelpFormatter:
    """Help as wide as the terminal, within reason; told its width, it imports nothing to ask."""
    try:
        columns = os.get_terminal_size(sys.stdout.fileno()).columns
    except (OSError, ValueError, AttributeError):
        columns = 80
    return argparse.HelpFormatter(prog, width=min(max(columns - 2, 40), 100))


def command(
    commands: Commands[argparse.ArgumentParser],
    name: str,
    help: str,
    description: str | None = None,
) -> argparse.ArgumentParser:
    """A new command with a line of help, and a longer description where it needs one."""
    return commands.add_parser(
        name,
        help=help,
        description=description or f"{help[0].upper()}{help[1:]}.",
        allow_abbrev=False,
        formatter_class=formatter,
    )


def add_inputs(parser: argparse.ArgumentParser) -> None:
    """A recipe and any number of sheets; a command may do with the cast instead."""
    parser.add_argument("recipe", metavar="RECIPE", nargs="?", help="a .somite file")
    parser.add_argument(
        "--sheet",
        metavar="SHEET",
        action="append",
        default=[],
        help="a character's measurements (repeat it for more)",
    )


def add_one_rig(parser: argparse.ArgumentParser) -> None:
    """A recipe and one sheet, both needed."""
    parser.add_argument("recipe", metavar="RECIPE", help="a .somite file")
    parser.add_argument(
        "--sheet", metavar="SHEET", required=True, help="the character's measurements"
    )


def add_findings(parser: argparse.ArgumentParser) -> None:
    """How findings are written, and where they go."""
    parser.add_argument("--format", choices=FORMS, default="human", help="how findings are written")
    parser.add_argument(
        "--findings", metavar="FILE", help="where findings go (default: the error stream)"
    )


def delivery(options: argparse.Namespace) -> Delivery:
    """Where the findings of a command that took `add_findings` go."""
    return Delivery(options.format, options.findings, sys.stderr, os.environ)


def unknown(what: str, name: str, known: Iterable[str]) -> Refused:
    """The refusal of a name that is none of those known, with the nearest that is, or with all."""
    from somite.findings import nearest

    names = sorted(known)
    close = nearest(name, names)
    also = ""
    if close:
        also = f'; did you mean "{close}"?'
    elif len(names) <= MOST_LISTED:
        also = f" (there are: {', '.join(names)})"
    return Refused(f'expected {what}, found "{name}"{also}')
