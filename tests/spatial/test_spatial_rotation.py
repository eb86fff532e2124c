"""Turns: the laws of the rotation group, and every singular point."""

import itertools
import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from somite.spatial import rotation, vector
from somite.spatial.rotation import IDENTITY

part = st.floats(-1.0, 1.0)


def _unit(values):
    size = math.hypot(*values)
    return tuple(value / size for value in values)


quaternions = st.tuples(part, part, part, part).filter(lambda q: math.hypot(*q) > 0.1).map(_unit)
vectors = st.tuples(part, part, part)
directions = vectors.filter(lambda v: math.hypot(*v) > 0.1).map(_unit)
axes = st.sampled_from(
    [
        (sign_a * a[0], sign_a * a[1], sign_a * a[2], sign_b * b[0], sign_b * b[1], sign_b * b[2])
        for a, b in itertools.permutations([vector.X, vector.Y, vector.Z], 2)
        for sign_a in (1.0, -1.0)
        for sign_b in (1.0, -1.0)
    ]
).map(lambda six: (six[:3], six[3:]))
orders = st.sampled_from(sorted(rotation.ORDERS))
angles = st.floats(-math.pi, math.pi)


def near(values, within=1e-14):
    return pytest.approx(values, abs=within)


def same_turn(a, b, within=1e-14):
    return a == near(b, within) or a == near(rotation.opposite(b), within)


@given(quaternions, quaternions, vectors)
def test_a_product_turns_by_its_right_factor_first(a, b, v):
    both = rotation.rotated(rotation.product(a, b), v)
    assert both == near(rotation.rotated(a, rotation.rotated(b, v)))


@given(quaternions, vectors)
def test_the_conjugate_turns_back(q, v):
    assert rotation.rotated(rotation.conjugate(q), rotation.rotated(q, v)) == near(v)


@given(quaternions, vectors)
def test_a_matrix_does_what_its_quaternion_does(q, v):
    rows = rotation.matrix_from_quaternion(q)
    assert tuple(vector.dot(row, v) for row in rows) == near(rotation.rotated(q, v))


@given(quaternions)
@example((1.0, 0.0, 0.0, 0.0))
@example((0.0, 1.0, 0.0, 0.0))
@example((0.0, 0.0, 1.0, 0.0))
@example((0.5, -0.5, 0.5, -0.5))
def test_a_quaternion_comes_back_from_its_matrix(q):
    back = rotation.quaternion_from_matrix(rotation.matrix_from_quaternion(q))
    assert same_turn(back, q)
    assert back[3] >= 0.0


@given(directions, angles, directions)
def test_an_axis_stays_and_the_rest_turns_by_the_angle(axis, angle, v):
    q = rotation.quaternion_from_axis_angle(axis, angle)
    assert rotation.rotated(q, axis) == near(axis)
    side = vector.rejected(v, axis)
    turned = rotation.rotated(q, side)
    square = vector.dot(side, side)
    assert vector.dot(side, turned) == pytest.approx(square * math.cos(angle), abs=1e-14)
    across = vector.dot(axis, vector.cross(side, turned))
    assert across == pytest.approx(square * math.sin(angle), abs=1e-14)


@given(st.tuples(angles, angles, angles), orders)
def test_three_turns_are_applied_in_the_order_named(xyz, order):
    q = IDENTITY
    for letter in order:
        k = "xyz".index(letter)
        axis = (vector.X, vector.Y, vector.Z)[k]
        q = rotation.product(rotation.quaternion_from_axis_angle(axis, xyz[k]), q)
    assert rotation.quaternion_from_euler(xyz, order) == near(q)


@given(quaternions, orders)
def test_angles_rebuild_their_turn_and_stay_in_range(q, order):
    found = rotation.euler_from_quaternion(q, order)
    # Within 1e-10 of gimbal lock the two turns about one line are told as one.
    assert same_turn(rotation.quaternion_from_euler(found, order), q, 1e-10)
    assert all(-math.pi < angle <= math.pi for angle in found)
    assert abs(found["xyz".index(order[1])]) <= math.pi / 2


@given(angles, angles, st.sampled_from([-1.0, 1.0]), orders)
def test_in_gimbal_lock_the_last_turn_is_zero_and_the_turn_is_kept(first, last, sign, order):
    xyz = [0.0, 0.0, 0.0]
    for letter, angle in zip(order, (first, sign * math.pi / 2, last), strict=True):
        xyz["xyz".index(letter)] = angle
    q = rotation.quaternion_from_euler(tuple(xyz), order)
    found = rotation.euler_from_quaternion(q, order)
    assert found["xyz".index(order[2])] == 0.0
    assert found["xyz".index(order[1])] == pytest.approx(sign * math.pi / 2, abs=1e-10)
    assert same_turn(rotation.quaternion_from_euler(found, order), q, 1e-10)


