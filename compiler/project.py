"""The project folder, and the only way in which a written path becomes a file that is read.

What comes in is where a recipe or sheet lies and a path that somebody wrote; what goes out is a
file inside the project, or its text, or a finding. Nothing here knows what the files mean. Devices
and pipes are never opened and big files never read, so no path can hang or fill the memory.
"""

from __future__ import annotations

import os
import re
import stat
from contextvars import ContextVar
from pathlib import Path, PurePosixPath

from somite.findings import Code, Finding, nearest
from somite.text import Site, Source, clean

PATH_FORM = Code("path-form")
PATH_OUTSIDE = Code("path-outside-project")
FILE_MISSING = Code("file-missing")
FILE_TOO_BIG = Code("file-too-big")
FILE_UNREADABLE = Code("file-unreadable")

LIMIT = 8 * 1024 * 1024
"""The most bytes of one file that are read: thousands of times the longest recipe known."""

MARKS = ("cast.toml", ".git")
"""What makes a folder a project folder."""

LISTED = 2_000
"""The most neighbours of a missing file among which the nearest name is looked for."""


STANDPOINT: ContextVar[str] = ContextVar("standpoint", default=os.curdir)
"""The folder from which messages name what lies in no project: elsewhere than the current one only
where work is done for somebody who stands there."""


def find_root(path: Path) -> Path:
    """The project folder of a recipe or sheet.

    It is the nearest folder at or above the file's own that holds `cast.toml` or `.git`; without
    one, the file's own folder. The result is absolute, with links resolved.
    """
    folder = Path(os.path.realpath(path.parent))
    for candidate in (folder, *folder.parents):
        if any(os.path.lexists(candidate / mark) for mark in MARKS):
            return candidate
    return folder


def shown(path: Path, root: Path | None = None) -> str:
    """A path as messages name it, with `/` between its parts.

    Relative to the project folder where it lies inside that, so that a build says the same wherever
    it is started; else to the current folder where it lies inside that; else whole.
    """
    real = Path(os.path.realpath(path.parent)) / path.name
    for folder in (root, Path(os.path.realpath(STANDPOINT.get()))):
        if folder is not None and real.is_relative_to(folder):
            return _printable(real.relative_to(folder).as_posix())
    return _printable(real.as_posix())


def resolve(
    root: Path, base: Path, written: str, site: Site | None = None, *, limit: int | None = LIMIT
) -> tuple[Path | None, tuple[Finding, ...]]:
    """The file that a path written in a project's file means.

    `base` is the folder of the file that holds the path, `site` where it is written. Refused, each
    with a finding: paths that are absolute or not written with `/`, that climb out of `root` by
    `..` or through a symbolic link, that lead to no regular file, or to one above `limit` bytes
    (None: any size). The path that goes out has its links resolved.
    """
    malformed = _malformed(written, site)
    if malformed is not None:
        return None, (malformed,)
    top = os.path.realpath(root)
    wanted = os.path.normpath(os.path.join(os.path.realpath(base), written))
    if not _inside(wanted, top):
        message = f'path "{_clipped(written)}" leads out of the project folder'
        return None, (PATH_OUTSIDE.at(site, message, help=_OUTSIDE_HELP),)
    real = os.path.realpath(wanted)
    if not _inside(real, top):
        message = f'path "{_clipped(written)}" leads out of the project folder through a link'
        return None, (PATH_OUTSIDE.at(site, message, help=_OUTSIDE_HELP),)
    found = _regular(Path(real), written, site, limit)
    return (None, (found,)) if found is not None else (Path(real), ())


def read_start(
    path: Path, shown_name: str, count: int, site: Site | None = None
) -> tuple[tuple[bytes, int] | None, tuple[Finding, ...]]:
    """The first `count` bytes of a regular file (fewer where it is shorter), and its size."""
    problem = _regular(path, shown_name, site, None)
    if problem is not None:
        return None, (problem,)
    try:
        # Opened without waiting and looked at again: the path may have become a pipe meanwhile.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _BINARY)
        with os.fdopen(handle, "rb") as stream:
            status = os.fstat(stream.fileno())
            if not stat.S_ISREG(status.st_mode):
                return None, (_not_a_file(shown_name, site),)
            return (stream.read(count), status.st_size), ()
    except OSError as mistake:
        return None, (_refused(mistake, shown_name, site),)


def read_bytes(
    path: Path, shown_name: str, site: Site | None = None, *, limit: int = LIMIT
) -> tuple[bytes | None, tuple[Finding, ...]]:
    """The bytes of a regular file of at most `limit` bytes."""
    start, findings = read_start(path, shown_name, limit + 1, site)
    if start is None:
        return None, findings
    content, size = start
    if max(len(content), size) > limit:
        return None, (too_big(shown_name, max(len(content), size), limit, site),)
    return content, ()


