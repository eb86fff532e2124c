"""Curves: the fitting rule, changes that keep the shape, arc length there and back, and errors."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from somite.spatial import curve as curves
from somite.spatial.arc import _GAUSS
from somite.spatial.curve import Curve, CurveError

part = st.floats(-1.0, 1.0).map(lambda x: round(x, 3))
points = st.tuples(part, part, part)
degrees = st.integers(1, 5)
parameters = st.floats(0.0, 1.0)
EVENLY = [k / 16 for k in range(17)]


@st.composite
def clamped_curves(draw, most=5):
    degree = draw(st.integers(1, most))
    inner = draw(st.lists(st.integers(1, 9).map(lambda k: k / 10), max_size=4).map(sorted))
    assume(all(inner.count(knot) <= degree for knot in inner))
    count = degree + 1 + len(inner)
    knots = curves.clamped_knots(count, degree, inner)
    found = draw(st.lists(points, min_size=count, max_size=count))
    assume(all(math.dist(a, b) > 0.01 for a, b in pairwise(found)))
    return Curve(knots, degree, tuple(found))


@st.composite
def landmarks(draw, least=2, most=8):
    found = draw(st.lists(points, min_size=least, max_size=most))
    assume(all(math.dist(a, b) > 0.05 for a, b in pairwise(found)))
    return found


def same_shape(a, b, within=1e-12):
    return all(math.dist(curves.point_at(a, u), curves.point_at(b, u)) < within for u in EVENLY)


@given(clamped_curves(), parameters)
def test_basis_functions_are_positive_and_sum_to_one(curve, u):
    span, values = curves.basis(curve.knots, curve.degree, u)
    assert sum(values) == pytest.approx(1.0, abs=1e-14)
    assert min(values) >= 0.0
    assert curve.knots[span] <= u <= curve.knots[span + 1]


@given(clamped_curves(), parameters)
def test_a_curve_of_mean_knots_is_its_own_parameter(curve, u):
    """Linear precision: control points at the Greville abscissae give x(u) = u."""
    p = curve.degree
    means = [sum(curve.knots[i + 1 : i + 1 + p]) / p for i in range(len(curve.points))]
    line = curve._replace(points=tuple((m, 0.0, 1.0) for m in means))
    assert curves.point_at(line, u) == pytest.approx((u, 0.0, 1.0), abs=1e-14)


@given(clamped_curves())
def test_a_clamped_curve_starts_and_ends_on_its_end_points(curve):
    assert curves.point_at(curve, 0.0) == curve.points[0]
    assert curves.point_at(curve, 1.0) == curve.points[-1]
    assert curves.point_at(curve, -1.0) == curve.points[0]
    assert curves.point_at(curve, 2.0) == curve.points[-1]


@given(clamped_curves(), st.integers(0, 15))
def test_derivatives_are_limits_of_differences(curve, k):
    u, h = (k + 0.5) / 16, 1e-6  # never on a knot
    _, slope = curves.derivatives_at(curve, u, 1)
    before, after = curves.point_at(curve, u - h), curves.point_at(curve, u + h)
    measured = [(b - a) / (2 * h) for a, b in zip(before, after, strict=True)]
    assert slope == pytest.approx(measured, abs=1e-3)


@given(clamped_curves(), st.floats(0.01, 0.99))
def test_inserting_a_knot_keeps_the_shape(curve, u):
    assume(curve.knots.count(u) < curve.degree)
    finer = curves.insert_knot(curve, u)
    assert len(finer.points) == len(curve.points) + 1
    assert finer.knots == tuple(sorted((*curve.knots, u)))
    assert same_shape(curve, finer)


@given(clamped_curves(most=3), st.integers(0, 2))
def test_elevating_the_degree_keeps_the_shape(curve, by):
    higher = curves.elevate(curve, curve.degree + by)
    assert higher.degree == curve.degree + by
    assert len(higher.knots) == len(higher.points) + higher.degree + 1
    assert same_shape(curve, higher)


@given(landmarks(), degrees, st.sampled_from([0.5, 1.0]))
def test_as_many_points_as_landmarks_runs_through_them_all(marks, degree, exponent):
    assume(len(marks) > degree)
    found = curves.fit(marks, degree, len(marks), exponent)
    assert len(found.points) == len(marks)
    for u, mark in zip(curves.chord_parameters(marks, exponent), marks, strict=True):
        assert curves.point_at(found, u) == pytest.approx(mark, abs=1e-10)


@settings(deadline=None)
@given(landmarks(), degrees, st.integers(0, 5))
def test_more_points_than_landmarks_still_runs_through_them_with_the_same_shape(
    marks, degree, more
):
    count = max(degree + 1, len(marks)) + more
    found = curves.fit(marks, degree, count)
    assert (len(found.points), found.degree) == (count, degree)
    for u, mark in zip(curves.chord_parameters(marks), marks, strict=True):
        assert curves.point_at(found, u) == pytest.approx(mark, abs=1e-10)
    coarse = curves.interpolate(marks, min(degree, len(marks) - 1))
    assert same_shape(coarse, found, 1e-10)
    inner = found.knots[degree + 1 : -degree - 1]
    assert all(inner.count(knot) <= degree - coarse.degree + 1 for knot in inner)


def test_one_span_is_cut_at_even_arc_length():
    found = curves.fit([(0.0, 0.0, 0.0), (1.0, 2.0, 0.0), (3.0, 0.0, 1.0)], 3, 8)
    lengths = [curves.arc_length(found, a, b) for a, b in curves.spans(found.knots)]
    assert len(lengths) == 5
    assert lengths == pytest.approx([sum(lengths) / 5] * 5, rel=1e-12)


def test_fewer_points_than_landmarks_gives_the_least_squares_curve():
    """No control point can be moved to bring the curve nearer: the gradient vanishes."""
    marks = [(math.cos(k), math.sin(2.0 * k), 0.1 * k * k) for k in range(9)]
    found = curves.fit(marks, 3, 6)
    assert (found.points[0], found.points[-1]) == (marks[0], marks[-1])
    rows = []
    for u in curves.chord_parameters(marks):
        span, values = curves.basis(found.knots, 3, u)
        rows.append([0.0] * (span - 3) + list(values) + [0.0] * (5 - span))
    matrix = np.array(rows)
    residual = matrix @ np.array(found.points) - np.array(marks)
    assert np.abs(matrix.T @ residual)[1:-1].max() < 1e-12
    assert np.abs(residual).max() > 1e-3


def test_least_squares_finds_a_curve_that_fits_exactly():
    marks = [(k / 10, (k / 10) ** 2, 0.0) for k in range(11)]
    straight = [(x, 2.0 * x, -x) for x, _, _ in marks]
    found = curves.fit(straight, 3, 5)
    for u in EVENLY:
        assert curves.point_at(found, u) == pytest.approx((u, 2.0 * u, -u), abs=1e-13)


@given(landmarks(least=3))
def test_fitting_a_mirrored_set_gives_the_mirrored_curve_to_the_bit(marks):
    count = max(4, len(marks) - 1)
    assume(len(marks) != count or len(marks) > 3)
    found = curves.fit(marks, 3, count)
    mirrored = curves.fit([(-x, y, z) for x, y, z in marks], 3, count)
    assert mirrored.knots == found.knots
    assert mirrored.points == tuple((-x, y, z) for x, y, z in found.points)


@settings(deadline=None)
@given(clamped_curves(), parameters)
def test_a_parameter_comes_back_from_its_arc_length(curve, u):
    table = curves.arc_table(curve)
    back = curves.parameter_at_length(table, curves.length_at_parameter(table, u))
    assert curves.length_at_parameter(table, back) == pytest.approx(
        curves.length_at_parameter(table, u), abs=1e-13 * table.length
    )


@settings(deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(clamped_curves(most=3), parameters, parameters)
def test_arc_lengths_add_up(curve, a, b):
    table = curves.arc_table(curve)
    measured = curves.length_at_parameter(table, b) - curves.length_at_parameter(table, a)
    speeds = [math.hypot(*curves.derivatives_at(curve, k / 64, 1)[1]) for k in range(65)]
    assume(min(speeds) > 0.25 * max(speeds))
    assert curves.arc_length(curve, a, b) == pytest.approx(measured, abs=1e-10)
    assert curves.arc_length(curve, b, a) == -curves.arc_length(curve, a, b)
    assert table.length >= math.dist(curve.points[0], curve.points[-1]) - 1e-9


def test_lengths_beyond_the_ends_give_the_ends():
    table = curves.arc_table(curves.fit([(0.0, 0.0, 0.0), (0.0, 2.0, 0.0)], 1, 2))
    assert table.length == pytest.approx(2.0)
    assert curves.parameter_at_length(table, -1.0) == 0.0
    assert curves.parameter_at_length(table, 0.0) == 0.0
    assert curves.parameter_at_length(table, 2.5) == 1.0
    assert curves.parameter_at_length(table, table.length) == 1.0
    assert curves.length_at_parameter(table, -1.0) == 0.0
    assert curves.length_at_parameter(table, 9.0) == table.length


def test_a_curve_that_stops_and_turns_back_is_still_measured_and_inverted():
    """x = u^2 (3 - 2u) twice over, there and back: speed vanishes at both ends and in between."""
    there = Curve((0.0,) * 4 + (0.5,) * 3 + (1.0,) * 4, 3, tuple(
        (x, 0.0, 0.0) for x in (0.0, 0.0, 1.0, 1.0, 1.0, 0.0, 0.0)
    ))  # fmt: skip
    table = curves.arc_table(there)
    assert table.length == pytest.approx(2.0, abs=1e-12)
    u = curves.parameter_at_length(table, 0.5)
    assert curves.point_at(there, u)[0] == pytest.approx(0.5, abs=1e-12)
    assert curves.parameter_at_length(table, 1.0) == pytest.approx(0.5, abs=1e-6)


def test_where_the_first_derivative_vanishes_the_tangent_is_the_way_out_and_the_way_in():
    knots = curves.clamped_knots(4, 3)
    double = Curve(knots, 3, ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), (1.0, 1.0, 0.0), (1.0, 1.0, 0.0)))
    slanted = (math.sqrt(0.5), math.sqrt(0.5), 0.0)
    for u in (0.0, 1.0):
        assert curves.tangent_at(double, u) == pytest.approx(slanted)
    triple = double._replace(points=((0.0, 0.0, 0.0),) * 3 + ((0.0, 0.0, 2.0),))
    assert curves.tangent_at(triple, 0.0) == pytest.approx((0.0, 0.0, 1.0))
    backward = double._replace(points=((0.0, 0.0, 2.0),) + ((0.0, 0.0, 0.0),) * 3)
    assert curves.tangent_at(backward, 1.0) == pytest.approx((0.0, 0.0, -1.0))
    point = double._replace(points=((1.0, 2.0, 3.0),) * 4)
    assert curves.tangent_at(point, 0.5) == (1.0, 0.0, 0.0)


def test_what_cannot_be_a_curve_is_refused_in_the_users_words():
    a, b = (0.0, 0.0, 0.0), (1.0, 0.0, 0.0)
    for asked, message in (
        (lambda: curves.fit([a, b, b, a], 3, 4), "points 2 and 3 of a curve are at the same place"),
        (lambda: curves.fit([a, a], 1, 2), "all at the same place"),
        (lambda: curves.fit([a, a, a, a, a], 3, 4), "all at the same place"),
        (lambda: curves.fit([a], 1, 2), "at least 2 points to run through, not 1"),
        (lambda: curves.fit([], 1, 2), "at least 2 points to run through, not 0"),
        (lambda: curves.fit([a, b], 3, 3), "degree 3 needs at least 4 points, not 3"),
        (lambda: curves.fit([a, b], 0, 3), "degree 1 or more, not 0"),
        (lambda: curves.fit([a] * 6 + [b], 3, 5), "do not determine a curve"),
        (lambda: curves.arc_table(Curve(curves.clamped_knots(2, 1), 1, (a, a))), "no length"),
        (lambda: curves.clamped_knots(3, 3), "degree 3 needs at least 4 points, not 3"),
        (lambda: curves.clamped_knots(5, 3, [0.2, 0.4]), "5 points need 1 inner knots, not 2"),
        (lambda: curves.least_squares([a, b], 1, 2), "2 points cannot be fitted"),
    ):
        with pytest.raises(CurveError, match=message):
            asked()


def test_a_knot_goes_only_where_one_fits_and_a_degree_only_up():
    line = Curve(curves.clamped_knots(3, 1), 1, ((0.0,) * 3, (1.0,) * 3, (2.0,) * 3))
    for u in (0.0, 1.0, 0.5, -1.0):
        with pytest.raises(CurveError, match="cannot be inserted"):
            curves.insert_knot(line, u)
    with pytest.raises(CurveError, match="cannot be lowered"):
        curves.elevate(line, 0)
    with pytest.raises(CurveError, match="cannot be refined to 2"):
        curves.refine(line, 2)
    with pytest.raises(ValueError, match="exponent"):
        curves.chord_parameters([(0.0,) * 3, (1.0,) * 3], 0.7)


def test_the_gauss_table_is_that_of_the_legendre_polynomial():
    nodes, weights = np.polynomial.legendre.leggauss(16)
    assert [node for node, _ in _GAUSS] == pytest.approx(nodes[8:], abs=1e-16)
    assert [weight for _, weight in _GAUSS] == pytest.approx(weights[8:], abs=1e-15)
