"""Landmarks that somebody placed in another application and exported: glTF, GLB or CSV.

What comes in is a file; what goes out is every named place in it, in metres in the neutral space,
or findings. Nothing here knows which names a recipe asks for. Of a glTF only its JSON is read (ISO/
IEC 12113, glTF 2.0): meshes, buffers and other files are never opened.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from somite import project
from somite.axes import NEUTRAL, Axes
from somite.findings import Code, Finding, listed, nearest
from somite.ir import Vector
from somite.text import Site, Source
from somite.units import LENGTH_UNITS
from somite.written import canonical, number_in, number_problem, quoted

MARKER_KIND = Code("marker-kind")
MARKER_BROKEN = Code("marker-broken")
MARKER_NUMBER = Code("marker-number")
MARKER_UNIT = Code("marker-unit")
MARKER_COLUMN = Code("marker-column")
MARKER_UNNAMED = Code("marker-unnamed")
MARKER_TWICE = Code("marker-twice")

SUFFIXES = (".glb", ".gltf", ".csv")
"""The files that landmarks are taken from."""

NODES = 100_000
"""The most nodes of a glTF that are looked at."""

MISTAKES = 20
"""The most findings that one file gives."""

_GLB_MAGIC = 0x46546C67
_JSON_CHUNK = 0x4E4F534A
_FARTHEST = 1e9

Row = tuple[float, float, float, float]
Matrix = tuple[Row, Row, Row]
"""The upper three rows of an affine matrix, for column vectors."""

_IDENTITY: Matrix = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0))


@dataclass(frozen=True, slots=True)
class Marker:
    """A named place (metres, neutral space) and where it is written; line 1 for a GLB."""

    name: str
    place: Vector
    site: Site


@dataclass(frozen=True, slots=True)
class MarkerFile:
    """All named places of a file, in its order, and a SHA-256 of what was read of it."""

    markers: tuple[Marker, ...]
    digest: str


Read = tuple[MarkerFile | None, tuple[Finding, ...]]


def load_markers(
    path: Path,
    shown_name: str,
    *,
    site: Site | None = None,
    unit: str | None = None,
    axes: Axes = NEUTRAL,
) -> Read:
    """The landmarks of a .glb, .gltf or .csv file.

    `site` is where the file was asked for. `unit` and `axes` are those of a table's numbers; a
    table's own unit column goes before `unit`, and None means that it must have one. A glTF is in
    metres, up +Y, front +Z, whatever these say.
    """
    suffix = path.suffix.lower()
    if suffix == ".glb":
        return _load_glb(path, shown_name, site)
    if suffix not in SUFFIXES:
        message = f"expected a file of landmarks, found {quoted(suffix or path.name)}"
        help = "landmarks are taken from .glb, .gltf and .csv files"
        return None, (MARKER_KIND.at(site, message, help=help),)
    source, findings = project.read_source(path, shown_name, site)
    if source is None:
        return None, findings
    if suffix == ".gltf":
        return read_gltf(source.text.encode(), shown_name)
    return read_table(source, unit=unit, axes=axes)


def _digest(content: bytes) -> str:
    from hashlib import sha256

    return sha256(content).hexdigest()


def _broken(name: str, message: str, help: str = "export the file again") -> Finding:
    return MARKER_BROKEN.at(Site(name, 1, 1), message, help=help)


# --- glTF -----------------------------------------------------------------------------------------


def _load_glb(path: Path, name: str, site: Site | None) -> Read:
    """The JSON chunk of a GLB, without reading what follows it.

    ISO/IEC 12113, clause "GLB File Format Specification": a header of three little-endian words
    (magic, version 2, length of the whole file), then chunks (length, type, data), JSON first.
    """
    start, findings = project.read_start(path, name, 20, site)
    if start is None:
        return None, findings
    head, size = start
    problem = _head_problem(head, size)
    if problem is not None:
        return None, (_broken(name, problem),)
    length = struct.unpack_from("<I", head, 12)[0]
    if length > project.LIMIT:
        return None, (project.too_big(name, length, project.LIMIT, site),)
    start, findings = project.read_start(path, name, 20 + length, site)
    if start is None:
        return None, findings
    return read_gltf(start[0][20:], name)


def _head_problem(head: bytes, size: int) -> str | None:
    """What is wrong with the first 20 bytes of a GLB of `size` bytes."""
    if len(head) < 20:
        return f"expected a GLB of at least 20 bytes, found {len(head)}"
    magic, version, total, length, kind = struct.unpack("<IIIII", head)
    if magic != _GLB_MAGIC:
        return f"expected a GLB, which begins with the bytes glTF, found 0x{magic:08x}"
    if version != 2:
        return f"expected GLB version 2, found {version}"
    if total > size:
        return f"expected {total} bytes as the file's header says, found {size}: it is cut short"
    if kind != _JSON_CHUNK:
        return f"expected the JSON chunk first, found a chunk of type 0x{kind:08x}"
    if 20 + length > total:
        return f"expected a JSON chunk within {total} bytes, found one of {length}"
    return None


def read_gltf(content: bytes, name: str) -> Read:
    """The named nodes of glTF 2.0 JSON, at their places in the world."""
    import json

    try:
        document = json.loads(content.decode("utf-8-sig"), parse_constant=_no_constant)
    except (ValueError, RecursionError) as mistake:
        reason = str(mistake) if isinstance(mistake, json.JSONDecodeError) else "not JSON"
        return None, (_broken(name, f"expected the JSON of a glTF: {reason[:100].lower()}"),)
    nodes = document.get("nodes", []) if isinstance(document, dict) else None
    problem = _document_problem(document, nodes)
    if problem is not None or not isinstance(nodes, list):
        return None, (_broken(name, problem or "expected a list of nodes"),)
    parents, problem = _parents(nodes)
    if problem is not None:
        return None, (_broken(name, problem),)
    worlds, findings = _worlds(nodes, parents, name)
    if findings:
        return None, tuple(findings[:MISTAKES])
    site = Site(name, 1, 1)
    markers = tuple(
        Marker(_node_name(node), (world[0][3] + 0.0, world[1][3] + 0.0, world[2][3] + 0.0), site)
        for node, world in zip(nodes, worlds, strict=True)
        if _node_name(node)
    )
    if not markers:
        message = f"expected nodes with names, found {len(nodes)} without"
        help = "name the markers as the recipe asks for them: pelvis, hip.left"
        return None, (MARKER_UNNAMED.at(site, message, help=help),)
    return MarkerFile(markers, _digest(content)), ()


def _no_constant(text: str) -> float:
    raise ValueError(f"{text} is no JSON")


def _document_problem(document: Any, nodes: Any) -> str | None:
    if not isinstance(document, dict):
        return "expected an object in braces at the top of a glTF"
    asset = document.get("asset")
    version = asset.get("version") if isinstance(asset, dict) else None
    if not isinstance(version, str) or version.partition(".")[0] != "2":
        return "expected the asset version 2.0 of a glTF"
    if not isinstance(nodes, list) or not all(isinstance(node, dict) for node in nodes):
        return "expected a list of nodes"
    return f"expected at most {NODES} nodes, found {len(nodes)}" if len(nodes) > NODES else None


def _node_name(node: Mapping[str, Any]) -> str:
    """A node's name; empty where it has none that can be written as text."""
    name = node.get("name")
    if not isinstance(name, str) or any("\ud800" <= c <= "\udfff" for c in name):
        return ""
    return name.strip()


