"""Merging recipes by meaning: two revisions of one recipe, brought together.

`merged(base, ours, theirs)` compares what the three texts say, not how they are written: whoever
changed a fact alone has it, and only facts that both changed, differently, are conflicts. The text
is ours with theirs put into it.
"""

from __future__ import annotations

from somite.merge.edits import Labels
from somite.merge.merging import Conflict, Merged, merged

__all__ = ["Conflict", "Labels", "Merged", "merged"]
