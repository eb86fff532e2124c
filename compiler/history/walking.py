"""The revisions of a repository that touch a project's files, and the files of each.

In comes a revision, out go commits from the newest on, children before their parents, with the
files that a build may read. Everything is asked of git's plumbing. Nothing here knows what is in a
file.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from somite.revisions import SUFFIXES, Entry, Repository, unknown_revision

_FORMAT = "%x01%aI%x02%an%x02%s%x03"
_RECORD = re.compile(rb"commit ([0-9a-f ]+)\n\x01([^\x02]*)\x02([^\x02]*)\x02([^\x03]*)\x03\n")
_PATHS = tuple([f":(top,icase)*{suffix}" for suffix in SUFFIXES])
_NO_OBJECT = re.compile("0+")

Files = Mapping[str, Entry]
"""Files of a revision by their path from the repository's top."""


@dataclass(frozen=True, slots=True)
class Commit:
    """A revision. `parents` are the nearest before it that touch a project's files as well.

    `when` is the author's date and time as ISO 8601, `subject` the first line of the message.
    """

    revision: str
    parents: tuple[str, ...]
    when: str
    author: str
    subject: str

    @property
    def short(self) -> str:
        """The revision as people write it."""
        return self.revision[:8]


def commits(repository: Repository, revision: str, since: str | None = None) -> list[Commit]:
    """The commits that lead to a revision, children before parents. Raises GitError.

    `since` is a day (`2026-03-01`); commits before it are left out.
    """
    asked = ["rev-list", "--topo-order", "--parents", "--encoding=UTF-8", f"--format={_FORMAT}"]
    if since is not None:
        asked.append(f"--since={since}T00:00:00Z")
    done = repository.git(*asked, revision, "--", *_PATHS)
    if done.returncode != 0:
        raise unknown_revision(revision)
    found: list[Commit] = []
    for record in _RECORD.finditer(done.stdout):
        names, when, author, subject = (part.decode("utf-8", "replace") for part in record.groups())
        own, *parents = names.split()
        found.append(Commit(own, tuple(dict.fromkeys(parents)), when, author, subject))
    return found


@dataclass(slots=True)
class Trees:
    """The files of commits, worked out from those of their children where that can be."""

    repository: Repository
    changes: dict[str, list[tuple[str, Entry | None]]]
    """By commit, the files that its first parent has otherwise, as that parent has them."""
    _held: dict[str, Files] = field(default_factory=dict)

    def of(self, commit: str) -> Files:
        """The files of a commit that a build may read."""
        if commit not in self._held:
            entries = self.repository.entries(commit, "")
            self._held[commit] = {
                path: entry for path, entry in entries.items() if path.lower().endswith(SUFFIXES)
            }
        return self._held[commit]

    def begin(self, newest: str, revision: str) -> None:
        """Take the files of a revision for those of the newest commit that touches any."""
        self._held[newest] = self.of(revision)

    def step(self, commit: Commit) -> None:
        """Work out the files of a commit's first parent from those of the commit."""
        if not commit.parents or commit.parents[0] in self._held:
            return
        changes = self.changes.get(commit.revision, [])
        here = self.of(commit.revision)
        if changes:
            there = dict(here)
            for path, entry in changes:
                if entry is None:
                    there.pop(path, None)
                else:
                    there[path] = entry
            here = there
        self._held[commit.parents[0]] = here

    def forget(self, commit: str) -> None:
        """Drop the files of a commit that is done with."""
        self._held.pop(commit, None)


def trees(repository: Repository, every: list[Commit]) -> Trees:
    """The files of commits. Raises GitError."""
    pairs = [f"{one.revision} {one.parents[0]}\n" for one in every if one.parents]
    asked = ("diff-tree", "--stdin", "-r", "-z", "--raw", "--no-renames", "--no-abbrev")
    done = repository.git(*asked, "--", *_PATHS, text="".join(pairs))
    if done.returncode != 0:
        raise unknown_revision(every[0].revision)
    return Trees(repository, dict(_changes(done.stdout)))


def _changes(answer: bytes) -> Iterator[tuple[str, list[tuple[str, Entry | None]]]]:
    """By commit, what diff-tree says of the side before."""
    own = ""
    found: list[tuple[str, Entry | None]] = []
    parts = iter(answer.split(b"\0"))
    for part in parts:
        words = part.decode("ascii", "replace").split()
        if len(words) == 1:
            if own:
                yield own, found
            own, found = words[0], []
        elif len(words) == 5 and words[0].startswith(":"):
            path = os.fsdecode(next(parts))
            gone = _NO_OBJECT.fullmatch(words[2]) is not None
            found.append((path, None if gone else Entry(words[0][1:], words[2], 0)))
    if own:
        yield own, found


def former_path(
    repository: Repository, parent: str, child: str, path: str, there: Files, here: Files
) -> str | None:
    """Where a file of a commit lay in its parent: at the same path, or as git sees it renamed."""
    if path in there:
        return path
    own = here.get(path)
    same = [old for old, entry in there.items() if own and entry.object == own.object]
    gone = sorted(old for old in same if old not in here)
    if gone:
        return gone[0]
    asked = ("diff-tree", "-r", "-z", "--raw", "-M", "--diff-filter=R", "--no-abbrev")
    done = repository.git(*asked, parent, child)
    parts = done.stdout.split(b"\0")
    for at, part in enumerate(parts[:-2]):
        if part.startswith(b":") and os.fsdecode(parts[at + 2]) == path:
            old = os.fsdecode(parts[at + 1])
            return old if old in there else None
    return None
