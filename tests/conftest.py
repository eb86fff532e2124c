"""Makes the builders that lie beside this file importable from every folder of tests.

It also says where compiled kernels are kept: not beside the source, and longer than one run.
"""

import os
from pathlib import Path

import pytest
from hypothesis import settings

CACHES = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
os.environ.setdefault("NUMBA_CACHE_DIR", str(CACHES / "somite-tests"))


# How long an example takes says how busy the machine is.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--update` rewrites the goldens of the cases; read them before you keep them."""
    parser.addoption("--update", action="store_true", help="rewrite the goldens of tests/cases")
