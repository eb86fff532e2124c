"""What a change is required to keep: `channels=keeps, skin=carries, picture=0.5%`.

In comes what somebody asked for, out come requirements, and a finding for each that a review does
not meet. Nothing here knows a command line or an exit status.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from somite.diff.compatibility import VERDICTS, Verdict, worst
from somite.diff.review import TOLERANCE, Review
from somite.findings import Code, Finding, nearest
from somite.units import LENGTH_UNITS

REQUIREMENT_UNMET = Code("requirement-unmet")

WHATS = ("channels", "clips", "picture", "skin")

_AMOUNT = re.compile(r"(\d+(?:\.\d+)?)\s*(%|[a-z]+)")
_HELP = "write channels=keeps, clips=carries, skin=keeps or picture=0.5%"


@dataclass(frozen=True, slots=True)
class Requirement:
    """What is required: a verdict at worst, or of a picture how far off (a share or metres)."""

    what: str
    verdict: Verdict = "keeps"
    share: float | None = None
    metres: float | None = None


def requirements_in(written: Iterable[str]) -> tuple[tuple[Requirement, ...], str | None]:
    """The requirements in texts such as `channels=keeps,skin=keeps`, or what is wrong with one."""
    found: list[Requirement] = []
    for one in (piece.strip() for text in written for piece in text.split(",")):
        what, equals, value = (part.strip() for part in one.partition("="))
        if not equals or what not in WHATS:
            near = nearest(what, WHATS)
            also = f'; did you mean "{near}"?' if near and near != what else f": {_HELP}"
            return (), f'expected a requirement, found "{one}"{also}'
        if value in VERDICTS[:2] and not (what == "picture" and value != "keeps"):
            found.append(Requirement(what, value))
            continue
        amount = _AMOUNT.fullmatch(value)
        if what != "picture" or amount is None or amount[2] not in ("%", *LENGTH_UNITS):
            known = (
                "keeps, a share (0.5%) or a length (3 mm)"
                if what == "picture"
                else "keeps or carries"
            )
            return (), f'expected {known} for "{what}", found "{value}"'
        if amount[2] == "%":
            found.append(Requirement(what, share=float(amount[1]) / 100.0))
        else:
            metres = float(amount[1]) * float(LENGTH_UNITS[amount[2]])
            found.append(Requirement(what, metres=metres))
    return tuple(found), None


def tolerance(required: Iterable[Requirement], height: float) -> float:
    """The share of the height within which the picture is to be kept: the strictest asked for."""
    shares = []
    for one in required:
        if one.what == "picture" and one.share is not None:
            shares.append(one.share)
        elif one.what == "picture" and one.metres is not None:
            shares.append(one.metres / max(height, 1e-9))
    return min(shares, default=TOLERANCE)


def unmet(required: Sequence[Requirement], review: Review, character: str) -> Iterator[Finding]:
    """A finding for each requirement that a review of a character does not meet."""
    for one in required:
        found, reasons = _answer(one, review)
        if VERDICTS.index(found) <= VERDICTS.index(one.verdict):
            continue
        word = "changes" if one.what == "picture" else found
        message = f"expected {one.what}={one.verdict} for {character}, found {one.what}={word}"
        yield REQUIREMENT_UNMET.at(
            None,
            f"{message}: {reasons[0]}" if reasons else message,
            help="take the change back, or tell who animates and require less",
        )


def untried(required: Sequence[Requirement]) -> Iterator[Finding]:
    """A finding for each requirement where nothing could be compared that would show it met."""
    for one in required:
        yield REQUIREMENT_UNMET.at(
            None,
            f"expected {one.what}={one.verdict}, found no character that could be compared",
            help="name sides that have a character in common, and no mistake in it",
        )


def _answer(one: Requirement, review: Review) -> tuple[Verdict, tuple[str, ...]]:
    if one.what == "channels":
        return review.channels.verdict, review.channels.reasons
    if one.what == "clips":
        reasons = tuple([f"{clip.clip}: {told}" for clip in review.clips for told in clip.reasons])
        return worst(clip.verdict for clip in review.clips), reasons
    if one.what == "skin":
        skin = review.skin
        counts = (
            (len(skin.added), "added"),
            (len(skin.removed), "removed"),
            (len(skin.reparented), "under other parents"),
            (len(skin.moved), "elsewhere at rest"),
            (len(skin.renamed), "with other names"),
        )
        told = ", ".join([f"{count} {word}" for count, word in counts if count])
        return skin.verdict, (f"bound joints: {told}",) if told else ()
    picture = review.picture
    if picture is None:
        return "breaks", ("nothing could be posed",)
    if picture.keeps:
        return "keeps", ()
    off = f"{picture.joint} is {100.0 * picture.share:.3g}% of the height off"
    return "breaks", (f"{off}, {100.0 * picture.tolerance:.3g}% is allowed",)
