"""Rigid frames: the laws of the group of motions."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from somite.spatial import transform, vector
from somite.spatial.transform import REST

part = st.floats(-1.0, 1.0)
points = st.tuples(part, part, part)
turns = (
    st.tuples(part, part, part, part)
    .filter(lambda q: math.hypot(*q) > 0.1)
    .map(lambda q: tuple(c / math.hypot(*q) for c in q))
)
frames = st.tuples(points, turns)


def near(values):
    return pytest.approx(values, abs=1e-14)


def flat(frame):
    return (*frame[0], *frame[1])


@given(frames, frames, points)
def test_a_composed_frame_carries_points_through_both(a, b, p):
    through = transform.point_through(transform.composed(a, b), p)
    assert through == near(transform.point_through(a, transform.point_through(b, p)))


@given(frames)
def test_an_inverse_undoes_its_frame_on_either_side(a):
    assert flat(transform.composed(a, transform.inverse(a))) == near(flat(REST))
    assert flat(transform.composed(transform.inverse(a), a)) == near(flat(REST))


@given(frames, frames)
def test_a_relative_frame_leads_back(a, b):
    assert flat(transform.composed(a, transform.relative(a, b))) == near(flat(b))
    assert flat(transform.relative(a, b)) == near(flat(transform.composed(transform.inverse(a), b)))


@given(frames, points)
def test_going_in_and_out_of_a_frame_changes_nothing(a, p):
    assert transform.point_within(a, transform.point_through(a, p)) == near(p)


@given(frames, points, points)
def test_a_matrix_scales_then_turns_then_moves(a, size, p):
    rows = transform.matrix_from_frame(a, size)
    column = (*p, 1.0)
    found = tuple(sum(x * y for x, y in zip(row, column, strict=True)) for row in rows)
    grown = tuple(x * y for x, y in zip(size, p, strict=True))
    assert found == near((*transform.point_through(a, grown), 1.0))
    assert transform.matrix_from_frame(a) == transform.matrix_from_frame(a, (1.0, 1.0, 1.0))


@given(frames, points, points)
def test_frames_keep_distances(a, p, q):
    moved = vector.distance(transform.point_through(a, p), transform.point_through(a, q))
    assert moved == near(vector.distance(p, q))
