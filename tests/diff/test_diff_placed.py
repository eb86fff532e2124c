"""Rigs on sockets, sockets, and when controls are shown: compared, applied, mirrored, said."""

from __future__ import annotations

from typing import Any

import pytest
from changing import each_field_is_told, the_changes_make_the_new_one, the_way_back_mirrors

import somite
from somite.diff.comparing import difference
from somite.diff.meaning import renamed
from somite.ir import Rig
from somite.report.change_words import Words
from somite.settle import Settled
from somite.targets.scene_reading import UNHELD, held

LANTERN = """\
recipe lantern
  revision 2
  units cm
  axes up +Y front +Z

sheet
  point foot, hook

control pole at foot  ring 20 cm  carries all
control swing at hook  under pole  ball 6 cm
joint flame at hook  under swing
list skin of flame
"""
LANTERN_SHEET = """\
character = "lumen"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
foot = [0, 0, 0]
hook = [0, 40, 6]
"""
CART = """\
recipe cart
  units cm
  axes up +Y front +Z
import recipe lantern from "lantern.somite"
sheet
  point front, rear
  rig light

control master at ground  ring 60 cm  carries all
  dial show of none, some, all = all
  dial open = 0 in 0..1
socket prow at front  under master
socket stern at rear  under master
use lantern as lamp
  on prow
  measured by light
  shown by master.show is some, all
"""
SHEET = """\
character = "bram"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
front = [0, 60, 70]
rear = [0, 50, -70]
[rigs]
light = "{light}"
"""

EDITS = {
    "another socket": ("on prow", "on stern"),
    "renamed with was": ("as lamp\n", "as glow\n  was lamp\n"),
    "renamed silently": ("as lamp\n", "as glow\n"),
    "gone": (CART[CART.index("use lantern") :], "joint nail at front  under prow\n"),
    "two": (
        "use lantern as lamp",
        "use lantern as tail\n  on stern\n  measured by light\nuse lantern as lamp",
    ),
    "shown less": ("is some, all", "is all"),
    "shown by a number": ("show is some, all", "open above 0.5"),
    "choices in another order": ("of none, some, all", "of all, some, none"),
    "socket elsewhere": ("socket prow at front", "socket prow at front + (0, 3 cm, 0)"),
    "another character": ("{light}", "other.toml"),
    "a newer recipe": ("revision 2", "revision 3"),
}


@pytest.fixture(scope="module")
def cart(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Carts by the name of their edit."""
    found: dict[str, Settled] = {}

    def made(name: str = "") -> Settled:
        if name not in found:
            folder = tmp_path_factory.mktemp("cart")
            before, after = EDITS.get(name, ("", ""))
            texts = {
                "lantern.somite": LANTERN,
                "lantern.toml": LANTERN_SHEET,
                "other.toml": LANTERN_SHEET.replace("lumen", "pip").replace("40, 6", "44, 6"),
                "cart.somite": CART,
                "bram.toml": SHEET,
            }
            assert any(before in text for text in texts.values()), name
            for file, text in texts.items():
                text = text.replace(before, after, 1) if before else text
                (folder / file).write_text(text.replace("{light}", "lantern.toml"))
            compiled = somite.compile(folder / "cart.somite", folder / "bram.toml")
            assert compiled.settled is not None, compiled.findings
            found[name] = compiled.settled
        return found[name]

    return made


@pytest.mark.parametrize("name", ["", *EDITS])
def test_a_rig_with_others_on_it_against_itself_gives_nothing(cart: Any, name: str) -> None:
    assert not difference(cart(name).rig, cart(name).rig)


@pytest.mark.parametrize("first", ["", *EDITS])
@pytest.mark.parametrize("second", ["", "two", "gone", "renamed with was", "shown by a number"])
def test_changes_there_and_back(cart: Any, first: str, second: str) -> None:
    old, new = cart(first).rig, cart(second).rig
    the_way_back_mirrors(old, new)
    the_changes_make_the_new_one(old, new)


SAID = {
    "another socket": 'lamp stands on "stern", it stood on "prow"',
    "renamed with was": 'lamp is now "glow" (stated by was)',
    "gone": 'lamp is gone: a rig, lantern 2 for lumen, on "prow"',
    "two": 'tail is a new rig, lantern 2 for lumen, on "stern"',
    "shown less": "lamp.pole is shown while master.show is all, it was while master.show is some or"
    " all",
    "shown by a number": "lamp.swing is shown while master.open is above 0.5, it was while"
    " master.show is some or all",
    "socket elsewhere": "lamp stands 3 cm away at rest",
    "another character": "lamp is measured by pip, it was by lumen",
    "a newer recipe": "lamp has revision 3, it had 2",
}


@pytest.mark.parametrize("name", list(SAID))
def test_a_change_of_a_placed_rig_is_said(cart: Any, name: str) -> None:
    old, new = cart().rig, cart(name).rig
    words = Words(old, new)
    told = [words.said(one) for one in difference(old, new).changes if not one.implied]
    assert SAID[name] in [f"{one.subject} {one.text}" for one in told]


def test_a_silent_rename_of_a_placed_rig_is_inferred_with_what_is_in_it(cart: Any) -> None:
    made = difference(cart().rig, cart("renamed silently").rig)
    (rig,) = [one for one in made.changes if one.kind == "rig" and not one.path]
    assert (rig.what, rig.old, rig.new) == ("renamed", "lamp", "glow")
    assert 0.6 <= rig.confidence < 1.0


def test_a_control_shown_at_the_same_words_of_a_choice_is_shown_as_before(cart: Any) -> None:
    made = difference(cart().rig, cart("choices in another order").rig)
    shown = [one for one in made.changes if one.path == ("shown",)]
    assert shown and all(one.implied for one in shown)


def test_another_recipes_name_is_not_the_name_of_a_node(cart: Any) -> None:
    """A node called as the placed recipe is, renamed: the recipe is still called as it was."""
    rig: Rig = cart().rig
    assert renamed(rig.placed[0], {"lantern": "torch", "lumen": "pip"}) == rig.placed[0]


def test_no_field_of_a_placed_rig_is_forgotten(cart: Any) -> None:
    each_field_is_told(cart().rig, "placed", 0)


@pytest.mark.parametrize("name", ["", "two", "shown by a number"])
def test_a_scene_file_holds_rigs_sockets_and_showing(cart: Any, name: str) -> None:
    settled = cart(name)
    assert not difference(settled.rig, held(settled), unheld=UNHELD)