def _called(nodes: Sequence[Mapping[str, Any]], index: int) -> str:
    name = _node_name(nodes[index])
    return f"node {index} {quoted(name)}" if name else f"node {index}"


def _parents(nodes: Sequence[Mapping[str, Any]]) -> tuple[list[int | None], str | None]:
    """Each node's parent, or what is wrong: the nodes must form trees (clause "Scenes")."""
    parents: list[int | None] = [None] * len(nodes)
    for index, node in enumerate(nodes):
        children = node.get("children", [])
        if not isinstance(children, list):
            return parents, f"expected a list of children at {_called(nodes, index)}"
        for child in children:
            if type(child) is not int or not 0 <= child < len(nodes):
                return parents, f"expected children that exist at {_called(nodes, index)}"
            if parents[child] is not None:
                return parents, f"expected one parent for {_called(nodes, child)}, found two"
            parents[child] = index
    return parents, None


def _worlds(
    nodes: Sequence[Mapping[str, Any]], parents: Sequence[int | None], name: str
) -> tuple[list[Matrix], list[Finding]]:
    """Each node's world matrix: its parent's times its own local one."""
    worlds: list[Matrix] = [_IDENTITY] * len(nodes)
    findings: list[Finding] = []
    pending = [index for index, parent in enumerate(parents) if parent is None]
    seen = 0
    while pending:
        index = pending.pop()
        seen += 1
        parent = parents[index]
        local = _local(nodes[index])
        if isinstance(local, str):
            local = _refused(findings, nodes, index, local, name)
        worlds[index] = local if parent is None else _product(worlds[parent], local)
        if not all(abs(row[3]) < _FARTHEST for row in worlds[index]):
            _refused(findings, nodes, index, "a place that is finite and below 1e9 m", name)
        pending.extend(nodes[index].get("children", []))
    if seen < len(nodes):
        findings.append(_broken(name, "expected nodes that form trees, found a loop of children"))
    return worlds, findings


