"""Small damage to texts that hold: what a slip of the hand or of a script does to a recipe."""

from __future__ import annotations

import re
from random import Random

from hypothesis import strategies as st

TOKEN = re.compile(
    r'"[^"\n]*"|[A-Za-z_][A-Za-z0-9_.\[\]]*|[0-9]+(?:\.[0-9]+)?|\.\.|->|[ \t]+|\n[ ]*|.', re.DOTALL
)
NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")
UNIT = re.compile(r"(?<=[0-9] )(?:cm|mm|m|deg|rad|%)|(?<=[0-9])%")
ALL_NUMBERS = ("0", "1", "2", "3", "5", "0.5", "100", "0.000000001", "1000000", "9" * 30)
ALL_UNITS = ("cm", "mm", "m", "deg", "rad", "%", "inch", "")
JUNK = ("(", ")", "[", "]", '"', ",", "..", "=", "-", "+X", "live", "\t", "\r", "\0", "é", "#")

KINDS = (
    "delete line",
    "double line",
    "swap lines",
    "move line",
    "indent",
    "dedent",
    "delete token",
    "double token",
    "swap tokens",
    "take token",
    "take token",
    "number",
    "number",
    "unit",
    "rename",
    "negate",
    "junk",
    "cut",
)


seeds = st.integers(0, 2**40)
"""What `damaged` takes: plain draws would crowd at the beginnings of texts."""


def damaged(text: str, seed: int) -> str:
    """A text after one to three changes; one that finds nothing to change leaves it alone."""
    random = Random(seed)
    for _ in range(random.choice([1, 1, 2, 3])):
        kind = random.choice(KINDS)
        if kind.endswith(("line", "lines")) or kind in ("indent", "dedent"):
            text = _lines(text, kind, random)
        elif kind.endswith(("token", "tokens")):
            text = _tokens(text, kind, random)
        else:
            text = _piece(text, kind, random)
    return text


def _lines(text: str, kind: str, random: Random) -> str:
    lines = text.split("\n")
    i, j = random.randrange(len(lines)), random.randrange(len(lines))
    if kind == "delete line":
        del lines[i]
    elif kind == "double line":
        lines.insert(i, lines[i])
    elif kind == "swap lines":
        lines[i], lines[j] = lines[j], lines[i]
    elif kind == "move line":
        lines.insert(j, lines.pop(i))
    elif kind == "indent":
        lines[i] = "  " + lines[i]
    else:
        lines[i] = lines[i].removeprefix("  ")
    return "\n".join(lines)


def _tokens(text: str, kind: str, random: Random) -> str:
    tokens: list[str] = TOKEN.findall(text)
    wordy = [at for at, token in enumerate(tokens) if token.strip()]
    if not wordy:
        return text
    i, j = random.choice(wordy), random.choice(wordy)
    if kind == "delete token":
        tokens[i] = ""
    elif kind == "double token":
        tokens[i] = f"{tokens[i]} {tokens[i]}"
    elif kind == "swap tokens":
        tokens[i], tokens[j] = tokens[j], tokens[i]
    else:
        tokens[i] = tokens[j]
    return "".join(tokens)


def _piece(text: str, kind: str, random: Random) -> str:
    if kind == "cut":
        return text[: random.randrange(len(text) + 1)]
    if kind == "junk":
        at = random.randrange(len(text) + 1)
        return text[:at] + random.choice(JUNK) + text[at:]
    pattern = NUMBER
    pool: tuple[str, ...] = ALL_NUMBERS
    if kind == "unit":
        pattern, pool = UNIT, ALL_UNITS
    elif kind == "rename":
        pattern, pool = re.compile(r"\b[a-z_]+\b"), ()
    found = list(pattern.finditer(text))
    if not found:
        return text
    chosen = random.choice(found)
    new = random.choice(pool) if pool else random.choice(found).group()
    if kind == "negate":
        new = "-" + chosen.group()
    return text[: chosen.start()] + new + text[chosen.end() :]
