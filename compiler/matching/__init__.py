"""Matching: channels that keep what is seen in its place while a rig's wiring changes.

`match` switches a dial over frames of a clip; `solve` is the machinery below it, which any change
of what leads a node can use. Importing it loads numpy.
"""

from __future__ import annotations

from somite.matching.keys import Span
from somite.matching.measure import Off, Remaining
from somite.matching.switch import Matched, match

__all__ = ["Matched", "Off", "Remaining", "Span", "match"]
