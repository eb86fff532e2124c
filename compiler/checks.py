"""The checks of a recipe: poses in, expectations tried, answers out.

In comes a settled rig, out comes a result for each check, with an answer for each expectation and a
finding for each that is not met. Sweeps are sampled densely and the worst sample is told. Numbers
in messages are in the recipe's unit and degrees. Nothing here knows laws.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from somite.findings import Code, Finding
from somite.ir import Chain, Check, Curve, Expectation, Node, Rig, Vector
from somite.settle import AXES, Settled, spline
from somite.text import Site
from somite.units import PI, metres_per

if TYPE_CHECKING:
    from somite.evaluate import Evaluator, Posed

CHECK_FAILED = Code("check-failed")

SAMPLES = 65
"""Samples of one sweep; of two or more sweeps at once, fewer each, so that all are not too many."""
MOST_SAMPLES = 4225
SPARE = 1e-9
"""What rounding may add to a tolerance."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one expectation: as it was written, and what was measured where it was worst."""

    text: str
    met: bool
    measured: str
    wanted: str
    site: Site | None


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What came of one check."""

    name: str
    met: bool
    answers: tuple[Answer, ...]
    findings: tuple[Finding, ...]


def run(settled: Settled, evaluator: Evaluator | None = None) -> tuple[CheckResult, ...]:
    """Every check of a rig, in the recipe's order."""
    if not settled.rig.checks:
        return ()
    if evaluator is None:
        from somite.evaluate import Evaluator

        evaluator = Evaluator(settled)
    running = _Running(settled, evaluator)
    return tuple(running.result(check) for check in settled.rig.checks)


@dataclass(frozen=True, slots=True)
class _Read:
    """An expectation measured in every sample: how far it is off, and how to say it."""

    off: Any
    wanted: str
    measured: Callable[[int], str]


class _Running:
    """One rig whose checks are run: names looked up once."""

    def __init__(self, settled: Settled, evaluator: Evaluator) -> None:
        self.settled = settled
        self.rig: Rig = settled.rig
        self.evaluator = evaluator
        self.nodes: dict[str, Node] = {node.name: node for node in self.rig.nodes}
        self.chains: dict[str, Chain] = {chain.name: chain for chain in self.rig.chains}
        self.curves: dict[str, Curve] = {curve.name: curve for curve in self.rig.curves}

    def result(self, check: Check) -> CheckResult:
        swept = self._swept(check)
        posed = self.evaluator.pose(self._values(check, swept))
        answers: list[Answer] = []
        findings: list[Finding] = []
        for one in check.expectations:
            answer, sample = self._answer(one, posed)
            answers.append(answer)
            if not answer.met:
                findings.append(self._finding(check, one, answer, self._at(swept, sample)))
        return CheckResult(check.name, not findings, tuple(answers), tuple(findings))

    # ---- poses ---------------------------------------------------------------------------------

    def _values(self, check: Check, swept: Mapping[str, Any]) -> dict[str, Any]:
        """Named poses first, then the settings, then the sweeps."""
        from somite.posing import named_pose

        found: dict[str, Any] = {}
        for name in check.poses:
            found.update(named_pose(name, self.rig))
        for setting in check.settings:
            found[setting.channel] = setting.value
        return {**found, **swept}

    def _swept(self, check: Check) -> dict[str, Any]:
        """Samples of all sweeps together: every value of one with every value of the others."""
        import numpy as np

        if not check.sweeps:
            return {}
        count = SAMPLES
        while count > 3 and count ** len(check.sweeps) > MOST_SAMPLES:
            count = (count + 1) // 2
        lines = [np.linspace(sweep.start, sweep.stop, count) for sweep in check.sweeps]
        grid = np.meshgrid(*lines, indexing="ij")
        return {
            sweep.channel: values.ravel() for sweep, values in zip(check.sweeps, grid, strict=True)
        }

    def _at(self, swept: Mapping[str, Any], sample: int) -> str:
        """Where in the sweeps a sample is, in words."""
        table = self.evaluator.channels
        where = [
            f"{name} = {self._words(table[name].unit, float(values[sample]))}"
            for name, values in swept.items()
        ]
        return f" at {', '.join(where)}" if where else ""

    # ---- answers -------------------------------------------------------------------------------

    def _answer(self, one: Expectation, posed: Posed) -> tuple[Answer, int]:
        """The answer, and the sample where it is worst."""
        import numpy as np

        read = _READERS[one.what](self, one, posed)
        off = np.broadcast_to(np.asarray(read.off), (posed.poses,))
        sample = int(np.argmax(np.where(np.isfinite(off), off, np.inf)))
        met = bool(off[sample] <= one.within + SPARE)
        site = one.origin[0] if one.origin else None
        return Answer(one.text, met, read.measured(sample), read.wanted, site), sample

    def _finding(self, check: Check, one: Expectation, answer: Answer, where: str) -> Finding:
        related = [(check.origin[0], f'of the check "{check.name}"')] if check.origin else []
        related += [(site, "placed by this use") for site in one.origin[1:]]
        return CHECK_FAILED.at(
            answer.site,
            f"expected {answer.wanted}, found {answer.measured}{where}",
            help="mend the rig, or say what is expected now",
            related=related,
        )

    # ---- words ---------------------------------------------------------------------------------

    def _words(self, unit: str, value: float) -> str:
        if unit == "length":
            return f"{_number(value / metres_per(self.rig.unit))} {self.rig.unit}"
        return f"{_number(value * 180.0 / PI)} deg" if unit == "angle" else _number(value)

    def _within(self, one: Expectation, unit: str) -> str:
        return f" within {self._words(unit, one.within)}"

    def _place(self, place: Sequence[float]) -> str:
        scale = metres_per(self.rig.unit)
        return f"({', '.join(_number(value / scale) for value in place)}) {self.rig.unit}"