def _refused(
    findings: list[Finding],
    nodes: Sequence[Mapping[str, Any]],
    index: int,
    expected: str,
    name: str,
) -> Matrix:
    message = f"expected {expected} at {_called(nodes, index)}"
    help = "export the file again, without shears and with applied transforms"
    findings.append(MARKER_NUMBER.at(Site(name, 1, 1), message, help=help))
    return _IDENTITY


def _local(node: Mapping[str, Any]) -> Matrix | str:
    """A node's local matrix, or what was expected (clause "Transformations": T · R · S)."""
    if "matrix" in node:
        if any(key in node for key in ("translation", "rotation", "scale")):
            return "either a matrix or a translation, rotation and scale"
        m = _numbers(node["matrix"], 16)
        if m is None or (m[3], m[7], m[11], m[15]) != (0.0, 0.0, 0.0, 1.0):
            return "an affine matrix of 16 finite numbers"
        return (
            (m[0], m[4], m[8], m[12]),
            (m[1], m[5], m[9], m[13]),
            (m[2], m[6], m[10], m[14]),
        )
    move = _numbers(node.get("translation", [0, 0, 0]), 3)
    turn = _numbers(node.get("rotation", [0, 0, 0, 1]), 4)
    size = _numbers(node.get("scale", [1, 1, 1]), 3)
    if move is None or size is None:
        return "a translation and a scale of three finite numbers"
    norm = 0.0
    for part in turn or ():
        norm = norm + part * part
    if turn is None or not 0.99 < norm < 1.01:
        return "a rotation that is a unit quaternion of four numbers"
    return _from_parts(move, turn, size, 2.0 / norm)


def _from_parts(
    move: Sequence[float], turn: Sequence[float], size: Sequence[float], twice: float
) -> Matrix:
    """T · R · S; `twice` is 2 over the quaternion's squared length, so that R is a rotation."""
    x, y, z, w = turn
    a, b, c = size
    return (
        (
            (1.0 - twice * (y * y + z * z)) * a,
            twice * (x * y - z * w) * b,
            twice * (x * z + y * w) * c,
            move[0],
        ),
        (
            twice * (x * y + z * w) * a,
            (1.0 - twice * (x * x + z * z)) * b,
            twice * (y * z - x * w) * c,
            move[1],
        ),
        (
            twice * (x * z - y * w) * a,
            twice * (y * z + x * w) * b,
            (1.0 - twice * (x * x + y * y)) * c,
            move[2],
        ),
    )


def _numbers(value: Any, count: int) -> list[float] | None:
    """That many finite numbers, or None."""
    if not isinstance(value, list) or len(value) != count:
        return None
    numbers: list[float] = []
    for item in value:
        # Compared before conversion: a whole number can be too large for a float.
        if type(item) not in (int, float) or not -1e300 < item < 1e300:
            return None
        numbers.append(float(item))
    return numbers


def _product(a: Matrix, b: Matrix) -> Matrix:
    """The affine matrix of b, then a."""

    def row(r: Row) -> Row:
        x, y, z, w = r
        return (
            x * b[0][0] + y * b[1][0] + z * b[2][0],
            x * b[0][1] + y * b[1][1] + z * b[2][1],
            x * b[0][2] + y * b[1][2] + z * b[2][2],
            x * b[0][3] + y * b[1][3] + z * b[2][3] + w,
        )

    return (row(a[0]), row(a[1]), row(a[2]))


# --- tables ---------------------------------------------------------------------------------------

