"""What was worked out of a repository's history, kept for the next time.

In comes what is known of states and pairs, out goes a file in the repository's own folder, where
it belongs to no revision, and back. What another compiler found does not count. A file that is
damaged or cannot be written is as good as none. Nothing here works anything out.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from somite.builds.install import compiler_digest
from somite.builds.write import swept, write_all
from somite.history.meanings import Change, Compared, Meaning, Said, State, object_at

VERSION = 1
"""Raised when what is kept has another form or meaning."""

FOLDER = "somite"
"""The folder in the repository's own one."""


@dataclass(slots=True)
class Known:
    """All that is known, by the files it depends on."""

    states: dict[tuple[str, str], list[Meaning]] = field(default_factory=dict)
    pairs: dict[tuple[str, str], Change] = field(default_factory=dict)
    names: dict[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    news: int = 0

    def meaning(self, state: State) -> Meaning | None:
        """What is known of a state."""
        for one in self.states.get(_key(state.files, state.recipe, state.sheet), ()):
            if one.holds(state):
                return one
        return None

    def take(self, found: Iterable[tuple[State | None, State, Compared]]) -> None:
        """Add what was worked out."""
        for old, new, made in found:
            self.news += 1
            for state, meaning in ((old, made.old), (new, made.new)):
                if state is not None and meaning is not None:
                    there = self.states.setdefault(_key(state.files, state.recipe, state.sheet), [])
                    if all(one.digest != meaning.digest for one in there):
                        there.append(meaning)
            if made.old is not None and made.change is not None:
                self.pairs[made.old.digest, made.new.digest] = made.change
            if made.names is not None:
                self.names[made.new.digest] = made.names


def _key(files: Any, recipe: str, sheet: str) -> tuple[str, str]:
    return object_at(files, recipe), object_at(files, sheet)


def load(path: Path) -> Known:
    """What is kept in a file by this compiler; nothing where there is none."""
    try:
        held = json.loads(path.read_bytes())
        if (held["kept"], held["compiler"]) != (VERSION, compiler_digest()):
            return Known()
        return _known(held)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return Known()


def _known(held: dict[str, Any]) -> Known:
    found = Known()
    for recipe, sheet, one in held["states"]:
        found.states.setdefault((recipe, sheet), []).append(Meaning(**one))
    for old, new, one in held["pairs"]:
        said = {
            name: tuple([Said(row[0], row[1], row[2], tuple(row[3])) for row in one[name]])
            for name in ("short", "each")
        }
        found.pairs[old, new] = Change(said["short"], said["each"], dict(one["names"]))
    for digest, names in held["names"].items():
        found.names[digest] = tuple([(name, kind) for name, kind in names])
    return found


def save(path: Path, known: Known) -> None:
    """Keep what is known, if there is anything new; where that cannot be, it is not kept."""
    if not known.news:
        return
    held = {
        "kept": VERSION,
        "compiler": compiler_digest(),
        "states": [[*key, asdict(one)] for key, states in known.states.items() for one in states],
        "pairs": [
            [
                *key,
                {
                    "short": [_row(one) for one in change.short],
                    "each": [_row(one) for one in change.each],
                    "names": dict(change.names),
                },
            ]
            for key, change in known.pairs.items()
        ],
        "names": known.names,
    }
    try:
        swept(os.path.dirname(path))
        write_all({str(path): json.dumps(held, separators=(",", ":")).encode()})
    except OSError:
        return


def _row(one: Said) -> list[Any]:
    return [one.subject, one.text, one.site, list(one.about)]
