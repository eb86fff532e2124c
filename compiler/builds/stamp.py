"""Stamps: what the last build of a recipe for a sheet read and wrote, to know when it still holds.

What comes in is a job; what goes out is its stamp if every file that it read, the compiler, the
options and every output are as they were. Contents are compared, by digest. Nothing here imports
anything slow, because a build with nothing to do must end at once.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator
from typing import Any

from somite.builds.digest import digest_of, digest_of_file
from somite.builds.job import Job

VERSION = 1
"""Raised when the meaning of a stamp changes; a stamp of another version counts as none."""

FOLDER = ".somite"
"""The folder in an output folder that holds the stamps."""

Stamp = dict[str, Any]
"""A stamp as its JSON document; `made` says what is in it."""


def made(
    job: Job,
    *,
    name: str,
    compiler: str,
    maker: dict[str, str],
    inputs: dict[str, str],
    outputs: dict[str, dict[str, str]],
    findings: list[Any],
    lines: dict[str, dict[str, str]],
) -> Stamp:
    """A stamp. Inputs are digests by path, outputs digests by file name by target.

    `maker` names versions, only to say what changed where the digest `compiler` did. `findings` are
    the warnings and notes of the build, repeated when nothing is to be done, and `lines` the lines
    they show. Paths are kept relative to the output folder, so that a project can be moved.
    """
    return {
        "stamp": VERSION,
        "compiler": compiler,
        "maker": maker,
        "name": name,
        "job": _asked(job),
        "inputs": {_kept(path, job.folder): digest for path, digest in inputs.items()},
        "targets": outputs,
        "findings": findings,
        "lines": lines,
    }


def path_of(job: Job, name: str) -> str:
    """Where the stamp of outputs called `name` is kept."""
    return os.path.join(job.folder, FOLDER, f"{name}.json")


def text_of(stamp: Stamp) -> str:
    """A stamp as it is written."""
    return json.dumps(stamp, indent=1) + "\n"


def latest(jobs: Iterable[Job]) -> dict[Job, Stamp]:
    """The stamp of each job's last build, by recipe, sheet and options; jobs without are left out.

    A stamp is first looked for under the name it most likely has; the others of a folder are read
    at most once.
    """
    found: dict[Job, Stamp] = {}
    shelves: dict[str, dict[str, Stamp]] = {}
    for job in jobs:
        stamp = read(_likely(job))
        if stamp is None or not is_of(stamp, job):
            if job.folder not in shelves:
                shelves[job.folder] = _shelf(job.folder)
            stamp = shelves[job.folder].get(json.dumps(_asked(job)))
        if stamp is not None:
            found[job] = stamp
    return found


def is_of(stamp: Stamp, job: Job) -> bool:
    """Whether a stamp was made for the same recipe, sheet and options."""
    return bool(stamp["job"] == _asked(job))


def holds(stamp: Stamp, compiler: str) -> bool:
    """Whether compiler and inputs are what they were when the stamp was made."""
    if stamp["compiler"] != compiler:
        return False
    folder = stamp["folder"]
    inputs: dict[str, str] = stamp["inputs"]
    return all(digest(os.path.join(folder, path)) == known for path, known in inputs.items())


def fresh(stamp: Stamp, targets: Iterable[str], compiler: str) -> bool:
    """Whether nothing is to be done: all targets are there, and all is unchanged."""
    made = stamp["targets"]
    there = all(target in made and intact(stamp, target) for target in targets)
    return there and holds(stamp, compiler)


def intact(stamp: Stamp, target: str) -> bool:
    """Whether every output of a target is still the file that was written."""
    outputs: dict[str, str] = stamp["targets"][target]
    folder = stamp["folder"]
    return all(digest(os.path.join(folder, name)) == known for name, known in outputs.items())


def digest(path: str) -> str:
    """The digest of a file, or of a folder with all that is in it; empty if there is none."""
    try:
        if os.path.isdir(path):
            rows = sorted(f"{name} {digest(full)}" for name, full in files_in(path))
            return digest_of("\n".join(rows).encode("utf-8", "surrogateescape"))
        # A pipe or a device would never end.
        return digest_of_file(path) if os.path.isfile(path) else ""
    except OSError:
        return ""


def files_in(folder: str) -> Iterator[tuple[str, str]]:
    """Every file below a folder, with its name from there (with `/`) and its path.

    Hidden files, compiled modules and links to folders are left out.
    """
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda entry: entry.name):
            if entry.name.startswith(".") or entry.name == "__pycache__":
                continue
            if entry.is_dir(follow_symlinks=False):
                for name, path in files_in(entry.path):
                    yield f"{entry.name}/{name}", path
            elif entry.is_file():
                yield entry.name, entry.path


def _asked(job: Job) -> dict[str, str | None]:
    return {
        "recipe": _kept(job.recipe, job.folder),
        "sheet": _kept(job.sheet, job.folder),
        "phrases": _kept(job.phrases, job.folder) if job.phrases else None,
        "templates": _kept(job.templates, job.folder) if job.templates else None,
        # Told only where there are any, as before joints could be named.
        **({"names": _kept(job.names, job.folder)} if job.names else {}),
        **({"loa": str(job.loa)} if job.loa is not None else {}),
        **({"people": str(job.people)} if job.people > 1 else {}),
    }


def _kept(path: str, folder: str) -> str:
    try:
        return os.path.relpath(os.path.realpath(path), os.path.realpath(folder))
    except ValueError:
        # On another drive.
        return os.path.realpath(path)


def _likely(job: Job) -> str:
    stem, _ = os.path.splitext(os.path.basename(job.recipe))
    character, _ = os.path.splitext(os.path.basename(job.sheet))
    return path_of(job, f"{stem}.{character}")


def _shelf(folder: str) -> dict[str, Stamp]:
    """Every stamp of an output folder, by the job it was made for."""
    where = os.path.join(folder, FOLDER)
    try:
        names = sorted(name for name in os.listdir(where) if name.endswith(".json"))
    except OSError:
        return {}
    stamps = (read(os.path.join(where, name)) for name in names)
    return {json.dumps(stamp["job"]): stamp for stamp in stamps if stamp is not None}


def read(path: str) -> Stamp | None:
    """A stamp with the folder it speaks of as `folder`; None if there is none that can be read."""
    try:
        with open(path, encoding="utf-8") as file:
            stamp = json.load(file)
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(stamp, dict) or stamp.get("stamp") != VERSION or not _whole(stamp):
        return None
    stamp["folder"] = os.path.dirname(os.path.dirname(path))
    return stamp


def _whole(stamp: Stamp) -> bool:
    """Whether a document that says it is a stamp has the shape of one."""
    texts = all(isinstance(stamp.get(key), str) for key in ("compiler", "name"))
    tables = all(isinstance(stamp.get(key), dict) for key in ("job", "inputs", "targets", "lines"))
    if not (texts and tables and isinstance(stamp.get("findings"), list)):
        return False
    return all(isinstance(outputs, dict) for outputs in stamp["targets"].values())