_COLUMNS = ("name", "x", "y", "z", "unit")


def read_table(source: Source, *, unit: str | None, axes: Axes = NEUTRAL) -> Read:
    """The landmarks of a table `name,x,y,z[,unit]`, a place a line, its columns in any order.

    Columns are separated by commas, semicolons or tabs; the decimal mark is a point.
    """
    rows = list(_rows(source))
    heading, header = next(((n, row) for n, row in rows if isinstance(row, list)), (1, []))
    columns = [cell.strip().lower() for cell in header]
    problem = _columns_problem(columns, needs_unit=unit is None)
    if problem is not None:
        help = "the first line names the columns: name,x,y,z or name,x,y,z,unit"
        return None, (MARKER_COLUMN.at(_line_site(source, heading), problem, help=help),)
    markers: dict[str, Marker] = {}
    findings: list[Finding] = []
    for number, row in rows:
        if number <= heading or len(findings) >= MISTAKES:
            continue
        read = _marker(row, columns, _line_site(source, number), unit, axes)
        if isinstance(read, Finding):
            findings.append(read)
        elif read.name in markers:
            findings.append(_named_twice(read, markers[read.name]))
        else:
            markers[read.name] = read
    if findings:
        return None, tuple(findings)
    return MarkerFile(tuple(markers.values()), _digest(source.text.encode())), ()


def _named_twice(again: Marker, first: Marker) -> Finding:
    message = f"expected {quoted(again.name)} once, found it again"
    related = [(first.site, "written here first")]
    return MARKER_TWICE.at(again.site, message, help="keep one of the two", related=related)


def _rows(source: Source) -> Iterator[tuple[int, list[str] | str]]:
    """Each line that is not blank: its number, and its cells or why it has none."""
    import csv

    first = source.text.lstrip("\n").partition("\n")[0]
    separator = next((sign for sign in ";\t" if sign in first), ",")
    for number, line in enumerate(source.text.split("\n"), start=1):
        if not line.strip(separator + " \t"):
            continue
        try:
            yield number, next(csv.reader([line], delimiter=separator, strict=True))
        except csv.Error as mistake:
            yield number, str(mistake)


def _columns_problem(columns: Sequence[str], *, needs_unit: bool) -> str | None:
    for column in columns:
        if column not in _COLUMNS:
            return f"expected the columns name, x, y, z and unit, found {quoted(column)}"
        if columns.count(column) > 1:
            return f'expected the column "{column}" once, found it again'
    missing = [column for column in _COLUMNS[: 4 + needs_unit] if column not in columns]
    return f"expected a column {listed(missing)}, found none" if missing else None


def _line_site(source: Source, number: int) -> Site:
    return Site(source.name, number, 1, max(1, len(source.line(number))))


def _marker(
    row: list[str] | str, columns: Sequence[str], site: Site, unit: str | None, axes: Axes
) -> Marker | Finding:
    """The landmark of one line."""
    if isinstance(row, str) or len(row) != len(columns):
        found = row if isinstance(row, str) else f"{len(row)}"
        message = f"expected {len(columns)} values as the first line says, found {found}"
        help = "the decimal mark is a point, and every line has every column"
        return MARKER_COLUMN.at(site, message, help=help)
    cells = {column: cell.strip() for column, cell in zip(columns, row, strict=True)}
    name = cells["name"]
    if not name or not name.isprintable():
        message = "expected a name, found none" if not name else "expected a name of visible text"
        return MARKER_UNNAMED.at(site, message, help="name the place as the recipe asks for it")
    stated = cells.get("unit") or unit
    if stated not in LENGTH_UNITS:
        message = f"expected a unit of length, found {quoted(stated or '')}"
        close = nearest(stated or "", LENGTH_UNITS)
        help = f'did you mean "{close}"?' if close else f"use {listed(LENGTH_UNITS)}"
        return MARKER_UNIT.at(site, message, help=help)
    place: list[float] = []
    for column in "xyz":
        number = number_in(cells[column])
        if number is None or number_problem(number) is not None:
            message = f'expected a number in column "{column}", found {quoted(cells[column])}'
            help = "write a plain number with a decimal point: 12.5"
            return MARKER_NUMBER.at(site, message, help=help)
        place.append(canonical(number, stated))
    return Marker(name, axes.to_neutral((place[0], place[1], place[2])), site)
