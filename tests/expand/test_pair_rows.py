"""Rows of pairs taken from the markers of another file."""

from __future__ import annotations

from pathlib import Path

import pytest

from somite import pipeline
from somite.ir import Rig

RECIPE = """recipe many_legs
sheet
  pair hip in 2..9
repeat k in 1..count(hip.left)
  mirror
    joint hip[k] at hip[k]
"""

HEAD = 'character = "mille"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\nlandmarks = "mille.csv"\n'


def built(folder: Path, markers: str) -> Rig:
    (folder / "many_legs.somite").write_text(RECIPE, encoding="utf-8")
    (folder / "mille.toml").write_text(HEAD, encoding="utf-8")
    (folder / "mille.csv").write_text("name,x,y,z\n" + markers, encoding="utf-8")
    made = pipeline.compile(folder / "many_legs.somite", folder / "mille.toml")
    assert made.findings == () and made.rig is not None
    return made.rig


def places(rig: Rig) -> dict[str, tuple[float, float, float]]:
    return {node.name: node.rest.place for node in rig.nodes}


def test_markers_of_one_run_are_the_left_side_and_are_mirrored(tmp_path: Path) -> None:
    found = places(built(tmp_path, "hip.1,5,0,9\nhip.2,5,0,3\n"))
    assert found["hip.1.left"] == pytest.approx((0.05, 0.0, 0.09))
    assert found["hip.2.right"] == pytest.approx((-0.05, 0.0, 0.03))


def test_markers_of_both_sides_are_both_kept(tmp_path: Path) -> None:
    markers = "hip.left.1,5,0,9\nhip.left.2,5,0,3\nhip.right.1,-6,0,9\nhip.right.2,-6,1,3\n"
    found = places(built(tmp_path, markers))
    assert found["hip.2.left"] == pytest.approx((0.05, 0.0, 0.03))
    assert found["hip.2.right"] == pytest.approx((-0.06, 0.01, 0.03))
