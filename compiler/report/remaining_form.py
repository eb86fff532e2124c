"""What is left of an error after keys were written, as a person reads it.

What comes in is the measured errors of a clip; what goes out is a table and lines of reasons, in
the recipe's unit and degrees. Nothing here measures.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from somite.canonical import number
from somite.report.table import table
from somite.units import degrees, metres_per

if TYPE_CHECKING:
    from somite.carry import CarriedClip
    from somite.ir import Rig
    from somite.matching.measure import Off, Remaining

NOTHING = {"place": 1e-9, "turn": 1e-9, "size": 1e-9}
"""Errors in heights, radians and one that are rounding alone."""


def remaining_text(left: Iterable[Remaining], because: Iterable[str], rig: Rig) -> str:
    """The worst errors at keys and between them, each with its node and frame, and the reasons."""
    rows = [
        [
            f"{one.kind}s",
            one.what,
            *_cells(one.at_keys, one.what, rig),
            *_cells(one.between, one.what, rig),
        ]
        for one in left
        if one.what != "size"
        or not (_none(one.at_keys, "size", rig) and _none(one.between, "size", rig))
    ]
    head = ["remaining error", "of", "at keys", "worst", "between keys", "worst"]
    made = table(head, rows, numbers=(2, 4)) if rows else ""
    return made + "".join([f"because {reason}\n" for reason in because])


def carried_text(made: CarriedClip, rig: Rig) -> str:
    """What became of a clip on a new rig: what was carried, what was not, and what is left."""
    lines = [f"the clip {made.verdict}\n"]
    lines += [f"carried: {reason}\n" for reason in made.done]
    lines += [f"solved again: {', '.join(made.solved)}\n"] if made.solved else []
    lines += [f"not carried: {reason}\n" for reason in made.lost]
    return "".join(lines) + remaining_text(made.left, made.because, rig)


def _cells(off: Off, what: str, rig: Rig) -> tuple[str, str]:
    if _none(off, what, rig):
        return "none", ""
    return amount_words(off.amount, what, rig), f"{off.node} at {number(off.frame)}"


def _none(off: Off, what: str, rig: Rig) -> bool:
    return off.amount <= NOTHING[what] * (max(rig.height, 1e-9) if what == "place" else 1.0)


def amount_words(amount: float, what: str, rig: Rig) -> str:
    """An error with its unit: "0.02 cm", "1.5 deg", "0.1 %"."""
    if what == "place":
        return f"{_short(amount / metres_per(rig.unit))} {rig.unit}"
    return f"{_short(degrees(amount))} deg" if what == "turn" else f"{_short(100.0 * amount)} %"


def _short(value: float) -> str:
    """Three figures, without an exponent."""
    if value >= 100.0:
        return f"{value:.0f}"
    for places in range(2, 10):
        if value >= 10.0 ** (1 - places + 1):
            return f"{value:.{places}f}".rstrip("0").rstrip(".")
    return number(value)
