"""Templates by name, what one rendering may spend, and their compiled code.

In goes text, out comes code that is kept for the process; the engine itself is handed in, so that
nothing here imports it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment

MARK = "template:"
"""Before a template's name, this is the file name that the engine knows it by."""

OURS = "somite/"
"""Before the name of a built-in template, this reaches it even where a team's own replaces it."""


Filters = tuple[tuple[str, Callable[..., object]], ...]
"""Filters beside the usual ones, by name: functions from a value to a text or a value."""


Maker = Callable[[Filters], "Environment"]


@dataclass(frozen=True, slots=True)
class Limits:
    """How much one rendering may spend.

    `template`: characters of one template. `work`: turns of loops, calls, and characters handled,
    which bounds the characters of the result too. `text`: characters of one text made by an
    expression.
    """

    template: int = 262_144
    work: int = 40_000_000
    text: int = 4_000_000


LIMITS = Limits()


WORK_FOR_ONE = 10_000
"""How much more may be spent for each thing that there is to write of."""


def limits_for(things: int) -> Limits:
    """The limits for a rendering of so many things: big rigs make long files."""
    return Limits(work=LIMITS.work + WORK_FOR_ONE * things)


@dataclass(frozen=True, slots=True)
class Templates:
    """Templates by name: a team's own go before the built-in ones."""

    built_in: Mapping[str, str]
    own: Mapping[str, str]

    def text(self, name: str) -> str | None:
        """The text of the template of that name, or None."""
        if name.startswith(OURS):
            return self.built_in.get(name.removeprefix(OURS))
        found = self.own.get(name)
        return self.built_in.get(name) if found is None else found

    def names(self) -> tuple[str, ...]:
        """All names, each once, in order."""
        return tuple(sorted({*self.built_in, *self.own}))


@lru_cache(maxsize=64)
def compiled(text: str, name: str, maker: Maker, filters: Filters) -> Any:
    """The code of a template; the same text is compiled once in a process.

    `maker` makes the environment that compiles; what it makes is all that the code depends on.
    """
    return maker(filters).compile(text, name, MARK + name)
