"""Phrases: from records to sentences.

What comes in is a saying, a key with values for its blanks; what goes out is the sentence, with
marks around the names of things that a template turns into quotes or type. The phrases are data, in
`phrases.toml`; a team's own go before them. Nothing here knows what is being said.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache, lru_cache
from pathlib import Path

from somite.findings import Code, Finding, Severity, nearest
from somite.targets.steps.records import Name, Names, Saying, Value
from somite.targets.written import site_of
from somite.text import Site

PHRASE_UNKNOWN = Code("phrase-unknown")
PHRASE_FORM = Code("phrase-form")
PHRASE_OMITS = Code("phrase-omits", Severity.WARNING)

OPEN, CLOSE = "\ue000", "\ue001"
"""Private characters around a name in a sentence; texts from recipes never hold them."""

_BLANK = re.compile(r"\{([a-z_]+)\}")
_LINE_ENDS = "\t\n\r\v\f\x1c\x1d\x1e\x85\u2028\u2029"
_UNSAID: dict[int, str | None] = {
    **dict.fromkeys((*range(32), 0x7F, ord(OPEN), ord(CLOSE))),
    **{ord(character): " " for character in _LINE_ENDS},
}
"""What becomes of characters that no sentence holds: line ends turn into blanks."""
MOST = 2_000
"""The most characters of one phrase."""


def flattened(tables: Mapping[str, object], prefix: str = "") -> dict[str, str]:
    """Texts by dotted key, from the nested tables of a phrase file; other values are left out."""
    found: dict[str, str] = {}
    for key, value in tables.items():
        if isinstance(value, Mapping):
            found.update(flattened(value, f"{prefix}{key}."))
        elif isinstance(value, str):
            found[prefix + key] = value
    return found


@cache
def own_phrases() -> Mapping[str, str]:
    """The phrases of the steps target, by dotted key."""
    import tomllib

    text = Path(__file__).with_name("phrases.toml").read_text(encoding="utf-8")
    return flattened(tomllib.loads(text))


@lru_cache(maxsize=4096)
def cut(phrase: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """A phrase as its texts and the blanks between them: always one text more than blanks."""
    pieces = _BLANK.split(phrase)
    return tuple(pieces[0::2]), tuple(pieces[1::2])


def overlaid(wording: Mapping[str, str]) -> tuple[Mapping[str, str], tuple[Finding, ...]]:
    """Our phrases with a team's own in their place, and findings for those that do not fit.

    Where a phrase does not fit, ours is kept.
    """
    ours = own_phrases()
    if not wording:
        return ours, ()
    phrases = dict(ours)
    findings: list[Finding] = []
    for key, phrase in wording.items():
        found = _problem(key, phrase, ours)
        if found is not None:
            findings.append(found)
        if found is None or found.severity is Severity.WARNING:
            phrases[key] = str(phrase).translate(_UNSAID)
    return phrases, tuple(findings)


def _problem(key: str, phrase: str, ours: Mapping[str, str]) -> Finding | None:
    site = site_of(phrase) or Site("phrases", 1, 1)
    if key not in ours:
        close = nearest(key, ours)
        help = f'did you mean "{close}"?' if close else "see the keys in targets/steps/phrases.toml"
        return PHRASE_UNKNOWN.at(site, f'expected the key of a phrase, found "{key}"', help=help)
    known = set(cut(ours[key])[1])
    texts, blanks = cut(phrase)
    blanks_help = f"the blanks of this phrase are {_blanks(known)}" if known else "it has no blanks"
    if any("{" in text or "}" in text for text in texts):
        message = f'expected blanks such as "{{name}}" in "{key}", found a brace on its own'
        return PHRASE_FORM.at(site, message, help=blanks_help)
    strange = [blank for blank in blanks if blank not in known]
    if strange:
        message = f'expected a blank that "{key}" has, found "{{{strange[0]}}}"'
        return PHRASE_FORM.at(site, message, help=blanks_help)
    if not phrase.strip() or len(phrase) > MOST:
        message = f'expected one sentence for "{key}", found {len(phrase)} characters'
        return PHRASE_FORM.at(site, message, help=f"write 1 to {MOST} characters")
    missing = known.difference(blanks)
    if missing:
        message = f'"{key}" no longer says {_blanks(missing)}'
        help = "a step that leaves out a name or a number can not be followed"
        return PHRASE_OMITS.at(site, message, help=help)
    return None


def _blanks(blanks: set[str]) -> str:
    return ", ".join(f"{{{blank}}}" for blank in sorted(blanks))


class Voice:
    """Says sayings in the phrases it was given."""

    __slots__ = ("_and", "_between", "_phrases")

    def __init__(self, phrases: Mapping[str, str]) -> None:
        self._phrases = phrases
        self._between = phrases["list.between"]
        self._and = phrases["list.and"]

    def say(self, value: Value) -> str:
        """The text of a value, names marked. KeyError for a key or blank that does not exist."""
        kind = type(value)
        if kind is str:
            return value.translate(_UNSAID)  # type: ignore[union-attr]
        if kind is Name:
            return OPEN + value.spelled + CLOSE  # type: ignore[union-attr]
        if isinstance(value, Names):
            return self._row([self.say(member) for member in value.members])
        assert isinstance(value, Saying)
        texts, blanks = cut(self._phrases[value.key])
        if not blanks:
            return texts[0]
        pieces = [texts[0]]
        for blank, text in zip(blanks, texts[1:], strict=True):
            pieces.append(self.say(value.values[blank]))
            pieces.append(text)
        return "".join(pieces)

    def text(self, key: str) -> str:
        """A phrase without blanks."""
        return self._phrases[key]

    def filled(self, key: str, **values: str) -> str:
        """A phrase with texts in its blanks."""
        return self.say(Saying(key, values))

    def section(self, prefix: str) -> dict[str, str]:
        """The phrases under a prefix, by what follows it with `-` as `_`."""
        start = prefix + "."
        return {
            key.removeprefix(start).replace("-", "_"): phrase
            for key, phrase in self._phrases.items()
            if key.startswith(start)
        }

    def _row(self, said: list[str]) -> str:
        if len(said) < 2:
            return "".join(said)
        return self._between.join(said[:-1]) + self._and + said[-1]
