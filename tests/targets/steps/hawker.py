"""A noodle hawker of the night market: small, of parts that are mirrored and need each other.

The hem hangs on the forearm, and the arm's guide goes with the sleeve's flap: so one of the two
has to wait for the other. The tray on the left only is no mirror image of anything.
"""

from __future__ import annotations

import somite
from somite.settle import Settled

RECIPE = """\
recipe hawker
  about "Sells noodles between two lanterns"
  units cm
  axes up +Y front +Z

sheet
  point hips, neck
  pair shoulder, elbow, wrist

part trunk
  needs point low, high
  needs node root, master
  offers hips, chest, sway
  control sway at low  under master  ring 30 cm
    only move, turn
  joint hips at low  under root
    follow sway for move, turn
  joint chest at high  under hips

part sleeve
  needs point cuff
  needs node fore, body
  offers flap
  control flap at cuff  under body  ring 8 cm
    only turn
  joint hem at cuff  under fore
    follow flap for turn

part arm
  needs point shoulder, elbow, wrist
  needs node root, body, flap
  offers hand, guide, upper is bone.upper, fore is bone.fore, skin
  control hand at wrist  under body  ball 8 cm
    only move
    dial curl = 0 deg in -30 deg..90 deg
  control guide at elbow - (0, 0, 20 cm)  under body  diamond 6 cm
    follow flap for move
    only move
    limit move.x -5 cm..10 cm
  chain bone through shoulder, elbow, wrist  under root
    named upper, fore
    axis +X
    lean bend
  reach bone to hand
    pole guide
  joint palm at wrist  under bone.fore
  feed palm.turn.z = live 0.5 * hand.curl
  list skin of bone, palm
  check "a curl turns the palm by half"
    pose hand.curl = 40 deg
    expect palm turns 20 deg relative to bone.fore within 0.5 deg

mirror
  use sleeve as sleeve
    with cuff = wrist, fore = arm.fore, body = trunk.sway
  use arm as arm
    with shoulder = shoulder, elbow = elbow, wrist = wrist
    with root = trunk.chest, body = trunk.sway, flap = sleeve.flap

use trunk as trunk
  with low = hips, high = neck, root = skeleton, master = master

control master at ground  ring 60 cm  carries all
group skeleton at ground
  follow master
joint tray at wrist.left  under arm.left.fore
mirror
  group lantern at shoulder + (0, 30 cm, 0)  under trunk.chest
list all_skin of arm.left.skin, arm.right.skin
"""

SHEET = """\
character = "orzo_crane"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
hips = [0, 90, 0]
neck = [0, 140, 2]
[pairs]
shoulder = [15, 136, 0]
elbow = [40, 130, -4]
wrist = [62, 128, 6]
"""

UNEVEN = SHEET.replace(
    "elbow = [40, 130, -4]", "elbow = { left = [40, 130, -4], right = [-38, 121, -6] }"
)
"""The same hawker with a right arm that was broken once."""


def settled(sheet: str = SHEET, recipe: str = RECIPE) -> Settled:
    """The hawker, who must compile without a finding of error."""
    made = somite.compile_text(recipe, sheet)
    assert made.settled is not None, [str(finding) for finding in made.findings]
    return made.settled
