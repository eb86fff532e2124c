"""The command line: arguments in, an exit status out.

The commands are in `somite.commands`, one a file; here they are put together and kept from failing
in a way that a person should not see.

Exit status: 0 clean, 1 findings of error severity, 2 wrong usage or input that cannot be read, 70 a
mistake of Somite's own, 130 interrupted, 141 nobody reads the output any more.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Callable, Sequence

from somite.commands import (
    build,
    carry,
    check,
    diff,
    draw,
    explain,
    fmt,
    git_setup,
    log,
    match,
    merge,
    new,
    outline,
    parts,
    pose,
    schema,
    sheet,
    touches,
)
from somite.commands.arguments import Refused, formatter
from somite.commands.collecting import collect_again
from somite.report.delivery import BUG, ENDED, INTERRUPTED, PIPE_CLOSED, USAGE
from somite.report.terminal import forgiving
from somite.version import VERSION

COMMANDS = (
    new,
    sheet,
    build,
    check,
    pose,
    match,
    carry,
    draw,
    touches,
    diff,
    log,
    parts,
    explain,
    fmt,
    merge,
    outline,
    git_setup,
    schema,
)
"""The commands, in the order in which help lists them."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs a command and returns the exit status. Never raises for what a user can bring about."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # It was closed before the start.
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        forgiving(getattr(sys, name))
    try:
        options = parser().parse_args(arguments)
        status = _carried_out(options)
        if status in (INTERRUPTED, ENDED):
            _interrupt_dealt_with()
        sys.stdout.flush()
        return status
    except BrokenPipeError:
        _silence()
        return PIPE_CLOSED
    except OSError as error:
        _silence()
        print(f"somite: the output could not be written: {error.strerror}", file=sys.stderr)
        return USAGE
    except KeyboardInterrupt:
        _interrupt_dealt_with()
        return INTERRUPTED


def _carried_out(options: argparse.Namespace) -> int:
    command: Callable[[argparse.Namespace], int] = options.command
    collecting = gc.isenabled()
    # Imports and one build make many objects and hardly any garbage: looking for it is wasted.
    gc.disable()
    try:
        return command(options)
    except Refused as refusal:
        print(f"somite {options.name}: {refusal}", file=sys.stderr)
        return USAGE
    except BrokenPipeError:
        raise
    except OSError as error:
        place = f": {error.filename}" if error.filename else ""
        print(f"somite {options.name}: {error.strerror or error}{place}", file=sys.stderr)
        return USAGE
    except Exception as error:
        from somite.report.bug import bug, details
        from somite.report.human import human_text

        print(details(error, os.environ), file=sys.stderr, end="")
        text = human_text([bug(f'carried out "somite {options.name}"')], lambda file, line: None)
        print(text, file=sys.stderr, end="")
        return BUG
    finally:
        if collecting:
            collect_again()


def _interrupt_dealt_with() -> None:
    """Has Python exit with our status after an interrupt.

    CPython notes an interrupt that leaves code run from a text (as dataclasses and templates have
    it run), even if it is caught further out, and then ends as if by the signal. The next code that
    is run from a text takes the note away.
    """
    exec("")


def _silence() -> None:
    """Points the streams at nothing, so that Python has no closed pipe to complain about."""
    nothing = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            os.dup2(nothing, stream.fileno())


def parser() -> argparse.ArgumentParser:
    """The arguments of every command."""
    top = argparse.ArgumentParser(
        prog="somite",
        description="Compiles rig recipes: one recipe and a sheet of measurements a character in,"
        " a scene graph and build instructions out.",
        epilog="Start with: somite new heron",
        allow_abbrev=False,
        formatter_class=formatter,
    )
    top.add_argument("--version", action="version", version=f"somite {VERSION}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", dest="name", required=True)
    for command in COMMANDS:
        command.add(commands)
    return top
