"""Mirror: what is done on one side, done on the other, gives the reflected result.

The rig is made symmetric first: each twin on the right is put where the left one's reflection is,
by the signs that it keeps, and what stands a little off the middle is put into it. Then each
control's channels are set, and in a second pose exchanged with its twin's by those signs; the
second pose must be the reflection of the first.

A rig that stands on a socket mirrors in a plane of its own. Where that is not the plane of the
whole, it is tried by itself: the whole is laid so that its plane is the plane of the trial.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from somite.axes import Axes
from somite.evaluate import Channel, Evaluator, Posed
from somite.evaluate.algebra import Array
from somite.evaluate.channels import channels_of
from somite.findings import Code, has_errors
from somite.ir import (
    Chain,
    Constraint,
    Curve,
    Frame,
    Node,
    PlacedRig,
    Reach,
    Rig,
    Signs,
    Vector,
)
from somite.laws.law import Breach, Law
from somite.laws.motion import distances, length_words, spreads
from somite.laws.trial import Poses, Trial, Values
from somite.settle import AXES, Settled, settle, spline
from somite.spatial import curve as splines
from somite.spatial.rotation import (
    conjugate,
    matrix_from_quaternion,
    product,
    quaternion_from_matrix,
    rotated,
)
from somite.spatial.vector import subtract

LAW_MIRROR = Code("law-mirror")

CLOSE = 1e-6
"""In heights of the rig, and in a linear part."""
TILTED = 0.1
"""How far axes of a middle node may be from along or across the plane, and still be put there."""
OFF = 0.02
"""How far from the plane, in heights, what has no twin may stand and still be of the middle."""
AMOUNT = 0.4
SEEDED = 3
SIDES = {"left": "right", "right": "left"}


def breaches(trial: Trial) -> Iterator[Breach]:
    """Plane by plane: that of the rig, then those of rigs on sockets that have one of their own."""
    if not any(node.mirror is not None for node in trial.rig.nodes):
        return
    for plane in _planes(trial):
        symmetric = _Symmetric.of(trial, plane)
        if symmetric is not None:
            yield from _breaches(trial, symmetric)


def _breaches(trial: Trial, symmetric: _Symmetric) -> Iterator[Breach]:
    """Control by control, then all together in seeded poses."""
    poses = Poses(Evaluator(symmetric.settled))
    tried = list(_tries(trial, symmetric))
    for values, _ in tried:
        poses.add(values)
        poses.add(symmetric.exchanged(values))
    posed = poses.posed()
    places, linears = symmetric.misses(posed)
    wrong = (places > CLOSE * trial.far) | (linears > CLOSE)
    bad: dict[str, int] = {}
    for row in range(len(tried)):
        for at in np.flatnonzero(wrong[row]):
            bad.setdefault(symmetric.names[at], row)
    yield from _told(trial, symmetric, bad, [what for _, what in tried], places)


def _tries(trial: Trial, symmetric: _Symmetric) -> Iterator[tuple[Values, str]]:
    """Poses with what they are: each control alone, then all."""
    chance = random.Random(f"{trial.seed} mirror")
    of: dict[str, dict[str, float]] = {}
    for channel in trial.free:
        if channel.name in symmetric.twins:
            own = of.setdefault(channel.node, {})
            own[channel.name] = symmetric.drawn(trial, channel, chance)
    for node, values in of.items():
        yield values, f'"{node}" is posed'
    for number in range(SEEDED):
        values = {
            channel.name: symmetric.drawn(trial, channel, chance)
            for channel in trial.free
            if channel.name in symmetric.twins
        }
        yield values, f"in seeded pose {number + 1}"


@dataclass(frozen=True, slots=True)
class _Plane:
    """A mirror plane with the rig laid so that it is the plane across one axis through the origin.

    `home` is the placed rig whose plane it is, None for the whole; `aside` are all rigs that have
    planes of their own. A thing belongs to a plane if both its sides stand in that rig.
    """

    rig: Rig
    home: str | None
    aside: frozenset[str]

    def has(self, name: str, twin: str | None = None) -> bool:
        """Whether a thing, with its other side where it has one, mirrors in this plane."""
        twin = twin or _other_side(name) or name
        home = self.rig.home(name, twin)
        while home is not None and home.name not in self.aside:
            home = self.rig.home(home.name, home.name)
        return (None if home is None else home.name) == self.home


def _planes(trial: Trial) -> Iterator[_Plane]:
    """The plane of the rig, and that of each placed rig whose plane is another."""
    rig = trial.rig
    aside = frozenset(one.name for one in rig.placed if _is_aside(one, rig, trial.far))
    yield _Plane(rig, None, aside)
    for one in rig.placed:
        if one.name in aside:
            plane = _Plane(_laid_on(rig, one), one.name, aside)
            if any(
                node.mirror is not None and plane.has(node.name, node.mirror.twin)
                for node in rig.nodes
            ):
                yield plane


def _is_aside(placed: PlacedRig, rig: Rig, far: float) -> bool:
    """Whether a placed rig's plane is another than that of the whole."""
    across = "XYZ".index(rig.mirror_axis[1])
    normal = rotated(placed.ground.turn, AXES[placed.mirror_axis])
    off = abs(placed.ground.place[across]) > CLOSE * far
    return off or abs(abs(normal[across]) - 1.0) > CLOSE


