"""The shipped biped, unchanged, for people of published measures: it builds, behaves and fits.

- Percentiles of ANSUR II (Gordon et al. 2014, 2012 Anthropometric Survey of U.S. Army Personnel,
  NATICK/TR-15/007), in millimetres, computed from its public subject data.
- Joint ranges: American Academy of Orthopaedic Surgeons (1965), Joint Motion: Method of Measuring
  and Recording: elbow flexion 150, forearm pronation and supination 80 each, wrist flexion 80 and
  extension 70, knee flexion 135 degrees, as commonly reprinted; the values are from memory.

Bony landmarks stand for the joints beside them. The figures are for drawing characters, not for
medicine or safety.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from somite import checks, pipeline
from somite.cli import main
from somite.evaluate import Evaluator
from somite.laws import prove

RECIPES = Path(__file__).parents[2] / "recipes"
UPRIGHT = RECIPES / "upright.somite"

SURVEY = {
    ("male", 1648): (824, 449, 64, 1339, 307, 244),
    ("male", 1755): (899, 491, 73, 1439, 335, 267),
    ("male", 1870): (985, 537, 83, 1546, 365, 295),
    ("female", 1525): (774.25, 422, 54, 1242, 283.25, 218),
    ("female", 1626): (844, 465, 63, 1332, 311, 240.5),
    ("female", 1740): (919, 511, 71, 1433.75, 340, 268),
}
"""By people and stature (the 5th, 50th and 95th percentile), percentiles of the trochanterion's,
lateral femoral epicondyle's, lateral malleolus' and acromion's height, acromion to radiale, and
radiale to stylion."""

every_person = pytest.mark.parametrize(("kind", "stature"), SURVEY)


@pytest.fixture(scope="session")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, int], Path]:
    """The sheet that `somite sheet --from-stature` writes for each."""
    folder = tmp_path_factory.mktemp("people")
    made = {}
    for kind, stature in SURVEY:
        path = made[kind, stature] = folder / f"{kind}_{stature}.toml"
        asked = ["--from-stature", str(stature), "mm", "--kind", kind, "-o", str(path)]
        assert main(["sheet", str(UPRIGHT), *asked]) == 0
    return made


@cache
def evaluator(sheet: Path) -> Evaluator:
    made = pipeline.compile(UPRIGHT, sheet)
    assert made.findings == ()
    assert made.settled is not None
    return Evaluator(made.settled)


@every_person
def test_a_person_of_a_stature_is_built_and_sound(
    sheets: dict[tuple[str, int], Path], kind: str, stature: int
) -> None:
    rig = evaluator(sheets[kind, stature])
    quick = ("rest", "travel", "ownership", "mirror", "twist", "names")
    broken = [
        f.message for one in prove(rig.settled, laws=quick, evaluator=rig) for f in one.findings
    ]
    assert broken == []
    results = checks.run(rig.settled, rig)
    assert len(results) > 50
    assert [one.name for one in results if not one.met] == []


@every_person
@pytest.mark.parametrize("side", ["left", "right"])
def test_a_persons_joints_have_the_surveys_heights_and_lengths(
    sheets: dict[tuple[str, int], Path], kind: str, stature: int, side: str
) -> None:
    posed = evaluator(sheets[kind, stature]).pose()
    hip, knee, ankle, shoulder, upper, fore = SURVEY[kind, stature]
    heights = {"leg.{}.hip": hip, "leg.{}.knee": knee, "foot.{}.ankle": ankle}
    heights["arm.{}.upper"] = shoulder
    for joint, millimetres in heights.items():
        height = posed.place(joint.format(side))[0, 1]
        assert height * 1000 == pytest.approx(millimetres, abs=0.01), joint
    places = [posed.place(f"arm.{side}.{joint}")[0] for joint in ("upper", "fore", "wrist")]
    assert math.dist(places[0], places[1]) * 1000 == pytest.approx(upper, abs=0.02)
    assert math.dist(places[1], places[2]) * 1000 == pytest.approx(fore, abs=0.02)
    assert posed.place("neck.head_top")[0, 1] * 1000 == pytest.approx(stature, abs=0.01)


@every_person
def test_a_persons_hand_reaches_as_far_as_the_bones_are_long_and_no_further(
    sheets: dict[tuple[str, int], Path], kind: str, stature: int
) -> None:
    """Radiale and acromion are joints here, so the arm's reach is the sum of the two lengths."""
    rig = evaluator(sheets[kind, stature])
    posed = rig.pose(
        {
            "arm.left.settings.mix": 1.0,
            "arm.left.pole.space": 0.0,
            "master.offset.move.x": [0.0, -1.0],  # the hand stays in the world, a metre away
            "arm.left.hand.space": 0.0,
        }
    )
    shoulder, wrist = posed.place("arm.left.upper")[1], posed.place("arm.left.wrist")[1]
    reach = (SURVEY[kind, stature][4] + SURVEY[kind, stature][5]) / 1000
    assert math.dist(shoulder, wrist) == pytest.approx(reach, rel=2e-3)
    assert math.dist(shoulder, wrist) <= reach + 1e-4


RANGES = {
    "arm.left.bow.turn.z": ("arm.left.fore", "arm.left.upper", 150.0),
    "arm.left.cock.turn.x": ("arm.left.wrist", "arm.left.fore", 80.0),
    "arm.left.cock.turn.z": ("arm.left.wrist", "arm.left.fore", 70.0),
    "leg.left.kick.turn.z": ("leg.left.knee", "leg.left.hip", 135.0),
}
"""By channel: the joint that it turns, against which other, and how far an adult's goes."""


@pytest.mark.parametrize("channel", RANGES)
@pytest.mark.parametrize("sheet", ["standing_figure", "adult_a", "adult_b"])
def test_a_persons_joints_go_through_their_range_without_a_jump(sheet: str, channel: str) -> None:
    """All the way, by what is said, in steps of a degree that move no joint by leaps."""
    rig = evaluator(RECIPES / "sheets" / f"{sheet}.toml")
    joint, against, far = RANGES[channel]
    angles = np.radians(np.arange(far + 1.0))
    posed = rig.pose({channel: angles, "foot.left.foot.mix": 0.0})
    turns = Rotation.from_quat(posed.turn(against)).inv() * Rotation.from_quat(posed.turn(joint))
    turned = (turns[0].inv() * turns).magnitude()
    assert turned == pytest.approx(angles, abs=1e-7)
    stature = float(posed.place("neck.head_top")[0, 1])
    for node in rig.settled.rig.nodes:
        if node.kind == "joint":
            steps = np.linalg.norm(np.diff(posed.place(node.name), axis=0), axis=1)
            # An arm or a leg is half the stature at most: a degree of it is less than a hundredth.
            assert steps.max() < 0.5 * stature * math.radians(1.0) * 1.01, node.name
