"""The troupe's animals: each recipe for each of its sheets keeps every law and its own checks.

What legs, feet, tails and wings do is measured from posed places against plane geometry: the law
of cosines (Euclid, Elements II.12 and II.13), turning a point about a line (Rodrigues' formula),
and a wave's speed, which is its frequency times its length (any physics handbook: v = f * lambda).
Lengths in here are metres.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import somite
from somite import checks, pipeline
from somite.evaluate import Evaluator
from somite.laws import LAWS, prove
from somite.laws.trial import Trial
from somite.text import Source

RECIPES = Path(__file__).parents[2] / "recipes"
ANIMALS = ("four_legged", "long_necked", "limbless", "many_armed")
PARTS = ("leg", "leg_hocked", "foot", "tail", "wing", "ear")
CAST = [
    (name, sheet.relative_to(RECIPES).as_posix())
    for name in ANIMALS
    for sheet in sorted((RECIPES / "sheets" / name).iterdir())
    if sheet.suffix in (".toml", ".json")
]
MOUNT = ("four_legged", "sheets/four_legged/dapple_mule.toml")
QUICK = ("rest", "travel", "ownership", "names")
"""The laws of the largest rig, a mount with its rider, that are tried on every run."""


@cache
def compiled(recipe: str, sheet: str) -> pipeline.Compiled:
    return pipeline.compile(RECIPES / f"{recipe}.somite", RECIPES / sheet)


@cache
def evaluator(recipe: str, sheet: str) -> Evaluator:
    made = compiled(recipe, sheet)
    assert made.settled is not None, made.findings
    return Evaluator(made.settled)


def broken(recipe: str, sheet: str, laws: tuple[str, ...] | None = None) -> list[str]:
    rig = evaluator(recipe, sheet)
    proved = prove(rig.settled, laws=laws, evaluator=rig)
    return [finding.message for result in proved for finding in result.findings]


# ---- every recipe, every sheet -------------------------------------------------------------------


@pytest.mark.parametrize(("recipe", "sheet"), CAST)
def test_a_creature_compiles_without_a_finding(recipe: str, sheet: str) -> None:
    assert [finding.message for finding in compiled(recipe, sheet).findings] == []


@pytest.mark.parametrize(("recipe", "sheet"), [one for one in CAST if one != MOUNT])
def test_a_creature_keeps_every_law(recipe: str, sheet: str) -> None:
    assert broken(recipe, sheet) == []


def test_a_mount_with_its_rider_keeps_the_laws_of_standing_and_travelling() -> None:
    assert broken(*MOUNT, QUICK) == []


@pytest.mark.nightly
def test_a_mount_with_its_rider_keeps_every_law() -> None:
    assert broken(*MOUNT, tuple(law.word for law in LAWS)) == []


@pytest.mark.parametrize(("recipe", "sheet"), CAST)
def test_a_creature_passes_its_checks(recipe: str, sheet: str) -> None:
    rig = evaluator(recipe, sheet)
    results = checks.run(rig.settled, rig)
    assert results
    failed = [finding.message for result in results for finding in result.findings]
    assert failed == []


@pytest.mark.parametrize("recipe", ANIMALS)
def test_a_recipe_is_in_the_cast_with_very_different_characters(recipe: str) -> None:
    cast = tomllib.loads((RECIPES / "cast.toml").read_text(encoding="utf-8"))
    patterns = [
        pattern
        for build in cast["build"]
        if build["recipe"] == f"{recipe}.somite"
        for pattern in build["sheets"]
    ]
    listed = {
        path.relative_to(RECIPES).as_posix() for one in patterns for path in RECIPES.glob(one)
    }
    mine = {sheet for name, sheet in CAST if name == recipe}
    assert listed == mine
    rigs = [evaluator(recipe, sheet).settled.rig for sheet in mine]
    heights = [
        max(node.rest.place[1] for node in rig.nodes if node.kind == "joint") for rig in rigs
    ]
    assert max(heights) > 2.0 * min(heights)
    assert len({len(rig.nodes) for rig in rigs}) > 1


@pytest.mark.parametrize("name", [*ANIMALS, *(f"parts/{part}" for part in PARTS)])
def test_recipes_and_parts_are_in_canonical_form(name: str) -> None:
    text = (RECIPES / f"{name}.somite").read_text(encoding="utf-8")
    made, findings = somite.formatted(Source(f"{name}.somite", text))
    assert not findings
    assert made == text


# ---- a rider on a mount --------------------------------------------------------------------------


def test_a_rider_stands_in_the_saddle_as_it_stands_by_itself() -> None:
    mount = evaluator(*MOUNT)
    rider = evaluator("upright", "sheets/pip_otter.json")
    posed, alone = mount.pose(), rider.pose()
    saddle = posed.place("saddle")[0]
    for node in rider.settled.rig.nodes:
        placed = posed.place(f"rider.{node.name}")[0]
        assert np.abs(placed - saddle - alone.place(node.name)[0]).max() < 1e-9


def test_a_riders_controls_are_tried_as_far_as_a_rider_of_that_height_goes() -> None:
    mount = Trial(evaluator(*MOUNT).settled, 0)
    rider = Trial(evaluator("upright", "sheets/pip_otter.json").settled, 0)
    assert mount.height("rider.arm.left.hand") == pytest.approx(rider.far, abs=1e-9)
    assert mount.height("spine.body") == mount.far > rider.far


# ---- legs ----------------------------------------------------------------------------------------

LEG = """recipe stilts
  units cm
  axes up +Y front +Z
