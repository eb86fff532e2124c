"""Ownership: the shares of each control point of a curve come to one, and its ends have one owner.

Each grip is moved alone, and the points that go with it, and how far, are its own. The first two
points of a ridden curve, and the last two, set its tangent there: they need the same owner.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from somite.evaluate.algebra import Array
from somite.findings import Code
from somite.ir import Curve, Ride
from somite.laws.law import Breach, Law
from somite.laws.trial import Trial

LAW_OWNERSHIP = Code("law-ownership")

CLOSE = 1e-6
"""Shares that differ by less are the same."""
STEP = 0.01
"""How far a grip is moved, in heights of the rig."""


def breaches(trial: Trial) -> Iterator[Breach]:
    """Curve by curve."""
    ridden = {one.curve for one in trial.rig.constraints if isinstance(one, Ride)}
    for curve in trial.rig.curves:
        grips = list(dict.fromkeys(share.grip for share in curve.shares))
        if not grips:
            continue
        shares = _shares(trial, curve, grips)
        yield from _sums(trial, curve, grips, shares)
        if curve.name in ridden and len(curve.points) >= 4:
            yield from _ends(trial, curve, grips, shares)


def _shares(trial: Trial, curve: Curve, grips: list[str]) -> Array:
    """How far each point goes with each grip, in shares of the grip's own move: (grips, points)."""
    step = STEP * trial.far
    poses = trial.poses()
    poses.add({})
    for grip in grips:
        poses.add({f"{grip}.move.x": step})
    posed = poses.posed()
    points = posed.points(curve.name)
    found = np.zeros((len(grips), len(curve.points)))
    for row, grip in enumerate(grips, 1):
        moved = posed.place(grip)[row] - posed.place(grip)[0]
        away = points[row] - points[0]
        square = float(moved @ moved)
        found[row - 1] = away @ moved / square if square > 0.0 else 0.0
    return found


def _sums(trial: Trial, curve: Curve, grips: list[str], shares: Array) -> Iterator[Breach]:
    """Where grips hang on each other, a point goes with all above its owner: not told here."""
    nested = any(set(trial.above(grip)) & set(grips) != {grip} for grip in grips)
    if nested:
        return
    for point in np.flatnonzero(np.abs(shares.sum(axis=0) - 1.0) > CLOSE):
        yield Breach(
            trial.statements[curve.name],
            f'expected point {point + 1} of "{curve.name}" to be owned by 100% in all, found'
            f" {shares[:, point].sum() * 100.0:.6g}%",
            "change the shares of its grips so that they sum to 100%",
            tuple(trial.statements[grip] for grip in grips),
        )


def _ends(trial: Trial, curve: Curve, grips: list[str], shares: Array) -> Iterator[Breach]:
    last = len(curve.points)
    for where, outer, inner in (("start", 0, 1), ("end", last - 1, last - 2)):
        if np.abs(shares[:, outer] - shares[:, inner]).max() <= CLOSE:
            continue
        owners = [
            " and ".join(f'"{grips[k]}"' for k in np.flatnonzero(shares[:, point] > CLOSE))
            for point in (outer, inner)
        ]
        own = next(share for share in curve.shares if share.point == inner)
        yield Breach(
            trial.statements[own.grip],
            f'expected points {outer + 1} and {inner + 1} at the {where} of "{curve.name}", which'
            f" is ridden, to have one owner, found {owners[0]} and {owners[1]}: turning one does"
            " not turn the curve's end with it",
            f"let one grip own both: owns {min(outer, inner) + 1}..{max(outer, inner) + 1}",
            (trial.statements[curve.name], *(trial.statements[grip] for grip in grips)),
        )


LAW = Law(
    4,
    "ownership",
    "the shares of each curve point come to one, and a ridden curve's ends have one owner each",
    LAW_OWNERSHIP,
    breaches,
)
