"""The cast file as plain values, and what is wrong with them.

What comes in is the text of a `cast.toml`; what goes out is the builds that it lists, or faults
that name the key they are about. `somite.builds.cast` turns faults into findings: kept apart so
that a build with nothing to do need not import them.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple

from somite.builds.job import DEFAULT_FOLDER, DEFAULT_TARGETS, MOST_PEOPLE, Job

NAME = "cast.toml"

QUICK = 1024 * 1024
"""The most bytes of a cast file that are read before it is looked at closely."""

Where = tuple["str | int", ...]
"""A key of the file: ("out",), or ("build", 0, "sheets") for the first `[[build]]`."""


class Fault(NamedTuple):
    """Something wrong in a cast file: its kind (`syntax`, `key`, `value`, `missing`) and place."""

    kind: str
    where: Where
    message: str
    help: str
    line: int = 0
    column: int = 0


class Entry(NamedTuple):
    """A `[[build]]` of the file, paths as written in it."""

    recipe: str
    sheets: tuple[str, ...]
    targets: tuple[str, ...]
    names: str | None = None
    loa: int | None = None
    people: int = 1


class Cast(NamedTuple):
    """A cast file: where it lies, where outputs go, and its builds."""

    folder: str
    out: str
    phrases: str | None
    templates: str | None
    entries: tuple[Entry, ...]


TOP_KEYS = ("out", "targets", "phrases", "templates", "names", "loa", "people", "build")
BUILD_KEYS = ("recipe", "sheets", "targets", "names", "loa", "people")


def found_from(folder: str) -> str | None:
    """The cast file of the project that a folder lies in, or None.

    The project folder is the nearest one, here or above, that holds `cast.toml` or `.git`.
    """
    here = os.path.abspath(folder)
    while True:
        path = os.path.join(here, NAME)
        if os.path.isfile(path):
            return os.path.relpath(path, folder) if folder == os.curdir else path
        above = os.path.dirname(here)
        if os.path.lexists(os.path.join(here, ".git")) or above == here:
            return None
        here = above


def read(text: str, folder: str) -> tuple[Cast | None, tuple[Fault, ...]]:
    """The cast that a text lists, in a folder; None where there is any fault."""
    import tomllib

    try:
        table = tomllib.loads(text)
    except RecursionError:
        return None, (_syntax("values are nested too deep"),)
    except ValueError as mistake:
        # Not only what tomllib itself refuses: a number of thousands of digits comes from Python.
        return None, (_syntax(str(mistake)),)
    faults = tuple(_faults(table))
    if faults:
        return None, faults
    targets = tuple(table.get("targets", DEFAULT_TARGETS))
    entries = tuple(
        Entry(
            one["recipe"],
            tuple(one["sheets"]),
            tuple(one.get("targets", targets)),
            one.get("names", table.get("names")),
            one.get("loa", table.get("loa")),
            one.get("people", table.get("people", 1)),
        )
        for one in table["build"]
    )
    out = table.get("out", DEFAULT_FOLDER)
    return Cast(folder, out, table.get("phrases"), table.get("templates"), entries), ()


def of_recipe(jobs: Iterable[Job], recipe: str) -> list[Job]:
    """Those of a cast's builds that are of a recipe, by whatever path it is named."""
    real = os.path.realpath(recipe)
    return [job for job in jobs if os.path.realpath(job.recipe) == real]


def jobs_at(path: str) -> tuple[Job, ...]:
    """The builds of a cast file in which nothing is wrong; none where `cast` must look."""
    try:
        if os.path.getsize(path) > QUICK:
            return ()
        with open(path, encoding="utf-8-sig") as file:
            cast, faults = read(file.read(), os.path.dirname(path))
    except (OSError, ValueError):
        return ()
    if cast is None or faults:
        return ()
    patterns = (pattern for entry in cast.entries for pattern in entry.sheets)
    recipes = (_joined(cast.folder, entry.recipe) for entry in cast.entries)
    there = all(matches(cast.folder, pattern) for pattern in patterns)
    return jobs(cast) if there and all(map(os.path.isfile, recipes)) else ()


def jobs(cast: Cast) -> tuple[Job, ...]:
    """Every build of a cast: an entry after another, the sheets of a pattern by name."""
    return tuple(
        Job(
            _joined(cast.folder, entry.recipe),
            sheet,
            tuple(_target(cast.folder, target) for target in entry.targets),
            _joined(cast.folder, cast.out),
            _joined(cast.folder, cast.phrases) if cast.phrases else None,
            _joined(cast.folder, cast.templates) if cast.templates else None,
            _joined(cast.folder, entry.names) if entry.names else None,
            entry.loa,
            entry.people,
        )
        for entry in cast.entries
        for sheet in dict.fromkeys(
            sheet for pattern in entry.sheets for sheet in matches(cast.folder, pattern)
        )
    )


def matches(folder: str, pattern: str) -> list[str]:
    """The files that a pattern of a cast names, by name in order of code points."""
    from glob import glob

    root = folder or os.curdir
    names = glob(pattern, root_dir=root, recursive=True)
    paths = (_joined(folder, name) for name in sorted(names))
    return [path for path in paths if os.path.isfile(path)]


def _target(folder: str, target: str) -> str:
    """A target's name, or its folder from here: what has a `/` is a folder."""
    if "/" not in target:
        return target
    path = _joined(folder, target)
    return path if os.sep in path else os.path.join(os.curdir, path)


