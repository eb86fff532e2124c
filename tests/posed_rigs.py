"""Rigs to pose, and random channels for them, for the tests of the evaluator."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from somite import order, pipeline, settle
from somite.evaluate import Evaluator

TREE = Path(__file__).parents[1]
EXERCISES = TREE / "tests" / "cases" / "exercises"
NAMES = ("arm", "eyes", "foot", "simple_back", "space_choice", "tail", "thirty_legs")
MOVE, TURN = 0.1, 0.6
"""How far random poses move (in heights) and turn (radians)."""


@cache
def exercise(name: str) -> Evaluator:
    """The evaluator of one of the exercises, or of the shipped upright recipe."""
    if name == "upright":
        recipe, sheet = TREE / "recipes/upright.somite", TREE / "recipes/sheets/tansy_heron.toml"
    else:
        recipe, sheet = EXERCISES / f"{name}.somite", EXERCISES / f"{name}.toml"
    compiled = pipeline.compile(recipe, sheet)
    assert compiled.settled is not None, compiled.findings
    return Evaluator(compiled.settled)


def evaluator_of(rig) -> Evaluator:
    """The evaluator of a rig made by hand."""
    plan, findings = order.order(rig)
    assert plan is not None, findings
    settled, findings = settle.settle(rig, plan)
    assert settled is not None, findings
    return Evaluator(settled)


def text(recipe: str, sheet: str = "") -> Evaluator:
    """The evaluator of a recipe's text; the head and the sheet's are added."""
    head = "recipe stall\n  units cm\n  axes up +Y front +Z\n"
    top = 'character = "pip"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
    compiled = pipeline.compile_text(head + recipe, top + sheet)
    assert compiled.settled is not None, compiled.findings
    return Evaluator(compiled.settled)


def free_channels(evaluator: Evaluator, sizes: bool = False) -> list[str]:
    """Channels of controls, and dials, that an animator may set."""
    controls = {node.name for node in evaluator.settled.rig.nodes if node.kind == "control"}
    parts = ("move", "turn", "size", "dial") if sizes else ("move", "turn", "dial")
    return [
        name
        for name, channel in evaluator.channels.items()
        if channel.node in controls
        and channel.part in parts
        and not channel.locked
        and not channel.driven
    ]


def random_pose(evaluator: Evaluator, seed: int, poses: int, *, sizes: bool = False, skip=()):
    """Random values of every free channel, within limits: {name: (poses,)}."""
    draw = np.random.default_rng(seed)
    height = evaluator.settled.rig.height
    found = {}
    for name in free_channels(evaluator, sizes):
        channel = evaluator.channels[name]
        if channel.node in skip:
            continue
        if channel.options:
            found[name] = draw.integers(0, len(channel.options), poses).astype(float)
            continue
        if channel.part == "move":
            value = draw.uniform(-MOVE, MOVE, poses) * height
        elif channel.part == "size":
            value = draw.uniform(0.5, 2.0, poses)
        elif channel.part == "turn":
            value = draw.uniform(-TURN, TURN, poses)
        else:
            low, high = max(channel.low, -2.0), min(channel.high, 2.0)
            value = draw.uniform(low, high, poses)
        found[name] = np.clip(value, channel.low, channel.high)
    return found


def carrier(evaluator: Evaluator) -> str:
    """The control that carries all."""
    return next(node.name for node in evaluator.settled.rig.nodes if node.carries_all)
