"""The history of a rig through git, by meaning.

In come a repository, a recipe of it and a sheet; out goes what each revision changed of the rig, or
of one thing in it, newest first. Files and names are followed through renames. Every revision is
compiled from its own recipe, parts and sheet, once, and what was found is kept for the next time.
"""

from __future__ import annotations

from somite.history.asking import HistoryError, Question, asked
from somite.history.telling import Told, told
from somite.history.walking import Commit

__all__ = ["Commit", "HistoryError", "Question", "Told", "asked", "told"]
