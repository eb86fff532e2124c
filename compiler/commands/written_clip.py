"""The clip that a command writes: the options for it, and putting it out.

What comes in is options and a clip; what goes out is a table in a file or on the output, and a
report where the table does not go. Nothing here makes a clip.
"""

from __future__ import annotations

import argparse
import sys

from somite.commands.arguments import Refused
from somite.report.delivery import put_result

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from somite.clip import Clip
    from somite.evaluate import Evaluator

FORMS = ("csv", "json")
_MOST = 1000
"""Solved frames to a frame, at most."""


def add(parser: argparse.ArgumentParser) -> None:
    """Where a clip goes, and in which form."""
    parser.add_argument("--format", choices=FORMS, help="default: by the name of the file")
    parser.add_argument(
        "-o", "--out", metavar="FILE", help="where the clip goes (default: the output)"
    )


def put(options: argparse.Namespace, clip: Clip, evaluator: Evaluator, report: str) -> None:
    """Write a clip where it was asked for, and what is said of it where the clip does not go.

    Raises OSError for the file.
    """
    from somite.clip_text import clip_text

    named = options.clip if options.out is None else options.out
    form = options.format or ("json" if named.endswith(".json") else "csv")
    text = clip_text(clip, evaluator.settled.rig, evaluator.channels, form)
    print(report, end="", file=sys.stderr if options.out is None else sys.stdout)
    put_result(options.out, text)


def every_of(text: str) -> float:
    """How many frames apart keys are. Refused where it is none from a thousandth to a thousand."""
    try:
        every = float(text)
    except ValueError:
        every = 0.0
    if not 1.0 / _MOST <= every <= _MOST:
        raise Refused(
            f'expected frames from key to key, from {1.0 / _MOST:g} to {_MOST}, found "{text}"'
        )
    return every
