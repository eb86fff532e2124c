"""Findings as a person reads them."""

from __future__ import annotations

import re
from unicodedata import east_asian_width

from hypothesis import given
from hypothesis import strategies as st

from somite.findings import Code, Finding, Severity
from somite.report import lines_of
from somite.report.human import closing, count_line, fitted, human_text, shown
from somite.text import Site, Source

UNKNOWN = Code("unknown-joint")
UNUSED = Code("unused-point", Severity.WARNING)

HERON = Source(
    "recipes/heron.somite",
    "recipe heron\nchain back along path\n\njoint bag at hip\n  follow back.9   # the mail bag\n",
)
LOST = UNKNOWN.at(
    Site("recipes/heron.somite", 5, 10, 6),
    'expected a joint of "back", found "back.9"',
    help="its joints are back.1 to back.7",
    related=[(Site("recipes/heron.somite", 2, 7, 4), "chain declared here")],
)


def text_of(*findings: Finding, source: Source = HERON, coloured: bool = False) -> str:
    return human_text(findings, lines_of({source.name: source}), coloured=coloured)


def width_of(text: str) -> int:
    """Columns of text without control characters or marks, by the standard's wide classes."""
    return sum(2 if east_asian_width(char) in "WF" else 1 for char in text)


def test_a_finding_reads_from_its_place_over_its_line_to_its_help() -> None:
    assert text_of(LOST) == (
        'recipes/heron.somite:5:10: error[unknown-joint]: expected a joint of "back",'
        ' found "back.9"\n'
        "  5 |   follow back.9   # the mail bag\n"
        "    |          ^^^^^^\n"
        "  recipes/heron.somite:2:7: chain declared here\n"
        "  2 | chain back along path\n"
        "    |       ^^^^\n"
        "  help: its joints are back.1 to back.7\n"
        "\n"
    )


def test_a_finding_without_a_place_is_one_line() -> None:
    assert text_of(UNKNOWN.at(None, "expected a file")) == (
        "error[unknown-joint]: expected a file\n\n"
    )


def test_a_file_whose_text_is_not_known_gives_no_excerpt() -> None:
    finding = UNKNOWN.at(Site("other.somite", 3, 1), "expected a joint")
    assert text_of(finding) == "other.somite:3:1: error[unknown-joint]: expected a joint\n\n"


def test_tabs_keep_the_carets_in_place() -> None:
    source = Source("a.somite", "\tfollow\tback.9")
    rows = text_of(UNKNOWN.at(Site("a.somite", 1, 9, 6), "x"), source=source).splitlines()
    assert rows[1].index("back.9") == rows[2].index("^")
    assert rows[2].count("^") == len("back.9")
    assert "\t" not in rows[1]


def test_wide_characters_keep_the_carets_in_place() -> None:
    line = "joint 屋台 at hip"
    source = Source("a.somite", line)
    site = Site("a.somite", 1, line.index("hip") + 1, 3)
    rows = text_of(UNKNOWN.at(site, "x"), source=source).splitlines()
    before_hip = width_of(rows[1][: rows[1].index("hip")])
    assert rows[2].index("^") == before_hip


def test_carets_under_wide_characters_are_as_wide() -> None:
    rows = text_of(
        UNKNOWN.at(Site("a.somite", 1, 7, 2), "x"), source=Source("a.somite", "joint 屋台 at hip")
    ).splitlines()
    assert rows[2].count("^") == 4


def test_combining_marks_take_no_column() -> None:
    line = "# cafe\u0301 hip"
    source = Source("a.somite", line)
    site = Site("a.somite", 1, line.index("hip") + 1, 3)
    rows = text_of(UNKNOWN.at(site, "x"), source=source).splitlines()
    assert rows[2].index("^") == len("  1 | # cafe ")


def test_a_place_beyond_the_line_is_marked_after_its_end() -> None:
    source = Source("a.somite", "joint")
    rows = text_of(UNKNOWN.at(Site("a.somite", 1, 6), "x"), source=source).splitlines()
    assert rows[1:3] == ["  1 | joint", "    |      ^"]


def test_a_long_line_is_cut_around_the_carets() -> None:
    line = "let a = " + " + ".join(f"place{number}" for number in range(1000))
    source = Source("a.somite", line)
    column = line.index("place500 ") + 1
    rows = text_of(UNKNOWN.at(Site("a.somite", 1, column, 8), "x"), source=source).splitlines()
    assert len(rows[1]) <= 100
    start = rows[2].index("^")
    assert rows[1][start : start + rows[2].count("^")] == "place500"
    assert rows[1].endswith("...") and rows[1][6:9] == "..."


@given(
    line=st.text(st.characters(codec="utf-8", exclude_characters="\n"), max_size=400),
    data=st.data(),
)
def test_carets_begin_under_the_character_they_mean(line: str, data: st.DataObject) -> None:
    column = data.draw(st.integers(1, len(line) + 1))
    length = data.draw(st.integers(1, 500))
    text, indent, carets = fitted(line, column, length, 60)
    assert carets >= 1
    assert indent + carets <= 61
    meant = shown(line[column - 1 : column])
    if meant and line[column - 1] != "\t":
        # The characters before the carets fill exactly the columns before the carets.
        ends = [width_columns(text[:end]) for end in range(len(text) + 1)]
        starts = [end for end, columns in enumerate(ends) if columns == indent]
        assert any(text[start:].startswith(meant) for start in starts)


def width_columns(text: str) -> int:
    from unicodedata import category

    return sum(
        0 if category(char) in ("Mn", "Me", "Cf") else 2 if east_asian_width(char) in "WF" else 1
        for char in text
    )


@given(st.text(st.characters(codec="utf-8"), max_size=60))
def test_nothing_in_a_file_steers_the_terminal(line: str) -> None:
    hostile = f"\x1b]0;title\x07\x9b2J\u202e{line}"
    source = Source("a.somite", hostile.replace("\n", " "))
    finding = UNKNOWN.at(Site("a.somite", 1, 3), hostile, help=hostile)
    text = text_of(finding, source=source)
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text)


def test_the_count_names_what_there_is() -> None:
    warning = UNUSED.at(None, "x")
    assert count_line([LOST, warning, LOST]) == "2 errors, 1 warning"
    assert count_line([]) == ""
    assert closing([warning]) == "1 warning\n"


def test_colours_change_no_character() -> None:
    coloured = text_of(LOST, coloured=True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == text_of(LOST)
