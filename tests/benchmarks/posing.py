"""Posing a complete biped: against bare forward kinematics, and against its own growth.

Every back end is measured; the compiled one where numba is there.

The peer is Pinocchio's forward kinematics (the package `pin`, of this benchmark only) on the same
tree: a joint that moves and turns where a node does, one that turns where a node turns, and a
single hinge where a node has no channel of its own; one thread. Without `pin` its row is left out.
"""

from __future__ import annotations

import gc
import os
import time
import tracemalloc
from collections import Counter
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded: one thread

import material
import numpy as np

from somite import pipeline
from somite.evaluate import Evaluator
from somite.evaluate.scalar.compiled import available
from somite.ir import Ride

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


def steady(function: Callable[[], object], times: int) -> float:
    """Seconds of the fastest of many runs one after another, as a player of animation has it."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        function()
        found.append(time.perf_counter() - start)
    return min(found)


def contents(evaluator: Evaluator) -> str:
    """What the rig is made of, counted."""
    rig = evaluator.settled.rig
    kinds = Counter(type(one).__name__.lower() for one in rig.constraints)
    riding = next(one for one in rig.chains if one.name == ridden(evaluator))
    told = [f"{kinds['follow']} follows", f"{kinds['reach']} reaches"]
    return f"{len(rig.nodes)} transforms, {', '.join(told)}, {len(riding.joints)} riding bones"


def ridden(evaluator: Evaluator) -> str:
    """The chain that rides."""
    return next(one.chain for one in evaluator.settled.rig.constraints if isinstance(one, Ride))


def run(row: Callable[..., None]) -> None:
    """Every figure, by the row function of `run.py`."""
    evaluator = Evaluator(biped().settled, "arrays")
    print(contents(evaluator))
    many_poses(row, evaluator)
    one_pose(row)
    growth(row, evaluator)
    memory(evaluator)


def many_poses(row: Callable[..., None], arrays: Evaluator) -> None:
    """A thousand poses by arrays and by the compiled program, against the peer."""
    kernels = Evaluator(arrays.settled, "compiled") if available() else None
    channels, stretched = animated(arrays, POSES), animated(arrays, POSES, stretched=True)
    if kernels is not None:
        start = time.perf_counter()
        kernels.pose(channels)
        print(f"{'the kernel, made or found':<34}{(time.perf_counter() - start) * 1e3:10.1f} ms")
    ours = [
        (f"{POSES:,} poses, {name}{more}", partial(one.pose, given), bound + further)
        for name, one, bound in (("arrays", arrays, 3.0), ("compiled", kernels, 1.0 / 1.3))
        if one is not None
        for more, given, further in (("", channels, 0.0), (", stretching", stretched, 1.0))
    ]
    bare = peer(arrays, POSES)
    timed = best(*[function for _, function, _ in ours], *([bare] if bare else []), times=25)
    for (name, _, bound), seconds in zip(ours, timed, strict=False):
        if bare is not None:
            row(name, seconds, timed[-1], bound)
        else:
            print(f"{name:<34}{seconds * 1e3:10.1f} ms            (no pin to compare with)")


def one_pose(row: Callable[..., None]) -> None:
    """One pose of a compiled rig, as a program asks for it, against a thousandth of a second."""
    compiled = pipeline.compile(HERE / "biped.somite", HERE / "biped.toml")
    one = {name: float(value[0]) for name, value in animated(biped(), 1).items()}
    row("one pose", steady(lambda: compiled.pose(one), times=600), 1e-3, 1.0)


def growth(row: Callable[..., None], arrays: Evaluator) -> None:
    """Ten times the poses, and ten times the nodes."""
    few, more = animated(arrays, POSES), animated(arrays, 10 * POSES)
    ends = [("arrays", arrays)]
    if available():
        ends.append(("compiled", Evaluator(arrays.settled, "compiled")))
    for name, one in ends:
        ours, tenfold = best(partial(one.pose, few), partial(one.pose, more), times=9)
        row(f"ten times the poses, {name}", tenfold, ours, 12.0)
    for name, poses in (("arrays", 100), ("scalar", 1)):
        ten, hundred = (Evaluator(creatures(count).settled, name) for count in (10, 100))
        of_ten, of_hundred = animated(ten, poses), animated(hundred, poses)
        ours, tenfold = best(partial(ten.pose, of_ten), partial(hundred.pose, of_hundred), times=9)
        row(f"ten times the nodes, {name}", tenfold, ours, 12.0)


def memory(arrays: Evaluator) -> None:
    """What a pose keeps, and what evaluating ten thousand takes at the most."""
    ends = [("arrays", arrays), ("scalar", Evaluator(arrays.settled, "scalar"))]
    channels = animated(arrays, 10 * POSES)
    for name, one in ends:
        given = channels if name == "arrays" else {key: v[:100] for key, v in channels.items()}
        tracemalloc.start()
        posed = one.pose(given)
        kept, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        share = posed.poses * 1024
        print(
            f"memory of a pose, {name:<16}{kept / share:10.1f} kB kept  {most / share:.1f} kB most"
        )
