"""The evaluator: a settled rig as a function from channels to transforms.

Importing it loads numpy; the rest of somite does not need it. `Evaluator(settled).pose(channels)`
takes one pose or arrays of poses and gives a `Posed`.
"""

from __future__ import annotations

from somite.evaluate.back_ends import BackEnd, MissingExtra
from somite.evaluate.channels import Channel, Note, PoseError
from somite.evaluate.evaluator import Evaluator, rig_function
from somite.evaluate.posed import Posed

__all__ = [
    "BackEnd",
    "Channel",
    "Evaluator",
    "MissingExtra",
    "Note",
    "PoseError",
    "Posed",
    "rig_function",
]
