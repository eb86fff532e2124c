"""A posed rig as text: JSON for programs, CSV for spreadsheets, a table for a person.

What comes in is a rig in some poses; what goes out is its joints, controls and curves in the world,
lengths in the recipe's unit and along its axes, names as they are spelled in outputs. Nothing here
poses anything.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from somite.canonical import Json, Numeral, number, numbers, text, unit_numbers
from somite.ir import Node
from somite.report.table import table
from somite.spatial.trig import arc_tangent, degrees_from_radians
from somite.units import degrees, metres_per

if TYPE_CHECKING:
    from somite.evaluate import Posed
    from somite.evaluate.algebra import Array

CSV_HEAD = (
    *("frame", "kind", "name", "x", "y", "z"),
    *("turn x", "turn y", "turn z", "turn w", "size x", "size y", "size z", "value"),
)
KINDS = ("joint", "control", "grip")

Row = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class World:
    """A world matrix for column vectors, in rows; its place in the recipe's unit."""

    world: tuple[Row, Row, Row, Row]


@dataclass(frozen=True, slots=True)
class Points:
    """A curve's control points in the world, in the recipe's unit."""

    points: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class Pose:
    """Where everything stands in one pose, by the names of outputs."""

    joints: dict[str, World]
    controls: dict[str, World]
    curves: dict[str, Points]


@dataclass(frozen=True, slots=True)
class Poses:
    """A rig in one pose, or in one for every frame of a clip."""

    poses: tuple[Pose, ...]


def schema_text() -> str:
    """The JSON Schema of poses, as published in `compiler/schemas`."""
    from pydantic import TypeAdapter

    schema = TypeAdapter(Poses).json_schema()
    named = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return json.dumps(named, indent=2, ensure_ascii=False) + "\n"


def json_text(posed: Posed) -> str:
    """Poses as JSON, in the form of `Poses`, with a trailing newline."""
    rig = posed.settled.rig
    unit = metres_per(rig.unit)
    worlds = posed.worlds
    curves = {curve.spelled: posed.points(curve.name) / unit for curve in rig.curves}
    at = {node.spelled: posed.index[node.name] for node in rig.nodes}
    kinds = {
        plural: [node.spelled for node in rig.nodes if node.kind == kind]
        for kind, plural in (("joint", "joints"), ("control", "controls"))
    }
    poses: list[Json] = [
        {
            **{
                plural: {name: {"world": _rows(worlds[pose, at[name]], unit)} for name in names}
                for plural, names in kinds.items()
            },
            "curves": {
                name: {"points": [numbers(point) for point in points[pose].tolist()]}
                for name, points in curves.items()
            },
        }
        for pose in range(posed.poses)
    ]
    return text({"poses": poses})


def _rows(world: Array, unit: float) -> Json:
    upper = [[*unit_numbers(row[:3]), number(row[3] / unit)] for row in world[:3].tolist()]
    return [*upper, [Numeral("0"), Numeral("0"), Numeral("0"), Numeral("1")]]


def csv_text(posed: Posed, frames: Sequence[float]) -> str:
    """Poses as CSV, a line a thing and frame: place, turn (quaternion xyzw) and size, or a value.

    Turns keep their side from frame to frame, so that what lies between can be interpolated.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(CSV_HEAD)
    columns = list(_columns(posed))
    for pose, frame in enumerate(frames):
        for rows in columns:
            writer.writerow([number(float(frame)), *rows[pose]])
    return out.getvalue()


def _columns(posed: Posed) -> Iterator[list[list[str]]]:
    """Each thing's lines, one a pose."""
    rig = posed.settled.rig
    unit = metres_per(rig.unit)
    for node in rig.nodes:
        if node.kind in KINDS:
            yield _node_lines(posed, node, unit)
    for curve in rig.curves:
        points = posed.points(curve.name) / unit
        for at in range(points.shape[1]):
            name = f"{curve.spelled} {at + 1}"
            yield [["point", name, *numbers(point), *[""] * 8] for point in points[:, at].tolist()]
    for gauge in rig.gauges:
        if gauge.output:
            values = _shown_value(posed.gauge(gauge.name), gauge.unit, unit)
            yield [["output", gauge.spelled, *[""] * 10, number(one)] for one in values]


