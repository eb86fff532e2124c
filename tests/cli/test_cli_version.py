"""The version is stated once for people and once for the machine, and both say the same."""

from __future__ import annotations

import tomllib
from pathlib import Path

from somite.version import VERSION

PROJECT = Path(__file__).parents[2] / "pyproject.toml"


def test_the_constant_is_the_version_of_the_project() -> None:
    assert tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["version"] == VERSION
