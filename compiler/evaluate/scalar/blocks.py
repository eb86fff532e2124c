"""Running a program over many poses: a block of as many as there are lanes after another."""

from __future__ import annotations

from typing import Any

from somite.evaluate.scalar.algebra import ADDRESS
from somite.evaluate.scalar.interpret import run
from somite.evaluate.scalar.lanes import EVERY, LANES


def run_blocks(
    code: Any, constants: Any, memory: Any, channels: Any, first: int, driven: Any, kept: Any
) -> None:
    """Run a program over channels (rows, poses), which go to memory from row `first` on.

    The first rows of memory are written to `kept` (rows, poses), and of channels the rows `driven`
    to where they came from.
    """
    poses = channels.shape[1]
    for start in range(0, poses, LANES):
        width = min(LANES, poses - start)
        if width == LANES:
            _taken(memory, first, channels, start)
        else:
            _some_taken(memory, first, channels, start, width)
        run(code, constants, memory)
        for row in driven:
            for lane in range(width):
                channels[row, start + lane] = memory[(first + row) * LANES + lane]
        if width == LANES:
            _given(memory, kept, start)
        else:
            _some_given(memory, kept, start, width)


def _taken(memory: Any, first: int, channels: Any, start: int) -> None:
    """Channels of as many poses as there are lanes written to memory."""
    for row in range(channels.shape[0]):
        to, source = ((first + row) * LANES) & ADDRESS, start & ADDRESS
        for lane in EVERY:
            memory[to + lane] = channels[row, source + lane]


def _some_taken(memory: Any, first: int, channels: Any, start: int, width: int) -> None:
    """The same of fewer poses: the last of them goes into the lanes that are left."""
    for row in range(channels.shape[0]):
        for lane in EVERY:
            value = channels[row, start + min(lane, width - 1)]
            memory[(first + row) * LANES + lane] = value


def _given(memory: Any, kept: Any, start: int) -> None:
    """Rows of memory written to rows of poses, which many lanes fill a line of a cache with."""
    for row in range(kept.shape[0]):
        source, to = (row * LANES) & ADDRESS, start & ADDRESS
        for lane in EVERY:
            kept[row, to + lane] = memory[source + lane]


def _some_given(memory: Any, kept: Any, start: int, width: int) -> None:
    """The same of fewer poses."""
    for row in range(kept.shape[0]):
        for lane in range(width):
            kept[row, start + lane] = memory[row * LANES + lane]
