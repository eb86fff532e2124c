"""What is known while a chunk of poses is evaluated: arrays that steps read and write.

Every array has poses on its last axis. A slot of `world` holds one transform as four rows of
four: the rows of the linear part with the place in the fourth column, then the turn. Slot 0 is
the world outside the rig; after the nodes come slots that only constraints write (a place, a
turn). Nothing here knows what a rig is.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, Protocol, TypeAlias

import numpy as np

from somite.evaluate.algebra import Array

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer

TURN = 3
"""The row of a slot that holds its turn."""
PLACE = (slice(None), slice(0, 3), 3)
"""The index of the places of some slots."""
LINEAR = (slice(None), slice(0, 3), slice(0, 3))
"""The index of the linear parts of some slots."""


SizeKind: TypeAlias = Literal["one", "even", "any"]


class Size(NamedTuple):
    """Which inherited size: none, a row of `scales`, or a row of `stretches`."""

    kind: SizeKind
    row: int = 0


ONE = Size("one")


@dataclass(slots=True)
class Sizes:
    """How many rows each array of a state has; of the slots, those of nodes come first."""

    slots: int = 1
    nodes: int = 0
    moves: int = 0
    turns: int = 0
    sizes: int = 0
    dials: int = 0
    gauges: int = 0
    scales: int = 1
    stretches: int = 0
    extras: int = 0
    points: tuple[int, ...] = ()

    @property
    def channels(self) -> int:
        """How many channels and dials there are."""
        return 3 * (self.moves + self.turns + self.sizes) + self.dials


@dataclass(slots=True)
class State:
    """Arrays of one run: (rows, ..., poses).

    `channels` are all moves, turns, sizes and dials, one after another, which are views of it.
    `scales` are even sizes and `stretches` any others, A of world linear part = A · R(turn);
    `extras` are sizes that stretching gives a chain's joints; `points` the control points of each
    curve, (3, points, poses); `local` the turns of nodes within their mounts.
    """

    world: Array
    channels: Array
    moves: Array
    turns: Array
    sizes: Array
    local: Array
    dials: Array
    gauges: Array
    scales: Array
    stretches: Array
    extras: Array
    points: tuple[Array, ...]

    @property
    def poses(self) -> int:
        """How many poses there are."""
        return int(self.world.shape[-1])

    def window(self, start: int, stop: int, work: State) -> State:
        """Some of the poses, worked out in the arrays of another state of as many or more."""
        views: dict[str, Any] = {}
        for field in fields(self):
            held = getattr(self, field.name)
            if field.name in WORKING:
                views[field.name] = getattr(work, field.name)[..., : stop - start]
            elif isinstance(held, tuple):
                views[field.name] = tuple([one[..., start:stop] for one in held])
            else:
                views[field.name] = held[..., start:stop]
        return State(**views)


def new_state(sizes: Sizes, channels: Array, kept: int | None = None) -> State:
    """A state for these channels (rows, poses), which it takes over: slot 0 is the identity.

    With `kept`, only what outlives a run has room: so many slots, channels, points and gauges.
    """
    working, poses = kept is None, channels.shape[-1]
    moved, turned = 3 * sizes.moves, 3 * (sizes.moves + sizes.turns)
    sized = turned + 3 * sizes.sizes
    world = np.empty((kept or sizes.slots, 4, 4, poses))
    world[0] = np.eye(4)[:, :, None]
    return State(
        world=world,
        channels=channels,
        moves=channels[:moved].reshape(sizes.moves, 3, poses),
        turns=channels[moved:turned].reshape(sizes.turns, 3, poses),
        sizes=channels[turned:sized].reshape(sizes.sizes, 3, poses),
        local=np.empty((sizes.turns if working else 0, 4, poses)),
        dials=channels[sized:],
        gauges=np.zeros((sizes.gauges, poses)),
        scales=np.ones((sizes.scales if working else 0, poses)),
        stretches=np.empty((sizes.stretches if working else 0, 3, 3, poses)),
        extras=np.ones((sizes.extras if working else 0, 3, poses)),
        points=tuple([np.empty((3, count, poses)) for count in sizes.points]),
    )


WORKING = ("world", "local", "scales", "stretches", "extras")
"""Arrays that a run works in: the rest of a state is what it was given and what it gives."""


class Step(Protocol):
    """One operation on a group of equals: everything it reads was written by steps before it.

    It has two forms, which mean the same: over arrays, and as operations of a program.
    """

    def run(self, state: State) -> None:
        """Read and write a state."""

    def encode(self, writer: Writer) -> None:
        """Write operations that do the same into a program."""
