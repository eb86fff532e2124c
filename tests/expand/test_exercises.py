"""What holds for every exercise: they build without a finding, and nothing moves at rest."""

from __future__ import annotations

import re

import numpy as np
import pytest
from exercises import BUILDS, compiled, exercise, recipe_text, reflection, sheet_text, turn_matrix
from hypothesis import given, settings
from hypothesis import strategies as st

from somite import targets
from somite.at_rest import world_at_rest
from somite.ir import Node, Rig
from somite.target import Context

PARTS = re.compile(r"[a-z][a-z0-9_]*(\.([a-z][a-z0-9_]*|[0-9]+))*")
MIRRORED = ("simple_back", "foot", "thirty_legs", "eyes")
"""Exercises with a mirror whose sheets are symmetric."""

each_build = pytest.mark.parametrize(("name", "sheet"), BUILDS)


@each_build
def test_an_exercise_builds_without_a_finding(name: str, sheet: str) -> None:
    assert exercise(name, sheet).rig.recipe == name


@each_build
@pytest.mark.parametrize("target", ["scene", "steps"])
def test_an_exercise_is_emitted_without_a_finding(name: str, sheet: str, target: str) -> None:
    emitter, _ = targets.find(target)
    assert emitter is not None
    outputs, findings = emitter.emit(exercise(name, sheet), Context())
    assert findings == ()
    assert outputs and all(output.text.endswith("\n") for output in outputs)


@each_build
def test_nothing_moves_when_an_exercise_is_first_evaluated(name: str, sheet: str) -> None:
    settled = exercise(name, sheet)
    world = world_at_rest(settled)
    for node in settled.rig.nodes:
        place = np.subtract(world[node.name].place, node.rest.place)
        assert np.abs(place).max() <= 1e-9 * settled.rig.height, node.name
        same = abs(float(np.dot(world[node.name].turn, node.rest.turn)))
        assert same >= 1.0 - 1e-12, node.name


@each_build
def test_names_are_segments_and_are_spelled_apart(name: str, sheet: str) -> None:
    rig = exercise(name, sheet).rig
    spelled = [node.spelled for node in rig.nodes]
    assert all(PARTS.fullmatch(node.name) for node in rig.nodes)
    assert spelled == [node.name.replace(".", "_") for node in rig.nodes]
    assert len(set(spelled)) == len(spelled)


@each_build
def test_every_exercise_has_one_control_that_carries_all(name: str, sheet: str) -> None:
    rig = exercise(name, sheet).rig
    assert [node.name for node in rig.nodes if node.carries_all] == ["master"]


def pairs(rig: Rig) -> list[tuple[Node, Node]]:
    """Each node of the right side with its twin."""
    return [
        (rig.node(node.mirror.twin), node)
        for node in rig.nodes
        if node.mirror is not None and ".right" in node.name
    ]


@pytest.mark.parametrize("name", MIRRORED)
def test_a_node_and_its_twin_name_each_other(name: str) -> None:
    rig = exercise(name).rig
    assert pairs(rig)
    for left, right in pairs(rig):
        assert left.mirror is not None and left.mirror.twin == right.name
        assert left.name == right.name.replace(".right", ".left")


@pytest.mark.parametrize("name", MIRRORED)
def test_places_of_the_right_are_reflections_of_the_left(name: str) -> None:
    rig = exercise(name).rig
    for left, right in pairs(rig):
        expected = reflection(rig) @ np.array(left.rest.place)
        assert np.allclose(right.rest.place, expected, rtol=0.0, atol=1e-15), right.name


@pytest.mark.parametrize("name", MIRRORED)
def test_the_stored_signs_are_those_of_the_mirrored_frames(name: str) -> None:
    # M = R'ᵀ · S · R is a signed diagonal: move' = M · move, turn' = det(M) · M · turn.
    rig = exercise(name).rig
    for left, right in pairs(rig):
        signs = turn_matrix(right).T @ reflection(rig) @ turn_matrix(left)
        assert right.mirror is not None
        assert np.allclose(signs, np.diag(right.mirror.move), atol=1e-12), right.name
        turned = np.linalg.det(signs) * signs
        assert np.allclose(turned, np.diag(right.mirror.turn), atol=1e-12), right.name
        assert left.mirror is not None
        assert (left.mirror.move, left.mirror.turn) == (right.mirror.move, right.mirror.turn)


# ---- order ---------------------------------------------------------------------------------------

Block = tuple[str, list["Block"]]


def blocks(text: str) -> list[Block]:
    """The lines of a recipe, each with the lines of its block; blank lines and comments are left
    out."""
    top: list[Block] = []
    levels: list[tuple[int, list[Block]]] = [(-1, top)]
    for line in text.splitlines():
        bare = line.split("#")[0].rstrip()
        if not bare:
            continue
        indent = len(bare) - len(bare.lstrip())
        while indent <= levels[-1][0]:
            levels.pop()
        entry: Block = (bare, [])
        levels[-1][1].append(entry)
        levels.append((indent, entry[1]))
    return top


def shuffled(lines: list[Block], draw: st.DrawFn) -> list[str]:
    """The lines in another order, block by block."""
    result = []
    for line, block in draw(st.permutations(lines)):
        result += [line, *shuffled(block, draw)]
    return result


@st.composite
def reordered(draw: st.DrawFn) -> tuple[str, str]:
    name = draw(st.sampled_from([name for name, _ in BUILDS]))
    return name, "\n".join(shuffled(blocks(recipe_text(name)), draw)) + "\n"


def scene_of(recipe: str, name: str) -> str:
    target, _ = targets.find("scene")
    assert target is not None
    outputs, _ = target.emit(compiled(recipe, sheet_text(name)), Context())
    (scene,) = outputs
    return re.sub(r"exercise\.somite:[0-9]+", "exercise.somite", scene.text)


@settings(max_examples=25, deadline=None)
@given(reordered())
def test_the_order_of_lines_in_a_block_means_nothing(reordering: tuple[str, str]) -> None:
    name, text = reordering
    assert scene_of(text, name) == scene_of("\n".join(plain(recipe_text(name))) + "\n", name)


def plain(text: str) -> list[str]:
    """A recipe without its comments and blank lines."""
    return [bare for line in text.splitlines() if (bare := line.split("#")[0].rstrip())]


@settings(max_examples=10, deadline=None)
@given(st.sampled_from([name for name, _ in BUILDS]))
def test_comments_and_blank_lines_mean_nothing(name: str) -> None:
    text = recipe_text(name)
    assert scene_of("\n".join(plain(text)) + "\n", name) == scene_of(text, name)