def _laid_on(rig: Rig, placed: PlacedRig) -> Rig:
    """The whole, moved and turned so that the ground of a placed rig is where its own was."""
    ground = placed.ground
    axes, other = Axes(rig.up, rig.front), Axes(placed.up, placed.front)
    rows = [
        [float(sum(a * b for a, b in zip(row, column, strict=True))) for column in other.rows]
        for row in axes.rows
    ]
    convention = quaternion_from_matrix(tuple(tuple(row) for row in rows))  # type: ignore[arg-type]
    turn = product(convention, conjugate(ground.turn))

    def put(place: Vector) -> Vector:
        return rotated(turn, subtract(place, ground.place))

    def framed(rest: Frame) -> Frame:
        return Frame(put(rest.place), product(turn, rest.turn))

    def bent(one: Constraint) -> Constraint:
        if isinstance(one, Reach) and one.bend is not None:
            return replace(one, bend=rotated(turn, one.bend))
        return one

    return replace(
        rig,
        nodes=tuple(replace(node, rest=framed(node.rest)) for node in rig.nodes),
        chains=tuple(replace(chain, end=put(chain.end)) for chain in rig.chains),
        curves=tuple(
            replace(curve, points=tuple(put(point) for point in curve.points))
            for curve in rig.curves
        ),
        constraints=tuple(bent(one) for one in rig.constraints),
    )


@dataclass(slots=True)
class _Symmetric:
    """A rig made symmetric. `twins` gives each channel's other side's channel and sign.

    `names` are the nodes compared, `others` their twins, `signs` the diagonal of M for each.
    """

    settled: Settled
    across: int
    names: list[str]
    others: list[str]
    signs: Array
    twins: dict[str, tuple[str, float]]

    @classmethod
    def of(cls, trial: Trial, plane: _Plane) -> _Symmetric | None:
        """None where the symmetric rig can not be settled, as on a curve that winds aside."""
        across = "XYZ".index(trial.rig.mirror_axis[1])
        signs: dict[str, tuple[str, Signs]] = {}
        for node in plane.rig.nodes:
            found = _signs(trial, plane, node, across)
            if found is not None:
                signs[node.name] = found
        # What a rig on a socket hangs on is at rest while its own plane is tried.
        unlike = [
            node.name
            for node in plane.rig.nodes
            if node.name not in signs
            and (plane.home is None or node.name.startswith(f"{plane.home}."))
        ]
        left_out = trial.reached(unlike)
        rig = _symmetrised(trial, plane, across, signs)
        settled, findings = settle(rig, trial.settled.plan)
        if settled is None or has_errors(findings):
            return None
        names = [name for name in signs if name not in left_out and signs[name][0] not in left_out]
        posable = {name: signs[name] for name in signs if signs[name][0] in signs}
        return cls(
            settled,
            across,
            names,
            [signs[name][0] for name in names],
            np.array([signs[name][1] for name in names], dtype=np.float64).reshape(-1, 3),
            _twin_channels(trial, posable),
        )

    def drawn(self, trial: Trial, channel: Channel, chance: random.Random) -> float:
        """A random value that both sides can have."""
        other, sign = self.twins[channel.name]
        value = trial.drawn(channel, chance, AMOUNT)
        twin = trial.channels[other]
        if twin.options:
            return value
        held = min(max(value * sign if sign else value, twin.low), twin.high)
        return held * sign if sign else held

    def exchanged(self, values: Values) -> dict[str, float]:
        """The same pose done on the other side."""
        found = {}
        for name, value in values.items():
            other, sign = self.twins[name]
            found[other] = value * sign
        return found

    def misses(self, posed: Posed) -> tuple[Array, Array]:
        """How far nodes of each second pose are from the first one's reflection."""
        mine = [posed.index[name] for name in self.names]
        twins = [posed.index[name] for name in self.others]
        reflection = np.ones(3)
        reflection[self.across] = -1.0
        places = posed.places[0::2][:, twins] * reflection
        linears = posed.linears[0::2][:, twins] * reflection[:, None] * self.signs[None, :, None, :]
        return (
            distances(places, posed.places[1::2][:, mine]),
            spreads(linears, posed.linears[1::2][:, mine]),
        )


