"""Turns against open standards, published decompositions and scipy."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation, Slerp

from somite.spatial import rotation, transform, vector

angles = st.floats(-3.1, 3.1)
part = st.floats(-1.0, 1.0)
quaternions = (
    st.tuples(part, part, part, part)
    .filter(lambda q: math.hypot(*q) > 0.1)
    .map(lambda q: tuple(c / math.hypot(*q) for c in q))
)


def radians(*degrees):
    return tuple(math.radians(angle) for angle in degrees)


def same_turn(a, b, within=1e-14):
    close = pytest.approx(tuple(b), abs=within)
    return tuple(a) == close or rotation.opposite(a) == close


# OpenUSD's rotate operations: "the first axis named is the most local" (usdGeom/xformOp.h).
# Angles 10, 20, 30 degrees about x, y, z; quaternions computed with usd-core 26.11.
ROTATE_10_20_30 = {
    "xyz": (0.03813457647485, 0.189307857412, 0.23929833774473, 0.951548524643788),
    "xzy": (0.127679440695781, 0.189307857412, 0.23929833774473, 0.943714364147489),
    "yxz": (0.03813457647485, 0.189307857412, 0.268535822751569, 0.943714364147489),
    "yzx": (0.03813457647485, 0.144878125417369, 0.268535822751569, 0.951548524643788),
    "zxy": (0.127679440695781, 0.144878125417369, 0.23929833774473, 0.951548524643789),
    "zyx": (0.127679440695781, 0.144878125417369, 0.268535822751569, 0.943714364147489),
}


@pytest.mark.parametrize("order", sorted(ROTATE_10_20_30))
def test_turn_orders_are_those_of_openusd(order):
    found = rotation.quaternion_from_euler(radians(10, 20, 30), order)
    assert found == pytest.approx(ROTATE_10_20_30[order], abs=2e-15)
    assert rotation.euler_from_quaternion(found, order) == pytest.approx(radians(10, 20, 30))


def test_the_matrix_of_turn_order_xyz_is_that_of_openusd():
    """OpenUSD, rotateXYZ (10, 20, 30) as a column matrix, computed with usd-core 26.11."""
    rows = rotation.matrix_from_quaternion(rotation.quaternion_from_euler(radians(10, 20, 30)))
    expected = [
        [0.813797681349374, -0.440969610529882, 0.378522306369792],
        [0.469846310392954, 0.882564119259386, 0.018028311236297],
        [-0.342020143325669, 0.163175911166535, 0.925416578398323],
    ]
    assert np.array(rows) == pytest.approx(np.array(expected), abs=2e-15)


@given(st.tuples(angles, angles, angles), st.sampled_from(sorted(rotation.ORDERS)))
def test_all_six_turn_orders_are_those_of_scipy(xyz, order):
    """scipy spells turns about fixed axes in small letters, angles in the order of the letters."""
    reference = Rotation.from_euler(order, [xyz["xyz".index(letter)] for letter in order])
    found = rotation.quaternion_from_euler(xyz, order)
    assert same_turn(found, reference.as_quat())
    assert np.array(rotation.matrix_from_quaternion(found)) == pytest.approx(
        reference.as_matrix(), abs=1e-14
    )


@given(quaternions, quaternions, st.tuples(part, part, part))
def test_products_and_turned_vectors_are_those_of_scipy(a, b, v):
    first, second = Rotation.from_quat(a), Rotation.from_quat(b)
    assert same_turn(rotation.product(a, b), (first * second).as_quat())
    assert rotation.rotated(a, v) == pytest.approx(first.apply(v), abs=1e-14)


@given(quaternions, quaternions, st.floats(0.0, 1.0))
def test_slerp_is_that_of_scipy(a, b, t):
    between = Rotation.from_quat(a).inv() * Rotation.from_quat(b)
    if between.magnitude() < math.pi - 1e-6:
        expected = Slerp([0.0, 1.0], Rotation.from_quat([a, b]))(t)
        assert same_turn(rotation.slerp(a, b, t), expected.as_quat(), 1e-13)


@given(st.lists(quaternions, min_size=2, max_size=4))
def test_a_blend_of_neighbouring_turns_is_near_the_mean_of_scipy(turns):
    """The mean of F. L. Markley et al. (2007); the sum agrees to third order in the spread."""
    near = [rotation.slerp(turns[0], turn, 1e-2) for turn in turns]
    expected = Rotation.from_quat(near).mean(weights=[1.0] * len(near))
    found = rotation.blended(near, [1.0] * len(near))
    assert same_turn(found, expected.as_quat(), 1e-5)


# glTF 2.0 (ISO/IEC 12113:2022), appendix C: linear interpolation of rotations; values computed
@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(
    ("t", "expected"),
    [
        (0.25, (0.0, 0.0, 0.19509032201612828, 0.9807852804032305)),
        (0.5, (0.0, 0.0, 0.38268343236508984, 0.9238795325112868)),
        (0.75, (0.0, 0.0, 0.5555702330196023, 0.8314696123025453)),
    ],
)
def test_slerp_is_that_of_gltf_whatever_the_sign(t, expected, sign):
    quarter = (0.0, 0.0, sign * 0.7071067811865476, sign * 0.7071067811865476)
    assert rotation.slerp(rotation.IDENTITY, quarter, t) == pytest.approx(expected, abs=1e-15)


def test_slerp_between_general_turns_is_that_of_gltf():
    a = (0.03813457647485015, 0.18930785741199999, 0.2392983377447303, 0.9515485246437885)
    b = (-0.6022080132013793, 0.07965044708822952, 0.7430643952571679, 0.2808142083581098)
    halfway = (-0.33271449922626695, 0.15864304497984, 0.5794393131966137, 0.7268999440131875)
    late = (-0.48634760826711987, 0.1239605083762431, 0.6879677267164641, 0.5242138907855609)
    assert rotation.slerp(a, b, 0.5) == pytest.approx(halfway, abs=1e-14)
    assert rotation.slerp(a, b, 0.75) == pytest.approx(late, abs=1e-14)


def test_a_matrix_is_move_times_turn_times_size_as_in_gltf():
    """glTF 2.0, "Transformations": T.R.S on column vectors; the example worked by hand."""
    quarter = (0.0, 0.0, 0.7071067811865476, 0.7071067811865476)
    rows = transform.matrix_from_frame(((1.0, 2.0, 3.0), quarter), (2.0, 3.0, 4.0))
    expected = [[0, -3, 0, 1], [2, 0, 0, 2], [0, 0, 4, 3], [0, 0, 0, 1]]
    assert np.array(rows) == pytest.approx(np.array(expected), abs=1e-15)


# P. Dobrowolski, Swing-twist decomposition in Clifford algebra, arXiv:1506.05481, 2015; values
# computed with scipy 1.17.1 from a known swing and a known twist
SWING_TWIST = [
    (
        vector.Y,
        (0.46984631039295416, 0.29619813272602386, 0.17101007166283433, 0.8137976813493738),
        (0.49999999999999994, 0.0, 0.0, 0.8660254037844388),
        40,
    ),
    (
        vector.X,
        (0.008693328396189484, 0.9961567660501535, 0.08715242412403443, 0.0007605676829745818),
        (0.0, 0.0, 0.9999619230641713, 0.008726535498373898),
        170,
    ),
    (
        vector.Y,
        (0.0, 0.8660254037844386, 0.0, 0.5000000000000001),
        (0.0, 0.0, 0.0, 1.0),
        120,
    ),
]


@pytest.mark.parametrize(("axis", "q", "swing", "degrees"), SWING_TWIST)
def test_swing_and_twist_are_those_they_were_made_of(axis, q, swing, degrees):
    found_swing, found_twist = rotation.swing_twist(q, axis)
    half = math.radians(degrees / 2)
    twist = (*(c * math.sin(half) for c in axis), math.cos(half))
    assert found_swing == pytest.approx(swing, abs=1e-13)
    assert found_twist == pytest.approx(twist, abs=1e-13)
    assert rotation.twist_angle(q, axis) == pytest.approx(math.radians(degrees), abs=1e-13)


# Aim rotations, local +Z along the direction and +Y toward up: direct construction by cross
# products, in agreement with usd-core 26.11 and scipy 1.17.1
@pytest.mark.parametrize(
    ("direction", "up", "expected"),
    [
        (vector.X, vector.Y, (0.0, 0.7071067811865475, 0.0, 0.7071067811865475)),
        ((0.0, 0.0, -1.0), vector.Y, (0.0, 1.0, 0.0, 0.0)),
        (
            (0.10783277320343841, -0.9704949588309457, 0.21566554640687682),
            vector.Z,
            (0.6252742817283166, 0.034630902467296776, 0.04311418858671852, 0.7784432798514914),
        ),
    ],
)
def test_aim_rotations(direction, up, expected):
    found = rotation.quaternion_from_axes(vector.Z, direction, vector.Y, up)
    assert same_turn(found, expected, 2e-15)


# Shortest arcs computed with usd-core 26.11 (Gf.Rotation from two vectors)
@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [
        (vector.Y, vector.X, (0.0, 0.0, -0.7071067811865475, 0.7071067811865476)),
        (
            vector.Z,
            (1.0, 1.0, 1.0),
            (-0.32505758367186816, 0.32505758367186816, 0.0, 0.8880738339771154),
        ),
    ],
)
def test_shortest_arcs(a, b, expected):
    assert rotation.shortest_arc(a, b) == pytest.approx(expected, abs=3e-16)
