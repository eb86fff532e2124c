"""The history of a complete biped through a thousand revisions, each of another rig.

The repository is made in a folder of its own. Cold, nothing is known; warm, all is; and with one
revision more, only that is compiled. `COUNT` in the environment sets another number of revisions.
"""

from __future__ import annotations

import os
import re
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

HERE = Path(__file__).parent
COUNT = int(os.environ.get("COUNT", "1000"))
BOUND = 30.0
"""Seconds for a thousand revisions."""

_DRAWN = re.compile(r"\b(ring|ball|box|cross) [0-9.]+")


def run(
    row: Callable[..., None],
    process: Callable[[Sequence[str], Path], float],
    somite: Callable[..., list[str]],
    folder: Path,
) -> None:
    """Every figure, by the row function of `run.py`."""
    text = (HERE / "biped.somite").read_text(encoding="utf-8")
    _git(folder, "init", "-q", "-b", "main")
    _git(folder, "fast-import", "--quiet", given=b"".join(_stream(text, COUNT)))
    _git(folder, "reset", "-q", "--hard", "main")
    command = somite("log", "rigs/biped.somite")
    bound = BOUND * COUNT / 1000
    before = os.times()
    row(f"log of {COUNT} revisions, cold", process(command, folder), bound, 1.0)
    after = os.times()
    spent = after.children_user + after.children_system
    spent -= before.children_user + before.children_system
    # A machine that has other work to do takes longer; what it takes of two idle cores is this.
    row("the same, processor time of two", spent / 2, bound, 1.0)
    row(f"log of {COUNT} revisions, warm", process(command, folder), bound, 1.0)
    recipe = folder / "rigs/biped.somite"
    recipe.write_text(recipe.read_text().replace("control nod at nape", "control nod at crown"))
    _git(folder, "commit", "-q", "-a", "-m", "One more")
    row("log with one revision more", process(command, folder), bound, 1.0)
    row("log of one thing, warm", process([*command, "nod"], folder), bound, 1.0)
    begun = time.perf_counter()
    _git(folder, "log", "--format=%H", "--", "rigs/biped.somite")
    print(f"{'git log of the file':<34}{(time.perf_counter() - begun) * 1e3:10.1f} ms")


def _stream(text: str, count: int) -> Iterator[bytes]:
    """So many commits for git, each with one control drawn in a size that it never had."""
    lines = text.split("\n")
    drawn = [at for at, line in enumerate(lines) if _DRAWN.search(line)]
    for k in range(count):
        at = drawn[k % len(drawn)]
        size = f"{2 + k / 100:.2f}"
        lines[at] = _DRAWN.sub(lambda found, size=size: f"{found[1]} {size}", lines[at])
        yield b"commit refs/heads/main\ncommitter Pip <pip@market.example> %d +0000\n" % (
            1767261600 + 3600 * k
        )
        yield _data(f"Draw line {at + 1} anew")
        yield b"M 100644 inline rigs/biped.somite\n" + _data("\n".join(lines))
        if k == 0:
            sheet = (HERE / "biped.toml").read_text(encoding="utf-8")
            cast = '[[build]]\nrecipe = "biped.somite"\nsheets = ["biped.toml"]\n'
            yield b"M 100644 inline rigs/biped.toml\n" + _data(sheet)
            yield b"M 100644 inline rigs/cast.toml\n" + _data(cast)


def _data(text: str) -> bytes:
    content = text.encode()
    return b"data %d\n" % len(content) + content + b"\n"


def _git(folder: Path, *arguments: str, given: bytes | None = None) -> None:
    person = ("-c", "user.name=Pip", "-c", "user.email=pip@market.example")
    subprocess.run(
        ["git", *person, *arguments], cwd=folder, input=given, check=True, capture_output=True
    )
