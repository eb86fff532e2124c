"""What touches what, as a table for a person and as a JSON document with a published schema.

What comes in is touches in metres and radians; what goes out is text in the recipe's unit and
degrees, by control and the strongest joint of a channel first. Nothing here poses a rig.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, Literal

from somite.canonical import Json, Numeral, number, text
from somite.ir import Rig
from somite.report.table import GAP, table
from somite.units import degrees, metres_per, radians

if TYPE_CHECKING:
    from somite.touches import Touch

FORMAT: Literal["somite-touches 1"] = "somite-touches 1"
"""The name and version of the document's form."""

PLACES = 6
"""Decimal places: rates come from differences, and have no more that mean anything."""

HEAD = ("channel", "joint", "moves", "turns", "moves at most", "turns at most")


@dataclass(frozen=True, slots=True)
class Amount:
    """A motion of a joint: how far it moves (the recipe's unit) and turns (degrees)."""

    moved: float
    turned: float


@dataclass(frozen=True, slots=True)
class Touched:
    """One channel or dial and a joint that it moves.

    `per_unit` is at rest, for each unit, degree or one of the channel; a choice has none. `most` is
    over the channel's range. `sized` where only the joint's size changes.
    """

    control: str
    channel: str
    of: Literal["length", "angle", "number", "choice"]
    joint: str
    per_unit: Amount
    most: Amount
    sized: bool


@dataclass(frozen=True, slots=True)
class Document:
    """Everything that an animator can set, with what it moves; names are dotted."""

    format: Literal["somite-touches 1"]
    recipe: str
    character: str
    unit: str
    touches: tuple[Touched, ...]


def document(touches: Iterable[Touch], rig: Rig) -> Document:
    """Touches in the recipe's unit, by control in the rig's order, the strongest first."""
    kinds = _kinds(rig)
    unit = metres_per(rig.unit)
    made = [_touched(touch, kinds[touch.channel], unit) for touch in touches]
    order = {name: at for at, name in enumerate(kinds)}
    made.sort(key=lambda one: (order[one.channel], -one.most.moved, -one.most.turned, one.joint))
    return Document(FORMAT, rig.recipe, rig.character, rig.unit, tuple(made))


Kind = tuple[str, Literal["length", "angle", "number", "choice"]]


def _kinds(rig: Rig) -> dict[str, Kind]:
    """The control and the unit of every channel and dial, in the rig's order."""
    parts: dict[str, Literal["length", "angle", "number"]] = {
        "move": "length",
        "turn": "angle",
        "size": "number",
    }
    found: dict[str, Kind] = {}
    for node in rig.nodes:
        for part, of in parts.items():
            found |= {f"{node.name}.{part}.{axis}": (node.name, of) for axis in "xyz"}
        for dial in node.dials:
            found[f"{node.name}.{dial.name}"] = (node.name, "choice" if dial.options else dial.unit)
    return found


def _touched(touch: Touch, kind: Kind, unit: float) -> Touched:
    control, of = kind
    # One unit of the channel, as a person counts, in metres, radians or one.
    step = {"length": unit, "angle": radians(1.0)}.get(of, 1.0)
    per_unit = _amount(touch.per_unit[0] * step / unit, touch.per_unit[1] * step)
    most = _amount(touch.most[0] / unit, touch.most[1])
    return Touched(control, touch.channel, of, touch.joint, per_unit, most, touch.sized)


def _amount(moved: float, turned: float) -> Amount:
    return Amount(round(moved, PLACES), round(degrees(turned), PLACES))


def json_text(made: Document) -> str:
    """The document as canonical JSON, one line a touch."""
    lines = [_line(one) for one in made.touches]
    head = {"format": made.format, "recipe": made.recipe, "character": made.character}
    top = text({**head, "unit": made.unit}).removesuffix("\n}\n")
    body = "".join(["\n    ", ",\n    ".join(lines), "\n  "]) if lines else ""
    return f'{top},\n  "touches": [{body}]\n}}\n'


def _line(one: Touched) -> str:
    fields: dict[str, Json] = {
        "control": one.control,
        "channel": one.channel,
        "of": one.of,
        "joint": one.joint,
        "per_unit": {"moved": number(one.per_unit.moved), "turned": number(one.per_unit.turned)},
        "most": {"moved": number(one.most.moved), "turned": number(one.most.turned)},
        "sized": one.sized,
    }
    return _flat(fields)


def _flat(value: Json) -> str:
    """A small record on one line."""
    if isinstance(value, dict):
        inner = ", ".join(f"{json.dumps(key)}: {_flat(held)}" for key, held in value.items())
        return f"{{{inner}}}"
    return value if isinstance(value, Numeral) else json.dumps(value, ensure_ascii=False)


def schema_text() -> str:
    """The JSON Schema of the document, as published in `compiler/schemas`."""
    from pydantic import TypeAdapter

    schema = TypeAdapter(Document).json_schema()
    named = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return json.dumps(named, indent=2, ensure_ascii=False) + "\n"


def table_text(made: Document) -> str:
    """The document as a table, an empty line between controls; a dash is no motion."""
    rows = [_cells(one, made.unit) for one in made.touches]
    lines = table(HEAD, rows).splitlines(keepends=True)
    blocks = [lines[0]]
    at = 1
    for _, held in groupby(made.touches, key=lambda one: one.control):
        count = len(list(held))
        blocks.append("".join(lines[at : at + count]))
        at += count
    return "\n".join(blocks) if len(blocks) > 1 else f"{GAP.join(HEAD)}\n"


def _cells(one: Touched, unit: str) -> Sequence[str]:
    each = {"length": f"/{unit}", "angle": "/deg"}.get(one.of, "")
    return (
        *(one.channel, one.joint),
        "size only" if one.sized else _said(one.per_unit.moved, f"{unit}{each}"),
        _said(one.per_unit.turned, f"deg{each}"),
        *(_said(one.most.moved, unit), _said(one.most.turned, "deg")),
    )


def _said(value: float, unit: str) -> str:
    """A motion to three places, with its unit."""
    written = f"{value:.3f}".rstrip("0").rstrip(".")
    return "-" if written == "0" else f"{written} {unit}"
