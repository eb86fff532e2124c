"""Curves, riding, reaching and twisting, laid into a plan."""

from __future__ import annotations

from typing import Any

import numpy as np

from somite.evaluate.algebra import affine
from somite.evaluate.curve import Form, PointsHeld
from somite.evaluate.laying import (
    Key,
    Laying,
    Mounted,
    Source,
    may_be,
    mount_of,
)
from somite.evaluate.live import Number, Summed
from somite.evaluate.nodes import EvenOf, Mount
from somite.evaluate.reach import Bend, Reached, Shape
from somite.evaluate.ride import Ridden
from somite.evaluate.scalar.frames import SUBSTEPS
from somite.evaluate.state import Step
from somite.evaluate.twist import Twisted, TwistedEnd, Untwisted
from somite.ir import Quaternion, Reach, Ride, Twist, TwistEnd
from somite.settle import AXES, ReachRest, TwistEndRest, aimed, side_axis, spline
from somite.spatial import curve as splines
from somite.spatial.frames import frames_along
from somite.spatial.rotation import (
    IDENTITY,
    conjugate,
    product,
    quaternion_from_axes,
    rotated,
    shortest_arc,
)
from somite.spatial.transform import inverse
from somite.spatial.trig import sine_cosine
from somite.spatial.vector import X, Y, subtract


def points(laying: Laying, name: str) -> None:
    """Have a curve's control points placed, if they are not yet."""
    if ("curve", name) in laying.ready:
        return
    curve = laying.curves[name]
    held = laying.settled.curves[name].held
    grips = list(dict.fromkeys(share.grip for share in curve.shares))
    matrices = [np.zeros((len(curve.points), 4)) for _ in grips]
    owned = {share.point for share in curve.shares}
    for share, place in zip(curve.shares, held, strict=True):
        matrices[grips.index(share.grip)][share.point] += share.share * np.array([*place, 1.0])
    fixed = None
    if len(owned) < len(curve.points):
        fixed = np.array(
            [(0.0,) * 3 if k in owned else point for k, point in enumerate(curve.points)]
        )
    back = parent = None
    needs: list[Key] = []
    if curve.parent is not None:
        rest = laying.nodes[curve.parent].rest
        back = affine(*inverse((rest.place, rest.turn))).T
        parent = laying.slot(curve.parent)
        needs += [("place", parent), ("linear", parent)]
    slots = [laying.slot(grip) for grip in grips]
    needs += [key for slot in slots for key in (("place", slot), ("linear", slot))]
    operation = laying.operation(needs)
    step = PointsHeld(laying.curve_rows[name], slots, matrices, fixed, parent, back)
    laying.alone(operation, "points", step)
    laying.provide(operation, ("curve", name))


def form_of(laying: Laying, name: str) -> Form:
    """What of a curve is the same in every pose."""
    curve = laying.curves[name]
    return Form(curve.knots, curve.degree, len(curve.points))


def ride(laying: Laying, ride: Ride) -> None:
    """Have a chain ride."""
    rest = laying.settled.rides[ride.name]
    chain = laying.chains[ride.chain]
    points(laying, ride.curve)
    scale = laying.inherited.mount(chain.joints[0])
    _evened(laying)
    laying.asked.add(scale)
    joints, ends = laying.spare(len(chain.joints)), laying.spare(2)
    carrier = laying.slot(rest.carrier)
    carried = _carried_at_rest(laying, ride)
    laying.rest_ends[chain.name] = (carried[0], carried[-1])
    laying.together.update(range(joints, joints + len(chain.joints)))
    step = Ridden(
        form=form_of(laying, ride.curve),
        curve=laying.curve_rows[ride.curve],
        joints=joints,
        ends=(ends, ends + 1),
        carrier=carrier,
        scale=scale,
        start=rest.start,
        axis=AXES[chain.axis],
        parameters=np.array(rest.parameters),
        fractions=np.array(rest.fractions),
        bones=np.array(rest.bones),
        rolls=np.array(_rolls(laying, ride, carried)),
        stretch=laying.amount(ride.stretch),
        volume=laying.amount(ride.volume),
        extras=laying.extras.get(chain.joints[0]),
    )
    needs: list[Key] = [("curve", ride.curve), ("turn", carrier), ("size", scale)]
    needs += [*laying.amount_needs(ride.stretch), *laying.amount_needs(ride.volume)]
    operation = laying.operation(needs)
    laying.alone(operation, "ride", step)
    laying.ride_ends[chain.name] = (ends, ends + 1)
    laying.provide(operation, ("turn", ends), ("turn", ends + 1))
    for k, joint in enumerate(chain.joints):
        slot = joints + k
        laying.provide(operation, ("place", slot), ("turn", slot), ("extra", joint))
        laying.places_written[joint] = laying.turns_written[joint] = Source(slot)


