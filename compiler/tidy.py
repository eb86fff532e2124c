"""Recipes rewritten in their one canonical form.

What comes in is files and the function that formats; what goes out is, for each, whether it
changes and how. Nothing here knows what canonical is.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from somite import project
from somite.builds.stamp import files_in
from somite.findings import Finding
from somite.text import Source

ENDING = ".somite"

Formatter = Callable[[Source], tuple["str | None", tuple[Finding, ...]]]


@dataclass(frozen=True, slots=True)
class Tidied:
    """A recipe before and after. `text` is None where findings kept it from being read."""

    path: str
    source: Source | None
    text: str | None
    changed: bool
    findings: tuple[Finding, ...]


def recipes(paths: Iterable[str]) -> Iterator[str]:
    """The files named, and every recipe below the folders named, in order of name."""
    for path in paths:
        if os.path.isdir(path):
            for name, full in files_in(path):
                if name.endswith(ENDING):
                    yield os.path.normpath(full)
        else:
            yield path


def tidied(path: str, formatter: Formatter) -> Tidied:
    """A file's recipe in canonical form; a changed line end alone is a change, too."""
    content, findings = project.read_bytes(Path(path), project.shown(Path(path)))
    if content is None:
        return Tidied(path, None, None, False, findings)
    return tidied_bytes(path, project.shown(Path(path)), content, formatter)


def tidied_bytes(path: str, name: str, content: bytes, formatter: Formatter) -> Tidied:
    """The same for the bytes of a file called `name` in findings."""
    source, findings = project.decoded(content, name)
    if source is None:
        return Tidied(path, None, None, False, findings)
    text, findings = formatter(source)
    changed = text is not None and text.encode("utf-8") != content
    return Tidied(path, source, text, changed, findings)


def difference(done: Tidied) -> str:
    """What formatting changes, as a unified difference; empty where nothing changes."""
    from difflib import unified_diff

    if done.source is None or done.text is None or not done.changed:
        return ""
    before, after = (text.splitlines(keepends=True) for text in (done.source.text, done.text))
    name = done.source.name
    rows = [
        row if row.endswith("\n") else f"{row}\n\\ No newline at end of file\n"
        for row in unified_diff(before, after, f"a/{name}", f"b/{name}")
    ]
    return "".join(rows) or f"{name}: line ends or a byte order mark change\n"
