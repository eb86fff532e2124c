"""One build that was asked for: which recipe, for which sheet, to which outputs, where.

Nothing here reads a file or imports anything slow: a build with nothing to do ends with these.
"""

from __future__ import annotations

from typing import NamedTuple

DEFAULT_TARGETS = ("scene", "steps")
"""What is built when no target is named."""

DEFAULT_FOLDER = "build"
"""Where outputs go when no folder is named."""


MOST_PEOPLE = 26
"""As many as there are letters to call them by."""


class Job(NamedTuple):
    """A build to be done. Paths are as the user would write them from the current folder."""

    recipe: str
    sheet: str
    targets: tuple[str, ...] = DEFAULT_TARGETS
    folder: str = DEFAULT_FOLDER
    phrases: str | None = None
    templates: str | None = None
    names: str | None = None
    loa: int | None = None
    people: int = 1
