"""Lines that were once read past or broke the compiler, each with the finding that tells now."""

from __future__ import annotations

from pathlib import Path

import pytest
from bombs import HEAD
from fuzz_seeds import PLAIN_SHEET
from fuzz_trial import tried

CHAIN = "chain c through ground, ground + (0, 9 cm, 1 cm) under m\n"
CURVE = "curve c shaped by ground, (0, 1 cm, 0), (0, 2 cm, 0), (0, 3 cm, 0)\n"

FOUND = {
    "a clause below a request": ("sheet\n  count n = 2\n    lock turn.x\n", "clause-misplaced"),
    "a statement below a request": (
        "sheet\n  count n = 2\n    joint j at ground\n",
        "statement-misplaced",
    ),
    "a clause below a mirror": ("mirror\n  lock turn.x\n", "clause-misplaced"),
    "a clause in a condition of no statement": ("when 1 is 1\n  follow m\n", "clause-misplaced"),
    "a clause below a need": (
        "part p\n  needs node n\n    lock turn.x\n  joint j at n\nuse p as p\n  with n = m\n",
        "clause-misplaced",
    ),
    "a statement below a dial": (
        "control c at ground under m\n  dial d = 0\n    joint j at ground\n",
        "statement-misplaced",
    ),
    "a clause below a pose in a check": (
        'check "still"\n  pose m.move.x = 1 cm\n    lock size\n  expect m still\n',
        "clause-misplaced",
    ),
    "a head in a block": ("mirror\n  recipe second\n", "statement-misplaced"),
    "a line below a clause": (
        "control c at ground under m\n  ring 1 cm\n    lock size\n",
        "uneven-indent",
    ),
    "two defaults": ("control c at ground under m\n  dial d = 0 = 1\n", "clause-twice"),
    "two ranges": ("sheet\n  count n = 2 in 1..3 in 1..9\n", "clause-twice"),
    "two fors": ("control c at ground\n  follow m for move for turn\n", "clause-twice"),
    "two axes of a shape": (
        "control c at ground under m\n  ring 1 cm across +X across +Y\n",
        "clause-twice",
    ),
    "a channel posed twice": (
        "pose p\n  set m.move.x = 1 cm\n  set m.move.x = 2 cm\n",
        "pose-form",
    ),
    "a request in two blocks": (
        "sheet\n  length a = 1 cm\nsheet\n  length a = 2 cm\n",
        "declared-twice",
    ),
    "like beside an axis": (
        "joint j at ground like m under m\n  axis +X toward ground + (0, 1 cm, 0)\n",
        "bad-axes",
    ),
    "a count of given control points": (f"{CURVE}  points 6\n", "curve-shape"),
    "a distance to what does not move": (
        "gauge g = live distance(m, ground + (0, 1 cm, 0))\n",
        "live-value",
    ),
    "a weight with a unit": ("control c at ground\n  follow m 30 mm, world 3\n", "weights"),
    "a whole number without end": (f"{CHAIN}  bones {'9' * 400}\n", "too-large"),
}


@pytest.mark.parametrize("name", FOUND)
def test_it_is_told(name: str, tmp_path: Path) -> None:
    text, code = FOUND[name]
    found = tried((HEAD + text).encode(), PLAIN_SHEET.encode(), tmp_path)
    assert code in [finding.code for finding in found]
