"""Recipes that the grammar allows, drawn from its own rules: sound in form, wild in meaning.

Every production of `grammar/somite.lark` can come up. Names are drawn from a small pool, so that
references meet declarations, clashes and loops; a head and a few measures stand in front of most.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from hypothesis import strategies as st
from lark import Lark
from lark.grammar import NonTerminal, Rule, Symbol

from somite import grammar
from somite.expansion.values import HELPERS
from somite.parse import Indentation
from somite.statements import BODY, STATEMENTS

DEEPEST = 14
"""Rules within rules; beyond it the shortest way out is taken."""

FRESH = ("b", "c", "e", "f", "leg", "paw", "wing", "beak", "fin", "horn", "size", "A", "a.b")
KNOWN = ("a", "a", "b", "c", "nose", "hip", "tail", "path", "master", "leg", "k", "ground", "world")
PATHS = ("a.move.x", "b.turn.y", "c.size.z", "master.d", "hip.left", "tail.last", "tail.end")
CLAUSE_WORDS = ("lower", "cm", "xyz", "move", "turn", "turn.x", "chord", "travel", "rest")
NUMBERS = ("0", "1", "2", "3", "4", "0.5", "7", "12", "100", "999999999999", "0.000001")
QUANTITIES = ("3 cm", "10 mm", "1 m", "2 inch", "1 foot", "30 deg", "1 rad", "40%", "0 cm", "0%")
TEXTS = ('"a"', '"the tip"', '""', '"parts/limb.somite"', '"_"', '"Ünder"')

HEAD = """recipe a_creature
  units cm
  axes up +Y front +Z
sheet
  point nose = ground + (0, 9 cm, 1 cm)
  pair hip = ground + (3 cm, 5 cm, 0)
  count legs = 3 in 1..9
  length girth = 8 cm
  choice gait of walk, run = walk
control master at ground
  ring girth
  carries all
  dial d = 0 in 0..1
joint a at nose under master
  follow master
chain tail through ground, ground + (0, 1 cm, 0), ground + (0, 2 cm, 1 cm) under a
"""


@dataclass(frozen=True)
class Rules:
    """The grammar's productions by what they make, and the least depth that each needs."""

    by_origin: dict[str, tuple[Rule, ...]]
    least: dict[Rule, int]
    spelled: dict[str, str]


@cache
def rules() -> Rules:
    """The productions of the grammar file."""
    lark = Lark(grammar.text(), postlex=Indentation(), **grammar.OPTIONS)
    by_origin: dict[str, list[Rule]] = {}
    for rule in lark.rules:
        by_origin.setdefault(rule.origin.name, []).append(rule)
    least: dict[str, int] = {}
    depths: dict[Rule, int] = {}
    changed = True
    while changed:
        changed = False
        for rule in lark.rules:
            inner = [
                least.get(symbol.name, 10**6) if isinstance(symbol, NonTerminal) else 0
                for symbol in rule.expansion
            ]
            depth = 1 + max(inner, default=0)
            if depth < depths.get(rule, 10**6):
                depths[rule] = depth
                changed = True
            if depth < least.get(rule.origin.name, 10**6):
                least[rule.origin.name] = depth
    spelled = {
        terminal.name: terminal.pattern.value
        for terminal in lark.terminals
        if type(terminal.pattern).__name__ == "PatternStr"
    }
    return Rules({name: tuple(found) for name, found in by_origin.items()}, depths, spelled)


@cache
def productions(origin: str, shortest: bool) -> st.SearchStrategy[Rule]:
    """One of the productions of a rule, or of those that need the least depth."""
    known = rules()
    options = known.by_origin[origin]
    if shortest:
        least = min(known.least[rule] for rule in options)
        options = tuple(rule for rule in options if known.least[rule] == least)
    return st.sampled_from(options)


@st.composite
def words(draw: st.DrawFn, symbol: str, depth: int = 0) -> list[str]:
    """The words of a sentence that a rule of the grammar allows; indentation as its terminals."""
    found: list[str] = []
    _walk(draw, NonTerminal(symbol), depth, found)
    return found


