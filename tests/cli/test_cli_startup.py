"""What a start costs, and what it must not import."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
from starting import imported

SLOW = {
    "lark",
    "jinja2",
    "pydantic",
    "networkx",
    "numpy",
    "joblib",
    "multiprocessing",
    "scipy",
    "difflib",
    "dataclasses",
    "inspect",
    "decimal",
    "importlib.metadata",
    "unicodedata",
    "somite.findings",
    "somite.pipeline",
    "somite.parse",
}


def at_start(folder: Path) -> set[str]:
    """Modules that this installation loads before any program: not of our doing."""
    done = subprocess.run(
        [sys.executable, "-c", "import json, sys; print(json.dumps(sorted(sys.modules)))"],
        cwd=folder,
        capture_output=True,
        timeout=60,
        check=True,
    )
    return set(json.loads(done.stdout))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("troupe") / "lantern"
    somite = [sys.executable, "-m", "somite"]
    subprocess.run([*somite, "new", str(folder)], check=True, capture_output=True, timeout=60)
    subprocess.run([*somite, "build"], cwd=folder, check=True, capture_output=True, timeout=120)
    return folder


def test_help_imports_nothing_slow(tmp_path: Path) -> None:
    assert not (imported(tmp_path, "--help") - at_start(tmp_path)) & SLOW


@pytest.mark.parametrize(
    "arguments",
    [("build",), ("build", "lantern.somite", "--sheet", "sheets/first.toml")],
    ids=["cast", "recipe"],
)
def test_a_build_with_nothing_to_do_imports_nothing_slow(
    built: Path, arguments: tuple[str, ...]
) -> None:
    assert not (imported(built, *arguments) - at_start(built)) & SLOW


@pytest.mark.parametrize("command", ["check", "pose", "touches"])
def test_help_on_a_command_that_poses_does_not_pay_for_posing(tmp_path: Path, command: str) -> None:
    assert not (imported(tmp_path, command, "--help") - at_start(tmp_path)) & SLOW


@pytest.mark.parametrize(
    "arguments",
    [("check", "--findings-only"), ("fmt", "--check"), ("build", "--force")],
    ids=lambda arguments: arguments[0],
)
def test_what_poses_nothing_does_not_import_the_evaluator(
    built: Path, arguments: tuple[str, ...]
) -> None:
    found = imported(built, *arguments) - at_start(built)
    assert not found & {"numpy", "joblib", "somite.evaluate", "somite.laws"}


@pytest.mark.parametrize("command", ["build", "check"])
@pytest.mark.parametrize("jobs", [(), ("--jobs", "8")], ids=["as many as fit", "eight"])
def test_one_character_is_not_shared_out(built: Path, command: str, jobs: tuple[str, ...]) -> None:
    force = ("--force",) if command == "build" else ()
    assert "joblib" not in imported(built, command, *jobs, *force)


def test_the_list_of_slow_modules_would_be_noticed(built: Path) -> None:
    assert {"lark", "somite.findings"} <= imported(built, "build", "--force")


@pytest.mark.parametrize("arguments", [("--help",), ("build",)], ids=["help", "unchanged build"])
def test_a_start_takes_at_most_four_times_a_bare_one(
    built: Path, arguments: tuple[str, ...]
) -> None:
    # The command as it is installed, without the test's own way of starting it.
    start = "import sys; from somite.cli import main; sys.exit(main())"
    bare, ours = ["-c", "pass"], ["-c", start, *arguments]
    ratio = min(fastest(built, ours, bare) for _ in range(3))
    assert ratio <= 4.0


def fastest(folder: Path, ours: list[str], bare: list[str]) -> float:
    """The quickest of several starts over the quickest bare start, taken in turns."""
    times: dict[int, list[float]] = {0: [], 1: []}
    for _ in range(10):
        for which, arguments in enumerate((ours, bare)):
            begun = time.perf_counter()
            subprocess.run(
                [sys.executable, *arguments], cwd=folder, capture_output=True, check=True
            )
            times[which].append(time.perf_counter() - begun)
    return min(times[0]) / min(times[1])
