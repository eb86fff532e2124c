"""Chains of posed rigs against independent root finding, integration and published numbers."""

from __future__ import annotations

import numpy as np
import pytest
import rigs
from posed_rigs import evaluator_of, exercise, random_pose, text
from scipy.integrate import solve_ivp
from scipy.interpolate import BSpline
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

DEGREES = np.pi / 180.0


def curves(evaluator, posed, name, k):
    """scipy's spline of a posed curve, and its derivative."""
    curve = next(one for one in evaluator.settled.rig.curves if one.name == name)
    spline = BSpline(np.array(curve.knots), posed.points(name)[k], curve.degree)
    return spline, spline.derivative()


@pytest.mark.parametrize(
    ("name", "chain", "curve"),
    [("upright", "spine.riding", "spine.path"), ("tail", "tail", "path")],
)
def test_a_kept_chain_stands_at_the_first_crossings_of_its_curve(name, chain, curve):
    evaluator = exercise(name)
    values = {
        channel: value * 0.6
        for channel, value in random_pose(evaluator, 21, 12).items()
        if "size" not in channel and "stretch" not in channel
    }
    posed = evaluator.pose(values)
    rest = evaluator.settled.rides[f"{chain}/ride"]
    joints = next(one for one in evaluator.settled.rig.chains if one.name == chain).joints
    for k in range(12):
        spline, _ = curves(evaluator, posed, curve, k)
        u = 0.0
        for joint, bone in zip(joints[1:], rest.bones, strict=False):
            here = spline(u)

            def miss(v, here=here, bone=bone, spline=spline):
                return np.linalg.norm(spline(v) - here) - bone

            looks = np.linspace(u, 1.0, 4001)
            beyond = np.flatnonzero(np.linalg.norm(spline(looks) - here, axis=1) >= bone)
            if not len(beyond):
                break
            u = brentq(miss, looks[beyond[0] - 1], looks[beyond[0]], xtol=1e-15)
            assert posed.place(joint)[k] == pytest.approx(spline(u), abs=1e-9)


def test_a_stretched_chain_stands_at_its_fractions_of_arc_length():
    evaluator = exercise("upright")
    values = random_pose(evaluator, 22, 6, skip=("spine.body",))
    posed = evaluator.pose({**values, "spine.body.stretch": 1.0})
    rest = evaluator.settled.rides["spine.riding/ride"]
    for k in range(6):
        spline, slope = curves(evaluator, posed, "spine.path", k)
        run = solve_ivp(
            lambda u, s, slope=slope: [np.linalg.norm(slope(u))],
            (0.0, 1.0),
            [0.0],
            method="DOP853",
            rtol=1e-12,
            atol=1e-14,
            dense_output=True,
        )
        whole = run.y[0, -1]
        for number, fraction in enumerate(rest.fractions[1:-1], 2):
            u = brentq(
                lambda v, f=fraction, run=run, whole=whole: run.sol(v)[0] - f * whole,
                0.0,
                1.0,
                xtol=1e-14,
            )
            assert posed.place(f"spine.riding.{number}")[k] == pytest.approx(spline(u), abs=1e-8)


def test_the_roll_of_a_riding_chain_solves_its_differential_equation():
    """A frame that does not turn about its tangent: r' = -(r . t') t (R. L. Bishop, 1975)."""
    evaluator = evaluator_of(rigs.spine(7, twisted=False))
    values = {f"high.turn.{axis}": v for axis, v in zip("xyz", (0.5, 0.0, 0.6), strict=True)}
    values |= {f"low.turn.{axis}": v for axis, v in zip("xyz", (-0.4, 0.3, -0.5), strict=True)}
    posed = evaluator.pose(values)
    spline, slope = curves(evaluator, posed, "path", 0)
    bend = slope.derivative()

    def change(u, r):
        velocity, curving = slope(u), bend(u)
        speed = np.linalg.norm(velocity)
        tangent = velocity / speed
        turning = curving / speed - tangent * (curving @ velocity) / speed**2
        return -(r @ turning) * tangent

    rest = evaluator.settled.rides["back/ride"]
    carried = [Rotation.from_quat(posed.turn(name)[0]) for name in ("back.1", "back.7")]
    # Undo what lies between a joint and the carried frame: its roll, and the swing to its bone.
    ends = []
    for joint, turn, roll in zip((0, 6), carried, (rest.rolls[0], rest.rolls[6]), strict=True):
        laid = turn * Rotation.from_quat(roll).inv()
        at = station(posed, spline, rest, joint)
        tangent = slope(at) / np.linalg.norm(slope(at))
        axis = laid.apply([1.0, 0.0, 0.0])
        swing = Rotation.align_vectors(tangent[None], axis[None])[0]
        ends.append((at, (swing * laid).apply([0.0, 1.0, 0.0])))
    (start, first), (end, last) = ends
    run = solve_ivp(change, (start, end), first, method="DOP853", rtol=1e-12, atol=1e-14)
    assert last == pytest.approx(run.y[:, -1], abs=1e-6)


def station(posed, spline, rest, joint):
    """The parameter of a joint, found anew."""
    place = posed.place(f"back.{joint + 1}")[0]
    looks = np.linspace(0.0, 1.0, 20001)
    near = looks[np.argmin(np.linalg.norm(spline(looks) - place, axis=1))]
    if near == 0.0:
        return 0.0
    slope = spline.derivative()
    return brentq(
        lambda u: (spline(u) - place) @ slope(u), near - 1e-4, min(near + 1e-4, 1.0), xtol=1e-15
    )


