"""One meaning, whatever works it out: arrays, the program as Python, and the program compiled.

The three share the laying of a plan and no arithmetic: each is the others' reference here, and what
it is to be is told by the other tests of this folder. A distance of 1e-9 of the largest number is
the issue of rounding alone; where arithmetic takes another branch at a singular place the rigs here
would show it, and do not.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from posed_rigs import NAMES, TREE, evaluator_of, exercise, random_pose
from random_rigs import random_rig

from somite import pipeline
from somite.evaluate import Evaluator, MissingExtra, back_ends
from somite.evaluate.layout import Layout
from somite.evaluate.scalar import compiled, interpret, lanes, nodes
from somite.evaluate.state import Step

needs_numba = pytest.mark.skipif(
    not compiled.available(), reason="numba, an extra, is not installed"
)
OTHERS = ["scalar", pytest.param("compiled", marks=needs_numba)]
NEAR = 1e-9


def most(found, expected) -> float:
    """How far arrays differ, as a share of the largest number, or of one."""
    if not found.size:
        return 0.0
    return float(np.abs(found - expected).max() / max(1.0, np.abs(expected).max()))


def assert_same(found, expected) -> None:
    """Two poses of one rig are the same, but for the signs of quaternions."""
    rig = expected.settled.rig
    assert found.notes == expected.notes
    assert most(found.worlds, expected.worlds) < NEAR
    signs = np.sign((found.turns * expected.turns).sum(axis=2, keepdims=True))
    assert most(found.turns * signs, expected.turns) < NEAR
    for curve in rig.curves:
        assert most(found.points(curve.name), expected.points(curve.name)) < NEAR, curve.name
    for gauge in rig.gauges:
        assert most(found.gauge(gauge.name), expected.gauge(gauge.name)) < NEAR, gauge.name
    for name in found._table:
        assert most(found.channel(name), expected.channel(name)) < NEAR, name


def compare(settled, back_end, values) -> None:
    assert_same(
        Evaluator(settled, back_end).pose(values), Evaluator(settled, "arrays").pose(values)
    )


def wild(rig, seed: int, poses: int, reach: float, *, sizes: bool):
    """Channels beyond their limits: moves so many heights far, turns that go round and round."""
    draw = np.random.default_rng(seed)
    far = {"move": reach * rig.settled.rig.height, "turn": 10.0, "size": 1.4, "dial": 4.0}
    found = {}
    for name, channel in rig.channels.items():
        if channel.locked or channel.driven or (channel.part == "size" and not sizes):
            continue
        if draw.random() < 0.3:
            continue
        value = draw.uniform(-far[channel.part], far[channel.part], poses)
        found[name] = np.exp(value) if channel.part == "size" else value
    return found


def assert_same_near_by(settled, back_end, values) -> None:
    """The same, and finite; of poses that go beyond all bounds only finite.

    Live numbers may carry a node off by a million heights, where a turn by a distance has lost
    most of its digits.
    """
    found = Evaluator(settled, back_end).pose(values)
    expected = Evaluator(settled, "arrays").pose(values)
    assert np.isfinite(found.worlds).all() and np.isfinite(expected.worlds).all()
    places = np.abs(expected.places).max(axis=(1, 2))
    near = np.flatnonzero(places < 1e3 * settled.rig.height)
    if len(near) == expected.poses:
        return assert_same(found, expected)
    kept = {name: value[near] for name, value in values.items()}
    return compare(settled, back_end, kept) if len(near) else None


POSES = (1, back_ends.FEW, back_ends.FEW + 1, compiled.WIDTH, compiled.WIDTH + 1)


@pytest.mark.parametrize("back_end", OTHERS)
@settings(max_examples=80, deadline=None)
@given(
    seed=st.integers(0, 1_000_000),
    poses=st.sampled_from(POSES),
    reach=st.sampled_from((0.1, 0.5, 1.0, 8.0)),
    sizes=st.booleans(),
)
def test_rigs_put_together_at_random_are_the_same(back_end, seed, poses, reach, sizes):
    """Within limits and beyond, with chains folded, stretched, and running past their ends."""
    rig = evaluator_of(random_rig(seed))
    compare(rig.settled, back_end, random_pose(rig, seed, poses, sizes=sizes))
    assert_same_near_by(rig.settled, back_end, wild(rig, seed, poses, reach, sizes=sizes))


@pytest.mark.parametrize("back_end", OTHERS)
@pytest.mark.parametrize("seed", range(12))
def test_programs_read_nothing_that_was_not_written(monkeypatch, back_end, seed):
    rig, written = evaluator_of(random_rig(seed)), Layout.written
    values = random_pose(rig, seed, 3, sizes=True)
    expected = Evaluator(rig.settled, "arrays").pose(values)
    monkeypatch.setattr(Layout, "written", lambda self, lanes: written(self, lanes, np.nan))
    assert_same(Evaluator(rig.settled, back_end).pose(values), expected)


@cache
def shipped():
    """Every recipe that the library builds with every sheet of its cast."""
    found = []
    for build in _builds():
        for sheet in build[1]:
            made = pipeline.compile(build[0], sheet)
            if made.settled is not None:
                found.append((f"{build[0].stem}-{sheet.stem}", made.settled))
    return found


def _builds():
    import tomllib

    recipes = TREE / "recipes"
    cast = tomllib.loads((recipes / "cast.toml").read_text())
    for build in cast["build"]:
        sheets = [path for glob in build["sheets"] for path in sorted(recipes.glob(glob))]
        yield recipes / build["recipe"], sheets


@pytest.mark.parametrize("back_end", OTHERS)
def test_every_shipped_recipe_with_every_sheet_is_the_same(back_end):
    assert shipped()
    for seed, (name, settled) in enumerate(shipped()):
        rig = Evaluator(settled)
        for sizes in (False, True):
            try:
                compare(settled, back_end, random_pose(rig, seed, 3, sizes=sizes))
                assert_same_near_by(settled, back_end, wild(rig, seed, 3, 1.0, sizes=sizes))
            except AssertionError as error:
                raise AssertionError(f"{name}: {error}") from error


def extremes(rig, seed: int, poses: int):
    """Every channel at its limits, at rest or far out, but at no angle where turns are opposite."""
    draw = np.random.default_rng(seed)
    height, found = rig.settled.rig.height, {}
    for name, channel in rig.channels.items():
        if channel.locked or channel.driven:
            continue
        far = {"move": 20.0 * height, "turn": 2.9, "size": 4.0, "dial": 5.0}[channel.part]
        least = 0.25 if channel.part == "size" else -far
        ends = [max(channel.low, least), min(channel.high, far), channel.default]
        found[name] = draw.choice(ends, poses)
    return found


@pytest.mark.parametrize("back_end", OTHERS)
@pytest.mark.parametrize("name", NAMES)
def test_channels_at_their_extremes_give_the_same(back_end, name):
    rig = exercise(name)
    compare(rig.settled, back_end, extremes(rig, 3, 24))


@pytest.mark.parametrize("back_end", OTHERS)
@pytest.mark.parametrize("poses", [1, 15, 16, 17, 33])
def test_every_number_of_poses_is_the_same(back_end, poses):
    rig = exercise("simple_back")
    compare(rig.settled, back_end, random_pose(rig, 1, poses))


@pytest.mark.parametrize("poses", [back_ends.FEW, back_ends.FEW + 1])
def test_where_another_back_end_takes_over_nothing_jumps(poses):
    rig = exercise("arm")
    values = random_pose(rig, 2, poses)
    one_by_one = [
        Evaluator(rig.settled, "scalar").pose({name: value[k] for name, value in values.items()})
        for k in range(poses)
    ]
    assert most(rig.pose(values).worlds, np.concatenate([one.worlds for one in one_by_one])) < NEAR


@pytest.mark.parametrize("back_end", ["arrays", *OTHERS[1:]])
@pytest.mark.parametrize("extra", [-1, 0, 1, back_ends.CHUNK + 1])
def test_poses_are_the_same_on_both_sides_of_a_chunks_border(back_end, extra):
    rig, poses = Evaluator(exercise("tail").settled, back_end), back_ends.CHUNK + extra
    values = random_pose(rig, 4, poses)
    some = sorted({0, 1, *range(back_ends.CHUNK - 2, min(poses, back_ends.CHUNK + 2)), poses - 1})
    alone = Evaluator(rig.settled, "scalar").pose({name: one[some] for name, one in values.items()})
    found = rig.pose(values)
    assert found.poses == poses
    assert most(found.worlds[some], alone.worlds) < NEAR


def test_poses_come_out_finite_however_wild_the_channels():
    rig = Evaluator(exercise("arm").settled, "scalar")
    for value in (1e300, -1e300, 1e9, 1e-300):
        posed = rig.pose({name: value for name, one in rig.channels.items() if not one.locked})
        assert np.isfinite(posed.worlds).all()


# ---- the forms are held together -----------------------------------------------------------------


def steps() -> set[type]:
    """Every class of steps in the folder of the evaluator."""
    import importlib
    import pkgutil

    import somite.evaluate as package

    found = set()
    for module in pkgutil.iter_modules(package.__path__, "somite.evaluate."):
        if module.ispkg:
            continue
        for held in vars(importlib.import_module(module.name)).values():
            if isinstance(held, type) and held not in (Step, Layout) and hasattr(held, "run"):
                found.add(held)
    return found


def test_every_step_has_both_forms_and_is_met_by_these_tests():
    """A new step must be encoded, and rigs here must have it."""
    assert all(callable(getattr(step, "encode", None)) for step in steps())
    met, operations = set(), set()
    for seed in range(60):
        rig = evaluator_of(random_rig(seed))
        for channels in ({}, random_pose(rig, seed, 1, sizes=True)):
            plan = rig.pose(channels)._layout
            met |= {type(step) for step in plan.steps}
            operations |= set(operations_of(plan.program(1)))
    assert steps() - met == set()
    assert set(interpret.OPERATIONS) - operations == set()


def operations_of(program):
    """The operations of a program, told by running it over what it says is at rest."""
    at, memory = 0, program.memory.copy()
    while at < len(program.code):
        operation = interpret.OPERATIONS[program.code[at]]
        yield operation
        at = operation(program.code, at + 1, program.constants, memory)


def test_a_program_is_the_same_for_any_number_of_lanes_but_for_its_addresses():
    plan = exercise("tail").pose()._layout
    one, many = plan.program(1), plan.program(compiled.WIDTH)
    assert one.constants == many.constants and one.memory == many.memory
    assert len(one.code) == len(many.code)
    assert all(b in (a, a * compiled.WIDTH) for a, b in zip(one.code, many.code, strict=True))


def test_operations_go_through_lanes_in_one_way_only():
    """What is compiled is the same text with another loop: so every loop is written alike."""
    folder = Path(interpret.__file__).parent
    for path in folder.glob("*.py"):
        text = path.read_text()
        assert not re.search(r"for lane in (?!EVERY:|range\(width\):)", text), path.name
    assert tuple(range(lanes.LANES)) == lanes.EVERY


# ---- choosing ------------------------------------------------------------------------------------


def test_an_unknown_back_end_is_told():
    with pytest.raises(ValueError, match='found "quick"'):
        Evaluator(exercise("arm").settled, "quick")


def test_the_compiled_back_end_says_what_to_install(monkeypatch):
    monkeypatch.setattr(compiled, "available", lambda: False)
    with pytest.raises(MissingExtra, match=r'pip install "somite\[compiled\]"'):
        Evaluator(exercise("arm").settled, "compiled")


def test_what_is_chosen_does_not_depend_on_what_is_installed(monkeypatch):
    chosen = [back_ends.chosen("auto", poses) for poses in (1, 4, 5, 5000)]
    monkeypatch.setattr(compiled, "available", lambda: not compiled.available())
    assert [back_ends.chosen("auto", poses) for poses in (1, 4, 5, 5000)] == chosen
    assert set(chosen) == {"scalar", "arrays"}


def test_numba_is_not_loaded_unless_it_is_asked_for():
    code = (
        "import sys; from somite.evaluate import Evaluator; from posed_rigs import exercise;"
        "exercise('arm').pose({}); exercise('arm').pose({'master.move.x': [0.0] * 99});"
        "print('numba' in sys.modules)"
    )
    path = os.pathsep.join([str(TREE / "tests"), os.environ.get("PYTHONPATH", "")])
    told = subprocess.run(
        [sys.executable, "-c", code], env={**os.environ, "PYTHONPATH": path},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert told.stdout.strip() == "False"


@pytest.fixture
def small_kernel(monkeypatch, tmp_path):
    """A kernel of one operation, which compiles in no time, kept in a folder of its own."""
    import numba

    kept = tmp_path / "kept"
    monkeypatch.setattr(compiled, "OPERATIONS", (nodes.placed_same,))
    monkeypatch.setattr(compiled, "_digest", lambda: "small")
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(kept))
    return kept


def made_kernel():
    """A kernel made anew, its hits in what is kept, and whether it does what is asked of it."""
    kernel = compiled.kernel.__wrapped__()
    width = compiled.WIDTH
    code = np.array([0, 1, 3 * width, 0], dtype=np.uint32)
    memory, kept = np.arange(6.0).repeat(width), np.empty((6, 1))
    nothing = np.zeros(0, dtype=np.uint32)
    kernel(code, np.zeros(0), memory, np.zeros((0, 1)), 0, nothing, kept)
    return sum(kernel.stats.cache_hits.values()), kept[:, 0].tolist() == [0.0, 1.0, 2.0] * 2


@needs_numba
def test_the_kernel_is_kept_and_found_again(small_kernel):
    assert made_kernel() == (0, True)
    assert list(small_kernel.rglob("*.nbc"))
    assert made_kernel() == (1, True)


@needs_numba
@pytest.mark.parametrize("pattern", ["*.nbi", "*.nbc"])
def test_a_kept_kernel_that_is_broken_is_made_anew(small_kernel, pattern):
    made_kernel()
    for path in small_kernel.rglob(pattern):
        path.write_bytes(b"nothing of the kind")
    assert made_kernel()[1]


@needs_numba
def test_the_kernel_works_where_nothing_can_be_kept(small_kernel, monkeypatch):
    import numba

    compile = numba.njit

    def nowhere(function, *, cache=False, **options):
        if cache:  # as numba says where no folder may be written to
            raise RuntimeError("cannot cache function: no locator available")
        return compile(function, **options)

    monkeypatch.setattr(numba, "njit", nowhere)
    assert made_kernel() == (0, True)
    assert not small_kernel.exists()
