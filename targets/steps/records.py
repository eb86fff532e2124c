"""The records that build instructions are made of, before any wording.

A step says what to do, what the thing is like and what to see when it is right, each as the key of
a phrase with its values. Names of things are values of their own kind, so that it is known which
things a step makes and which it refers to. Nothing here knows English or layout.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from somite.text import Origin


@dataclass(frozen=True, slots=True)
class Name:
    """A thing of the rig by its dotted name, and how a person finds it in the scene."""

    identity: str
    spelled: str


@dataclass(frozen=True, slots=True)
class Names:
    """Several things in a row, as one value: "a, b and c"."""

    members: tuple[Value, ...]


@dataclass(frozen=True, slots=True)
class Saying:
    """A phrase by its key, with a value for each of its blanks."""

    key: str
    values: Mapping[str, Value] = field(default_factory=dict)


Value = str | Name | Names | Saying


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of what a thing is like: the key of its label, and the value."""

    label: str
    value: Value


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of values under labelled columns; `numeric` columns are set flush right."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    numeric: tuple[bool, ...] = ()


@dataclass(frozen=True, slots=True)
class Step:
    """One action of a person, and what there is to see when it is right."""

    action: Saying
    facts: tuple[Fact, ...] = ()
    table: Table | None = None
    notes: tuple[Saying, ...] = ()
    sees: tuple[Saying, ...] = ()
    made: tuple[Name, ...] = ()
    origin: Origin = ()

    def mentioned(self) -> tuple[Name, ...]:
        """Every thing that the step's words name, each once, in the order of the words."""
        values: list[Value] = [self.action, *(fact.value for fact in self.facts)]
        if self.table is not None:
            values.extend(cell for row in self.table.rows for cell in row)
        values.extend((*self.notes, *self.sees))
        return tuple(dict.fromkeys(name for value in values for name in names_in(value)))

    def used(self) -> tuple[Name, ...]:
        """The things that must exist before this step."""
        made = {name.identity for name in self.made}
        return tuple(name for name in self.mentioned() if name.identity not in made)


@dataclass(frozen=True, slots=True)
class Phase:
    """A named run of steps; `number` is that of its first step."""

    key: str
    number: int
    steps: tuple[Step, ...]

    def numbered(self) -> Iterator[tuple[int, Step]]:
        """The steps with their numbers, which run through the whole guide."""
        return enumerate(self.steps, start=self.number)


@dataclass(frozen=True, slots=True)
class Materials:
    """What is needed before the first step: counts by kind, facts, dials and what is corrected."""

    facts: tuple[Fact, ...]
    needs: tuple[Saying, ...]
    counts: tuple[tuple[str, int], ...]
    dials: Table
    nudges: Table


@dataclass(frozen=True, slots=True)
class Guide:
    """The whole instructions for one rig."""

    recipe: str
    character: str
    revision: int
    about: str
    materials: Materials
    conventions: tuple[Saying, ...]
    phases: tuple[Phase, ...]


def names_in(value: Value) -> Iterator[Name]:
    """The names in a value, at any depth."""
    if isinstance(value, Name):
        yield value
    elif isinstance(value, Names):
        for member in value.members:
            yield from names_in(member)
    elif isinstance(value, Saying):
        for inner in value.values.values():
            yield from names_in(inner)
