"""Line drawings of a rig: strokes in space from a settled rig, and a picture of them in SVG.

`strokes_of(settled)` draws the rest pose, or any pose whose transforms are given; `picture(...)`
projects strokes into views side by side. The same strokes give the same bytes. Nothing is told by
colour alone: roles differ in weight and dash, and marked parts are drawn heavy and named.
"""

from __future__ import annotations

from somite.drawing.picture import View, picture
from somite.drawing.posed import at_pose, solved_only, unseen
from somite.drawing.strokes import Stroke, Transform, strokes_of

__all__ = [
    "Stroke",
    "Transform",
    "View",
    "at_pose",
    "picture",
    "solved_only",
    "strokes_of",
    "unseen",
]
