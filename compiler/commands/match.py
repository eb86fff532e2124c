"""`somite match`: a dial switched over some frames of a clip, without a jump."""

from __future__ import annotations

import argparse
import os
import re
import sys

from somite.commands import inputs
from somite.commands.arguments import Commands, Refused, command
from somite.report.delivery import Delivery, put_exactly, put_file

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from somite.clip import Clip
    from somite.evaluate import Evaluator

FORMS = ("csv", "json")
_FRAMES = r"(?:[+-]?\d{1,7})?"
_MOST = 1000
"""Solved frames to a frame, at most."""


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    match = command(
        commands,
        "match",
        help="switch a dial over frames of a clip, without a jump",
        description="Writes a clip in which a dial has another value over some frames, and what"
        " is seen stays where it was: the controls that answer for it have keys at each of these"
        " frames. The error that remains is measured, at keys and between, and printed.",
    )
    match.add_argument("clip", metavar="CLIP", help="a table of channels over frames, CSV or JSON")
    match.add_argument("--recipe", metavar="RECIPE", required=True, help="a .somite file")
    match.add_argument(
        "--sheet", metavar="SHEET", required=True, help="the character's measurements"
    )
    match.add_argument(
        "--dial",
        metavar="CONTROL.DIAL=VALUE",
        dest="dials",
        action="append",
        required=True,
        help="the dial and its new value, such as hand.space=chest or hand.mix=0 (repeat it)",
    )
    match.add_argument(
        "--at",
        metavar="FRAME..FRAME",
        default="..",
        help="the frames, both among them; an end may be left out (default: the whole clip)",
    )
    match.add_argument(
        "--every",
        metavar="FRAMES",
        default="1",
        help="how far apart keys are; a fraction brings what lies between nearer (default: 1)",
    )
    add_written_clip(match)
    match.set_defaults(command=run)


def add_written_clip(parser: argparse.ArgumentParser) -> None:
    """Where a clip goes, and in which form."""
    parser.add_argument("--format", choices=FORMS, help="default: by the name of the file")
    parser.add_argument(
        "-o", "--out", metavar="FILE", help="where the clip goes (default: the output)"
    )


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    for one in options.dials:
        if "=" not in one:
            raise Refused(f'expected CONTROL.DIAL=VALUE, found "{one}"')
    ends, every = frames_of(options.at), every_of(options.every)
    delivery = Delivery("human", None, sys.stderr, os.environ)
    settled = inputs.settled_rig(options.recipe, options.sheet, delivery)
    if settled is None:
        return delivery.close()
    from somite.evaluate import Evaluator, PoseError
    from somite.matching import Span, match
    from somite.posing import settings_from
    from somite.report import lines_of

    evaluator = Evaluator(settled)
    held = inputs.read_clip(options.clip, evaluator, delivery)
    if held is None:
        return delivery.close()
    try:
        dials = settings_from(options.dials, evaluator)
    except PoseError as error:
        delivery.take(error.findings, lines_of({}))
        return delivery.close()
    made, findings = match(held, evaluator, dials, Span(*ends), every)
    if made is not None:
        from somite.report.remaining_form import remaining_text

        report = remaining_text(made.left, made.because, settled.rig)
        put_clip(options, made.clip, evaluator, report)
    delivery.take(findings, lines_of({}))
    return delivery.close()


def put_clip(options: argparse.Namespace, clip: Clip, evaluator: Evaluator, report: str) -> None:
    """Write a clip where it was asked for, and what is said of it where the clip does not go."""
    from somite.clip_text import clip_text

    named = options.clip if options.out is None else options.out
    form = options.format or ("json" if named.endswith(".json") else "csv")
    text = clip_text(clip, evaluator.settled.rig, evaluator.channels, form)
    if options.out is None:
        put_exactly(sys.stdout, text)
        print(report, end="", file=sys.stderr)
    else:
        put_file(options.out, text)
        print(report, end="")
        print(f"wrote {options.out}")


def frames_of(text: str) -> tuple[float | None, float | None]:
    """The frames of "8..20", "8..", "..20" or "8"; None is an open end. Refused for others."""
    found = re.fullmatch(rf"({_FRAMES})(?:(\.\.)({_FRAMES}))?", text.strip())
    if found is None or not text.strip():
        raise Refused(f'expected frames such as 8..20, found "{text}"')
    first, dots, last = found.groups()
    low = float(first) if first else None
    if not dots:
        return low, low
    high = float(last) if last else None
    if low is not None and high is not None and high < low:
        raise Refused(f'expected frames that rise, found "{text}"')
    return low, high


def every_of(text: str) -> float:
    """How far apart keys are. Refused where it is no number from a thousandth to a thousand."""
    try:
        every = float(text)
    except ValueError:
        every = 0.0
    if not 1.0 / _MOST <= every <= _MOST:
        raise Refused(f'expected frames from key to key above 0, found "{text}"')
    return every