def _signs(trial: Trial, plane: _Plane, node: Node, across: int) -> tuple[str, Signs] | None:
    """A node's twin and the signs between them; its own for the middle, None for one-sided."""
    if node.one_sided or not plane.has(node.name, node.mirror.twin if node.mirror else None):
        return None
    if node.mirror is not None:
        if node.mirror.twin not in trial.nodes or trial.nodes[node.mirror.twin].one_sided:
            return None
        return node.mirror.twin, node.mirror.move
    if abs(node.rest.place[across]) > OFF * trial.far:
        return None
    rows = np.array(matrix_from_quaternion(node.rest.turn))
    reflected = rows.copy()
    reflected[across] *= -1.0
    own = rows.T @ reflected
    diagonal = np.diag(np.round(np.diag(own)))
    if np.abs(own - diagonal).max() > TILTED:
        return None
    return node.name, tuple(int(value) for value in np.diag(diagonal))  # type: ignore[return-value]


def _twin_channels(
    trial: Trial, signs: Mapping[str, tuple[str, Signs]]
) -> dict[str, tuple[str, float]]:
    """Each free channel's counterpart on the other side, with its sign."""
    table = channels_of(trial.rig)
    found: dict[str, tuple[str, float]] = {}
    for channel in trial.free:
        if channel.node not in signs:
            continue
        twin, diagonal = signs[channel.node]
        other = twin + channel.name.removeprefix(channel.node)
        if other not in table or table[other].locked or table[other].driven:
            continue
        sign = 1.0
        if channel.part == "move":
            sign = float(diagonal[channel.axis])
        elif channel.part == "turn":
            sign = float(diagonal[0] * diagonal[1] * diagonal[2] * diagonal[channel.axis])
        elif channel.part == "dial" and trial.dials[channel.name].flips:
            sign = -1.0
        found[channel.name] = other, sign
    return found


# ---- the symmetric rig ---------------------------------------------------------------------------


def _symmetrised(
    trial: Trial, plane: _Plane, across: int, signs: Mapping[str, tuple[str, Signs]]
) -> Rig:
    """Right twins from left ones, the middle in the plane; all else as it is."""
    rig = plane.rig
    nodes = {node.name: node for node in rig.nodes}
    for name, (twin, diagonal) in signs.items():
        node = nodes[name]
        if twin == name:
            nodes[name] = replace(node, rest=_middle(node.rest, across, diagonal))
    chains = {chain.name: chain for chain in rig.chains}
    curves = {curve.name: curve for curve in rig.curves}
    made = {
        one.name: _curve(one, curves, trial.far, across) if plane.has(one.name) else one
        for one in rig.curves
    }
    for chain in rig.chains:
        own = plane.has(chain.name)
        if own and chain.curve in made and _is_copy(chain.name, chains) is None:
            chains[chain.name] = _laid(chain, made[chain.curve], nodes)
    for name in [name for name in signs if _is_copy(name, nodes) is not None]:
        twin, diagonal = signs[name]
        nodes[name] = replace(nodes[name], rest=_reflected(nodes[twin].rest, across, diagonal))
    constraints = {one.name: one for one in rig.constraints}
    return replace(
        rig,
        nodes=tuple(nodes.values()),
        chains=tuple(
            _chain(one, chains, signs, across) if plane.has(one.name) else one for one in rig.chains
        ),
        curves=tuple(made.values()),
        constraints=tuple(
            _constraint(one, constraints, across)
            if isinstance(one, Reach) and plane.has(one.chain)
            else one
            for one in rig.constraints
        ),
    )


def _other_side(name: str) -> str | None:
    """The same name with its outermost side exchanged."""
    parts = name.split(".")
    for at, part in enumerate(parts):
        if part in SIDES:
            return ".".join([*parts[:at], SIDES[part], *parts[at + 1 :]])
    return None


def _is_copy(name: str, known: Mapping[str, object]) -> str | None:
    """The left thing that a right one is the reflection of."""
    other = _other_side(name)
    first = next((part for part in name.split(".") if part in SIDES), None)
    return other if first == "right" and other in known else None


def _flat(place: Vector, across: int) -> Vector:
    found = list(place)
    found[across] = 0.0
    return found[0], found[1], found[2]


def _flipped(place: Vector, across: int) -> Vector:
    found = list(place)
    found[across] = -found[across]
    return found[0], found[1], found[2]


