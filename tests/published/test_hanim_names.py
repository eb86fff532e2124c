"""Names for the joints of a rig, against ISO/IEC 19774 (Humanoid Animation, H-Anim).

Names, parents and levels of articulation are those of ISO/IEC 19774-1:2019, subclauses 4.9.6.1 to
4.9.6.3, as transcribed by the Web3D consortium's working group; joint centres (metres, level three)
those of the consortium's example HAnim1SpecificationLOA3. The figures are for drawing characters,
not for medicine.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

import somite
from somite.cli import main
from somite.humanoid import standard
from somite.targets.joints_model import Joints

ROOT = Path(__file__).parents[2]
RECIPES = ROOT / "recipes"

COUNTS = {1: 18, 2: 71, 3: 94}
"""How many joints the standard has at each level of articulation."""

LEVEL_ONE = {
    "humanoid_root": None,
    "sacroiliac": "humanoid_root",
    "l_hip": "sacroiliac",
    "l_knee": "l_hip",
    "l_talocrural": "l_knee",
    "l_metatarsophalangeal": "l_talocrural",
    "r_hip": "sacroiliac",
    "r_knee": "r_hip",
    "r_talocrural": "r_knee",
    "r_metatarsophalangeal": "r_talocrural",
    "vl5": "humanoid_root",
    "skullbase": "vl5",
    "l_shoulder": "vl5",
    "l_elbow": "l_shoulder",
    "l_radiocarpal": "l_elbow",
    "r_shoulder": "vl5",
    "r_elbow": "r_shoulder",
    "r_radiocarpal": "r_elbow",
}
"""Every joint of level one with its parent."""

LEVEL_TWO_PARENTS = {
    "vl3": "vl5",
    "vt6": "vt10",
    "vt1": "vt6",
    "vc2": "vc4",
    "skullbase": "vc2",
    "l_sternoclavicular": "vt1",
    "l_shoulder": "l_acromioclavicular",
    "l_carpometacarpal_2": "l_radiocarpal",
    "r_tarsal_interphalangeal": "r_metatarsophalangeal",
}
LEVEL_TWO_SPINE = ("vl5", "vl3", "vl1", "vt10", "vt6", "vt1", "vc4", "vc2", "skullbase")
LEVEL_THREE_SPINE = (
    *("vl5", "vl4", "vl3", "vl2", "vl1", "vt12", "vt11", "vt10", "vt9", "vt8", "vt7", "vt6"),
    *("vt5", "vt4", "vt3", "vt2", "vt1", "vc7", "vc6", "vc5", "vc4", "vc3", "vc2", "vc1"),
    "skullbase",
)

CENTRES = {
    "sacroiliac": (0, 0.9149, 0.0016),
    "l_hip": (0.0961, 0.9124, -0.0001),
    "l_knee": (0.104, 0.4867, 0.0308),
    "l_talocrural": (0.1101, 0.0656, -0.0736),
    "r_hip": (-0.0961, 0.9124, -0.0001),
    "skullbase": (0.0044, 1.6209, 0.0236),
    "l_sternoclavicular": (0.082, 1.4488, -0.0353),
    "l_shoulder": (0.2029, 1.4376, -0.0387),
    "l_elbow": (0.2014, 1.1357, -0.0682),
    "l_radiocarpal": (0.1984, 0.8663, -0.0583),
    "r_radiocarpal": (-0.1984, 0.8663, -0.0583),
    "l_metacarpophalangeal_2": (0.1983, 0.7815, -0.028),
    "l_carpal_distal_interphalangeal_5": (0.1948, 0.7277, -0.1017),
    "l_eyeball_joint": (0.0336, 1.6332, 0.0502),
}
"""Centres of joints that the sheet of the standing figure states."""

OLDER = {
    "l_ankle": "l_talocrural",
    "r_subtalar": "r_tarsometatarsal",
    "l_midtarsal": "l_metatarsophalangeal",
    "l_wrist": "l_radiocarpal",
    "l_thumb1": "l_carpometacarpal_1",
    "r_pinky3": "r_carpal_distal_interphalangeal_5",
}
"""Names of ISO/IEC 19774:2005 and those of 2019."""


# ---- the tables that come with Somite ------------------------------------------------------------


@pytest.mark.parametrize("level", standard.LEVELS)
def test_a_level_has_as_many_joints_as_the_standard_says(level: int) -> None:
    assert sum(standard.is_at(name, level) for name in standard.joints()) == COUNTS[level]


def test_the_joints_and_parents_of_level_one_are_the_standards() -> None:
    at_one = {name for name in standard.joints() if standard.is_at(name, 1)}
    assert at_one == set(LEVEL_ONE)
    for name, parent in LEVEL_ONE.items():
        assert (standard.ancestors(name, 1) or (None,))[0] == parent


def test_parents_at_level_two_are_the_nearest_that_are_there() -> None:
    for name, parent in LEVEL_TWO_PARENTS.items():
        assert standard.ancestors(name, 2)[0] == parent


def test_the_spine_at_levels_two_and_three_is_the_standards() -> None:
    assert standard.run("vl5", "skullbase", 2) == LEVEL_TWO_SPINE
    assert standard.run("vl5", "skullbase", 3) == LEVEL_THREE_SPINE


def test_older_names_lead_to_those_of_2019() -> None:
    assert {old: standard.newer_names()[old] for old in OLDER} == OLDER


# ---- the biped's joints under the standard's names -----------------------------------------------


def built(folder: Path, *arguments: str, sheet: str = "standing_figure.toml") -> dict[str, Any]:
    """The joints file and the scene of the biped, built with its own names file."""
    command = ["build", str(RECIPES / "upright.somite"), "--sheet", str(RECIPES / "sheets" / sheet)]
    command += ["--names", str(RECIPES / "names/h_anim.toml"), "-o", str(folder)]
    assert main([*command, "--target", "joints", "--target", "scene", *arguments]) == 0
    stem = f"upright.{sheet.partition('.')[0]}"
    return {
        kind: json.loads((folder / f"{stem}.{kind}.json").read_text())
        for kind in ("joints", "scene")
    }


@pytest.fixture(scope="module")
def at_level(tmp_path_factory: pytest.TempPathFactory) -> dict[int, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("levels")
    return {n: built(folder / str(n), "--loa", str(n)) for n in standard.LEVELS}


@pytest.mark.parametrize("level", standard.LEVELS)
def test_the_joints_file_is_of_its_schema_and_lists_every_joint_once(
    at_level: dict[int, dict[str, Any]], level: int
) -> None:
    made = Joints.model_validate_json(json.dumps(at_level[level]["joints"]))
    names = [joint.name for joint in made.joints]
    assert len(names) + len(made.absent) == COUNTS[level]
    assert len({*names, *made.absent}) == COUNTS[level]
    seen: set[str | None] = {None}
    for joint in made.joints:
        assert joint.parent in seen
        seen.add(joint.name)


def test_all_joints_of_level_one_but_the_root_are_there_under_the_standards_parents(
    at_level: dict[int, dict[str, Any]],
) -> None:
    made = at_level[1]["joints"]
    assert made["absent"] == ["humanoid_root"]
    found = {joint["name"]: joint["parent"] for joint in made["joints"]}
    without_root = {n: None if p == "humanoid_root" else p for n, p in LEVEL_ONE.items()}
    del without_root["humanoid_root"]
    assert found == without_root
    skipped = {joint["name"]: joint.get("skipped") for joint in made["joints"]}
    assert skipped["sacroiliac"] == skipped["vl5"] == ["humanoid_root"]
    assert skipped["l_knee"] is None


def test_a_back_of_seven_bones_has_the_six_vertebrae_of_level_two_in_order(
    at_level: dict[int, dict[str, Any]],
) -> None:
    nodes = {joint["name"]: joint["node"] for joint in at_level[2]["joints"]["joints"]}
    back = [nodes[name] for name in LEVEL_TWO_SPINE if nodes[name].startswith("spine.back")]
    # k · 6 / 5 rounded half up, for k of 0 to 5: 0, 1, 2, 4, 5, 6.
    assert back == [f"spine.back.{bone}" for bone in (1, 2, 3, 5, 6, 7)]
    neck = [nodes[name] for name in ("vc4", "vc2", "skullbase")]
    assert neck == ["neck.bone.1", "neck.bone.2", "neck.head"]


def test_at_level_three_the_back_spreads_over_seventeen_vertebrae(
    at_level: dict[int, dict[str, Any]],
) -> None:
    made = at_level[3]["joints"]
    nodes = {joint["node"]: joint["name"] for joint in made["joints"]}
    back = [nodes[f"spine.back.{bone}"] for bone in range(1, 8)]
    assert (back[0], back[-1]) == ("vl5", "vt1")
    order = [LEVEL_THREE_SPINE.index(name) for name in back]
    assert order == sorted(set(order))
    heights = [joint["center"][1] for joint in made["joints"] if joint["name"] in back]
    assert heights == sorted(heights)


def test_the_standing_figures_centres_are_the_published_ones(
    at_level: dict[int, dict[str, Any]],
) -> None:
    found = {joint["name"]: joint["center"] for joint in at_level[3]["joints"]["joints"]}
    for name, centre in CENTRES.items():
        assert found[name] == pytest.approx(centre, abs=1e-9), name


def test_the_scene_spells_joints_as_the_standard_and_all_else_as_the_recipe(
    at_level: dict[int, dict[str, Any]],
) -> None:
    for level in standard.LEVELS:
        named = {joint["name"]: joint["node"] for joint in at_level[level]["joints"]["joints"]}
        nodes = {node["name"]: node for node in at_level[level]["scene"]["nodes"]}
        plain = somite.compile(RECIPES / "upright.somite", RECIPES / "sheets/standing_figure.toml")
        assert plain.rig is not None
        by_node = {node: name for name, node in named.items()}
        for node in plain.rig.nodes:
            assert by_node.get(node.name, node.spelled) in nodes
        assert len(nodes) == len(plain.rig.nodes)


def test_children_of_named_joints_name_their_parents_by_the_new_spelling(
    at_level: dict[int, dict[str, Any]],
) -> None:
    nodes = {node["name"]: node for node in at_level[3]["scene"]["nodes"]}
    assert nodes["l_hip"]["parent"] == "sacroiliac"
    assert all(node["parent"] is None or node["parent"] in nodes for node in nodes.values())


@pytest.mark.parametrize("sheet", ["adult_a.toml", "tansy_heron.toml"])
def test_the_same_names_serve_measured_adults_and_the_troupe(tmp_path: Path, sheet: str) -> None:
    made = built(tmp_path, "--loa", "1", sheet=sheet)["joints"]
    assert len(made["joints"]) == COUNTS[1] - 1


# ---- what the target tells -----------------------------------------------------------------------


def test_joints_that_the_rig_lacks_are_told_by_the_target(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    built(tmp_path, "--loa", "1")
    told = capsys.readouterr().err
    assert "note[names-absent]" in told
    assert "the 18 joints of level of articulation 1, found 17, without humanoid_root" in told


def test_the_target_needs_a_names_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    command = ["build", str(RECIPES / "upright.somite"), "-o", str(tmp_path / "out")]
    command += ["--sheet", str(RECIPES / "sheets/standing_figure.toml"), "--target", "joints"]
    capsys.readouterr()
    assert main(command) == 1
    assert "error[names-missing]" in capsys.readouterr().err
    assert not list((tmp_path / "out").glob("*.json"))
