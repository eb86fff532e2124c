"""An outline of reviews as Markdown for the comment of a code review.

In comes an `Outline`, out goes CommonMark with `<details>` for what folds. Whatever a recipe or a
path says is escaped, so that it is shown as it is written. Nothing here knows rigs or what a change
is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from html import escape

from somite.report.human import shown
from somite.report.review_changes import Line, Section
from somite.report.review_outline import Outline, Question, only_text
from somite.report.review_sentences import (
    count_text,
    counted_effects,
    effect_text,
    elsewhere_text,
    of_text,
    place_text,
    pose_text,
    told_effects,
)

MOST_LINES = 30
"""Lines of one part that a comment lists; more are counted."""
MOST_REASONS = 8
"""Reasons of one answer that a comment lists; more are counted."""

_MARKS = re.compile(r"[\\`*_{}\[\]<>#|~$]|&(?=[#A-Za-z])")
_LIST = re.compile(r"(\d*)[-+.)=]")
"""What would make a list item or a heading's line of the text that it begins."""


def review_markdown(
    made: Outline,
    old: str,
    new: str,
    *,
    only_old: Sequence[str] = (),
    only_new: Sequence[str] = (),
) -> str:
    """The review of what was called `old` and `new`, ended by a line end."""
    blocks = [
        f"### {_summary(made)}",
        f"{code(old)} → {code(new)}"
        + (f", {plain(of_text(made.characters))}" * bool(made.characters)),
    ]
    blocks += [
        f"Only {side}: {plain(', '.join(names))}"
        for side, names in (("before", only_old), ("now", only_new))
        if names
    ]
    if made.characters:
        blocks.append("\n".join(_answers(made.questions, len(made.characters))))
    blocks += [_folded(section, len(made.characters)) for section in made.sections]
    if made.effects:
        blocks += [f"#### {plain(elsewhere_text(made))}", "\n".join(_effects(made))]
    return "\n\n".join(blocks) + "\n"


def _summary(made: Outline) -> str:
    """All in one line: how much changed, and the answers."""
    told = [
        f"{plain(one.name)} **{one.answer}**"
        for one in made.questions
        if one.name in ("channels", "picture", "skin")
    ]
    return ": ".join([one for one in (count_text(made).capitalize(), ", ".join(told)) if one])


def _answers(questions: Iterable[Question], characters: int) -> Iterator[str]:
    for one in questions:
        reasons = [*one.reasons[:MOST_REASONS]]
        if len(one.reasons) > MOST_REASONS:
            reasons.append(f"and {len(one.reasons) - MOST_REASONS} more reasons")
        where = f" ({plain(only_text(one.characters, characters))})" if one.characters else ""
        yield f"- **{plain(one.name)}: {one.answer}**{where}"
        yield from (f"  - {plain(reason)}" for reason in reasons)


def _folded(section: Section, characters: int) -> str:
    """The changes of one part, folded."""
    count = len(section.lines)
    head = f"{escape(shown(section.part))}: {count} line{'s' if count != 1 else ''}"
    lines = [_line(one, characters) for one in section.lines[:MOST_LINES]]
    if count > MOST_LINES:
        lines.append(f"- and {count - MOST_LINES} more")
    listed = "\n".join(lines)
    return f"<details>\n<summary>{head}</summary>\n\n{listed}\n\n</details>"


def _line(line: Line, characters: int) -> str:
    text = f"{line.subject} {line.text}".strip()
    if line.characters and characters > 1:
        text += f" [{only_text(line.characters, characters)}]"
    place = place_text(line.new, line.old)
    return f"- {plain(text)}" + (f" ({code(place)})" if place else "")


def _effects(made: Outline) -> Iterator[str]:
    told = told_effects(made)
    for number, one in enumerate(told, 1):
        lead = f"{number}. "
        yield f"{lead}{plain(effect_text(one, len(made.characters)))}"
        margin = " " * len(lead)
        if one.command:
            fence = _fence(one.command)
            yield from (
                "",
                f"{margin}{fence}sh",
                f"{margin}{shown(one.command)}",
                margin + fence,
                "",
            )
        elif one.pose:
            yield f"{margin}{plain(pose_text(one))}"
    left = counted_effects(made, told)
    if left:
        yield from ("", f"And {plain(left)}.")


def plain(text: str) -> str:
    """Text that is shown as it is: on one line, nothing in it marks anything up."""
    held = _MARKS.sub(lambda found: "&amp;" if found[0] == "&" else "\\" + found[0], shown(text))
    lead = _LIST.match(held)
    return held if lead is None else f"{lead[1]}\\{held[len(lead[1]) :]}"


def code(text: str) -> str:
    """Text as code, whatever it holds."""
    held = shown(text)
    tick = "`" * (_longest(held) + 1)
    pad = " " if held[:1] in ("`", " ") or held[-1:] in ("`", " ") or not held else ""
    return f"{tick}{pad}{held}{pad}{tick}"


def _fence(text: str) -> str:
    return "`" * max(3, _longest(text) + 1)


def _longest(text: str) -> int:
    """The most backticks in a row."""
    return max([len(run) for run in re.findall("`+", text)], default=0)
