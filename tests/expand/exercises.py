"""The seven exercises, compiled once, and small ways of asking what came of them."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
from cases_runner import EXERCISES

from somite import pipeline
from somite.ir import Constraint, Feed, Node, Rig
from somite.settle import Settled
from somite.sheet import read
from somite.text import Source

Matrix = npt.NDArray[np.float64]

BUILDS = (
    ("simple_back", "simple_back"),
    ("arm", "arm"),
    ("foot", "foot"),
    ("space_choice", "space_choice"),
    ("thirty_legs", "thirty_legs"),
    ("thirty_legs", "thirty_legs_twelve"),
    ("tail", "tail"),
    ("eyes", "eyes"),
)
"""Each exercise with its sheets."""


def recipe_text(name: str) -> str:
    """The text of an exercise."""
    return (EXERCISES / f"{name}.somite").read_text(encoding="utf-8")


def sheet_text(name: str) -> str:
    """The text of an exercise's sheet."""
    return (EXERCISES / f"{name}.toml").read_text(encoding="utf-8")


def compiled(recipe: str, sheet: str) -> Settled:
    """A settled rig from texts; both must be without findings."""
    place = Path("exercise.somite")
    text, findings = pipeline.read_text(Source(place.name, recipe), place, None)
    character, more = read(Source("exercise.toml", sheet))
    assert text is not None and character is not None, (*findings, *more)
    made = pipeline.compile_rig(text, character)
    assert (*made.findings, *more) == ()
    assert made.settled is not None
    return made.settled


@cache
def exercise(name: str, sheet: str | None = None) -> Settled:
    """An exercise built for its sheet, or for another."""
    return compiled(recipe_text(name), sheet_text(sheet or name))


@cache
def symmetric_arm() -> Rig:
    """The arm for its apprentice before she hurt the right one: left landmarks only."""
    lines = []
    for line in sheet_text("arm").splitlines():
        head, found, rest = line.partition("{ left = ")
        lines.append(head + rest.partition("]")[0] + "]" if found else line)
    return compiled(recipe_text("arm"), "\n".join(lines)).rig


def names(rig: Rig, kind: str | None = None) -> list[str]:
    """The names of a rig's nodes, of one kind or all."""
    return [node.name for node in rig.nodes if kind in (None, node.kind)]


def constraint(rig: Rig, name: str) -> Constraint:
    """The constraint of a name."""
    return next(made for made in rig.constraints if made.name == name)


def feed(rig: Rig, target: str) -> Feed:
    """The feed that drives a channel."""
    return next(made for made in rig.feeds if made.target == target)


def turn_matrix(node: Node) -> Matrix:
    """R of a node at rest, (3, 3), from its quaternion: v' = v + 2 q × (q × v + w v)."""
    x, y, z, w = node.rest.turn
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + 2.0 * w * cross + 2.0 * cross @ cross


def reflection(rig: Rig) -> Matrix:
    """S, which reflects in the rig's mirror plane."""
    signs = [-1.0 if axis == rig.mirror_axis[1].lower() else 1.0 for axis in "xyz"]
    return np.diag(signs)