def _node_lines(posed: Posed, node: Node, unit: float) -> list[list[str]]:
    from somite.clip import steady

    places = (posed.place(node.name) / unit).tolist()
    turns = steady(posed.turn(node.name)).tolist()
    sizes = _sizes(posed.linear(node.name)).tolist()
    return [
        [node.kind, node.spelled, *numbers(place), *unit_numbers(turn), *unit_numbers(size), ""]
        for place, turn, size in zip(places, turns, sizes, strict=True)
    ]


def _sizes(linear: Array) -> Array:
    """How long each axis of a node is: (poses, 3)."""
    x, y, z = (linear[:, row] for row in range(3))
    return np.sqrt(x * x + y * y + z * z)


def _shown_value(values: Array, unit: str, metres: float) -> list[float]:
    if unit == "length":
        return list((values / metres).tolist())
    return [degrees(one) for one in values.tolist()] if unit == "angle" else list(values.tolist())


def table_text(posed: Posed, frames: Sequence[float] | None = None) -> str:
    """Poses as tables: where each joint, control and curve point stands, and how it came there.

    `moved` and `turned` are from rest. With frames, a table for each.
    """
    count = posed.poses
    heads = [""] * count if frames is None else [f"frame {number(float(one))}\n" for one in frames]
    rows = list(_table_rows(posed))
    unit = posed.settled.rig.unit
    head = ("kind", "name", f"x ({unit})", "y", "z", f"moved ({unit})", "turned (deg)", "size")
    tables = [
        f"{heads[pose]}{table(head, [row[pose] for row in rows], numbers=range(2, 8))}"
        for pose in range(count)
    ]
    return "\n".join(tables)


def _table_rows(posed: Posed) -> Iterator[list[list[str]]]:
    rig = posed.settled.rig
    unit = metres_per(rig.unit)
    for kind in KINDS[:2]:
        for node in rig.nodes:
            if node.kind == kind:
                yield _rest_lines(posed, node, unit)
    for curve in rig.curves:
        points = posed.points(curve.name)
        for at, rest in enumerate(curve.points):
            moved = _length(points[:, at] - np.array(rest))
            yield [
                [
                    *("point", f"{curve.spelled} {at + 1}", *_short(point / unit)),
                    *(_few(far / unit), "", ""),
                ]
                for point, far in zip(points[:, at], moved, strict=True)
            ]
    for gauge in rig.gauges:
        if gauge.output:
            values = _shown_value(posed.gauge(gauge.name), gauge.unit, unit)
            yield [["output", gauge.spelled, _few(one), *[""] * 5] for one in values]


def _rest_lines(posed: Posed, node: Node, unit: float) -> list[list[str]]:
    places = posed.place(node.name)
    moved = _length(places - np.array(node.rest.place))
    angles = _angle(posed.turn(node.name), node.rest.turn)
    sizes = _sizes(posed.linear(node.name))
    return [
        [
            *(node.kind, node.spelled, *_short(place / unit)),
            *(_few(far / unit), _few(angle), _size(size)),
        ]
        for place, far, angle, size in zip(places, moved, angles, sizes, strict=True)
    ]


def _size(size: Array) -> str:
    written = [_few(one) for one in size]
    return written[0] if len(set(written)) == 1 else " ".join(written)


def _length(vectors: Array) -> Array:
    x, y, z = vectors[:, 0], vectors[:, 1], vectors[:, 2]
    found: Array = np.sqrt(x * x + y * y + z * z)
    return found


def _angle(turns: Array, rest: Sequence[float]) -> list[float]:
    """Degrees between turns and the rest's, from 0 to 180."""
    x, y, z, w = (turns[:, part] for part in range(4))
    a, b, c, d = rest
    along = np.abs(w * d + x * a + y * b + z * c)
    across = _length(
        np.stack(
            [
                d * x - a * w + b * z - c * y,
                d * y - b * w + c * x - a * z,
                d * z - c * w + a * y - b * x,
            ],
            axis=1,
        )
    )
    return [float(degrees_from_radians(2.0 * one)) for one in arc_tangent(across, along)]


def _short(values: Iterable[float]) -> list[str]:
    return [_few(one) for one in values]


def _few(value: float) -> str:
    """A number to three places, which is enough to see what a pose does."""
    written = f"{float(value):.3f}".rstrip("0").rstrip(".")
    return "0" if written in ("-0", "") else written
