"""Running a program: which number means which operation, and one after another until the end.

Every operation reads its operands after its own number and says where the next operation begins.
To add one is to name it in `OPERATIONS`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from somite.evaluate.scalar.curve import (
    curve_stretched,
    point_carried,
    point_fixed,
    point_held,
)
from somite.evaluate.scalar.face import faced
from somite.evaluate.scalar.follow import (
    blended_places,
    blended_sizes,
    blended_turns,
    blended_two,
    chosen_places,
    chosen_turns,
    turned_about,
    weighed_between,
    weighed_by_choice,
)
from somite.evaluate.scalar.live import (
    angle_between,
    apart,
    applied,
    combined,
    kept,
    mapped,
    summed,
)
from somite.evaluate.scalar.nodes import (
    angled,
    carried,
    evened,
    free,
    moved,
    placed_rigid,
    placed_same,
    placed_scaled,
    placed_stretched,
    resized,
    turned_by,
    turned_rest,
    turned_same,
)
from somite.evaluate.scalar.reach import reached
from somite.evaluate.scalar.ride import ridden
from somite.evaluate.scalar.twist import twist_read, twisted

Operation = Callable[[Any, int, Any, Any], int]
OPERATIONS: tuple[Operation, ...] = (
    free,
    carried,
    placed_rigid,
    turned_rest,
    turned_same,
    placed_same,
    turned_by,
    angled,
    blended_two,
    blended_places,
    blended_turns,
    weighed_between,
    weighed_by_choice,
    chosen_places,
    chosen_turns,
    moved,
    placed_scaled,
    placed_stretched,
    resized,
    evened,
    twist_read,
    twisted,
    applied,
    kept,
    mapped,
    summed,
    combined,
    apart,
    angle_between,
    faced,
    reached,
    ridden,
    point_fixed,
    point_held,
    point_carried,
    turned_about,
    blended_sizes,
    curve_stretched,
)
"""Every operation; its place here is the number that a program knows it by."""


def run(code: Any, constants: Any, memory: Any) -> None:
    """Run a program over one block of poses, those of one lane each."""
    at, end = 0, len(code)
    while at < end:
        at = OPERATIONS[code[at]](code, at + 1, constants, memory)
