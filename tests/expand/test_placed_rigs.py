"""A rig on a socket behaves as it does alone, seen from where it stands.

The expectation is no output of the placing itself: the other recipe is built alone, and its posed
places are carried onto each socket by frames worked out here from the recipe's own lines.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

import somite
from somite.ir import Node
from somite.pipeline import Compiled
from somite.target import Context
from somite.targets import scene, steps
from somite.targets.scene_model import read_scene

FOLDER = Path(__file__).parents[1] / "cases" / "sound"
MULE = """
recipe mule
  units cm
  axes up +Y front +Z
import recipe climber from "climber.somite"
sheet
  point back
  pair flank
  rig climber
control master at ground  ring 90 cm  carries all
control trunk at back  under master  ring 60 cm
socket saddle at back  under trunk
socket croup at back + (10 cm, 0, -40 cm)  axis +Y toward (4, 12, 3)  lean +Z toward +Z  under trunk
mirror
  socket pannier at flank  axis +Y toward (3, 4, 0)  lean +Z toward +X  under trunk
  use climber as porter
    on pannier
    measured by climber
use climber as rider
  on saddle
  measured by climber
use climber as page
  on croup
  measured by climber
"""
SHEET = """
character = "mule"
unit = "cm"
up = "+Y"
front = "+Z"
[points]
back = [0, 120, 0]
[pairs]
flank = [35, 110, 10]
[rigs]
climber = "climber.toml"
"""
POSE = {
    "body.move.x": 0.04,
    "body.turn.z": 0.3,
    "high.turn.x": -0.4,
    "high.turn.y": 0.2,
    "hand.left.move.z": 0.1,
    "hand.left.move.y": -0.05,
    "hand.right.mix": 0.0,
    "guide.right.move.x": 0.08,
    "master.turn.z": 0.5,
    "master.size.x": 1.2,
    "master.size.y": 1.2,
    "master.size.z": 1.2,
}


@pytest.fixture(scope="module")
def mule(tmp_path_factory: pytest.TempPathFactory) -> Compiled:
    folder = tmp_path_factory.mktemp("market")
    for name in ("climber.somite", "climber.toml"):
        (folder / name).write_text((FOLDER / "rigs" / name).read_text(encoding="utf-8"))
    (folder / "mule.somite").write_text(MULE)
    (folder / "mule.toml").write_text(SHEET)
    made = somite.compile(folder / "mule.somite", folder / "mule.toml")
    assert made.findings == ()
    return made


@cache
def alone() -> Compiled:
    made = somite.compile(FOLDER / "rigs" / "climber.somite", FOLDER / "rigs" / "climber.toml")
    assert made.findings == ()
    return made


def frame(up: tuple[float, ...], toward: tuple[float, ...]) -> np.ndarray:
    """Columns x, y, z of the right-handed frame whose y lies along `up` and whose z leans."""
    y = np.array(up) / np.linalg.norm(up)
    z = np.array(toward) - np.dot(toward, y) * y
    z /= np.linalg.norm(z)
    return np.column_stack([np.cross(y, z), y, z])


SOCKETS = {
    "rider": ((0.0, 1.2, 0.0), np.eye(3)),
    "page": ((0.1, 1.2, -0.4), frame((4, 12, 3), (0, 0, 1))),
    "porter.left": ((0.35, 1.1, 0.1), frame((3, 4, 0), (1, 0, 0))),
}
NEUTRAL = np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]], dtype=float)
"""The climber's own axes (up +Z, front -Y, so left +X) to the mule's (up +Y, front +Z, left +X)."""


@pytest.mark.parametrize("name", SOCKETS)
def test_every_node_stands_and_turns_as_alone_seen_from_the_socket(
    mule: Compiled, name: str
) -> None:
    place, turn = SOCKETS[name]
    there = alone().pose(POSE)
    here = mule.pose({f"{name}.{channel}": value for channel, value in POSE.items()})
    carried = turn @ NEUTRAL
    for node in there.names:
        wanted = np.array(place) + carried @ there.place(node)[0]
        assert here.place(f"{name}.{node}")[0] == pytest.approx(wanted, abs=1e-12)
        assert here.linear(f"{name}.{node}")[0] == pytest.approx(
            carried @ there.linear(node)[0], abs=1e-12
        )


OFFERING = """\
part pin
  offers lift
  let lift = (0.1 m, 0, 0.2 m)
  joint nail at ground
