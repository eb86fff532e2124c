"""The records that build instructions are made of, before any wording.

A step says what to do, what the thing is like and what to see when it is right, each as the key of
a phrase with its values. Names of things are values of their own kind, so that it is known which
things a step makes and which it refers to. Nothing here knows English or layout.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

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


@dataclass(frozen=True)
class Step:
    """One action of a person, and what there is to see when it is right.

    `puts` are the things that are under their last parent once it is done; those of `after` must be
    so before it.
    """

    action: Saying
    facts: tuple[Fact, ...] = ()
    table: Table | None = None
    notes: tuple[Saying, ...] = ()
    sees: tuple[Saying, ...] = ()
    made: tuple[Name, ...] = ()
    origin: Origin = ()
    puts: tuple[str, ...] = ()
    after: tuple[str, ...] = ()

    def mentioned(self) -> tuple[Name, ...]:
        """Every thing that the step's words name, each once, in the order of the words."""
        return self._names

    @cached_property
    def _names(self) -> tuple[Name, ...]:
        found: list[Name] = []
        _collect(self.action, found)
        for fact in self.facts:
            _collect(fact.value, found)
        for row in self.table.rows if self.table is not None else ():
            for cell in row:
                _collect(cell, found)
        for saying in (*self.notes, *self.sees):
            _collect(saying, found)
        return tuple(dict.fromkeys(found))

    def used(self) -> tuple[Name, ...]:
        """The things that must exist before this step."""
        made = {name.identity for name in self.made}
        return tuple(name for name in self.mentioned() if name.identity not in made)


@dataclass(frozen=True, slots=True)
class Both:
    """A step that is done on both sides of the rig, and told once.

    `expected` is what the words for the left say of the right, read by the rule of the mirror; only
    where `right` says something else is it told too.
    """

    left: Step
    right: Step
    expected: Step


PREPARE, PART, SCALE, TIDY, PROVE, TRIALS = "prepare", "part", "scale", "tidy", "prove", "trials"
"""The kinds of section, in order: one that prepares, one a part, three of the whole, one a part."""

PHASES = (
    *("groups", "skeleton", "curve", "grips", "controls", "hierarchy"),
    *("constraints", "twist", "limits", "lists"),
)
"""The phases of a part, in order."""

JOIN = "join"
"""The phase that gives parts what they still lacked, once another part is made."""

Entry = Step | Both
"""What stands under one number."""


def steps_of(entry: Entry) -> tuple[Step, ...]:
    """The steps that stand under one number."""
    return (entry.left, entry.right) if isinstance(entry, Both) else (entry,)


@dataclass(frozen=True, slots=True)
class Phase:
    """A named run of steps inside a section.

    `number` is that of its first step in the section. A phase with `parts` joins what those parts
    still lack to what the section has made.
    """

    key: str
    number: int
    entries: tuple[Entry, ...]
    parts: tuple[str, ...] = ()

    def numbered(self) -> Iterator[tuple[int, Entry]]:
        """The steps with their numbers, which run through the section."""
        return enumerate(self.entries, start=self.number)


@dataclass(frozen=True, slots=True)
class Need:
    """Things that a section takes from an earlier one, and the number of the step that ends them.

    They are needed before the step `before` of the section itself, which begins a phase. Without
    names it needs the whole of the earlier one.
    """

    section: str
    step: int
    names: tuple[Name, ...] = ()
    before: int = 1


@dataclass(frozen=True, slots=True)
class Section:
    """The steps of one part of the rig, or of both its sides.

    `key` labels its steps; `parts` are the parts that it is about, by how their names begin, none
    for what is of the whole rig. `kind` is that of its title.
    """

    key: str
    kind: str
    phases: tuple[Phase, ...]
    parts: tuple[str, ...] = ()
    counts: Mapping[str, int] = field(default_factory=dict)
    needs: tuple[Need, ...] = ()

    @property
    def count(self) -> int:
        """How many numbered steps there are."""
        return sum(len(phase.entries) for phase in self.phases)

    @property
    def work(self) -> int:
        """How many steps are to be done, those of both sides twice."""
        return sum(len(steps_of(entry)) for phase in self.phases for entry in phase.entries)


@dataclass(frozen=True, slots=True)
class Join:
    """Where somebody waits: before a step of a section, for what others have made in theirs."""

    number: int
    person: int
    section: str
    before: int
    needs: tuple[tuple[int, Need], ...]


@dataclass(frozen=True, slots=True)
class Share:
    """What one person does: sections by key, in order, and the joins before them."""

    person: int
    sections: tuple[str, ...]
    joins: tuple[Join, ...]


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
    """The whole instructions for one rig; `across` is the letter of the axis that it mirrors in."""

    recipe: str
    character: str
    revision: int
    about: str
    materials: Materials
    conventions: tuple[Saying, ...]
    sections: tuple[Section, ...]
    across: str = "X"
    shares: tuple[Share, ...] = ()


def names_in(value: Value) -> list[Name]:
    """The names in a value, at any depth, in the order of the words."""
    found: list[Name] = []
    _collect(value, found)
    return found


def _collect(value: Value, found: list[Name]) -> None:
    if isinstance(value, str):
        return
    if isinstance(value, Name):
        found.append(value)
    elif isinstance(value, Names):
        for member in value.members:
            _collect(member, found)
    else:
        for inner in value.values.values():
            _collect(inner, found)
