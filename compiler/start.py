"""A new project: a folder with a small recipe, a sheet for it and a cast that builds both.

What comes in is a path that does not exist yet; what goes out is its files as text. The recipe is
there to be read and changed: it builds without findings, and says in comments what to try.
"""

from __future__ import annotations

import re

RECIPE = """\
# A lantern on a bendable stalk. Change a line, run `somite build`, and look into build/.
recipe {name}
  about "A lantern on a stalk that bends and turns"
  revision 1
  units cm
  axes up +Y front +Z

# What a sheet must measure. Every character brings its own sheet.
sheet
  point foot, knee, neck, crown
  count stalk_bones = 5 in 2..20
  length girth = 30 cm in 5 cm..2 m

control master at ground  ring 2.0 * girth  carries all
control low at foot  under master  ring 1.2 * girth
control high at crown  under low  ring 1.0 * girth
  size even

group skeleton at ground  under master

curve path through foot, knee, neck, crown
  degree 3  points 4
  grip below owns 1..2  follow low
  grip above owns 3..4  follow high

chain stalk along path  under skeleton
  bones stalk_bones
  axis +Y  lean +Z
  ride path  carried by low

twist stalk
  end meets high relative to low
  spread even

check "turning the crown turns the last bone with it"
  pose high.turn.y = 40 deg
  expect stalk.last twists 40 deg with high within 0.5 deg
"""

SHEET = """\
# One character's measurements. Copy this file for the next one.
character = "first"
unit = "cm"
up = "+Y"
front = "+Z"

[points]
foot = [0, 0, 0]
knee = [0, 30, 2]
neck = [0, 60, 0]
crown = [0, 90, 1]

[measures]
stalk_bones = 6
"""

CAST = """\
# Which recipes are built for which sheets. `somite build` builds them all.
out = "build"

[[build]]
recipe = "{name}.somite"
sheets = ["sheets/*.toml"]
targets = ["scene", "steps"]
"""


def files(name: str) -> dict[str, str]:
    """The files of a new project by path in its folder. `name` is a name of the language."""
    return {
        f"{name}.somite": RECIPE.format(name=name),
        "sheets/first.toml": SHEET,
        "cast.toml": CAST.format(name=name),
    }


def recipe_name(folder: str) -> str | None:
    """The recipe's name for a folder called so; None if nothing of it can be in a name."""
    name = re.sub(r"[^a-z0-9]+", "_", folder.lower()).strip("_")
    return name if re.match("[a-z]", name) else None
