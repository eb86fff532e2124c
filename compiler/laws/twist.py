"""Twist arrives: what turns about a chain's axis on the way to a twist arrives at the chain's end.

Every control from a twist's reference (excluded) to its leader is turned 30 degrees about the
chain's axis, alone and at rest; the chain's end must turn by as much about its own axis.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from somite.evaluate import Posed
from somite.findings import Code
from somite.ir import Chain, Quaternion, Twist, TwistEnd, Vector
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
    shortest_arc,
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
    along: Vector


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
        arrived = _arrived(trial, one, posed, row)
        key = one.twist.name, one.control
        if abs(arrived - GIVEN * one.share) > WITHIN and key not in told:
            told.add(key)
            yield _lost(trial, one, arrived)


def _arrived(trial: Trial, one: _Try, posed: Posed, row: int) -> float:
    """How far the chain's end has twisted, in radians: the nearer of two measures.

    One is the twist of the joint since rest about its own axis. The other is as a twist's end meets
    its leader: the leader's turn about the chain's axis, and what the joint lacks of it, which is
    the angle about its own axis to where the leader, swung the shortest way onto it, would have it.
    They agree, but for what a bend that comes with the turn adds to either.
    """
    leader, rest = trial.nodes[one.end.node].rest.turn, trial.nodes[one.joint].rest.turn
    turned, joint = _turn(posed, one.end.node, row), _turn(posed, one.joint, row)
    plain = twist_angle(product(conjugate(rest), joint), one.axis)
    own = rotated(conjugate(leader), one.along)
    given = twist_angle(product(conjugate(leader), turned), own)
    met = product(turned, product(conjugate(leader), rest))
    swing = shortest_arc(rotated(met, one.axis), rotated(joint, one.axis))
    lacking = twist_angle(product(conjugate(product(swing, met)), joint), one.axis)
    due = GIVEN * one.share
    return min(plain, given + lacking, key=lambda angle: abs(angle - due))


def _turn(posed: Posed, name: str, row: int) -> Quaternion:
    x, y, z, w = (float(value) for value in posed.turn(name)[row])
    return x, y, z, w


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
    settled = trial.settled.twists[twist.name]
    met = settled.start if end is twist.start and settled.start is not None else settled.end
    along = rotated(product(trial.nodes[end.node].rest.turn, met.offset), axis)
    for name in controls:
        if name not in twist.ignores:
            yield _Try(twist, end, name, joint, share, axis, along), _turned(trial, name, along)


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
    mend = f'let "{one.end.node}" turn with "{one.control}", or say: ignores {one.control}'
    if one.end.node == one.control:
        mend = f'take away what else turns "{one.joint}", such as a feed of its turn'
    return Breach(
        trial.statements[one.twist.name],
        f'expected "{one.joint}" to turn {angle_words(GIVEN * one.share)} about the axis of'
        f' "{one.twist.chain}" when "{one.control}" does by {angle_words(GIVEN)}, found'
        f" {angle_words(float(arrived))}",
        mend,
        (trial.statements[one.twist.chain], trial.statements[one.control]),
    )


LAW = Law(
    8,
    "twist",
    "turning about a chain's axis arrives at the end of its twist",
    LAW_TWIST,
    breaches,
)
