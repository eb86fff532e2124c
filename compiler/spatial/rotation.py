"""Turns as unit quaternions (x, y, z, w), and the ways into and out of them.

Inputs called unit are taken at their word. Formulas without a source are the textbook ones:
J. B. Kuipers, Quaternions and Rotation Sequences, 1999.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from somite.spatial.component import (
    Quaternion,
    Rows,
    T,
    Vector,
    absolute,
    choose,
    choose_all,
    sqrt,
)
from somite.spatial.trig import PI, arc_tangent, sine, sine_cosine, wrapped
from somite.spatial.vector import TINY, cross, dot, perpendicular, rejected, unit

IDENTITY: Quaternion[float] = (0.0, 0.0, 0.0, 1.0)

ORDERS: Final[dict[str, tuple[int, int, int, float]]] = {
    "xyz": (0, 1, 2, 1.0),
    "yzx": (1, 2, 0, 1.0),
    "zxy": (2, 0, 1, 1.0),
    "xzy": (0, 2, 1, -1.0),
    "zyx": (2, 1, 0, -1.0),
    "yxz": (1, 0, 2, -1.0),
}
"""Turn order: the axes in the order they are applied, and +1 for an even permutation, else -1."""

_OPPOSED = 1e-28  # square of the angle from opposite below which an axis cannot be told
_LOCKED = 1e-20  # square of the angle from gimbal lock below which two turns are one
_HALF_TURN = 1e-24  # square of the cosine of half the swing below which the twist is lost
_ALIGNED = 1e-24  # square of the sine below which two directions count as parallel


def product(a: Quaternion[T], b: Quaternion[T]) -> Quaternion[T]:
    """Return a.b, the turn b followed by the turn a (W. R. Hamilton, 1843)."""
    ax, ay, az, aw = a
    bx, by, bz, bw = b
    return (
        aw * bx + ax * bw + ay * bz - az * by,
        aw * by - ax * bz + ay * bw + az * bx,
        aw * bz + ax * by - ay * bx + az * bw,
        aw * bw - ax * bx - ay * by - az * bz,
    )


def conjugate(q: Quaternion[T]) -> Quaternion[T]:
    """Return the opposite turn of a unit quaternion."""
    x, y, z, w = q
    return -x, -y, -z, w


def opposite(q: Quaternion[T]) -> Quaternion[T]:
    """Return -q, which is the same turn."""
    x, y, z, w = q
    return -x, -y, -z, -w


def normalised(q: Quaternion[T]) -> Quaternion[T]:
    """Return q divided by its length; a quaternion of no length gives the identity."""
    x, y, z, w = q
    square = x * x + y * y + z * z + w * w
    short = square < TINY
    if short is True:
        return x * 0.0, x * 0.0, x * 0.0, x * 0.0 + 1.0
    size = sqrt(choose(short, 1.0, square))
    return choose_all(short, IDENTITY, (x / size, y / size, z / size, w / size))


def canonical(q: Quaternion[T]) -> Quaternion[T]:
    """Return q or -q: the one whose w, or else first component that is not zero, is positive."""
    x, y, z, w = q
    first = choose(w != 0.0, w, choose(x != 0.0, x, choose(y != 0.0, y, z)))
    return choose_all(first < 0.0, opposite(q), q)


def rotated(q: Quaternion[T], v: Vector[T]) -> Vector[T]:
    """Return v turned by a unit quaternion: v + 2w(u x v) + 2u x (u x v), u = (x, y, z)."""
    x, y, z, w = q
    a, b, c = v
    p = y * c - z * b
    r = z * a - x * c
    s = x * b - y * a
    p = p + p
    r = r + r
    s = s + s
    return (
        a + w * p + (y * s - z * r),
        b + w * r + (z * p - x * s),
        c + w * s + (x * r - y * p),
    )


def quaternion_from_axis_angle(axis: Vector[T], angle: T) -> Quaternion[T]:
    """Return the turn by an angle (radians, right-handed) about a unit axis."""
    s, c = sine_cosine(angle * 0.5)
    return axis[0] * s, axis[1] * s, axis[2] * s, c


def quaternion_from_euler(angles: Vector[T], order: str = "xyz") -> Quaternion[T]:
    """Return the turn made of three turns about the parent's fixed axes.

    ``angles`` are about x, y and z, in radians, whatever the order. ``order`` names the axes as
    applied: ``"xyz"`` means R = Rz.Ry.Rx. Raises ValueError for an order that is not one of
    ``ORDERS``. Product of the three quaternions, written out.
    """
    first, second, third, parity = _axes_of(order)
    si, ci = sine_cosine(angles[first] * 0.5)
    sj, cj = sine_cosine(angles[second] * 0.5)
    sk, ck = sine_cosine(angles[third] * 0.5)
    sk = sk * parity
    cc, cs, sc, ss = ci * ck, ci * sk, si * ck, si * sk
    turns = [cj * sc - sj * cs, sj * cc + cj * ss, (cj * cs - sj * sc) * parity]
    x, y, z = (turns[(first, second, third).index(axis)] for axis in (0, 1, 2))
    return x, y, z, cj * cc + sj * ss


def euler_from_quaternion(q: Quaternion[T], order: str = "xyz") -> Vector[T]:
    """Return the angles about x, y and z (radians) that ``quaternion_from_euler`` takes.

    The middle angle lies in [-PI/2, PI/2], the others in (-PI, PI]. Within 1e-10 of gimbal lock
    the last turn is given 0 and the first takes all. Raises ValueError for an unknown order.
    Source: E. Bernardes and S. Viollet, PLoS ONE 17(11), 2022, e0276302.
    """
    first, second, third, parity = _axes_of(order)
    i, j, k, w = q[first], q[second], q[third] * parity, q[3]
    a, b, c, d = w - j, i + k, w + j, k - i
    low, high = a * a + b * b, c * c + d * d
    middle = 2.0 * arc_tangent(sqrt(high), sqrt(low)) - PI / 2.0
    limit = _LOCKED * (low + high)
    up, down = low <= limit, high <= limit
    plus, minus = arc_tangent(b, a), arc_tangent(d, c)
    plus, minus = choose(up, -minus, plus), choose(down, -plus, minus)
    found = (wrapped(plus - minus), middle, wrapped((plus + minus) * parity))
    x, y, z = (found[(first, second, third).index(axis)] for axis in (0, 1, 2))
    return x, y, z


def _axes_of(order: str) -> tuple[int, int, int, float]:
    axes = ORDERS.get(order)
    if axes is None:
        raise ValueError(f"a turn order is one of {', '.join(ORDERS)}, not {order!r}")
    return axes


def matrix_from_quaternion(q: Quaternion[T]) -> Rows[T]:
    """Return the rows of the rotation matrix of a unit quaternion."""
    x, y, z, w = q
    x2, y2, z2 = x + x, y + y, z + z
    xx, xy, xz = x * x2, x * y2, x * z2
    yy, yz, zz = y * y2, y * z2, z * z2
    wx, wy, wz = w * x2, w * y2, w * z2
    return (
        (1.0 - (yy + zz), xy - wz, xz + wy),
        (xy + wz, 1.0 - (xx + zz), yz - wx),
        (xz - wy, yz + wx, 1.0 - (xx + yy)),
    )


def quaternion_from_matrix(rows: Rows[T]) -> Quaternion[T]:
    """Return the turn of a rotation matrix given as rows, with w not negative.

    Of the four multiples of q that the matrix holds, the one by its largest component is
    normalised (S. W. Shepperd, Journal of Guidance and Control 1(3), 1978).
    """
    (a, b, c), (d, e, f), (g, h, k) = rows
    xy, xz, yz = b + d, c + g, f + h
    xw, yw, zw = h - f, c - g, d - b
    ww, xx, yy, zz = 1.0 + a + e + k, 1.0 + a - e - k, 1.0 - a + e - k, 1.0 - a - e + k
    best, best_square = (xw, yw, zw, ww), ww
    for candidate, square in (
        ((xx, xy, xz, xw), xx),
        ((xy, yy, yz, yw), yy),
        ((xz, yz, zz, zw), zz),
    ):
        larger = square > best_square
        best = choose_all(larger, candidate, best)
        best_square = choose(larger, square, best_square)
    found = normalised(best)
    return choose_all(found[3] < 0.0, opposite(found), found)


def quaternion_from_axes(
    aim_axis: Vector[T], aim: Vector[T], second_axis: Vector[T], second: Vector[T]
) -> Quaternion[T]:
    """Return the turn that lays one local axis on a direction and a second as near as it can.

    ``aim_axis`` and ``second_axis`` are unit vectors at right angles (for example a coordinate
    axis or its opposite); ``aim`` and ``second`` are directions of any length. Where ``aim``
    has no length the aim axis stays; where ``second`` is parallel to ``aim``, the second axis
    goes where the shortest arc takes it. w is not negative.
    """
    ahead = unit(aim, aim_axis)
    aside = rejected(unit(second, ahead), ahead)
    aside = rejected(aside, ahead)  # twice is enough (W. Kahan; B. N. Parlett, 1980)
    vague = dot(aside, aside) < _ALIGNED
    if vague is not False:
        swung = rotated(shortest_arc(aim_axis, ahead), second_axis)
        aside = choose_all(vague, rejected(swung, ahead), aside)
    aside = unit(aside, second_axis)
    third_axis, third = cross(aim_axis, second_axis), cross(ahead, aside)
    a, b, c = ((ahead[i], aside[i], third[i]) for i in (0, 1, 2))
    d, e, f = ((aim_axis[i], second_axis[i], third_axis[i]) for i in (0, 1, 2))
    return quaternion_from_matrix(
        (
            (dot(a, d), dot(a, e), dot(a, f)),
            (dot(b, d), dot(b, e), dot(b, f)),
            (dot(c, d), dot(c, e), dot(c, f)),
        )
    )


def shortest_arc(a: Vector[T], b: Vector[T]) -> Quaternion[T]:
    """Return the smallest turn that takes direction a onto direction b; w is not negative.

    The directions may have any length; one of no length gives the identity. Opposite directions
    (within 1e-14 rad) give a half turn about ``perpendicular(a)``. In the half space behind a,
    1 + cos is taken as sin^2/(1 - cos) and the axis is squared to a, which keeps full precision.
    """
    a = unit(a, b)
    b = unit(b, a)
    c = dot(a, b)
    axis = cross(a, b)
    behind = c < 0.0
    if behind is False:
        return normalised((axis[0], axis[1], axis[2], 1.0 + c))
    square = rejected(axis, a)
    sine_square = dot(square, square)
    vague = (sine_square < _OPPOSED) & behind
    square = choose_all(vague, perpendicular(a), choose_all(behind, square, axis))
    w = choose(behind, choose(vague, 0.0, sine_square / choose(behind, 1.0 - c, 1.0)), 1.0 + c)
    return normalised((square[0], square[1], square[2], w))


def swing_twist(q: Quaternion[T], axis: Vector[T]) -> tuple[Quaternion[T], Quaternion[T]]:
    """Return (swing, twist) with q = swing.twist, the twist about a unit axis.

    The swing turns about an axis at right angles to ``axis`` and has w not negative; the twist
    carries the sign of q. A swing of 180 degrees (within 2e-12) leaves the twist undefined: it
    is then the identity, and the swing is q. Source: P. Dobrowolski, arXiv:1506.05481, 2015.
    """
    x, y, z, w = q
    p = x * axis[0] + y * axis[1] + z * axis[2]
    square = w * w + p * p
    lost = square < _HALF_TURN
    size = sqrt(choose(lost, 1.0, square))
    p = choose(lost, 0.0, p / size)
    twist = (axis[0] * p, axis[1] * p, axis[2] * p, choose(lost, 1.0, w / size))
    return product(q, conjugate(twist)), twist


def twist_angle(q: Quaternion[T], axis: Vector[T]) -> T:
    """Return the angle of the twist of q about a unit axis, in (-PI, PI]; 0 where undefined.

    q and -q give the same angle. Definition and singular point as ``swing_twist``.
    """
    x, y, z, w = q
    p = x * axis[0] + y * axis[1] + z * axis[2]
    lost = w * w + p * p < _HALF_TURN
    p = choose(lost, 0.0, choose(w < 0.0, -p, p))
    angle = 2.0 * arc_tangent(p, choose(lost, 1.0, absolute(w)))
    return choose(angle <= -PI, PI, angle)


def slerp(a: Quaternion[T], b: Quaternion[T], t: T) -> Quaternion[T]:
    """Return the turn a fraction t of the shorter way from a to b, at an even rate.

    Both are unit quaternions; b is taken with the sign nearer a (as it is, if neither is). The
    angle comes from the chord and the sum, which keeps precision at both ends (W. Kahan). Source:
    K. Shoemake, SIGGRAPH 1985.
    """
    b = _signed_like(a, b)
    apart = (b[0] - a[0], b[1] - a[1], b[2] - a[2], b[3] - a[3])
    together = (b[0] + a[0], b[1] + a[1], b[2] + a[2], b[3] + a[3])
    chord = _square(apart)
    near = chord < 1e-14
    angle = 2.0 * arc_tangent(sqrt(chord), sqrt(_square(together)))
    whole = choose(near, 1.0, sine(angle))
    start = choose(near, 1.0 - t, sine(angle * (1.0 - t)) / whole)
    end = choose(near, t, sine(angle * t) / whole)
    return normalised(
        (
            a[0] * start + b[0] * end,
            a[1] * start + b[1] * end,
            a[2] * start + b[2] * end,
            a[3] * start + b[3] * end,
        )
    )


def blended(turns: Sequence[Quaternion[T]], weights: Sequence[T]) -> Quaternion[T]:
    """Return the weighted blend of turns, aligned in sign to the heaviest (ties: the first).

    Sum and normalise: to first order the weighted mean turn (F. L. Markley et al., Journal of
    Guidance, Control, and Dynamics 30(4), 2007). One turn is returned as it is; where all
    weights are 0 the answer is the first turn. Raises ValueError for no turns, or for a number
    of weights that differs.
    """
    if not turns or len(turns) != len(weights):
        raise ValueError(f"{len(turns)} turns with {len(weights)} weights cannot be blended")
    leader, heaviest = turns[0], weights[0]
    if len(turns) == 1:
        return leader
    for turn, weight in zip(turns[1:], weights[1:], strict=True):
        heavier = weight > heaviest
        leader = choose_all(heavier, turn, leader)
        heaviest = choose(heavier, weight, heaviest)
    x = y = z = w = heaviest * 0.0
    for turn, weight in zip(turns, weights, strict=True):
        a, b, c, d = _signed_like(leader, turn)
        x = x + a * weight
        y = y + b * weight
        z = z + c * weight
        w = w + d * weight
    total = (x, y, z, w)
    nothing = _square(total) < TINY
    return choose_all(nothing, leader, normalised(total))


def _signed_like(a: Quaternion[T], b: Quaternion[T]) -> Quaternion[T]:
    """Return b or -b, whichever has a scalar product with a that is not negative."""
    same = a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3]
    return choose_all(same < 0.0, opposite(b), b)


def _square(q: Quaternion[T]) -> T:
    return q[0] * q[0] + q[1] * q[1] + q[2] * q[2] + q[3] * q[3]
