"""Known mistakes of writing, each with its message, its help and samples that must show it.

A mistake is recognised by the text before and after the place where a line stops making sense.
The tests hold every sample to its message.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mistake:
    """A mistake people make: how it shows, what to say, how to mend it, and samples of it."""

    before: str
    rest: str
    message: str
    help: str
    samples: tuple[str, ...]

    def shows(self, before: str, rest: str, accepted: tuple[str, ...]) -> bool:
        """Whether a line broken into these two pieces shows this mistake."""
        return re.search(self.before, before) is not None and re.match(self.rest, rest) is not None


MISTAKES = (
    Mistake(
        r"^$",
        r"[A-Za-z_]\w*\s*=(?!=)",
        'expected a statement, found a name and "="',
        'a value gets a name with "let NAME = value"',
        ("half = 3 cm",),
    ),
    Mistake(
        r"^$",
        r"(across|shifted|joined|pointing|exactly|for|by|up|toward|within|relative)\b",
        "expected a statement or a clause, found {found}, which goes on with a clause",
        "write it on the line of its clause, such as: ring 3 cm across +X",
        ("  across +X", "  for move, turn", "  within 1 mm"),
    ),
    Mistake(
        r"",
        r",",
        'expected the next clause, found ","',
        "clauses stand side by side without commas; commas are for lists",
        ("control a at b, ring 3 cm", "  axis +X, lean +Z"),
    ),
    Mistake(
        r"[0-9]\s*$",
        r"(in|ft|px|km|degrees?|°|inches|feet)\b|°",
        "expected a unit that the language knows, found {found}",
        "units are mm, cm, m, inch, foot, deg, rad and %",
        ("  limit turn.x 0 degrees..3 deg", "let a = 3 ft"),
    ),
    Mistake(
        r"\w\s*$",
        r"=(?!=)",
        'expected a clause, found "="',
        'a value gets a name with "let NAME = value"',
        ("joint a = pelvis",),
    ),
    Mistake(
        r"=\s*$",
        r"=",
        'expected a value, found a second "="',
        'to compare, write "is": when tail is long',
        ("let a == 3",),
    ),
    Mistake(
        r"",
        r"==",
        'expected "is", found "=="',
        'to compare, write "is": when tail is long',
        ("when tail == long",),
    ),
    Mistake(
        r"",
        r"!=",
        'expected "is not", found "!="',
        'to compare, write "is not": when tail is not long',
        ("when tail != long",),
    ),
    Mistake(
        r"",
        r":",
        'expected the end of the line, found ":"',
        "a block needs no colon, only a step of indentation below its head",
        ("recipe upright:", "repeat k in 1..3:"),
    ),
    Mistake(
        r"",
        r";",
        'expected the end of the line, found ";"',
        "one fact a line, and no sign at its end",
        ("control a at b;",),
    ),
    Mistake(
        r"",
        r"'",
        "expected a text in double quotes, found a single quote",
        'write "text"',
        ("about 'a heron'",),
    ),
    Mistake(
        r"\*$",
        r"\*",
        "expected an operator that the language knows, found a power",
        "write a * a, or sqrt(a)",
        ("let a = 3 ** 2", "let a = b **2"),
    ),
    Mistake(
        r"",
        r"\^",
        "expected an operator that the language knows, found a power",
        "write a * a, or sqrt(a)",
        ("let a = b ^ 2",),
    ),
    Mistake(
        r"",
        r"\.[0-9]",
        'expected a digit before the ".", found none',
        "write 0.5, not .5",
        ("let a = .5",),
    ),
    Mistake(
        r"(^|/)$",
        r"/|\*",
        "expected a clause, found a comment of another language",
        "comments begin with #",
        ("control a at b // the first", "control a at b /* the first */", "// the first"),
    ),
    Mistake(
        r"",
        r"\+\s*\w",
        'expected a value, found "+"',
        "a number needs no sign in front of it; an axis is +X, +Y or +Z",
        ("let a = +3 cm",),
    ),
)
