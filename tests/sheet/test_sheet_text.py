"""TOML and JSON as located values: the same values as Python's readers give, and their places."""

from __future__ import annotations

import json
import tomllib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from somite.sheet.json_text import read_json
from somite.sheet.located import Array, Located, Table, plain
from somite.sheet.toml_text import read_toml
from somite.text import Site, Source

SAMPLE = '''# a sheet
character = "tansy_heron" # her name
unit="cm"
[ points ]
pelvis = [0, 96.5, 0]
"odd name" = [
  1, # the first
  "2 mm",
  3,
]
[pairs]
hip.left = [1, 2, 3]
hip.right = [-1, 2, 3]
knee = { left = [1, 2, 3], right.x = 4, 'right'.y = [ ] }
[a.b."c.d"]
text = """
several "quoted" lines # no comment
[not.a.section]"""
path = \'C:\\temp\'
also = \'\'\'it's\'\'\'
[[nudge]]
node = "a"
[[nudge]]
node = "b"
'''


def toml(text: str) -> Table:
    table, findings = read_toml(Source("sheet.toml", text))
    assert findings == ()
    return table


def at(tree: Located, *path: str | int) -> Site:
    for part in path:
        if isinstance(part, int):
            assert isinstance(tree, Array)
            tree = tree.items[part]
        else:
            assert isinstance(tree, Table)
            tree = tree.entries[part].value
    return tree.site


def test_a_whole_toml_text_reads_as_pythons_own_reader_reads_it() -> None:
    assert plain(toml(SAMPLE)) == tomllib.loads(SAMPLE, parse_float=Decimal)


@pytest.mark.parametrize(
    ("path", "line", "column", "length"),
    [
        (("character",), 2, 13, 13),
        (("unit",), 3, 6, 4),
        (("points", "pelvis"), 5, 10, 12),
        (("points", "pelvis", 1), 5, 14, 4),
        (("points", "odd name", 1), 8, 3, 6),
        (("points", "odd name", 2), 9, 3, 1),
        (("pairs", "hip", "right"), 13, 13, 10),
        (("pairs", "hip", "right", 0), 13, 14, 2),
        (("pairs", "knee", "left", 2), 14, 24, 1),
        (("pairs", "knee", "right", "x"), 14, 38, 1),
        (("pairs", "knee", "right", "y"), 14, 53, 3),
        (("a", "b", "c.d", "path"), 19, 8, 9),
        (("nudge", 1, "node"), 24, 8, 3),
    ],
)
def test_every_value_knows_its_place(
    path: tuple[str | int, ...], line: int, column: int, length: int
) -> None:
    assert at(toml(SAMPLE), *path) == Site("sheet.toml", line, column, length)


def test_keys_know_their_place_too() -> None:
    points = toml(SAMPLE).entries["points"]
    assert points.site == Site("sheet.toml", 4, 3, 6)
    assert isinstance(points.value, Table)
    assert points.value.entries["odd name"].site == Site("sheet.toml", 6, 1, 10)


words = st.text("abcxyz_-", min_size=1, max_size=5)
keys = words | st.text(max_size=4)
scalars = (
    st.integers(-(10**6), 10**6)
    | st.decimals(-1000, 1000, places=3).map(abs)
    | st.text(max_size=8)
    | st.booleans()
)
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=8,
)
documents = st.dictionaries(keys, values, max_size=5)


def written(value: object, gap: str) -> str:
    """A value as TOML, with room between its parts where the form allows any."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return basic(value)
    if isinstance(value, dict):
        pairs = (f"{basic(key)} = {written(item, ' ')}" for key, item in value.items())
        return "{ " + ", ".join(pairs) + " }"
    if isinstance(value, list):
        items = f",{gap}".join(written(item, gap) for item in value)
        return f"[{gap}{items}{gap}]"
    return str(value)


def basic(text: str) -> str:
    """A TOML basic string: JSON's escapes are TOML's as well."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


@given(documents, st.sampled_from([" ", "\n", " # ] } = [x]\n\t"]))
def test_generated_toml_reads_as_pythons_own_reader_reads_it(
    document: dict[str, object], gap: str
) -> None:
    text = "".join(f"{basic(k)} = {written(v, gap)}\n" for k, v in document.items())
    # Python's readers before 3.15 refuse an inline table over several lines: both must refuse it.
    try:
        expected = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError:
        assert read_toml(Source("x.toml", text))[1]
        return
    table, findings = read_toml(Source("x.toml", text))
    assert findings == ()
    assert plain(table) == expected


@given(st.text("abc=\"[]{}.,#\n '0123:-_\\tT", max_size=60))
def test_what_pythons_reader_refuses_is_refused_and_what_it_takes_is_taken(text: str) -> None:
    table, findings = read_toml(Source("x.toml", text))
    try:
        expected = tomllib.loads(text, parse_float=Decimal)
    except ValueError:
        assert findings
    else:
        assert findings == ()
        assert plain(table) == expected