def _middle(rest: Frame, across: int, diagonal: Signs) -> Frame:
    """A frame put into the plane: halfway between itself and its own reflection."""
    rows = np.array(matrix_from_quaternion(rest.turn))
    reflected = rows * np.array(diagonal, dtype=np.float64)
    reflected[across] *= -1.0
    if np.abs(rows - reflected).max() > 0.0:
        left, _, right = np.linalg.svd(rows + reflected)
        rows = left @ right
        turn = quaternion_from_matrix(tuple(tuple(float(v) for v in row) for row in rows))  # type: ignore[arg-type]
        return Frame(_flat(rest.place, across), turn)
    return Frame(_flat(rest.place, across), rest.turn)


def _laid(chain: Chain, curve: Curve, nodes: dict[str, Node]) -> Chain:
    """A chain laid on its curve where that is now, at the fractions that it had."""
    along = spline(curve, curve.points)
    try:
        table = splines.arc_table(along)
    except splines.CurveError:
        return chain
    places = [
        splines.point_at(along, splines.parameter_at_length(table, share * table.length))
        for share in chain.fractions
    ]
    for joint, place in zip(chain.joints, places, strict=False):
        nodes[joint] = replace(nodes[joint], rest=Frame(place, nodes[joint].rest.turn))
    return replace(chain, end=places[-1]) if places else chain


def _reflected(rest: Frame, across: int, diagonal: Signs) -> Frame:
    """R' = S R M."""
    rows = np.array(matrix_from_quaternion(rest.turn))
    rows[across] *= -1.0
    rows = rows * np.array(diagonal, dtype=np.float64)
    turn = quaternion_from_matrix(tuple(tuple(float(v) for v in row) for row in rows))  # type: ignore[arg-type]
    return Frame(_flipped(rest.place, across), turn)


def _chain(
    chain: Chain,
    chains: Mapping[str, Chain],
    signs: Mapping[str, tuple[str, Signs]],
    across: int,
) -> Chain:
    left = _is_copy(chain.name, chains)
    if left is not None:
        end = _flipped(chains[left].end, across)
        return replace(chain, end=end, fractions=chains[left].fractions)
    middle = all(signs.get(joint, ("", ()))[0] == joint for joint in chain.joints)
    return replace(chain, end=_flat(chain.end, across)) if middle else chain


def _curve(curve: Curve, curves: Mapping[str, Curve], far: float, across: int) -> Curve:
    left = _is_copy(curve.name, curves)
    if left is not None:
        points = tuple(_flipped(point, across) for point in curves[left].points)
        return replace(curve, points=points, knots=curves[left].knots)
    if all(abs(point[across]) <= OFF * far for point in curve.points):
        return replace(curve, points=tuple(_flat(point, across) for point in curve.points))
    return curve


def _constraint(one: Constraint, known: Mapping[str, Constraint], across: int) -> Constraint:
    left = known.get(_is_copy(one.name, known) or "")
    if isinstance(one, Reach) and isinstance(left, Reach) and left.bend is not None:
        return replace(one, bend=_flipped(left.bend, across))
    return one


# ---- what is told --------------------------------------------------------------------------------


def _told(
    trial: Trial,
    symmetric: _Symmetric,
    bad: Mapping[str, int],
    whats: list[str],
    places: Array,
) -> Iterator[Breach]:
    """One breach for each pair of causes."""
    told: set[str] = set()
    for name in trial.upstream(bad) if bad else ():
        at = symmetric.names.index(name)
        twin = symmetric.others[at]
        if twin in told:
            continue
        told.add(name)
        row = bad[name]
        away = float(places[row, at])
        found = (
            f"{length_words(trial.rig, away)} away" if away > CLOSE * trial.far else "turned apart"
        )
        part = "move" if away > CLOSE * trial.far else "turn"
        blamed = trial.explaining(name, part)
        feed = next((one for one in trial.rig.feeds if one.target.startswith(f"{name}.")), None)
        if feed is not None and blamed.name == name:
            blamed = trial.statements[feed.name]
        mirrored = f'the reflection of "{twin}"' if twin != name else "its own reflection"
        yield Breach(
            blamed,
            f'expected "{name}" to stand as {mirrored} when sides are exchanged, found it {found}'
            f" ({whats[row]}; seed {trial.seed})",
            "make both sides alike in a mirror block, or say that it is meant: one-sided",
            (*trial.excusers(name), *trial.excusers(twin)),
        )


LAW = Law(
    6,
    "mirror",
    "exchanging the sides gives the reflected result",
    LAW_MIRROR,
    breaches,
)
