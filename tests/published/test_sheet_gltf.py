"""Reading glTF as its specification has it: Khronos glTF 2.0, ISO/IEC 12113:2022.

Clause "Coordinate System and Units": right-handed, up +Y, an asset's front +Z and its left +X, in
metres. Clause "Transformations": the local matrix is T · R · S, rotations are unit quaternions
xyzw, matrices are stored column by column. Clause "GLB File Format Specification": the container.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest

from somite.axes import NEUTRAL
from somite.markers import load_markers, read_gltf

PARTS = {
    "translation": [1, 2, 3],
    "rotation": [0, 0, 0.7071067811865476, 0.7071067811865476],
    "scale": [2, 3, 4],
}
MATRIX = {"matrix": [0, 2, 0, 0, -3, 0, 0, 0, 0, 0, 4, 0, 1, 2, 3, 1]}


def test_the_neutral_space_is_that_of_the_specification() -> None:
    assert (NEUTRAL.up, NEUTRAL.front, NEUTRAL.left) == ("+Y", "+Z", "+X")


@pytest.mark.parametrize("parent", [PARTS, MATRIX])
def test_a_point_is_scaled_then_turned_then_moved(parent: dict[str, list[float]]) -> None:
    # By hand: (1, 1, 1) scaled is (2, 3, 4), a quarter turn about +Z makes it (-3, 2, 4), and the
    # move (-2, 4, 7). The matrix is the same transform, column by column.
    nodes = [{**parent, "children": [1]}, {"name": "mark", "translation": [1, 1, 1]}]
    document = json.dumps({"asset": {"version": "2.0"}, "nodes": nodes})
    file, findings = read_gltf(document.encode(), "x.gltf")
    assert findings == ()
    assert file is not None
    assert file.markers[0].place == pytest.approx((-2.0, 4.0, 7.0), abs=1e-14)


def test_a_container_laid_out_by_the_specification_is_read(tmp_path: Path) -> None:
    text = b'{"asset":{"version":"2.0"},"nodes":[{"name":"mark","translation":[0.1,0.2,0.3]}]}'
    text += b" " * (-len(text) % 4)  # the JSON chunk is padded with spaces (0x20)
    binary = bytes(8)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    chunks += struct.pack("<I4s", len(binary), b"BIN\0") + binary
    (tmp_path / "x.glb").write_bytes(struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks)
    file, findings = load_markers(tmp_path / "x.glb", "x.glb")
    assert findings == ()
    assert file is not None
    assert file.markers[0].place == (0.1, 0.2, 0.3)
