"""Recipes and sheets of any size for the benchmarks, made in the same way at every size."""

from __future__ import annotations

HEAD = """recipe procession
  about "Paper creatures in a row, each with a back that rides a curve"
  revision 1
  units cm
  axes up +Y front +Z
sheet
  point foot, knee, chest, crown
  length girth = 20 cm in 1 cm..9 m
control master at ground  ring 3 * girth  carries all
group skeleton at ground
  follow master
"""

CREATURE = """control body{i} at foot + (0, {i} cm, 0)  under master  ring girth
  dial stretch = 0 in 0..1
control bow{i} at knee + (0, {i} cm, 0)  under body{i}
  ring girth
  lock size
control high{i} at crown + (0, {i} cm, 0)  under bow{i}
  ring girth
  limit turn.x -40 deg..40 deg
curve path{i} through foot + (0, {i} cm, 0), knee + (0, {i} cm, 0), crown + (0, {i} cm, 0)
  grip below owns 1..2
    follow body{i}
  grip above owns 3..4
    follow high{i}
chain back{i} along path{i}  under skeleton
  bones 7
  denser toward start by 40%
  axis +X
  lean +Y toward -Z
  ride path{i}
  carried by body{i}
  stretch body{i}.stretch
twist back{i}
  end meets high{i} relative to body{i}
joint prop{i} at chest + (0, {i} cm, 0)  under skeleton
  follow high{i} for move, turn
"""

SHEET = """character = "{name}"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
foot = [0, 0, 0]
knee = [0, {knee}, 6]
chest = [0, {chest}, 2]
crown = [0, {crown}, 10]
"""


def recipe(creatures: int) -> str:
    """A recipe of that many creatures: 11 + 26 lines each, 13 nodes each."""
    return HEAD + "".join([CREATURE.format(i=i) for i in range(creatures)])


def sheet(name: str, scale: float = 1.0) -> str:
    """A sheet for the recipe."""
    return SHEET.format(name=name, knee=40 * scale, chest=75 * scale, crown=120 * scale)


RECIPE_FACTS = """control low{i} at pelvis.x{i}  under body  ring 1.2 * girth
  lock size
  limit turn.x -30 deg..60 deg
  follow world, body by space for move, turn
joint seat{i} at between pelvis and waist at 40%  under skeleton
  follow low{i}
"""

TOML_FACTS = """[control.low{i}]
at = "pelvis.x{i}"
under = "body"
ring = ["girth", 1.2]
lock = ["size"]
limit = {{ "turn.x" = [-30, 60] }}
follow = {{ leaders = ["world", "body"], by = "space", for = ["move", "turn"] }}
[joint.seat{i}]
at = {{ between = ["pelvis", "waist"], share = 40 }}
under = "skeleton"
follow = "low{i}"
"""


def facts(lines: int) -> tuple[str, str]:
    """The same facts as recipe lines and as TOML."""
    times = range(lines // 6)
    return (
        "".join([RECIPE_FACTS.format(i=i) for i in times]),
        "".join([TOML_FACTS.format(i=i) for i in times]),
    )
