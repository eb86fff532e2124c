"""Posing a compiled rig from Python, as its documentation says."""

from __future__ import annotations

import doctest
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

import somite

TREE = Path(__file__).parents[2]
RECIPE = TREE / "recipes" / "upright.somite"
SHEET = TREE / "recipes" / "sheets" / "tansy_heron.toml"


@pytest.mark.parametrize("module", ["somite.pipeline", "somite.evaluate.evaluator"], ids=str)
def test_the_examples_in_docstrings_run(module: str) -> None:
    done = doctest.testmod(import_module(module))
    assert done.attempted > 0 and done.failed == 0


@pytest.fixture(scope="module")
def rig() -> somite.Compiled:
    return somite.compile(RECIPE, SHEET)


def test_a_rig_that_is_posed_again_is_not_laid_out_again(rig: somite.Compiled) -> None:
    first, second = rig.pose(), rig.pose({"spine.high.turn.y": "40 deg"})
    assert isinstance(second, somite.Posed)
    assert first.names is second.names


def test_texts_and_numbers_are_one_pose(rig: somite.Compiled) -> None:
    typed = rig.pose({"master.move.x": "50", "nod.turn.x": "30 deg"})
    inside = rig.pose({"master.move.x": 0.5, "nod.turn.x": np.pi / 6})
    assert np.allclose(typed.worlds, inside.worlds, rtol=0.0, atol=1e-15)
    assert typed.place("head")[0, 0] == pytest.approx(0.5)


def test_an_array_gives_a_pose_a_value_beside_values_that_hold_for_all(
    rig: somite.Compiled,
) -> None:
    posed = rig.pose({"master.move.y": [0.0, 1.0, 2.0], "master.move.x": "1 m"})
    rest = rig.pose().place("head")[0]
    moved = posed.place("head") - rest
    assert np.allclose(moved, [[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.0, 2.0, 0.0]], atol=1e-12)


def test_what_can_not_be_posed_brings_every_finding(rig: somite.Compiled) -> None:
    with pytest.raises(somite.PoseError) as caught:
        rig.pose({"nod.turm.x": 1.0, "nod.turn.y": "1 cm", "nod.turn.z": "x"})
    assert [one.code for one in caught.value.findings] == [
        *("unknown-channel", "channel-value", "channel-value")
    ]


def test_a_rig_that_did_not_compile_says_so_when_it_is_posed() -> None:
    broken = somite.compile_text("recipe lantern\njoint wick at flame\n", "")
    with pytest.raises(ValueError, match="did not compile can not be posed: expected"):
        broken.pose()


def test_a_compiled_rig_can_be_replaced_and_posed(rig: somite.Compiled) -> None:
    from dataclasses import replace

    rig.pose()
    assert replace(rig, findings=()).pose().poses == 1
