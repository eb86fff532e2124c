"""What git is told so that it compares and merges recipes by meaning, and how that is taken back.

In comes a folder of a repository, out go the two files of the repository's own folder that say it,
`info/attributes` and `config`, each with a block of ours before everything that stands there. No
tracked file is changed. Whatever is not in a block of ours stays as it is, to the byte.
"""

from __future__ import annotations

import os
import re
import shlex
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from somite.builds.digest import digest_of
from somite.builds.write import write_all
from somite.findings import Code, Finding
from somite.revisions import GIT_MISSING, GitError, Repository

NO_REPOSITORY = Code("no-repository")
BARE_REPOSITORY = Code("bare-repository")
SETUP_UNWRITABLE = Code("setup-unwritable")

ATTRIBUTES = ("*.somite diff=somite merge=somite", "*.scene.json diff=somite")
"""The lines for `info/attributes`."""

BEGIN = re.compile(
    rb"# begin: written by somite git-setup( with this file)?, taken back by"
    rb" somite git-setup --undo \(([0-9a-f]{8})\)\r?\n"
)
END = b"# end: written by somite git-setup"

_OURS = {
    "attributes": re.compile(rb"\s*\S+(\s+(diff|merge)=somite)+\s*"),
    "config": re.compile(rb"\s*(textconv|cmd|name|driver)\s*=.*\s*"),
}
_SECTION = re.compile(rb"\s*\[.*\]\s*")
_MARK = b"\xef\xbb\xbf"