use pin as pin
"""


def test_places_and_steps_of_a_placed_rig_are_read_from_around_it_as_they_stand(
    tmp_path: Path,
) -> None:
    for name in ("climber.somite", "climber.toml"):
        (tmp_path / name).write_text((FOLDER / "rigs" / name).read_text(encoding="utf-8"))
    with (tmp_path / "climber.somite").open("a") as climber:
        climber.write(OFFERING)
    more = "joint tip at page.back.end  under trunk\n"
    more += "joint top at back + page.pin.lift  under trunk\n"
    (tmp_path / "mule.somite").write_text(MULE + more)
    (tmp_path / "mule.toml").write_text(SHEET)
    made = somite.compile(tmp_path / "mule.somite", tmp_path / "mule.toml")
    assert made.findings == () and made.rig is not None
    place, turn = SOCKETS["page"]
    end = next(chain.end for chain in alone().rig.chains if chain.name == "back")
    tip = np.array(place) + turn @ NEUTRAL @ np.array(end)
    assert made.rig.node("tip").rest.place == pytest.approx(tip, abs=1e-12)
    # A step is turned and not carried to the socket.
    top = np.array([0.0, 1.2, 0.0]) + turn @ NEUTRAL @ np.array([0.1, 0.0, 0.2])
    assert made.rig.node("top").rest.place == pytest.approx(top, abs=1e-12)


def test_in_a_mirror_block_the_whole_rig_on_the_right_is_the_lefts_reflection(
    mule: Compiled,
) -> None:
    assert mule.rig is not None
    channels = {}
    for channel, value in POSE.items():
        head, part, axis = ("", "dial", "")
        if channel.rpartition(".")[2] in "xyz":
            head, part, axis = channel.rsplit(".", 2)
        sign = 1
        if part in ("move", "turn"):
            mirror = mule.rig.node(f"porter.left.{head}").mirror
            assert mirror is not None and mirror.twin == f"porter.right.{head}"
            sign = (mirror.move if part == "move" else mirror.turn)["xyz".index(axis)]
        channels[f"porter.left.{channel}"] = value
        channels[f"porter.right.{channel}"] = sign * value
    posed = mule.pose(channels)
    across = np.array([-1.0, 1.0, 1.0])
    for node in alone().pose().names:
        left = posed.place(f"porter.left.{node}")[0]
        assert posed.place(f"porter.right.{node}")[0] == pytest.approx(left * across, abs=1e-12)


def test_what_stood_at_the_top_hangs_on_the_socket_and_carries_all_no_more(mule: Compiled) -> None:
    assert mule.rig is not None and alone().rig is not None
    tops = [node.name for node in alone().rig.nodes if node.parent is None]
    assert {mule.rig.node(f"page.{name}").parent for name in tops} == {"croup"}
    assert [node.name for node in mule.rig.nodes if node.carries_all] == ["master"]


def test_everything_of_the_other_rig_comes_along_under_the_uses_name(mule: Compiled) -> None:
    there, here = alone().rig, mule.rig
    assert there is not None and here is not None
    for kind in ("nodes", "chains", "curves", "constraints", "feeds", "gauges", "lists", "poses"):
        names = {one.name for one in getattr(here, kind)}
        assert {f"page.{one.name}" for one in getattr(there, kind)} <= names
    checks = {check.name for check in here.checks}
    assert {f"page: {check.name}" for check in there.checks} <= checks


def test_what_is_local_to_a_node_is_as_it_is_alone(mule: Compiled) -> None:
    assert mule.rig is not None and alone().rig is not None

    def local(node: Node) -> tuple[object, ...]:
        return node.kind, node.order, node.locks, node.limits, node.shape, node.passes_size

    for node in alone().rig.nodes:
        assert local(mule.rig.node(f"page.{node.name}")) == local(node)


def test_the_digests_cover_the_other_recipe_and_its_sheet(mule: Compiled) -> None:
    assert mule.recipe_digest != alone().recipe_digest
    folder = mule.inputs[0].parent
    assert {path.name for path in mule.inputs} == {"mule.somite", "climber.somite"}
    before = mule.sheet_digest
    sheet = folder / "climber.toml"
    text = sheet.read_text()
    sheet.write_text(text.replace("girth = 20", "girth = 21"))
    try:
        again = somite.compile(folder / "mule.somite", folder / "mule.toml")
    finally:
        sheet.write_text(text)
    assert again.sheet_digest != before
    assert again.recipe_digest == mule.recipe_digest


def test_rigs_on_rigs_on_rigs_are_carried_all_the_way(tmp_path: Path) -> None:
    head = "  units cm\n  axes up +Y front +Z\n"
    carry = "control master at ground  ring 9 cm  carries all\n"
    top = "socket top at (0, 10 cm, 0)  axis +Y toward +X  lean +Z toward +Z  under master\n"
    asked = 'import recipe {0} from "{0}.somite"\nsheet\n  rig {0}\n'
    put = "use {0} as {0}  on top  measured by {0}\n"
    tip = "joint tip at mid.high.flag  under master\n"
    recipes = {
        "low": asked.format("mid") + carry + top + put.format("mid") + tip,
        "mid": asked.format("high") + carry + top + put.format("high"),
        "high": carry + "joint flag at (0, 3 cm, 1 cm)  under master\n",
    }
    for name, body in recipes.items():
        (tmp_path / f"{name}.somite").write_text(f"recipe {name}\n{head}{body}")
    for name, rig in (("low", "mid"), ("mid", "high"), ("high", "")):
        rigs = f'[rigs]\n{rig} = "{rig}.toml"\n' if rig else ""
        text = f'character = "{name}"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n{rigs}'
        (tmp_path / f"{name}.toml").write_text(text)
    made = somite.compile(tmp_path / "low.somite", tmp_path / "low.toml")
    assert made.findings == () and made.rig is not None
    # Each socket lays up along +X, so that +X goes to -Y and +Z stays: (0, 3, 1) on the first is
    # (3, 10, 1); on the second (10, 10 - 3, 1).
    assert made.rig.node("mid.high.flag").rest.place == pytest.approx((0.10, 0.07, 0.01))
    assert made.rig.node("tip").rest.place == made.rig.node("mid.high.flag").rest.place
    assert [one.name for one in made.rig.placed] == ["mid", "mid.high"]
    assert made.rig.home("mid.high.flag") is made.rig.placed[1]
    assert made.rig.home("mid.high.flag", "mid.master") is made.rig.placed[0]


def test_a_scene_tells_a_loader_of_every_rig_and_every_socket(mule: Compiled) -> None:
    assert mule.settled is not None
    (output,), findings = scene.emit(mule.settled, Context("recipe", "sheet", "0"))
    assert findings == ()
    told = read_scene(output.text)
    assert {rig.id: (rig.name, rig.socket, rig.recipe) for rig in told.rigs} == {
        "page": ("page", "croup", "climber"),
        "porter.left": ("porter_left", "pannier_left", "climber"),
        "porter.right": ("porter_right", "pannier_right", "climber"),
        "rider": ("rider", "saddle", "climber"),
    }
    ground = next(rig.ground for rig in told.rigs if rig.id == "page")
    assert ground.translation == pytest.approx((10, 120, -40))
    wanted = frame((4, 12, 3), (0, 0, 1)) @ NEUTRAL
    assert Rotation.from_quat(ground.rotation).as_matrix() == pytest.approx(wanted, abs=1e-9)
    own = {"saddle", "croup", "pannier_left", "pannier_right"}
    palms = {
        f"{rig}_palm_{side}"
        for rig in ("rider", "page", "porter_left", "porter_right")
        for side in ("left", "right")
    }
    assert set(told.sockets) == own | palms
    assert {node.name for node in told.nodes if node.socket} == set(told.sockets)


def test_the_steps_say_what_stands_where_and_what_a_dial_shows(mule: Compiled) -> None:
    assert mule.settled is not None
    outputs, findings = steps.emit(mule.settled, Context("recipe", "sheet", "0"))
    assert findings == ()
    text = " ".join(next(one.text for one in outputs if one.suffix == ".steps.txt").split())
    assert 'Make a socket, an empty group that things are put on, named "saddle".' in text
    assert "Another rig stands on it: porter.left, built by the recipe climber for brolly." in text
    assert (
        'Show these controls only while "mix" of "page_hand_left" is above 0: 1 in all. Names:'
        ' "page_guide_left"'
    ) in text
    assert "in the middle plane of page, within 0.001 cm" in text
    assert "stands as high as the ground that page was put on, within 0.1 cm" in text
