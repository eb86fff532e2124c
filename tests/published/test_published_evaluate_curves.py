"""Frames along closed curves against their writhe, and backs bent as the human spine is.

Linking number = twist + writhe: G. Călugăreanu, Czechoslovak Mathematical Journal 11, 1961;
J. H. White, American Journal of Mathematics 91, 1969; F. B. Fuller, PNAS 68, 1971. The statement,
the sources and the linking number p·q of a torus knot with its copy on a torus around it are
from memory; the writhes are computed here by other means than Somite's.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from posed_rigs import text
from scipy.interpolate import BSpline
from scipy.spatial.transform import Rotation

from somite.spatial import frames
from somite.spatial.curve import Curve, clamped_knots

DEGREES = np.pi / 180.0
TURN = 2.0 * np.pi


def torus_knot(p, q):
    """p times round the axis, q times, right-handed, round the core; t from 0 to 2π."""

    def place(t):
        out = 3.0 + np.cos(q * t)
        return np.stack([out * np.cos(p * t), out * np.sin(p * t), -np.sin(q * t)], -1)

    def slope(t):
        out, change = 3.0 + np.cos(q * t), -q * np.sin(q * t)
        x = change * np.cos(p * t) - p * out * np.sin(p * t)
        y = change * np.sin(p * t) + p * out * np.cos(p * t)
        return np.stack([x, y, -q * np.cos(q * t)], -1)

    return place, slope


def ellipse(lift):
    """An ellipse whose rim rises and falls twice on its way round; flat for no lift."""
    return (
        lambda t: np.stack([2 * np.cos(t), np.sin(t), lift * np.sin(2 * t + 0.5)], -1),
        lambda t: np.stack([-2 * np.sin(t), np.cos(t), 2 * lift * np.cos(2 * t + 0.5)], -1),
    )


def seam():
    """The seam of a tennis ball: on the sphere of radius 3 about the origin."""
    a, b, c = 2.0, 1.0, np.sqrt(8.0)
    return (
        lambda t: np.stack(
            [
                a * np.cos(t) + b * np.cos(3 * t),
                a * np.sin(t) - b * np.sin(3 * t),
                c * np.sin(2 * t),
            ],
            -1,
        ),
        lambda t: np.stack(
            [
                -a * np.sin(t) - 3 * b * np.sin(3 * t),
                a * np.cos(t) - 3 * b * np.cos(3 * t),
                2 * c * np.cos(2 * t),
            ],
            -1,
        ),
    )


def writhe(curve, around=256, far=160):
    """Gauss's double integral: evenly spaced round the curve, Gauss-Legendre from each place."""
    place, slope = curve
    nodes, weights = np.polynomial.legendre.leggauss(far)
    t = TURN * np.arange(around)[:, None] / around
    other = t + np.pi * (nodes + 1.0)
    between = place(t) - place(other)
    parallel = np.cross(slope(t), slope(other))
    density = (parallel * between).sum(-1) / np.linalg.norm(between, axis=-1) ** 3
    return (density @ weights).sum() * np.pi * TURN / around / (2.0 * TURN)


def polygon_writhe(corners):
    """Exact for a closed polygon: K. Klenin and J. Langowski, Biopolymers 54, 2000, method 1a."""
    start, end = corners, np.roll(corners, -1, axis=0)
    sides = end - start
    a, b = start[None] - start[:, None], end[None] - start[:, None]
    c, d = end[None] - end[:, None], start[None] - end[:, None]
    normals = [np.cross(one, other) for one, other in pairwise((a, b, c, d, a))]
    sizes = [np.linalg.norm(one, axis=-1, keepdims=True) for one in normals]
    units = [
        one / np.where(size > 0.0, size, 1.0) for one, size in zip(normals, sizes, strict=True)
    ]
    solid = sum(
        np.arcsin(np.clip((one * other).sum(-1), -1.0, 1.0))
        for one, other in pairwise((*units, units[0]))
    )
    side = np.sign((np.cross(sides[None], sides[:, None]) * a).sum(-1))
    count = np.arange(len(corners))
    gap = np.abs(count[:, None] - count) % (len(corners) - 1)
    # A side sees neither itself nor its neighbours; rounding must not make it.
    return np.where(gap > 1, solid * side, 0.0).sum() / (2.0 * TURN)


def angle_about(tangent, first, second):
    """The angle from the first to the second, right-handed about the tangent."""
    across = (np.cross(first, second) * tangent).sum(-1)
    return np.arctan2(across, (first * second).sum(-1))