def read_source(
    path: Path, shown_name: str | None = None, site: Site | None = None, *, limit: int = LIMIT
) -> tuple[Source | None, tuple[Finding, ...]]:
    """A text file of the project: a recipe, a part, a sheet.

    `site` is where the file was asked for, if anywhere. The text is UTF-8; a byte order mark and
    the kind of line ends are forgotten. Findings name the file as `shown_name`.
    """
    name = shown(path) if shown_name is None else shown_name
    content, findings = read_bytes(path, name, site, limit=limit)
    return (None, findings) if content is None else decoded(content, name)


def decoded(content: bytes, shown_name: str) -> tuple[Source | None, tuple[Finding, ...]]:
    """The bytes of a text file as a source; a finding at the first byte that is not UTF-8."""
    try:
        return Source(shown_name, clean(content.decode("utf-8"))), ()
    except UnicodeDecodeError as mistake:
        before = clean(content[: mistake.start].decode("utf-8"))
        line = before.count("\n") + 1
        column = len(before) - (before.rfind("\n") + 1) + 1
        message = (
            f"expected UTF-8 text, found byte 0x{content[mistake.start]:02x}"
            f" at byte {mistake.start} of the file"
        )
        help = "save the file as UTF-8"
        return None, (FILE_UNREADABLE.at(Site(shown_name, line, column), message, help=help),)


_BINARY: int = getattr(os, "O_BINARY", 0)
_OUTSIDE_HELP = "put the file inside the project folder: the one that holds cast.toml or .git"
_DRIVE = re.compile(r"[A-Za-z]:")


def _malformed(written: str, site: Site | None) -> Finding | None:
    """What is wrong with a path before any file is looked at."""
    name = _clipped(written)
    if not written.strip() or not written.isprintable():
        return PATH_FORM.at(site, f'expected a path, found "{name}"', help="name a file")
    if written.startswith("/") or _DRIVE.match(written) or written.startswith("\\"):
        message = f'expected a path inside the project folder, found the absolute path "{name}"'
        return PATH_OUTSIDE.at(site, message, help="write the path from this file's own folder")
    if "\\" in written:
        message = f'expected "/" between the parts of a path, found "{name}"'
        return PATH_FORM.at(site, message, help='write "/", which works on every machine')
    return None


def _inside(path: str, top: str) -> bool:
    return path == top or path.startswith(top.rstrip(os.sep) + os.sep)


def _regular(path: Path, name: str, site: Site | None, limit: int | None) -> Finding | None:
    """Why this path can not be read as a file, or None."""
    try:
        status = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return _missing(path, name, site)
    except (OSError, ValueError) as mistake:
        return _refused(mistake, name, site)
    if not stat.S_ISREG(status.st_mode):
        return _not_a_file(name, site)
    if limit is not None and status.st_size > limit:
        return too_big(name, status.st_size, limit, site)
    return None


def _missing(path: Path, name: str, site: Site | None) -> Finding:
    folder = path.parent
    if not folder.is_dir():
        message = f'expected a file, found no folder for "{_clipped(name)}"'
        return FILE_MISSING.at(site, message, help="check the folders in the path")
    message = f'expected a file, found none called "{_clipped(name)}"'
    close = nearest(path.name, _neighbours(folder))
    if close is None:
        return FILE_MISSING.at(site, message, help="check the path, or make the file")
    parent = PurePosixPath(name).parent
    return FILE_MISSING.at(site, message, help=f'did you mean "{_printable(str(parent / close))}"?')


def _neighbours(folder: Path) -> list[str]:
    names: list[str] = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                names.append(entry.name)
                if len(names) == LISTED:
                    break
    except OSError:
        return []
    return sorted(names)


def _not_a_file(name: str, site: Site | None) -> Finding:
    message = f'expected a file, found "{_clipped(name)}", which is a folder, a device or a pipe'
    return FILE_UNREADABLE.at(site, message, help="name a regular file")


def _refused(mistake: Exception, name: str, site: Site | None) -> Finding:
    reason = (getattr(mistake, "strerror", None) or str(mistake)).lower()
    message = f'expected a readable file, found "{_clipped(name)}": {reason}'
    return FILE_UNREADABLE.at(site, message, help="check that you may read the file")


def too_big(name: str, size: int, limit: int, site: Site | None) -> Finding:
    """The finding for a file, or a part of one, of more bytes than are read."""
    message = f'expected at most {limit} bytes in "{_clipped(name)}", found {size}'
    return FILE_TOO_BIG.at(site, message, help="check that this is the file you mean")


def _printable(name: str) -> str:
    """A file name that any terminal can take: what is not text, or not visible, is escaped."""
    text = name.encode("utf-8", "backslashreplace").decode("utf-8")
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def _clipped(name: str) -> str:
    text = _printable(name)
    return text if len(text) <= 120 else text[:119] + "…"
