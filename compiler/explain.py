"""What a finding means: the page of its code.

What comes in is a code; what goes out is its page from `grammar/findings`, or the list of every
code with its meaning in one line. The pages are the only list of codes that is read here.
"""

from __future__ import annotations

import os
from collections.abc import Mapping

from somite.builds.install import folder_of

PAGES = "findings"
"""The folder in `somite.grammar` that has a page a code."""


def pages(folder: str | None = None) -> dict[str, str]:
    """Every page by its code, in order of code."""
    where = os.path.join(folder_of("grammar"), PAGES) if folder is None else folder
    found: dict[str, str] = {}
    if not os.path.isdir(where):
        return found
    for name in sorted(os.listdir(where)):
        code, ending = os.path.splitext(name)
        if ending == ".md" and code.islower():
            with open(os.path.join(where, name), encoding="utf-8") as file:
                found[code] = file.read()
    return found


def meaning(page: str) -> str:
    """A page's meaning in one line: the first sentence below its heading."""
    for block in page.split("\n\n"):
        text = " ".join(line.strip() for line in block.splitlines() if not line.startswith("#"))
        if text:
            end = text.find(". ")
            return text if end < 0 else text[: end + 1]
    return ""


def listing(known: Mapping[str, str]) -> str:
    """Every code with its meaning, one a line."""
    return listed({code: meaning(page) for code, page in known.items()})


def listed(told: Mapping[str, str]) -> str:
    """Words with what is told of each, one a line, in two columns."""
    width = max((len(word) for word in told), default=0)
    return "".join(f"{word:<{width}}  {text}\n" for word, text in told.items())
