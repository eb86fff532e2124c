"""The history of a rig in text and in JSON: one revision after another, newest first.

In come what is told of revisions, out goes text. Nothing here knows how it was found.
"""

from __future__ import annotations

from collections.abc import Iterable
from textwrap import wrap
from typing import TYPE_CHECKING

from somite.canonical import Json, text

if TYPE_CHECKING:
    from somite.history import Question, Told
    from somite.history.meanings import Said

WIDTH = 100
FORMAT = "somite-log 1"


def told_text(one: Told, name: str | None) -> str:
    """One revision for a person: who, when and why, and below it what changed."""
    commit = one.commit
    head = f"{commit.short} {commit.when[:10]} {commit.author}: {commit.subject}".rstrip()
    if one.what == "broken":
        lines = [f"does not compile, passed over: {one.why}"]
    elif one.what == "first":
        lines = _first(one, name)
    else:
        lines = [_sentence(said) for said in one.changes]
    body = [row for line in lines for row in wrap(line, WIDTH - 4, subsequent_indent="  ")]
    return "\n".join([head, *[f"  {row}" for row in body]]) + "\n"


def _first(one: Told, name: str | None) -> list[str]:
    if name is None:
        return [f"the recipe begins here: {one.changes[0].text}"]
    return [f"{' and '.join(one.names)}: there since the recipe began"]


def _sentence(said: Said) -> str:
    place = f"  ({said.site})" if said.site else ""
    return f"{said.subject} {said.text}".strip() + place


def log_document(question: Question, every: Iterable[Told]) -> str:
    """The whole history as canonical JSON."""
    return text(
        {
            "format": FORMAT,
            "recipe": question.recipe,
            "sheet": question.sheet,
            "name": question.name,
            "revisions": [_plain(one) for one in every],
        }
    )


def _plain(one: Told) -> Json:
    commit = one.commit
    return {
        "revision": commit.revision,
        "when": commit.when,
        "author": commit.author,
        "subject": commit.subject,
        "what": one.what,
        "names": list(one.names),
        "changes": [
            {"subject": said.subject, "text": said.text, "line": said.site or None}
            for said in one.changes
        ],
        "why": one.why or None,
        "sheet_of_later": one.sheet_of_later,
    }