def carried(curve, steps):
    """Tangents and carried references at even steps round the curve, the start met again."""
    place, slope = curve
    t = TURN * np.arange(steps + 1) / steps
    places, slopes = place(t), slope(t)
    places[-1], slopes[-1] = places[0], slopes[0]
    tangents = slopes / np.linalg.norm(slopes, axis=-1, keepdims=True)
    samples = [
        (tuple(p), tuple(d)) for p, d in zip(places.tolist(), tangents.tolist(), strict=True)
    ]
    start = tuple(np.cross(tangents[0], [0.6, 0.0, 0.8]).tolist())
    return tangents, np.array(frames.transport(start, samples))


def gap_of(curve, steps):
    """The angle that would close the frame: from where it comes back to where it set out."""
    tangents, sides = carried(curve, steps)
    return angle_about(tangents[0], sides[-1], sides[0])


def apart(angle):
    """How far an angle is from whole turns."""
    return abs((angle + np.pi) % TURN - np.pi)


CLOSED = {
    "trefoil": torus_knot(2, 3),
    "trefoil in the mirror": torus_knot(2, -3),
    "cinquefoil": torus_knot(2, 5),
    "coil": torus_knot(1, 4),
    "lifted ellipse": ellipse(0.7),
}


@pytest.mark.parametrize("curve", CLOSED.values(), ids=CLOSED.keys())
def test_round_a_closed_curve_the_frame_fails_to_close_by_the_writhe(curve):
    whole = writhe(curve)
    # Far from whole and half turns, where a frame that closes, or a sign, would not be noticed
    assert 0.01 < apart(TURN * whole) < np.pi - 0.01
    assert apart(gap_of(curve, 2048) + TURN * whole) < 1e-8


@pytest.mark.parametrize("name", ["trefoil", "lifted ellipse"])
def test_the_gap_comes_near_the_writhe_with_the_fourth_power_of_the_step(name):
    curve = CLOSED[name]
    whole = writhe(curve)
    errors = [apart(gap_of(curve, steps) + TURN * whole) for steps in (128, 256, 512)]
    assert [coarse / fine for coarse, fine in pairwise(errors)] == pytest.approx([16, 16], rel=0.1)


@pytest.mark.parametrize("curve", [ellipse(0.0), seam()], ids=["flat ellipse", "seam of a ball"])
def test_in_a_plane_and_on_a_sphere_there_is_no_writhe_and_the_frame_closes(curve):
    assert writhe(curve) == pytest.approx(0.0, abs=1e-12)
    assert apart(gap_of(curve, 2048)) < 1e-10


@pytest.mark.parametrize(("p", "q"), [(2, 3), (2, -3), (2, 5)])
def test_along_a_torus_knot_the_frame_turns_against_the_torus_by_linking_less_writhe(p, q):
    """The torus's normal links p·q times, so it twists p·q - writhe turns: whole turns count."""
    curve = torus_knot(p, q)
    t = TURN * np.arange(2049) / 2048
    out = np.cos(q * t)
    normals = np.stack([out * np.cos(p * t), out * np.sin(p * t), -np.sin(q * t)], -1)
    tangents, sides = carried(curve, 2048)
    turned = np.unwrap(angle_about(tangents, sides, normals))
    assert (turned[-1] - turned[0]) / TURN == pytest.approx(p * q - writhe(curve), abs=1e-8)


def test_along_a_closed_spline_the_frame_fails_to_close_by_the_writhe_of_its_polygons():
    points = [
        (0, 0, 0),
        (2, 0, 0),
        (4, 1, 3),
        (1, 4, 1),
        (-2, 3, -2),
        (1, 1, 4),
        (-2, 0, 0),
        (0, 0, 0),
    ]
    points = [tuple(float(one) for one in point) for point in points]
    spline = Curve(clamped_knots(len(points), 3), 3, tuple(points))
    ends = frames.frames_along(spline, [0.0, 1.0], (0.0, 1.0, 0.0), 4096)
    (tangent, first), (back, last) = np.array(ends)
    assert back == pytest.approx(tangent, abs=1e-12)
    reference = BSpline(spline.knots, np.array(points), 3)
    coarse, fine = (polygon_writhe(reference(np.arange(n) / n)) for n in (300, 600))
    whole = fine + (fine - coarse) / 3.0  # their error falls with the square of the step
    assert apart(TURN * fine) > 0.1
    assert apart(angle_about(tangent, last, first) + TURN * whole) < 1e-4


