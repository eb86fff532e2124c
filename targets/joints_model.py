"""The records of a joints file, to validate one that is read back and to publish its schema.

In comes the text of a joints file, out comes a frozen `Joints`, or pydantic's ValidationError.
`somite.targets.joints` writes what these describe; nothing here knows a rig.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from somite.canonical import text
from somite.document import plain


class Record(BaseModel):
    """Anything of a joints file: frozen, with no facts beside those named, all numbers finite."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class Units(Record):
    """The standard's own space."""

    length: Literal["m"]
    up: Literal["+Y"]
    front: Literal["+Z"]


class Joint(Record):
    """A joint of the standard that the rig has.

    `node` is the rig's dotted name for it, `parent` the nearest ancestor in the standard's
    hierarchy that the rig has, `skipped` those between, `loa` the lowest level of articulation at
    which the standard has the joint, `center` its place at rest.
    """

    name: str
    node: str
    parent: str | None
    skipped: tuple[str, ...] = ()
    loa: int
    center: tuple[float, float, float]


class Origin(Record):
    """What the file was made from."""

    recipe: str
    revision: int
    character: str
    recipe_digest: str
    sheet_digest: str
    compiler: str


class Joints(Record):
    """A whole joints file, parents before children."""

    format: Literal["somite-joints 1"]
    standard: str
    loa: int = Field(ge=1, le=3)
    units: Units
    joints: tuple[Joint, ...]
    absent: tuple[str, ...]
    origin: Origin


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of a joints file, as canonical JSON."""
    schema = Joints.model_json_schema()
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return text(plain(schema))
