"""Every kind of finding has a case that shows it, or a test elsewhere that does."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from cases_runner import FOLDER

TESTS = Path(__file__).parent
COMPILER = TESTS.parent / "compiler"

ELSEWHERE = {
    # The sheet, its markers and what it answers.
    "tests/sheet/test_sheet_form.py": ("sheet-kind", "sheet-key", "sheet-header", "wrong-kind"),
}
