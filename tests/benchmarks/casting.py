"""A cast of a thousand bipeds built by the command: time, memory, and what a second process gives.

The sheets are the shipped ones, stretched and shifted a little by a seeded generator, so that every
character is another one and every run builds the same. Each size is built by a process of its own;
the peak is that of the largest process at work, since the system counts no sum.
"""

from __future__ import annotations

import json
import math
import os
import random
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

RECIPES = Path(__file__).parents[2] / "recipes"
SOURCES = ("adult_a", "adult_b", "bram_badger", "juniper_fox", "morel_toad", "standing_figure")
SIZES = (100, 300, 1000)
TRIPLE = re.compile(r"\[\s*(-?[\d.]+)\s*,\s*(-?[\d.]+)\s*,\s*(-?[\d.]+)\s*\]")

MEASURED = """
import json, resource, sys, time
from somite.cli import main
begun = time.perf_counter()
status = main(sys.argv[1:])
seconds = time.perf_counter() - begun
used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
work = sum(one.ru_utime + one.ru_stime for one in used)
peak = max(one.ru_maxrss for one in used) / 1024
print(json.dumps([status, seconds, work, peak]), file=sys.stderr)
"""


def sheet(text: str, name: str, chance: random.Random) -> str:
    """A sheet for another character: the whole stretched by axis, each place shifted a little."""
    stretch = [chance.uniform(0.7, 1.4) * chance.uniform(0.95, 1.05) for _ in range(3)]
    scale = stretch[1]

    def moved(found: re.Match[str]) -> str:
        # Each number by a factor, so that what lies in the middle stays there.
        numbers = [
            float(number) * scale * (1 + 0.1 * (part / scale - 1)) * chance.uniform(0.998, 1.002)
            for number, part in zip(found.groups(), stretch, strict=True)
        ]
        return "[" + ", ".join(f"{number:.5f}" for number in numbers) + "]"

    text = re.sub(r'^character = ".*"$', f'character = "{name}"', text, flags=re.MULTILINE)
    return TRIPLE.sub(moved, text)


def project(folder: Path, count: int) -> None:
    """A cast of so many characters: copies of the recipe and its parts, and generated sheets."""
    shutil.copy(RECIPES / "upright.somite", folder)
    (folder / "sheets").mkdir(parents=True)
    chance = random.Random(20)
    texts = [(RECIPES / "sheets" / f"{name}.toml").read_text("utf-8") for name in SOURCES]
    for number in range(count):
        name = f"puppet_{number:04}"
        text = sheet(texts[number % len(texts)], name, chance)
        (folder / "sheets" / f"{name}.toml").write_text(text, encoding="utf-8")
    (folder / "cast.toml").write_text(
        '[[build]]\nrecipe = "upright.somite"\nsheets = ["sheets/*.toml"]\n', encoding="utf-8"
    )


def built(folder: Path, count: int, jobs: int) -> tuple[float, float, float]:
    """Seconds that the build of a cast takes, those its processes work, and their peak in MB."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    project(folder, count)
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, "build", "--jobs", str(jobs)],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    status, seconds, work, peak = json.loads(done.stderr.splitlines()[-1])
    summary = [line for line in done.stdout.splitlines() if line.startswith(f"{count} characters")]
    if status or summary != [f"{count} characters: {count} built"]:
        raise SystemExit(f"not all were built: {summary}\n{done.stderr[-2000:]}")
    return seconds, work, peak


def run(folder: Path, row: Callable[..., None]) -> None:
    """The table: each size by one process and by two, how both grow, and what the second gives."""
    sizes = [int(size) for size in os.environ.get("SIZES", "").split()] or list(SIZES)
    found: dict[int, dict[int, tuple[float, float, float]]] = {}
    for jobs in (1, 2):
        for count in sizes:
            seconds, work, peak = built(folder / "cast", count, jobs)
            found.setdefault(jobs, {})[count] = seconds, work, peak
            print(
                f"cast of {count:>5}, {jobs} process{'es' if jobs > 1 else '  '}"
                f"{seconds:8.1f} s, {seconds / count * 1e3:5.0f} ms each;"
                f" worked {work:7.1f} s, {work / count * 1e3:5.0f} ms each; {peak:4.0f} MB",
                flush=True,
            )
    first, last = sizes[0], sizes[-1]
    for jobs, times in found.items():
        grown = [
            math.log(times[last][kind] / times[first][kind]) / math.log(last / first)
            for kind in (0, 1)
        ]
        more = times[last][2] / times[first][2]
        print(
            f"cast, {jobs} at work: exponent {grown[0]:.2f}, of the work {grown[1]:.2f};"
            f" memory {more:.2f} times"
        )
    one, two = found[1][last][0], found[2][last][0]
    print(f"cast of {last}: two processes are {one / two:.2f} times as fast as one")
    begun = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "somite", "build"],
        cwd=folder / "cast",
        check=True,
        capture_output=True,
    )
    print(f"cast of {last}, nothing to do: {time.perf_counter() - begun:.2f} s")