def _number(value: float) -> str:
    if 1e-9 < abs(value) < 1e-3:
        return f"{value:.2e}"
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


# ---- what is measured ----------------------------------------------------------------------------


def _at_place(running: _Running, one: Expectation, posed: Posed) -> _Read:
    assert one.vector is not None
    return _near(running, one, posed, one.vector, "at")


def _near(running: _Running, one: Expectation, posed: Posed, goal: Vector, word: str) -> _Read:
    places = posed.place(one.subject)
    wanted = f'"{one.subject}" {word} {running._place(goal)}{running._within(one, "length")}'
    return _Read(_distance(places, goal), wanted, lambda k: running._place(places[k]))


def _points(running: _Running, one: Expectation, posed: Posed) -> _Read:
    import numpy as np

    assert one.vector is not None and one.axis is not None
    along = _rotated(posed.turn(one.subject), AXES[one.axis])
    goal = np.array(one.vector)
    off = _angle_between(along, goal)
    wanted = (
        f'{one.axis} of "{one.subject}" toward ({", ".join(_number(v) for v in one.vector)})'
        f"{running._within(one, 'angle')}"
    )

    def measured(k: int) -> str:
        return (
            f"({', '.join(_number(float(v)) for v in along[k])}),"
            f" {running._words('angle', float(off[k]))} from it"
        )

    return _Read(off, wanted, measured)


def _turns(running: _Running, one: Expectation, posed: Posed) -> _Read:
    """How far it has turned since rest; relative to another, the turn between them since rest."""
    import numpy as np

    assert one.value is not None
    turned = _since_rest(running, posed, one.subject)
    relative = ""
    if one.other is not None:
        turned = _product(_conjugate(_since_rest(running, posed, one.other)), turned)
        relative = f' relative to "{one.other}"'
    vector = np.sqrt((turned[..., :3] ** 2).sum(axis=-1))
    angle = 2.0 * np.arctan2(vector, np.abs(turned[..., 3]))
    wanted = (
        f'"{one.subject}" to turn {running._words("angle", one.value)}{relative}'
        f"{running._within(one, 'angle')}"
    )
    return _Read(
        np.abs(angle - abs(one.value)), wanted, lambda k: running._words("angle", float(angle[k]))
    )


def _twists(running: _Running, one: Expectation, posed: Posed) -> _Read:
    """The twist since rest: about its own chain's axis, or with another node."""
    import numpy as np

    assert one.value is not None
    axis = _own_axis(running, one.subject)
    if one.other is None:
        rest = running.nodes[one.subject].rest.turn
        angle = _twist(_product(_conjugate(rest), posed.turn(one.subject)), axis)
    else:
        angle = _twist_with(running, posed, one.subject, one.other, axis)
    off = np.abs(_wrapped(angle - one.value))
    angle = one.value + _wrapped(angle - one.value)
    with_ = f'with "{one.other}"' if one.other is not None else "about its own axis"
    wanted = (
        f'"{one.subject}" to twist {running._words("angle", one.value)} {with_}'
        f"{running._within(one, 'angle')}"
    )
    return _Read(off, wanted, lambda k: running._words("angle", float(angle[k])))


def _own_axis(running: _Running, name: str) -> Vector:
    """The axis of a joint's chain; +Y of what is in none."""
    chain = running.nodes[name].chain
    return AXES[running.chains[chain].axis] if chain in running.chains else AXES["+Y"]


