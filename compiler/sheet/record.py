"""What a loaded sheet is: one character's landmarks and measures, each with where it was written.

Positions are metres in the neutral space (right-handed, up +Y, front +Z, left +X), converted once.
Measures keep the number and unit that were written, because a sheet does not know what a recipe
will ask for. Nothing here reads a file or knows a recipe.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Generic, Literal, TypeVar

from somite.ir import Axis, Vector
from somite.text import Site

Value = TypeVar("Value", covariant=True)

SectionName = Literal["points", "pairs", "rows", "measures"]
SECTIONS: tuple[SectionName, ...] = ("points", "pairs", "rows", "measures")


@dataclass(frozen=True, slots=True)
class Measured(Generic[Value]):
    """One value, where it is written, and where its name is written (if it has one)."""

    value: Value
    site: Site
    name_site: Site | None = None

    @property
    def named_at(self) -> Site:
        """Where its name is written; the value itself where it has none of its own."""
        return self.site if self.name_site is None else self.name_site


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number exactly as written, and its unit; None where none was written."""

    number: Decimal
    unit: str | None = None

    def __str__(self) -> str:
        number = f"{self.number.normalize():f}" if -30 < self.number.adjusted() < 30 else "…"
        if self.unit is None:
            return number
        return f"{number}%" if self.unit == "%" else f"{number} {self.unit}"


@dataclass(frozen=True, slots=True)
class Sides:
    """A pair's two sides as given; at least one is."""

    left: Measured[Vector] | None
    right: Measured[Vector] | None
    site: Site


@dataclass(frozen=True, slots=True)
class SideRows:
    """The two sides of a row of pairs as given, each a row of its own; at least one is."""

    left: Measured[tuple[Measured[Vector], ...]] | None
    right: Measured[tuple[Measured[Vector], ...]] | None
    site: Site


@dataclass(frozen=True, slots=True)
class SheetNudge:
    """A small correction of where one node stands: its dotted name, metres in the neutral space."""

    node: str
    by: Vector
    because: str
    site: Site


@dataclass(frozen=True, slots=True)
class SourceFile:
    """A file that the sheet was made from: as shown, where it lies, and a SHA-256 of its content.

    The digest of a text is that of its clean UTF-8, so that line ends do not change it; that of a
    GLB covers its JSON chunk, which is all that is read. `path` must not reach an output.
    """

    name: str
    path: str
    digest: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """One character.

    `markers` holds the named landmarks of another file, each name with every place that bears it;
    a recipe's requests find them when points, pairs and rows do not answer. `refused` names entries
    that were written but could not be read (their findings are made), so they are not missing;
    `unread` says the same of a whole landmark file. `rigs` are the sheets of other rigs that stand
    on this character; `sources` names their files too.
    """

    character: str
    about: str
    unit: str
    up: Axis
    front: Axis
    site: Site
    points: Mapping[str, Measured[Vector]] = field(default_factory=dict)
    pairs: Mapping[str, Sides] = field(default_factory=dict)
    pair_rows: Mapping[str, SideRows] = field(default_factory=dict)
    rows: Mapping[str, Measured[tuple[Measured[Vector], ...]]] = field(default_factory=dict)
    measures: Mapping[str, Measured[Quantity | str]] = field(default_factory=dict)
    markers: Mapping[str, tuple[Measured[Vector], ...]] = field(default_factory=dict)
    marker_names: Mapping[str, Measured[str]] = field(default_factory=dict)
    nudges: tuple[SheetNudge, ...] = ()
    sections: Mapping[str, Site] = field(default_factory=dict)
    refused: frozenset[str] = frozenset()
    unread: bool = False
    sources: tuple[SourceFile, ...] = ()
    rigs: Mapping[str, Measured[Sheet]] = field(default_factory=dict)

    @property
    def digest(self) -> str:
        """SHA-256 of everything the sheet was made from, in hexadecimal."""
        if len(self.sources) == 1:
            return self.sources[0].digest
        from hashlib import sha256

        return sha256("\n".join(source.digest for source in self.sources).encode()).hexdigest()