import leg, foot from library
sheet
  pair hip, knee, ankle
control master at ground
  ring 60 cm
  carries all
control body at (0, 1 m, 0)  under master
  square 40 cm
joint pelvis at (0, 1 m, 0)  under master
  follow body for move, turn
mirror
  use leg as leg
    with hip = hip, knee = knee, ankle = ankle
    with root = pelvis, carrier = body, master = master, body = body
    with foot = foot.foot, goal = foot.goal, tip = foot.ankle
    with mix = foot.foot.mix, stretch = foot.foot.stretch
  use foot as foot
    with ankle = ankle
    with heel = ankle + (0, -8 cm, -4 cm), ball = ankle + (0, -8 cm, 10 cm)
    with toe = ankle + (0, -8 cm, 16 cm)
    with inner = ankle + (-3 cm, -8 cm, 10 cm), outer = ankle + (4 cm, -8 cm, 10 cm)
    with shank = leg.end, kick = leg.kick, master = master, body = body
"""
THIGH, SHANK = 0.4, 0.3
HIP, KNEE, ANKLE = (0.1, 0.9, 0.0), (0.1, 0.58, 0.24), (0.1, 0.34, 0.06)
"""A thigh of 40 cm and a shank of 30 cm, by triangles of 3, 4 and 5."""


@cache
def stilts() -> Evaluator:
    def row(place: tuple[float, float, float]) -> str:
        return f"[{', '.join(str(round(c * 100, 6)) for c in place)}]"

    sheet = 'character = "pip"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n[pairs]\n'
    sheet += f"hip = {row(HIP)}\nknee = {row(KNEE)}\nankle = {row(ANKLE)}\n"
    made = pipeline.compile_text(LEG, sheet)
    assert made.settled is not None, made.findings
    return Evaluator(made.settled)


def corner(at: np.ndarray, one: np.ndarray, other: np.ndarray) -> float:
    """The angle at a place between two others, in degrees."""
    a, b = one - at, other - at
    return float(np.degrees(np.arccos(a @ b / np.sqrt((a @ a) * (b @ b)))))


@pytest.mark.parametrize(
    ("apart", "angle"),
    [
        (0.5, 90.0),  # 3, 4, 5
        (np.sqrt(0.13), 60.0),  # 16 + 9 - 2 * 12 / 2
        (np.sqrt(0.37), 120.0),  # 16 + 9 + 2 * 12 / 2
    ],
)
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_knee_bends_by_the_law_of_cosines(apart: float, angle: float, side: float) -> None:
    name = "left" if side > 0 else "right"
    goal = np.array(HIP) + apart * np.array([0.0, -0.8, 0.6])
    step = goal - np.array(ANKLE)
    moves = {f"foot.{name}.foot.move.{axis}": step[k] for k, axis in enumerate("xyz")}
    posed = stilts().pose(moves)
    hip, knee, ankle = (
        posed.place(f"{use}.{name}.{what}")[0]
        for use, what in (("leg", "hip"), ("leg", "knee"), ("foot", "ankle"))
    )
    assert corner(knee, hip, ankle) == pytest.approx(angle, abs=1e-6)
    assert np.abs(ankle - goal * (side, 1, 1)).max() < 1e-9
    assert np.linalg.norm(knee - hip) == pytest.approx(THIGH, abs=1e-9)
    assert np.linalg.norm(ankle - knee) == pytest.approx(SHANK, abs=1e-9)
    ahead = hip + (ankle - hip) * ((knee - hip) @ (ankle - hip)) / ((ankle - hip) @ (ankle - hip))
    assert (knee - ahead)[2] > 0.0  # the knee stays in front of the line


def test_the_bones_of_a_stretched_leg_share_the_way_by_their_lengths() -> None:
    posed = stilts().pose({"foot.left.foot.stretch": 1.0, "foot.left.foot.move.y": -0.5})
    hip, knee, ankle = (
        posed.place(name)[0] for name in ("leg.left.hip", "leg.left.knee", "foot.left.ankle")
    )
    assert np.abs(ankle - np.array(ANKLE) + (0, 0.5, 0)).max() < 1e-9
    ratio = np.linalg.norm(knee - hip) / np.linalg.norm(ankle - knee)
    assert ratio == pytest.approx(THIGH / SHANK, abs=1e-9)
    second = posed.place("leg.left.thigh.2")[0]
    assert np.abs(second - (hip + (knee - hip) / 3)).max() < 1e-9


def test_a_hocked_legs_thigh_and_cannon_stay_as_they_are_to_each_other() -> None:
    """As in a horse's hind leg, whose reciprocal apparatus makes hock and stifle fold together.

    A fact of equine anatomy, from memory: both angles close by the same amount.
    """
    rig = evaluator(*MOUNT)
    rest = rig.pose()
    posed = rig.pose({"spine.body.move.y": -0.12})
    names = (
        "hind.left.upper.hip",
        "hind.left.upper.knee",
        "hind.left.hock",
        "hind_foot.left.ankle",
    )
    before = [rest.place(name)[0] for name in names]
    after = [posed.place(name)[0] for name in names]
    for k in range(3):
        old, new = before[k + 1] - before[k], after[k + 1] - after[k]
        assert np.linalg.norm(new) == pytest.approx(np.linalg.norm(old), abs=1e-9)
    flexed = [corner(*(places[k] for k in (1, 0, 2))) for places in (before, after)]
    hocked = [corner(*(places[k] for k in (2, 1, 3))) for places in (before, after)]
    assert flexed[1] < flexed[0] - 5.0
    assert flexed[0] - flexed[1] == pytest.approx(hocked[0] - hocked[1], abs=1.0)


# ---- feet ----------------------------------------------------------------------------------------


def turned(place: np.ndarray, pivot: np.ndarray, axis: int, degrees: float) -> np.ndarray:
    """A place turned about an axis of the rig through a pivot (right-handed)."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    a, b = (axis + 1) % 3, (axis + 2) % 3
    step = place - pivot
    found = step.copy()
    found[a], found[b] = c * step[a] - s * step[b], s * step[a] + c * step[b]
    return pivot + found


