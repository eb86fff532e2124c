"""Forward kinematics of a compiled rig against an independent engine.

The engine is MuJoCo's kinematics (E. Todorov, T. Erez, Y. Tassa, IROS 2012): a rig's nodes become
its bodies, each turn a ball joint, each move three slides.
"""

from __future__ import annotations

import mujoco
import pytest
from posed_rigs import exercise, random_pose
from scipy.spatial.transform import Rotation


def body(node, local, children) -> str:
    """One node as a body of the engine's own format, and all that is under it."""
    place = " ".join(map(repr, local.place))
    x, y, z, w = local.turn
    inner = "".join(children)
    return (
        f'<body name="{node}" pos="{place}" quat="{w!r} {x!r} {y!r} {z!r}">'
        '<inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>'
        '<joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/>'
        f'<joint type="slide" axis="0 0 1"/><joint type="ball"/>{inner}</body>'
    )


@pytest.mark.parametrize("name", ["arm", "foot", "upright", "thirty_legs"])
def test_trees_stand_where_an_independent_engine_puts_them(name):
    evaluator = exercise(name)
    rig = evaluator.settled.rig
    tree = [node for node in rig.nodes if node.kind == "control"]
    names = {node.name for node in tree}
    free = [n for n in tree if not any(one.node == n.name for one in follows(rig))]
    tops = [n for n in free if n.parent is None]
    inside: list[str] = []

    def bodies(node) -> str:
        inside.append(node.name)
        below = [n for n in free if n.parent == node.name]
        return body(node.name, evaluator.settled.locals[node.name], map(bodies, below))

    text = f"<mujoco><worldbody>{''.join(map(bodies, tops))}</worldbody></mujoco>"
    model = mujoco.MjModel.from_xml_string(text)
    data = mujoco.MjData(model)
    poses = random_pose(evaluator, 8, 10)
    posed = evaluator.pose(poses)
    assert set(inside) <= names and len(inside) > 1
    for k in range(10):
        for at, node in enumerate(inside):
            move, turn = (
                [posed.channel(f"{node}.{part}.{axis}")[k] for axis in "xyz"]
                for part in ("move", "turn")
            )
            angles = ordered(rig, node, turn)
            x, y, z, w = Rotation.from_euler(rig.node(node).order, angles).as_quat()
            data.qpos[at * 7 : at * 7 + 7] = [*move, w, x, y, z]
        mujoco.mj_kinematics(model, data)
        for node in inside:
            there = data.body(node)
            assert posed.place(node)[k] == pytest.approx(there.xpos, abs=1e-12)
            assert posed.linear(node)[k] == pytest.approx(there.xmat.reshape(3, 3), abs=1e-12)


def ordered(rig, node, turn):
    """Angles about x, y, z in the order in which the node applies them."""
    return [turn["xyz".index(axis)] for axis in rig.node(node).order]


def follows(rig):
    return [one for one in rig.constraints if hasattr(one, "leaders")]
