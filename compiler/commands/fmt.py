"""`somite fmt`: recipes in their canonical form."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands.arguments import Commands, add_findings, command, delivery
from somite.commands.collecting import collect_again
from somite.report.delivery import CLEAN, FOUND, put_exactly

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import TextIO

    from somite.tidy import Tidied


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    fmt = command(
        commands,
        "fmt",
        help="rewrite recipes in their canonical form",
        description="Rewrites recipes in their canonical form. Comments stay, the meaning does not"
        " change. Without files: every recipe below the current folder.",
    )
    fmt.add_argument("files", metavar="FILE", nargs="*", help="recipes or folders; - is the input")
    fmt.add_argument("--check", action="store_true", help="write nothing; status 1 if any changes")
    fmt.add_argument("--diff", action="store_true", help="write nothing; show what would change")
    add_findings(fmt)
    fmt.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    from somite import tidy
    from somite.format import formatted
    from somite.report import lines_of

    findings = delivery(options)
    changes = False
    for path in tidy.recipes(options.files or [os.curdir]):
        if path == "-":
            done = tidy.tidied_bytes(path, "<input>", sys.stdin.buffer.read(), formatted)
        else:
            done = tidy.tidied(path, formatted)
        findings.take(
            done.findings, lines_of({done.source.name: done.source} if done.source else {})
        )
        changes = changes or done.changed
        _put(done, options, sys.stdout)
        collect_again()
    sys.stdout.flush()
    return max(findings.close(), FOUND if options.check and changes else CLEAN)


def _put(done: Tidied, options: argparse.Namespace, stream: TextIO) -> None:
    """Writes a formatted recipe to where it belongs, or says what would be written."""
    from somite import tidy
    from somite.builds.write import write_all

    if options.diff:
        put_exactly(stream, tidy.difference(done))
    elif options.check:
        if done.changed:
            print(f"would rewrite {done.path}", file=stream)
    elif done.text is not None and done.path == "-":
        put_exactly(stream, done.text)
    elif done.text is not None and done.changed:
        write_all({done.path: done.text.encode("utf-8")})
        print(f"rewrote {done.path}", file=stream)
