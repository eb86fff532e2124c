"""JSON text as located values.

What comes in is source text; what goes out is the same tree that TOML is read into, or a finding at
the first character that is not JSON. Python's own reader keeps no positions and forgets keys that
are written twice. Nothing here knows what a sheet is.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from decimal import Decimal

from somite.findings import Finding
from somite.sheet.located import (
    DEPTH,
    MISTAKES,
    SHEET_SYNTAX,
    Array,
    Entry,
    Located,
    Scalar,
    Table,
    written_twice,
)
from somite.text import Source
from somite.written import number_from, quoted

_SPACE = re.compile(r"[ \t\n]*")
_STRING = re.compile(r'"(?:[^"\\\n]|\\[^\n])*"')
_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
_WORD = re.compile(r"-?[A-Za-z]+")
_WORDS: dict[str, object] = {
    "true": True,
    "false": False,
    "null": None,
    "NaN": Decimal("NaN"),
    "Infinity": Decimal("Infinity"),
    "-Infinity": Decimal("-Infinity"),
}
"""The last three are no JSON, but programs write them; they are refused with the number's name."""

DIGITS = 400
"""The longest whole number that is read."""


def read_json(source: Source) -> tuple[Table | None, tuple[Finding, ...]]:
    """A whole JSON text whose top is an object; None where it can not be read to its end."""
    reader = _Reader(source)
    try:
        value, at = reader.value(reader.gap(0), 0)
        at = reader.gap(at)
        if at < len(source.text):
            raise _Mistake(at, "the end of the file", "keep one object in the file")
        if not isinstance(value, Table):
            raise _Mistake(0, "an object in braces", 'a sheet begins {"character": …')
    except _Mistake as mistake:
        found = quoted(source.text[mistake.at : mistake.at + 12].partition("\n")[0])
        if mistake.at >= len(source.text):
            found = "the end of the file"
        message = f"not JSON: expected {mistake.expected}, found {found}"
        site = source.site(mistake.at, mistake.at + 1)
        return None, (*reader.findings, SHEET_SYNTAX.at(site, message, help=mistake.help))
    return value, tuple(reader.findings[:MISTAKES])


class _Mistake(Exception):
    """Carries the place and wording of the first mistake up to `read_json`."""

    def __init__(self, at: int, expected: str, help: str) -> None:
        super().__init__(expected)
        self.at = at
        self.expected = expected
        self.help = help


@dataclass(slots=True)
class _Reader:
    source: Source
    findings: list[Finding] = field(default_factory=list)

    def gap(self, at: int) -> int:
        found = _SPACE.match(self.source.text, at)
        return found.end() if found else at

    def value(self, at: int, depth: int) -> tuple[Located, int]:
        """The value at an offset, and the offset after it."""
        text = self.source.text
        first = text[at : at + 1]
        if first in ("{", "[") and depth >= DEPTH:
            raise _Mistake(at, f"at most {DEPTH} levels of brackets", "write it flat")
        if first == "{":
            return self._table(at, depth)
        if first == "[":
            return self._array(at, depth)
        if first == '"':
            string, end = self._string(at)
            return Scalar(string, self.source.site(at, end)), end
        number = _NUMBER.match(text, at)
        if number is not None:
            return self._number(number)
        word = _WORD.match(text, at)
        if word is None or word.group() not in _WORDS:
            raise _Mistake(at, "a value", "write text in double quotes, and no comma at the end")
        return Scalar(_WORDS[word.group()], self.source.site(at, word.end())), word.end()

    def _number(self, found: re.Match[str]) -> tuple[Scalar, int]:
        site = self.source.site(found.start(), found.end())
        written = found.group()
        if found.group(1) or found.group(2):
            return Scalar(number_from(written), site), found.end()
        if len(written) > DIGITS:
            raise _Mistake(found.start(), "a number of sensible length", "write a shorter number")
        return Scalar(int(written), site), found.end()

    def _string(self, at: int) -> tuple[str, int]:
        found = _STRING.match(self.source.text, at)
        if found is None:
            raise _Mistake(at, "text in double quotes", "close the quotes on the same line")
        try:
            string = json.loads(found.group())
        except ValueError:
            raise _Mistake(at, "text in double quotes", "write \\\\ for a backslash") from None
        if not isinstance(string, str) or any("\ud800" <= c <= "\udfff" for c in string):
            raise _Mistake(at, "text of whole characters", "write the character itself")
        return string, found.end()

    def _array(self, at: int, depth: int) -> tuple[Array, int]:
        text = self.source.text
        items: list[Located] = []
        end = self.gap(at + 1)
        while not text.startswith("]", end) or items:
            item, end = self.value(end, depth + 1)
            items.append(item)
            end = self.gap(end)
            if text.startswith("]", end):
                break
            end = self.gap(self._sign(",", end))
        return Array(items, self.source.site(at, end + 1)), end + 1

    def _table(self, at: int, depth: int) -> tuple[Table, int]:
        text = self.source.text
        table = Table(self.source.site(at, at + 1))
        end = self.gap(at + 1)
        while not text.startswith("}", end) or table.entries:
            start = end
            key, end = self._string(start)
            site = self.source.site(start, end)
            value, end = self.value(self.gap(self._sign(":", self.gap(end))), depth + 1)
            if key in table.entries:
                self.findings.append(written_twice(key, site, table.entries[key].site))
            else:
                table.entries[key] = Entry(key, site, value)
            end = self.gap(end)
            if text.startswith("}", end):
                break
            end = self.gap(self._sign(",", end))
        return table, end + 1

    def _sign(self, sign: str, at: int) -> int:
        if not self.source.text.startswith(sign, at):
            raise _Mistake(at, f'"{sign}"', "check the commas, colons and brackets just before")
        return at + 1
