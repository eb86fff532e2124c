"""The canonical form of recipes: blanks change, words and comments do not."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from somite.format import formatted
from somite.parse import parse
from somite.text import Source, clean

ROOT = Path(__file__).parents[2]
SHIPPED = sorted([*ROOT.glob("recipes/**/*.somite"), *ROOT.glob("tests/cases/exercises/*.somite")])


def meaning(node: object) -> object:
    """A syntax tree without its offsets."""
    if isinstance(node, tuple):
        return tuple(meaning(item) for item in node)
    if is_dataclass(node):
        return (
            type(node).__name__,
            *(
                meaning(getattr(node, field.name))
                for field in fields(node)
                if field.name not in ("start", "end", "source")
            ),
        )
    return node


def written(text: str) -> str:
    done, findings = formatted(Source("recipe.somite", text))
    assert findings == ()
    assert done is not None
    return done


def tree(text: str) -> object:
    document, findings = parse(Source("recipe.somite", text))
    assert findings == ()
    return meaning(document.statements)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_recipes_are_in_canonical_form(path: Path) -> None:
    text = clean(path.read_text(encoding="utf-8"))
    assert written(text) == text


def test_blanks_indentation_and_line_ends_become_canonical() -> None:
    text = 'recipe a\n\n\n\tabout "x"\nlet b=( 1cm,2 cm , 3cm )*- 2\ncontrol c  at b   ring 3cm#end'
    assert written(text) == (
        'recipe a\n\n  about "x"\nlet b = (1 cm, 2 cm, 3 cm) * -2\n'
        "control c at b  ring 3 cm  # end\n"
    )


def test_calls_and_numbers_in_names_are_written_tight_and_lists_apart() -> None:
    text = "let a = distance ( b [ k - 1 ] , c )\nlet d = [ a , b ]\nlet e = 4 .. 5"
    with pytest.raises(AssertionError):
        written(text)  # A range is no value.
    text = "let a = distance ( b [ k - 1 ] , c )\nlet d = [ a , b ]\n"
    text += "repeat k in 4 .. 5\n  let e = k"
    assert written(text).splitlines() == [
        "let a = distance(b[k - 1], c)",
        "let d = [a, b]",
        "repeat k in 4..5",
        "  let e = k",
    ]


def test_comments_stay_at_the_level_they_were_said_at() -> None:
    text = "# top\ncontrol a at b\n    # about the ring\n    ring 3 cm\n    # last of a\n"
    text += "# of c\njoint c at b\n"
    assert written(text) == (
        "# top\ncontrol a at b\n  # about the ring\n  ring 3 cm\n  # last of a\n"
        "# of c\njoint c at b\n"
    )


def test_lines_in_brackets_are_joined_where_they_fit_and_kept_where_a_comment_stands() -> None:
    assert written("let a = [\n  b,\n  c\n]\n") == "let a = [b, c]\n"
    kept = "let a = [b,  # the first\n    c]\n"
    assert written(kept) == kept


def test_a_broken_recipe_is_not_touched() -> None:
    done, findings = formatted(Source("recipe.somite", "control 3\n"))
    assert done is None
    assert [finding.code for finding in findings] == ["syntax"]


@st.composite
def shaken(draw: st.DrawFn) -> str:
    """A shipped recipe with its blanks, blank lines and line ends changed."""
    text = draw(st.sampled_from(SHIPPED)).read_text(encoding="utf-8")
    step = draw(st.sampled_from(["    ", " ", "\t"]))
    lines = []
    for line in text.splitlines():
        bare = line.lstrip(" ")
        level = (len(line) - len(bare)) // 2
        if bare and '"' not in bare and "#" not in bare:
            bare = bare.replace(" ", draw(st.sampled_from([" ", "   ", " \t"])))
        lines.append(step * level + bare + draw(st.sampled_from(["", "  ", "\t"])))
        lines.extend([""] * draw(st.sampled_from([0, 0, 0, 2])))
    return draw(st.sampled_from(["\n", "\r\n"])).join(lines)


@settings(max_examples=25, deadline=None)
@given(shaken())
def test_formatting_keeps_the_meaning_and_is_done_once(text: str) -> None:
    text = clean(text)
    once = written(text)
    assert tree(once) == tree(text)
    assert written(once) == once
