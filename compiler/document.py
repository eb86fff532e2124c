"""A rig as a document: canonical JSON text of the IR, and back.

In comes a rig, out goes text whose numbers read back as the same floats; in comes text, out comes
a rig that has been validated as a whole, or findings. The schema of the document is made from the
same records. Nothing here knows what a rig means.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import MISSING, fields, is_dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Literal, get_args

from somite.canonical import Json, exact, text
from somite.findings import Code, Finding, nearest
from somite.ir import Face, Follow, Reach, Ride, Rig, Twist
from somite.text import Source

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

Format = Literal["somite-rig 1"]
FORMAT: Format = get_args(Format)[0]

DOCUMENT_INVALID = Code("document-invalid")
DOCUMENT_NAME_UNKNOWN = Code("document-name-unknown")

MOST_FINDINGS = 20
"""Findings reported for one document."""

_ALWAYS = frozenset({"kind", "version"})
_NO_DEFAULT = object()


def rig_text(rig: Rig) -> str:
    """The canonical JSON document of a rig; facts at their defaults are left out."""
    return text({"format": FORMAT, "rig": plain(rig)})


def read_rig(source: Source) -> tuple[Rig | None, tuple[Finding, ...]]:
    """The rig of a document, or None and what is wrong with the document.

    Everything is validated once, here: shapes, number ranges, and that each name refers to a
    record of the document.
    """
    from pydantic import ValidationError

    try:
        document: Any = _document_type().model_validate_json(source.text)
    except ValidationError as error:
        return None, tuple(_invalid(source, error))
    rig: Rig = document.rig
    unknown = tuple(_unknown_names(source, rig))
    return (None, unknown) if unknown else (rig, ())


def schema_text() -> str:
    """The JSON Schema (draft 2020-12) of a rig's document, as canonical JSON."""
    schema = _document_type().model_json_schema()
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
    return text(plain(schema))


def plain(value: object) -> Json:
    """Records, tuples and floats as a canonical tree; floats keep all their digits."""
    if isinstance(value, float):
        return exact(value)
    if value is None or isinstance(value, str | int):
        return value
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if is_dataclass(value):
        return _plain_record(value)
    raise TypeError(f"no document form for {type(value).__name__}")


def _plain_record(record: Any) -> Json:
    tree: dict[str, Json] = {}
    kind: Any = type(record)
    for name, default in _defaults(kind):
        value = getattr(record, name)
        if name in _ALWAYS or value != default:
            tree[name] = plain(value)
    return tree


@cache
def _defaults(kind: type[Any]) -> tuple[tuple[str, object], ...]:
    """The fields of a record with their defaults, in the order in which they are written."""
    found: list[tuple[str, object]] = []
    for field in fields(kind):
        default: object = _NO_DEFAULT
        if field.default is not MISSING:
            default = field.default
        elif field.default_factory is not MISSING:
            default = field.default_factory()
        found.append((field.name, default))
    return tuple(found)


@cache
def _document_type() -> type[BaseModel]:
    from pydantic import ConfigDict, create_model

    config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
    return create_model("RigDocument", __config__=config, format=(Format, ...), rig=(Rig, ...))


def _invalid(source: Source, error: ValidationError) -> Iterator[Finding]:
    for mistake in error.errors(include_url=False)[:MOST_FINDINGS]:
        where = ".".join(str(part) for part in mistake["loc"]) or "the document"
        problem = mistake["msg"][:1].lower() + mistake["msg"][1:]
        yield DOCUMENT_INVALID.at(
            source.site(0, 1),
            f'expected a rig document ("{FORMAT}"), found at "{where}": {problem}',
            help="write the document again with the compiler that reads it",
        )


def _unknown_names(source: Source, rig: Rig) -> Iterator[Finding]:
    known = {
        "node": {node.name for node in rig.nodes},
        "chain": {chain.name for chain in rig.chains},
        "curve": {curve.name for curve in rig.curves},
    }
    found = 0
    for user, kind, name in _references(rig):
        if name is not None and name not in known[kind]:
            found += 1
            if found > MOST_FINDINGS:
                return
            close = nearest(name, known[kind])
            yield DOCUMENT_NAME_UNKNOWN.at(
                source.site(0, 1),
                f'expected "{user}" to name a {kind} of the document, found "{name}"',
                help=f'did you mean "{close}"?' if close else None,
            )


def _references(rig: Rig) -> Iterator[tuple[str, str, str | None]]:
    """Each use of a name: by which record, as what kind, which name."""
    for node in rig.nodes:
        yield node.name, "node", node.parent
        for shown in node.shown:
            yield node.name, "node", shown.dial.rpartition(".")[0]
    for placed in rig.placed:
        yield placed.name, "node", placed.socket
    for chain in rig.chains:
        yield chain.name, "curve", chain.curve
        for joint in chain.joints:
            yield chain.name, "node", joint
    for curve in rig.curves:
        yield curve.name, "node", curve.parent
        for share in curve.shares:
            yield curve.name, "node", share.grip
    for constraint in rig.constraints:
        match constraint:
            case Follow():
                named = [("node", constraint.node)]
            case Face():
                named = [("node", constraint.node), ("node", constraint.mark)]
            case Ride():
                named = [("chain", constraint.chain), ("curve", constraint.curve)]
            case Reach():
                named = [("chain", constraint.chain), ("node", constraint.goal)]
            case Twist():
                named = [("chain", constraint.chain), ("node", constraint.end.node)]
        for kind, name in named:
            yield constraint.name, kind, name
