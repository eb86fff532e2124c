"""What a mesh is bound to: the list `skin` of every whole recipe, for each of its sheets.

Common practice, no source: a mesh is bound to the joints that bend it and to no others. A chain
that is only solved, so that bound joints can follow it, would bend the mesh a second time; an end
that carries nothing would bend nothing; a joint that is left out leaves a hole.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from somite import pipeline
from somite.builds import cast_file
from somite.ir import Follow, Rig

RECIPES = Path(__file__).parents[2] / "recipes"
CAST = sorted(
    {
        (Path(job.recipe).name, Path(job.sheet).relative_to(RECIPES).as_posix())
        for job in cast_file.jobs_at(str(RECIPES / "cast.toml"))
    }
)


@cache
def compiled(recipe: str, sheet: str) -> pipeline.Compiled:
    return pipeline.compile(RECIPES / recipe, RECIPES / sheet)


def rig_and_skin(recipe: str, sheet: str) -> tuple[Rig, tuple[str, ...]]:
    made = compiled(recipe, sheet)
    assert made.settled is not None, made.findings
    lists = {one.name: one.members for one in made.settled.rig.lists}
    return made.settled.rig, lists["skin"]


def test_the_cast_has_every_whole_recipe() -> None:
    assert {recipe for recipe, _ in CAST} == {path.name for path in RECIPES.glob("*.somite")}


@pytest.mark.parametrize(("recipe", "sheet"), CAST)
def test_the_skin_is_joints_and_holds_what_every_part_says_of_its_own(
    recipe: str, sheet: str
) -> None:
    rig, skin = rig_and_skin(recipe, sheet)
    joints = {node.name for node in rig.nodes if node.kind == "joint"}
    assert set(skin) <= joints
    for one in rig.lists:
        if one.name.endswith(".skin") and not one.name.startswith("rider."):
            assert set(one.members) <= set(skin), one.name


@pytest.mark.parametrize(("recipe", "sheet"), CAST)
def test_no_joint_of_the_skin_is_only_there_for_others_to_follow(recipe: str, sheet: str) -> None:
    rig, skin = rig_and_skin(recipe, sheet)
    joints = {node.name for node in rig.nodes if node.kind == "joint"}
    followed = {
        leader.node
        for one in rig.constraints
        if isinstance(one, Follow) and one.node in joints and "turn" in one.takes
        for leader in one.leaders
    }
    assert not followed & set(skin)


@pytest.mark.parametrize(("recipe", "sheet"), CAST)
def test_where_a_joint_carries_another_the_skin_has_one_that_stands_there(
    recipe: str, sheet: str
) -> None:
    rig, skin = rig_and_skin(recipe, sheet)
    own = [
        node for node in rig.nodes if node.kind == "joint" and not node.name.startswith("rider.")
    ]
    carriers = {node.parent for node in own}
    places = {node.name: np.round(node.rest.place, 6).tolist() for node in rig.nodes}
    bound = [places[name] for name in skin]
    for node in own:
        if node.name in carriers:
            assert places[node.name] in bound, node.name
