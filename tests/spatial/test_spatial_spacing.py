"""Fractions of arc length: ends, order and proportions."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from somite.spatial import spacing

counts = st.integers(1, 60)
densities = st.floats(0.0, 0.95)


def lengths(fractions):
    return [b - a for a, b in pairwise(fractions)]


@given(counts, densities, st.booleans())
def test_fractions_rise_from_exactly_nothing_to_exactly_all(bones, density, toward_start):
    for found in (spacing.even(bones), spacing.graded(bones, density, toward_start)):
        assert len(found) == bones + 1
        assert (found[0], found[-1]) == (0.0, 1.0)
        assert all(length > 0.0 for length in lengths(found))


@given(counts)
def test_even_bones_are_of_one_length(bones):
    assert lengths(spacing.even(bones)) == pytest.approx([1.0 / bones] * bones)


@given(st.integers(2, 60), densities)
def test_graded_bones_grow_by_equal_steps_between_the_stated_ends(bones, density):
    found = [length * bones for length in lengths(spacing.graded(bones, density))]
    assert found[0] == pytest.approx(1.0 - density)
    assert found[-1] == pytest.approx(1.0 + density)
    steps = [b - a for a, b in pairwise(found)]
    assert steps == pytest.approx([2.0 * density / (bones - 1)] * (bones - 1), abs=1e-12)


@given(counts, densities)
def test_denser_toward_the_end_is_the_other_way_round(bones, density):
    backward = [1.0 - f for f in reversed(spacing.graded(bones, density, toward_start=False))]
    assert backward == pytest.approx(list(spacing.graded(bones, density)), abs=1e-15)


@given(st.lists(st.floats(0.01, 100.0), min_size=1, max_size=30))
def test_listed_bones_stand_in_the_ratio_of_their_weights(weights):
    found = spacing.listed(weights)
    assert (found[0], found[-1]) == (0.0, 1.0)
    assert lengths(found) == pytest.approx([w / sum(weights) for w in weights], abs=1e-15)


def test_impossible_chains_are_refused():
    for refused in (
        lambda: spacing.even(0),
        lambda: spacing.graded(0, 0.5),
        lambda: spacing.graded(3, 1.0),
        lambda: spacing.graded(3, -0.1),
        lambda: spacing.listed([]),
        lambda: spacing.listed([1.0, 0.0]),
        lambda: spacing.listed([1.0, float("nan")]),
    ):
        with pytest.raises(ValueError, match=r"bone|density"):
            refused()
