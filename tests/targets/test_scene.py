"""The scene file: what stands in it, in which units, and that it is the same bytes anywhere."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rigs
from scipy.interpolate import BSpline
from scipy.spatial.transform import Rotation

from somite.ir import Rig
from somite.order import order
from somite.settle import settle
from somite.target import Context
from somite.targets import scene
from somite.targets.scene_model import Scene, read_scene
from somite.text import Site

CONTEXT = Context("recipe-digest", "sheet-digest", "0.1.0")


def scene_text(made: Rig) -> str:
    plan, _ = order(made)
    assert plan is not None
    settled, findings = settle(made, plan)
    assert findings == ()
    assert settled is not None
    (output,), findings = scene.emit(settled, CONTEXT)
    assert findings == ()
    assert output.suffix == ".scene.json"
    return output.text


def scene_of(made: Rig) -> dict[str, Any]:
    tree: dict[str, Any] = json.loads(scene_text(made))
    return tree


def four(record: dict[str, Any]) -> np.ndarray:
    rows = np.eye(4)
    rows[:3, :3] = Rotation.from_quat(record["rotation"]).as_matrix()
    rows[:3, 3] = record["translation"]
    return rows


@pytest.mark.parametrize("made", [rigs.spine(), rigs.arm(), rigs.lantern()])
def test_a_nodes_world_is_the_product_of_the_rests_above_it(made: Rig) -> None:
    # glTF 2.0 (ISO/IEC 12113): global = parent's global · T · R · S, column vectors.
    worlds: dict[str | None, np.ndarray] = {None: np.eye(4)}
    waiting = list(scene_of(made)["nodes"])
    while waiting:
        node = waiting.pop(0)
        if node["parent"] not in worlds:
            waiting.append(node)
            continue
        assert node["rest"]["scale"] == [1, 1, 1]
        worlds[node["name"]] = worlds[node["parent"]] @ four(node["rest"])
        np.testing.assert_allclose(worlds[node["name"]], node["world"], atol=1e-7)


def test_lengths_are_in_the_recipes_unit_and_angles_in_degrees() -> None:
    tree = scene_of(rigs.furnished())
    low = next(node for node in tree["nodes"] if node["name"] == "low")
    assert tree["units"]["metres_per_unit"] == 0.01
    assert [row[3] for row in low["world"]] == [0, 96, 1, 1]
    assert low["shape"]["width"] == 33
    assert low["limits"] == [
        {"channel": "turn.x", "low": -30, "high": 60},
        {"channel": "move.y", "low": -10, "high": 10},
    ]
    assert low["dials"][0]["default"] == "body"
    assert [low["dials"][1][key] for key in ("unit", "default", "low", "high")] == [
        "angle",
        30,
        -90,
        90,
    ]
    assert low["dials"][2]["default"] == 2
    assert tree["poses"][0]["settings"] == [
        {"channel": "low.turn.y", "value": 45},
        {"channel": "low.space", "value": "world"},
    ]
    assert tree["checks"][0]["expectations"][0]["value"] == 45
    assert tree["checks"][0]["expectations"][1]["within"] == 0.1
    assert tree["nudges"][0]["by"] == [0, 0, -0.3]


def test_how_well_a_chain_keeps_its_length_is_a_share_in_any_unit() -> None:
    made = rigs.furnished()
    check = made.checks[0]
    keeps = replace(check.expectations[0], what="keeps", subject="back", value=None, within=0.005)
    for unit in ("m", "cm", "mm"):
        checks = (replace(check, expectations=(keeps,)),)
        tree = scene_of(replace(made, unit=unit, checks=checks))
        assert tree["checks"][0]["expectations"][0]["within"] == 0.005


def test_metres_and_centimetres_give_the_same_rig() -> None:
    in_metres = scene_of(replace(rigs.spine(), unit="m"))
    in_centimetres = scene_of(rigs.spine())
    for one, other in zip(in_metres["nodes"], in_centimetres["nodes"], strict=True):
        assert one["rest"]["rotation"] == other["rest"]["rotation"]
        np.testing.assert_allclose(
            np.multiply(one["rest"]["translation"], 100), other["rest"]["translation"], atol=2e-7
        )


def test_the_joints_stand_on_the_curve_as_an_independent_spline_has_it() -> None:
    tree = scene_of(rigs.spine())
    (curve,) = tree["curves"]
    ride = next(one for one in tree["constraints"] if one["kind"] == "ride")
    spline = BSpline(curve["knots"], curve["points"], curve["degree"])
    joints = [one for one in tree["nodes"] if one.get("chain") == "back"]
    places = [[row[3] for row in joint["world"][:3]] for joint in joints]
    np.testing.assert_allclose(spline(ride["parameters"][:-1]), places, atol=1e-7)


def test_a_leaders_world_times_its_offset_is_the_followers_world() -> None:
    tree = scene_of(rigs.lantern())
    worlds = {node["name"]: np.array(node["world"]) for node in tree["nodes"]}
    flame = next(one for one in tree["constraints"] if one["name"] == "flame/follow")
    for leader in flame["leaders"]:
        np.testing.assert_allclose(
            worlds[leader["node"]] @ four(leader["offset"]), worlds["flame"], atol=1e-7
        )


def test_names_are_spelled_everywhere_and_ids_keep_the_dots() -> None:
    text = scene_text(rigs.spine())
    tree = json.loads(text)
    names = {node["name"] for node in tree["nodes"]}
    assert {"back_1", "path_below"} < names
    assert all(node["parent"] in {*names, None} for node in tree["nodes"])
    assert set(tree["chains"][0]["joints"]) < names
    assert {share["grip"] for share in tree["curves"][0]["shares"]} < names
    assert names < set(tree["order"])
    assert re.findall(r'"back\.1"', text) == ['"back.1"']


def test_the_order_names_each_constraint_after_its_leaders() -> None:
    tree = scene_of(rigs.lantern())
    place = {step: k for k, step in enumerate(tree["order"])}
    for one in tree["constraints"]:
        if one["kind"] == "follow":
            led = [leader["node"] for leader in one["leaders"] if leader["node"] is not None]
            assert all(place[leader] < place[one["name"]] < place[one["node"]] for leader in led)


def test_each_record_has_the_lines_that_made_it() -> None:
    tree = scene_of(rigs.spine())
    for kind in ("nodes", "curves", "chains", "constraints"):
        assert all(re.fullmatch(r"\S+\.somite:\d+", record["lines"][0]) for record in tree[kind])


@pytest.mark.parametrize("file", ["/srv/shows/recipes/heron.somite", "C:\\shows\\heron.somite"])
def test_a_full_path_never_enters_the_file(file: str) -> None:
    made = rigs.spine()
    placed = replace(made.nodes[0], origin=(Site(file, 3, 1),))
    text = scene_text(replace(made, nodes=(placed, *made.nodes[1:])))
    assert '"heron.somite:3"' in text
    assert "shows" not in text


def test_a_fact_that_is_not_said_of_a_node_is_left_out() -> None:
    first = scene_of(rigs.spine())["nodes"][0]
    assert not {"locks", "limits", "dials", "shape", "mirror", "chain"} & set(first)


def test_the_top_of_the_file_names_its_format_and_the_end_its_sources() -> None:
    tree = scene_of(rigs.spine())
    assert list(tree) == [
        "format",
        "units",
        "nodes",
        "sockets",
        "rigs",
        "curves",
        "chains",
        "constraints",
        "feeds",
        "gauges",
        "lists",
        "poses",
        "order",
        "checks",
        "nudges",
        "origin",
    ]
    assert tree["origin"] == {
        "recipe": "heron",
        "revision": 4,
        "character": "heron postal clerk",
        "recipe_digest": "recipe-digest",
        "sheet_digest": "sheet-digest",
        "compiler": "0.1.0",
    }


@pytest.mark.parametrize("made", [rigs.spine(), rigs.arm(), rigs.lantern(), rigs.furnished()])
def test_an_emitted_scene_is_a_valid_scene(made: Rig) -> None:
    assert isinstance(read_scene(scene_text(made)), Scene)


def test_an_emitted_scene_validates_against_the_published_schema() -> None:
    import jsonschema

    import somite

    folder = Path(somite.__file__).parent / "schemas"
    schema = json.loads((folder / "scene.schema.json").read_text(encoding="utf-8"))
    validator = jsonschema.Draft202012Validator(schema)
    for made in (rigs.spine(), rigs.arm(), rigs.lantern(), rigs.furnished()):
        assert list(validator.iter_errors(scene_of(made))) == []


EMIT = """
import sys
sys.path.insert(0, sys.argv[1])
import rigs
from somite.at_rest import world_at_rest
from somite.order import order
from somite.settle import settle
from somite.soundness import examine
from somite.target import Context
from somite.targets import scene
for made in (rigs.spine(), rigs.arm(ease=0.3), rigs.lantern()):
    assert examine(made) == ()
    plan, _ = order(made)
    before = set(sys.modules)
    settled, _ = settle(made, plan)
    (output,), _ = scene.emit(settled, Context("a", "b", "c"))
    assert world_at_rest(settled)
    loaded = {name.partition(".")[0] for name in set(sys.modules) - before}
    assert not loaded & {"numpy", "scipy"}, loaded
    sys.stdout.buffer.write(output.text.encode())
if sys.argv[2:] == ["modules"]:
    sys.stdout.buffer.write(b"numpy" if "numpy" in sys.modules else b"no numpy")
"""


def emitted(*arguments: str, **environment: str) -> bytes:
    command = [sys.executable, "-c", EMIT, str(Path(rigs.__file__).parent), *arguments]
    run = subprocess.run(
        command, env={**os.environ, **environment}, capture_output=True, check=False
    )
    assert run.returncode == 0, run.stderr.decode()
    return run.stdout


def test_the_bytes_do_not_depend_on_hash_seed_locale_or_time_zone() -> None:
    first = emitted(PYTHONHASHSEED="1", LC_ALL="C", TZ="UTC")
    second = emitted(
        PYTHONHASHSEED="777",
        LC_ALL="de_DE.UTF-8",
        TZ="Pacific/Auckland",
        NPY_DISABLE_CPU_FEATURES="AVX2 FMA3 AVX512F",
    )
    assert first == second
    assert len(first) > 10_000


def test_ordering_settling_and_emitting_load_no_numpy_and_so_call_no_linear_algebra() -> None:
    assert emitted("modules").endswith(b"no numpy")
