"""An outline of reviews as text for a terminal and a pull request: no colour, no wide lines.

In comes an `Outline`, out goes text. Nothing here knows rigs or what a change is.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from textwrap import wrap

from somite.report.human import shown
from somite.report.review_changes import Line
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

WIDTH = 100
"""Columns of a line."""


def review_text(
    made: Outline,
    old: str,
    new: str,
    *,
    only_old: Sequence[str] = (),
    only_new: Sequence[str] = (),
) -> str:
    """The report of an outline of what was called `old` and `new`."""
    blocks = [_head(made, old, new, only_old, only_new)]
    if made.sections:
        blocks.append("\n".join(_lines_of_sections(made)))
    if made.characters:
        blocks.append("\n".join(_questions(made.questions, len(made.characters))))
    if made.effects:
        blocks.append("\n".join(_effects(made)))
    return "\n\n".join(blocks) + "\n"


def _head(
    made: Outline, old: str, new: str, only_old: Sequence[str], only_new: Sequence[str]
) -> str:
    lines = [f"{shown(old)} -> {shown(new)}", *_wrapped(of_text(made.characters), 0)]
    lines += [
        f"only {side}: {', '.join(names)}"
        for side, names in (("before", only_old), ("now", only_new))
        if names
    ]
    lines.append(count_text(made))
    return "\n".join([line for line in lines if line])


def _lines_of_sections(made: Outline) -> Iterator[str]:
    for number, section in enumerate(made.sections):
        if number:
            yield ""
        yield section.part
        for line in section.lines:
            yield from _line(line, len(made.characters))


def _line(line: Line, characters: int) -> Iterator[str]:
    text = f"{line.subject} {line.text}".strip() if line.subject else line.text
    if line.characters and characters > 1:
        text += f" [{only_text(line.characters, characters)}]"
    place = shown(place_text(line.new, line.old))
    if place and len(text) + len(place) + 6 <= WIDTH:
        yield f"  {shown(text)}  ({place})"
        return
    yield from _wrapped(text, 2)
    if place:
        yield f"      ({place})"


def _wrapped(text: str, indent: int, first: str = "") -> Iterator[str]:
    room = WIDTH - indent - 2
    for number, piece in enumerate(wrap(shown(text), room, break_long_words=False) or [""]):
        yield " " * (indent if number == 0 else indent + 2) + (first if number == 0 else "") + piece


def _questions(questions: Iterable[Question], characters: int) -> Iterator[str]:
    yield "what it does to clips and to the skin"
    held = list(questions)
    wide = max(len(one.name) for one in held)
    for one in held:
        head = f"  {one.name:<{wide}}  {one.answer:<7}  "
        reasons = list(one.reasons) or [""]
        if one.characters:
            reasons[0] = f"[{only_text(one.characters, characters)}] {reasons[0]}"
        for number, reason in enumerate(reasons):
            pieces = wrap(shown(reason), WIDTH - len(head), break_long_words=False) or [""]
            for part, piece in enumerate(pieces):
                lead = head if number == 0 and part == 0 else " " * len(head)
                yield f"{lead}{'  ' if part else ''}{piece}".rstrip()


def _effects(made: Outline) -> Iterator[str]:
    yield elsewhere_text(made)
    told = told_effects(made)
    for one in told:
        yield from _wrapped(effect_text(one, len(made.characters)), 2)
        if one.command:
            yield f"      {one.command}"
        elif one.pose:
            yield from _wrapped(pose_text(one), 6)
    left = counted_effects(made, told)
    if left:
        yield f"  and {left}"
