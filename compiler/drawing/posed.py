"""Where a rig's nodes and curves are in one pose, in the form that strokes are drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from somite.drawing.strokes import Transform
from somite.ir import Vector

if TYPE_CHECKING:
    from somite.evaluate import Posed


def at_pose(
    posed: Posed, row: int = 0
) -> tuple[Mapping[str, Transform], Mapping[str, tuple[Vector, ...]]]:
    """Transforms by node and control points by curve, of one of the poses (from 0)."""
    places, linears = posed.places[row].tolist(), posed.linears[row].tolist()
    transforms = {
        name: Transform(
            (place[0], place[1], place[2]),
            tuple([(rows[0][k], rows[1][k], rows[2][k]) for k in range(3)]),  # type: ignore[arg-type]
        )
        for name, place, rows in zip(posed.names, places, linears, strict=True)
    }
    points = {
        curve.name: tuple([(p[0], p[1], p[2]) for p in posed.points(curve.name)[row].tolist()])
        for curve in posed.settled.rig.curves
    }
    return transforms, points
