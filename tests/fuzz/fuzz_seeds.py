"""What the project ships and what its tests hold: recipes and sheets to be bent out of shape."""

from __future__ import annotations

from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
PLAINEST = {
    "upright": "juniper_fox.toml",
    "four_legged": "four_legged/soot_cat.toml",
    "long_necked": "long_necked/wick_flamingo.toml",
    "limbless": "limbless/lisle_snake.toml",
    "many_armed": "many_armed/ambrosia_spider.toml",
}
"""Of each shipped recipe a sheet that leaves much to it and needs no other file."""
PLAIN_SHEET = 'character = "pip_otter"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'


@cache
def recipes() -> tuple[tuple[str, str, str], ...]:
    """Each recipe's name, its text, and the text of a sheet that it is built for."""
    found = []
    for path in sorted((ROOT / "recipes").glob("*.somite")):
        sheet = (ROOT / "recipes/sheets" / PLAINEST[path.stem]).read_text(encoding="utf-8")
        found.append((path.name, path.read_text(encoding="utf-8"), sheet))
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
def two_legged() -> str:
    """A small recipe that every shipped sheet can answer."""
    return (Path(__file__).parent / "two_legged.somite").read_text(encoding="utf-8")
