"""Somite: a compiler of rig-build recipes.

One recipe and a sheet of measurements a character in, a rig out: exact, ordered, checked.

>>> import somite
>>> recipe = '''
... recipe lantern
...   axes up +Y front +Z
... sheet
...   point hook, flame
... control pole at hook  ring 20 cm  carries all
... joint light at flame  under pole
... '''
>>> sheet = '''
... character = "lumen"
... unit = "cm"
... up = "+Y"
... front = "+Z"
... [points]
... hook = [0, 120, 0]
... flame = [0, 90, 0]
... '''
>>> made = somite.compile_text(recipe, sheet)
>>> made.findings
()
>>> [node.name for node in made.rig.nodes]
['light', 'pole']
>>> made.pose({"pole.turn.z": "90 deg"}).place("light").round(6).tolist()
[[0.3, 1.2, 0.0]]

The names below are loaded when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from somite.evaluate import MissingExtra, Posed, PoseError
    from somite.findings import Finding, Severity
    from somite.format import formatted
    from somite.ir import Rig
    from somite.pipeline import Compiled, Read, compile, compile_rig, compile_text, read_recipe
    from somite.settle import Settled
    from somite.sheet import Sheet
    from somite.sheet import load as read_sheet
    from somite.text import Source
    from somite.version import VERSION as __version__

_FROM = {
    "Compiled": "pipeline",
    "Finding": "findings",
    "MissingExtra": "evaluate",
    "PoseError": "evaluate",
    "Posed": "evaluate",
    "Read": "pipeline",
    "Rig": "ir",
    "Settled": "settle",
    "Severity": "findings",
    "Sheet": "sheet",
    "Source": "text",
    "compile": "pipeline",
    "compile_rig": "pipeline",
    "compile_text": "pipeline",
    "formatted": "format",
    "read_recipe": "pipeline",
    "read_sheet": "sheet",
    "__version__": "version",
}
_NAMED = {"read_sheet": "load", "__version__": "VERSION"}

__all__ = [
    "Compiled",
    "Finding",
    "MissingExtra",
    "PoseError",
    "Posed",
    "Read",
    "Rig",
    "Settled",
    "Severity",
    "Sheet",
    "Source",
    "__version__",
    "compile",
    "compile_rig",
    "compile_text",
    "formatted",
    "read_recipe",
    "read_sheet",
]


def __getattr__(name: str) -> Any:
    module = _FROM.get(name)
    if module is None:
        raise AttributeError(f"module 'somite' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"somite.{module}"), _NAMED.get(name, name))
