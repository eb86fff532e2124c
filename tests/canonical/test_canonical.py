"""Canonical JSON: numbers, layout and what is refused."""

from __future__ import annotations

import json
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from effort import lines_run
from hypothesis import given
from hypothesis import strategies as st

from somite.canonical import exact, number, quaternion, text, unit_number

FINITE = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12)
TREES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text() | FINITE.map(number),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=20,
)


@given(FINITE)
def test_a_length_is_its_exact_decimal_rounded_half_even_to_nine_places(value: float) -> None:
    expected = Decimal(value).quantize(Decimal("1e-9"), rounding=ROUND_HALF_EVEN)
    assert Decimal(number(value)) == expected


@given(st.floats(min_value=-2.0, max_value=2.0))
def test_a_unit_quantity_is_rounded_half_even_to_twelve_places(value: float) -> None:
    expected = Decimal(value).quantize(Decimal("1e-12"), rounding=ROUND_HALF_EVEN)
    assert Decimal(unit_number(value)) == expected


def test_an_exact_tie_goes_to_the_even_digit() -> None:
    # 2**-10 = 0.0009765625 has ten places, so the tenth is an exact tie at nine.
    assert number(2.0**-10) == "0.000976562"
    assert number(3 * 2.0**-10) == "0.002929688"


@given(FINITE)
def test_a_number_has_no_exponent_no_needless_zero_and_no_minus_before_zero(value: float) -> None:
    found = number(value)
    assert "e" not in found.lower()
    assert found != "-0"
    assert "." not in found or not found.endswith(("0", "."))


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_an_exact_number_reads_back_as_the_same_float(value: float) -> None:
    found = exact(value)
    assert float(found) == value
    assert "e" not in found


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
@pytest.mark.parametrize("form", [number, unit_number, exact])
def test_a_number_that_is_not_finite_is_refused(form: object, value: float) -> None:
    with pytest.raises(ValueError, match="not a finite number"):
        form(value)  # type: ignore[operator]


@given(st.tuples(*[st.floats(-1.0, 1.0)] * 4))
def test_a_quaternion_and_its_negative_are_written_alike(
    turn: tuple[float, float, float, float],
) -> None:
    assert quaternion(turn) == quaternion(tuple(-part for part in turn))


@given(st.tuples(*[st.floats(-1.0, 1.0)] * 4))
def test_the_first_of_w_x_y_z_that_is_not_zero_is_positive(
    turn: tuple[float, float, float, float],
) -> None:
    x, y, z, w = (float(part) for part in quaternion(turn))
    assert next((part for part in (w, x, y, z) if part != 0.0), 1.0) > 0.0


def test_a_quaternions_sign_is_chosen_after_rounding() -> None:
    # w rounds to zero, so x decides although w is negative.
    assert quaternion((1.0, 0.0, 0.0, -1e-13)) == ["1", "0", "0", "0"]
    assert quaternion((-1.0, 0.5, 0.0, 1e-13)) == ["1", "-0.5", "0", "0"]


@given(TREES)
def test_the_text_is_json_for_the_same_tree(tree: object) -> None:
    def plain(value: object) -> object:
        if isinstance(value, str) and type(value) is not str:
            return json.loads(value)
        if isinstance(value, list):
            return [plain(item) for item in value]
        if isinstance(value, dict):
            return {key: plain(item) for key, item in value.items()}
        return value

    assert json.loads(text(tree)) == plain(tree)  # type: ignore[arg-type]


def test_short_lists_stay_on_a_line_and_rows_have_a_line_each() -> None:
    rows = [[number(1.0), number(0.0)], [number(0.0), number(1.0)]]
    assert text({"rows": rows, "name": "Häher"}) == (
        '{\n  "rows": [\n    [1, 0],\n    [0, 1]\n  ],\n  "name": "Häher"\n}\n'
    )


def test_keys_keep_the_order_in_which_they_are_given() -> None:
    assert text({"b": 1, "a": 2}) == '{\n  "b": 1,\n  "a": 2\n}\n'


def test_a_float_of_no_stated_precision_is_refused() -> None:
    with pytest.raises(TypeError, match="no canonical form"):
        text({"a": 0.5})  # type: ignore[dict-item]


def test_the_work_of_writing_grows_with_the_length_of_the_tree() -> None:
    def work(count: int) -> int:
        tree = {"nodes": [{"name": f"n{k}", "at": [number(k / 7)] * 3} for k in range(count)]}
        return lines_run(lambda: text(tree))

    short = work(200)
    assert short > 1_000 and work(2_000) < 10.5 * short
