"""The same recipe and sheet give the same bytes, whatever machine, locale, zone or hash seed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FEATURES = (
    "AVX2 AVX512F AVX512CD AVX512_SKX AVX512_CLX AVX512_CNL AVX512_ICL AVX512_SPR FMA3 "
    "X86_V3 X86_V4 ASIMDHP ASIMDDP ASIMDFHM SVE"
)
"""numpy's optional processor features on x86-64 and AArch64; it warns of those it does not know."""

MACHINES = {
    "hash seed 1": {"PYTHONHASHSEED": "1"},
    "hash seed 2": {"PYTHONHASHSEED": "2"},
    "no processor features": {"NPY_DISABLE_CPU_FEATURES": FEATURES},
    "German": {"LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8", "LANGUAGE": "de"},
    "plain C": {"LC_ALL": "C"},
    "Kathmandu": {"TZ": "Asia/Kathmandu"},
    "Honolulu": {"TZ": "Pacific/Honolulu"},
}


def outputs(folder: Path, environment: dict[str, str]) -> dict[str, bytes]:
    command = [
        *(sys.executable, "-W", "ignore", "-m", "somite", "build", "recipes/upright.somite"),
        *("--sheet", "recipes/sheets/tansy_heron.toml", "-o", str(folder)),
    ]
    done = subprocess.run(
        command, cwd=ROOT, env={**os.environ, **environment}, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


@pytest.fixture(scope="module")
def usual(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return outputs(tmp_path_factory.mktemp("usual"), {"PYTHONHASHSEED": "0"})


def test_both_targets_are_written(usual: dict[str, bytes]) -> None:
    assert sorted(usual) == [
        "upright.tansy_heron.scene.json",
        "upright.tansy_heron.steps.html",
        "upright.tansy_heron.steps.md",
        "upright.tansy_heron.steps.txt",
    ]


@pytest.mark.parametrize("name", MACHINES)
def test_the_bytes_are_the_same(name: str, tmp_path: Path, usual: dict[str, bytes]) -> None:
    assert outputs(tmp_path, MACHINES[name]) == usual


def test_no_number_reaches_an_output_through_a_linear_algebra_library() -> None:
    code = """
import sys
from pathlib import Path
import somite
from somite.target import Context
from somite.targets import scene, steps
made = somite.compile("recipes/upright.somite", "recipes/sheets/tansy_heron.toml")
for target in (scene.TARGET, steps.TARGET):
    outputs, findings = target.emit(made.settled, Context())
    assert outputs and not findings
print(sorted(name for name in sys.modules if name.split(".")[0] in ("numpy", "scipy")))
"""
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"
