"""How much work something is, without a clock: the lines of Python that it runs."""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FrameType
from typing import Any


def lines_run(action: Callable[[], object]) -> int:
    """The lines of Python that an action runs, those of all that it calls included."""
    count = 0

    def at(frame: FrameType, event: str, argument: Any) -> Any:
        nonlocal count
        count += event == "line"
        return at

    before = sys.gettrace()
    sys.settrace(at)
    try:
        action()
    finally:
        sys.settrace(before)
    return count
