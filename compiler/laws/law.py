"""What a law is and what it finds: plain records, without any evaluation.

A law has a word, a number, a sentence and a code; trying it on a rig gives breaches. A breach names
the statement to blame, and those whose excuse would silence it. Nothing here knows how laws are
tried or how their breaches are put into a report.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from somite.findings import Code
from somite.ir import Excuse
from somite.text import Origin, Site

if TYPE_CHECKING:
    from somite.laws.trial import Trial


@dataclass(frozen=True, slots=True)
class Statement:
    """A statement of the recipe: what it makes, where it stands, what it excuses."""

    name: str
    origin: Origin
    excuses: tuple[Excuse, ...] = ()

    @property
    def site(self) -> Site | None:
        """Where it was written; None for a rig that no recipe made."""
        return self.origin[0] if self.origin else None


@dataclass(frozen=True, slots=True)
class Breach:
    """A law not kept: the statement to blame, what was expected and found, and the likeliest mend.

    `excusers` are further statements whose excuse silences it; `related` are other places that
    belong to it.
    """

    blamed: Statement
    message: str
    help: str
    excusers: tuple[Statement, ...] = ()
    related: tuple[tuple[Site, str], ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Law:
    """One law: `word` is what an excuse names it with; `breaches` tries it."""

    number: int
    word: str
    sentence: str
    code: Code
    breaches: Callable[[Trial], Iterable[Breach]]
