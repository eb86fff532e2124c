"""Curves in many poses: control points from their owners, and the polynomials between knots.

Beyond its end a curve runs on along its end tangent, at the speed it had there. Arc lengths are
sums of Gauss-Legendre rules, six points on each of equal parts of every stretch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from somite.evaluate.algebra import Array, Condition, Index, dotted, squared
from somite.evaluate.scalar import curve as scalar
from somite.evaluate.scalar.crossing import LOOKS
from somite.evaluate.scalar.live import combined
from somite.evaluate.scalar.writer import listed
from somite.evaluate.state import State
from somite.spatial import spline

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer

_PARTS_IN_ALL = 16
_PARTS = 4
_GAUSS = (
    (scalar.NODE_1, scalar.WEIGHT_1),
    (scalar.NODE_2, scalar.WEIGHT_2),
    (scalar.NODE_3, scalar.WEIGHT_3),
)
"""Positive nodes and weights of the 6-point rule."""
_NODES = np.array([-node for node, _ in reversed(_GAUSS)] + [node for node, _ in _GAUSS])
_WEIGHTS = np.array([weight for _, weight in reversed(_GAUSS)] + [weight for _, weight in _GAUSS])


@dataclass(slots=True)
class PointsHeld:
    """A curve's control points: sums of what owners hold, then carried by a parent.

    `held` (points, 4) a grip are places in it times shares; `fixed` (points, 3) what nobody owns.
    """

    row: int
    grips: Sequence[int]
    held: Sequence[Array]
    fixed: Array | None
    parent: int | None
    back: Array | None

    def run(self, state: State) -> None:
        """Place the points."""
        points = state.points[self.row]
        if self.fixed is not None:
            points[...] = self.fixed.T[:, :, None]
        for k, (grip, held) in enumerate(zip(self.grips, self.held, strict=True)):
            if k == 0 and self.fixed is None:
                np.matmul(held, state.world[grip, :3], out=points)
            else:
                points += np.matmul(held, state.world[grip, :3])
        if self.parent is not None and self.back is not None:
            moved = np.matmul(self.back, state.world[self.parent, :3])  # rows of parent · rest⁻¹
            old = points.copy()
            for row in range(3):
                points[row] = moved[row, 3]
                for axis in range(3):
                    points[row] += moved[row, axis] * old[axis]

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        count = (
            len(self.held[0]) if self.held else len(self.fixed if self.fixed is not None else ())
        )
        points = [writer.point(self.row, k) for k in range(count)]
        fixed = np.zeros((count, 3)) if self.fixed is None else self.fixed
        writer.add(
            scalar.point_fixed,
            [(to, writer.constant(*place)) for to, place in zip(points, fixed, strict=True)],
        )
        for grip, held in zip(self.grips, self.held, strict=True):
            slot, room = (writer.slot(grip), *writer.size_of_slot(grip)), writer.scratch(3)
            writer.add(
                scalar.point_held,
                [
                    (points[k], *slot, writer.constant(*held[k]), room)
                    for k in range(count)
                    if held[k].any()
                ],
            )
        if self.parent is not None and self.back is not None:
            back = writer.constant(*self.back.T[:3].ravel())
            slot = (writer.slot(self.parent), *writer.size_of_slot(self.parent))
            writer.add(scalar.point_carried, [(to, *slot, back) for to in points])


class Form:
    """What of a curve is the same in every pose: knots, and matrices from points to polynomials."""

    def __init__(self, knots: tuple[float, ...], degree: int, count: int) -> None:
        self.knots, self.degree = knots, degree
        spans = spline.spans(knots)
        self.starts = np.array([start for start, _ in spans])
        self.end = spans[-1][1]
        self.powers = np.stack([_powers(knots, degree, count, start, end) for start, end in spans])
        parts = max(_PARTS, -(-_PARTS_IN_ALL // len(spans)))
        breaks = [start + (end - start) * k / parts for start, end in spans for k in range(parts)]
        self.breaks = np.array([*breaks, self.end])
        self.halves = np.diff(self.breaks) * 0.5
        middles = (self.breaks[:-1] + self.breaks[1:]) * 0.5
        at = middles[:, None] + self.halves[:, None] * _NODES
        self.slopes = np.stack(
            [_row(knots, degree, count, u, 1) for u in (*at.ravel(), *self.breaks)]
        )
        looks = [
            start + (end - start) * k / LOOKS for start, end in spans for k in range(1, LOOKS + 1)
        ]
        self.looks = np.array(looks)
        self.looked = np.stack([_row(knots, degree, count, u, 0) for u in looks])

    def encode(self, writer: Writer, row: int) -> tuple[int, int]:
        """Where a curve's polynomials are in a program's memory, and its form's constants."""
        sums = self.powers.reshape(-1, self.powers.shape[-1])
        first = writer.scratch(3 * len(sums))
        writer.add(combined, _sums(writer, row, sums, first))
        return first, writer.constant(*self.starts, self.end)

    def encode_slopes(self, writer: Writer, row: int) -> tuple[int, list[int]]:
        """Where velocities go, and the operands with which `combined` works them out."""
        first = writer.scratch(3 * len(self.slopes))
        return first, listed(_sums(writer, row, self.slopes, first))


