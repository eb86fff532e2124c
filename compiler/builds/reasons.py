"""Why a character is built, or need not be: in words, for the person who asks.

What comes in is a job and the stamp of its last build; what goes out is one reason for each thing
that is not as it was then. It agrees with `stamp.fresh`, which only says whether there is any.
Nothing here builds, or knows what a recipe means.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator

from somite.builds import stamp
from somite.builds.job import Job
from somite.builds.stamp import Stamp
from somite.version import VERSION

Reason = str
"""What is not as it was, as a clause: `the sheet "sheets/otter.toml" changed`."""


def to_build(
    job: Job, last: Stamp | None, compiler: str, *, force: bool = False
) -> tuple[Reason, ...]:
    """Every reason to build a job; none where nothing is to be done."""
    if force:
        return ("it was asked for with --force",)
    if last is None:
        return (f'"{job.folder}" holds no finished build of it',)
    return (*_of_compiler(last, compiler), *_of_inputs(job, last), *_of_outputs(job, last))


def to_rest(job: Job, last: Stamp) -> Reason:
    """Why nothing is to be done: what was compared."""
    roles: dict[str, int] = {}
    for path in last["inputs"]:
        role = _role(job, os.path.join(last["folder"], path))
        roles[role] = roles.get(role, 0) + 1
    things = [_counted(role, count) for role, count in roles.items()]
    return f"nothing changed ({', '.join(things)}, outputs, Somite)"


def _of_compiler(last: Stamp, compiler: str) -> Iterator[Reason]:
    if last["compiler"] == compiler:
        return
    maker = last.get("maker")
    before = maker if isinstance(maker, dict) else {}
    now = maker_now()
    named = {"somite": "Somite", "python": "Python"}
    moved = [key for key in named if isinstance(before.get(key), str) and before[key] != now[key]]
    for key in moved:
        yield f"{named[key]} is {now[key]}, was {before[key]}"
    if not moved:
        yield "Somite's own files, or its library of parts, changed"


def maker_now() -> dict[str, str]:
    """The versions that a stamp records, so that a change of them can be told in words."""
    return {"somite": VERSION, "python": sys.version.split()[0]}


def _of_inputs(job: Job, last: Stamp) -> Iterator[Reason]:
    inputs: dict[str, str] = last["inputs"]
    for kept, known in inputs.items():
        path = os.path.normpath(os.path.join(last["folder"], kept))
        found = stamp.digest(path)
        if found != known:
            what = f'{_role(job, path)} "{_from_here(path)}"'
            yield f"{what} changed" if found else f"{what} can not be read any more"


def _of_outputs(job: Job, last: Stamp) -> Iterator[Reason]:
    made: dict[str, dict[str, str]] = last["targets"]
    for target in job.targets:
        if target not in made:
            yield f'the target "{target}" is new'
            continue
        for name, known in made[target].items():
            found = stamp.digest(os.path.join(last["folder"], name))
            if found != known:
                yield f'the output "{name}" is {"not as it was written" if found else "missing"}'


def _role(job: Job, path: str) -> str:
    """What an input is to a job: named in it, or taken by what is."""
    real = os.path.realpath(path)
    named = (
        (job.recipe, "the recipe"),
        (job.sheet, "the sheet"),
        (job.phrases, "the phrase file"),
        (job.templates, "the templates in"),
        (job.names, "the names file"),
        *((target, "the target in") for target in job.targets),
    )
    for name, role in named:
        if name is not None and os.path.realpath(name) == real:
            return role
    if path.endswith(".somite"):
        return "the imported file"
    if path.endswith((".toml", ".json")):
        return "the sheet of a rig on it"
    return "the target's module" if path.endswith(".py") else "the landmark file"


def _counted(role: str, count: int) -> str:
    thing = role.removeprefix("the ").removesuffix(" in")
    return thing if count == 1 else f"{count} {thing}s"


def _from_here(path: str) -> str:
    try:
        return os.path.relpath(path).replace(os.sep, "/")
    except ValueError:
        # On another drive.
        return path
