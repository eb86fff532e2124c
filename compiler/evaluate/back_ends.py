"""What works poses out: grouped arrays, a program over plain floats, or the same compiled.

All three take a plan and its channels, and give the same results within rounding. Which one is used
depends on what was asked for and on how many poses there are, never on what is installed.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np

from somite.evaluate.algebra import Array
from somite.evaluate.layout import Layout
from somite.evaluate.results import Results, results_of_rows, results_of_state
from somite.evaluate.scalar import interpret
from somite.evaluate.state import State, new_state

BackEnd: TypeAlias = Literal["auto", "arrays", "scalar", "compiled"]

FEW = 4
"""Up to so many poses the scalar program is quicker than arrays."""
CHUNK = 1000
"""Poses that are evaluated together: enough to pay for a step, few enough to stay near, and no
power of two, whose rows would fall on the same lines of a cache."""


class MissingExtra(ImportError):
    """What was asked for needs an extra that is not installed."""


def chosen(asked: BackEnd, poses: int) -> BackEnd:
    """The back end for so many poses. Raises MissingExtra, and ValueError for an unknown name."""
    if asked == "auto":
        return "scalar" if poses <= FEW else "arrays"
    if asked == "compiled":
        from somite.evaluate.scalar.compiled import available

        if not available():
            message = 'the back end "compiled" needs numba: pip install "somite[compiled]"'
            raise MissingExtra(message)
    elif asked not in ("arrays", "scalar"):
        message = f'expected a back end (auto, arrays, scalar or compiled), found "{asked}"'
        raise ValueError(message)
    return asked


def run(back_end: BackEnd, plan: Layout, channels: Array) -> Results:
    """Evaluate a plan with these channels (rows, poses)."""
    if back_end == "arrays":
        return run_arrays(plan, channels)
    return run_scalar(plan, channels) if back_end == "scalar" else run_compiled(plan, channels)


def run_arrays(plan: Layout, channels: Array) -> Results:
    """Every step over all poses, or over one chunk of them after another."""
    nodes, poses = plan.sizes.nodes, channels.shape[-1]
    with np.errstate(all="ignore"):
        if poses <= CHUNK:
            state = new_state(plan.sizes, channels)
            plan.run(state)
        else:
            state = new_state(plan.sizes, channels, nodes + 1)
            _run_in_parts(plan, state)
    return results_of_state(state, nodes)


def _run_in_parts(plan: Layout, state: State) -> None:
    """Run a plan over many poses, a chunk at a time in arrays that stay."""
    work = new_state(plan.sizes, np.empty((plan.sizes.channels, CHUNK)))
    kept = len(state.world)
    for start in range(0, state.poses, CHUNK):
        stop = min(state.poses, start + CHUNK)
        part = state.window(start, stop, work)
        plan.run(part)
        state.world[..., start:stop] = part.world[:kept]


def run_scalar(plan: Layout, channels: Array) -> Results:
    """The program as Python, a pose at a time."""
    program = plan.program(1)
    code, constants, kept = program.code, program.constants, program.kept
    first, last = program.channels, program.channels + program.channel_count
    rows = np.empty((channels.shape[-1], kept))
    for pose, values in enumerate(channels.T.tolist()):
        memory = program.memory.copy()
        memory[first:last] = values
        interpret.run(code, constants, memory)
        rows[pose] = memory[:kept]
        for row in plan.driven:
            channels[row, pose] = memory[first + row]
    return results_of_rows(program, rows.T, channels)


def run_compiled(plan: Layout, channels: Array) -> Results:
    """The program compiled, some poses at a time."""
    from somite.evaluate.scalar import compiled

    program = plan.program(compiled.WIDTH)
    rows = compiled.run_compiled(program, channels, plan.driven)
    return results_of_rows(program, rows, channels)
