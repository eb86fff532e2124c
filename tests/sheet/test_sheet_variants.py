"""Variants of sheets: scaled and blended, with what each keeps, changes and tells."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from somite.assistant.sheet_text import text_of
from somite.assistant.variants import Heading, asked_by, blended, scaled
from somite.findings import Finding
from somite.sheet import Measures, Request, Sheet, measure, read
from somite.text import Site, Source

SITE = Site("lantern.somite", 3, 1)
HEADING = Heading("made", "somite sheet ...")

REQUESTS = (
    Request("point", "foot", SITE),
    Request("pair", "handle", SITE),
    Request("row", "stations", SITE),
    Request("pair", "rib", SITE, low=1, high=9),
    Request("length", "girth", SITE, has_default=True),
    Request("angle", "splay", SITE, has_default=True),
    Request("count", "bones", SITE, has_default=True),
    Request("number", "droop", SITE, has_default=True),
    Request("choice", "tail", SITE, has_default=True, options=("none", "short", "long")),
)

HERON = """\
character = "heron"
about = "heron postal clerk"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
foot = [0, 104.1, -2]
[pairs]
handle = [6, "1.02 m", -1]
rib = [[1, 2, 3], [2, 3, 4]]
[rows]
stations = [[0, 10, 0], [0, 20.3, 1]]
[measures]
girth = 20
splay = "14 deg"
bones = 7
droop = "40%"
tail = "short"
[[nudge]]
node = "handle.left"
by = [0, 0, "-3 mm"]
because = "the buckle of the parcel bag"
"""

BADGER = """\
character = "badger"
unit = "inch"
up = "+Z"
front = "-Y"
[points]
foot = [0, 1.7, 33.3]
[pairs]
handle = { left = [3, 0.1, 30], right = [-3.5, 0.1, 30.5] }
rib = [[1, -1, 1], [2, -2, 2]]
[rows]
stations = [[0, 0, 3], [0, 0.7, 7.1]]
[measures]
girth = 11
splay = "0.5 rad"
bones = 10
droop = 0.1
tail = "long"
"""


def sheet_of(text: str, name: str = "sheet.toml") -> Sheet:
    sheet, findings = read(Source(name, text))
    assert sheet is not None and findings == ()
    return sheet


def answers(sheet: Sheet) -> Measures:
    measures, findings = measure(sheet, REQUESTS)
    assert findings == ()
    return measures


def big(text: str, factor: str, requests: Sequence[Request] | None = REQUESTS) -> Sheet:
    made, findings = scaled(sheet_of(text), Decimal(factor), requests, HEADING)
    assert made is not None and findings == ()
    return sheet_of(text_of(made))


def between(
    share: str, first: str = HERON, second: str = BADGER
) -> tuple[Sheet, tuple[Finding, ...], str]:
    """The blend as it reads back, what was told, and its text."""
    made, findings = blended(
        sheet_of(first, "a.toml"), sheet_of(second, "b.toml"), Decimal(share), REQUESTS, HEADING
    )
    assert made is not None
    return sheet_of(text_of(made)), findings, text_of(made)


def plain(measures: Measures) -> dict[str, object]:
    """What a recipe sees of a sheet, without where it is written."""
    return {
        "points": measures.points,
        "pairs": measures.pairs,
        "pair_rows": measures.pair_rows,
        "rows": measures.rows,
        "numbers": measures.numbers,
        "choices": measures.choices,
    }


# ---- scaling -------------------------------------------------------------------------------------


def test_scaling_multiplies_places_lengths_and_nudges_and_keeps_all_else() -> None:
    sheet = big(HERON, "1.5")
    made = answers(sheet)
    assert made.points["foot"] == pytest.approx((0, 1.5615, -0.03), abs=1e-12)
    assert made.pairs["handle"][0] == pytest.approx((0.09, 1.53, -0.015), abs=1e-12)
    assert made.rows["stations"][1] == pytest.approx((0, 0.3045, 0.015), abs=1e-12)
    assert made.pair_rows["rib"][0][1] == pytest.approx((0.03, 0.045, 0.06), abs=1e-12)
    assert made.numbers["girth"] == pytest.approx(0.3, abs=1e-12)
    assert sheet.nudges[0].by == pytest.approx((0, 0, -0.0045), abs=1e-12)
    before = answers(sheet_of(HERON))
    for name in ("splay", "bones", "droop"):
        assert made.numbers[name] == before.numbers[name]
    assert made.choices == before.choices


def test_scaling_by_one_answers_exactly_as_before() -> None:
    for text in (HERON, BADGER):
        assert plain(answers(big(text, "1"))) == plain(answers(sheet_of(text)))


def test_scaling_there_and_back_gives_the_same_sheet() -> None:
    there, _ = scaled(sheet_of(HERON), Decimal("1.25"), REQUESTS, HEADING)
    assert there is not None
    back = answers(big(text_of(there), "0.8"))
    assert plain(back) == plain(answers(sheet_of(HERON)))


def test_a_scaled_sheet_keeps_its_unit_and_axes_and_says_how_it_was_made() -> None:
    heading = Heading("giant", "somite sheet badger.toml --scale 2")
    made, _ = scaled(sheet_of(BADGER), Decimal(2), REQUESTS, heading)
    assert made is not None
    text = text_of(made)
    assert 'unit = "inch"\nup = "+Z"\nfront = "-Y"' in text
    assert "# Made by: somite sheet badger.toml --scale 2\n" in text
    assert "not for medicine or safety" in " ".join(text.replace("#", " ").split())
    assert 'character = "giant"' in text
    assert "foot = [0, 3.4, 66.6]" in text


def test_units_alone_tell_a_length_from_a_number_where_every_measure_has_one() -> None:
    text = HERON.replace("girth = 20", 'girth = "20 cm"').replace("bones = 7\n", "")
    assert answers(big(text, "2", None)).numbers["girth"] == pytest.approx(0.4)


def test_a_bare_number_needs_a_recipe_to_be_scaled() -> None:
    made, findings = scaled(sheet_of(HERON), Decimal(2), None, HEADING)
    assert made is None
    assert {finding.code for finding in findings} == {"recipe-needed"}
    assert {finding.message.split('"')[1] for finding in findings} == {"girth", "bones"}


def test_recipes_that_differ_about_a_name_are_told() -> None:
    count = [Request("count", "girth", Site("other.somite", 4, 3))]
    _, findings = asked_by([REQUESTS, count])
    assert [finding.code for finding in findings] == ["recipe-needed"]
    assert "a length and a count" in findings[0].message


def test_a_bare_number_that_nobody_asks_for_is_left_out_with_the_usual_warning() -> None:
    text = HERON.replace("bones = 7", "bones = 7\nhat = 12")
    made, findings = scaled(sheet_of(text), Decimal(2), REQUESTS, HEADING)
    assert made is not None
    assert [finding.code for finding in findings] == ["unused-measure"]
    assert "hat" not in text_of(made)


@given(
    st.decimals(min_value="-900", max_value="900", places=4),
    st.decimals(min_value="0.1", max_value="9", places=3),
    st.sampled_from(["mm", "cm", "m", "inch", "foot"]),
    st.sampled_from([("+Y", "+Z"), ("+Z", "-Y"), ("-X", "+Y")]),
)
def test_a_scaled_place_is_the_place_times_the_factor(
    number: Decimal, factor: Decimal, unit: str, axes: tuple[str, str]
) -> None:
    text = f'character = "a"\nunit = "{unit}"\nup = "{axes[0]}"\nfront = "{axes[1]}"\n[points]\n'
    before = sheet_of(text + f"foot = [{number:f}, 1, -2.5]\n")
    made, findings = scaled(before, factor, REQUESTS[:1], HEADING)
    assert made is not None and findings == ()
    after = sheet_of(text_of(made)).points["foot"].value
    expected = [part * float(factor) for part in before.points["foot"].value]
    assert after == pytest.approx(expected, abs=1e-9)


# ---- blending ------------------------------------------------------------------------------------


def test_a_blend_lies_between_in_the_first_ones_unit_and_axes() -> None:
    sheet, _, text = between("0.4")
    a, b, made = answers(sheet_of(HERON)), answers(sheet_of(BADGER)), answers(sheet)
    for name in ("foot",):
        expected = [0.6 * p + 0.4 * q for p, q in zip(a.points[name], b.points[name], strict=True)]
        assert made.points[name] == pytest.approx(expected, abs=1e-10)
    for side in (0, 1):
        pairs = zip(a.pairs["handle"][side], b.pairs["handle"][side], strict=True)
        expected = [0.6 * p + 0.4 * q for p, q in pairs]
        assert made.pairs["handle"][side] == pytest.approx(expected, abs=1e-10)
    for name in ("girth", "splay", "droop"):
        expected_number = 0.6 * a.numbers[name] + 0.4 * b.numbers[name]
        assert made.numbers[name] == pytest.approx(expected_number, abs=1e-10)
    assert 'unit = "cm"\nup = "+Y"\nfront = "+Z"' in text


@pytest.mark.parametrize(("share", "bones"), [("0.5", 8), ("0.1", 7), ("0.4", 8), ("0.9", 10)])
def test_a_count_is_rounded_half_to_even(share: str, bones: int) -> None:
    # 7 + 3 · share: 8.5 is rounded to the even 8, 7.3 to 7, 8.2 to 8, 9.7 to 10.
    assert answers(between(share)[0]).numbers["bones"] == bones


@pytest.mark.parametrize(("share", "tail"), [("0.5", "short"), ("0.49", "short"), ("0.51", "long")])
def test_a_choice_is_the_nearers_and_the_firsts_half_way(share: str, tail: str) -> None:
    assert answers(between(share)[0]).choices["tail"] == tail


@pytest.mark.parametrize(
    ("first", "second"), [(HERON, BADGER), (BADGER, HERON)], ids=["cm", "inch"]
)
def test_at_either_end_a_blend_answers_exactly_as_that_sheet(first: str, second: str) -> None:
    for share, text in (("0", first), ("1", second)):
        made = between(share, first, second)[0]
        assert plain(answers(made)) == plain(answers(sheet_of(text)))
        assert [(n.node, n.by) for n in made.nudges] == [
            (n.node, n.by) for n in sheet_of(text).nudges
        ]


@given(
    st.lists(st.decimals(min_value="-999", max_value="999", places=6), min_size=6, max_size=6),
    st.sampled_from(["mm", "cm", "m", "inch", "foot"]),
    st.sampled_from(["mm", "cm", "m", "inch", "foot"]),
)
def test_ends_are_exact_whatever_the_units(parts: list[Decimal], one: str, two: str) -> None:
    form = 'character = "{0}"\nunit = "{1}"\nup = "+Y"\nfront = "+Z"\n[points]\nfoot = [{2}]\n'
    a = sheet_of(form.format("a", one, ", ".join(f"{part:f}" for part in parts[:3])))
    b = sheet_of(form.format("b", two, ", ".join(f"{part:f}" for part in parts[3:])))
    for share, end in ((Decimal(0), a), (Decimal(1), b)):
        made, _ = blended(a, b, share, REQUESTS[:1], HEADING)
        assert made is not None
        assert sheet_of(text_of(made)).points["foot"].value == end.points["foot"].value


def test_what_only_one_sheet_has_is_told_and_kept_where_that_is_the_nearer() -> None:
    without = BADGER.replace("girth = 11\n", "").replace("foot = [0, 1.7, 33.3]\n", "")
    for share, kept in (("0.3", True), ("0.7", False)):
        made, findings = blended(sheet_of(HERON), sheet_of(without), Decimal(share), [], HEADING)
        assert made is not None
        told = {finding.message.split('"')[1] for finding in findings if "only" in finding.message}
        assert {"foot", "handle.left"} <= told
        assert ("foot = " in text_of(made)) is kept
    assert {"sheets-differ"} <= {finding.code for finding in findings}


def test_rows_of_different_lengths_are_told_and_divided_as_the_nearers_is() -> None:
    longer = BADGER.replace("[0, 0.7, 7.1]]", "[0, 0.7, 7.1], [0, 0.7, 9]]")
    sheet, findings, _ = between("0.7", HERON, longer)
    assert len(sheet.rows["stations"].value) == 3
    assert [finding.code for finding in findings].count("sheets-differ") == 2
    assert any("a row of 2 and a row of 3" in finding.message for finding in findings)


@pytest.mark.parametrize("share", ["0", "0.25", "0.5", "0.75", "1"])
def test_a_straight_row_blended_with_a_longer_row_lies_between_the_two(share: str) -> None:
    """The ends lie between the ends (plane geometry), and joints at the nearer's shares of it."""
    form = 'character = "{0}"\nunit = "m"\nup = "+Y"\nfront = "+Z"\n[rows]\nstations = {1}\n'
    few = sheet_of(form.format("few", "[[0, 0, 0], [0, 0.25, 0], [0, 1, 0]]"))
    many = sheet_of(form.format("many", "[[1, 0, 0], [1, 1, 0], [1, 1.5, 0], [1, 3, 0]]"))
    way = float(share)
    made, findings = blended(few, many, Decimal(share), None, HEADING)
    assert made is not None
    assert [finding.code for finding in findings] == ["sheets-differ"]
    row = [one.value for one in sheet_of(text_of(made)).rows["stations"].value]
    shares = [0, 0.25, 1] if way <= 0.5 else [0, 1 / 3, 0.5, 1]
    assert len(row) == len(shares)
    for place, along in zip(row, shares, strict=True):
        assert place == pytest.approx((way, along * (1 + 2 * way), 0), abs=1e-8)


