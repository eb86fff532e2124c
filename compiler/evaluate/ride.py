"""Riding: a chain solved along a curve.

To keep its bones, each joint is put at the first crossing of the curve with the ball of its
bone's length about the joint before; to stretch, at its fraction of arc length; between the two,
at the parameter between theirs. Frames are carried by double reflection (W. Wang, B. Jüttler,
D. Zheng and Y. Liu, ACM Transactions on Graphics 27(1), article 2, 2008) as products of turns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from somite.evaluate.algebra import Array, Condition, Parts, arc, dotted, planes, squared, stack
from somite.evaluate.channels import LARGEST, SMALLEST
from somite.evaluate.curve import Form, Path
from somite.evaluate.live import Fixed, Number
from somite.evaluate.nodes import encoded_scale, scale_of
from somite.evaluate.scalar import ride as scalar
from somite.evaluate.scalar.crossing import REFINEMENTS
from somite.evaluate.scalar.frames import SUBSTEPS
from somite.evaluate.scalar.path import CLOSE, FARTHEST
from somite.evaluate.scalar.stations import BETWEEN, STEPS
from somite.evaluate.state import TURN, Size, State
from somite.ir import Quaternion, Vector
from somite.spatial.rotation import product, rotated

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer


@dataclass(slots=True)
class Ridden:
    """One ride: writes places and turns of its joints, both end frames, and joints' sizes.

    `joints` is the first of the chain's slots (places and turns), `ends` those of the first and
    last carried frames; `extras` the first row of sizes, where the chain can stretch.
    """

    form: Form
    curve: int
    joints: int
    ends: tuple[int, int]
    carrier: int
    scale: Size
    start: Quaternion
    axis: Vector
    parameters: Array
    fractions: Array
    bones: Array
    rolls: Array
    stretch: Number
    volume: Number
    extras: int | None

    def run(self, state: State) -> None:
        """Solve the chain."""
        path = Path(self.form, state.points[self.curve])
        scale = np.ones(state.poses) * scale_of(state, self.scale)
        stretch = np.clip(self.stretch(state) + np.zeros(state.poses), 0.0, 1.0)
        u = self._stations(path, stretch, scale)
        samples = self._walk(path, u)
        places = samples[0][:, ::SUBSTEPS]
        bones = places[:, 1:] - places[:, :-1]
        lengths = np.sqrt(squared(bones))
        carried = self._carried(state, samples)
        slots = slice(self.joints, self.joints + len(self.bones))
        state.world[slots, :3, 3] = places[:, :-1].swapaxes(0, 1)
        here: Parts = tuple([plane[:-1] for plane in carried])
        along = tuple(bones / np.maximum(lengths, 1e-300))
        tangents = tuple(samples[1][:, :-1:SUBSTEPS])
        laid = product(arc(tangents, along), here)
        turns = product(laid, tuple(self.rolls.T[:, :, None]))
        stack(turns, (len(self.bones), 4, state.poses), state.world[slots, TURN])
        for slot, k in zip(self.ends, (0, -1), strict=True):
            stack([plane[k] for plane in carried], (4, state.poses), state.world[slot, TURN])
        if self.extras is not None:
            self._resize(state, lengths / (self.bones[:, None] * scale), stretch)

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        form, bones, parts = self.form, len(self.bones), len(self.form.halves)
        curve, constants = form.encode(writer, self.curve)
        slopes, velocities = 0, list[int]()
        if not (isinstance(self.stretch, Fixed) and self.stretch.value <= 0.0):
            slopes, velocities = form.encode_slopes(writer, self.curve)
        extras, along = (0, 0) if self.extras is None else (writer.extra(self.extras), 0)
        if self.extras is not None:
            along = next(k for k in range(3) if self.axis[k] != 0.0) * writer.lanes
        fixed = (*self.start, *self.axis, *self.parameters, *self.fractions, *self.bones)
        member = (
            writer.slot(self.joints),
            *map(writer.slot, self.ends),
            writer.slot(self.carrier),
            encoded_scale(writer, self.scale),
            self.stretch.encode(writer),
            self.volume.encode(writer),
            extras,
            along,
            bones,
            writer.point(self.curve),
            form.powers.shape[-1],
            curve,
            form.degree,
            len(form.starts),
            constants,
            writer.scratch(scalar.rows_of_room(bones, parts)),
            writer.constant(*fixed, *self.rolls.ravel()),
            parts,
            writer.constant(*form.breaks),
            slopes,
            len(velocities),
            *velocities,
        )
        writer.add(scalar.ridden, [member])

    def _stations(self, path: Path, stretch: Array, scale: Array) -> Array:
        """Parameters (n + 1, poses) of the joints and the end."""
        if (stretch >= 1.0).all():
            return path.parameters(self.fractions)
        kept = crossings(path, self.bones[:, None] * scale, self.parameters)
        if not stretch.any():
            return kept
        spread = path.parameters(self.fractions)
        between = kept + (spread - kept) * stretch
        return np.where(stretch <= 0.0, kept, np.where(stretch >= 1.0, spread, between))

    def _walk(self, path: Path, u: Array) -> tuple[Array, Array]:
        """Places and unit tangents (3, joints and steps between, poses) along the chain."""
        shares = np.arange(SUBSTEPS)[:, None] / SUBSTEPS
        between = u[:-1, None] + np.diff(u, axis=0)[:, None] * shares
        walked = np.concatenate([between.reshape(-1, u.shape[1]), u[-1:]])
        place, velocity = path.at(walked)
        square = squared(velocity)
        still = square <= 1e-24 * path.whole * path.whole
        if still.any():
            velocity = np.where(still, path.ending[:, None], velocity)
            square = np.where(still, squared(path.ending), square)
        velocity /= np.sqrt(square)
        return place, velocity

    def _carried(self, state: State, samples: tuple[Array, Array]) -> Parts:
        """Carried frames' turns: components (n + 1, poses)."""
        tangents = tuple(samples[1][:, 0])
        begun = product(planes(state.world[self.carrier, TURN]), self.start)
        swing = arc(rotated(begun, self.axis), tangents)
        found = [product(swing, begun)]
        for step in between_joints(reflections(*samples), len(self.bones)):
            found.append(product(step, found[-1]))
        return tuple([np.stack([turn[k] for turn in found]) for k in range(4)])

    def _resize(self, state: State, ratio: Array, stretch: Array) -> None:
        """Stretch along the bone, and what volume keeps across it; none where bones are kept."""
        assert self.extras is not None
        sizes = state.extras[self.extras : self.extras + len(self.bones)]
        if not stretch.any():
            sizes[...] = 1.0
            return
        ratio = np.where(stretch <= 0.0, 1.0, np.clip(ratio, SMALLEST, LARGEST))
        volume = np.clip(self.volume(state) + np.zeros(state.poses), 0.0, 1.0)
        sizes[...] = np.exp(-0.5 * volume * np.log(ratio))[:, None]
        sizes[:, next(k for k in range(3) if self.axis[k] != 0.0)] = ratio


