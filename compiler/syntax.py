"""The syntax tree: what a recipe says, before anything is looked up.

Every node carries its half-open run of offsets; the `Document` holds the text they point into.
Nothing here knows what a statement means: that lies in `somite.statements`, one file a statement.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from somite.text import Site, Source
from somite.units import Dimension


@dataclass(frozen=True, slots=True)
class Word:
    """A word or a text as written; `kind` is the terminal's name."""

    kind: str
    text: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Number:
    """A number with its unit, in metres, radians or one."""

    value: float
    dimension: Dimension
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Text:
    """A text in quotes."""

    value: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Direction:
    """A signed axis such as `+X`."""

    axis: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Reference:
    """A dotted name; a segment is a word, a whole number, or an expression in brackets."""

    path: tuple[str | int | Expression, ...]
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Call:
    """A helper applied to arguments."""

    function: str
    arguments: tuple[Expression, ...]
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Triple:
    """A vector `(x, y, z)`."""

    x: Expression
    y: Expression
    z: Expression
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Items:
    """A list `[a, b, c]`."""

    members: tuple[Expression, ...]
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Between:
    """`between A and B at 40%`."""

    first: Expression
    second: Expression
    share: Expression
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Unary:
    """`-a` or `not a`."""

    operator: Literal["-", "not"]
    operand: Expression
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Binary:
    """Arithmetic, a comparison, or `and`, `or`."""

    operator: str
    left: Expression
    right: Expression
    start: int
    end: int


Expression = (
    Number | Text | Direction | Reference | Call | Triple | Items | Between | Unary | Binary
)


@dataclass(frozen=True, slots=True)
class Clause:
    """A fact about a statement, or a piece of one: its word and what follows it, in order."""

    word: str
    arguments: tuple[Argument, ...]
    start: int
    end: int


Argument = Word | Clause | Expression


@dataclass(frozen=True, slots=True)
class Statement:
    """A head, its clauses (on its line and in its block) and the statements in its block."""

    word: str
    arguments: tuple[Argument, ...]
    clauses: tuple[Clause, ...]
    block: tuple[Statement, ...]
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Document:
    """One file: its text, its statements, and the words on lines that could not be read.

    `stray` are clauses that stand at the top, outside every statement. `poisoned` are words whose
    absence must not be reported again, since the lines that may declare them are broken.
    """

    source: Source
    statements: tuple[Statement, ...]
    stray: tuple[Clause, ...] = ()
    poisoned: frozenset[str] = frozenset()

    def site(self, node: Argument | Statement) -> Site:
        """Where a node stands."""
        return self.source.site(node.start, node.end)
