"""Writing a program: rows of memory for what a plan works with, constants, and operations.

Steps write themselves (`Step.encode`), in order. In come the sizes of a plan's arrays and which
slots are sized, out goes a `Program`. Addresses are those of rows times
lanes, so that a program is written for so many lanes.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from math import nan
from typing import Any

from somite.evaluate.scalar import nodes
from somite.evaluate.scalar.interpret import OPERATIONS, Operation
from somite.evaluate.state import ONE, Size, Sizes

_FIXED, _SCRATCH = 1 << 29, 1 << 30
"""From here on addresses are of fixed numbers and of scratch, which lie after all else."""
_NUMBERS = {operation: number for number, operation in enumerate(OPERATIONS)}


@dataclass(frozen=True, slots=True)
class Program:
    """A plan as numbers, and what its memory begins with: one lane of it.

    The first `kept` rows are what a run leaves: `slots`, the world outside and the nodes; scales
    and stretches, of which `sized` tells those of slots; gauges, and the control points of each
    curve. Then come channels. `arrays` is for those who keep it as arrays.
    """

    code: list[int]
    constants: list[float]
    memory: list[float]
    kept: int
    slots: int
    scales: int
    stretches: int
    sized: dict[int, Size]
    gauges: int
    points: tuple[int, ...]
    point_counts: tuple[int, ...]
    channels: int
    channel_count: int
    arrays: dict[str, Any] = field(default_factory=dict)


class Writer:
    """A program under way."""

    def __init__(
        self, sizes: Sizes, sized: dict[int, Size], handed: dict[int, int], lanes: int
    ) -> None:
        self.lanes, self._sizes = lanes, sizes
        self._code: list[int] = []
        self._constants: list[float] = []
        self._known: dict[tuple[float, ...], int] = {}
        self._fixed: list[float] = []
        self._known_fixed: dict[tuple[float, ...], int] = {}
        self._written: dict[Hashable, int] = {}
        self._used = self._scratch = 0
        self._rows = 0
        self._nodes = sizes.nodes + 1
        self._region(7 * self._nodes)
        self._sized, self._handed = sized, handed
        self._scales = self._region(sizes.scales)
        self._stretches = self._region(9 * sizes.stretches)
        self._gauges = self._region(sizes.gauges)
        self._points = tuple([self._region(3 * count) for count in sizes.points])
        self._kept = self._channels = self._rows
        self._moves, self._turns = self._region(3 * sizes.moves), self._region(3 * sizes.turns)
        self._extents, self._dials = self._region(3 * sizes.sizes), self._region(sizes.dials)
        self._spare = self._region(7 * (sizes.slots - self._nodes))
        self._local = self._region(4 * sizes.turns)
        self._extras = self._region(3 * sizes.extras)

    def _region(self, rows: int) -> int:
        first = self._rows
        self._rows += rows
        return first

    # ---- where things lie ------------------------------------------------------------------------

    def slot(self, slot: int) -> int:
        """A place and a turn."""
        slot = self._handed.get(slot, slot)
        spare = slot - self._nodes
        return (7 * slot if spare < 0 else self._spare + 7 * spare) * self.lanes

    def size_of_slot(self, slot: int) -> tuple[int, int]:
        """The kind and the address of a slot's own size."""
        return self.size_of(self._sized.get(slot, ONE))

    def size_of(self, size: Size) -> tuple[int, int]:
        """The kind and the address of a size."""
        if size.kind == "one":
            return nodes.ONE, 0
        if size.kind == "even":
            return nodes.EVEN, self.scale(size.row)
        return nodes.ANY, self.stretch(size.row)

    def move(self, row: int, axis: int = 0) -> int:
        """A row of a state's moves."""
        return (self._moves + 3 * row + axis) * self.lanes

    def turn(self, row: int, axis: int = 0) -> int:
        """A row of a state's turns."""
        return (self._turns + 3 * row + axis) * self.lanes

    def size(self, row: int, axis: int = 0) -> int:
        """A row of a state's sizes."""
        return (self._extents + 3 * row + axis) * self.lanes

    def dial(self, row: int) -> int:
        """A row of a state's dials."""
        return (self._dials + row) * self.lanes

    def gauge(self, row: int) -> int:
        """A row of a state's gauges."""
        return (self._gauges + row) * self.lanes

    def local(self, row: int) -> int:
        """A row of a state's local turns: a quaternion."""
        return (self._local + 4 * row) * self.lanes

    def scale(self, row: int) -> int:
        """A row of a state's scales."""
        return (self._scales + row) * self.lanes

    def stretch(self, row: int) -> int:
        """A row of a state's stretches: a matrix."""
        return (self._stretches + 9 * row) * self.lanes

    def extra(self, row: int) -> int:
        """A row of a state's extras: a vector."""
        return (self._extras + 3 * row) * self.lanes

    def point(self, curve: int, index: int = 0) -> int:
        """A control point: a vector."""
        return (self._points[curve] + 3 * index) * self.lanes

    def fixed(self, *values: float) -> int:
        """Rows, one after another, that always hold these numbers."""
        found = self._known_fixed.get(values)
        if found is None:
            found = self._known_fixed[values] = len(self._fixed)
            self._fixed.extend(values)
        return _FIXED + found * self.lanes

    def once(self, key: Hashable, rows: int, encode: Callable[[int], None]) -> int:
        """Rows that are written once, the first time they are asked for, by what `encode` writes.

        What they are made of must not change later in the program.
        """
        found = self._written.get(key)
        if found is None:
            found = self._written[key] = _FIXED + len(self._fixed) * self.lanes
            self._fixed.extend([nan] * rows)
            encode(found)
        return found

    def scratch(self, rows: int) -> int:
        """Rows to work in until the end of the step."""
        first = self._used
        self._used += rows
        self._scratch = max(self._scratch, self._used)
        return _SCRATCH + first * self.lanes

    def constant(self, *values: float) -> int:
        """Where these numbers stand, one after another, among the constants."""
        held = tuple([float(value) for value in values])
        found = self._known.get(held)
        if found is None:
            found = self._known[held] = len(self._constants)
            self._constants.extend(held)
        return found

    # ---- operations ------------------------------------------------------------------------------

    def step(self, encode: Callable[[Writer], None]) -> None:
        """Have a step write itself, with all scratch to itself."""
        self._used = 0
        encode(self)

    def add(self, operation: Operation, members: Iterable[Sequence[int]]) -> None:
        """Write one operation for all these members; none at all for no members."""
        held = list(members)
        if held:
            self._code.append(_NUMBERS[operation])
            self._code.extend(listed(held))

    def program(self, channels: Sequence[float], unwritten: float = 0.0) -> Program:
        """The program; `channels` are as at rest, `unwritten` is where nothing stands yet."""
        fixed = self._rows
        scratch = fixed + len(self._fixed)
        memory = [unwritten] * (scratch + self._scratch)
        memory[0:7] = [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0]
        memory[self._channels : self._channels + len(channels)] = channels
        first = self._extras
        memory[first : first + 3 * self._sizes.extras] = [1.0] * (3 * self._sizes.extras)
        memory[fixed:scratch] = self._fixed
        return Program(
            [self._resolved(number, fixed, scratch) for number in self._code],
            self._constants,
            memory,
            self._kept,
            self._nodes,
            self._scales,
            self._stretches,
            self._sized,
            self._gauges,
            self._points,
            self._sizes.points,
            self._channels,
            self._sizes.channels,
        )

    def _resolved(self, number: int, fixed: int, scratch: int) -> int:
        if number >= _SCRATCH:
            return number - _SCRATCH + scratch * self.lanes
        return number - _FIXED + fixed * self.lanes if number >= _FIXED else number


def listed(members: Sequence[Sequence[int]]) -> list[int]:
    """Members as an operation reads them: how many, then the operands of each."""
    return [len(members), *[operand for member in members for operand in member]]
