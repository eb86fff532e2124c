"""A recipe means the same however its text is laid out, and texts without bound are refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from somite import pipeline, project
from somite.findings import Finding
from somite.parse import parse
from somite.text import Source, clean

SHEET = 'character = "lumen"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
RECIPE = """recipe stall
  units cm

control master at ground
  ring 30 cm
  carries all
repeat k in 1..2
  when k is 2
    joint bead[k] at (0, k * 10 cm, 0) under master
      follow master for move, turn
"""


def nodes(text: str) -> list[tuple[str, str | None, tuple[float, float, float]]]:
    """The names, parents and places of a recipe that is sound."""
    made = pipeline.compile_text(text, SHEET)
    assert made.findings == () and made.rig is not None
    return [(node.name, node.parent, node.rest.place) for node in made.rig.nodes]


def parsed(text: str) -> tuple[Finding, ...]:
    return parse(Source("stall.somite", clean(text)))[1]


EXPECTED = nodes(RECIPE)


def test_the_plain_text_makes_the_rig_that_the_others_are_held_to() -> None:
    assert EXPECTED == [("bead.2", "master", (0.0, 0.2, 0.0)), ("master", None, (0.0, 0.0, 0.0))]


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(RECIPE.replace("\n", "\r\n"), id="CRLF"),
        pytest.param(RECIPE.replace("\n", "\r"), id="CR"),
        pytest.param("\ufeff" + RECIPE, id="a byte order mark"),
        pytest.param(RECIPE.replace("\n", "   \t\n"), id="trailing blanks"),
        pytest.param(RECIPE.rstrip("\n"), id="no final newline"),
        pytest.param(RECIPE.rstrip("\n") + "  # the end", id="a comment without a newline"),
        pytest.param(RECIPE + "\n\n   \n", id="blank lines at the end"),
        pytest.param("\n \n# çà et là: 夜市\n" + RECIPE, id="a comment in other letters"),
        pytest.param(RECIPE.replace("\n\n", "\n\f\n"), id="a form feed between lines"),
        pytest.param(RECIPE.replace(" at ", "\f at \t "), id="blanks of every kind"),
        pytest.param(RECIPE.replace("  ", "\t"), id="tabs for steps"),
        pytest.param(RECIPE.replace("  ", "       "), id="wide steps"),
        pytest.param(RECIPE.replace("    joint", "\tjoint"), id="a tab as four blanks"),
    ],
)
def test_a_layout_changes_nothing(text: str) -> None:
    assert nodes(text) == EXPECTED


def test_a_file_s_bytes_are_read_with_their_mark_and_line_ends(tmp_path: Path) -> None:
    path = tmp_path / "stall.somite"
    path.write_bytes(b"\xef\xbb\xbf" + RECIPE.replace("\n", "\r\n").encode())
    source, findings = project.read_source(path, "stall.somite")
    assert findings == () and source is not None
    assert source.text == RECIPE


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(["", "   ", "# a note", "      # a note, deeper"]), max_size=12))
def test_comments_and_blank_lines_change_nothing_but_lines(between: list[str]) -> None:
    lines: list[str] = []
    for number, line in enumerate(RECIPE.split("\n")):
        lines.append(line)
        lines.extend(between[number : number + 1])
    assert nodes("\n".join(lines)) == EXPECTED


def test_a_comment_moves_origins_by_its_line_and_nothing_else() -> None:
    plain = pipeline.compile_text(RECIPE, SHEET).rig
    moved = pipeline.compile_text("# a note\n" + RECIPE, SHEET).rig
    assert plain is not None and moved is not None
    for before, after in zip(plain.nodes, moved.nodes, strict=True):
        assert after.origin[0].line == before.origin[0].line + 1
        assert replace(after, origin=()) == replace(before, origin=())


# ---- mistakes ------------------------------------------------------------------------------------


def test_a_mistake_has_its_line_and_column_whatever_the_line_ends_and_mark() -> None:
    text = "\ufeffrecipe stall\r\n\r\ncontrol master at ground\r\n  ring 3 cm;\r\n"
    (finding,) = parsed(text)
    assert finding.site is not None
    assert (finding.site.line, finding.site.column) == (4, 12)


def test_columns_count_characters_and_not_bytes() -> None:
    (finding,) = parsed('recipe stall\n  about "夜市" ;\n')
    assert finding.site is not None
    assert finding.site.column == 14


def test_a_line_of_too_many_brackets_is_refused() -> None:
    depth = 70
    findings = parsed("recipe stall\nlet a = " + "(" * depth + "3" + ")" * depth + "\n")
    assert [finding.code for finding in findings] == ["line-too-long"]


def test_blocks_within_blocks_without_end_are_refused() -> None:
    text = "recipe stall\n" + "".join(f"{' ' * k}when 1 is 1\n" for k in range(70))
    assert "too-deep" in [finding.code for finding in parsed(text)]


def test_a_file_that_is_nothing_but_mistakes_is_given_up_on() -> None:
    findings = parsed("recipe stall\n" + "???\n" * 300)
    assert findings[-1].code == "too-many-mistakes"
    assert len(findings) == 201
