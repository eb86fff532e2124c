"""Revisions of a project in git, as files that can be read, without touching the work tree.

In comes `REV:path`, out goes a folder of its own with the project's files as they were at that
revision, or findings. Everything is asked of git by its plumbing; no hook, filter or setting of the
repository takes part. Nothing here knows what the files mean.
"""

from __future__ import annotations

import os
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from somite.findings import Code, Finding
from somite.project import LIMIT

REVISION_UNKNOWN = Code("revision-unknown")
GIT_MISSING = Code("git-missing")

SUFFIXES = (".somite", ".toml", ".json", ".csv", ".gltf", ".glb")
"""Files of a project that a build may read: recipes, sheets, casts, landmarks."""

LONGEST = 60.0
"""Seconds that git may take for one answer."""

_LINK, _MODULE = "120000", "160000"
_KEPT = ("GIT_CONFIG", "GIT_CEILING_DIRECTORIES", "GIT_OBJECT_DIRECTORY", "GIT_ALTERNATE")
_HELP = (
    "name a revision and a file of it, such as main:recipes/heron.somite or HEAD~1:./heron.somite"
)


class GitError(Exception):
    """Git could not answer; `finding` says what was asked."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


@dataclass(frozen=True, slots=True)
class Asked:
    """What `REV:path` says: a revision, and a path from the top of the repository, or `./`."""

    revision: str
    path: str


@dataclass(frozen=True, slots=True)
class Entry:
    """A file of a revision: its mode, the object that has its bytes, and its size."""

    mode: str
    object: str
    size: int


def asked_in(written: str) -> Asked | None:
    """The revision and path in `REV:path`; None for what is a path of the work tree.

    A file that is there by the whole name is that file; one letter before a colon is a drive.
    """
    revision, colon, path = written.partition(":")
    if not colon or len(revision) < 2 or os.path.lexists(written):
        return None
    return Asked(revision, path)


@dataclass(slots=True)
class Repository:
    """A repository, asked from a folder of its work tree (or the bare one itself)."""

    folder: str
    _blobs: dict[str, bytes] = field(default_factory=dict)

    def commit(self, revision: str) -> str:
        """The full name of the commit that a revision means. Raises GitError."""
        if revision.startswith("-"):
            raise unknown_revision(revision, "a revision does not begin with a dash")
        done = self.git(
            "rev-parse", "--verify", "--quiet", "--end-of-options", f"{revision}^{{commit}}"
        )
        if done.returncode != 0:
            raise unknown_revision(revision)
        return done.stdout.decode("ascii", "replace").strip()

    def prefix(self) -> str:
        """The folder's own path from the repository's top, empty or ended by `/`."""
        done = self.git("rev-parse", "--show-prefix")
        if done.returncode != 0:
            message = f'expected a folder in a git repository, found "{self.folder}"'
            raise GitError(
                REVISION_UNKNOWN.at(None, message, help="start somite inside the repository")
            )
        return os.fsdecode(done.stdout).rstrip("\n")

    def path_in(self, commit: str, written: str) -> str:
        """A written path from the repository's top: as git reads it, else from this folder."""
        prefix = self.prefix()
        here = _joined(prefix, written)
        if written.startswith(("./", "../")) or written in (".", ".."):
            return here
        top = _joined("", written)
        if top == here or self.holds(commit, top) or not self.holds(commit, here):
            return top
        return here

    def holds(self, commit: str, path: str) -> bool:
        """Whether a revision has a file or folder of that path."""
        return self.git("cat-file", "-e", f"{commit}:{path}").returncode == 0

    def is_folder(self, commit: str, path: str) -> bool:
        """Whether a path of a revision is a folder."""
        return self.git("cat-file", "-t", f"{commit}:{path}").stdout.strip() == b"tree"

    def entries(self, commit: str, folder: str) -> dict[str, Entry]:
        """The files below a folder of a revision, by their path from the repository's top."""
        asked = ["ls-tree", "-r", "-z", "-l", "--full-tree", commit]
        done = self.git(*asked, *(["--", f":(literal){folder}/"] if folder else []))
        if done.returncode != 0:
            raise unknown_revision(commit)
        found: dict[str, Entry] = {}
        for line in done.stdout.split(b"\0"):
            facts, _, name = line.partition(b"\t")
            if name:
                mode, _, made, size = facts.decode("ascii").split()
                found[os.fsdecode(name)] = Entry(mode, made, int(size) if size.isdigit() else 0)
        return found

    def contents(self, objects: Iterable[str]) -> dict[str, bytes]:
        """The bytes of objects, those known from before not asked for again."""
        wanted = list(dict.fromkeys(objects))
        missing = [one for one in wanted if one not in self._blobs]
        if missing:
            done = self.git("cat-file", "--batch", text="".join(f"{one}\n" for one in missing))
            self._blobs.update(_batch(done.stdout))
        return {one: self._blobs[one] for one in wanted if one in self._blobs}

    def sizes(self, objects: Iterable[str]) -> dict[str, int]:
        """The sizes of objects in bytes; those that are missing are left out."""
        wanted = "".join([f"{one}\n" for one in dict.fromkeys(objects)])
        if not wanted:
            return {}
        done = self.git("cat-file", "--batch-check=%(objectname) %(objectsize)", text=wanted)
        rows = [line.split() for line in done.stdout.decode("ascii", "replace").splitlines()]
        return {row[0]: int(row[1]) for row in rows if len(row) == 2 and row[1].isdigit()}

    def git(self, *arguments: str, text: str | None = None) -> subprocess.CompletedProcess[bytes]:
        """Run git with nothing of the user's that would change what it says. Raises GitError."""
        command = ["git", "-c", "core.quotepath=off", "-c", "core.fsmonitor=false", *arguments]
        try:
            return subprocess.run(
                command,
                cwd=self.folder,
                input=None if text is None else text.encode(),
                stdin=subprocess.DEVNULL if text is None else None,
                capture_output=True,
                timeout=LONGEST,
                env={**_environment(), "LC_ALL": "C", "GIT_OPTIONAL_LOCKS": "0"},
                check=False,
            )
        except FileNotFoundError:
            message = "expected git to read a revision with, found none"
            raise GitError(GIT_MISSING.at(None, message, help="install git")) from None
        except subprocess.TimeoutExpired:
            message = f"expected git to answer within {LONGEST:.0f} seconds, it did not"
            raise GitError(
                REVISION_UNKNOWN.at(None, message, help="try the command again")
            ) from None


