"""`somite pose`: where everything stands with these channels, for one pose or along a clip."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands import chosen_pose, inputs
from somite.commands.arguments import Commands, Refused, add_one_rig, command
from somite.report.delivery import Delivery, put_result

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from somite.evaluate import Evaluator, Posed

FORMS = ("table", "json", "csv")


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    pose = command(
        commands,
        "pose",
        help="pose a rig, and print where everything stands",
        description="Poses a rig and prints its joints, controls and curves, in the recipe's unit."
        " Values may bring a unit; without one, lengths are in the recipe's and angles in degrees."
        " What is set comes over a clip, and a clip over named poses.",
    )
    add_one_rig(pose)
    chosen_pose.add(pose)
    pose.add_argument("--clip", metavar="FILE", help="a table of channels over frames, CSV or JSON")
    pose.add_argument(
        "--mirror", action="store_true", help="change left and right over in the clip"
    )
    pose.add_argument("--format", choices=FORMS, default="table", help="default: table")
    pose.add_argument(
        "-o", "--out", metavar="FILE", help="where the result goes (default: the output)"
    )
    pose.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    chosen_pose.refuse_ill(options)
    if options.mirror and options.clip is None:
        raise Refused("expected a clip to mirror: --clip FILE")
    delivery = Delivery("human", None, sys.stderr, os.environ)
    settled = inputs.settled_rig(options.recipe, options.sheet, delivery)
    if settled is None:
        return delivery.close()
    from somite.evaluate import Evaluator

    made = _posed(options, Evaluator(settled), delivery)
    if made is not None:
        posed, frames = made
        text = _text(posed, frames, options.format)
        put_result(options.out, text)
    return delivery.close()


def _posed(
    options: argparse.Namespace, evaluator: Evaluator, delivery: Delivery
) -> tuple[Posed, Sequence[float] | None] | None:
    """The rig as it was asked for, with the frames of a clip; None where something is wrong."""
    chosen = chosen_pose.channels(options, evaluator, delivery)
    sampled: tuple[Sequence[float] | None, dict[str, Any]] | None = (None, {})
    if options.clip is not None:
        sampled = _sampled(options, evaluator, delivery)
    if chosen is None or sampled is None:
        return None
    (named, settings), (frames, values) = chosen, sampled
    posed = chosen_pose.posed({**named, **values, **settings}, evaluator, delivery)
    return None if posed is None else (posed, frames)


def _sampled(
    options: argparse.Namespace, evaluator: Evaluator, delivery: Delivery
) -> tuple[Sequence[float] | None, dict[str, Any]] | None:
    """The frames of a clip and its channels at them; None where it cannot be read."""
    from somite import clip

    held = inputs.read_clip(options.clip, evaluator, delivery)
    if held is None:
        return None
    if options.mirror:
        held = clip.mirrored(held, evaluator.settled.rig)
    frames = held.frames
    return (frames.tolist(), held.sampled(frames)) if len(frames) else (None, {})


def _text(posed: Posed, frames: Sequence[float] | None, form: str) -> str:
    from somite.report import poses

    if form == "json":
        return poses.json_text(posed)
    if form == "csv":
        return poses.csv_text(posed, [1.0] if frames is None else frames)
    return poses.table_text(posed, frames)