def _sums(writer: Writer, row: int, sums: Array, first: int) -> list[tuple[int, int, int, int]]:
    """Members of `combined`: sums of control points of which most shares are zero."""
    found = []
    for k, shares in enumerate(sums):
        used = np.flatnonzero(shares)
        low, high = (int(used[0]), int(used[-1]) + 1) if len(used) else (0, 0)
        to = first + 3 * k * writer.lanes
        found.append((to, writer.point(row, low), high - low, writer.constant(*shares[low:high])))
    return found


def _row(knots: tuple[float, ...], degree: int, count: int, u: float, order: int) -> Array:
    """What each control point adds to the curve, or to its derivative, at a parameter."""
    span, rows = spline.basis_derivatives(knots, degree, u, order)
    found = np.zeros(count)
    found[span - degree : span + 1] = rows[order]
    return found


def _powers(knots: tuple[float, ...], degree: int, count: int, start: float, end: float) -> Array:
    """Coefficients (degree + 1, points) of powers of (u - start) between two knots.

    Derivatives are taken in the middle, where they belong to this stretch alone, and moved.
    """
    middle = (start + end) * 0.5
    span, rows = spline.basis_derivatives(knots, degree, middle, degree)
    found = np.zeros((degree + 1, count))
    factorial = 1.0
    for k, row in enumerate(rows):
        factorial *= k or 1
        found[k, span - degree : span + 1] = np.array(row) / factorial
    back = start - middle
    for upper in range(1, degree + 1):  # Taylor shift by repeated synthetic division
        for k in range(degree - 1, upper - 2, -1):
            found[k] += back * found[k + 1]
    return found


