"""Where Somite's own files lie, and one digest that tells an installation from another.

What comes in is nothing but the installation; what goes out is folders and a digest. Packages are
found without importing them, because a build with nothing to do must not pay for imports.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator

from somite.builds.digest import digest_of, digest_of_file
from somite.version import VERSION

PACKAGES = ("grammar", "targets", "recipes")
"""The packages beside the compiler, each a folder of its own in the repository."""


OWN = os.path.dirname(os.path.dirname(__file__))
"""The compiler's folder: all of it counts, not only this one."""

SILENT = frozenset({"__pycache__", "findings", "reference", "schemas"})
"""Folders of the installation that no output depends on."""


def folder_of(package: str) -> str:
    """The folder of one of `PACKAGES`. Raises LookupError where it is not installed."""
    folder = os.path.join(OWN, package)
    if os.path.isdir(folder):
        return folder
    # Installed for editing, where the packages lie apart.
    from importlib.util import find_spec

    found = find_spec(f"somite.{package}")
    if found is None or not found.submodule_search_locations:
        raise LookupError(f"somite.{package} is not installed")
    return str(next(iter(found.submodule_search_locations)))


def compiler_digest() -> str:
    """A digest of the installation: version, Python, and the name, size and time of every file.

    The files' contents are not read: an installation that was touched counts as another, which
    costs a rebuild and no more.
    """
    # Installed plainly, the packages lie inside; installed for editing, they lie apart.
    apart = [root for root in map(folder_of, PACKAGES) if os.path.dirname(root) != OWN]
    facts = sorted(fact for root in (OWN, *apart) for fact in _facts(root, ""))
    text = "\n".join([VERSION, sys.version, *facts])
    return digest_of(text.encode("utf-8", "surrogateescape"))


def contents_digest() -> str:
    """A digest of the installation's version and contents, however and whenever it was installed.

    It tells whether another machine has the same compiler. It reads every file, which takes longer.
    """
    from somite.builds.stamp import files_in

    roots = {"": OWN, **{package: folder_of(package) for package in PACKAGES}}
    facts = {
        f"{inside}/{name}".lstrip("/"): digest_of_file(path)
        for inside, root in roots.items()
        for name, path in files_in(root)
    }
    told = sorted(f"{name} {digest}" for name, digest in facts.items() if _counts(name))
    return digest_of("\n".join([VERSION, *told]).encode("utf-8", "surrogateescape"))


def _counts(name: str) -> bool:
    """Whether an output may depend on a file of the installation, by its path there."""
    *folders, file = name.split("/")
    if folders[:1] == ["recipes"]:
        return folders[1:2] == ["parts"]
    return not SILENT.intersection(folders) and file not in ("README.md", "py.typed")


def _facts(folder: str, before: str) -> Iterator[str]:
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir():
                if entry.name not in SILENT:
                    yield from _facts(entry.path, f"{before}{entry.name}/")
            else:
                stat = entry.stat()
                yield f"{before}{entry.name} {stat.st_size} {stat.st_mtime_ns}"
