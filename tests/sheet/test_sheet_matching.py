"""What a recipe asks for, found on a sheet: answers, and findings that name both."""

from __future__ import annotations

import math

import pytest

from somite.findings import Finding, Severity
from somite.sheet import Measures, Request, measure, read
from somite.sheet.matching import Kind
from somite.text import Site, Source

HEADER = 'character = "tansy_heron"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
ASKED = Site("upright.somite", 8, 9, 6)


def asked(
    kind: Kind,
    name: str,
    *,
    about: str | None = None,
    has_default: bool = False,
    low: float | None = None,
    high: float | None = None,
    options: tuple[str, ...] = (),
) -> Request:
    return Request(kind, name, ASKED, about, has_default, low, high, options)


def matched(body: str, *requests: Request) -> tuple[Measures, tuple[Finding, ...]]:
    sheet, findings = read(Source("sheet.toml", HEADER + body))
    assert sheet is not None
    measures, more = measure(sheet, requests)
    return measures, findings + more


def answered(body: str, *requests: Request) -> Measures:
    measures, findings = matched(body, *requests)
    assert findings == ()
    return measures


def refused(body: str, *requests: Request) -> Finding:
    measures, findings = matched(body, *requests)
    assert len(findings) == 1
    assert measures.refused == (requests[0].name,)
    return findings[0]


def test_the_missing_side_of_a_pair_is_the_mirror_image() -> None:
    measures = answered("[pairs]\nhip = [9, 92, 1]", asked("pair", "hip"))
    assert measures.pairs["hip"] == ((0.09, 0.92, 0.01), (-0.09, 0.92, 0.01))


def test_a_right_side_alone_gives_the_left_one() -> None:
    measures = answered("[pairs]\nhip.right = [-9, 92, 1]", asked("pair", "hip"))
    assert measures.pairs["hip"] == ((0.09, 0.92, 0.01), (-0.09, 0.92, 0.01))


def test_two_different_sides_are_both_kept() -> None:
    body = "[pairs]\nhip = { left = [9, 92, 1], right = [-8, 90, 0] }"
    measures = answered(body, asked("pair", "hip"))
    assert measures.pairs["hip"] == ((0.09, 0.92, 0.01), (-0.08, 0.9, 0.0))


@pytest.mark.parametrize(
    ("kind", "written", "value"),
    [
        ("length", "30", 0.3),
        ("length", '"300 mm"', 0.3),
        ("length", '"1 foot"', 0.3048),
        ("angle", '"90 deg"', math.pi / 2),
        ("angle", '"1.5 rad"', 1.5),
        ("number", "0.4", 0.4),
        ("number", '"40%"', 0.4),
        ("count", "7", 7.0),
        ("count", "7.0", 7.0),
    ],
)
def test_numbers_come_out_in_metres_radians_or_one(kind: Kind, written: str, value: float) -> None:
    measures = answered(f"[measures]\nm = {written}", asked(kind, "m"))
    assert measures.numbers["m"] == value


def test_a_choice_comes_out_as_its_word() -> None:
    request = asked("choice", "tail", options=("none", "short", "long"))
    assert answered('[measures]\ntail = "long"', request).choices == {"tail": "long"}


def test_a_row_comes_out_in_order() -> None:
    measures = answered("[rows]\nfin = [[0, 1, 2], [0, 2, 3]]", asked("row", "fin"))
    assert measures.rows["fin"] == ((0.0, 0.01, 0.02), (0.0, 0.02, 0.03))


def test_every_answer_knows_where_it_is_written() -> None:
    measures = answered("[points]\npelvis = [0, 1, 2]", asked("point", "pelvis"))
    assert measures.sites["pelvis"] == Site("sheet.toml", 6, 10, 9)


def test_a_missing_measure_points_into_the_recipe_and_the_sheet() -> None:
    finding = refused("[points]\n", asked("point", "pelvis", about="between the hips"))
    assert (finding.code, finding.site) == ("missing-measure", ASKED)
    assert "between the hips" in finding.message
    assert finding.related[0].site == Site("sheet.toml", 5, 2, 6)
    assert "[points]" in str(finding.help)


def test_without_a_section_a_missing_measure_names_the_sheets_header() -> None:
    finding = refused("", asked("count", "bones"))
    assert finding.related[0].site.line == 1


def test_a_missing_measure_with_a_default_is_left_to_the_default() -> None:
    measures = answered("", asked("count", "bones", has_default=True))
    assert (measures.missing, measures.refused) == (("bones",), ())


def test_a_slip_in_a_name_is_one_error_in_the_sheet() -> None:
    finding = refused("[points]\npelvs = [0, 1, 2]", asked("point", "pelvis"))
    assert (finding.code, finding.severity) == ("unknown-measure", Severity.ERROR)
    assert finding.site == Site("sheet.toml", 6, 1, 5)
    assert finding.related[0].site == ASKED
    assert finding.help == 'did you mean "pelvis"?'


