"""A blank sheet: every line that a recipe asks for, ready to be filled.

What comes in is a recipe's requests; what goes out is a sheet whose entries are blanks, each with
what is meant, what may be written and who uses it. Nothing here measures anything.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from somite.assistant.asked import Asked, Questions
from somite.assistant.sheet_text import Entry, SheetText
from somite.findings import listed
from somite.sheet import Request
from somite.sheet.record import SECTIONS, SectionName
from somite.sheet.values import one_line

SECTION_OF: dict[str, SectionName] = {"point": "points", "pair": "pairs", "row": "rows"}
"""Where a request of each kind of position is answered; every other is a measure."""

RIG = "rig"
"""The kind of a request for another character's sheet, whose rig stands on this one."""

MOST_SHOWN = 12
"""The most positions that a blank row shows."""

_LITERAL = re.compile(r"-?[0-9]+(\.[0-9]+)?[ \t]*([a-z]+|%)?")


def blank(questions: Questions, character: str) -> SheetText:
    """A sheet in the recipe's own unit and axes that asks for everything and answers nothing."""
    head = questions.head
    comments = (
        f"A sheet for the recipe {head.name}, revision {head.revision}"
        + (f": {one_line(head.about)}" if head.about else ""),
        "Made by: somite sheet. Take the sign # from the line of what you measured, and write the"
        " number in the place of each word. What has a default may be left as it is.",
        "The unit and the axes are those of the measuring: change them to your own.",
        *pair_note(questions),
        "",
    )
    return SheetText(
        character=character,
        about="",
        unit=head.unit,
        up=head.up,
        front=head.front,
        comments=comments,
        entries=in_sections((asked, blank_entry(asked)) for asked in questions.asked),
        rigs=blank_rigs(questions),
    )


def pair_note(questions: Questions) -> tuple[str, ...]:
    """How pairs are written, where any is asked for."""
    if not any(asked.request.kind == "pair" for asked in questions.asked):
        return ()
    return (
        "A pair is the character's own left side, and the right its mirror image; where the two"
        " differ, write { left = [x, y, z], right = [x, y, z] }.",
    )


def in_sections(
    entries: Iterable[tuple[Asked, Entry]],
) -> dict[SectionName, tuple[Entry, ...]]:
    """Entries by the section that they stand in, in the order asked."""
    found: dict[SectionName, list[Entry]] = {section: [] for section in SECTIONS}
    for asked, entry in entries:
        if asked.request.kind == RIG:
            continue
        found[SECTION_OF.get(asked.request.kind, "measures")].append(entry)
    return {section: tuple(listed_here) for section, listed_here in found.items()}


def blank_rigs(questions: Questions) -> tuple[Entry, ...]:
    """The lines for the sheets of other rigs that stand on this one."""
    return tuple(blank_entry(asked) for asked in questions.asked if asked.request.kind == RIG)


def blank_entry(asked: Asked, more: tuple[str, ...] = ()) -> Entry:
    """The line to be filled for a request, with more comments after its own."""
    request = asked.request
    return Entry(request.name, None, _form(asked), (*described(asked), *more))


def described(asked: Asked) -> tuple[str, ...]:
    """What a request means, what may answer it, and who uses it, each a comment."""
    return tuple(_described(asked))


def _described(asked: Asked) -> Iterator[str]:
    request = asked.request
    what = _kind(request)
    about = one_line(request.about or "")
    if request.options:
        what += f": {listed(request.options, most=40)}"
    elif asked.range is not None and not _is_row(request):
        what += f", {_spoken(asked.range)}"
    elif asked.range is not None:
        what += f", {_spoken(asked.range)} positions"
    default = "needed" if asked.default is None else f"if left out: {asked.default}"
    yield f"{request.name}" + (f": {about}" if about else "") + f" ({what}; {default})"
    if asked.uses:
        yield f"used by: {'; '.join(asked.uses)}"


def _spoken(written: str) -> str:
    return re.sub(r"\s*\.\.\s*", " to ", written)


def _is_row(request: Request) -> bool:
    return request.kind == "row" or (request.kind == "pair" and request.low is not None)


def _kind(request: Request) -> str:
    if request.kind == "pair":
        return "a row of pairs" if _is_row(request) else "a pair"
    names = {"count": "a whole number", "angle": "an angle", "number": "a plain number"}
    if request.kind == RIG:
        return "the file of the sheet of another rig"
    return names.get(request.kind, f"a {request.kind}")


def _form(asked: Asked) -> str:
    """What to write, in words; a default that is a plain value, as it is."""
    request = asked.request
    if _is_row(request):
        least = int(request.low) if request.low is not None else 2
        return "[" + ", ".join(["[x, y, z]"] * max(1, min(least, MOST_SHOWN))) + "]"
    if request.kind in ("point", "pair"):
        return "[x, y, z]"
    if request.kind == RIG:
        return '"FILE.toml"'
    if request.kind == "choice":
        default = (asked.default or "").strip('"')
        return f'"{default if default in request.options else request.options[0]}"'
    default = asked.default or ""
    if _LITERAL.fullmatch(default) and not default.startswith("-"):
        number = default.removesuffix("%").strip()
        return (
            number if number.replace(".", "").isdigit() and "%" not in default else f'"{default}"'
        )
    return '"number deg"' if request.kind == "angle" else "number"
