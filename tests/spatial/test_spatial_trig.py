"""Our trigonometry against mpmath, a multiple-precision library that shares no code with it."""

import math

import mpmath
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from somite.spatial import trig

PRECISION = 300  # bits
near = st.floats(-5e5, 5e5)
anything = st.floats(allow_nan=False, allow_infinity=False)
coordinates = st.floats(-1e100, 1e100)
part = st.floats(-1.0, 1.0)


def units_off(found, true):
    """Return the error in units in the last place of the true value."""
    return abs(mpmath.mpf(found) - true) / mpmath.mpf(math.ulp(float(true)))


@given(near)
@example(math.pi / 2)
@example(math.pi)
@example(math.pi / 4)
@example(355.0)
@example(1e-300)
@example(5e-324)
def test_sine_and_cosine_are_within_two_units(x):
    with mpmath.workprec(PRECISION):
        s, c = trig.sine_cosine(x)
        assert units_off(s, mpmath.sin(x)) < 2
        assert units_off(c, mpmath.cos(x)) < 2
    assert (trig.sine(x), trig.cosine(x)) == (s, c)


@given(st.integers(1, 300000))
def test_nothing_is_lost_beside_a_multiple_of_a_quarter_turn(n):
    with mpmath.workprec(PRECISION):
        x = float(n * mpmath.pi / 2)
        s, c = trig.sine_cosine(x)
        assert units_off(s, mpmath.sin(x)) < 2
        assert units_off(c, mpmath.cos(x)) < 2


@given(anything)
def test_any_finite_angle_gives_a_point_of_the_unit_circle(x):
    s, c = trig.sine_cosine(x)
    assert s * s + c * c == pytest.approx(1.0, abs=1e-15)


@given(near)
def test_sine_is_odd_and_cosine_even_to_the_bit(x):
    s, c = trig.sine_cosine(x)
    assert trig.sine_cosine(-x) == (-s, c)


def test_zero_is_exact():
    assert trig.sine_cosine(0.0) == (0.0, 1.0)


@given(coordinates, coordinates)
@example(1.0, 1.0)
@example(-1.0, 0.0)
@example(1.0, -1e-300)
@example(7.0, 16.0)
@example(11.0, 16.0)
def test_arc_tangent_is_within_two_units_in_every_quadrant(y, x):
    y, x = y + 0.0, x + 0.0  # no negative zero
    if (y, x) == (0.0, 0.0):
        assert trig.arc_tangent(y, x) == 0.0
        return
    with mpmath.workprec(2000):
        true = mpmath.atan2(y, x)
    if true != 0 and abs(true) < 1e-300:  # under the range of full precision
        assert trig.arc_tangent(y, x) == pytest.approx(float(true), abs=1e-300)
    else:
        assert units_off(trig.arc_tangent(y, x), true) < 2


@pytest.mark.parametrize(
    ("y", "x", "eighths"),
    [
        (0, 1, 0),
        (1, 1, 1),
        (1, 0, 2),
        (1, -1, 3),
        (0, -1, 4),
        (-1, -1, -3),
        (-1, 0, -2),
        (-1, 1, -1),
    ],
)
def test_arc_tangent_of_the_eight_directions_is_the_nearest_double(y, x, eighths):
    assert trig.arc_tangent(float(y), float(x)) == eighths / 4 * math.pi


def test_a_negative_zero_counts_as_zero():
    assert trig.arc_tangent(-0.0, -1.0) == math.pi
    assert trig.arc_tangent(0.0, -0.0) == 0.0


@given(part)
def test_arc_sine_and_arc_cosine_are_within_three_units(x):
    with mpmath.workprec(PRECISION):
        sine, cosine = mpmath.asin(x), mpmath.acos(x)
    if abs(x) > 1e-300:
        assert units_off(trig.arc_sine(x), sine) < 3
    if x < 1.0:
        assert units_off(trig.arc_cosine(x), cosine) < 3


def test_arc_sine_and_arc_cosine_clamp_what_rounding_pushed_out():
    assert trig.arc_cosine(1.0 + 1e-15) == 0.0
    assert trig.arc_cosine(-1.5) == math.pi
    assert trig.arc_sine(1.5) == math.pi / 2
    assert trig.arc_sine(-1.0 - 1e-15) == -math.pi / 2


@given(st.floats(-math.tau, math.tau))
def test_wrapped_angles_lie_in_one_turn_and_keep_their_direction(angle):
    wrapped = trig.wrapped(angle)
    assert -math.pi < wrapped <= math.pi
    assert math.cos(wrapped) == pytest.approx(math.cos(angle), abs=1e-14)
    assert math.sin(wrapped) == pytest.approx(math.sin(angle), abs=1e-14)


def test_familiar_angles_convert_exactly():
    for eighths in range(-16, 17):
        assert trig.radians_from_degrees(22.5 * eighths) == math.pi * eighths / 8
    for power in range(-3, 3):
        assert trig.degrees_from_radians(math.pi * 2.0**power) == 180.0 * 2.0**power


@given(st.floats(-1e6, 1e6))
def test_degrees_survive_the_way_through_radians(angle):
    back = trig.degrees_from_radians(trig.radians_from_degrees(angle))
    assert back == pytest.approx(angle, rel=1e-15, abs=1e-300)