class SetupError(Exception):
    """The repository cannot be set up; `finding` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


@dataclass(frozen=True, slots=True)
class Places:
    """The two files of a repository, wherever it keeps them."""

    attributes: Path
    config: Path


@dataclass(frozen=True, slots=True)
class Done:
    """A file and whether it changed."""

    path: Path
    changed: bool


# ---- what is said --------------------------------------------------------------------------------


def program() -> str:
    """The running Somite as words of a shell: git's own shell runs them, on Windows too.

    The interpreter by its whole path, so that git finds it in whatever environment it is started;
    `-P` keeps Python from importing what lies in the folder where git stands.
    """
    if not sys.executable:
        return "somite"
    return f"{shlex.quote(sys.executable.replace(os.sep, '/'))} -P -m somite"


def settings(somite: str) -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """The sections of the configuration with their keys and values, for a program."""
    # In place of an environment that is gone, git goes on as it would without us.
    there = somite.replace(" -m somite", " -c 'import somite'") if " -m " in somite else "true"
    textconv = f'f() {{ {somite} outline "$1" 2>/dev/null || cat "$1"; }}; f'
    by_text = 'git --no-pager diff --no-ext-diff --no-index -- "$LOCAL" "$REMOTE"'
    difftool = (
        f'case "$MERGED" in *.somite|*.scene.json)'
        f' {somite} diff --as "$MERGED" "$LOCAL" "$REMOTE" || {by_text};; *) {by_text};; esac'
    )
    # What cannot be merged by meaning, git merges itself: no side is ever lost without a mark.
    driver = (
        f"if {there} 2>/dev/null; then"
        f" {somite} merge %O %A %B -o %A --marker-size %L --path=%P; s=$?; else s=2; fi;"
        " if test $s -gt 1; then"
        " git merge-file -q --marker-size=%L -L ours -L base -L theirs %A %O %B; s=$?;"
        " if test $s -gt 1; then s=1; fi; fi; exit $s"
    )
    for words in (somite, there):
        # A percent sign in a path is not one of git's own.
        driver = driver.replace(words, words.replace("%", "%%"))
    return (
        ('diff "somite"', (("textconv", textconv),)),
        ('difftool "somite"', (("cmd", difftool),)),
        ('merge "somite"', (("name", "recipes merged by meaning"), ("driver", driver))),
    )


def _config_lines(somite: str) -> Iterator[str]:
    for section, pairs in settings(somite):
        yield f"[{section}]"
        for key, value in pairs:
            escaped = value.replace("\\", "\\\\").replace('"', '\\"')
            yield f'\t{key} = "{escaped}"'


# ---- where it is said ----------------------------------------------------------------------------


def places(folder: str) -> Places:
    """The files of the repository that a folder is in. Raises SetupError."""
    repository = Repository(folder)
    try:
        bare = repository.git("rev-parse", "--is-bare-repository")
        found = repository.git("rev-parse", "--git-path", "info/attributes", "--git-path", "config")
    except GitError as error:
        if error.finding.code != GIT_MISSING.slug:
            raise SetupError(error.finding) from None
        message = "expected git, found none"
        raise SetupError(GIT_MISSING.at(None, message, help="install git")) from None
    if found.returncode != 0 or bare.returncode != 0:
        message = f'expected a folder in a git repository, found "{_shown(folder)}"'
        help = "start it inside the repository, or make one with git init"
        raise SetupError(NO_REPOSITORY.at(None, message, help=help))
    if bare.stdout.strip() == b"true":
        message = f'expected a repository with a work tree, found "{_shown(folder)}", which is bare'
        help = "set up a clone of it, in which recipes are compared and merged"
        raise SetupError(BARE_REPOSITORY.at(None, message, help=help))
    attributes, config = (
        Path(os.path.realpath(os.path.join(folder, os.fsdecode(line))))
        for line in found.stdout.splitlines()
    )
    return Places(attributes, config)


def _shown(folder: str) -> str:
    return os.path.realpath(folder)


def set_up(folder: str) -> tuple[Done, ...]:
    """Tell the repository about Somite, in place of what it was told before. Raises SetupError."""
    there = places(folder)
    lines = {"attributes": ATTRIBUTES, "config": tuple(_config_lines(program()))}

    def with_block(kind: str) -> Callable[[bytes | None], bytes | None]:
        def changed(old: bytes | None) -> bytes | None:
            rest = without_block(old, kind) if old is not None else None
            return block_before(rest, lines[kind])

        return changed

    return _rewritten(there, with_block)


def undo(folder: str) -> tuple[Done, ...]:
    """Take back what `set_up` wrote. Raises SetupError."""

    def plain(kind: str) -> Callable[[bytes | None], bytes | None]:
        return lambda old: None if old is None else without_block(old, kind)

    return _rewritten(places(folder), plain)


def _rewritten(
    there: Places, change: Callable[[str], Callable[[bytes | None], bytes | None]]
) -> tuple[Done, ...]:
    """Both files changed, or neither."""
    before, old = _held(there.config), _held(there.attributes)
    new = change("attributes")(old)
    config = _write_config(there.config, before, change("config")(before))
    if new != old:
        try:
            _write(there.attributes, new)
        except OSError as error:
            if config.changed:
                _write_config(there.config, _held(there.config), before)
            raise _unwritable(there.attributes, error) from None
    return config, Done(there.attributes, new != old)


# ---- blocks --------------------------------------------------------------------------------------


def block_before(rest: bytes | None, lines: tuple[str, ...]) -> bytes:
    """A file's bytes with a block of lines before them; None is a file that is not there.

    It stands first so that what the repository's own lines say goes before it: git takes the last.
    """
    held = rest or b""
    mark = _MARK if held.startswith(_MARK) else b""
    first = held.partition(b"\n")[0]
    end = b"\r\n" if first.endswith(b"\r") else b"\n"
    body = b"".join([os.fsencode(line) + end for line in lines])
    made = b" with this file" if rest is None else b""
    begin = b"# begin: written by somite git-setup%b, taken back by somite git-setup --undo (%b)"
    head = begin % (made, digest_of(body)[:8].encode()) + end
    return mark + head + body + END + end + held[len(mark) :]


def without_block(content: bytes, kind: str) -> bytes | None:
    """A file's bytes without the block; None where the file was made for it and nothing is left.

    A block that somebody wrote into loses the lines that are ours and no others.
    """
    found = BEGIN.search(content)
    if found is None:
        return content
    stop = content.find(END, found.end())
    after = content.find(b"\n", stop) + 1 if stop >= 0 else 0
    body = content[found.end() : stop if stop >= 0 else len(content)]
    if stop < 0 or after == 0:
        after = len(content)
    kept = b"" if digest_of(body)[:8].encode() == found[2] else _not_ours(body, _OURS[kind])
    rest = content[: found.start()] + kept + content[after:]
    return None if found[1] and not rest else rest


def _not_ours(body: bytes, ours: re.Pattern[bytes]) -> bytes:
    """The lines of a changed block that somebody else wrote, with the sections they stand in."""
    kept: list[bytes] = []
    for line in body.splitlines(keepends=True):
        if ours.fullmatch(line):
            continue
        if _SECTION.fullmatch(line) and kept and _SECTION.fullmatch(kept[-1]):
            kept.pop()
        kept.append(line)
    if kept and _SECTION.fullmatch(kept[-1]):
        kept.pop()
    return b"".join(kept)


# ---- files ---------------------------------------------------------------------------------------


def _held(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _unwritable(path, error) from None


def _write(path: Path, content: bytes | None) -> None:
    if content is None:
        path.unlink(missing_ok=True)
    else:
        write_all({str(path): content})


def _write_config(path: Path, old: bytes | None, new: bytes | None) -> Done:
    """Git's configuration, under git's own lock, so that no other program writes it meanwhile."""
    if new is None or new == old:
        return Done(path, False)
    lock = path.with_name(f"{path.name}.lock")
    try:
        descriptor = os.open(lock, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    except OSError as error:
        raise _unwritable(lock if isinstance(error, FileExistsError) else path, error) from None
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(new)
        if old is not None:
            os.chmod(lock, path.stat().st_mode & 0o7777)
        os.replace(lock, path)
    except OSError as error:
        lock.unlink(missing_ok=True)
        raise _unwritable(path, error) from None
    return Done(path, True)


def _unwritable(path: Path, error: OSError) -> SetupError:
    if isinstance(error, FileExistsError):
        message = f'expected to write git\'s configuration, found it locked by "{path.name}"'
        help = "wait until the other git command has ended; remove the file if none is running"
    else:
        reason = (error.strerror or str(error)).lower()
        message = f'expected to write "{path.parent.name}/{path.name}", found: {reason}'
        help = "run it as somebody who may write to the repository's own folder"
    return SetupError(SETUP_UNWRITABLE.at(None, message, help=help))
