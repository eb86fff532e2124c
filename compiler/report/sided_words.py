"""Sentences of which one is of the left and one of the right: whether they say the same.

In come names and sentences, out go the same without their sides. Only the words are looked at.
"""

from __future__ import annotations

import re

_SIDE = re.compile(r"\b(left|right)\b")
_SEGMENT = re.compile(r"\.(left|right)\b|\b(left|right)\.")


def sides_in(text: str) -> set[str]:
    """The sides that a text names."""
    return set(_SIDE.findall(text))


def of_either_side(text: str) -> str:
    """A text that is the same for the left as for the right."""
    return _SIDE.sub("side", text)


def as_left(text: str) -> str:
    """A text as it is said of the left."""
    return _SIDE.sub("left", text)


def unsided(text: str) -> str:
    """A text whose names have no sides."""
    return _SEGMENT.sub("", text)
