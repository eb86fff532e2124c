"""`somite explain`: what a finding means, with examples."""

from __future__ import annotations

import argparse
import sys

from somite.commands.arguments import Commands, command, unknown
from somite.report.delivery import CLEAN, put_exactly


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    explain = command(commands, "explain", help="say what a finding means, with examples")
    explain.add_argument(
        "code", metavar="CODE", nargs="?", help="as in error[CODE]; none: list all"
    )
    explain.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    from somite import explain

    pages = explain.pages()
    if options.code is None:
        put_exactly(sys.stdout, explain.listing(pages))
        return CLEAN
    page = pages.get(options.code)
    if page is None:
        raise unknown("the code of a finding", options.code, pages)
    put_exactly(sys.stdout, page)
    return CLEAN
