"""Two bones: lengths, side, and every degenerate pose."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from somite.spatial import vector
from somite.spatial.reach import reach

part = st.floats(-2.0, 2.0)
points = st.tuples(part, part, part)
bones = st.floats(0.05, 2.0)
ORIGIN = vector.ZERO


@given(points, points, bones, bones, points, points)
def test_bones_keep_their_lengths_and_the_end_comes_as_near_as_it_can(
    root, goal, upper, lower, pole, fallback
):
    found = reach(root, goal, upper, lower, pole, fallback)
    assert math.dist(root, found.elbow) == pytest.approx(upper, abs=1e-14)
    assert math.dist(found.elbow, found.end) == pytest.approx(lower, abs=1e-12)
    apart = math.dist(root, goal)
    miss = max(apart - (upper + lower), abs(upper - lower) - apart, 0.0)
    assert math.dist(goal, found.end) == pytest.approx(miss, abs=1e-12)


@given(points, points, bones, bones, points)
def test_the_elbow_bends_to_the_side_of_the_pole_and_in_its_plane(root, goal, upper, lower, pole):
    assume(math.dist(root, goal) > 0.01)
    ahead = vector.unit(vector.subtract(goal, root), vector.X)
    assume(vector.length(vector.rejected(pole, ahead)) > 0.01)
    found = reach(root, goal, upper, lower, pole, vector.Z)
    bent = vector.subtract(found.elbow, root)
    assert vector.dot(vector.rejected(bent, ahead), pole) >= -1e-12
    assert vector.dot(bent, vector.cross(ahead, pole)) == pytest.approx(0.0, abs=1e-12)


def test_a_goal_too_far_straightens_the_bones():
    found = reach(ORIGIN, (10.0, 0.0, 0.0), 3.0, 4.0, vector.Y, vector.Z)
    assert found == ((3.0, 0.0, 0.0), (7.0, 0.0, 0.0))


def test_a_goal_too_near_folds_the_bones_along_its_line():
    longer = reach(ORIGIN, (1.0, 0.0, 0.0), 5.0, 2.0, vector.Y, vector.Z)
    assert longer == ((5.0, 0.0, 0.0), (3.0, 0.0, 0.0))
    shorter = reach(ORIGIN, (1.0, 0.0, 0.0), 2.0, 5.0, vector.Y, vector.Z)
    assert shorter == ((-2.0, 0.0, 0.0), (3.0, 0.0, 0.0))


def test_a_goal_at_the_root_folds_equal_bones_toward_the_pole():
    found = reach(ORIGIN, ORIGIN, 1.5, 1.5, (0.0, 3.0, 0.0), vector.Z)
    assert found.elbow == pytest.approx((0.0, 1.5, 0.0))
    assert found.end == ORIGIN


def test_a_pole_on_the_line_gives_way_to_the_fallback_and_that_to_any_side():
    goal = (5.0, 0.0, 0.0)
    for pole in (vector.X, (-2.0, 0.0, 0.0), ORIGIN):
        found = reach(ORIGIN, goal, 3.0, 4.0, pole, (1.0, 0.0, 2.0))
        assert found.elbow == pytest.approx((1.8, 0.0, 2.4))
        vague = reach(ORIGIN, goal, 3.0, 4.0, pole, vector.X)
        assert math.hypot(*vague.elbow) == pytest.approx(3.0)
        assert vague.elbow[0] == pytest.approx(1.8)


def test_bones_of_no_length_stay_at_the_root():
    found = reach((1.0, 2.0, 3.0), (4.0, 5.0, 6.0), 0.0, 0.0, vector.Y, vector.Z)
    assert found == ((1.0, 2.0, 3.0), (1.0, 2.0, 3.0))


@given(st.floats(-12.0, -3.0), st.sampled_from([0.0, 2.0]))
def test_the_elbow_is_calm_at_full_reach_and_at_full_fold(exponent, edge):
    """A goal a little off the edge moves the elbow no further than its square root allows."""
    offset = 10.0**exponent
    for sign in (1.0, -1.0):
        at = reach(ORIGIN, (edge, 0.0, 0.0), 1.0, 1.0, vector.Y, vector.Z)
        by = reach(ORIGIN, (abs(edge + sign * offset), 0.0, 0.0), 1.0, 1.0, vector.Y, vector.Z)
        assert math.dist(at.elbow, by.elbow) <= 1.1 * math.sqrt(offset) + 1e-7