def _carried_at_rest(laying: Laying, ride: Ride) -> list[Quaternion]:
    """The frames carried along the rest curve, in as many steps as evaluating takes."""
    rest, chain = laying.settled.rides[ride.name], laying.chains[ride.chain]
    curve, axis = laying.curves[ride.curve], AXES[chain.axis]
    along = spline(curve, curve.points)
    carrier = laying.nodes[rest.carrier].rest.turn if rest.carrier in laying.nodes else IDENTITY
    begun = product(carrier, rest.start)
    first = splines.tangent_at(along, rest.parameters[0])
    side = side_axis(axis)
    reference = rotated(product(shortest_arc(rotated(begun, axis), first), begun), side)
    return [
        quaternion_from_axes(axis, tangent, side, carried)
        for tangent, carried in frames_along(along, rest.parameters, reference, SUBSTEPS)
    ]


def _rolls(laying: Laying, ride: Ride, carried: list[Quaternion]) -> list[Quaternion]:
    """The joints' placed turns seen from the carried frames, laid on their bones."""
    chain = laying.chains[ride.chain]
    joints = [laying.nodes[joint].rest for joint in chain.joints]
    stations = [*[joint.place for joint in joints], chain.end]
    laid = [
        aimed(turn, AXES[chain.axis], subtract(there, here))
        for turn, here, there in zip(carried[:-1], stations[:-1], stations[1:], strict=True)
    ]
    return [product(conjugate(turn), joint.turn) for turn, joint in zip(laid, joints, strict=True)]


def _evened(laying: Laying) -> None:
    """Have even scales of stretches worked out, where a ride asked for them."""
    for source, made in laying.inherited.evened.items():
        if ("size", made) not in laying.ready:
            laying.asked.add(source)
            operation = laying.operation([("size", source)])
            laying.alone(operation, "even", EvenOf(source, made.row))
            laying.provide(operation, ("size", made))


# ---- reach ---------------------------------------------------------------------------------------


def reach(laying: Laying, reach: Reach) -> None:
    """Have a chain reach."""
    chain = laying.chains[reach.chain]
    first = chain.joints[0]
    place, turn = laying.place_source(first), laying.turn_source(first)
    size = laying.inherited.mount(first)
    laying.asked.add(size)
    mounted = Mounted(place, turn, size, False)
    joints = laying.spare(len(chain.joints))
    needs: list[Key] = [("turn", turn.slot), ("size", size), ("place", laying.slot(reach.goal))]
    needs += [*laying.place_needs(place), *laying.amount_needs(reach.stretch)]
    if reach.pole is not None:
        needs.append(("place", laying.slot(reach.pole)))
    operation = laying.operation(needs)
    rest = laying.settled.reaches[reach.name]
    member = (reach, joints, mounted, rest)
    laying.add(operation, "reach", len(chain.joints), member, lambda held: _reached(laying, held))
    stretches = may_be(reach.stretch)
    for k, joint in enumerate(chain.joints):
        slot = joints + k
        laying.provide(operation, ("place", slot), ("turn", slot), ("extra", joint))
        laying.turns_written[joint] = Source(slot)
        if stretches and k > 0:
            laying.places_written[joint] = Source(slot)


def _reached(laying: Laying, held: list[Any]) -> Step:
    rests: list[ReachRest] = [rest for _, _, _, rest in held]
    reaches: list[Reach] = [one for one, _, _, _ in held]
    turned = [sine_cosine(rest.pole_angle) for rest in rests]
    poles = [-1 if one.pole is None else laying.slot(one.pole) for one in reaches]
    bend = Bend(
        _columns([rest.line for rest in rests]),
        _columns([quaternion_from_axes(X, rest.line, Y, rest.bend) for rest in rests]),
        np.array([[cosine] for _, cosine in turned]),
        np.array([[sine] for sine, _ in turned]),
        poles,
    )
    count = len(rests[0].bones)
    mounts: list[Mount] = [mount_of([mounted]) for _, _, mounted, _ in held]
    return Reached(
        joints=[first for _, first, _, _ in held],
        mounts=mounts,
        goals=[laying.slot(one.goal) for one in reaches],
        scales=[mounted.size for _, _, mounted, _ in held],
        bend=bend,
        bones=np.array([rest.bones for rest in rests]).T[:, :, None],
        offsets=[_columns([rest.offsets[k] for rest in rests]) for k in range(count)],
        ease_from=np.array([[rest.ease_from] for rest in rests]),
        stretch=[laying.amount(one.stretch) for one in reaches],
        extras=[_lengthened(laying, one) for one in reaches],
        shapes=[None if count == 2 else shape_of(rest) for rest in rests],
    )


