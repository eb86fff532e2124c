"""Every line of a recipe has an effect or a finding: none is read past in silence."""

from __future__ import annotations

import random
import re

import fuzz_seeds
import pytest

from somite import pipeline, sheet
from somite.findings import has_errors
from somite.pipeline import Compiled
from somite.text import Source

STATES_A_DEFAULT = re.compile(
    r"revision 1|units cm|axes up \+Y front \+Z|axis \+X|degree 3|points 4|spread even"
    r"|spacing even|parameters .*|lean \+Y toward \+[YZ]|offers .*|sheet"
)
"""Lines that say what would hold without them, and what is there for others to use."""

WITHOUT_EFFECT_HERE = frozenset(
    {"part/unused.somite", "when/choices.somite", "repeat/neighbours.somite"}
    | {"when/empty.somite", "when/left_out.somite"}
)
"""Cases of blocks that are left out."""

FOREIGN = (
    "order zyx",
    "lock turn.x",
    "neutral",
    "flips",
    "ring 5 cm",
    "carries all",
    "through ground, ground + (0, 3 cm, 1 cm)",
    "degree 2",
    "owns 1",
    "bones 3",
    "spread eased",
    "start from master",
    "smooth",
    "set master.move.x = 3 cm",
    "expect master still",
    "with q = 3",
    "revision 7",
    "spelling upper",
    "joint zz at ground",
    "dial zz = 0",
    "grip zz owns 1",
    "point zz",
    "needs point zz",
    "offers zz",
    "control zz at ground",
    "pose master.move.x = 3 cm",
    "recipe zz",
    "sheet",
)
"""Lines that belong to some statement, to be put below every other one."""


RIDDEN = fuzz_seeds.ROOT / "recipes/sheets/four_legged/dapple_mule.toml"
"""A sheet with a rider, for the lines that are about one."""


def compiled(name: str, text: str, character: str) -> Compiled:
    """A shipped recipe or case, as if it lay in its own place."""
    folder = fuzz_seeds.ROOT / ("tests/cases" if "/" in name else "recipes")
    read, _ = pipeline.read_text(Source(name, text), folder / name, fuzz_seeds.ROOT)
    measured, _ = sheet.read(Source("sheet.toml", character), RIDDEN.parent, fuzz_seeds.ROOT)
    assert read is not None and measured is not None
    return pipeline.compile_rig(read, measured)


SOUND = [
    (name, text, RIDDEN.read_text(encoding="utf-8") if name == "four_legged.somite" else character)
    for name, text, character in fuzz_seeds.recipes()
    if not name.startswith("parts/") and compiled(name, text, character).settled is not None
]


def said(made: Compiled) -> list[tuple[str, str]]:
    return [(finding.code, finding.message) for finding in made.findings]


@pytest.mark.parametrize("seed", SOUND, ids=[name for name, _, _ in SOUND])
def test_a_line_taken_away_changes_the_rig_or_the_findings(seed: tuple[str, str, str]) -> None:
    name, text, character = seed
    if name in WITHOUT_EFFECT_HERE:
        pytest.skip("it is about what is left out")
    whole = compiled(*seed)
    lines = text.split("\n")
    idle = []
    for at, line in enumerate(lines):
        words = line.split("#")[0].strip()
        if not words or words.startswith(("about", "when")) or STATES_A_DEFAULT.fullmatch(words):
            continue
        without = compiled(name, "\n".join([*lines[:at], "", *lines[at + 1 :]]), character)
        if without.rig == whole.rig and said(without) == said(whole):
            idle.append(f"{name}:{at + 1}: {line}")
    assert not idle


def test_a_line_below_a_statement_that_does_not_take_it_is_reported() -> None:
    choose = random.Random(7)
    places = [
        (seed, at)
        for seed in SOUND
        if seed[0] not in WITHOUT_EFFECT_HERE
        for at, line in enumerate(seed[1].split("\n"))
        if line.split("#")[0].strip() and line.count("(") == line.count(")")
    ]
    silent = []
    for (name, text, character), at in choose.sample(places, 250):
        lines = text.split("\n")
        blanks = len(lines[at]) - len(lines[at].lstrip()) + 2
        for extra in choose.sample(FOREIGN, 2):
            there = [*lines[: at + 1], " " * blanks + extra, *lines[at + 1 :]]
            with_it = compiled(name, "\n".join(there), character)
            if has_errors(with_it.findings):
                continue
            # A blank line in its place keeps the lines below where they are.
            there[at + 1] = ""
            if with_it.rig == compiled(name, "\n".join(there), character).rig:
                silent.append(f"{name}:{at + 1}: {lines[at].strip()} / {extra}")
    assert not silent