@dataclass(slots=True)
class LaidOut:
    """A folder outside the work tree with the files of one revision, and of another after it."""

    repository: Repository
    folder: Path
    _there: dict[str, Entry] = field(default_factory=dict)

    def turn_to(self, commit: str, within: str = "") -> None:
        """Have the folder hold what a revision has below a path; only what differs is written."""
        self.hold(self.repository.entries(commit, within))

    def hold(self, entries: Mapping[str, Entry]) -> None:
        """Have the folder hold these files; only what differs is written."""
        wanted = {path: one for path, one in entries.items() if is_read(path, one)}
        for path in [path for path in self._there if path not in wanted]:
            (self.folder / path).unlink(missing_ok=True)
            del self._there[path]
        news = {path: one for path, one in wanted.items() if self._there.get(path) != one}
        contents = self.repository.contents(one.object for one in news.values())
        for path, one in news.items():
            self._write(path, one, contents)
        self._there.update(news)

    def _write(self, path: str, one: Entry, contents: Mapping[str, bytes]) -> None:
        target = self.folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.unlink(missing_ok=True)
        held = contents.get(one.object)
        if held is None:
            return
        if one.mode != _LINK:
            target.write_bytes(held)
        elif _stays_inside(path, os.fsdecode(held)):
            target.symlink_to(os.fsdecode(held))


@contextmanager
def laid_out(repository: Repository) -> Iterator[LaidOut]:
    """An empty folder for revisions of a repository; it is gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="somite-") as made:
        folder = Path(os.path.realpath(made))
        # What bounds the project, as the repository's own folder does.
        (folder / ".git").mkdir()
        yield LaidOut(repository, folder)


def project_folder(repository: Repository, commit: str, path: str) -> str:
    """The project's folder at a revision: the nearest above a path with a cast.toml, or the top."""
    folder = path if repository.is_folder(commit, path) else str(PurePosixPath(path).parent)
    at = PurePosixPath("" if folder == "." else folder)
    for candidate in (at, *at.parents):
        name = "" if str(candidate) == "." else f"{candidate}/"
        if repository.holds(commit, f"{name}cast.toml"):
            return name.rstrip("/")
    return ""


def is_read(path: str, one: Entry) -> bool:
    """Whether a build may read a file: by its name, its kind and its size."""
    if one.mode == _MODULE or one.size > LIMIT:
        return False
    return path.lower().endswith(SUFFIXES)


def _stays_inside(path: str, target: str) -> bool:
    """Whether a link leads to a place in the same project."""
    if os.path.isabs(target):
        return False
    whole = os.path.normpath(os.path.join(os.path.dirname(path), target))
    return not whole.startswith("..")


def _joined(prefix: str, written: str) -> str:
    path = os.path.normpath(os.path.join(prefix, written)).replace(os.sep, "/")
    return "" if path == "." else path.lstrip("/")


def _batch(answer: bytes) -> Iterator[tuple[str, bytes]]:
    """Objects in the answer of `git cat-file --batch`; those that are missing are left out."""
    at = 0
    while at < len(answer):
        end = answer.index(b"\n", at)
        words = answer[at:end].split()
        at = end + 1
        if len(words) == 3 and words[1] == b"blob":
            size = int(words[2])
            yield words[0].decode("ascii"), answer[at : at + size]
            at += size + 1


def _environment() -> dict[str, str]:
    """The environment without what would point git at another repository or trace its work."""
    return {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("GIT_") or name.startswith(_KEPT)
    }


def unknown_revision(revision: str, why: str = "") -> GitError:
    """The error for what is no revision here."""
    message = f'expected a revision of the repository, found "{revision}"'
    return GitError(REVISION_UNKNOWN.at(None, f"{message}: {why}" if why else message, help=_HELP))
