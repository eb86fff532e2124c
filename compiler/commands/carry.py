"""`somite carry`: a clip of an old rig as one of a new rig, and what error is left."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands import inputs, written_clip
from somite.commands.arguments import Commands, command
from somite.report.delivery import Delivery

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from somite.settle import Settled


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    carry = command(
        commands,
        "carry",
        help="convert a clip of an old rig to a new one",
        description="Converts a clip that was made on an old rig to a new one: names, units, signs,"
        " choices and old defaults; turns in another order, exactly at keys; controls that hang in"
        " another space, solved again at each frame. Says what cannot be carried, and how far"
        " joints are off. A rig is a recipe with a sheet, a scene file, or REV:path of either in"
        " git.",
    )
    carry.add_argument("clip", metavar="CLIP", help="a table of channels over frames, CSV or JSON")
    carry.add_argument(
        "--from", metavar="OLD", dest="old", required=True, help="the rig it was made on"
    )
    carry.add_argument("--to", metavar="NEW", dest="new", required=True, help="the rig it is for")
    carry.add_argument("--sheet", metavar="SHEET", help="the character's measurements, for recipes")
    carry.add_argument(
        "--every",
        metavar="FRAMES",
        default="1",
        help="how far apart keys are where a control is solved again (default: 1)",
    )
    written_clip.add(carry)
    carry.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    every = written_clip.every_of(options.every)
    delivery = Delivery("human", None, sys.stderr, os.environ)
    rigs = _rigs(options, delivery)
    if rigs is None:
        return delivery.close()
    from somite.carry import carry
    from somite.evaluate import Evaluator
    from somite.report import lines_of
    from somite.report.remaining_form import carried_text

    old, new = (Evaluator(settled) for settled in rigs)
    held = inputs.read_clip(options.clip, old, delivery)
    if held is None:
        return delivery.close()
    made, findings = carry(held, old, new, every)
    written_clip.put(options, made.clip, new, carried_text(made, new.settled.rig))
    delivery.take(findings, lines_of({}))
    return delivery.close()


def _rigs(options: argparse.Namespace, delivery: Delivery) -> tuple[Settled, Settled] | None:
    """The two rigs of one character; where there are none, what is wrong is delivered."""
    from somite import sides
    from somite.carry import CARRY_SIDES
    from somite.report import lines_of

    sheets = [] if options.sheet is None else [options.sheet]
    loaded = [sides.load(written, sheets) for written in (options.old, options.new)]
    for side in loaded:
        if sides.broken(side):
            sources = dict(side.sources)
            for version in side.versions:
                sources.update(version.sources)
            delivery.take(sides.findings_of(side), lines_of(sources))
    if any(sides.broken(side) for side in loaded):
        return None
    pairs = sides.paired(*loaded).pairs
    settled = [(a.settled, b.settled) for a, b in pairs if a.settled and b.settled]
    if len(pairs) != 1 or len(settled) != 1:
        delivery.take(
            [
                CARRY_SIDES.at(
                    None,
                    f"expected one character on both sides, found {len(pairs)}",
                    help="name its sheet: --sheet sheets/heron.toml",
                )
            ],
            lines_of({}),
        )
        return None
    (a, b) = settled[0]
    assert a is not None and b is not None
    return a, b
