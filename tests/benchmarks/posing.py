"""Posing a complete biped: against bare forward kinematics, and against its own growth.

The peer is Pinocchio's forward kinematics (the package `pin`, of this benchmark only) on the same
tree: a joint that moves and turns where a node does, one that turns where a node turns, and a
single hinge where a node has no channel of its own; one thread. Without `pin` its row is left out.
"""

from __future__ import annotations

import gc
import os
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded: one thread

import material
import numpy as np

from somite import pipeline
from somite.evaluate import Evaluator

HERE = Path(__file__).parent
POSES = 1000


def best(*functions: Callable[[], object], times: int) -> list[float]:
    """Seconds of the fastest run of each, run in turn so that all meet the same machine."""
    found: list[list[float]] = [[] for _ in functions]
    for _ in range(times):
        for function, times_of in zip(functions, found, strict=True):
            gc.collect()
            start = time.perf_counter()
            function()
            times_of.append(time.perf_counter() - start)
    return [min(one) for one in found]


@cache
def biped() -> Evaluator:
    """The evaluator of the biped beside this file."""
    compiled = pipeline.compile(HERE / "biped.somite", HERE / "biped.toml")
    assert compiled.settled is not None, compiled.findings
    return Evaluator(compiled.settled)


def animated(evaluator: Evaluator, poses: int, *, stretched: bool = False) -> dict[str, Any]:
    """Every free move, turn and dial of every control, at random as far as an animator goes."""
    draw = np.random.default_rng(7)
    rig = evaluator.settled.rig
    controls = {node.name for node in rig.nodes if node.kind == "control"}
    found: dict[str, Any] = {}
    for name, channel in evaluator.channels.items():
        if channel.node not in controls or channel.locked or channel.driven:
            continue
        if channel.options:
            found[name] = draw.integers(0, len(channel.options), poses).astype(float)
        elif channel.part == "move":
            found[name] = draw.uniform(-0.03, 0.03, poses) * rig.height
        elif channel.part == "turn":
            found[name] = draw.uniform(-0.35, 0.35, poses)
        elif channel.part == "dial" and (stretched or "stretch" not in name):
            found[name] = draw.uniform(max(channel.low, -1.0), min(channel.high, 1.0), poses)
    return found


def peer(evaluator: Evaluator, poses: int) -> Callable[[], object] | None:
    """Bare forward kinematics of the same tree, or None without the engine."""
    try:
        import pinocchio
    except ImportError:
        return None
    rig = evaluator.settled.rig
    animated_parts = evaluator._always
    model = pinocchio.Model()
    numbers: dict[str | None, int] = {None: 0}
    waiting = list(rig.nodes)
    while waiting:
        for node in [node for node in waiting if node.parent in numbers]:
            local = evaluator.settled.locals[node.name]
            turn = pinocchio.Quaternion(np.array(local.turn)).toRotationMatrix()
            if (node.name, "move") in animated_parts:
                joint = pinocchio.JointModelFreeFlyer()
            elif (node.name, "turn") in animated_parts:
                joint = pinocchio.JointModelSpherical()
            else:
                joint = pinocchio.JointModelRX()
            numbers[node.name] = model.addJoint(
                numbers[node.parent], joint, pinocchio.SE3(turn, np.array(local.place)), node.name
            )
            waiting.remove(node)
    data = model.createData()
    low, high = -np.ones(model.nq), np.ones(model.nq)
    settings = [pinocchio.randomConfiguration(model, low, high) for _ in range(poses)]

    def run() -> None:
        for setting in settings:
            pinocchio.forwardKinematics(model, data, setting)

    return run


def creatures(count: int) -> Evaluator:
    """The evaluator of a procession of so many creatures, 13 nodes each."""
    compiled = pipeline.compile_text(material.recipe(count), material.sheet("lumen"))
    assert compiled.settled is not None, compiled.findings
    return Evaluator(compiled.settled)


def run(row: Callable[..., None]) -> None:
    """Every figure, by the row function of `run.py`."""
    evaluator = biped()
    channels, stretched = animated(evaluator, POSES), animated(evaluator, POSES, stretched=True)
    name = f"{POSES:,} poses, {len(evaluator.names)} transforms"
    bare = peer(evaluator, POSES)
    if bare is None:
        (ours,) = best(lambda: evaluator.pose(channels), times=9)
        print(f"{name:<34}{ours * 1e3:10.1f} ms            (no pin to compare with)")
    else:
        ours, other, floor = best(
            lambda: evaluator.pose(channels), lambda: evaluator.pose(stretched), bare, times=15
        )
        row(name, ours, floor, 3.0)
        row("the same, stretching", other, floor, 4.0)
    one = {name: float(value[0]) for name, value in channels.items()}
    row("one pose", *best(lambda: evaluator.pose(one), times=99), 1e-3, 1.0)
    many = animated(evaluator, 10 * POSES)
    ours, tenfold = best(lambda: evaluator.pose(channels), lambda: evaluator.pose(many), times=5)
    row("ten times the poses", tenfold, ours, 12.0)
    few, more = creatures(10), creatures(100)
    of_few, of_more = animated(few, 100), animated(more, 100)
    ours, tenfold = best(lambda: few.pose(of_few), lambda: more.pose(of_more), times=5)
    row("ten times the nodes", tenfold, ours, 12.0)
    state = evaluator.pose(channels)._state
    held = sum(part.nbytes for part in (state.world, state.moves, state.turns, state.local))
    print(f"memory of a pose {held / POSES / 1024:.0f} kB")
