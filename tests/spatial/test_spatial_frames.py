"""Rotation-minimising frames: right angles, invariance, and steps that do not move."""

import math
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from somite.spatial import curve as curves
from somite.spatial import frames, rotation, vector

part = st.floats(-1.0, 1.0)
vectors = st.tuples(part, part, part)
directions = vectors.filter(lambda v: math.hypot(*v) > 0.1).map(
    lambda v: tuple(c / math.hypot(*v) for c in v)
)
samples = st.lists(st.tuples(vectors, directions), min_size=1, max_size=8)
turns = (
    st.tuples(part, part, part, part)
    .filter(lambda q: math.hypot(*q) > 0.1)
    .map(lambda q: tuple(c / math.hypot(*q) for c in q))
)
S_SHAPE = [(0.0, 0.0, 0.0), (0.3, 0.4, 0.1), (-0.3, 0.8, 0.0), (0.1, 1.2, -0.2), (0.0, 1.6, 0.0)]


@given(vectors, samples)
def test_references_are_unit_vectors_at_right_angles_to_their_tangents(reference, walked):
    found = frames.transport(reference, walked)
    assert len(found) == len(walked)
    for side, (_, tangent) in zip(found, walked, strict=True):
        assert math.hypot(*side) == pytest.approx(1.0, abs=1e-14)
        assert vector.dot(side, tangent) == pytest.approx(0.0, abs=1e-14)


def test_no_samples_give_no_references():
    assert frames.transport(vector.X, []) == []


@given(directions, vectors, st.lists(st.floats(0.0, 5.0), min_size=2, max_size=6))
def test_along_a_straight_line_nothing_turns(tangent, reference, steps):
    walked = [(vector.scaled(tangent, at), tangent) for at in sorted(steps)]
    first, *others = frames.transport(reference, walked)
    for other in others:
        assert other == pytest.approx(first, abs=1e-13)


@pytest.mark.parametrize("size", [1e-140, 1e-150, 1.4e-156, 1e-162, 5e-324])
def test_a_step_whose_square_vanishes_turns_nothing(size):
    first, second = frames.transport(vector.X, [((0, 0, 0.0), vector.Z), ((0, 0, size), vector.Z)])
    assert second == first


@given(directions, directions, vectors, vectors)
def test_a_step_of_no_length_turns_the_reference_by_the_shortest_arc(a, b, reference, place):
    first, second = frames.transport(reference, [(place, a), (place, b)])
    assert second == pytest.approx(rotation.rotated(rotation.shortest_arc(a, b), first), abs=1e-12)


@given(turns, vectors)
def test_frames_of_a_moved_curve_are_the_moved_frames(turn, shift):
    marks = S_SHAPE
    moved = [vector.add(rotation.rotated(turn, mark), shift) for mark in marks]
    at = [0.0, 0.3, 0.7, 1.0]
    still = frames.frames_along(curves.fit(marks, 3, 5), at, vector.X)
    carried = frames.frames_along(curves.fit(moved, 3, 5), at, rotation.rotated(turn, vector.X))
    for (tangent, side), (other_tangent, other_side) in zip(still, carried, strict=True):
        assert rotation.rotated(turn, tangent) == pytest.approx(other_tangent, abs=1e-11)
        assert rotation.rotated(turn, side) == pytest.approx(other_side, abs=1e-11)


def test_references_turned_about_the_first_tangent_stay_turned_by_as_much():
    curve = curves.fit(S_SHAPE, 3, 6)
    at = [k / 10 for k in range(11)]
    plain = frames.frames_along(curve, at, vector.X)
    turned = rotation.quaternion_from_axis_angle(plain[0][0], 0.7)
    other = frames.frames_along(curve, at, rotation.rotated(turned, plain[0][1]))
    for (tangent, a), (_, b) in zip(plain, other, strict=True):
        here = rotation.quaternion_from_axis_angle(tangent, 0.7)
        assert rotation.rotated(here, a) == pytest.approx(b, abs=1e-12)


def test_no_frame_flips_in_an_s_shape_where_the_bend_changes_side():
    curve = curves.fit(S_SHAPE, 3, 5)
    found = frames.frames_along(curve, [k / 50 for k in range(51)], vector.Z)
    for (_, a), (_, b) in pairwise(found):
        assert vector.dot(a, b) > 0.95


@given(st.integers(1, 6))
def test_there_is_one_frame_a_parameter_whatever_the_substeps(substeps):
    curve = curves.fit(S_SHAPE, 3, 5)
    at = [0.0, 0.25, 0.25, 1.0]
    found = frames.frames_along(curve, at, vector.X, substeps)
    assert [tangent for tangent, _ in found] == [curves.tangent_at(curve, u) for u in at]
    assert found[1][1] == pytest.approx(found[2][1], abs=1e-14)
    assert frames.frames_along(curve, [], vector.X, substeps) == []


def test_no_substep_is_refused():
    with pytest.raises(ValueError, match="substep"):
        frames.frames_along(curves.fit(S_SHAPE, 3, 5), [0.0, 1.0], vector.X, 0)


@given(directions, vectors)
def test_a_reference_is_squared_to_the_tangent_on_its_own_side(tangent, reference):
    side = frames.squared_to(tangent, reference)
    assume(vector.length(vector.cross(tangent, reference)) > 1e-6)
    assert vector.dot(side, reference) > 0.0
    assert vector.dot(side, vector.cross(tangent, reference)) == pytest.approx(0.0, abs=1e-9)