CASES = [
    # P. Dobrowolski, arXiv:1506.05481, 2015: swings and twists composed and taken apart again.
    {
        "axis": [0.0, 1.0, 0.0],
        "degrees": 40,
        "q": [0.46984631039295416, 0.29619813272602386, 0.17101007166283433, 0.8137976813493738],
    },
    {
        "axis": [1.0, 0.0, 0.0],
        "degrees": 170,
        "q": [0.008693328396189484, 0.9961567660501535, 0.08715242412403443, 0.0007605676829745818],
    },
]


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['degrees']}")
def test_following_about_an_axis_takes_the_published_twist(case):
    axis = "+" + "XYZ"[case["axis"].index(1.0)]
    rig = text(
        "sheet\n  point a\ncontrol lamp at a\n  ring 9 cm\n"
        f"joint prop at a\n  follow lamp for turn about {axis}\n",
        "[points]\na = [0, 0, 0]\n",
    )
    angles = Rotation.from_quat(case["q"]).as_euler("xyz")
    posed = rig.pose({f"lamp.turn.{one}": v for one, v in zip("xyz", angles, strict=True)})
    found = Rotation.from_quat(posed.turn("prop")[0]).as_rotvec() / DEGREES
    assert found == pytest.approx(np.array(case["axis"]) * case["degrees"], abs=1e-5)


def test_a_half_turn_of_swing_leaves_no_twist():
    rig = text(
        "sheet\n  point a\ncontrol lamp at a\n  ring 9 cm\n"
        "joint prop at a\n  follow lamp for turn about +Y\n",
        "[points]\na = [0, 0, 0]\n",
    )
    posed = rig.pose({"lamp.turn.x": np.pi})
    assert Rotation.from_quat(posed.turn("prop")[0]).magnitude() < 1e-9


@pytest.mark.parametrize(
    ("upper", "lower", "apart", "at_elbow"),
    # Whole-number triangles: 3-5-7 has 120 degrees, 5-8-7 has 60 (Euclid, Elements II.12, II.13)
    [(3.0, 5.0, 7.0, 120.0), (5.0, 8.0, 7.0, 60.0), (3.0, 4.0, 5.0, 90.0)],
)
def test_reaching_arms_make_known_triangles(upper, lower, apart, at_elbow):
    places = [(0.0, 9.0, 0.0), (upper * 0.6, 9.0 - upper * 0.8, 0.0)]
    places.append((places[1][0] + lower, places[1][1], 0.0))
    rig = evaluator_of(rigs.limb(places, pole=(4.0, -20.0, 0.0)))
    goal = np.array([apart * 0.28, 9.0, apart * 0.96])
    posed = rig.pose({f"hand.move.{a}": goal[k] - places[2][k] for k, a in enumerate("xyz")})
    root, elbow, end = posed.place("arm.1")[0], posed.place("arm.2")[0], posed.end("arm")[0]
    a, b = root - elbow, end - elbow
    angle = np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b)) / DEGREES
    assert end == pytest.approx(goal, abs=1e-12)
    assert angle == pytest.approx(at_elbow, abs=1e-9)


@pytest.mark.parametrize(
    ("stretch", "weight", "across"),
    [
        # J. Lasseter, SIGGRAPH 1987: side size 1/sqrt(s) keeps volume; by weight w it is s^(-w/2)
        (1.25, 1.0, 0.8944271909999159),
        (2.0, 1.0, 0.7071067811865475),
        (0.8, 1.0, 1.118033988749895),
        (2.0, 0.5, 0.8408964152537145),
        (4.0, 0.0, 1.0),
    ],
)
def test_a_stretched_back_thins_as_published(stretch, weight, across):
    recipe = """sheet
  point a, b, c
control low at a
  ring 9 cm
  dial volume = 0 in 0..1
control high at c
  ring 9 cm
curve path through a, b, c
  points 4
  grip below owns 1..2
    follow low
  grip above owns 3..4
    follow high
chain back along path
  bones 1
  axis +X
  lean +Y toward -Z
  ride path
  carried by low
  stretch 100%
  volume low.volume
"""
    sheet = "[points]\na = [0, 0, 0]\nb = [0, 20, 0]\nc = [0, 40, 0]\n"
    posed = text(recipe, sheet).pose({"high.move.y": 0.4 * (stretch - 1.0), "low.volume": weight})
    sizes = np.linalg.svd(posed.linear("back.1")[0], compute_uv=False)
    assert sorted(sizes) == pytest.approx(sorted([stretch, across, across]), rel=1e-9)
    assert np.prod(sizes) == pytest.approx(stretch ** (1.0 - weight), rel=1e-9)


def test_axial_turning_is_shared_out_as_vertebrae_share_it():
    """White and Panjabi, Clinical Biomechanics of the Spine, 2nd edition, 1990, table 2-5: axial
    rotation to one side, degrees, T9-T10 to L5-S1 from below."""
    levels = [1, 2, 2, 2, 2, 2, 2, 2, 4]
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
  bones {len(levels)}
  axis +X
  lean +Y toward -Z
  ride path
  carried by low
twist back
  end meets high relative to low
  spread {", ".join(f"{level}" for level in levels)}
"""
    sheet = "[points]\na = [0, 0, 0]\nb = [0, 20, 0]\nc = [0, 40, 0]\n"
    whole = float(sum(levels))
    posed = text(recipe, sheet).pose({"high.turn.y": [0.0, whole * DEGREES]})
    reached = []
    for k in range(1, len(levels) + 1):
        rest, turned = (Rotation.from_quat(q) for q in posed.turn(f"back.{k}"))
        reached.append((rest.inv() * turned).as_rotvec()[0] / DEGREES)
    assert np.diff([0.0, *reached]) == pytest.approx(levels, abs=1e-9)