def test_an_entry_that_nothing_asks_for_is_a_warning() -> None:
    _, findings = matched("[points]\nhat = [0, 1, 2]")
    assert [(f.code, f.severity) for f in findings] == [("unused-measure", Severity.WARNING)]


def test_a_slip_in_the_name_of_a_measure_with_a_default_is_a_warning_that_names_it() -> None:
    measures, findings = matched("[measures]\nbone = 7", asked("count", "bones", has_default=True))
    assert measures.missing == ("bones",)
    assert [(f.code, f.help) for f in findings] == [("unused-measure", 'did you mean "bones"?')]


def test_two_slips_are_told_apart() -> None:
    body = "[points]\npelvs = [0, 1, 2]\nwiast = [0, 2, 2]"
    _, findings = matched(body, asked("point", "waist"), asked("point", "pelvis"))
    assert [f.help for f in findings] == ['did you mean "waist"?', 'did you mean "pelvis"?']


@pytest.mark.parametrize(
    ("kind", "body", "code"),
    [
        ("point", "[pairs]\nm = [1, 2, 3]", "wrong-kind"),
        ("pair", "[points]\nm = [1, 2, 3]", "wrong-kind"),
        ("row", "[points]\nm = [1, 2, 3]", "wrong-kind"),
        ("point", "[measures]\nm = 3", "wrong-kind"),
        ("length", '[measures]\nm = "long"', "wrong-kind"),
        ("choice", "[measures]\nm = 3", "wrong-kind"),
        ("choice", '[measures]\nm = "logn"', "unknown-choice"),
        ("length", '[measures]\nm = "3 deg"', "wrong-unit"),
        ("length", '[measures]\nm = "3%"', "wrong-unit"),
        ("angle", "[measures]\nm = 3", "wrong-unit"),
        ("angle", '[measures]\nm = "3 cm"', "wrong-unit"),
        ("number", '[measures]\nm = "3 cm"', "wrong-unit"),
        ("count", '[measures]\nm = "3%"', "wrong-unit"),
        ("count", "[measures]\nm = 3.5", "not-whole"),
        ("length", "[measures]\nm = 900", "out-of-range"),
        ("length", "[measures]\nm = -1", "out-of-range"),
        ("count", "[measures]\nm = 9", "out-of-range"),
        ("row", "[rows]\nm = [[1, 2, 3]]", "out-of-range"),
    ],
)
def test_an_answer_that_does_not_fit_is_refused_at_its_own_line(
    kind: Kind, body: str, code: str
) -> None:
    finding = refused(body, asked(kind, "m", low=2, high=8, options=("long", "short")))
    assert finding.code == code
    assert finding.site is not None
    assert (finding.site.file, finding.site.line) == ("sheet.toml", 6)
    assert [related.site for related in finding.related] == [ASKED]
    assert finding.help


@pytest.mark.parametrize(("value", "fits"), [(5, True), (200, True), (4.99, False), (201, False)])
def test_bounds_belong_to_the_range(value: float, fits: bool) -> None:
    request = asked("length", "girth", low=0.05, high=2.0)
    measures, findings = matched(f"[measures]\ngirth = {value}", request)
    assert ("girth" in measures.numbers) == fits
    assert [f.code for f in findings] == ([] if fits else ["out-of-range"])


def test_a_range_is_told_in_the_sheets_own_unit() -> None:
    finding = refused('[measures]\nm = "3 m"', asked("length", "m", low=0.05, high=2.0))
    assert finding.message == 'expected 5 cm to 200 cm for "m", found 3 m'


def test_an_entry_that_could_not_be_read_is_not_called_missing_too() -> None:
    body = "[points]\npelvis = [0, 1]\n[pairs]\nhip = (9, 92, 0)\n"
    measures, findings = matched(body, asked("point", "pelvis"), asked("pair", "hip"))
    assert sorted(f.code for f in findings) == ["sheet-syntax", "wrong-kind"]
    assert measures.refused == ("pelvis", "hip")


def test_every_request_is_answered_missing_or_refused() -> None:
    body = "[points]\npelvis = [0, 1, 2]\n[measures]\ngirth = 1\n"
    requests = [
        asked("point", "pelvis"),
        asked("point", "waist"),
        asked("length", "girth", low=1.0),
        asked("angle", "splay", has_default=True),
    ]
    measures, _ = matched(body, *requests)
    assert list(measures.points) == ["pelvis"]
    assert measures.refused == ("girth", "waist")
    assert measures.missing == ("splay",)


def test_thousands_of_unasked_entries_are_matched_in_no_time() -> None:
    body = "[measures]\n" + "".join(f"m{number} = 1\n" for number in range(3000))
    requests = [asked("count", f"n{number}") for number in range(3000)]
    _, findings = matched(body, *requests)
    assert {f.code for f in findings} == {"missing-measure", "unused-measure"}