HEEL, BALL, TOE = (np.add(ANKLE, (0.0, -0.08, z)) for z in (-0.04, 0.10, 0.16))
INNER, OUTER = (np.add(ANKLE, (x, -0.08, 0.10)) for x in (-0.03, 0.04))


@pytest.mark.parametrize(
    ("dial", "degrees", "pivot", "axis", "turn"),
    [
        ("roll", -30.0, HEEL, 0, -30.0),  # toes up, about the heel
        ("heel", 30.0, HEEL, 0, -30.0),
        ("roll", 30.0, BALL, 0, 30.0),  # up to the break, all about the ball
        ("roll", 60.0, TOE, 0, 60.0),  # at twice the break, all about the toe
        ("toe", 45.0, TOE, 0, 45.0),
        ("bank", 30.0, OUTER, 2, -30.0),  # the inner edge rises
        ("bank", -45.0, INNER, 2, 45.0),
        ("heel_twist", 30.0, HEEL, 1, 30.0),
        ("toe_twist", 60.0, TOE, 1, 60.0),
    ],
)
def test_a_foot_turns_about_its_pivot_by_what_the_dial_says(
    dial: str, degrees: float, pivot: np.ndarray, axis: int, turn: float
) -> None:
    posed = stilts().pose({f"foot.left.foot.{dial}": np.radians(degrees)})
    wanted = turned(np.array(ANKLE), pivot, axis, turn)
    assert np.abs(posed.place("foot.left.ankle")[0] - wanted).max() < 1e-9
    mirrored = stilts().pose({f"foot.right.foot.{dial}": np.radians(degrees)})
    assert np.abs(mirrored.place("foot.right.ankle")[0] - wanted * (-1, 1, 1)).max() < 1e-9