# White and Panjabi, Clinical Biomechanics of the Spine, 2nd edition, 1990, representative values,
# read in a secondary source: degrees of flexion and extension together, and of axial rotation
# to one side.
LEVELS = ("l1_l2", "l2_l3", "l3_l4", "l4_l5", "l5_s1")
BENDING = dict(zip(LEVELS, (12, 14, 15, 16, 17), strict=True))
AXIAL = dict(zip(LEVELS, (2, 2, 2, 2, 1), strict=True))


def lower_back(feed):
    """Five joints from below, 4 cm from one to the next, each fed its share of one control."""
    names = LEVELS[::-1]
    lines = ["sheet", f"  point crown, {', '.join(f'at_{name}' for name in names)}"]
    lines += ["control bow at crown", "  ring 9 cm", "group bench at at_l5_s1"]
    for name, below in zip(names, ("bench", *names), strict=False):
        lines += [f"joint {name} at at_{name} under {below}"]
    lines += [f"joint tip at crown under {names[-1]}"]
    for name in names:
        lines += [feed.format(name=name, share=BENDING[name], whole=sum(BENDING.values()))]
    places = [f"at_{name} = [0, {4 * k}, 0]" for k, name in enumerate(names)]
    return text(
        "\n".join(lines) + "\n", "\n".join(["[points]", *places, "crown = [0, 20, 0]"]) + "\n"
    )


@pytest.mark.parametrize(
    "feed",
    [
        "feed {name}.turn.x = live bow.turn.x * {share} / {whole}",
        "feed {name}.turn.x from bow.turn.x\n  map 0 deg -> 0 deg, {whole} deg -> {share} deg",
    ],
    ids=["live", "map"],
)
def test_bending_fed_in_the_published_shares_bends_each_joint_by_its_figure(feed):
    totals = np.array([74.0, 37.0, 10.0])
    posed = lower_back(feed).pose({"bow.turn.x": totals * DEGREES})
    below, place, reached = Rotation.identity(3), np.zeros((3, 3)), np.zeros(3)
    for name in LEVELS[::-1]:
        assert posed.place(name) == pytest.approx(place, abs=1e-12)
        turn = Rotation.from_quat(posed.turn(name))
        own = (below.inv() * turn).as_rotvec() / DEGREES
        share = BENDING[name] * totals / 74.0
        assert own == pytest.approx(np.outer(share, [1.0, 0.0, 0.0]), abs=1e-9)
        below, reached = turn, reached + share
        bent = reached * DEGREES
        place = place + 0.04 * np.stack([0.0 * bent, np.cos(bent), np.sin(bent)], -1)
    assert posed.place("tip") == pytest.approx(place, abs=1e-12)
    whole = Rotation.from_quat(posed.turn("tip")).as_rotvec() / DEGREES
    assert whole == pytest.approx(np.outer(totals, [1.0, 0.0, 0.0]), abs=1e-9)


def test_axial_turning_of_a_bent_lower_back_is_shared_out_as_published():
    shares = [AXIAL[name] for name in LEVELS[::-1]]
    recipe = f"""sheet
  point a, b, c
control low at a
  ring 9 cm
control high at c under low
  ring 9 cm
curve path through a, b, c
  points 4
  grip below owns 1..2
    follow low
  grip above owns 3..4
    follow high
chain back along path
  bones {len(shares)}
  axis +X
  lean +Y toward -Z
  ride path
  carried by low
twist back
  end meets high relative to low
  spread {", ".join(f"{share}" for share in shares)}
"""
    sheet = "[points]\na = [0, 0, 0]\nb = [0, 10, 0]\nc = [0, 20, 0]\n"
    turns = np.array([0.0, 9.0, 90.0, -171.0])
    # Moving the top aside bends the back into an S whose ends stay upright.
    posed = text(recipe, sheet).pose(
        {"high.move.z": np.full(4, 0.06), "high.turn.y": turns * DEGREES}
    )
    leaning = Rotation.from_quat(posed.turn("back.3")[0]).apply([1.0, 0.0, 0.0])
    assert leaning[1] < 0.95
    reached = []
    for k in range(1, len(shares) + 1):
        turned = Rotation.from_quat(posed.turn(f"back.{k}"))
        own = (turned[0].inv() * turned).as_rotvec() / DEGREES
        assert own[:, 1:] == pytest.approx(0.0, abs=1e-9)
        reached.append(own[:, 0])
    by_joint = np.diff(np.array(reached), axis=0, prepend=0.0)
    assert by_joint == pytest.approx(np.outer(shares, turns / 9.0), abs=1e-9)
