"""The program's interpreter compiled by numba: the same functions, many poses at once.

One kernel serves every rig, since a rig is numbers to it. It is compiled when it is first asked
for, which takes a while, and kept where numba keeps such things (the variable NUMBA_CACHE_DIR
says where, if it is set). numba is an extra: nothing else in somite needs it.
"""

from __future__ import annotations

import hashlib
import inspect
import types
from collections.abc import Callable, Sequence
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from somite.evaluate.algebra import Array
from somite.evaluate.scalar import lanes
from somite.evaluate.scalar.algebra import half_turn, half_turn_in_lanes
from somite.evaluate.scalar.blocks import run_blocks
from somite.evaluate.scalar.interpret import OPERATIONS, run
from somite.evaluate.scalar.writer import Program

WIDTH = 16
"""Lanes: poses that are worked out together, twice what the widest processors take at once."""

_OTHERS = {half_turn: half_turn_in_lanes}
"""Functions that have another form for lanes."""


def available() -> bool:
    """Whether numba is there."""
    return find_spec("numba") is not None


def run_compiled(program: Program, channels: Array, driven: Sequence[int]) -> Array:
    """Run a program, written for `WIDTH` lanes, over channels (rows, poses).

    Gives the rows that are kept (rows, poses). Into the rows `driven` of the channels goes what the
    program makes of them.
    """
    kept = np.empty((program.kept, channels.shape[-1]))
    if "code" not in program.arrays:
        program.arrays["code"] = np.array(program.code, dtype=np.uint32)
        program.arrays["constants"] = np.array(program.constants)
        program.arrays["memory"] = np.repeat(np.array(program.memory), WIDTH)
        program.arrays["driven"] = np.array(driven, dtype=np.uint32)
    code, constants, memory, written = program.arrays.values()
    kernel()(code, constants, memory.copy(), channels, program.channels, written, kept)
    return kept


@cache
def kernel() -> Callable[..., None]:
    """The compiled kernel. Where nothing can be kept it is compiled for this process alone."""
    import numba

    entry = _entry()
    try:
        made: Callable[..., None] = numba.njit(entry, error_model="numpy", cache=True)
        made(*_nothing())
    except Exception:  # what is kept may be broken in any way, or the folder closed to us
        made = numba.njit(_entry(), error_model="numpy")
        made(*_nothing())
    return made


def _nothing() -> tuple[Any, ...]:
    """Arguments of a run that does nothing, of the types of all others."""
    empty, numbers, nothing = np.zeros(0), np.zeros(0, dtype=np.uint32), np.zeros((0, 0))
    return numbers, empty, empty, nothing, 0, numbers, nothing


def _entry() -> Any:
    """The kernel as Python, over compiled operations.

    What numba keeps is found again by the code of this function alone and by what it closes over:
    so that is a digest of every file that goes into it.
    """
    made: dict[Any, Any] = {}
    made[run] = _compiled_run(made)
    kept = _kept_by(_digest())
    names = {"__builtins__": __builtins__, "__name__": __name__}
    names[run_blocks.__name__] = _compiled(run_blocks, made)
    return types.FunctionType(kept.__code__, names, kept.__name__, closure=kept.__closure__)


def _kept_by(digest: str) -> Any:
    def blocks(
        code: Any, constants: Any, memory: Any, channels: Any, first: int, driven: Any, kept: Any
    ) -> None:
        digest  # noqa: B018
        run_blocks(code, constants, memory, channels, first, driven, kept)

    return blocks


def _digest() -> str:
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _compiled_run(made: dict[Any, Any]) -> Any:
    """`interpret.run` with a branch for each operation, since numba has no tables of functions."""
    import numba

    lines = [
        "def run(code, constants, memory):",
        "    at, end = 0, len(code)",
        "    while at < end:",
        "        which = code[at]",
        "        at += 1",
    ]
    for number, operation in enumerate(OPERATIONS):
        lines.append(f"        {'el' if number else ''}if which == {number}:")
        lines.append(f"            at = {operation.__name__}(code, at, constants, memory)")
    names: dict[str, Any] = {one.__name__: _compiled(one, made) for one in OPERATIONS}
    exec("\n".join(lines), names)
    return numba.njit(names["run"], error_model="numpy")


def _compiled(function: Any, made: dict[Any, Any]) -> Any:
    """A function compiled, with every function it calls, for as many lanes as there are here."""
    import numba

    function = _OTHERS.get(function, function)
    if function not in made:
        names: dict[str, Any] = {"__builtins__": __builtins__, "__name__": function.__module__}
        for name in function.__code__.co_names:
            value = function.__globals__.get(name)
            if isinstance(value, types.FunctionType):
                names[name] = _compiled(value, made)
            elif name == "EVERY":
                names["LANES"] = WIDTH
            elif name in vars(lanes):
                names[name] = value * WIDTH
            elif value is not None:
                names[name] = value
        source = inspect.getsource(function).replace("in EVERY:", "in range(LANES):")
        exec(source, names)
        made[function] = numba.njit(names[function.__name__], error_model="numpy")
    return made[function]
