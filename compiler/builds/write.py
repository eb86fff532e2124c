"""Files written whole or not at all.

What comes in is every file of a result, by path, as bytes; each is written beside its place and
then renamed over it, all of them before the first is renamed. A file that already has the bytes is
left alone. What a process that was ended in the middle left beside is swept away by the next.
Nothing here knows what the bytes mean.
"""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Mapping


def write_all(files: Mapping[str, bytes]) -> tuple[str, ...]:
    """Write files by path and return the paths that changed, in the order given.

    Folders are made where they are missing. Raises OSError when one cannot be written; the files
    that were there before are then still whole.
    """
    for path in files:
        if is_special(path):
            # A name that stands for a device must not come to stand for a file.
            raise OSError(errno.EINVAL, "Not a regular file", path)
    changed = tuple(path for path, data in files.items() if not _holds(path, data))
    beside: dict[str, str] = {}
    try:
        for path in changed:
            # Known before it is there, so that an interruption at any moment removes it.
            beside[path] = _name_beside(path)
            _write_beside(path, beside[path], files[path])
        for path in changed:
            os.replace(beside[path], path)
            del beside[path]
    finally:
        for leftover in beside.values():
            _removed(leftover)
    return changed


def is_special(path: str) -> bool:
    """Whether a path leads to something that is no file: a folder, a device or a pipe."""
    return os.path.exists(path) and not os.path.isfile(path)


def _holds(path: str, data: bytes) -> bool:
    try:
        if os.path.islink(path) or os.path.getsize(path) != len(data):
            return False
        with open(path, "rb") as file:
            return file.read() == data
    except OSError:
        return False


def _name_beside(path: str) -> str:
    """The file in which a path's new bytes wait, in the same folder."""
    folder, name = os.path.split(path)
    # A process writes one file of a name at a time, so its number keeps two builds apart, and the
    # machine's name those of two machines that share the folder.
    return os.path.join(folder, f".{name[:150]}.somite-{_machine()}-{os.getpid()}.part")


def is_beside(path: str) -> bool:
    """Whether a path is that of a file which waits beside its place."""
    return path.endswith(".part") and ".somite-" in os.path.basename(path)


def _machine() -> str:
    name = os.uname().nodename if hasattr(os, "uname") else os.environ.get("COMPUTERNAME", "")
    return re.sub(r"[^\w.]", "_", name)[:40]


def swept(folder: str) -> tuple[str, ...]:
    """Removes what processes of this machine that are no more left beside files in a folder.

    Gives what was removed. What belongs to a process that runs, or to another machine, stays.
    """
    left = re.compile(rf"\..*\.somite-{re.escape(_machine())}-(\d+)\.part")
    try:
        with os.scandir(folder) as entries:
            marked = [(left.fullmatch(entry.name), entry.path) for entry in entries]
    except OSError:
        return ()
    stale = [path for match, path in marked if match and not _runs(int(match[1]))]
    return tuple(path for path in stale if _removed(path))


def _runs(process: int) -> bool:
    """Whether a process may still run; where that cannot be asked safely, it may."""
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def _write_beside(path: str, beside: str, data: bytes) -> None:
    os.makedirs(os.path.dirname(path) or ".", exist_ok=True)
    mode = _mode(path)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    try:
        descriptor = os.open(beside, flags, 0o666)
    except FileExistsError:
        # Left by a process of the same number that was ended in the middle.
        os.unlink(beside)
        descriptor = os.open(beside, flags, 0o666)
    with os.fdopen(descriptor, "wb") as file:
        file.write(data)
    if mode is not None:
        os.chmod(beside, mode)


def _mode(path: str) -> int | None:
    """The permissions of the file that stands there, which a rewrite keeps."""
    try:
        return os.stat(path).st_mode & 0o7777
    except OSError:
        return None


def _removed(path: str) -> bool:
    try:
        os.unlink(path)
    except OSError:
        return False
    return True
