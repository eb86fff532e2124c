"""Source text and places in it.

What comes in is the bytes of a recipe; what goes out is clean text and, for any offset in it, a
`Site` that a person can find. Nothing here knows what the text means.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Site:
    """A run of characters in a file. Line and column count from one, columns in code points."""

    file: str
    line: int
    column: int
    length: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


Origin = tuple[Site, ...]
"""Where something was written: its own statement first, then the `use` lines that placed it."""


@dataclass(frozen=True, slots=True)
class Source:
    """A file's name as shown to people, and its text with line ends as `\\n`."""

    name: str
    text: str
    starts: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        starts = [0]
        find = self.text.find
        at = find("\n")
        while at >= 0:
            starts.append(at + 1)
            at = find("\n", at + 1)
        object.__setattr__(self, "starts", tuple(starts))

    def site(self, start: int, end: int) -> Site:
        """The site of a half-open run of offsets; a run over several lines stops at the first."""
        line = bisect_right(self.starts, start)
        first = self.starts[line - 1]
        stop = self.starts[line] - 1 if line < len(self.starts) else len(self.text)
        return Site(self.name, line, start - first + 1, max(1, min(end, stop) - start))

    def line(self, number: int) -> str:
        """The text of a line, counted from one, without its line end; empty beyond the last."""
        if not 1 <= number <= len(self.starts):
            return ""
        first = self.starts[number - 1]
        stop = self.starts[number] - 1 if number < len(self.starts) else len(self.text)
        return self.text[first:stop]


def clean(text: str) -> str:
    """Text without a byte order mark and with every line end as `\\n`."""
    text = text.removeprefix("\ufeff")
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return text
