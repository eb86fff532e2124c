"""B-splines and arc length against printed examples, closed forms and scipy."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import BSpline, make_interp_spline

from somite.spatial import curve as curves
from somite.spatial.curve import Curve

# L. Piegl and W. Tiller, The NURBS Book, 2nd edition 1997, examples 2.3 and 2.4, pages 68 to 72
EX_2_3_KNOTS = (0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0, 4.0, 5.0, 5.0, 5.0)


def flat_points(points):
    return tuple((float(x), float(y), 0.0) for x, y in points)


def test_nurbs_book_example_2_3_basis_functions():
    assert curves.basis(EX_2_3_KNOTS, 2, 2.5) == (4, (0.125, 0.75, 0.125))


def test_nurbs_book_example_2_4_derivatives():
    span, rows = curves.basis_derivatives(EX_2_3_KNOTS, 2, 2.5, 3)
    assert span == 4
    assert rows == ((0.125, 0.75, 0.125), (-0.5, 0.0, 0.5), (1.0, -2.0, 1.0), (0.0, 0.0, 0.0))


# The same knots; values computed with scipy 1.17.1 and confirmed with geomdl 5.4.0
@pytest.mark.parametrize(
    ("u", "first", "values"),
    [
        (0.25, 0, (0.5625, 0.40625, 0.03125)),
        (0.5, 0, (0.25, 0.625, 0.125)),
        (1.5, 1, (0.125, 0.75, 0.125)),
        (3.25, 3, (0.28125, 0.65625, 0.0625)),
        (4.0, 5, (1.0, 0.0, 0.0)),
        (4.5, 5, (0.25, 0.5, 0.25)),
    ],
)
def test_basis_functions_at_other_parameters_of_the_same_knots(u, first, values):
    assert curves.basis(EX_2_3_KNOTS, 2, u) == (first + 2, values)


# Cardinal cubic B-spline, classical closed form (I. J. Schoenberg, 1946): 1/6, 2/3, 1/6 at the
# knots and 1/48, 23/48, 23/48, 1/48 halfway
def test_uniform_cubic_basis_functions():
    knots = tuple(float(k) for k in range(8))
    _, at_knot = curves.basis(knots, 3, 3.0)
    assert at_knot == pytest.approx((1 / 6, 2 / 3, 1 / 6, 0.0), abs=1e-16)
    _, halfway = curves.basis(knots, 3, 3.5)
    assert halfway == pytest.approx((1 / 48, 23 / 48, 23 / 48, 1 / 48), abs=1e-16)


# Clamped cubic of five control points; values computed with scipy 1.17.1
@pytest.mark.parametrize(
    ("u", "values"),
    [
        (0.25, (0.421875, 0.49609375, 0.078125, 0.00390625)),
        (0.5, (0.125, 0.59375, 0.25, 0.03125)),
        (1.0, (0.25, 0.5, 0.25, 0.0)),
        (1.5, (0.03125, 0.25, 0.59375, 0.125)),
        (1.75, (0.00390625, 0.078125, 0.49609375, 0.421875)),
    ],
)
def test_clamped_cubic_basis_functions(u, values):
    assert curves.basis((0.0,) * 4 + (1.0,) + (2.0,) * 4, 3, u)[1] == values


# The NURBS Book, example 5.1 (recalled; the numbers were confirmed with scipy)
def test_nurbs_book_example_5_1_knot_insertion():
    knots = (0.0, 0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 5.0, 5.0, 5.0)
    before = flat_points([(0, 0), (1, 2), (2, 3), (3, 3), (4, 1), (5, 0), (6, 2), (7, 3)])
    after = flat_points(
        [(0, 0), (1, 2), (2, 3), (17 / 6, 3), (3.5, 2), (25 / 6, 5 / 6), (5, 0), (6, 2), (7, 3)]
    )
    found = curves.insert_knot(Curve(knots, 3, before), 2.5)
    assert found.knots == (*knots[:6], 2.5, *knots[6:])
    for point, expected in zip(found.points, after, strict=True):
        assert point == pytest.approx(expected, abs=1e-15)


# The NURBS Book, example 9.1 (recalled; control points computed with scipy's make_interp_spline)
EX_9_1 = flat_points([(0, 0), (3, 4), (-1, 4), (-4, 0), (-4, -3)])


def test_nurbs_book_example_9_1_chord_length_and_averaged_knots():
    parameters = curves.chord_parameters(EX_9_1)
    assert parameters == pytest.approx((0.0, 5 / 17, 9 / 17, 14 / 17, 1.0), abs=1e-16)
    knots = curves.averaged_knots(parameters, 3)
    assert knots == pytest.approx((0.0,) * 4 + (28 / 51,) + (1.0,) * 4, abs=2e-16)


def test_nurbs_book_example_9_1_interpolation():
    expected = flat_points(
        [
            (0.0, 0.0),
            (7.316963517111995, 3.6867775257587376),
            (-2.9581305658514245, 6.678276528176592),
            (-4.494953466891108, -0.6736915062424752),
            (-4.0, -3.0),
        ]
    )
    for point, wanted in zip(curves.fit(EX_9_1, 3, 5).points, expected, strict=True):
        assert point == pytest.approx(wanted, abs=1e-13)


def test_centripetal_parameters_are_the_roots_of_the_chords():
    """The NURBS Book, equation 9.6, with the chords 5, 4, 5, 3 of example 9.1."""
    roots = [math.sqrt(chord) for chord in (5, 4, 5, 3)]
    expected = [sum(roots[:k]) / sum(roots) for k in range(5)]
    assert curves.chord_parameters(EX_9_1, 0.5) == pytest.approx(expected, abs=1e-15)


def walked(steps, draw, stray=0.3):
    """Return landmarks that go forward by these steps and stray to the sides."""
    x = 0.0
    marks = [(0.0, 0.0, 0.0)]
    for step in steps:
        x += step
        marks.append((x, draw.uniform(-stray, stray), draw.uniform(-stray, stray)))
    return marks


@st.composite
def splines(draw):
    degree = draw(st.integers(1, 6))
    inner = sorted(draw(st.lists(st.integers(1, 9).map(lambda k: k / 10), max_size=5)))
    assume(all(inner.count(knot) <= degree for knot in inner))
    part = st.floats(-1.0, 1.0)
    count = degree + 1 + len(inner)
    points = draw(st.lists(st.tuples(part, part, part), min_size=count, max_size=count))
    return Curve(curves.clamped_knots(count, degree, inner), degree, tuple(points))


@settings(deadline=None)
@given(splines(), st.floats(0.0, 1.0))
def test_points_and_derivatives_are_those_of_scipy(curve, u):
    reference = BSpline(curve.knots, np.array(curve.points), curve.degree)
    for order, found in enumerate(curves.derivatives_at(curve, u, curve.degree)):
        expected = reference(u, order)
        assert found == pytest.approx(expected, abs=1e-12 * (1.0 + np.abs(expected).max()))


@settings(deadline=None)
@given(st.lists(st.floats(0.05, 1.0), min_size=5, max_size=10), st.integers(1, 4), st.randoms())
def test_interpolation_is_that_of_scipy(steps, degree, draw):
    marks = walked(steps, draw)
    found = curves.interpolate(marks, degree)
    expected = make_interp_spline(
        curves.chord_parameters(marks), np.array(marks), degree, np.array(found.knots)
    )
    assert np.array(found.points) == pytest.approx(expected.c, abs=1e-9)


# Closed forms. The cubic is a Pythagorean hodograph of speed 1 + t^2 (R. T. Farouki and T.
# Sakkalis, IBM Journal of Research and Development 34, 1990, recalled): length 4/3.
BERNSTEIN_CURVES = [
    ("hodograph", ((0, 0), (1 / 3, 0), (2 / 3, 1 / 3), (2 / 3, 1)), 4 / 3),
    ("parabola", ((0, 0), (0.5, 0), (1, 1)), math.sqrt(5) / 2 + math.asinh(2) / 4),
]


@pytest.mark.parametrize(("name", "points", "length"), BERNSTEIN_CURVES)
@pytest.mark.parametrize("count", [None, 9])
def test_arc_lengths_are_those_of_the_closed_forms(name, points, length, count):
    degree = len(points) - 1
    curve = Curve(curves.clamped_knots(degree + 1, degree), degree, flat_points(points))
    if count:
        curve = curves.refine(curves.elevate(curve, degree + 1), count)
    assert curves.arc_table(curve).length == pytest.approx(length, rel=2e-15)
    assert curves.arc_length(curve, 0.0, 1.0) == pytest.approx(length, rel=2e-15)


def test_half_the_length_of_the_hodograph_cubic_is_where_algebra_says():
    """Source as above: s(t) = t + t^3/3, so t(1/2) = cbrt(1 + sqrt 2) - cbrt(sqrt 2 - 1)."""
    points = flat_points(BERNSTEIN_CURVES[0][1])
    table = curves.arc_table(Curve(curves.clamped_knots(4, 3), 3, points))
    expected = (1 + math.sqrt(2)) ** (1 / 3) - (math.sqrt(2) - 1) ** (1 / 3)
    assert curves.parameter_at_length(table, table.length / 2) == pytest.approx(expected, abs=1e-15)
    for k in range(11):
        t = k / 10
        assert curves.length_at_parameter(table, t) == pytest.approx(t + t**3 / 3, abs=1e-15)


# Classical lengths of curves that splines only approach: they must be approached quickly
@pytest.mark.parametrize(
    ("name", "point", "end", "length"),
    [
        ("catenary", lambda u: (u, math.cosh(u), 0.0), 1.0, math.sinh(1.0)),
        # one arch of the cycloid without its cusps, 4(cos(u0/2) - cos(u1/2)) (C. Wren, 1658)
        ("cycloid", lambda u: (u + 1 - math.sin(u + 1), 1 - math.cos(u + 1), 0.0), 3.0,
         4 * (math.cos(0.5) - math.cos(2.0))),
        # ellipse of half axes 2 and 1, perimeter 8 E(3/4) (NIST Digital Library, 19.30.1)
        ("ellipse", lambda u: (2 * math.cos(u), math.sin(u), 0.0), math.tau, 9.688448220547675),
    ],
)  # fmt: skip
def test_interpolated_curves_approach_the_lengths_of_classical_curves(name, point, end, length):
    errors = []
    for count in (20, 40, 80):
        marks = [point(end * k / (count - 1)) for k in range(count)]
        errors.append(abs(curves.arc_table(curves.fit(marks, 5, count)).length - length))
    assert errors[2] < 1e-6 * length
    assert errors[2] < errors[0] / 16 + 1e-13


@pytest.mark.parametrize(("stray", "within"), [(0.1, 1e-12), (0.3, 1e-9)])
@settings(deadline=None, max_examples=50)
@given(st.lists(st.floats(0.2, 1.0), min_size=4, max_size=8), st.integers(1, 4), st.randoms())
def test_arc_lengths_are_those_of_adaptive_quadrature(stray, within, steps, degree, draw):
    marks = walked(steps, draw, stray)
    curve = curves.fit(marks, degree, len(marks))
    reference = BSpline(curve.knots, np.array(curve.points), curve.degree).derivative()
    speeds = [float(np.linalg.norm(reference(k / 200))) for k in range(201)]
    assume(min(speeds) > 0.3 * max(speeds) > 0.0)
    expected = sum(
        quad(lambda u: float(np.linalg.norm(reference(u))), a, b, epsabs=0.0, epsrel=1e-13)[0]
        for a, b in curves.spans(curve.knots)
    )
    assert curves.arc_table(curve).length == pytest.approx(expected, rel=within)
