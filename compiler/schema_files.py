"""The published schemas: the text of each file in `compiler/schemas/`, made from the records.

In comes nothing, out go file names and texts. Nothing is written here: a test does that, and says
that the files are these.
"""

from __future__ import annotations


def schema_texts() -> dict[str, str]:
    """File name to text of every published JSON Schema."""
    from somite import document
    from somite.report import json_form, poses, review_json, touches_form
    from somite.targets import joints_model, scene_model

    return {
        "ir.schema.json": document.schema_text(),
        "scene.schema.json": scene_model.schema_text(),
        "joints.schema.json": joints_model.schema_text(),
        "findings.schema.json": json_form.schema_text(),
        "poses.schema.json": poses.schema_text(),
        "touches.schema.json": touches_form.schema_text(),
        "diff.schema.json": review_json.schema_text(),
    }
