"""Recipes and sheets that are small to write and would be endless to build.

Run as a program, it sets off every bomb in a process of bounded memory, and prints a line of JSON
for each as it ends: its name, the seconds it took, and the codes of its findings.
"""

from __future__ import annotations

import json
import resource
import sys
import time
from pathlib import Path

import fuzz_seeds
from fuzz_trial import TooSlow, tried

MEMORY = 1 << 30
"""Bytes of address space in which every bomb must be dealt with."""

SECONDS = 30.0
"""Bombs end within 10 s on a machine of their own; tests share theirs."""

HEAD = """recipe bomb
  units cm
  axes up +Y front +Z
control m at ground
  ring 10 cm
  carries all
"""
NINES = "9" * 400


def chained(line: str, count: int, last: str) -> str:
    """Lines that each wait for the next one, `{0}` for `{1}`, and the last of all."""
    return "".join(line.format(k, k + 1) + "\n" for k in range(count)) + last.format(count) + "\n"


RECIPES: dict[str, tuple[str, str | None]] = {
    # Each with the code of the error that refuses it, or None where it can be built.
    "a part in itself": ("part p\n  use p as q\nuse p as p\n", "part-in-itself"),
    "parts in each other": (
        "part p\n  use q as q\npart q\n  use p as p\nuse p as p\n",
        "part-in-itself",
    ),
    "a part in itself through mirror and repeat": (
        "part p\n  mirror\n    repeat k in 1..9\n      use p as p[k]\nuse p as p\n",
        "part-in-itself",
    ),
    "parts that double forty times": (
        "".join(f"part p{k}\n  use p{k + 1} as a\n  use p{k + 1} as b\n" for k in range(39))
        + "part p39\n  joint j at ground\nuse p0 as a\n",
        "too-large",
    ),
    "parts a thousand deep": (
        "".join(f"part p{k}\n  use p{k + 1} as a\n" for k in range(1000))
        + "part p1000\n  joint j at ground\nuse p0 as a\n",
        "too-large",
    ),
    "a thousand million repetitions": ("repeat k in 1..1000000000\n  let a = k\n", "too-large"),
    "repetitions that multiply": (
        "repeat k in 1..100000\n  repeat j in 1..100000\n    let a = j\n",
        "too-large",
    ),
    "repetitions of nothing that multiply": (
        "repeat k in 1..100000\n  repeat j in 1..100000\n    repeat i in 1..0\n      let a = 1\n",
        "too-large",
    ),
    "endless repetitions": (f"repeat k in 1..{NINES}\n  let a = k\n", "too-large"),
    "a thousand million bones": (
        "chain c through ground, ground + (0, 1 cm, 0)\n  bones 1000000000\n",
        "too-large",
    ),
    "a thousand million control points": (
        "curve c through ground, ground + (0, 1 cm, 0)\n  points 1000000000\n",
        "curve-shape",
    ),
    "brackets ten thousand deep": (f"let a = {'(' * 10_000}1{')' * 10_000}\n", "line-too-long"),
    "open brackets on lines of their own": ("let a = " + "(\n" * 100_000, "unclosed-bracket"),
    "lists ten thousand deep": (f"let a = {'[' * 10_000}1{']' * 10_000}\n", "line-too-long"),
    "blocks ten thousand deep": (
        "".join(" " * k + "when 1 is 1\n" for k in range(10_000)),
        "too-deep",
    ),
    "ten thousand minus signs": (f"let a = {'- ' * 10_000}1\n", "line-too-long"),
    "as many minus signs as fit": (
        f"let a = {'- ' * 1_900}1 cm\njoint j at (a, 0, 0) under m\n",
        None,
    ),
    "ten thousand times not": (f"when {'not ' * 10_000}1 is 1\n  let a = 1\n", "line-too-long"),
    "as many times not as fit": (f"when {'not ' * 1_900}1 is 1\n  joint j at ground\n", None),
    "ten thousand times between": (
        f"let a = {'between ground and ' * 10_000}ground{' at 1%' * 10_000}\n",
        "line-too-long",
    ),
    "ten thousand additions": (f"let a = {'1 cm + ' * 10_000}1 cm\n", "line-too-long"),
    "as many additions as fit": (
        f"let a = {'1 cm + ' * 900}1 cm\njoint j at (a, 0, 0) under m\n",
        None,
    ),
    "a live value of ten thousand terms": (
        f"feed m.move.x = live {'m.move.y + ' * 10_000}1 cm\n",
        "line-too-long",
    ),
    "a live value of nine hundred terms": (
        f"feed m.move.x = live {'m.move.y + ' * 900}1 cm\n",
        "too-large",
    ),
    "a number of five thousand digits": (
        f"let a = {'9' * 5_000}\njoint j[a] at ground\n",
        "too-large",
    ),
    "a number of five thousand digits in a path": (
        f"joint j at m.{'9' * 5_000}\n",
        "unknown-name",
    ),
    "an index of five thousand digits": (f"joint j at m[{'9' * 5_000}]\n", "too-large"),
    "a length without end": (f"joint j at ({NINES} cm, 0, 0) under m\n", "too-large"),
    "nothing as a divisor": (
        f"let a = 1 cm / 0.{'0' * 330}1\njoint j at (a, 0, 0) under m\n",
        "dimension",
    ),
    "a weight without end": (f"control c at ground\n  follow m {NINES}%, world 3\n", "weights"),
    "places in reverse": (
        chained("place p[{0}] at p[{1}]", 2_000, "place p[{0}] at ground\njoint j at p[0] under m"),
        None,
    ),
    "places in reverse, too many": (
        chained(
            "place p[{0}] at (max(p[{1}].x, 1 cm), 0, 0)",
            9_000,
            "place p[{0}] at ground\njoint j at p[0] under m",
        ),
        "too-large",
    ),
    "conditions in reverse, too many": (
        chained(
            "when v{1} > 0 cm\n  let v{0} = v{1}", 16_000, "let v{0} = 1 cm\njoint j at (v0, 0, 0)"
        ),
        "too-large",
    ),
    "gauges in reverse, too many": (
        chained("gauge g[{0}] = live g[{1}] + 1 cm", 16_000, "gauge g[{0}] = live m.move.x"),
        "too-large",
    ),
    "values of each other": ("let a = b\nlet b = a\njoint j at a\n", "circular-value"),
    "places at each other": ("place a at b\nplace b at a\njoint j at a\n", "circular-place"),
    "a gauge of itself": ("gauge g = live g + 1 cm\n", "circular-value"),
    "lists of each other": ("list a of b\nlist b of a\n", "list-member"),
    "lists that treble thirty times": (
        "".join(f"list a{k} of a{k + 1}, a{k + 1}, a{k + 1}\n" for k in range(30))
        + "list a30 of m\n",
        None,
    ),
    "values that double forty times": (
        "".join(f"let a{k} = [a{k + 1}, a{k + 1}]\n" for k in range(40))
        + "let a40 = ground\ncurve c through a0\n",
        "too-large",
    ),
    "three thousand dials": (
        "control c at ground under m\n"
        + "".join(f"  dial d{k} = 0 in 0..1\n" for k in range(3_000)),
        None,
    ),
    "a pose of three thousand settings": (
        "control c at ground under m\n"
        + "".join(f"  dial d{k} = 0\n" for k in range(3_000))
        + "pose p\n"
        + "".join(f"  set c.d{k} = 1\n" for k in range(3_000)),
        None,
    ),
    "a curve through too many places": (
        "let a = [" + ", ".join(f"({k} cm, 0, 0)" for k in range(150)) + "]\n"
        "let b = [a, a, a, a, a, a, a, a]\ncurve c through b\n",
        "curve-shape",
    ),
    "a hundred thousand broken lines": ("x y z )\n" * 100_000, "too-many-mistakes"),
    "a thousand unknown names": (
        "".join(f"joint joint_{k} at jiont_{k}\n" for k in range(1_000)),
        "unknown-name",
    ),
    "five hundred loops": (
        "".join(
            f"control a{k} at ground\n  follow b{k}\ncontrol b{k} at ground\n  follow a{k}\n"
            for k in range(500)
        ),
        "cycle",
    ),
    "a line of a million quotes": ('"' * 1_000_001 + "\n", "syntax"),
    "a name of a million letters": (f"joint {'a' * 1_000_000} at ground\n", "bad-name"),
    "a text of a million letters": (
        f'control c at ground under m\n  about "{"x" * 1_000_000}"\n',
        None,
    ),
    "a comment of a million letters": (f"#{'x' * 1_000_000}\n", None),
    "a hundred thousand zero bytes": ("\0" * 100_000, "bad-character"),
    "a million carriage returns": ("\r" * 1_000_000, None),
    "a hundred thousand tabs": ("\t" * 100_000 + "joint j at ground\n", "uneven-indent"),
}

