"""Plans laid for the sizes that a pose sets: nothing is read before it is written.

Every array a plan works in begins as not-a-number here, so that what is read too soon shows; and
whichever sizes a plan is laid for, the same pose gives the same rig, put together from matrices.
"""

from __future__ import annotations

import zlib
from functools import cache

import numpy as np
import pytest
from cases_runner import FOLDER, case_at, compiled
from posed_rigs import NAMES, exercise, random_pose
from scipy.spatial.transform import Rotation

from somite import order
from somite.evaluate import Evaluator, back_ends, layout, state
from somite.evaluate.follow import BlendedPlaces, Weighting, weights_of
from somite.evaluate.laying import Laying
from somite.ir import Reach, Ride

CASES = (
    "feed/feeds",
    "joint/follows",
    "part/needs",
    "sound/dial_only",
    "sound/plain_back",
    "sound/uneven_sheet",
    "twist/twists",
)
ALL = (*NAMES, "upright", *CASES)
DRAWS = 6
"""Choices of sizes a rig is posed with."""


@cache
def settled_rig(name):
    """The settled rig of an exercise, of the shipped recipe, or of a case."""
    if "/" not in name:
        return exercise(name).settled
    made = compiled(case_at(FOLDER / f"{name}.somite"))
    assert made.settled is not None, made.findings
    return made.settled


@pytest.fixture(autouse=True)
def nothing_written(monkeypatch):
    """New arrays hold no numbers, and neither do the memory of a program and the even sizes that a
    run is to fill.

    `extras` begin as ones on purpose: a chain that reaches stretches along its bones alone.
    """
    empty, new_state, written = np.empty, state.new_state, layout.Layout.written

    def unwritten(*args, **options):
        made = empty(*args, **options)
        if made.dtype.kind == "f":
            made.fill(np.nan)
        return made

    def unwritten_state(*args):
        made = new_state(*args)
        made.scales.fill(np.nan)
        return made

    monkeypatch.setattr(np, "empty", unwritten)
    monkeypatch.setattr(back_ends, "new_state", unwritten_state)
    monkeypatch.setattr(layout.Layout, "written", lambda self, lanes: written(self, lanes, np.nan))


def free_sizes(rig):
    return [
        name
        for name, channel in rig.channels.items()
        if channel.part == "size" and not channel.locked and not channel.driven
    ]


def drawn_poses(name, poses):
    """A rig newly laid out, and poses: all that an animator sets, with sizes here and there."""
    rig = Evaluator(settled_rig(name))
    draw = np.random.default_rng(zlib.crc32(name.encode()))
    sizes = free_sizes(rig)
    for seed in range(DRAWS):
        values = random_pose(rig, seed, poses)
        share = (0.02, 0.1, 0.5)[seed % 3]
        some = [size for size in sizes if draw.random() < share] or [draw.choice(sizes)]
        values |= {str(size): draw.uniform(0.5, 2.0, poses) for size in some}
        yield rig, values


def assert_every_number_is_there(posed):
    for node in posed.names:
        assert np.isfinite(posed.world(node)).all(), node
        assert np.isfinite(posed.turn(node)).all(), node
    for curve in posed.settled.rig.curves:
        assert np.isfinite(posed.points(curve.name)).all(), curve.name
    for gauge in posed.settled.rig.gauges:
        assert np.isfinite(posed.gauge(gauge.name)).all(), gauge.name


@pytest.mark.parametrize("name", ALL)
def test_any_choice_of_sizes_is_evaluated_without_reading_what_is_not_written(name):
    for poses in (2, 60):
        for rig, values in drawn_poses(name, poses):
            assert_every_number_is_there(rig.pose(values))


def test_few_poses_are_worked_out_by_the_program_and_many_by_arrays():
    chosen = [back_ends.chosen("auto", poses) for poses in (1, back_ends.FEW + 1)]
    assert chosen == ["scalar", "arrays"]


@pytest.mark.parametrize("name", CASES)
def test_each_size_by_itself_is_evaluated_without_reading_what_is_not_written(name):
    rig = Evaluator(settled_rig(name))
    for size in free_sizes(rig):
        assert_every_number_is_there(rig.pose({size: [1.0, 1.2]}))


def test_poses_run_in_parts_read_nothing_of_the_part_before():
    rig = Evaluator(settled_rig("sound/plain_back"))
    sizes = np.linspace(0.5, 2.0, back_ends.CHUNK + 2)
    posed = rig.pose({"leg.left.thigh.size.x": sizes})
    assert_every_number_is_there(posed)
    last = rig.pose({"leg.left.thigh.size.x": sizes[-1]})
    assert posed.worlds[-1] == pytest.approx(last.worlds[0], abs=1e-12)


