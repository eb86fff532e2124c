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
    "l_hip": "leg.left.hip",
    "l_knee": "leg.left.knee",
    "l_talocrural": "foot.left.ankle",
    "l_metatarsophalangeal": "foot.left.toes",
    "r_hip": "leg.right.hip",
    "r_knee": "leg.right.knee",
    "r_talocrural": "foot.right.ankle",
    "skullbase": "neck.head",
    "temporomandibular": "jaw.jaw",
    "l_eyeball_joint": "eyes.eyeball.left",
    "l_sternoclavicular": "arm.left.clavicle",
    "l_shoulder": "arm.left.upper",
    "l_elbow": "arm.left.fore",
    "l_radiocarpal": "arm.left.wrist",
    "l_carpometacarpal_1": "hand.left.thumb.bone.1",
    "l_metacarpophalangeal_1": "hand.left.thumb.bone.2",
    "l_carpometacarpal_2": "hand.left.index.bone.1",
    "l_metacarpophalangeal_2": "hand.left.index.bone.2",
    "l_carpal_distal_interphalangeal_2": "hand.left.index.bone.4",
    "l_carpal_proximal_interphalangeal_5": "hand.left.little.bone.3",
    "r_shoulder": "arm.right.upper",
    "r_elbow": "arm.right.fore",
    "r_carpal_proximal_interphalangeal_5": "hand.right.little.bone.3",
}
"""H-Anim joints and the joints of `recipes/upright.somite` that stand for them."""

PARENTS = {
    "l_hip": "sacroiliac",
    "l_knee": "l_hip",
    "l_talocrural": "l_knee",
    "r_hip": "sacroiliac",
    "r_knee": "r_hip",
    "r_talocrural": "r_knee",
    "l_metatarsophalangeal": "l_talocrural",
    "temporomandibular": "skullbase",
    "l_eyeball_joint": "skullbase",
    "l_radiocarpal": "l_elbow",
    "l_carpometacarpal_1": "l_radiocarpal",
    "l_metacarpophalangeal_1": "l_carpometacarpal_1",
    "l_carpometacarpal_2": "l_radiocarpal",
    "l_metacarpophalangeal_2": "l_carpometacarpal_2",
    "l_carpal_distal_interphalangeal_2": "l_carpal_proximal_interphalangeal_2",
    "l_carpal_proximal_interphalangeal_2": "l_metacarpophalangeal_2",
    "l_carpal_proximal_interphalangeal_5": "l_metacarpophalangeal_5",
    "l_metacarpophalangeal_5": "l_carpometacarpal_5",
    "l_carpometacarpal_5": "l_radiocarpal",
    "r_carpal_proximal_interphalangeal_5": "r_metacarpophalangeal_5",
    "r_metacarpophalangeal_5": "r_carpometacarpal_5",
    "r_carpometacarpal_5": "r_radiocarpal",
    "r_radiocarpal": "r_elbow",
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
    "l_metatarsophalangeal": (0.1086, 0.0001, 0.0368),
    "skullbase": (0.0044, 1.6209, 0.0236),
    "temporomandibular": (0.0, 1.63, 0.015),
    "l_eyeball_joint": (0.0336, 1.6332, 0.0502),
    "l_sternoclavicular": (0.082, 1.4488, -0.0353),
    "l_shoulder": (0.2029, 1.4376, -0.0387),
    "l_elbow": (0.2014, 1.1357, -0.0682),
    "l_radiocarpal": (0.1984, 0.8663, -0.0583),
    "l_metacarpophalangeal_1": (0.1951, 0.8226, 0.0246),
    "l_carpometacarpal_2": (0.1983, 0.8024, -0.028),
    "l_carpal_distal_interphalangeal_2": (0.2028, 0.7139, -0.0236),
    "r_carpal_proximal_interphalangeal_5": (-0.1938, 0.7452, -0.1024),
    "r_hip": (-0.0961, 0.9124, -0.0001),
    "r_shoulder": (-0.2029, 1.4376, -0.0387),
}

LENGTHS = {
    ("l_hip", "l_knee"): 0.426893,
    ("l_knee", "l_talocrural"): 0.433891,
    ("l_shoulder", "l_elbow"): 0.303342,
    ("l_elbow", "l_radiocarpal"): 0.269599,
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
    assert "spine.base" in above(rig, "leg.left.hip")
    assert "spine.back.1" not in above(rig, "leg.left.hip")
    assert "spine.chest" in above(rig, "arm.right.upper")
    assert "spine.back.1" in above(rig, "arm.right.upper")