class Path:
    """A curve in some poses: `points` (3, count, poses)."""

    def __init__(self, form: Form, points: Array) -> None:
        self.form, self.points = form, points
        self.coefficients = np.matmul(form.powers, points[:, None])
        self.poses = points.shape[-1]
        legs = np.diff(points, axis=1)
        self.legs = legs
        square = squared(legs)
        self.leg_squares = square
        self.whole = np.sqrt(square).sum(axis=0)
        _, ending = self._polynomial(np.full((1, self.poses), form.end))
        self.ending = self._moving(ending)[:, 0]

    def taken(self, chosen: Index) -> Path:
        """The same curve in some of its poses."""
        return Path(self.form, self.points[..., chosen])

    def _moving(self, velocity: Array) -> Array:
        """Velocities (3, n, poses), and where one vanishes that of the last leg with a length."""
        square = squared(velocity)
        still = square <= 1e-20 * self.whole * self.whole
        if not still.any():
            return velocity
        spare = np.zeros((3, self.poses))
        spare[0] = 1.0
        for k in range(self.legs.shape[1]):
            found = self.leg_squares[k] > 1e-20 * self.whole * self.whole
            spare = np.where(found & (self.whole > 0.0), self.legs[:, k], spare)
        return np.where(still, spare[:, None], velocity)

    def at(self, u: Array) -> tuple[Array, Array]:
        """Places and velocities (3, n, poses) at parameters (n, poses), none before the start."""
        inside = np.minimum(u, self.form.end)
        place, velocity = self._polynomial(inside)
        over = u - inside
        beyond = over.any(axis=1)
        if beyond.any():
            first = int(np.argmax(beyond))  # joints beyond the end are the last ones
            over, ending = over[first:], self.ending[:, None]
            place[:, first:] += ending * over
            velocity[:, first:] = np.where(over > 0.0, ending, velocity[:, first:])
        return place, velocity

    def _polynomial(self, u: Array) -> tuple[Array, Array]:
        form, held = self.form, self.coefficients
        if len(form.starts) == 1:
            v = u - form.starts[0]
            chosen = [held[:, 0, k, None] for k in range(form.degree + 1)]
        else:
            span = np.searchsorted(form.starts[1:], u, side="right")
            v = u - form.starts[span]
            pose = np.arange(self.poses)
            chosen = [held[:, :, k][:, span, pose] for k in range(form.degree + 1)]
        place = np.empty((3, *u.shape))
        place[...] = chosen[-1]
        velocity: Array = np.zeros(place.shape)
        for k in range(form.degree - 1, -1, -1):
            if k < form.degree - 1:
                velocity *= v
            velocity += place
            place *= v
            place += chosen[k]
        return place, velocity

    def gentle(self) -> Condition:
        """Poses in which the curve cannot come back toward where it was.

        Every two legs of its control polygon make less than a right angle, so that distance from
        any place on the curve only grows along it; looked at from the chord where legs are many.
        """
        legs = self.legs
        count = legs.shape[1]
        found = np.ones(self.poses, dtype=bool)
        if count <= 5:
            for i in range(count):
                for j in range(i):
                    found &= dotted(legs[:, i], legs[:, j]) > 0.0
            return found
        chord = self.points[:, -1] - self.points[:, 0]
        along = dotted(legs, chord[:, None])
        half = 0.5 * self.leg_squares * squared(chord)
        return np.asarray(((along > 0.0) & (along * along > half)).all(axis=0))

    def lengths(self) -> Array:
        """Arc lengths (parts + 1, poses) from the start to the breaks."""
        return self._measured()[0]

    def _measured(self) -> tuple[Array, Array]:
        """Arc lengths to the breaks, and the speeds there."""
        speed = np.sqrt(squared(np.matmul(self.form.slopes, self.points)))
        count = len(self.form.halves)
        parts = speed[: count * len(_NODES)].reshape(count, len(_NODES), self.poses)
        each = np.matmul(_WEIGHTS, parts) * self.form.halves[:, None]
        lengths = np.concatenate([np.zeros((1, self.poses)), np.cumsum(each, axis=0)])
        return lengths, speed[count * len(_NODES) :]

    def parameters(self, fractions: Array) -> Array:
        """Parameters (n, poses) at fractions (n) of the arc length."""
        (lengths, speeds), form = self._measured(), self.form
        wanted = fractions[1:-1, None] * lengths[-1]
        part = (lengths[1:-1, None] <= wanted).sum(axis=0)
        pose = np.arange(self.poses)
        before, after = lengths[part, pose], lengths[part + 1, pose]
        start, width = form.breaks[part], form.halves[part] * 2.0
        across = after - before
        flat = across <= 1e-14 * lengths[-1]
        share = np.where(flat, 0.0, (wanted - before) / np.where(flat, 1.0, across))
        mean = across / width
        slow = 1e-3 * mean
        leave = mean / np.maximum(speeds[part, pose], np.where(flat, 1.0, slow))
        arrive = mean / np.maximum(speeds[part + 1, pose], np.where(flat, 1.0, slow))
        bend = share * (1.0 - share) * ((leave - 1.0) * (1.0 - share) - (arrive - 1.0) * share)
        u = start + width * np.clip(share + bend, 0.0, 1.0)
        for _ in range(scalar.REFINED):
            speed = self._speeds(u)
            reached = before + self._between(start, u)
            still = speed <= 1e-12 * self.whole
            step = (reached - wanted) / np.where(still, 1.0, speed)
            u = np.clip(u - np.where(still, 0.0, step), start, start + width)
        return np.concatenate(
            [np.full((1, self.poses), form.breaks[0]), u, np.full((1, self.poses), form.end)]
        )

    def _speeds(self, u: Array) -> Array:
        _, velocity = self._polynomial(u)
        return np.asarray(np.sqrt(squared(velocity)))

    def _between(self, start: Array, u: Array) -> Array:
        half = (u - start) * 0.5
        at = start + half * (1.0 + _NODES[:, None, None])
        speeds = self._speeds(at.reshape(-1, self.poses)).reshape(at.shape)
        return np.asarray(np.tensordot(_WEIGHTS, speeds, axes=1) * half)
