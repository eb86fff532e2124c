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


def test_the_examples_of_the_page_on_evaluating_run(monkeypatch: pytest.MonkeyPatch) -> None:
    from somite.evaluate.scalar.compiled import available

    if not available():
        pytest.skip("numba, an extra, is not installed")
    page = (TREE / "grammar" / "reference" / "evaluating.md").read_text(encoding="utf-8")
    blocks = [block.partition("```")[0] for block in page.split("```python run\n")[1:]]
    assert len(blocks) == 2
    monkeypatch.chdir(TREE / "recipes")
    example = doctest.DocTestParser().get_doctest("".join(blocks), {}, "evaluating.md", None, 0)
    assert doctest.DocTestRunner().run(example).failed == 0


@pytest.mark.parametrize("poses", [1, 3])
def test_every_back_end_gives_the_same_pose(rig: somite.Compiled, poses: int) -> None:
    channels = {"spine.high.turn.y": np.linspace(0.2, 0.7, poses)}
    found = [rig.pose(channels, back_end=one).worlds for one in ("auto", "arrays", "scalar")]
    assert all(np.allclose(one, found[0], rtol=0.0, atol=1e-12) for one in found)


def test_a_back_end_that_does_not_exist_is_told(rig: somite.Compiled) -> None:
    with pytest.raises(ValueError, match=r'expected a back end .*, found "quick"'):
        rig.pose(back_end="quick")  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def rig() -> somite.Compiled:
    return somite.compile(RECIPE, SHEET)


def test_a_rig_that_is_posed_again_is_not_laid_out_again(rig: somite.Compiled) -> None:
    first, second = rig.pose(), rig.pose({"spine.high.turn.y": "40 deg"})
    assert isinstance(second, somite.Posed)
    assert first.names is second.names


def test_texts_and_numbers_are_one_pose(rig: somite.Compiled) -> None:
    typed = rig.pose({"master.whole.move.x": "50", "neck.nod.turn.x": "30 deg"})
    inside = rig.pose({"master.whole.move.x": 0.5, "neck.nod.turn.x": np.pi / 6})
    assert np.allclose(typed.worlds, inside.worlds, rtol=0.0, atol=1e-15)
    assert typed.place("neck.head")[0, 0] == pytest.approx(0.5)


def test_an_array_gives_a_pose_a_value_beside_values_that_hold_for_all(
    rig: somite.Compiled,
) -> None:
    posed = rig.pose({"master.whole.move.y": [0.0, 1.0, 2.0], "master.whole.move.x": "1 m"})
    rest = rig.pose().place("neck.head")[0]
    moved = posed.place("neck.head") - rest
    assert np.allclose(moved, [[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.0, 2.0, 0.0]], atol=1e-12)


def test_what_can_not_be_posed_brings_every_finding(rig: somite.Compiled) -> None:
    with pytest.raises(somite.PoseError) as caught:
        rig.pose({"neck.nod.turm.x": 1.0, "neck.nod.turn.y": "1 cm", "neck.nod.turn.z": "x"})
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


def test_a_line_of_a_sheet_that_can_not_be_read_leaves_no_half_rig() -> None:
    """What hangs on what the line would have said is left out, and what hangs on that in turn."""
    recipe = (
        "recipe stall\n  units cm\n  axes up +Y front +Z\nsheet\n  point hook\n"
        "control master at ground\n  carries all\n"
        "joint lamp at (0, 5 cm, 0)\n  follow peg\n"
        "joint glass at (0, 9 cm, 0)  under lamp\n"
        "control peg at hook  under master\n"
    )
    top = 'character = "pip"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
    made = somite.compile_text(recipe, f"{top}[points]\nhook = [0, 1, 2] high\n")
    assert made.settled is None
    assert [finding.code for finding in made.findings] == ["sheet-syntax"]
