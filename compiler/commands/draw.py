"""`somite draw`: a picture of a rig, at rest or in a pose, from the front, the side or above."""

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

    from somite.drawing import View
    from somite.settle import Settled

VIEWS = ("front", "side", "top")
HEIGHT = 420
SMALLEST, LARGEST = 50, 10_000
NAMES = ("controls", "joints", "all", "none")


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    draw = command(
        commands,
        "draw",
        help="draw a rig as an SVG picture",
        description="Draws a rig's bones, joints, curves and controls in views side by side, at"
        " rest or in a pose; a pose is drawn over the rest, which is dashed, and without what is"
        " hidden in it.",
    )
    add_one_rig(draw)
    chosen_pose.add(draw)
    draw.add_argument(
        "--view",
        metavar="VIEW",
        dest="views",
        action="append",
        choices=VIEWS,
        default=[],
        help="front, side or top (repeat it; default: front and side)",
    )
    draw.add_argument(
        "--names", choices=NAMES, default="controls", help="what is named (default: controls)"
    )
    draw.add_argument(
        "--height", type=int, default=HEIGHT, help=f"pixels from top to ground (default: {HEIGHT})"
    )
    draw.add_argument(
        "-o", "--out", metavar="FILE", help="where the picture goes (default: the output)"
    )
    draw.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    chosen_pose.refuse_ill(options)
    if not SMALLEST <= options.height <= LARGEST:
        raise Refused(f"expected a height from {SMALLEST} to {LARGEST}, found {options.height}")
    delivery = Delivery("human", None, sys.stderr, os.environ)
    settled = inputs.settled_rig(options.recipe, options.sheet, delivery)
    if settled is None:
        return delivery.close()
    text = _drawn(settled, options, delivery)
    if text is not None:
        put_result(options.out, text)
    return delivery.close()


def _drawn(settled: Settled, options: argparse.Namespace, delivery: Delivery) -> str | None:
    """The picture that was asked for; None where something is wrong."""
    from somite.axes import Axes
    from somite.drawing import picture, solved_only, strokes_of

    strokes = strokes_of(settled)
    out_of_sight = solved_only(settled.rig)
    more: dict[str, Any] = {}
    if options.poses or options.settings:
        from somite.drawing import at_pose, unseen
        from somite.evaluate import Evaluator

        evaluator = Evaluator(settled)
        chosen = chosen_pose.channels(options, evaluator, delivery)
        if chosen is None:
            return None
        posed = chosen_pose.posed({**chosen[0], **chosen[1]}, evaluator, delivery)
        if posed is None:
            return None
        out_of_sight = unseen(posed)
        more["before"] = [stroke for stroke in strokes if stroke.name not in out_of_sight]
        strokes = strokes_of(settled, *at_pose(posed))
    rig = settled.rig
    views: Sequence[View] = tuple(dict.fromkeys(options.views)) or ("front", "side")
    return picture(
        [stroke for stroke in strokes if stroke.name not in out_of_sight],
        Axes(rig.up, rig.front),
        title=f"{rig.recipe} for {rig.character}",
        views=views,
        height=float(options.height),
        names=_names(settled, options.names, out_of_sight),
        **more,
    )


def _names(settled: Settled, wanted: str, out_of_sight: frozenset[str]) -> dict[str, str]:
    kinds = {"controls": ("control",), "joints": ("joint",), "all": ("control", "joint")}
    return {
        node.name: node.name
        for node in settled.rig.nodes
        if node.kind in kinds.get(wanted, ()) and node.name not in out_of_sight
    }
