"""Reviews as one page of HTML that needs nothing else: no network, and no scripts to be read.

In come an outline of the whole and, for each character, its own outline and its drawings; out goes
the page's text. Whatever a recipe or a path says is escaped by the template engine. Nothing here
knows rigs or what a change is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from somite.drawing.picture import SHIFT_STYLE, STYLE
from somite.report.human import shown
from somite.report.review_outline import Effect, Outline, Question, only_text, percent
from somite.report.review_pictures import Motion, Rest
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

if TYPE_CHECKING:
    from jinja2 import Environment

MOST_EFFECTS = 12
"""Controls that a page tells with what they now do."""
MOST_LINES = 200
"""Lines of one part that a page lists; more are counted."""
OPEN_LINES = 30
"""Parts stand open at first where they have no more lines than this together."""

_WIDTH = re.compile(r'<svg [^>]*?\bwidth="([0-9.]+)"')

_ASKED = {
    "channels": "Is every clip of the old rig a clip of the new one? Decided from the two rigs, for"
    " every clip that could exist.",
    "picture": "Do joints come to the same places? Measured over poses, and no proof for others.",
    "skin": "Can what is bound stay bound?",
}


@dataclass(frozen=True, slots=True)
class Character:
    """One character's review as a page shows it; what was not drawn is None.

    `motion_of` says what the pictures of a motion show, and `left_out` why there are none.
    """

    name: str
    outline: Outline
    rest: Rest | None = None
    motion: Motion | None = None
    motion_of: str = ""
    command: str | None = None
    left_out: str = ""


def review_page(
    made: Outline,
    characters: Sequence[Character],
    old: str,
    new: str,
    *,
    only_old: Sequence[str] = (),
    only_new: Sequence[str] = (),
) -> str:
    """The page of a review of what was called `old` and `new`."""
    told = told_effects(made, MOST_EFFECTS)
    lines = sum(len(section.lines) for section in made.sections)
    return (
        _environment()
        .get_template("review.html.j2")
        .render(
            old=shown(old),
            new=shown(new),
            summary=count_text(made),
            of=shown(of_text(made.characters)),
            only=[
                (side, shown(", ".join(names)))
                for side, names in (("before", only_old), ("now", only_new))
                if names
            ],
            answers=[_answer(one, len(made.characters)) for one in made.questions],
            sections=list(_sections(made)),
            opened=lines <= OPEN_LINES,
            elsewhere=elsewhere_text(made) if made.effects else "",
            effects=[_effect(one, len(made.characters)) for one in told],
            more_effects=counted_effects(made, told),
            posed=made.posed,
            characters=[_character(k, one) for k, one in enumerate(characters, 1)],
            drawing_style=_scoped(f"{STYLE}\n{SHIFT_STYLE}"),
        )
    )


@cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        loader=PackageLoader("somite.report", "templates"),
    )


def _answer(one: Question, of: int) -> dict[str, Any]:
    return {
        "name": shown(one.name),
        "answer": one.answer,
        "asked": _ASKED.get(one.name, "Does this clip still mean the same?"),
        "reasons": [shown(reason) for reason in one.reasons],
        "only": shown(only_text(one.characters, of)) if one.characters else "",
    }


def _sections(made: Outline) -> Iterator[dict[str, Any]]:
    for section in made.sections:
        lines = []
        for one in section.lines[:MOST_LINES]:
            of = len(made.characters)
            only = only_text(one.characters, of) if one.characters and of > 1 else ""
            lines.append(
                {
                    "subject": shown(one.subject),
                    "text": shown(one.text),
                    "only": shown(only),
                    "place": shown(place_text(one.new, one.old)),
                }
            )
        yield {
            "part": shown(section.part),
            "count": len(section.lines),
            "lines": lines,
            "more": len(section.lines) - len(lines),
        }


def _effect(one: Effect, of: int) -> dict[str, str]:
    return {
        "text": shown(effect_text(one, of)),
        "command": shown(one.command or ""),
        "pose": shown(pose_text(one)) if one.command is None else "",
    }


def _character(number: int, one: Character) -> dict[str, Any]:
    answers = {asked.name: asked.answer for asked in one.outline.questions}
    worst = one.outline.effects[0] if one.outline.effects else None
    told = told_effects(one.outline)
    return {
        "id": f"character-{number}",
        "name": shown(one.name),
        "count": one.outline.changes,
        "answers": [answers.get(name, "not asked") for name in ("channels", "picture", "skin")],
        "worst": percent(worst.share) if worst is not None else "none",
        "questions": [_answer(asked, 1) for asked in one.outline.questions],
        "effects": [_effect(effect, 1) for effect in told],
        "more_effects": counted_effects(one.outline, told),
        "rest": one.rest,
        "rest_wide": _wide(one.rest.svg) if one.rest is not None else 0,
        "motion": one.motion,
        "motion_wide": _wide(one.motion.frames[0]) if one.motion is not None else 0,
        "motion_of": shown(one.motion_of),
        "command": shown(one.command or ""),
        "left_out": shown(one.left_out),
    }


def _wide(svg: str) -> int:
    """How many pixels a drawing is wide: where there is less room, it shrinks, but not too far."""
    found = _WIDTH.match(svg)
    return round(float(found[1])) if found is not None else 0


def _scoped(style: str) -> str:
    """The rules of drawings, for drawings in this page only."""
    return "\n".join([f".drawing {rule}" for rule in style.splitlines()])
