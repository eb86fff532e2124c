"""Targets: from a settled rig to files.

What comes in is a target's name or folder; what goes out is the target. The built-in ones are
listed here and imported when they are asked for; others are found in folders and among installed
packages. Nothing here knows what any of them writes.
"""

from __future__ import annotations

import os
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from somite.findings import Code, Finding, nearest

if TYPE_CHECKING:
    from somite.target import Target

UNKNOWN_TARGET = Code("unknown-target")

BUILT_IN = {
    "scene": "somite.targets.scene",
    "steps": "somite.targets.steps",
    "joints": "somite.targets.joints",
}
"""The built-in targets by name, each with the module that holds it as `TARGET`."""


def find(name_or_folder: str) -> tuple[Target | None, tuple[Finding, ...]]:
    """The target of a name or folder.

    A built-in name goes first, then a folder, then the targets that installed packages offer. A
    folder whose name is that of a built-in target is reached as `./name`.
    """
    module = BUILT_IN.get(name_or_folder)
    if module is not None:
        target: Target = import_module(module).TARGET
        return target, ()
    from somite.targets import custom

    if os.path.isdir(name_or_folder):
        return custom.load(Path(name_or_folder))
    entries = custom.installed()
    entry = entries.get(name_or_folder)
    if entry is not None:
        return custom.from_entry(entry)
    return None, (_unknown(name_or_folder, (*BUILT_IN, *sorted(entries))),)


def _unknown(name: str, known: tuple[str, ...]) -> Finding:
    close = nearest(name, known)
    message = f'expected a target or a folder with a target.toml, found "{name}"'
    help = f'did you mean "{close}"?' if close else f"the targets are {', '.join(known)}"
    return UNKNOWN_TARGET.at(None, message, help=help)