def reflections(places: Array, tangents: Array) -> Parts:
    """Turns (steps, poses) that carry a frame from each sample to the next without twisting it.

    The two reflections, in the step v and in what is left of the change of tangent from a to b,
    make the turn (v × (b - a), v · (b + a)), of any length. A step that does not go ahead turns
    by the shortest arc.
    """
    v = places[:, 1:] - places[:, :-1]
    before, after = tangents[:, :-1], tangents[:, 1:]
    along = dotted(v, before + after)
    w = after - before
    x, y, z = v[1] * w[2] - v[2] * w[1], v[2] * w[0] - v[0] * w[2], v[0] * w[1] - v[1] * w[0]
    turn = (x, y, z, along)
    lost = along <= 0.0
    if not lost.any():
        return turn
    square = squared(v)
    whole = x * x + y * y + z * z + along * along
    lost &= (square <= 1e-28 * squared(places[:, 1:])) | (whole <= 1e-24 * square)
    straight = arc(tuple(before), tuple(after))
    return tuple([np.where(lost, a, b) for a, b in zip(straight, turn, strict=True)])


def between_joints(steps: Parts, bones: int) -> list[Parts]:
    """Products of the steps between neighbouring joints, by halves: SUBSTEPS is a power of two.

    Steps may be of any length; the products are unit turns.
    """
    held: Parts = tuple([plane.reshape(bones, -1, plane.shape[-1]) for plane in steps])
    while held[0].shape[1] > 1:
        later = tuple([plane[:, 1::2] for plane in held])
        sooner = tuple([plane[:, 0::2] for plane in held])
        held = product(later, sooner)
    x, y, z, w = (plane[:, 0] for plane in held)
    size = 1.0 / np.sqrt(x * x + y * y + z * z + w * w)
    made = (x * size, y * size, z * size, w * size)
    return [tuple([plane[k] for plane in made]) for k in range(bones)]