def _lengthened(laying: Laying, reach: Reach) -> tuple[int, int] | None:
    """The first row of a chain's sizes, and the axis along its bones."""
    chain = laying.chains[reach.chain]
    first = laying.extras.get(chain.joints[0])
    return None if first is None else (first, "XYZ".index(chain.axis[1]))


def shape_of(rest: ReachRest) -> Shape:
    """The shape of a longer chain."""
    return Shape(np.array(rest.points), np.array(rest.line), np.array(rest.bend), rest.straight)


def _columns(vectors: list[Any]) -> tuple[Any, ...]:
    """Vectors as components (n, 1)."""
    return tuple(np.array(vectors).T[:, :, None])


# ---- twist ---------------------------------------------------------------------------------------


def twist(laying: Laying, twist: Twist) -> None:
    """Have a chain's joints twist."""
    rest = laying.settled.twists[twist.name]
    chain = laying.chains[twist.chain]
    needs: list[Key] = []
    joints = [_untwisted(laying, chain.joints, k, needs) for k in range(len(chain.joints))]
    begun, ended = laying.rest_ends.get(chain.name, (None, None))
    end = _end(laying, twist, twist.end, rest.end, needs, ended)
    start = None
    if twist.start is not None and rest.start is not None:
        start = _end(laying, twist, twist.start, rest.start, needs, begun)
    ends = laying.ride_ends.get(chain.name)
    needs += [("turn", slot) for slot in ends or ()]
    slots = laying.spare(len(joints))
    step = Twisted(
        range(slots, slots + len(joints)),
        joints,
        rest.axis,
        np.array(twist.spread),
        start,
        end,
        ends,
    )
    operation = laying.operation(needs)
    laying.alone(operation, "twist", step)
    for k, joint in enumerate(chain.joints):
        laying.provide(operation, ("turn", slots + k))
        laying.turns_written[joint] = Source(slots + k)


def _untwisted(laying: Laying, joints: tuple[str, ...], index: int, needs: list[Key]) -> Untwisted:
    joint = joints[index]
    before = joints[index - 1] if index > 0 else None
    carried = before is not None and laying.nodes[joint].parent == before
    if carried and before is not None and joint not in laying.turns_written:
        if before in laying.turns:
            laying.turn_within(before)
            needs.append(("local", before))
        return Untwisted(None, laying.settled.locals[joint].turn, laying.turns.get(before))
    source = laying.turn_source(joint)
    needs.append(("turn", source.slot))
    return Untwisted(source.slot, source.turn)


def _end(
    laying: Laying,
    twist: Twist,
    end: TwistEnd,
    rest: TwistEndRest,
    needs: list[Key],
    untwisted: Quaternion | None,
) -> TwistedEnd:
    """One end of a twist; `untwisted` is the rest frame there, where a ride makes it."""
    offset = rest.offset
    if untwisted is not None:
        offset = product(conjugate(laying.nodes[end.node].rest.turn), untwisted)
    leader = laying.slot(end.node)
    needs.append(("turn", leader))
    turned = ignored = None
    if end.mode == "meets":
        turned = _axis_turns(laying, rest, None, needs)
        if any(name in twist.ignores for name, _ in rest.path):
            ignored = _axis_turns(laying, rest, twist.ignores, needs)
    return TwistedEnd(leader, offset, turned, ignored)


def _axis_turns(
    laying: Laying, rest: TwistEndRest, names: tuple[str, ...] | None, needs: list[Key]
) -> Number:
    """The sum of what nodes of an end's path turn about the chain's axis by their channels."""
    terms: list[tuple[float, Number]] = []
    for name, axis in rest.path:
        if names is not None and name not in names:
            continue
        for letter, share in zip("xyz", axis, strict=True):
            channel = f"{name}.turn.{letter}"
            if share != 0.0 and name in laying.turns:
                needs.extend(laying.channel_needs(channel))
                terms.append((share, laying.channel(channel)))

    return Summed(terms)