def _walk(draw: st.DrawFn, symbol: Symbol, depth: int, found: list[str], origin: str = "") -> None:
    if not isinstance(symbol, NonTerminal):
        found.append(_word(draw, symbol.name, origin))
        return
    rule = draw(productions(symbol.name, depth > DEEPEST))
    for inner in rule.expansion:
        _walk(draw, inner, depth + 1, found, symbol.name)


_WORDS = {
    "declared": st.sampled_from(FRESH),
    "ref": st.sampled_from([*KNOWN, *KNOWN, *PATHS]),
    "call": st.sampled_from([*HELPERS, "reflected", "twist", "stretch"]),
    "": st.sampled_from([*KNOWN, *CLAUSE_WORDS]),
}
_POOLS = {
    "NUMBER": st.sampled_from(NUMBERS),
    "QUANTITY": st.sampled_from(QUANTITIES),
    "STRING": st.sampled_from(TEXTS),
    "AXIS": st.sampled_from(["+X", "-X", "+Y", "-Y", "+Z", "-Z"]),
    "DOTS": st.sampled_from([".x", ".first", ".2", ".left", ".move.y"]),
}


def _word(draw: st.DrawFn, terminal: str, origin: str) -> str:
    pool = _POOLS.get(terminal)
    if terminal == "WORD":
        pool = _WORDS.get(origin, _WORDS[""])
    if pool is not None:
        return draw(pool)
    if terminal == "ONE_SIDED":
        return "one-sided"
    return rules().spelled.get(terminal, terminal)


def laid_out(found: list[str]) -> str:
    """Words as lines of text: the terminals of indentation become blanks."""
    lines: list[str] = []
    level, line = 0, ""
    for word in found:
        if word == "_NL":
            lines.append("  " * level + line)
            line = ""
        elif word == "_INDENT":
            level += 1
        elif word == "_DEDENT":
            level -= 1
        elif word.startswith(".") and word != "..":
            line += word
        else:
            line = f"{line} {word}".lstrip()
    if line:
        lines.append("  " * level + line)
    return "\n".join(lines) + "\n"


RULE_OF = {"import": "import_", "feed_live": "feed", "feed_from": "feed"} | dict.fromkeys(
    ("pose_named", "pose_set", "pose_sweep"), "pose"
)
"""Rules whose names differ from the words of their statements."""


@st.composite
def statements(draw: st.DrawFn, kinds: tuple[str, ...] = (), level: int = 0) -> str:
    """A statement with clauses and a block that belong to it, each in a form the grammar allows."""
    kind = draw(st.sampled_from(kinds or tuple(sorted(BODY))))
    module = STATEMENTS[kind]
    depth = draw(st.sampled_from([2, 6, 9]))
    head = draw(words(RULE_OF.get(kind, kind), depth))
    lines = [laid_out(head).rstrip("\n")]
    clauses = tuple(sorted(module.CLAUSES or ()))
    for _ in range(draw(st.integers(0, 4)) if clauses else 0):
        clause = laid_out(draw(words(draw(st.sampled_from(clauses)), depth))).strip()
        if draw(st.booleans()):
            lines[0] += "  " + clause
        else:
            lines.append("  " + clause)
    inner = tuple(sorted(BODY if module.BLOCK is None else module.BLOCK))
    for _ in range(draw(st.integers(0, 3)) if inner and level < 3 else 0):
        below = draw(statements(inner, level + 1))
        lines += ["  " + line for line in below.rstrip("\n").split("\n")]
    return "\n".join(lines) + "\n"


@st.composite
def recipes(draw: st.DrawFn) -> str:
    """A recipe's text: mostly a head that holds, then statements that the grammar allows.

    Most statements have clauses and blocks that belong to them; some have whatever comes.
    """
    text = draw(st.sampled_from([HEAD, HEAD, HEAD, HEAD, "recipe a\n", ""]))
    for _ in range(draw(st.integers(1, 4))):
        if draw(st.integers(0, 4)):
            text += draw(statements())
        else:
            text += laid_out(draw(words("statement", draw(st.sampled_from([0, 4, 8])))))
    return text