SHEET = fuzz_seeds.PLAIN_SHEET
SHEETS: dict[str, tuple[str, bytes, str]] = {
    "an endless number": (
        "s.toml",
        (SHEET + "[points]\na = [1e400, 1, 2]\n").encode(),
        "out-of-range",
    ),
    "a number of a million digits": (
        "s.toml",
        f"{SHEET}[points]\na = [{'9' * 1_000_000}, 1, 2]\n".encode(),
        "sheet-syntax",
    ),
    "arrays a hundred thousand deep": (
        "s.toml",
        f"{SHEET}a = {'[' * 100_000}{']' * 100_000}\n".encode(),
        "sheet-syntax",
    ),
    "tables five thousand deep": (
        "s.toml",
        (SHEET + "a = " + "{a = " * 5_000 + "1" + "}" * 5_000 + "\n").encode(),
        "sheet-syntax",
    ),
    "a key of a hundred thousand dots": (
        "s.toml",
        (SHEET + "a" + ".a" * 100_000 + " = 1\n").encode(),
        "sheet-syntax",
    ),
    "a hundred thousand broken lines": ("s.toml", b"a b c\n" * 100_000, "sheet-syntax"),
    "arrays a million deep": ("s.json", b"[" * 1_000_000, "sheet-syntax"),
    "objects a hundred thousand deep": ("s.json", b'{"a":' * 100_000, "sheet-syntax"),
    "an endless number in JSON": (
        "s.json",
        b'{"character": "pip", "unit": "cm", "up": "+Y", "front": "+Z",'
        b' "points": {"a": [1e400, 1, 2]}}',
        "out-of-range",
    ),
    "half a character": ("s.json", b'{"a": "\\ud800"}', "sheet-syntax"),
}


def main() -> None:
    """Set the bombs off one after another."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    root = Path(sys.argv[1])
    for name, (text, _) in RECIPES.items():
        report(f"recipe: {name}", (HEAD + text).encode(), SHEET.encode(), root)
    for name, (file, content, _) in SHEETS.items():
        report(f"sheet: {name}", HEAD.encode(), content, root, file)


def report(
    name: str, recipe: bytes, character: bytes, root: Path, sheet_name: str = "trial.toml"
) -> None:
    """Set one bomb off, and say what came of it."""
    began = time.monotonic()
    codes: list[str] = []
    problem = None
    try:
        found = tried(recipe, character, root, sheet_name, seconds=SECONDS)
        codes = [finding.code for finding in found]
    except (Exception, TooSlow) as mistake:
        problem = f"{type(mistake).__name__}: {mistake}"[:500]
    took = time.monotonic() - began
    result = {"name": name, "seconds": took, "codes": sorted(set(codes)), "problem": problem}
    print(json.dumps(result), flush=True)


if __name__ == "__main__":
    main()