def _twist_with(running: _Running, posed: Posed, name: str, other: str, axis: Vector) -> Any:
    """How far a node has twisted with another, as a twist's end meets its leader.

    The leader's turn about that axis of its own which lies along the node, and what the node lacks
    of it: the angle about its own axis to where the leader, with its rest offset and swung the
    shortest way onto that axis, would have it.
    """
    import numpy as np

    from somite.spatial.rotation import shortest_arc

    rest, leader = running.nodes[name].rest.turn, running.nodes[other].rest.turn
    own = _nearest_axis(_rotated(_conjugate(leader), _one(_rotated(rest, axis))))
    given = _twist(_product(_conjugate(leader), posed.turn(other)), own)
    met = _product(posed.turn(other), _product(_conjugate(leader), rest))
    ahead, held = _rotated(met, axis), _rotated(posed.turn(name), axis)
    swing = np.stack(shortest_arc(_parts(ahead), _parts(held)), axis=-1)
    lacking = _twist(_product(_conjugate(_product(swing, met)), posed.turn(name)), axis)
    return given + lacking


def _twist(turn: Any, axis: Vector) -> Any:
    """The angle (poses,) about an axis of turns (poses, 4): the twist of swing and twist."""
    import numpy as np

    component = (turn[..., :3] * np.array(axis)).sum(axis=-1)
    return _wrapped(2.0 * np.arctan2(component, turn[..., 3]))


def _nearest_axis(direction: Sequence[float]) -> Vector:
    """The coordinate axis that lies along a direction, with its sign."""
    largest = max(range(3), key=lambda k: abs(direction[k]))
    found = [0.0, 0.0, 0.0]
    found[largest] = 1.0 if direction[largest] >= 0.0 else -1.0
    return found[0], found[1], found[2]


def _apart(running: _Running, one: Expectation, posed: Posed) -> _Read:
    import numpy as np

    assert one.value is not None and one.other is not None
    apart = _distance(posed.place(one.subject), posed.place(one.other))
    wanted = (
        f'"{one.subject}" apart from "{one.other}" by {running._words("length", one.value)}'
        f"{running._within(one, 'length')}"
    )
    return _Read(
        np.abs(apart - one.value), wanted, lambda k: running._words("length", float(apart[k]))
    )


def _keeps(running: _Running, one: Expectation, posed: Posed) -> _Read:
    """Length over rest length, which a size above the chain does not change."""
    import numpy as np

    name = one.subject
    if name in running.curves:
        lengths = _curve_lengths(running, name, posed.points(name))
        rest = running.settled.curves[name].length
    else:
        chain = running.chains[name]
        places = [*(posed.place(joint) for joint in chain.joints), posed.end(name)]
        lengths = sum(_distance(a, b) for a, b in pairwise(places))
        stations = [*(running.nodes[joint].rest.place for joint in chain.joints), chain.end]
        rest = sum(float(_distance(a, b)) for a, b in pairwise(np.array(stations)))
    ratio = lengths / rest if rest > 0.0 else np.ones(posed.poses)
    wanted = (
        f'"{name}" to keep its length of {running._words("length", rest)}'
        f" within {_number(one.within * 100.0)}%"
    )
    return _Read(
        np.abs(ratio - 1.0), wanted, lambda k: running._words("length", float(ratio[k]) * rest)
    )


def _curve_lengths(running: _Running, name: str, points: Any) -> Any:
    """Arc lengths (poses,) of a curve in each pose."""
    import numpy as np

    from somite.spatial import curve as splines

    curve = running.curves[name]
    return np.array(
        [
            splines.arc_table(
                spline(curve, [tuple(float(v) for v in point) for point in sample])  # type: ignore[misc]
            ).length
            for sample in points
        ]
    )


def _still(running: _Running, one: Expectation, posed: Posed) -> _Read:
    """Moved from rest; turning in place shows at a lever of a tenth of the height."""
    import numpy as np

    node = running.nodes[one.subject]
    moved = _distance(posed.place(one.subject), node.rest.place)
    turned = _product(_conjugate(node.rest.turn), posed.turn(one.subject))
    angle = 2.0 * np.arcsin(np.minimum(1.0, np.sqrt((turned[..., :3] ** 2).sum(axis=-1))))
    lever = 0.1 * running.rig.height
    wanted = f'"{one.subject}" still{running._within(one, "length")}'

    def measured(k: int) -> str:
        return (
            f"it moved by {running._words('length', float(moved[k]))}"
            f" and turned by {running._words('angle', float(angle[k]))}"
        )

    return _Read(np.maximum(moved, angle * lever), wanted, measured)


