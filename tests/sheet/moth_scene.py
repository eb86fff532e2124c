"""Makes `recipes/sheets/lumen_moth.glb`: the landmarks of the moth as named nodes of a glTF scene.

Laid out by hand from ISO/IEC 12113 (glTF 2.0), clause "GLB File Format Specification". The scene is
built as an application might leave it: everything under a node that scales centimetres to metres,
the arms in a frame of their own that is turned, one leg's frame given as a matrix, and nodes that
are nobody's landmark. Run it to write the file again.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path

GLB = Path(__file__).parents[2] / "recipes" / "sheets" / "lumen_moth.glb"

EXPECTED = {
    "pelvis": (0.0, 0.34, -0.01),
    "waist": (0.0, 0.39, -0.02),
    "ribs": (0.0, 0.45, -0.02),
    "nape": (0.0, 0.51, 0.0),
    "crown": (0.0, 0.66, 0.03),
    "hip.left": (0.03, 0.33, -0.005),
    "knee.left": (0.06, 0.2, 0.03),
    "ankle.left": (0.05, 0.04, -0.01),
    "toe.left": (0.055, 0.005, 0.04),
    "shoulder_left": (0.05, 0.49, -0.005),
    "elbow_left": (0.12, 0.4, -0.02),
    "wrist_left": (0.17, 0.31, 0.02),
}
"""Where the landmarks were put, in metres: written down before the scene was."""


def scene() -> dict[str, object]:
    """The JSON of the scene, parents after their children in places."""
    midline = ["pelvis", "waist", "ribs", "nape", "crown"]
    leg = ["hip.left", "knee.left", "ankle.left", "toe.left"]
    arm = ["shoulder_left", "elbow_left", "wrist_left"]
    nodes: list[dict[str, object]] = []
    for name in midline:
        x, y, z = EXPECTED[name]
        nodes.append({"name": name, "translation": [_cm(x), _cm(y), _cm(z)]})
    # The leg's frame is moved by (3, 33, 0) cm.
    for name in leg:
        x, y, z = EXPECTED[name]
        nodes.append({"name": name, "translation": [_cm(x) - 3, _cm(y) - 33, _cm(z)]})
    # The arm's frame is turned by 180 degrees about +Y: (x, y, z) stands at (-x, y, -z).
    for name in arm:
        x, y, z = EXPECTED[name]
        nodes.append({"name": name, "translation": [-_cm(x), _cm(y), -_cm(z)]})
    matrix = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 3, 33, 0, 1]
    nodes.append({"name": "leg frame", "matrix": matrix, "children": [5, 6, 7, 8]})
    nodes.append({"name": "arm frame", "rotation": [0, 1, 0, 0], "children": [9, 10, 11]})
    nodes.append({"name": "lantern", "translation": [20, 40, 10]})
    nodes.append({"children": [0, 1, 2, 3, 4, 12, 13, 14], "scale": [0.01, 0.01, 0.01]})
    return {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [15]}],
        "nodes": nodes,
    }


def glb(document: dict[str, object]) -> bytes:
    """A GLB of one JSON chunk: header, chunk header, text padded with spaces to four bytes."""
    text = json.dumps(document, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    header = struct.pack("<III", 0x46546C67, 2, 12 + 8 + len(text))
    return header + struct.pack("<II", len(text), 0x4E4F534A) + text


def _cm(metres: float) -> float:
    return round(metres * 100, 6)


if __name__ == "__main__":
    GLB.write_bytes(glb(scene()))
