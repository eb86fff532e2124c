"""One puppet of many kinds of statement, and edits of its recipe as a rigger makes them."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from types import MappingProxyType

from somite.pipeline import Compiled, compile_text

RECIPE = """\
recipe porter
  about "Bram carries the night market's kettles"
  revision 3
  units cm
  axes up +Y front +Z

sheet
  point pelvis, waist, ribs, nape, crown
  pair hip, knee, ankle, shoulder, elbow, wrist
  length girth = 30 cm
  count bones = 5 in 3..9

control master at ground
  ring 2 * girth
  carries all
  size even
control body at pelvis  under master
  square 1.6 * girth
  dial stretch = 0 in 0..1
  dial lean = 0 deg in -20 deg..20 deg
control low at pelvis  under body
  ring girth
  lock size
control bow at waist  under body
  ring girth
  lock size
control high at nape  under bow
  about "the chest"
  ring girth
  limit turn.y -80 deg..80 deg
  lock size

group skeleton at ground
  follow master

curve path through pelvis, waist, ribs, nape
  degree 3
  points 4
  grip below owns 1..2
    follow low
  grip above owns 3..4
    follow high

chain back along path  under skeleton
  bones bones
  axis +X
  lean +Y toward -Z
  ride path
  carried by low
  stretch body.stretch
twist back
  end meets high relative to low
  spread even

control nod at nape  under high
  ball 0.8 * girth
  dial space of high, body, world = high
  follow high, body, world by space for move, turn
joint head at nape  under back.last
  follow nod for move, turn
joint crest at crown  under head
socket perch at crown  under head

mirror
  control hand at wrist  under master
    ball 0.4 * girth
    limit move.x -60 cm..60 cm
    dial mix = 0 in 0..1
  control guide at elbow + (0, 0, -30 cm)  under master
    diamond 0.2 * girth
    only move
  chain arm through shoulder, elbow, wrist  under back.last  named upper, fore
    axis +X
    lean bend
  reach arm to hand
    pole guide
  chain leg through hip, knee, ankle  under back.first  named thigh, shank
    axis +X
    lean bend

control kettle at wrist.left  under hand.left
  cross 8 cm
  only turn
  shown by body.stretch below 1
joint lid at wrist.left  under arm.left.fore
feed lid.turn.x = live kettle.turn.y * 0.5
gauge strain = live distance(head, hand.left)

list skin of back, head, crest, arm, leg

pose bow_down
  set bow.turn.x = 30 deg
  set high.turn.x = 20 deg

check "the head goes with the chest"
  pose high.move.x = 5 cm
  expect head apart from nod by 0 cm within 0.1 mm
"""

SHEET = """\
character = "bram"
unit = "cm"
up = "+Y"
front = "+Z"

[points]
pelvis = [0, 60, -2]
waist = [0, 70, -3]
ribs = [0, 80, -2]
nape = [0, 92, 1]
crown = [0, 110, 4]

