"""The shipped biped recipe, built for the standing figure of ISO/IEC 19774 (H-Anim).

Names, parents and joint centres (metres, LOA 3) are those of ISO/IEC 19774-1:2019 as transcribed by
the Web3D consortium's working group. The figures are for drawing characters, not for medicine.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import somite
from somite.ir import Rig

ROOT = Path(__file__).parents[2]

OURS = {
    "l_hip": "leg.left.thigh",
    "l_knee": "leg.left.shank",
    "l_talocrural": "leg.left.foot",
    "r_hip": "leg.right.thigh",
    "r_knee": "leg.right.shank",
    "r_talocrural": "leg.right.foot",
    "l_shoulder": "arm.left.upper",
    "l_elbow": "arm.left.fore",
    "r_shoulder": "arm.right.upper",
    "r_elbow": "arm.right.fore",
}
"""H-Anim joints and the joints of `recipes/upright.somite` that stand for them."""

PARENTS = {
    "l_hip": "sacroiliac",
    "l_knee": "l_hip",
    "l_talocrural": "l_knee",
    "r_hip": "sacroiliac",
    "r_knee": "r_hip",
    "r_talocrural": "r_knee",
    "l_shoulder": "l_acromioclavicular",
    "l_elbow": "l_shoulder",
    "r_shoulder": "r_acromioclavicular",
    "r_elbow": "r_shoulder",
    "sacroiliac": "humanoid_root",
    "l_acromioclavicular": "l_sternoclavicular",
    "r_acromioclavicular": "r_sternoclavicular",
    "l_sternoclavicular": "vt1",
    "r_sternoclavicular": "vt1",
}

CENTRES = {
    "l_hip": (0.0961, 0.9124, -0.0001),
    "l_knee": (0.104, 0.4867, 0.0308),
    "l_talocrural": (0.1101, 0.0656, -0.0736),
    "l_shoulder": (0.2029, 1.4376, -0.0387),
    "l_elbow": (0.2014, 1.1357, -0.0682),
    "r_hip": (-0.0961, 0.9124, -0.0001),
    "r_shoulder": (-0.2029, 1.4376, -0.0387),
}

LENGTHS = {
    ("l_hip", "l_knee"): 0.426893,
    ("l_knee", "l_talocrural"): 0.433891,
    ("l_shoulder", "l_elbow"): 0.303342,
}
"""Distances between joint centres, computed from the published coordinates."""


@pytest.fixture(scope="module")
def rig() -> Rig:
    made = somite.compile(
        ROOT / "recipes/upright.somite", ROOT / "recipes/sheets/standing_figure.toml"
    )
    assert made.findings == ()
    assert made.rig is not None
    return made.rig


def above(rig: Rig, name: str) -> list[str]:
    """A joint's ancestors, nearest first."""
    parents = {node.name: node.parent for node in rig.nodes}
    found = []
    current = parents[name]
    while current is not None:
        found.append(current)
        current = parents[current]
    return found


@pytest.mark.parametrize("joint", CENTRES)
def test_joints_stand_at_the_published_centres(rig: Rig, joint: str) -> None:
    place = rig.node(OURS[joint]).rest.place
    assert place == pytest.approx(CENTRES[joint], abs=1e-9)


@pytest.mark.parametrize(("start", "end"), LENGTHS)
def test_bones_have_the_published_lengths(rig: Rig, start: str, end: str) -> None:
    a, b = rig.node(OURS[start]).rest.place, rig.node(OURS[end]).rest.place
    length = sum((p - q) ** 2 for p, q in zip(a, b, strict=True)) ** 0.5
    assert length == pytest.approx(LENGTHS[start, end], abs=1e-4)


@pytest.mark.parametrize("joint", OURS)
def test_joints_hang_on_each_other_as_in_the_standard(rig: Rig, joint: str) -> None:
    """The nearest ancestor that both know is the same: a thigh on none, a shank on its thigh."""
    published = PARENTS.get(joint)
    while published is not None and published not in OURS:
        published = PARENTS.get(published)
    ours = next((name for name in above(rig, OURS[joint]) if name in OURS.values()), None)
    assert ours == (OURS[published] if published else None)


def test_legs_hang_on_the_pelvis_and_arms_on_the_chest(rig: Rig) -> None:
    """In the standard the hips hang on the sacroiliac joint and the shoulders on the upper back."""
    assert "spine.base" in above(rig, "leg.left.thigh")
    assert "spine.back.1" not in above(rig, "leg.left.thigh")
    assert "spine.chest" in above(rig, "arm.right.upper")
    assert "spine.back.1" in above(rig, "arm.right.upper")