@given(st.floats(-1.5, 1.5), st.floats(-3.1, 3.1), st.floats(-3.1, 3.1), orders)
def test_angles_away_from_gimbal_lock_come_back(middle, first, last, order):
    xyz = [0.0, 0.0, 0.0]
    for letter, angle in zip(order, (first, middle, last), strict=True):
        xyz["xyz".index(letter)] = angle
    q = rotation.quaternion_from_euler(tuple(xyz), order)
    assert rotation.euler_from_quaternion(q, order) == near(tuple(xyz), 1e-13)
    assert rotation.euler_from_quaternion(rotation.opposite(q), order) == near(tuple(xyz), 1e-13)


def test_an_unknown_turn_order_is_refused():
    with pytest.raises(ValueError, match="'xyx'"):
        rotation.quaternion_from_euler((0.0, 0.0, 0.0), "xyx")
    with pytest.raises(ValueError, match="xyz"):
        rotation.euler_from_quaternion(IDENTITY, "")


@given(axes, directions, directions)
def test_axes_are_laid_exactly_and_as_near_as_can_be(pair, aim, second):
    first_axis, second_axis = pair
    q = rotation.quaternion_from_axes(first_axis, aim, second_axis, second)
    assert rotation.rotated(q, first_axis) == near(aim)
    landed = rotation.rotated(q, second_axis)
    side = vector.rejected(second, aim)
    if vector.length(side) > 1e-6:
        assert landed == near(vector.unit(side, vector.X), 1e-9)


@given(axes, directions, st.sampled_from([1.0, -2.0, 0.0]))
def test_a_second_direction_along_the_aim_still_gives_a_turn(pair, aim, factor):
    first_axis, second_axis = pair
    q = rotation.quaternion_from_axes(first_axis, aim, second_axis, tuple(c * factor for c in aim))
    assert math.hypot(*q) == pytest.approx(1.0, abs=1e-15)
    assert rotation.rotated(q, first_axis) == near(aim)


def test_a_vague_second_direction_goes_with_the_shortest_arc():
    args = (vector.X, vector.Z, vector.Y, vector.Z)
    assert rotation.quaternion_from_axes(*args) == near(rotation.shortest_arc(vector.X, vector.Z))
    still = rotation.quaternion_from_axes(vector.X, vector.ZERO, vector.Y, vector.ZERO)
    assert still == near(IDENTITY)


@given(directions, directions, st.floats(1e-3, 1e3))
def test_the_shortest_arc_lands_and_turns_about_the_common_normal(a, b, size):
    q = rotation.shortest_arc(tuple(c * size for c in a), b)
    assert rotation.rotated(q, a) == near(b)
    assert q[3] >= 0.0
    assert vector.dot(q[:3], a) == pytest.approx(0.0, abs=1e-13)


@given(directions, directions, st.floats(-16.0, -1.0))
def test_nearly_opposite_directions_are_joined_to_full_precision(a, side, exponent):
    side = vector.rejected(side, a)
    b = vector.unit(vector.along(vector.negated(a), side, 10.0**exponent), vector.X)
    q = rotation.shortest_arc(a, b)
    assert rotation.rotated(q, a) == near(b, 4e-14)
    assert math.hypot(*q) == pytest.approx(1.0, abs=1e-15)


def test_opposite_directions_give_a_half_turn_and_no_direction_gives_none():
    q = rotation.shortest_arc(vector.Y, vector.negated(vector.Y))
    assert q[3] == 0.0
    assert rotation.rotated(q, vector.Y) == near((0.0, -1.0, 0.0))
    assert rotation.shortest_arc(vector.Y, vector.ZERO) == IDENTITY
    assert rotation.shortest_arc(vector.ZERO, vector.Y) == IDENTITY


@given(quaternions, directions)
def test_swing_and_twist_make_up_the_turn(q, axis):
    swing, twist = rotation.swing_twist(q, axis)
    assert rotation.product(swing, twist) == near(q)
    assert vector.dot(swing[:3], axis) == pytest.approx(0.0, abs=1e-12)
    assert vector.length(vector.cross(twist[:3], axis)) == pytest.approx(0.0, abs=1e-14)
    assert math.hypot(*twist) == pytest.approx(1.0, abs=1e-14)
    assert swing[3] >= 0.0 or twist == IDENTITY


@given(directions, directions, st.floats(-3.1, 3.1), st.floats(0.0, 3.1))
def test_a_known_twist_under_a_known_swing_is_found(axis, side, twist, swing):
    across = vector.unit(vector.rejected(side, axis), vector.perpendicular(axis))
    q = rotation.product(
        rotation.quaternion_from_axis_angle(vector.rejected(across, axis), swing),
        rotation.quaternion_from_axis_angle(axis, twist),
    )
    q = rotation.normalised(q)
    if vector.length(vector.cross(side, axis)) > 1e-3:
        assert rotation.twist_angle(q, axis) == pytest.approx(twist, abs=1e-12)
        assert rotation.twist_angle(rotation.opposite(q), axis) == pytest.approx(twist, abs=1e-12)