@given(documents)
def test_generated_json_reads_as_pythons_own_reader_reads_it(document: dict[str, object]) -> None:
    text = json.dumps(document, default=float, indent=1, ensure_ascii=True)
    expected = json.loads(text, parse_float=Decimal)
    table, findings = read_json(Source("x.json", text))
    assert table is not None
    assert findings == ()
    assert plain(table) == expected


@given(st.text('{}[]":,truefalsn0123.eE+- \n\\u', max_size=40))
def test_what_pythons_json_reader_refuses_is_refused(text: str) -> None:
    table, _ = read_json(Source("x.json", text))
    try:
        expected = json.loads(text, parse_float=Decimal)
    except ValueError:
        assert table is None
    else:
        assert (table is not None) == isinstance(expected, dict)


def test_json_values_know_their_place() -> None:
    table, _ = read_json(Source("x.json", '{\n  "points": {"pelvis": [0, 96, 1]}\n}'))
    assert table is not None
    assert at(table, "points", "pelvis", 1) == Site("x.json", 2, 28, 2)


def mistakes(text: str) -> list[tuple[str, int]]:
    _, findings = read_toml(Source("x.toml", text))
    return [(f.code, f.site.line if f.site else 0) for f in findings]


def test_one_run_reports_every_line_that_is_not_toml() -> None:
    text = 'a = (1, 2, 3)\nb = 30 cm\nc = [1, 2\nd = 4\n[points\ne = long\nf = "open\ng = 1\n'
    assert mistakes(text) == [("sheet-syntax", line) for line in (1, 2, 3, 5, 6, 7)]


def test_what_stands_between_mistakes_is_read() -> None:
    table, _ = read_toml(Source("x.toml", "a = (1)\nb = 2\n[points\npelvis = [0, 1, 2]\n"))
    assert plain(table.entries["b"].value) == 2
    assert plain(table.entries["points"].value) == {"pelvis": [0, 1, 2]}


def test_a_key_written_twice_is_shown_at_both_places() -> None:
    _, findings = read_toml(
        Source("x.toml", "[points]\na = 1\n\n[pairs]\na = 1\n[points]\na = 2\n")
    )
    assert [(f.code, f.site, f.related[0].site) for f in findings] == [
        ("duplicate-measure", Site("x.toml", 6, 2, 6), Site("x.toml", 1, 2, 6)),
        ("duplicate-measure", Site("x.toml", 7, 1, 1), Site("x.toml", 2, 1, 1)),
    ]


def test_a_json_key_written_twice_is_shown_at_both_places() -> None:
    _, findings = read_json(Source("x.json", '{"a": 1,\n"a": 2}'))
    assert findings[0].code == "duplicate-measure"
    assert (findings[0].site, findings[0].related[0].site) == (
        Site("x.json", 2, 1, 3),
        Site("x.json", 1, 2, 3),
    )


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "a = " + "[" * 100_000 + "]" * 100_000,
        "a = " + "{ b = " * 50_000,
        ".".join(["a"] * 100_000) + " = 1",
        "[" + ".".join(["a"] * 100_000) + "]",
        "a = { " + ".".join(["a"] * 50_000) + " = 1 }",
        "a = " + "9" * 100_000,
        'a = """' + "x" * 500_000,
        "a = " + '"\\' * 200_000 + "." * 200,
        "a = [\n" + "1,\n" * 100_000,
    ],
)
def test_toml_made_to_exhaust_a_reader_is_refused(text: str) -> None:
    assert "sheet-syntax" in {code for code, _ in mistakes(text)}


@pytest.mark.parametrize("text", ["[" * 100_000, '{"a":' * 100_000, '{"a": ' + "9" * 100_000 + "}"])
def test_json_made_to_exhaust_a_reader_is_refused(text: str) -> None:
    table, findings = read_json(Source("x.json", text))
    assert table is None
    assert findings[0].code == "sheet-syntax"


def test_half_a_character_in_json_is_refused() -> None:
    table, findings = read_json(Source("x.json", '{"because": "\\ud800"}'))
    assert table is None
    assert findings[0].site == Site("x.json", 1, 13)


def test_many_mistakes_stop_at_twenty() -> None:
    assert len(mistakes("= 1\n" * 1000)) == 20


@pytest.mark.parametrize(
    ("line", "help"),
    [
        ("girth = 30 cm", '"30 cm"'),
        ("hip = (9, 92, 0)", "square brackets"),
        ("tail = long", "quotes"),
        ("hip [1, 2, 3]", "name = value"),
        ("[points", "[points]"),
        ("hip = [1, 2, 3", "close"),
    ],
)
def test_the_commonest_mistakes_are_told_how_to_mend(line: str, help: str) -> None:
    _, findings = read_toml(Source("x.toml", line))
    assert help in str(findings[0].help)
