"""Comparing two complete bipeds, posed, against building both.

Both are measured as a person meets them, whole commands from cold processes, and inside one
process, where a build is a compilation from sheet to both default targets.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from somite import pipeline, sheet
from somite.diff.review import reviewed
from somite.pipeline import Compiled, Read
from somite.target import Context
from somite.targets import scene, steps
from somite.text import Source

HERE = Path(__file__).parent
RUNS = 7
BOUND = 2.0

CHANGES = (
    ("control nod at nape  under spine.high", "control nod at nape  under spine.bow"),
    ("recipe biped\n", "recipe biped_again\n"),
    ("only turn\n  joint near", "only turn\n    order zyx\n  joint near"),
)
"""A parent and many turn orders: enough that many joints go elsewhere. The name is another, so that
one cast can build both."""


def changed(recipe: str) -> str:
    """The biped as somebody changed it."""
    for before, after in CHANGES:
        assert before in recipe, before
        recipe = recipe.replace(before, after)
    return recipe


def read(text: str) -> Read:
    """The biped's recipe in memory."""
    made, findings = pipeline.read_text(Source("biped.somite", text), Path("biped.somite"), None)
    assert made is not None, findings
    return made


def run(
    row: Callable[..., None],
    paired: Callable[..., Any],
    somite: Callable[..., list[str]],
    folder: Path,
) -> None:
    """Every figure, by the row function of `run.py`."""
    text = (HERE / "biped.somite").read_text(encoding="utf-8")
    _inside(row, read(text), read(changed(text)))
    for name, recipe in (("old", text), ("new", changed(text))):
        (folder / f"{name}.somite").write_text(recipe, encoding="utf-8")
    (folder / "biped.toml").write_text((HERE / "biped.toml").read_text(encoding="utf-8"))
    (folder / "cast.toml").write_text(
        "".join(
            f'[[build]]\nrecipe = "{name}.somite"\nsheets = ["biped.toml"]\n'
            for name in ("old", "new")
        )
    )
    compare = somite("diff", "old.somite", "new.somite", "--sheet", "biped.toml")
    build = somite("build", "--force")
    row("somite diff, as a command", *paired(compare, build, folder), BOUND)


def _inside(row: Callable[..., None], old: Read, new: Read) -> None:
    character, _ = sheet.load(HERE / "biped.toml")
    assert character is not None
    building: list[float] = []
    comparing: list[float] = []
    told: Any = None
    nodes = 0
    for _ in range(RUNS):
        begun = time.perf_counter()
        rigs = [pipeline.compile_rig(one, character) for one in (old, new)]
        compiled = time.perf_counter()
        for rig in rigs:
            assert rig.settled is not None
            for target in (scene.TARGET, steps.TARGET):
                target.emit(rig.settled, Context())
        built = time.perf_counter()
        told = _compared(*rigs)
        building.append(built - begun)
        comparing.append(time.perf_counter() - built + compiled - begun)
        nodes = len(told.difference.new.nodes)
    behaviour = told.behaviour
    poses = sum(count for _, count in behaviour.poses)
    print(f"{poses} poses of {nodes} nodes, {len(behaviour.departures)} departures")
    row(f"diff of two rigs, {nodes} nodes", median(comparing), median(building), BOUND)


def _compared(old: Compiled, new: Compiled) -> Any:
    assert old.rig is not None and new.rig is not None
    assert old.settled is not None and new.settled is not None
    return reviewed(old.rig, new.rig, (old.settled, new.settled))
