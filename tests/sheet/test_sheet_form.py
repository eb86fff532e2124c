"""What may stand in a sheet, and the finding for what may not, at its own line."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from somite.findings import Finding
from somite.sheet import Quantity, Sheet, read
from somite.sheet.form import load
from somite.text import Site, Source

HEADER = 'character = "tansy_heron"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'


def loaded(text: str, name: str = "sheet.toml") -> tuple[Sheet | None, tuple[Finding, ...]]:
    return read(Source(name, text))


def clean(body: str, header: str = HEADER) -> Sheet:
    sheet, findings = loaded(header + body)
    assert findings == ()
    assert sheet is not None
    return sheet


def found(body: str, header: str = HEADER) -> list[tuple[str, int]]:
    _, findings = loaded(header + body)
    return [(f.code, f.site.line if f.site else 0) for f in findings]


def one(body: str, header: str = HEADER) -> Finding:
    _, findings = loaded(header + body)
    assert len(findings) == 1
    return findings[0]


def test_positions_are_metres_in_the_neutral_space() -> None:
    sheet = clean("[points]\npelvis = [1, 96, -2]\n")
    assert sheet.points["pelvis"].value == (0.01, 0.96, -0.02)
    assert sheet.points["pelvis"].site == Site("sheet.toml", 6, 10, 11)


def test_a_component_may_carry_its_own_unit() -> None:
    sheet = clean('[points]\npelvis = ["12 mm", "0.5m", "-1 inch"]\n')
    assert sheet.points["pelvis"].value == (0.012, 0.5, -0.0254)


@given(st.tuples(*[st.decimals(-500, 500, places=4)] * 3))
def test_a_metre_sheet_with_z_up_and_its_centimetre_twin_give_the_same_bits(
    place: tuple[object, object, object],
) -> None:
    # Up +Z, front -Y: (x, y, z) there is (x, z, -y) here; the point moves two digits in metres.
    x, y, z = (f"{part:f}" for part in place)
    twin = clean(f"[points]\np = [{x}, {y}, {z}]\n")
    header = 'character = "t"\nunit = "m"\nup = "+Z"\nfront = "-Y"\n'
    back = f"{-place[2]:f}"  # type: ignore[operator]
    metres = [f"{_hundredth(part)}" for part in (x, back, y)]
    sheet = clean(f"[points]\np = [{', '.join(metres)}]\n", header)
    assert [part.hex() for part in sheet.points["p"].value] == [
        part.hex() for part in twin.points["p"].value
    ]


def _hundredth(text: str) -> str:
    """A decimal text divided by a hundred by moving its point."""
    sign, digits = ("-", text[1:]) if text.startswith("-") else ("", text)
    whole, _, rest = digits.partition(".")
    whole = whole.rjust(3, "0")
    return f"{sign}{whole[:-2].lstrip('0') or '0'}.{whole[-2:]}{rest}"


def test_nought_is_never_negative() -> None:
    sheet = clean("[points]\np = [-0.0, 0, -0]\n", HEADER.replace("+Z", "-Z"))
    assert [math.copysign(1, part) for part in sheet.points["p"].value] == [1, 1, 1]


def test_one_position_of_a_pair_is_its_left_side() -> None:
    pair = clean("[pairs]\nhip = [9, 92, 0]\n").pairs["hip"]
    assert pair.left is not None
    assert pair.left.value == (0.09, 0.92, 0.0)
    assert pair.right is None


@pytest.mark.parametrize(
    "text",
    [
        "hip = { left = [9, 92, 0], right = [-8, 92, 0] }",
        "hip.left = [9, 92, 0]\nhip.right = [-8, 92, 0]",
        "[pairs.hip]\nleft = [9, 92, 0]\nright = [-8, 92, 0]",
    ],
)
def test_both_sides_of_a_pair_are_kept_however_they_are_written(text: str) -> None:
    pair = clean("[pairs]\n" + text).pairs["hip"]
    assert pair.left is not None and pair.right is not None
    assert (pair.left.value[0], pair.right.value[0]) == (0.09, -0.08)


def test_a_row_keeps_its_positions_in_order() -> None:
    row = clean("[rows]\nfin = [[0, 1, 2], [0, 2, 3]]\n").rows["fin"]
    assert [item.value for item in row.value] == [(0.0, 0.01, 0.02), (0.0, 0.02, 0.03)]
    assert row.value[1].site == Site("sheet.toml", 6, 19, 9)


def test_measures_keep_their_number_and_unit_as_written() -> None:
    sheet = clean('[measures]\na = 30\nb = "30.50 cm"\nc = "12 deg"\nd = "40%"\ne = "long"\n')
    values = [sheet.measures[name].value for name in "abcde"]
    assert [str(value) for value in values] == ["30", "30.5 cm", "12 deg", "40%", "long"]
    assert isinstance(values[0], Quantity) and values[0].unit is None
    assert isinstance(values[4], str)


def test_a_nudge_is_in_the_neutral_space_with_its_reason() -> None:
    body = '[[nudge]]\nnode = "arm.left.elbow"\nby = [0, 0, "-3 mm"]\nbecause = "the\\nsleeve"\n'
    nudge = clean(body).nudges[0]
    assert (nudge.node, nudge.by, nudge.because) == (
        "arm.left.elbow",
        (0.0, 0.0, -0.003),
        "the sleeve",
    )
    assert nudge.site.line == 6


def test_json_says_the_same() -> None:
    text = (
        '{"character": "tansy_heron", "unit": "cm", "up": "+Y", "front": "+Z",'
        ' "points": {"p": [1, 2, 3]}, "pairs": {"hip": {"left": [1, 2, 3]}},'
        ' "measures": {"girth": "30 cm"},'
        ' "nudge": [{"node": "a", "by": [0, 0, 1], "because": "coat"}]}'
    )
    sheet, findings = loaded(text, "sheet.json")
    assert findings == ()
    assert sheet is not None
    assert sheet.points["p"].value == (0.01, 0.02, 0.03)
    assert sheet.nudges[0].by == (0.0, 0.0, 0.01)


@pytest.mark.parametrize("key", ["character", "unit", "up", "front"])
def test_a_header_without_one_of_its_four_facts_is_refused(key: str) -> None:
    lines = [line for line in HEADER.splitlines() if not line.startswith(key)]
    sheet, findings = loaded("\n".join(lines))
    assert sheet is None
    assert [f.code for f in findings] == ["sheet-header"]
    assert f'"{key}"' in findings[0].message


@pytest.mark.parametrize(
    ("old", "new", "line", "help"),
    [
        ('"tansy_heron"', '"Tansy Heron"', 1, "tansy_heron"),
        ('"tansy_heron"', "7", 1, "tansy_heron"),
        ('"tansy_heron"', '"häher"', 1, "tansy_heron"),
        ('"cm"', '"metres"', 2, 'did you mean "m"?'),
        ('"cm"', '"inches"', 2, 'did you mean "inch"?'),
        ('"cm"', '"deg"', 2, "mm"),
        ('"+Y"', '"y"', 3, 'did you mean "+Y"?'),
        ('"+Z"', '"-Y"', 4, "one points up"),
    ],
)
def test_a_header_of_the_wrong_form_is_refused_at_its_line(
    old: str, new: str, line: int, help: str
) -> None:
    finding = one("", HEADER.replace(old, new))
    assert finding.code == "sheet-header"
    assert finding.site is not None and finding.site.line == line
    assert help in str(finding.help)


def test_an_unknown_key_is_told_its_nearest() -> None:
    finding = one("abuot = 'heron'\n")
    assert (finding.code, finding.help) == ("sheet-key", 'did you mean "about"?')


def test_a_section_with_a_slip_in_its_name_is_still_read() -> None:
    sheet, findings = loaded(HEADER + "[point]\npelvis = [0, 1, 2]\n")
    assert [f.code for f in findings] == ["sheet-key"]
    assert sheet is not None
    assert "pelvis" in sheet.points


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ("[points]\np = [1, 2]", "wrong-kind"),
        ("[points]\np = [1, 2, 3, 4]", "wrong-kind"),
        ("[points]\np = 7", "wrong-kind"),
        ("[points]\np = [1, true, 3]", "wrong-kind"),
        ("[points]\np = [1, [2], 3]", "wrong-kind"),
        ('[points]\np = [1, "two", 3]', "wrong-kind"),
        ("[points]\np = 2026-01-02", "wrong-kind"),
        ("[points]\np.left = [1, 2, 3]", "wrong-kind"),
        ("[points]\np = [1, nan, 3]", "not-finite"),
        ("[points]\np = [1, -inf, 3]", "not-finite"),
        ("[points]\np = [1, 1e999999999999999999999, 3]", "not-finite"),
        ("[points]\np = [1, 1e400, 3]", "out-of-range"),
        ("[points]\np = [1, 1000000000, 3]", "out-of-range"),
        ('[points]\np = [1, "2 deg", 3]', "wrong-unit"),
        ('[points]\np = [1, "2 cmm", 3]', "wrong-unit"),
        ("[pairs]\np = { left = [1, 2, 3], rihgt = [-1, 2, 3] }", "wrong-kind"),
        ("[pairs]\np = {}", "wrong-kind"),
        ("[pairs]\np = 3", "wrong-kind"),
        ("[pairs]\np = [[1, 2, 3], [4, 5]]", "wrong-kind"),
        ("[rows]\nr = [0, 1, 2]", "wrong-kind"),
        ("[rows]\nr = 2", "wrong-kind"),
        ("[measures]\nm = true", "wrong-kind"),
        ("[measures]\nm = [1]", "wrong-kind"),
        ("[measures]\nm = 12:30:00", "wrong-kind"),
        ("[measures]\nm = inf", "not-finite"),
        ('[measures]\nm = "nan"', "not-finite"),
        ('[measures]\nm = "3 parsecs"', "wrong-unit"),
        ("[[nudge]]\nnode = 'a'\nby = [0, 0, 1]", "nudge-form"),
        ("[[nudge]]\nnode = 'a'\nby = [0, 0, 1]\nbecause = ' '", "nudge-form"),
        ("[[nudge]]\nnode = 'a b'\nby = [0, 0, 1]\nbecause = 'coat'", "nudge-form"),
        ("[[nudge]]\nnode = 'a'\nby = [0, 0, 1]\nbecause = 'coat'\nwhy = 1", "nudge-form"),
        ("[nudge]\nnode = 'a'\nby = [0, 0, 1]\nbecause = 'coat'", "nudge-form"),
        ("[[nudge]]\nnode = 'a'\nby = [0, 1]\nbecause = 'coat'", "wrong-kind"),
        ("points = 3", "wrong-kind"),
        ("landmarks = 3", "wrong-kind"),
        ("landmarks = { fiel = 'a.csv' }", "wrong-kind"),
        ("landmarks = 'a.csv'", "file-missing"),
        ("about = 3", "sheet-header"),
    ],
)
def test_an_entry_of_the_wrong_form_is_one_finding_with_help(body: str, code: str) -> None:
    finding = one(body)
    assert finding.code == code
    assert finding.help
    assert finding.site is not None and finding.site.line > 4


@pytest.mark.parametrize("value", ["null", "[null, 1, 2]", "true", "{}", '"x"'])
def test_no_json_value_in_place_of_a_position_passes_in_silence(value: str) -> None:
    text = (
        f'{{"character": "t", "unit": "cm", "up": "+Y", "front": "+Z", "points": {{"p": {value}}}}}'
    )
    _, findings = loaded(text, "sheet.json")
    assert [f.code for f in findings] == ["wrong-kind"]


def test_the_unit_that_was_meant_is_named() -> None:
    assert one('[measures]\nm = "3 inches"').help == 'did you mean "inch"?'


def test_a_point_that_is_written_twice_is_shown_at_both_places() -> None:
    finding = one("[points]\npelvis = [0, 1, 2]\nwaist = [0, 2, 2]\npelvis = [0, 3, 2]\n")
    assert finding.code == "duplicate-measure"
    assert finding.site == Site("sheet.toml", 8, 1, 6)
    assert finding.related[0].site == Site("sheet.toml", 6, 1, 6)


def test_a_second_nudge_of_one_node_is_refused() -> None:
    nudge = "[[nudge]]\nnode = 'a'\nby = [0, 0, 1]\nbecause = 'coat'\n"
    finding = one(nudge * 2)
    assert finding.code == "duplicate-measure"
    assert (finding.site, finding.related[0].site) == (
        Site("sheet.toml", 10, 8, 3),
        Site("sheet.toml", 6, 8, 3),
    )


@pytest.mark.parametrize(
    ("body", "lines"),
    [
        ("[pairs]\nhip = [-9, 92, 0]", [6]),
        ("[pairs]\nhip = { left = [9, 92, 0], right = [1, 92, 0] }", [6]),
        ("[pairs]\nhip = [9, 92, 0]", []),
        ("[pairs]\nhip = [0, 92, 0]", []),
    ],
)
def test_a_side_that_lies_on_the_other_side_is_a_warning(body: str, lines: list[int]) -> None:
    assert found(body) == [("left-on-right", line) for line in lines]


def test_the_left_side_is_judged_in_the_sheets_own_axes() -> None:
    # Front -Z with up +Y: the character's left is -X.
    header = HEADER.replace("+Z", "-Z")
    assert found("[pairs]\nhip = [-9, 92, 0]", header) == []
    assert found("[pairs]\nhip = [9, 92, 0]", header) == [("left-on-right", 6)]


def test_one_run_reports_every_mistake() -> None:
    body = (
        "[points]\npelvis = [0, 1]\nwaist = (0, 1, 2)\nribs = [0, nan, 2]\npelvis = [0, 1, 2]\n"
        '[pairs]\nhip = ["9 deg", 1, 2]\n[measure]\ngirth = true\n[[nudge]]\nnode = 3\n'
    )
    assert sorted(found(body), key=lambda pair: pair[1]) == [
        ("wrong-kind", 6),
        ("sheet-syntax", 7),
        ("not-finite", 8),
        ("duplicate-measure", 9),
        ("wrong-unit", 11),
        ("sheet-key", 12),
        ("wrong-kind", 13),
        ("nudge-form", 14),
        ("nudge-form", 14),
        ("nudge-form", 15),
    ]


def test_a_file_that_is_no_sheet_is_refused(tmp_path: Path) -> None:
    sheet, findings = load(tmp_path / "sheet.yaml")
    assert sheet is None
    assert [f.code for f in findings] == ["sheet-kind"]


def test_a_missing_sheet_is_a_finding_with_the_nearest_name(tmp_path: Path) -> None:
    (tmp_path / "heron.toml").write_text(HEADER)
    _, findings = load(tmp_path / "heon.toml")
    assert findings[0].code == "file-missing"
    assert "heron.toml" in str(findings[0].help)


def test_line_ends_and_a_byte_order_mark_do_not_change_a_sheets_digest(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_bytes(HEADER.encode())
    (tmp_path / "b.toml").write_bytes(b"\xef\xbb\xbf" + HEADER.replace("\n", "\r\n").encode())
    first, _ = load(tmp_path / "a.toml")
    second, _ = load(tmp_path / "b.toml")
    assert first is not None and second is not None
    assert first.digest == second.digest
