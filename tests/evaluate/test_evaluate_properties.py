"""What holds for any rig in any pose: similarity, mirror, finiteness, continuity, one meaning."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from posed_rigs import NAMES, carrier, exercise, free_channels, random_pose
from scipy.spatial.transform import Rotation

ALL = (*NAMES, "upright")
rigs_and_seeds = st.tuples(st.sampled_from(ALL), st.integers(0, 10_000))
few = settings(max_examples=25, deadline=None)


@few
@given(rigs_and_seeds, st.floats(0.1, 10.0), st.integers(0, 10_000))
def test_what_carries_all_carries_all(made, scale, seed):
    name, pose_seed = made
    evaluator = exercise(name)
    top, height = carrier(evaluator), evaluator.settled.rig.height
    values = random_pose(evaluator, pose_seed, 4, skip=(top,))
    # What is left in the world on purpose stays there.
    for name, channel in evaluator.channels.items():
        if "world" in channel.options:
            at = channel.options.index("world")
            values[name] = np.where(values[name] == at, float(at == 0), values[name])
    draw = np.random.default_rng(seed)
    move, angles = draw.uniform(-10, 10, 3) * height, draw.uniform(-3, 3, 3)
    carried = {f"{top}.size.x": scale}
    if not evaluator.settled.rig.node(top).size_even:
        carried |= {f"{top}.size.y": scale, f"{top}.size.z": scale}
    carried |= {f"{top}.move.{axis}": move[k] for k, axis in enumerate("xyz")}
    carried |= {f"{top}.turn.{axis}": angles[k] for k, axis in enumerate("xyz")}
    before, after = evaluator.pose(values), evaluator.pose({**values, **carried})
    turn = Rotation.from_euler("xyz", angles).as_matrix()
    centre = np.array(evaluator.settled.rig.node(top).rest.place)
    expected = (before.places - centre) @ turn.T * scale + centre + move
    assert np.abs(after.places - expected).max() < 1e-9 * height * max(scale, 10.0)
    turned = np.einsum("ij,pnjk->pnik", turn, before.linears) * scale
    assert np.abs(after.linears - turned).max() < 1e-9 * scale


@few
@given(rigs_and_seeds)
def test_one_pose_is_a_row_of_many(made):
    name, seed = made
    evaluator = exercise(name)
    values = random_pose(evaluator, seed, 60, sizes=True)
    many = evaluator.pose(values)
    for k in (0, 59):
        one = evaluator.pose({channel: value[k] for channel, value in values.items()})
        limit = 1e-10 * evaluator.settled.rig.height * np.abs(many.worlds[k]).max()
        assert np.abs(one.worlds[0] - many.worlds[k]).max() <= max(limit, 1e-10)


@few
@given(st.sampled_from(ALL), st.data())
def test_no_finite_channel_values_give_anything_that_is_not_finite(name, data):
    evaluator = exercise(name)
    channels = free_channels(evaluator, sizes=True)
    chosen = data.draw(st.lists(st.sampled_from(channels), min_size=1, max_size=12, unique=True))
    wild = st.sampled_from([0.0, -0.0, 1e-300, 1.0, -1.0, np.pi, -np.pi, 1e3, -1e9, 1e300, -1e300])
    posed = evaluator.pose({channel: data.draw(wild) for channel in chosen})
    assert np.isfinite(posed.worlds).all()
    assert all(np.isfinite(posed.points(curve.name)).all() for curve in posed.settled.rig.curves)


@few
@given(st.sampled_from(ALL), st.data())
def test_a_channel_that_is_swept_moves_nothing_in_jumps(name, data):
    evaluator = exercise(name)
    channels = [
        channel for channel in free_channels(evaluator) if not evaluator.channels[channel].options
    ]
    channel = evaluator.channels[data.draw(st.sampled_from(channels))]
    # As far as the law of calm sweeps what has no limits. Farther a hand crosses the line to its
    # pole, where the elbow must change sides, and a folded curve meets a bone's length elsewhere.
    far = 0.1 * evaluator.settled.rig.height if channel.part == "move" else 0.8
    low, high = max(channel.low, -far), min(channel.high, far)
    coarse = evaluator.pose({channel.name: np.linspace(low, high, 401)}).places
    jump = np.abs(np.diff(coarse, axis=0)).max(axis=(1, 2))
    at = int(np.argmax(jump))
    step = (high - low) / 400
    fine = np.linspace(low + at * step, low + (at + 1) * step, 401)
    finer = np.abs(np.diff(evaluator.pose({channel.name: fine}).places, axis=0)).max()
    assert finer < 1e-3 * evaluator.settled.rig.height


# The sheets of the other exercises are not the same on both sides.
@pytest.mark.parametrize("name", ["eyes", "foot"])
def test_twins_mirror_each_other_by_the_signs_that_are_kept(name):
    evaluator = exercise(name)
    rig = evaluator.settled.rig
    nodes = {node.name: node for node in rig.nodes}
    values = random_pose(evaluator, 11, 20)
    posed = {}
    for channel, value in values.items():
        held = evaluator.channels[channel]
        mirror = nodes[held.node].mirror
        signs = (
            {"move": (-1, 1, 1), "turn": (1, -1, -1)}
            if mirror is None
            else {"move": mirror.move, "turn": mirror.turn}
        )
        sign = signs[held.part][held.axis] if held.part in signs else 1
        if mirror is None:
            # What stands in the middle moves and turns within the plane of the mirror only.
            posed[channel] = value if sign > 0 else 0.0 * value
        elif "right" in held.node.split("."):
            posed[channel] = sign * values[f"{mirror.twin}{channel.removeprefix(held.node)}"]
        else:
            posed[channel] = value
    found = evaluator.pose(posed)
    for node in rig.nodes:
        if node.mirror is not None:
            twin = found.place(node.mirror.twin) * np.array([-1.0, 1.0, 1.0])
            assert found.place(node.name) == pytest.approx(twin, abs=1e-9)


def test_poses_are_the_same_however_many_are_evaluated_together():
    evaluator = exercise("upright")
    values = random_pose(evaluator, 9, 2500, sizes=True)
    many = evaluator.pose(values)
    some = slice(1000, 1100)
    few = evaluator.pose({channel: value[some] for channel, value in values.items()})
    assert many.worlds[some] == pytest.approx(few.worlds, abs=1e-9)
    assert many.points("spine.path")[some] == pytest.approx(few.points("spine.path"), abs=1e-9)
    assert (
        many.channel("spine.high.turn.x")[some].tolist()
        == few.channel("spine.high.turn.x").tolist()
    )