@pytest.mark.parametrize("name", ALL)
def test_a_pose_is_the_same_in_a_plan_that_is_laid_for_all_sizes(name):
    for rig, values in drawn_poses(name, 2):
        # A third pose with every size other than one has all of them laid into the plan.
        every = {size: np.array([1.0, 1.0, 1.1]) for size in free_sizes(rig)}
        for channel, value in values.items():
            every[channel] = np.append(value, 1.1 if channel in every else value[-1])
        # Of an even size the channel that comes first counts: the others are left as it is.
        every = {channel: every[channel] for channel in (*values, *every)}
        for size in free_sizes(rig):
            node = size.rpartition(".size.")[0]
            first = next((f"{node}.size.{k}" for k in "xyz" if f"{node}.size.{k}" in values), size)
            if size not in values and rig.settled.rig.node(node).size_even:
                every[size] = every[first]
        some, all_of_them = rig.pose(values), rig.pose(every)
        near = 1e-9 * max(1.0, np.abs(some.worlds).max())
        assert np.abs(all_of_them.worlds[:2] - some.worlds).max() < near


def on_its_parent_alone(settled):
    """Nodes that no constraint writes, under a parent whose size no chain stretches."""
    rig = settled.rig
    chains = {chain.name: chain for chain in rig.chains}
    held = {node for one in rig.constraints for node, _ in order.written(one, chains)}
    stretched = {
        joint
        for one in rig.constraints
        if isinstance(one, Ride | Reach)
        for joint in chains[one.chain].joints
    }
    return [
        node
        for node in rig.nodes
        if node.name not in held | stretched
        and (node.parent not in stretched or rig.node(node.parent).passes_size)
    ]


def channels(posed, node, part):
    return np.stack([posed.channel(f"{node}.{part}.{axis}") for axis in "xyz"], axis=-1)


def matrices(places, linears):
    found = np.zeros((len(places), 4, 4))
    found[:, :3, :3], found[:, :3, 3], found[:, 3, 3] = linears, places, 1.0
    return found


def put_together(posed, node):
    """World = parent · mount · T · R · S.

    A node stands where its parent's whole world takes it: on the end of a bone, however long that
    is. A parent that keeps its size to itself is without it in all else.
    """
    settled, poses = posed.settled, posed.poses
    above = np.broadcast_to(np.eye(4), (poses, 4, 4))
    if node.parent is not None:
        above = posed.world(node.parent)
    rest = settled.locals[node.name]
    mount = above @ matrices([rest.place], Rotation.from_quat([rest.turn]).as_matrix())
    if node.parent is not None and not settled.rig.node(node.parent).passes_size:
        bare = above[:, :3, :3] / channels(posed, node.parent, "size")[:, None, :]
        mount[:, :3, :3] = bare @ Rotation.from_quat(rest.turn).as_matrix()
    angles = channels(posed, node.name, "turn")[:, ["xyz".index(axis) for axis in node.order]]
    turned = Rotation.from_euler(node.order, angles).as_matrix()
    sized = turned * channels(posed, node.name, "size")[:, None, :]
    return mount @ matrices(channels(posed, node.name, "move"), sized)


@pytest.mark.parametrize("name", ALL)
def test_what_nothing_constrains_is_the_product_of_its_matrices_with_any_sizes(name):
    nodes = on_its_parent_alone(settled_rig(name))
    assert nodes
    for rig, values in drawn_poses(name, 3):
        posed = rig.pose(values)
        for node in nodes:
            expected = put_together(posed, node)
            near = 1e-9 * max(1.0, np.abs(expected).max())
            assert posed.world(node.name) == pytest.approx(expected, abs=near), node.name


def test_landing_between_leaders_reads_their_places_alone():
    held = state.new_state(state.Sizes(slots=4), np.empty((0, 1)))
    held.world[1:3, :3, 3] = [[[0.0], [1.0], [2.0]], [[4.0], [3.0], [2.0]]]
    weighting = Weighting([weights_of([3.0, 1.0], None, None)])
    BlendedPlaces(slice(3, 4), slice(1, 3), None, weighting).run(held)
    assert held.world[3, :3, 3, 0] == pytest.approx([1.0, 1.5, 2.0])


def test_an_operation_that_reads_what_nothing_provides_is_not_laid():
    rig = Evaluator(settled_rig("sound/plain_back"))
    laying = Laying(rig.settled, rig.channels, frozenset(), None)
    with pytest.raises(KeyError):
        laying.operation([("place", laying.slot("seat"))])
