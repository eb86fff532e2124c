"""Prints every benchmark as a ratio to a peer or a floor measured in the same run."""

from __future__ import annotations

import gc
import math
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path

import material

PEER = "import lark, jinja2, pydantic, networkx, numpy"
RUNS = 9


def process(command: Sequence[str], folder: Path) -> float:
    """Seconds of wall time of a whole process."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    start = time.perf_counter()
    subprocess.run(command, check=True, cwd=folder, env=environment, capture_output=True)
    return time.perf_counter() - start


def paired(first: Sequence[str], second: Sequence[str], folder: Path) -> tuple[float, float]:
    """Median seconds of two commands, run in turn so that both meet the same machine."""
    times: tuple[list[float], list[float]] = ([], [])
    process(first, folder), process(second, folder)
    for _ in range(RUNS):
        times[0].append(process(first, folder))
        times[1].append(process(second, folder))
    return statistics.median(times[0]), statistics.median(times[1])


def somite(*arguments: str) -> list[str]:
    """A command line of the installed program."""
    return [str(Path(sys.executable).parent / "somite"), *arguments]


def row(name: str, measured: float, floor: float, bound: float, unit: str = "") -> None:
    """One line of the table."""
    ratio = measured / floor
    verdict = "within" if ratio <= bound else "OVER"
    print(
        f"{name:<34}{measured * 1e3:10.1f} ms {floor * 1e3:10.1f} ms {ratio:8.2f}  "
        f"bound {bound:g}{unit}  {verdict}"
    )


def help_time(folder: Path) -> None:
    """`somite --help` against an empty process."""
    row("help", *paired(somite("--help"), [sys.executable, "-c", "pass"], folder), 4.0)


def _project(folder: Path) -> list[str]:
    (folder / "procession.somite").write_text(material.recipe(11))
    (folder / "lumen.toml").write_text(material.sheet("lumen"))
    return somite("build", "procession.somite", "--sheet", "lumen.toml", "-o", "out")


def cold(folder: Path) -> None:
    """A whole cold build, both targets, against the imports that it needs."""
    command = [*_project(folder), "--force"]
    row("cold build, 300 lines", *paired(command, [sys.executable, "-c", PEER], folder), 1.7)


def unchanged(folder: Path) -> None:
    """A build of what has not changed against an empty process."""
    command = _project(folder)
    row("unchanged build", *paired(command, [sys.executable, "-c", "pass"], folder), 4.0)


def _best(function: Callable[[], object], times: int) -> float:
    best = math.inf
    for _ in range(times):
        gc.collect()
        start = time.perf_counter()
        function()
        best = min(best, time.perf_counter() - start)
    return best


def rebuild(folder: Path) -> None:
    """Another sheet for a recipe that is in memory: to a settled rig, and with its scene."""
    from somite import pipeline, sheet
    from somite.target import Context
    from somite.targets import scene
    from somite.text import Source

    read, _ = pipeline.read_text(Source("procession", material.recipe(11)), Path("x"), None)
    # Every character is another one: what a build keeps of a curve does not help the next.
    sheets = [Source("s.toml", material.sheet("lumen", 1 + i / 100)) for i in range(31)]
    characters = [character for source in sheets if (character := sheet.read(source)[0])]
    first = pipeline.compile_rig(read, characters[0])
    assert first.rig is not None
    nodes = len(first.rig.nodes)
    settling, writing = [], []
    for character in characters[1:]:
        begun = time.perf_counter()
        compiled = pipeline.compile_rig(read, character)
        assert compiled.settled is not None
        settled = time.perf_counter()
        scene.TARGET.emit(compiled.settled, Context())
        settling.append(settled - begun)
        writing.append(time.perf_counter() - settled)
    row(f"rebuild of 11 backs, {nodes} nodes", statistics.median(settling), 0.025, 1.0)
    print(f"{'its scene':<34}{statistics.median(writing) * 1e3:10.1f} ms")
    _rebuild_biped()


def _rebuild_biped() -> None:
    """The complete biped that posing is measured on: one riding back, four reaches."""
    from somite import pipeline, sheet
    from somite.spatial import arc, frames

    here = Path(__file__).parent
    read, _ = pipeline.read_recipe(here / "biped.somite")
    character, _ = sheet.load(here / "biped.toml")
    assert read is not None and character is not None
    times, nodes = [], 0
    for _ in range(30):
        arc._measured_once.cache_clear()
        frames._walked_once.cache_clear()
        begun = time.perf_counter()
        compiled = pipeline.compile_rig(read, character)
        times.append(time.perf_counter() - begun)
        assert compiled.rig is not None
        nodes = len(compiled.rig.nodes)
    row(f"rebuild of a biped, {nodes} nodes", statistics.median(times), 0.025, 1.0)


def parse(folder: Path) -> None:
    """Text to syntax tree against tomllib, and how both grow."""
    from somite.parse import parse as parsed
    from somite.text import Source

    times = {}
    for lines in (300, 3_000, 30_000):
        recipe, toml = material.facts(lines)
        source = Source("facts", recipe)
        repeats = 9 if lines < 30_000 else 3
        ours = _best(lambda s=source: parsed(s), repeats)
        theirs = _best(lambda t=toml: tomllib.loads(t), repeats)
        times[lines] = ours
        row(f"parse, {lines} lines", ours, theirs, 4.5)
    row("parse, 30,000 against 3,000 lines", times[30_000], times[3_000], 12.0)


def scale(folder: Path) -> None:
    """Each stage from 1,000 to 100,000 nodes: seconds, exponent and peak memory."""
    from somite import expand, order, settle, sheet, soundness
    from somite.library import Parts
    from somite.parse import parse as parsed
    from somite.target import Context
    from somite.targets import scene
    from somite.text import Source

    character, _ = sheet.read(Source("s.toml", material.sheet("lumen")))
    assert character is not None
    found: dict[str, dict[int, float]] = {}
    for creatures in (77, 770, 7_700):
        document, _ = parsed(Source("procession", material.recipe(creatures)))
        start = time.perf_counter()
        rig, _ = expand.expand(document, character, Parts({document.source.name: {}}))
        marks = [("expand", start)]
        assert rig is not None
        nodes = len(rig.nodes)
        marks.append(("soundness", time.perf_counter()))
        soundness.examine(rig)
        marks.append(("order", time.perf_counter()))
        plan, _ = order.order(rig)
        assert plan is not None
        marks.append(("settle", time.perf_counter()))
        settled, _ = settle.settle(rig, plan)
        assert settled is not None
        marks.append(("scene", time.perf_counter()))
        scene.TARGET.emit(settled, Context())
        marks.append(("end", time.perf_counter()))
        for (name, begun), (_, ended) in pairwise(marks):
            found.setdefault(name, {})[nodes] = ended - begun
        del rig, plan, settled, document
    for name, times in found.items():
        sizes = sorted(times)
        exponent = math.log(times[sizes[2]] / times[sizes[1]]) / math.log(sizes[2] / sizes[1])
        seconds = "  ".join(f"{size:>7} nodes {times[size]:8.3f} s" for size in sizes)
        print(f"scale, {name:<12}{seconds}  exponent {exponent:.2f}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"scale, peak memory {peak:.0f} MB for the largest")


def posing(folder: Path) -> None:
    """Posing a complete biped against bare forward kinematics."""
    import posing as measured

    measured.run(row)


def cast(folder: Path) -> None:
    """A thousand bipeds, by one process and by two. Takes a quarter of an hour."""
    import casting

    casting.run(folder, row)


def diff(folder: Path) -> None:
    """Comparing two bipeds, posed, against building both."""
    import diff as measured

    measured.run(row, paired, somite, folder)


def log(folder: Path) -> None:
    """The history of a biped through a thousand revisions."""
    import log as measured

    measured.run(row, process, somite, folder)


ALL = {
    "help": help_time,
    "cold": cold,
    "unchanged": unchanged,
    "rebuild": rebuild,
    "parse": parse,
    "scale": scale,
    "posing": posing,
    "cast": cast,
    "diff": diff,
    "log": log,
}


def main(names: Sequence[str]) -> int:
    """Run the named benchmarks, or all."""
    for name in names or ALL:
        with tempfile.TemporaryDirectory() as folder:
            ALL[name](Path(folder))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
