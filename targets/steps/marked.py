"""Marked texts, in which names stand between marks, as Markdown, HTML and wrapped plain text.

What comes in is a text or table of a page; what goes out is how it stands in one kind of file.
These are the filters of the templates; nothing here knows what the texts say.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import zip_longest
from typing import Any

from markupsafe import Markup

from somite.targets.steps.phrases import CLOSE, OPEN

Data = dict[str, Any]

WIDTH = 88
"""Columns of the plain text."""

_MARKDOWN = re.compile(r"[\\`*_{}\[\]<>#|~]|&(?=[#A-Za-z])")
_PLACE = re.compile(r"\(-?[0-9.]+, -?[0-9.]+, -?[0-9.]+\)")


@lru_cache(maxsize=4096)
def as_markdown(text: str) -> str:
    """A marked text as Markdown: names as code, everything else as it stands, on one line."""
    pieces = str(text).replace(CLOSE, OPEN).split(OPEN)
    for index, piece in enumerate(pieces):
        if index % 2:
            pieces[index] = f"`{piece.replace('`', '')}`"
        elif _MARKDOWN.search(piece):
            pieces[index] = _MARKDOWN.sub(_escaped, piece)
    return "".join(pieces)


def _escaped(found: re.Match[str]) -> str:
    return "&amp;" if found[0] == "&" else "\\" + found[0]


@lru_cache(maxsize=4096)
def as_html(text: str) -> Markup:
    """A marked text as HTML: escaped, names as code, three numbers kept on one line."""
    escaped = str(Markup.escape(text))
    if "(" in escaped:
        escaped = _PLACE.sub(r'<span class="whole">\g<0></span>', escaped)
    return Markup(escaped.replace(OPEN, "<code>").replace(CLOSE, "</code>"))


def as_attribute(text: str) -> Markup:
    """A marked text as the value of an HTML attribute: escaped, without its marks."""
    return Markup.escape(as_plain(text))


def as_text(text: str, indent: int = 0, first: str = "", lead: str = "") -> str:
    """A marked text as plain lines of at most 88 columns, names in quotes.

    `first` stands before the first line, within its indent, and `lead` before the text itself; a
    word longer than a line is not cut.
    """
    plain = (lead + str(text)).replace(OPEN, '"').replace(CLOSE, '"')
    room = WIDTH - min(indent, WIDTH // 2)
    if len(plain) <= room:
        return first.ljust(indent) + plain
    lines = as_wrapped(plain, room)
    margin = " " * indent
    return "\n".join(
        (first.ljust(indent) if index == 0 else margin) + line for index, line in enumerate(lines)
    )


def as_fact(value: str, label: str, margin: int, indent: int) -> str:
    """A labelled value as plain lines: the label at the margin, the value at the indent."""
    return as_text(value, indent, f"{' ' * margin}{label}: ")


def as_rows(table: Data, indent: int = 0) -> str:
    """A table as plain lines: columns as wide as their widest cell, numbers flush right.

    Where that would run over the line, the widest columns of words are narrowed, and wrapped.
    """
    head = [column["label"] for column in table["columns"]]
    cells = [[as_plain(cell) for cell in row] for row in table["rows"]]
    flags = [bool(column["numeric"]) for column in table["columns"]]
    widths = [max(map(len, column)) for column in zip(head, *cells, strict=True)]
    least = [
        max(len(word) for word in (*column[0].split(" "), *_unbroken(column[1:], flag)))
        for flag, column in zip(flags, zip(head, *cells, strict=True), strict=True)
    ]
    _narrow(widths, least, WIDTH - indent - 2 * (len(widths) - 1))
    lines: list[str] = []
    for row in (head, ["-" * width for width in widths], *cells):
        columns = [as_wrapped(cell, width) for cell, width in zip(row, widths, strict=True)]
        for parts in zip_longest(*columns, fillvalue=""):
            set_out = (
                part.rjust(width) if flag else part.ljust(width)
                for part, width, flag in zip(parts, widths, flags, strict=True)
            )
            lines.append((" " * indent + "  ".join(set_out)).rstrip())
    return "\n".join(lines)


def _unbroken(cells: Sequence[str], is_numeric: bool) -> Iterator[str]:
    """What must stay on one line: words, but of numbers the whole, with their units."""
    for cell in cells:
        yield from (cell,) if is_numeric else cell.split(" ")


def _narrow(widths: list[int], least: list[int], room: int) -> None:
    """Narrows the widest columns that can give, until all columns have room or none can."""
    while sum(widths) > room:
        able = [index for index, width in enumerate(widths) if width > least[index]]
        if not able:
            return
        widths[max(able, key=lambda index: widths[index])] -= 1


def as_wrapped(plain: str, room: int) -> list[str]:
    """Words on lines of so many columns; a word that is longer is not cut."""
    if len(plain) <= room:
        return [plain]
    lines: list[str] = []
    line = ""
    for word in plain.split(" "):
        if line and len(line) + 1 + len(word) > room:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}" if line else word
    return [*lines, line]


def as_plain(text: str) -> str:
    """A marked text without its marks."""
    return str(text).replace(OPEN, "").replace(CLOSE, "")


def underlined(text: str, mark: str = "-") -> str:
    """A heading with a line under it."""
    plain = as_plain(text)
    return f"{plain}\n{mark[:1] * min(len(plain), WIDTH)}"


FILTERS = (
    ("as_attribute", as_attribute),
    ("as_fact", as_fact),
    ("as_html", as_html),
    ("as_markdown", as_markdown),
    ("as_plain", as_plain),
    ("as_rows", as_rows),
    ("as_text", as_text),
    ("underlined", underlined),
)
"""What templates of the steps can do with marked texts."""
