"""Vectors: what must hold whatever the components."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from somite.spatial import vector

component = st.floats(-1e3, 1e3)
vectors = st.tuples(component, component, component)
long_enough = vectors.filter(lambda v: math.hypot(*v) > 1e-3)


@given(vectors, vectors)
def test_the_cross_product_is_at_right_angles_to_both(a, b):
    c = vector.cross(a, b)
    assert vector.dot(a, c) == pytest.approx(0.0, abs=1e-6)
    assert vector.dot(b, c) == pytest.approx(0.0, abs=1e-6)


def test_the_cross_product_is_right_handed():
    assert vector.cross(vector.X, vector.Y) == vector.Z
    assert vector.cross(vector.Y, vector.Z) == vector.X


@given(vectors, vectors)
def test_length_and_distance_are_those_of_euclid(a, b):
    assert vector.length(a) == pytest.approx(math.hypot(*a))
    assert vector.distance(a, b) == pytest.approx(math.dist(a, b))
    assert vector.distance(a, b) == vector.length(vector.subtract(b, a))


@given(long_enough)
def test_a_unit_vector_has_length_one_and_the_same_direction(v):
    u = vector.unit(v, vector.X)
    assert vector.length(u) == pytest.approx(1.0, abs=1e-15)
    assert vector.dot(u, v) == pytest.approx(math.hypot(*v))


def test_a_vector_of_no_length_takes_the_fallback():
    assert vector.unit(vector.ZERO, (0.0, 0.6, 0.8)) == (0.0, 0.6, 0.8)
    assert vector.unit((1e-200, 0.0, 0.0), vector.Y) == vector.Y


@given(vectors)
def test_perpendicular_is_a_unit_vector_at_right_angles(v):
    p = vector.perpendicular(v)
    assert vector.length(p) == pytest.approx(1.0, abs=1e-15)
    assert vector.dot(p, v) == pytest.approx(0.0, abs=1e-12)


@given(vectors)
def test_reflection_in_a_coordinate_plane_only_changes_one_sign(v):
    x, y, z = v
    assert vector.reflected(v, vector.X) == (-x, y, z)
    assert vector.reflected(v, vector.Y) == (x, -y, z)
    assert vector.reflected(v, vector.Z) == (x, y, -z)


@given(vectors, long_enough)
def test_reflecting_twice_changes_nothing(v, n):
    n = vector.unit(n, vector.X)
    again = vector.reflected(vector.reflected(v, n), n)
    assert again == pytest.approx(v, abs=1e-11)
    assert vector.dot(vector.reflected(v, n), n) == pytest.approx(-vector.dot(v, n), abs=1e-11)


@given(vectors, long_enough)
def test_what_is_rejected_from_a_direction_has_no_part_along_it(v, n):
    n = vector.unit(n, vector.X)
    assert vector.dot(vector.rejected(v, n), n) == pytest.approx(0.0, abs=1e-11)


@given(vectors, vectors)
def test_lerp_reaches_both_ends_exactly(a, b):
    assert vector.lerp(a, b, 0.0) == a
    assert vector.lerp(a, b, 1.0) == b
    assert vector.lerp(a, b, 0.5) == pytest.approx(vector.midpoint(a, b), abs=1e-12)


@given(vectors, vectors)
def test_sums_and_differences_undo_each_other(a, b):
    assume(max(map(abs, a + b)) < 1e3)
    assert vector.subtract(vector.add(a, b), b) == pytest.approx(a, abs=1e-12)
    assert vector.along(a, b, 1.0) == vector.add(a, b)
    assert vector.negated(vector.scaled(a, -1.0)) == a