def _joined(folder: str, path: str) -> str:
    return os.path.normpath(os.path.join(folder, path))


def _syntax(message: str) -> Fault:
    place = re.search(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)", message)
    text = message[: place.start()] if place else message
    line, column = (int(place[1]), int(place[2])) if place and place[1] else (0, 0)
    shown = text[:1].lower() + text[1:]
    help = "a cast file is TOML: https://toml.io says how it is written"
    return Fault("syntax", (), f"expected TOML, found a mistake: {shown}", help, line, column)


def _faults(table: dict[str, Any]) -> Iterator[Fault]:
    yield from _unknown(table, TOP_KEYS, ())
    if "out" in table:
        yield from _path_fault(table["out"], ("out",))
    for key in ("phrases", "templates"):
        if key in table:
            yield from _path_fault(table[key], (key,))
    if "targets" in table:
        yield from _names_fault(table["targets"], ("targets",))
    yield from _naming_faults(table, (), "names" in table)
    yield from _people_faults(table, ())
    builds = table.get("build")
    if builds is None:
        yield Fault("missing", (), "expected a [[build]], found none", _EXAMPLE)
    elif not isinstance(builds, list) or not all(isinstance(one, dict) for one in builds):
        message = f"expected tables headed [[build]], found {_kind(builds)}"
        yield Fault("value", ("build",), message, _EXAMPLE)
    else:
        for number, one in enumerate(builds):
            yield from _build_faults(one, ("build", number), "names" in table)


def _build_faults(one: dict[str, Any], where: Where, named: bool) -> Iterator[Fault]:
    yield from _unknown(one, BUILD_KEYS, where)
    for key in ("recipe", "sheets"):
        if key not in one:
            yield Fault(
                "missing", where, f'expected "{key}" in this [[build]], found none', _EXAMPLE
            )
    if "recipe" in one:
        yield from _path_fault(one["recipe"], (*where, "recipe"))
    if "sheets" in one:
        yield from _names_fault(one["sheets"], (*where, "sheets"))
        if isinstance(one["sheets"], list):
            for sheet in one["sheets"]:
                if isinstance(sheet, str) and sheet:
                    yield from _path_fault(sheet, (*where, "sheets"))
    if "targets" in one:
        yield from _names_fault(one["targets"], (*where, "targets"))
    yield from _naming_faults(one, where, "names" in one or named)
    yield from _people_faults(one, where)


def _naming_faults(table: dict[str, Any], where: Where, named: bool) -> Iterator[Fault]:
    """Faults of the names file and its level of articulation, which is said beside one only."""
    if "names" in table:
        yield from _path_fault(table["names"], (*where, "names"))
    loa = table.get("loa", 1)
    if type(loa) is not int or not 1 <= loa <= 3:
        message = f'expected 1, 2 or 3 for "loa", found {_number_or_kind(loa)}'
        yield Fault("value", (*where, "loa"), message, "write a level of articulation: loa = 3")
    elif "loa" in table and not named:
        message = 'expected "names" beside "loa", found none'
        yield Fault("value", (*where, "loa"), message, 'write names = "names/h_anim.toml", too')


def _people_faults(table: dict[str, Any], where: Where) -> Iterator[Fault]:
    """Faults of how many people share the build steps."""
    people = table.get("people", 1)
    if type(people) is not int or not 1 <= people <= MOST_PEOPLE:
        message = f'expected 1 to {MOST_PEOPLE} for "people", found {_number_or_kind(people)}'
        yield Fault("value", (*where, "people"), message, "write how many build: people = 2")


def _unknown(table: dict[str, Any], known: tuple[str, ...], where: Where) -> Iterator[Fault]:
    for key in table:
        if key not in known:
            message = f'expected a key of a cast file, found "{key}"'
            yield Fault("key", (*where, key), message, f"the keys here are {', '.join(known)}")


def _path_fault(value: object, where: Where) -> Iterator[Fault]:
    key = where[-1]
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        yield Fault("value", where, f'expected a path for "{key}", found {_kind(value)}', _QUOTED)
        return
    parts = value.split("/")
    if os.path.isabs(value) or "\\" in value or ".." in parts or re.match("[A-Za-z]:", value):
        message = f'expected a path inside the project folder for "{key}", found "{value}"'
        help = 'write it from the folder of cast.toml, with "/" between its parts'
        yield Fault("value", where, message, help)


def _names_fault(value: object, where: Where) -> Iterator[Fault]:
    fit = isinstance(value, list) and value and all(isinstance(one, str) and one for one in value)
    if not fit:
        message = f'expected a list of texts for "{where[-1]}", found {_kind(value)}'
        yield Fault("value", where, message, f'write a list: {where[-1]} = ["..."]')


def _number_or_kind(value: object) -> str:
    """A whole number as it is written, or of what kind a value is."""
    return str(value) if type(value) is int else _kind(value)


def _kind(value: object) -> str:
    if value == "" or value == []:
        return "nothing"
    names = {bool: "true or false", int: "a number", float: "a number", str: "a text"}
    names |= {list: "a list", dict: "a table"}
    return names.get(type(value), "a date or time")


_QUOTED = "write the path in quotes"
_EXAMPLE = (
    'for example: [[build]] recipe = "heron.somite", sheets = ["sheets/*.toml"], each on a line'
)