[pairs]
hip = [8, 58, 0]
knee = [9, 32, 3]
ankle = [9, 6, -1]
shoulder = [16, 88, 0]
elbow = [24, 70, -5]
wrist = [28, 52, 2]
"""

EDITS = MappingProxyType(
    {
        "parent": ("control high at nape  under bow", "control high at nape  under body"),
        "parent of a locked control": (
            "control kettle at wrist.left  under hand.left",
            "control kettle at wrist.left  under body",
        ),
        "rename with was": (
            "control low at pelvis  under body\n",
            "control hips at pelvis  under body\n  was low\n",
        ),
        "limit": ("limit turn.y -80 deg..80 deg", "limit turn.y -40 deg..40 deg"),
        "wider limit": ("limit turn.y -80 deg..80 deg", "limit turn.y -120 deg..90 deg"),
        "no limit": ("  limit turn.y -80 deg..80 deg\n", ""),
        "mirrored limit": ("limit move.x -60 cm..60 cm", "limit move.x -20 cm..60 cm"),
        "lock": ("  square 1.6 * girth\n", "  square 1.6 * girth\n  lock turn.z\n"),
        "free": ("    only move\n", ""),
        "order": (
            "control bow at waist  under body\n",
            "control bow at waist  under body\n  order yzx\n",
        ),
        "order under a limit": ('  about "the chest"\n', '  about "the chest"\n  order zxy\n'),
        "bones": ("count bones = 5", "count bones = 6"),
        "spread": ("spread even", "spread eased"),
        "dial default": ("dial stretch = 0 in 0..1", "dial stretch = 1 in 0..1"),
        "dial range": (
            "dial lean = 0 deg in -20 deg..20 deg",
            "dial lean = 0 deg in -5 deg..20 deg",
        ),
        "dial kind": ("dial lean = 0 deg in -20 deg..20 deg", "dial lean = 0 in -1..1"),
        "dial renamed": (
            "    dial mix = 0 in 0..1\n",
            "    dial blend = 0 in 0..1\n      was mix\n",
        ),
        "dial renamed silently": ("    dial mix = 0 in 0..1\n", "    dial mixing = 0 in 0..1\n"),
        "dial gone": ("  dial lean = 0 deg in -20 deg..20 deg\n", ""),
        "choice more": (
            "dial space of high, body, world = high\n  follow high, body, world",
            "dial space of body, high, world, master = high\n  follow body, high, world, master",
        ),
        "choice fewer": (
            "dial space of high, body, world = high\n  follow high, body, world",
            "dial space of high, body = high\n  follow high, body",
        ),
        "choice default": ("world = high\n", "world = body\n"),
        "leader": (
            "  grip above owns 3..4\n    follow high",
            "  grip above owns 3..4\n    follow bow",
        ),
        "carrier": ("  carried by low\n  stretch", "  carried by body\n  stretch"),
        "shares": (
            "grip below owns 1..2\n    follow low\n  grip above owns 3..4",
            "grip below owns 1..3\n    follow low\n  grip above owns 4",
        ),
        "feed": ("kettle.turn.y * 0.5", "kettle.turn.y * 0.75"),
        "gauge": ("distance(head, hand.left)", "distance(head, hand.right)"),
        "list": ("back, head, crest, arm, leg", "back, head, arm, leg"),
        "pose": ("set high.turn.x = 20 deg", "set high.turn.x = 25 deg"),
        "check": ("within 0.1 mm", "within 0.2 mm"),
        "check more": (
            "by 0 cm within 0.1 mm\n",
            "by 0 cm within 0.1 mm\n  expect back keeps length within 0.5%\n",
        ),
        "shape": ("ball 0.8 * girth", "ball 0.7 * girth"),
        "about": ('"the chest"', '"the ribs and above"'),
        "revision": ("revision 3", "revision 4"),
        "units": ("units cm", "units mm"),
        "joint more": (
            "joint crest at crown  under head\n",
            "joint crest at crown  under head\njoint comb at crown + (0, 4 cm, 0)  under crest\n",
        ),
        "joint fewer": (", crest, arm", ", arm", "joint crest at crown  under head\n", ""),
        "joint under another": (
            "joint crest at crown  under head",
            "joint crest at crown  under back.last",
        ),
        "elsewhere": ("joint head at nape  under", "joint head at nape + (0, 2 cm, 0)  under"),
        "excuse": (
            "control nod at nape  under high\n",
            'control nod at nape  under high\n  excuse calm because "the puppet nods in steps"\n',
        ),
        "size": ("  size even\n", ""),
        "shown": ("shown by body.stretch below 1", "shown by body.stretch below 0.5"),
        "shown always": ("  shown by body.stretch below 1\n", ""),
        "shown by a choice": (
            "shown by body.stretch below 1",
            "shown by nod.space is high, body",
        ),
        "no socket": ("socket perch at crown", "group perch at crown"),
        "socket more": (
            "socket perch at crown  under head\n",
            "socket perch at crown  under head\nsocket saddle at waist  under back.3\n",
        ),
    }
)
"""Edits by name: pairs of what stands there and what stands there instead."""


def edited(*names: str) -> str:
    """The recipe with these edits, one after another; each must find what it replaces."""
    text = RECIPE
    for name in names:
        pairs = EDITS[name]
        for before, after in zip(pairs[::2], pairs[1::2], strict=True):
            assert before in text, name
            text = text.replace(before, after)
        if name == "rename with was":
            text = text.replace("follow low", "follow hips").replace(
                "carried by low", "carried by hips"
            )
            text = text.replace("relative to low", "relative to hips")
    return text


@cache
def made(*names: str) -> Compiled:
    """The puppet with these edits."""
    return built(edited(*names))


@cache
def built(recipe: str, sheet: str = SHEET) -> Compiled:
    """A recipe's text built for the puppet's sheet."""
    compiled = compile_text(recipe, sheet, "porter.somite")
    assert compiled.settled is not None, [one.message for one in compiled.findings]
    return compiled


def clashing(names: Iterable[str]) -> bool:
    """Whether these edits can not stand together: one takes away what another needs."""
    try:
        made(*names)
    except AssertionError:
        return True
    return False