def crossings(path: Path, radii: Array, guess: Array) -> Array:
    """Parameters (n + 1, poses) of joints that lie a bone apart each, from the first guess on.

    Newton's method on all joints at once finds such a row. It is the first one where the curve is
    gentle, or where none of some places between two joints lies outside the first one's ball;
    elsewhere crossings are looked for one after another.
    """
    u, settled = _together(path, radii, guess)
    doubtful = np.flatnonzero(settled & ~path.gentle())
    if len(doubtful):
        settled[doubtful] = _inside(path.taken(doubtful), radii[:, doubtful], u[:, doubtful])
    if not settled.all():
        rest = np.flatnonzero(~settled)
        u[:, rest] = _one_by_one(path.taken(rest), radii[:, rest], float(guess[0]))
    return u


def _together(path: Path, radii: Array, guess: Array) -> tuple[Array, Condition]:
    """Newton's method from a guess: parameters, and the poses in which it has settled."""
    u = np.repeat(guess[:, None], path.poses, axis=1)
    close = CLOSE * path.whole
    for step in range(STEPS):
        place, velocity = path.at(u)
        across = place[:, 1:] - place[:, :-1]
        square = squared(across)
        apart = np.sqrt(square)
        miss = apart - radii
        settled = np.abs(miss).max(axis=0) <= close
        if step == STEPS - 1 or settled.all():
            break
        miss *= apart
        ahead = dotted(across, velocity[:, 1:])
        behind = dotted(across, velocity[:, :-1])
        ahead[np.abs(ahead) <= 1e-9 * apart * path.whole] = np.inf
        miss /= ahead
        behind /= ahead
        moved = -miss[0]
        following = [moved]
        for k in range(1, len(radii)):
            moved = behind[k] * moved - miss[k]
            following.append(moved)
        step_by = np.stack(following)
        step_by[:, settled] = 0.0
        u[1:] = np.clip(u[1:] + step_by, guess[0], FARTHEST)
    return u, settled & (u[1:] > u[:-1]).all(axis=0)


def _inside(path: Path, radii: Array, u: Array) -> Condition:
    """Poses in which places between two joints lie within the bone's ball about the first."""
    shares = (np.arange(1, BETWEEN)[:, None, None] / BETWEEN) * (u[1:] - u[:-1])
    here, _ = path.at(u[:-1])
    between, _ = path.at((u[:-1] + shares).reshape(-1, path.poses))
    away = between.reshape(3, BETWEEN - 1, len(radii), path.poses) - here[:, None]
    limit = radii * (1.0 + 1e-9)
    return np.asarray((squared(away) <= limit * limit).all(axis=(0, 1)))


def _one_by_one(path: Path, radii: Array, start: float) -> Array:
    """First crossings, each looked for from the one before."""
    form = path.form
    looked = np.matmul(form.looked, path.points)
    u = np.empty((len(radii) + 1, path.poses))
    u[0] = start
    for k, radius in enumerate(radii):
        here, _ = path.at(u[k : k + 1])
        away = looked - here
        beyond = squared(away) >= radius * radius
        beyond &= form.looks[:, None] > u[k]
        first = np.argmax(beyond, axis=0)
        high = form.looks[first]
        low = np.maximum(u[k], np.where(first > 0, form.looks[first - 1], form.starts[0]))
        crossing = _refined(path, here, radius, low, high)
        u[k + 1] = np.where(beyond.any(axis=0), crossing, _past_the_end(path, here[:, 0], radius))
    return u


def _refined(path: Path, here: Array, radius: Array, low: Array, high: Array) -> Array:
    """The crossing between a parameter inside the ball and one outside it."""
    u = (low + high) * 0.5
    for _ in range(REFINEMENTS):
        place, velocity = path.at(u[None])
        across = place - here
        apart = np.sqrt(squared(across))
        miss = (apart - radius)[0]
        low, high = np.where(miss < 0.0, u, low), np.where(miss < 0.0, high, u)
        slope = dotted(across, velocity)[0] / np.maximum(apart[0], 1e-300)
        following = u - miss / np.where(slope > 0.0, slope, np.inf)
        inside = (following > low) & (following < high) & (slope > 0.0)
        settled = np.abs(miss) <= CLOSE * path.whole
        u = np.where(settled, u, np.where(inside, following, (low + high) * 0.5))
        if settled.all():
            break
    return u


def _past_the_end(path: Path, here: Array, radius: Array) -> Array:
    """The parameter on the end tangent where it leaves the ball, which holds the end."""
    end = path.form.end
    place, _ = path.at(np.full((1, path.poses), end))
    speed = np.sqrt(squared(path.ending))
    ahead = path.ending / speed
    away = place[:, 0] - here
    along = dotted(away, ahead)
    inside = np.maximum(along * along + radius * radius - squared(away), 0.0)
    over = np.maximum(np.sqrt(inside) - along, 0.0)
    return np.minimum(end + over / speed, FARTHEST)
