"""Twist arrives: what turns about a chain's axis on the way to a twist arrives at the chain's end.

Every control from a twist's reference (excluded) to its leader is turned 30 degrees about the
chain's axis, alone and at rest; the chain's end must turn by as much about its own axis.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass


from somite.findings import Code
from somite.ir import Chain, Twist, TwistEnd, Vector
from somite.laws.law import Breach, Law
from somite.laws.motion import angle_words
from somite.laws.trial import Trial, Values
from somite.settle import AXES
from somite.spatial.rotation import (
    conjugate,
    euler_from_quaternion,
    product,
    quaternion_from_axis_angle,
    rotated,
    twist_angle,
)
from somite.units import PI

LAW_TWIST = Code("law-twist")

GIVEN = PI / 6.0
WITHIN = 0.5 / 180.0 * PI
NEEDED = 1e-6
"""A turn channel below this, in radians, need not be free."""


@dataclass(frozen=True, slots=True)
class _Try:
    """One control turned for one end of a twist; `joint` is where it must arrive, by `share`."""

    twist: Twist
    end: TwistEnd
    control: str
    joint: str
    share: float
    axis: Vector


def breaches(trial: Trial) -> Iterator[Breach]:
    """Twist by twist; all in one batch of poses."""
    poses = trial.poses()
    tries: list[_Try] = []
    for twist in trial.rig.constraints:
        if not isinstance(twist, Twist):
            continue
        chain = trial.chains[twist.chain]
        for end, joint, share in _ends(twist, chain):
            held = [one for one in _tries(trial, twist, chain, end, joint, share)]
            able = [(one, values) for one, values in held if values is not None]
            if held and not able and not _led(trial, held):
                yield _stuck(trial, twist, held[-1][0])
            for one, values in able:
                tries.append(one)
                poses.add(values)
    posed = poses.posed()
    told: set[tuple[str, str]] = set()
    for row, one in enumerate(tries):
        rest = trial.nodes[one.joint].rest.turn
        turn = tuple(float(value) for value in posed.turn(one.joint)[row])
        arrived = twist_angle(product(conjugate(rest), turn), one.axis)  # type: ignore[arg-type]
        key = one.twist.name, one.control
        if abs(arrived - GIVEN * one.share) > WITHIN and key not in told:
            told.add(key)
            yield _lost(trial, one, arrived)


def _ends(twist: Twist, chain: Chain) -> Iterator[tuple[TwistEnd, str, float]]:
    yield twist.end, chain.joints[-1], twist.spread[-1]
    if twist.start is not None:
        yield twist.start, chain.joints[0], 1.0 - twist.spread[0]


def _tries(
    trial: Trial, twist: Twist, chain: Chain, end: TwistEnd, joint: str, share: float
) -> Iterator[tuple[_Try, Values | None]]:
    """Each control on the way with the channels that turn it; None where they are locked."""
    path = list(end.path) or [end.node]
    controls = [name for name in path if trial.nodes[name].kind == "control"] or [end.node]
    axis = AXES[chain.axis]
    along = rotated(trial.nodes[joint].rest.turn, axis)
    for name in controls:
        if name not in twist.ignores:
            yield _Try(twist, end, name, joint, share, axis), _turned(trial, name, along)


def _turned(trial: Trial, name: str, along: Vector) -> Values | None:
    """The channels that turn a node about a direction of the rig; None if one is not free."""
    node = trial.nodes[name]
    own = rotated(conjugate(node.rest.turn), along)
    angles = euler_from_quaternion(quaternion_from_axis_angle(own, GIVEN), node.order)
    found: dict[str, float] = {}
    for axis, angle in zip("xyz", angles, strict=True):
        if abs(angle) > NEEDED:
            channel = trial.channels[f"{name}.turn.{axis}"]
            if channel.locked or channel.driven or not channel.low <= angle <= channel.high:
                return None
            found[channel.name] = angle
    return found


def _led(trial: Trial, held: list[tuple[_Try, Values | None]]) -> bool:
    """Whether something on the way is turned by other means: a constraint, or a feed."""
    fed = {feed.target for feed in trial.rig.feeds}
    for one, _ in held:
        if (one.control, "turn") in trial.writers:
            return True
        if any(f"{one.control}.turn.{axis}" in fed for axis in "xyz"):
            return True
        limits = {limit.channel for limit in trial.nodes[one.control].limits}
        if any(limit.startswith("turn") for limit in limits):
            return True
    return False


def _stuck(trial: Trial, twist: Twist, one: _Try) -> Breach:
    return Breach(
        trial.statements[twist.name],
        f'expected a control that can turn about the axis of "{twist.chain}", so that something'
        f' twists it, found that the turns of "{one.control}" which would are locked',
        "free the turn that lies along the chain, or name another leader",
        (trial.statements[twist.chain], trial.statements[one.control]),
    )


def _lost(trial: Trial, one: _Try, arrived: float) -> Breach:
    return Breach(
        trial.statements[one.twist.name],
        f'expected "{one.joint}" to turn {angle_words(GIVEN * one.share)} about the axis of'
        f' "{one.twist.chain}" when "{one.control}" does by {angle_words(GIVEN)}, found'
        f" {angle_words(float(arrived))}",
        f'let "{one.end.node}" turn with "{one.control}", or say: ignores {one.control}',
        (trial.statements[one.twist.chain], trial.statements[one.control]),
    )


LAW = Law(
    8,
    "twist",
    "turning about a chain's axis arrives at the end of its twist",
    LAW_TWIST,
    breaches,
)