# ---- tails ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("sheet", [sheet for name, sheet in CAST if name == "limbless"])
def test_a_wave_travels_at_its_frequency_times_its_length(sheet: str) -> None:
    """Phase is keyed at one turn a second; the crest's speed and the wave's length are measured."""
    rig = evaluator("limbless", sheet)
    holds = sum(node.name.startswith("trunk.hold.") for node in rig.settled.rig.nodes)
    frames, lag, turn = 96, np.radians(50.0), np.radians(8.0)
    phases = np.arange(frames) * (2.0 * np.pi / frames)
    posed = rig.pose(
        {
            "trunk.base.phase": phases,
            "trunk.base.lag": np.full(frames, lag),
            "trunk.base.sway": np.full(frames, turn),
        }
    )
    ways = np.stack([posed.linear(f"trunk.hold.{k}")[:, :, 0] for k in range(1, holds + 1)])
    headings = np.arctan2(ways[..., 0], -ways[..., 2])  # of each hold over time, from straight back
    # In time: when each hold is at its crest, by its first harmonic over one second.
    crests = np.unwrap(np.angle((headings * np.exp(1j * phases)).mean(axis=1)))
    delay = float(np.abs(np.diff(crests)).mean()) / (2.0 * np.pi)
    # In space, of one frame: a sine sampled evenly has h[k-1] + h[k+1] = 2 cos(2 pi / length) h[k].
    frame = headings[:, 7]
    inner = frame[1:-1]
    cosine = float((frame[:-2] + frame[2:]) @ inner / (2.0 * (inner @ inner)))
    length = 2.0 * np.pi / np.arccos(cosine)  # in holds
    assert 1.0 / delay == pytest.approx(1.0 * length, rel=1e-3)  # v = f * lambda, f = 1 a second
    assert length == pytest.approx(360.0 / 50.0, rel=1e-3)
    # Turns add up to headings as a telescoping sum: sin, with steps of lag, over 2 sin(lag / 2).
    # The body slopes a little toward the ground at rest, hence not exactly.
    swing = np.abs((headings * np.exp(1j * phases)).mean(axis=1)) * 2.0
    assert np.abs(swing / (turn / (2.0 * np.sin(lag / 2.0))) - 1.0).max() < 5e-3


# ---- wings ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("sheet", [sheet for name, sheet in CAST if name == "long_necked"])
def test_a_folded_wing_is_closed_to_the_angle_it_was_asked_for(sheet: str) -> None:
    posed = evaluator("long_necked", sheet).pose({"wing.left.flap.fold": 1.0})
    shoulder, elbow, wrist, tip = (
        posed.place(f"wing.left.{name}")[0] for name in ("shoulder", "elbow", "wrist", "tip")
    )
    assert corner(elbow, shoulder, wrist) == pytest.approx(25.0, abs=1.0)
    assert corner(wrist, elbow, tip) == pytest.approx(25.0, abs=1.0)
    spread = evaluator("long_necked", sheet).pose()
    reach = np.linalg.norm(spread.place("wing.left.tip")[0] - spread.place("wing.left.shoulder")[0])
    assert np.linalg.norm(tip - shoulder) < 0.6 * reach
    assert min(wrist[0], tip[0]) > 0.0  # on its own side of the body
