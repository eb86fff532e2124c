"""Axes: signed permutations between coordinate conventions, exact in both directions."""

from __future__ import annotations

import itertools
import math

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from somite.axes import (
    AXES,
    NEUTRAL,
    Axes,
    axes_problem,
    axis_from,
    components,
    converted,
    mirrored,
    opposite,
)

SPACES = [Axes(up, front) for up, front in itertools.product(AXES, AXES) if up[1] != front[1]]
spaces = st.sampled_from(SPACES)
numbers = st.floats(allow_nan=False, allow_infinity=False)
vectors = st.tuples(numbers, numbers, numbers)


def test_there_are_twenty_four_right_handed_spaces() -> None:
    assert len({axes.rows for axes in SPACES}) == 24


@pytest.mark.parametrize("axes", SPACES)
def test_every_space_is_right_handed(axes: Axes) -> None:
    assert round(float(numpy.linalg.det(numpy.array(axes.rows)))) == 1


@pytest.mark.parametrize("axes", SPACES)
def test_left_is_up_cross_front(axes: Axes) -> None:
    cross = numpy.cross(components(axes.up), components(axes.front))
    assert components(axes.left) == tuple(int(part) for part in cross)


def test_the_neutral_left_is_plus_x() -> None:
    assert NEUTRAL.left == "+X"


def test_up_z_with_front_minus_y_keeps_the_left_on_plus_x() -> None:
    assert Axes("+Z", "-Y").left == "+X"


@given(spaces, vectors)
def test_to_neutral_and_back_changes_no_bit(axes: Axes, vector: tuple[float, float, float]) -> None:
    assert axes.from_neutral(axes.to_neutral(vector)) == vector


@given(spaces, st.tuples(*[st.integers(-9, 9)] * 3))
def test_conversion_is_the_matrix_of_its_rows(axes: Axes, vector: tuple[int, int, int]) -> None:
    expected = numpy.array(axes.rows) @ numpy.array(vector)
    assert axes.from_neutral(vector) == tuple(float(part) for part in expected)


@given(spaces, spaces, spaces, vectors)
def test_conversions_compose(a: Axes, b: Axes, c: Axes, vector: tuple[float, float, float]) -> None:
    assert converted(converted(vector, a, b), b, c) == converted(vector, a, c)


@given(spaces, st.sampled_from(["up", "front", "left"]))
def test_each_named_axis_becomes_the_neutral_one_of_its_name(axes: Axes, name: str) -> None:
    here, there = components(getattr(axes, name)), components(getattr(NEUTRAL, name))
    assert axes.to_neutral(here) == there
    assert axes.from_neutral(there) == here


def test_no_conversion_makes_a_negative_zero() -> None:
    for axes in SPACES:
        for part in (*axes.to_neutral((0.0, 0.0, 0.0)), *axes.from_neutral((0.0, 0.0, 0.0))):
            assert math.copysign(1.0, part) == 1.0


@settings(deadline=None)  # the first example imports scipy
@given(spaces, st.integers(0, 2**32 - 1))
def test_a_turn_seen_in_other_axes_turns_vectors_alike(axes: Axes, seed: int) -> None:
    # scipy is an outside authority on what a quaternion does to a vector.
    from scipy.spatial.transform import Rotation

    random = numpy.random.default_rng(seed)
    turn = Rotation.random(random_state=random)
    vector = random.normal(size=3)
    seen = Rotation.from_quat(axes.turn_from_neutral(tuple(turn.as_quat())))
    there = seen.apply(axes.from_neutral(tuple(vector)))
    assert there == pytest.approx(axes.from_neutral(tuple(turn.apply(vector))), abs=1e-12)


@given(spaces, st.tuples(numbers, numbers, numbers, numbers))
def test_a_turn_to_neutral_and_back_changes_no_bit(
    axes: Axes, turn: tuple[float, float, float, float]
) -> None:
    assert axes.turn_from_neutral(axes.turn_to_neutral(turn)) == turn


def test_parallel_up_and_front_are_refused_in_words() -> None:
    assert axes_problem("+Y", "-Y") == (
        "up and front must lie along different axes, found +Y and -Y"
    )
    with pytest.raises(ValueError, match="different axes"):
        Axes("+Y", "-Y")


def test_an_axis_without_a_sign_is_refused_in_words() -> None:
    assert axes_problem("Y", "+Z") == 'up must be one of +X, -X, +Y, -Y, +Z and -Z, found "Y"'


def test_a_direction_between_axes_is_no_axis() -> None:
    with pytest.raises(ValueError):
        axis_from((1, 1, 0))


def test_the_opposite_of_an_axis_has_the_other_sign() -> None:
    assert [opposite(axis) for axis in AXES] == ["-X", "+X", "-Y", "+Y", "-Z", "+Z"]


@given(vectors)
def test_mirroring_twice_changes_nothing(vector: tuple[float, float, float]) -> None:
    assert mirrored(mirrored(vector)) == vector