def test_a_row_whose_places_are_all_one_is_divided_without_a_division_by_nothing() -> None:
    form = 'character = "{0}"\nunit = "m"\nup = "+Y"\nfront = "+Z"\n[rows]\nstations = {1}\n'
    heap = sheet_of(form.format("heap", "[[0, 0, 0], [0, 0, 0]]"))
    line = sheet_of(form.format("line", "[[0, 0, 0], [0, 1, 0], [0, 2, 0]]"))
    for share in ("0.25", "0.75"):
        made, _ = blended(heap, line, Decimal(share), None, HEADING)
        assert made is not None
        row = [one.value for one in sheet_of(text_of(made)).rows["stations"].value]
        assert row[0] == (0, 0, 0)
        assert row[-1] == pytest.approx((0, 2 * float(share), 0), abs=1e-9)


def test_a_nudge_of_one_sheet_is_blended_with_none() -> None:
    sheet, findings, _ = between("0.5")
    assert sheet.nudges[0].by == pytest.approx((0, 0, -0.0015), abs=1e-12)
    assert sheet.nudges[0].because == "the buckle of the parcel bag"
    assert [finding.message for finding in findings if "handle.left" in finding.message]


def test_a_length_on_one_sheet_and_a_text_on_the_other_are_told() -> None:
    other = BADGER.replace("girth = 11", 'girth = "wide"')
    made, findings = blended(sheet_of(HERON), sheet_of(other), Decimal("0.3"), REQUESTS, HEADING)
    # The recipe asks for a length, so the other sheet is refused for itself.
    assert made is None
    assert {finding.code for finding in findings} == {"wrong-kind"}


def test_names_and_texts_that_need_quotes_are_written_so_that_they_read_back() -> None:
    text = HERON.replace('"heron postal clerk"', '"says \\"hm\\" \\\\ and\\tmore"')
    text = text.replace("[points]", '[points]\n"left hoof" = [1, 2, 3]')
    made, _ = scaled(sheet_of(text), Decimal(1), REQUESTS, HEADING)
    assert made is not None
    again = sheet_of(text_of(made))
    assert "left hoof" in again.points
    assert again.about.startswith('says "hm" \\ and more')
