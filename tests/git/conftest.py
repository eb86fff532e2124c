"""Repositories for the tests of this folder."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from stall import ENVIRONMENT, Stall


@pytest.fixture
def stall(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Stall:
    """A repository with one commit, in whose top folder the test stands."""
    if shutil.which("git") is None:
        pytest.skip("git is not installed")
    for name, value in ENVIRONMENT.items():
        monkeypatch.setenv(name, value)
    made = Stall(tmp_path / "night market")
    made.commit("The lamp bearer")
    monkeypatch.chdir(made.top)
    return made
