"""The published schemas: the text of each file in `compiler/schemas/`, made from the records.

In comes nothing, out go file names and texts. A test says that the files are these.
"""

from __future__ import annotations


def schema_texts() -> dict[str, str]:
    """File name to text of every published JSON Schema: the IR's document, the scene and joints files."""
    from somite import document
    from somite.targets import joints_model
    from somite.targets.scene_model import schema_text

    return {
        "ir.schema.json": document.schema_text(),
        "scene.schema.json": schema_text(),
        "joints.schema.json": joints_model.schema_text(),
    }
