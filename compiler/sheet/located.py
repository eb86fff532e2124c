"""Values that know where they were written: what TOML and JSON are read into.

A tree of tables, arrays and scalars with a site for each key and each value, and the finding for a
key that is written twice. Nothing here reads text, or knows what a sheet is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from somite.findings import Code, Finding
from somite.text import Site
from somite.written import quoted

SHEET_SYNTAX = Code("sheet-syntax")
DUPLICATE_MEASURE = Code("duplicate-measure")

DEPTH = 16
"""The deepest nesting of arrays, tables and dotted keys that is read."""

MISTAKES = 20
"""The most mistakes of syntax that one file's findings name."""


@dataclass(frozen=True, slots=True)
class Scalar:
    """A string, truth value, whole number or Decimal; JSON's null is None, a TOML date a date.

    `refused` marks what could not be read: its finding has been made already.
    """

    value: object
    site: Site
    refused: bool = False


@dataclass(slots=True)
class Array:
    """Values in order. It is built up while reading, and not changed afterwards."""

    items: list[Located]
    site: Site


@dataclass(frozen=True, slots=True)
class Entry:
    """A key of a table, where it was written, and its value."""

    key: str
    site: Site
    value: Located


@dataclass(slots=True)
class Table:
    """Entries by key, in the order written. Built up while reading, not changed afterwards."""

    site: Site
    entries: dict[str, Entry] = field(default_factory=dict)

    def __iter__(self) -> Iterator[Entry]:
        return iter(self.entries.values())

    def get(self, key: str) -> Located | None:
        """The value of a key, or None."""
        entry = self.entries.get(key)
        return None if entry is None else entry.value


Located = Scalar | Array | Table


def plain(value: Located) -> object:
    """The same value without places: dictionaries, lists and scalars."""
    if isinstance(value, Table):
        return {entry.key: plain(entry.value) for entry in value}
    if isinstance(value, Array):
        return [plain(item) for item in value.items]
    return value.value


def written_twice(key: str, again: Site, first: Site) -> Finding:
    """The finding for a key that a table holds already; both places are shown."""
    message = f"expected {quoted(key)} once, found it again"
    related = [(first, "written here first")]
    return DUPLICATE_MEASURE.at(again, message, help="keep one of the two", related=related)