def test_a_half_turn_about_the_axis_is_plus_180_degrees_either_way():
    for q in ((0.0, 1.0, 0.0, 0.0), (0.0, -1.0, 0.0, 0.0), (0.0, -1.0, 0.0, -0.0)):
        assert rotation.twist_angle(q, vector.Y) == math.pi


def test_a_half_turn_swing_has_no_twist():
    for q in ((1.0, 0.0, 0.0, 0.0), (0.6, 0.0, 0.8, 0.0)):
        swing, twist = rotation.swing_twist(q, vector.Y)
        assert twist == IDENTITY
        assert swing == q
        assert rotation.twist_angle(q, vector.Y) == 0.0


@given(quaternions, quaternions, st.floats(0.0, 1.0))
def test_slerp_divides_the_angle_evenly(a, b, t):
    whole = rotation.product(rotation.conjugate(a), b)
    part_way = rotation.product(rotation.conjugate(a), rotation.slerp(a, b, t))

    def angle(q):
        return 2.0 * math.atan2(math.hypot(*q[:3]), abs(q[3]))

    assert angle(part_way) == pytest.approx(t * angle(whole), abs=1e-12)


@given(quaternions, st.floats(0.0, 1.0), st.floats(-9.0, -5.0), directions)
def test_slerp_is_smooth_where_its_two_formulas_meet(a, t, exponent, axis):
    small = 10.0**exponent
    b = rotation.product(rotation.quaternion_from_axis_angle(axis, small), a)
    true = rotation.product(rotation.quaternion_from_axis_angle(axis, small * t), a)
    assert rotation.slerp(a, b, t) == near(true, 1e-15)


@given(quaternions, quaternions)
def test_slerp_reaches_both_ends(a, b):
    assert same_turn(rotation.slerp(a, b, 0.0), a)
    assert same_turn(rotation.slerp(a, b, 1.0), b)


@given(quaternions, quaternions)
def test_an_even_blend_of_two_is_halfway(a, b):
    assert same_turn(rotation.blended([a, b], [0.5, 0.5]), rotation.slerp(a, b, 0.5), 1e-13)


@given(st.lists(st.tuples(quaternions, st.floats(0.1, 1.0)), min_size=2, max_size=5))
def test_a_blend_does_not_care_for_the_signs_of_the_lighter(pairs):
    turns, weights = zip(*pairs, strict=True)
    heaviest = weights.index(max(weights))
    flipped = [q if k == heaviest else rotation.opposite(q) for k, q in enumerate(turns)]
    aligned = [abs(sum(x * y for x, y in zip(q, turns[heaviest], strict=True))) for q in turns]
    if min(aligned) > 1e-9:
        assert rotation.blended(flipped, weights) == near(rotation.blended(turns, weights))


def test_of_equally_heavy_turns_the_first_gives_the_sign():
    a, b = (0.0, 0.0, 0.0, 1.0), (0.0, 0.0, -0.6, -0.8)
    assert rotation.blended([a, b], [1.0, 1.0])[3] > 0.0
    assert rotation.blended([b, a], [1.0, 1.0])[3] < 0.0
    assert rotation.blended([a, b], [1.0, 1.5])[3] < 0.0


def test_a_blend_of_one_or_of_nothing():
    q = (0.0, 0.6, 0.0, 0.8)
    assert rotation.blended([q], [0.25]) == q
    assert rotation.blended([q, IDENTITY], [0.0, 0.0]) == q
    with pytest.raises(ValueError, match="0 turns"):
        rotation.blended([], [])
    with pytest.raises(ValueError, match="2 weights"):
        rotation.blended([q], [1.0, 2.0])


@given(quaternions)
def test_the_canonical_sign_is_one_of_two_and_the_same_for_both(q):
    found = rotation.canonical(q)
    assert found in (q, rotation.opposite(q))
    assert rotation.canonical(rotation.opposite(q)) == found


def test_without_w_the_first_component_that_is_not_zero_is_made_positive():
    assert rotation.canonical((0.0, -0.6, 0.8, 0.0)) == (0.0, 0.6, -0.8, 0.0)
    assert rotation.canonical((-0.6, 0.8, 0.0, 0.0)) == (0.6, -0.8, 0.0, 0.0)
    assert rotation.canonical((0.0, 0.0, -1.0, 0.0)) == (0.0, 0.0, 1.0, 0.0)
    assert rotation.canonical((0.6, 0.0, 0.0, -0.8)) == (-0.6, 0.0, 0.0, 0.8)


def test_a_quaternion_of_no_length_becomes_the_identity():
    assert rotation.normalised((0.0, 0.0, 0.0, 0.0)) == IDENTITY
