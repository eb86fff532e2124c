"""Makes the builders that lie beside this file importable from every folder of tests."""

import pytest


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--update` rewrites the goldens of the cases; read them before you keep them."""
    parser.addoption("--update", action="store_true", help="rewrite the goldens of tests/cases")
