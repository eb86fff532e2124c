"""A mistake of Somite's own: what is said of it, and to whom the details go.

What comes in is an exception that nothing expected; what goes out is a finding, in words for the
person who met it. The details are only for those who ask.
"""

from __future__ import annotations

import traceback
from collections.abc import Mapping

from somite.findings import Code, Finding

INTERNAL_ERROR = Code("internal-error")

DEBUG = "SOMITE_DEBUG"
"""The environment variable that, set to 1, has details of an internal error written."""


def bug(what: str) -> Finding:
    """The finding for an unexpected exception that ended what was being done."""
    message = f"expected to finish, found a mistake in Somite itself while it {what}"
    help = (
        "this is not your fault: please report it, with the files that show it and what was"
        f" written with {DEBUG}=1 set"
    )
    return INTERNAL_ERROR.at(None, message, help=help)


def details(error: BaseException, environment: Mapping[str, str]) -> str:
    """Where an exception came from, for a report of it; empty unless the environment asks."""
    if environment.get(DEBUG) != "1":
        return ""
    return "".join(traceback.format_exception(error))