def _mirrors(running: _Running, one: Expectation, posed: Posed) -> _Read:
    assert one.other is not None
    ground, normal, _ = _plane(running, one)
    places = posed.place(one.other)
    aside = ((places - ground) * normal).sum(axis=-1)
    goal = places - 2.0 * aside[:, None] * normal
    places = posed.place(one.subject)
    wanted = f'"{one.subject}" as the reflection of "{one.other}"{running._within(one, "length")}'

    def measured(k: int) -> str:
        return f"it at {running._place(places[k])}, not at {running._place(goal[k])}"

    return _Read(_distance(places, goal), wanted, measured)


def _plane(running: _Running, one: Expectation) -> tuple[Any, Any, Any]:
    """A point of the ground, the mirror plane's normal and up, of the rig that is meant."""
    import numpy as np

    rig = running.rig
    placed = next((other for other in rig.placed if other.name == one.rig), None)
    if placed is None:
        return np.zeros(3), np.array(AXES[rig.mirror_axis]), np.array(AXES[rig.up])
    turn = placed.ground.turn
    normal, up = _rotated(turn, AXES[placed.mirror_axis]), _rotated(turn, AXES[placed.up])
    return np.array(placed.ground.place), normal, up


def _ground(running: _Running, one: Expectation, posed: Posed) -> _Read:
    import numpy as np

    ground, _, up = _plane(running, one)
    height = ((posed.place(one.subject) - ground) * up).sum(axis=-1)
    wanted = f'"{one.subject}" on the ground{running._within(one, "length")}'

    def measured(k: int) -> str:
        value = float(height[k])
        return f"it {running._words('length', abs(value))} {'above' if value > 0.0 else 'below'}"

    return _Read(np.abs(height), wanted, measured)


def _reads(running: _Running, one: Expectation, posed: Posed) -> _Read:
    import numpy as np

    assert one.value is not None
    unit = next(gauge.unit for gauge in running.rig.gauges if gauge.name == one.subject)
    values = posed.gauge(one.subject)
    wanted = (
        f'"{one.subject}" to read {running._words(unit, one.value)}{running._within(one, unit)}'
    )
    return _Read(
        np.abs(values - one.value), wanted, lambda k: running._words(unit, float(values[k]))
    )


_READERS: Mapping[str, Callable[[_Running, Expectation, Any], _Read]] = {
    "at": _at_place,
    "points": _points,
    "turns": _turns,
    "twists": _twists,
    "apart": _apart,
    "keeps": _keeps,
    "still": _still,
    "mirrors": _mirrors,
    "ground": _ground,
    "reads": _reads,
}


# ---- arithmetic ----------------------------------------------------------------------------------


def _distance(a: Any, b: Any) -> Any:
    import numpy as np

    return np.sqrt(((np.asarray(a) - np.asarray(b)) ** 2).sum(axis=-1))


def _conjugate(turn: Any) -> Any:
    import numpy as np

    return np.asarray(turn) * np.array([-1.0, -1.0, -1.0, 1.0])


def _product(a: Any, b: Any) -> Any:
    """Quaternion products (..., 4)."""
    import numpy as np

    from somite.spatial.rotation import product

    first, second = np.broadcast_arrays(np.asarray(a), np.asarray(b))
    parts = product(_parts(first), _parts(second))
    return np.stack(parts, axis=-1) if first.ndim > 1 else np.array(parts)


def _rotated(turn: Any, vector: Any) -> Any:
    """A vector (3,) turned by turns (..., 4)."""
    import numpy as np

    from somite.spatial.rotation import rotated

    turns = np.asarray(turn)
    parts = rotated(_parts(turns), _one(vector))
    return np.stack(parts, axis=-1) if turns.ndim > 1 else np.array(parts)


def _parts(array: Any) -> Any:
    """The components of an array (..., n) as a tuple, for `somite.spatial`."""
    return tuple(array.T)


def _one(vector: Any) -> Vector:
    x, y, z = (float(value) for value in vector)
    return x, y, z


def _since_rest(running: _Running, posed: Posed, name: str) -> Any:
    """The turn in the rig's space that a node has made since rest."""
    return _product(posed.turn(name), _conjugate(running.nodes[name].rest.turn))


def _wrapped(angle: Any) -> Any:
    """Angles brought to within half a turn."""
    import numpy as np

    return angle - 2.0 * PI * np.rint(angle / (2.0 * PI))


def _angle_between(a: Any, b: Any) -> Any:
    """Angles between vectors (..., 3), exact when small and when opposite."""
    import numpy as np

    a, b = np.broadcast_arrays(a, b)
    across = np.sqrt((np.cross(a, b) ** 2).sum(axis=-1))
    return np.arctan2(across, (a * b).sum(axis=-1))
