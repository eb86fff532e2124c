"""Drawings of rigs: what is drawn, where it stands in a view, and that nothing depends on luck."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

import somite
from somite.axes import Axes
from somite.drawing import at_pose, picture, strokes_of
from somite.drawing.picture import LABEL_GAP, WIDEST, _apart
from somite.drawing.shapes import OUTLINES, outline
from somite.ir import Shape

RECIPE = """
recipe lantern_pole
  axes up {up} front {front}

sheet
  point foot, knee, tip

control master at foot  ring 40 cm  carries all
control sway at knee  under master  ball 20 cm
chain pole through foot, knee, tip  under sway  named low, high
  axis +X
  lean {up} toward {front}
"""

SHEET = """
character = "lumen"
unit = "m"
up = "+Y"
front = "+Z"
[points]
foot = [0, 0, 0]
knee = [0.1, 1, 0.2]
tip = [0, 2, 0]
"""

SVG = {"svg": "http://www.w3.org/2000/svg"}


def made(up: str = "+Y", front: str = "+Z") -> somite.Compiled:
    found = somite.compile_text(RECIPE.format(up=up, front=front), SHEET)
    assert found.settled is not None
    return found


def drawn(rig: somite.Compiled, **more: object) -> str:
    assert rig.settled is not None and rig.rig is not None
    axes = Axes(rig.rig.up, rig.rig.front)
    return picture(strokes_of(rig.settled), axes, title="a pole", **more)  # type: ignore[arg-type]


def paths(svg: str, view: str) -> dict[tuple[str, str], str]:
    """The path of each drawn thing of a view, by role and name."""
    root = ElementTree.fromstring(svg)
    group = root.find(f"svg:g[@data-view='{view}']", SVG)
    assert group is not None
    return {
        (path.attrib["class"], path.attrib["data-name"]): path.attrib["d"]
        for path in group.iter(f"{{{SVG['svg']}}}path")
        if "data-name" in path.attrib
    }


def tip_of(bone: str) -> tuple[float, float]:
    """The pointed end of a bone: its path begins there."""
    x, y = re.match(r"M(\S+) ([^L]+)L", bone).groups()  # type: ignore[union-attr]
    return float(x), float(y)


def test_every_bone_joint_and_control_is_drawn_in_every_view() -> None:
    svg = drawn(made(), views=("front", "side", "top"))
    for view in ("front", "side", "top"):
        found = set(paths(svg, view))
        assert {("bone", "pole.low"), ("bone", "pole.high")} <= found
        assert {("joint", "pole.low"), ("control", "master"), ("control", "sway")} <= found


@pytest.mark.parametrize("view, across", [("front", 0.1), ("side", -0.2)])
def test_a_view_shows_lengths_to_scale_and_the_left_hand_where_one_who_faces_it_sees_it(
    view: str, across: float
) -> None:
    """Expected by hand: seen from the front, the character's left (+X of the sheet) lies to the
    right; seen from its left, its front lies to the left (parallel projection)."""
    found = paths(drawn(made(), views=(view,), height=400.0), view)
    knee, tip = tip_of(found["bone", "pole.low"]), tip_of(found["bone", "pole.high"])
    scale = (knee[1] - tip[1]) / 1.0  # knee and tip are one metre apart in height
    assert scale == pytest.approx(400.0 / 2.0, rel=1e-3)  # from the ground to the tip are 2 m
    assert (knee[0] - tip[0]) / scale == pytest.approx(across, abs=1e-3)


def test_the_picture_does_not_depend_on_the_axes_of_the_recipe() -> None:
    one, other = drawn(made()), drawn(made("+Z", "-Y"))
    for view in ("front", "side"):
        first, second = paths(one, view), paths(other, view)
        assert set(first) == set(second)
        bones = [key for key in first if key[0] in ("bone", "joint")]
        assert [first[key] for key in bones] == [second[key] for key in bones]


def test_the_pose_at_rest_is_drawn_as_the_rest() -> None:
    rig = made()
    assert rig.settled is not None
    transforms, points = at_pose(rig.pose({}))
    posed = strokes_of(rig.settled, transforms, points)
    for one, other in zip(posed, strokes_of(rig.settled), strict=True):
        assert (one.role, one.name) == (other.role, other.name)
        for a, b in zip(one.lines, other.lines, strict=True):
            assert [pytest.approx(p, abs=1e-12) for p in b] == list(a)


def test_a_turned_control_carries_its_shape_and_its_bones() -> None:
    """Expected by hand: turning by 180 degrees about the up axis through the knee puts the tip,
    which is 0.1 m to the right of the knee and 0.2 m behind it, on the other side of both."""
    rig = made()
    assert rig.settled is not None
    transforms, _ = at_pose(rig.pose({"sway.turn.y": "180 deg"}))
    high = next(s for s in strokes_of(rig.settled, transforms) if s.name == "pole.high")
    assert high.lines[0][1] == pytest.approx((0.2, 2.0, 0.4))


@pytest.mark.parametrize("kind", sorted(OUTLINES))
def test_a_shape_is_as_wide_as_it_says_and_lies_about_its_axis(kind: str) -> None:
    points = [p for line in outline(Shape(kind, 0.4, "+Y")) for p in line]
    extent = [max(p[k] for p in points) - min(p[k] for p in points) for k in range(3)]
    assert max(extent) == pytest.approx(0.4, rel=2e-3)
    turned = [p for line in outline(Shape(kind, 0.4, "+Z", (1.0, 0.0, 0.0))) for p in line]
    for (x, y, z), placed in zip(points, turned, strict=True):
        # The cyclic change of axes that takes +Y to +Z, and a metre to the side.
        assert placed == pytest.approx((z + 1.0, x, y))


def test_every_shape_of_the_language_can_be_drawn() -> None:
    grammar = (Path(__file__).parents[2] / "grammar" / "somite.lark").read_text("utf-8")
    rule = re.search(r"^_shape: (.+)$", grammar, re.MULTILINE)
    assert rule is not None
    assert set(re.findall(r'"(\w+)"', rule[1])) == set(OUTLINES)


def test_names_stand_beside_their_view_and_never_on_one_another() -> None:
    svg = drawn(made(), names={"master": "the master", "sway": "sway", "pole.high": "high"})
    root = ElementTree.fromstring(svg)
    group = root.find("svg:g[@data-view='front']", SVG)
    assert group is not None
    told = [t for t in group.findall("svg:text", SVG) if t.attrib.get("class") != "title"]
    assert sorted(t.text or "" for t in told) == ["high", "sway", "the master"]
    for anchor in ("start", "end"):
        heights = sorted(float(t.attrib["y"]) for t in told if t.attrib["text-anchor"] == anchor)
        assert all(b - a >= LABEL_GAP - 0.02 for a, b in pairwise(heights))


def test_a_wide_drawing_fits_a_page_and_its_names_stay_in_it() -> None:
    """Forty controls along ten metres, all of one height: names crowd beside a very flat view."""
    lines = ["recipe washing_line", "control master at ground  ring 10 cm  carries all"]
    lines += [
        f"control peg_{k} at ({k * 25} cm, 0, 0)  under master  ring 10 cm" for k in range(40)
    ]
    rig = somite.compile_text("\n".join(lines), SHEET.partition("[points]")[0])
    names = {f"peg_{k}": f"peg_{k}" for k in range(40)}
    root = ElementTree.fromstring(drawn(rig, views=("front",), names=names, height=100.0))
    told = [t for t in root.iter(f"{{{SVG['svg']}}}text") if "text-anchor" in t.attrib]
    assert len(told) == 40
    assert max(float(t.attrib["y"]) for t in told) < float(root.attrib["height"])
    found = {
        name: d for (role, name), d in paths(ElementTree.tostring(root).decode(), "front").items()
    }
    xs = [float(x) for d in found.values() for x in re.findall(r"[ML](\S+) ", d)]
    assert max(xs) - min(xs) == pytest.approx(WIDEST * 100.0, abs=0.1)


@given(st.lists(st.floats(0.0, 400.0), max_size=20))
def test_crowded_names_keep_their_order_and_their_distance(wanted: list[float]) -> None:
    found = _apart(sorted(wanted), LABEL_GAP, 0.0, 400.0)
    assert len(found) == len(wanted)
    assert all(b - a >= LABEL_GAP - 1e-9 for a, b in pairwise(found))
    assert all(-1e-9 <= y <= 400.0 + 1e-9 for y in found)


@given(st.lists(st.floats(0.0, 1000.0), max_size=8))
def test_names_that_have_room_stand_where_they_want(spread: list[float]) -> None:
    wanted, at = [], 0.0
    for gap in spread:
        at += LABEL_GAP + 0.5 + gap
        wanted.append(at)
    assert _apart(wanted, LABEL_GAP, 0.0, at + 1.0) == pytest.approx(wanted)


def test_marked_and_former_things_differ_in_more_than_colour() -> None:
    rig = made()
    assert rig.settled is not None
    transforms, _ = at_pose(rig.pose({"sway.turn.z": "30 deg"}))
    svg = drawn(
        rig,
        marked=frozenset(["sway"]),
        before=strokes_of(rig.settled, transforms),
        views=("front",),
    )
    assert 'class="control marked" data-name="sway"' in svg
    style = ElementTree.fromstring(svg).findtext("svg:style", namespaces=SVG) or ""
    assert re.search(r"\.before \* {[^}]*stroke-dasharray", style)
    assert re.search(r"\.marked {[^}]*stroke-width", style)


def test_text_is_escaped_and_an_empty_drawing_is_a_picture() -> None:
    svg = picture((), Axes("+Y", "+Z"), title="a <b> & c")
    assert ElementTree.fromstring(svg).findtext("svg:title", namespaces=SVG) == "a <b> & c"
