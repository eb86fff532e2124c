"""What the project ships and what its tests hold: recipes and sheets to be bent out of shape."""

from __future__ import annotations

from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
PLAIN_SHEET = 'character = "pip_otter"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'


@cache
def recipes() -> tuple[tuple[str, str, str], ...]:
    """Each recipe's name, its text, and the text of a sheet that it is built for."""
    found = []
    heron = (ROOT / "recipes/sheets/tansy_heron.toml").read_text(encoding="utf-8")
    for path in sorted((ROOT / "recipes").glob("*.somite")):
        found.append((path.name, path.read_text(encoding="utf-8"), heron))
    for path in sorted((ROOT / "tests/cases").glob("*/*.somite")):
        beside = path.with_suffix(".toml")
        sheet = beside.read_text(encoding="utf-8") if beside.exists() else PLAIN_SHEET
        found.append((f"{path.parent.name}/{path.name}", path.read_text(encoding="utf-8"), sheet))
    for path in sorted((ROOT / "recipes/parts").glob("*.somite")):
        found.append((f"parts/{path.name}", path.read_text(encoding="utf-8"), PLAIN_SHEET))
    return tuple(found)


@cache
def sheets() -> tuple[tuple[str, bytes], ...]:
    """Each shipped sheet's name and bytes."""
    folder = ROOT / "recipes/sheets"
    return tuple(
        [
            (path.name, path.read_bytes())
            for path in sorted(folder.iterdir())
            if path.suffix in (".toml", ".json")
        ]
    )


@cache
def upright() -> str:
    """The recipe that every shipped sheet is for."""
    return (ROOT / "recipes/upright.somite").read_text(encoding="utf-8")
