"""`somite match`: a dial switched over some frames of a clip, without a jump."""

from __future__ import annotations

import argparse
import os
import re
import sys

from somite.commands import inputs, written_clip
from somite.commands.arguments import Commands, Refused, command
from somite.report.delivery import Delivery

_FRAMES = r"(?:[+-]?\d{1,7})?"


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
    written_clip.add(match)
    match.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    for one in options.dials:
        if "=" not in one:
            raise Refused(f'expected CONTROL.DIAL=VALUE, found "{one}"')
    ends, every = frames_of(options.at), written_clip.every_of(options.every)
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
        written_clip.put(options, made.clip, evaluator, report)
    delivery.take(findings, lines_of({}))
    return delivery.close()


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
