"""What is left is measured as it is: distances, angles and sizes, with node and frame.

Expected amounts are those that the transforms were made with.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from somite.matching.measure import Sight, remaining

FRAMES = np.array([1.0, 2.0, 3.0])
NAMES = ("low", "high")


def look(moved=0.0, turned=0.0, sized=1.0, at=(1, 1)):
    """A look at two nodes that stand askew, of which one is off in one frame."""
    row, node = at
    turns = np.empty((3, 2), dtype=object)
    turns[:] = Rotation.from_euler("xyz", [0.3, -0.7, 1.1])
    places = np.zeros((3, 2, 3))
    sizes = np.full((3, 2, 3), 1.7)
    places[row, node] = [0.0, moved * 0.6, moved * 0.8]
    turns[row, node] = Rotation.from_rotvec([turned, 0.0, 0.0]) * turns[row, node]
    sizes[row, node, 1] *= sized
    quaternions = np.array([[one.as_quat() for one in line] for line in turns])
    linears = np.array([[one.as_matrix() for one in line] for line in turns])
    # Columns are a node's own axes: sizes stretch those, whatever way they point.
    whole = Sight(places, quaternions, linears * sizes[:, :, None, :])

    def seen(frames):
        rows = np.searchsorted(FRAMES, frames)
        return Sight(whole.places[rows], whole.turns[rows], whole.linears[rows])

    return seen


@pytest.mark.parametrize(
    ("off", "what", "amount"),
    [
        ({"moved": 0.25}, "place", 0.25),
        ({"turned": 0.4}, "turn", 0.4),
        ({"sized": 1.2}, "size", 0.2),
    ],
)
def test_one_node_that_is_off_in_one_frame_is_found(off, what, amount):
    found = {
        one.what: one
        for one in remaining(look(), look(**off), NAMES, "joint", FRAMES, np.array([1.0, 3.0]))
    }
    worst = found[what].at_keys
    assert (worst.node, worst.frame) == ("high", 2.0)
    assert worst.amount == pytest.approx(amount, abs=1e-12)
    for other, one in found.items():
        assert one.between.amount < 1e-12
        assert other == what or one.at_keys.amount < 1e-12


def test_a_turn_and_its_opposite_quaternion_are_the_same():
    def opposite(frames):
        seen = look()(frames)
        return Sight(seen.places, -seen.turns, seen.linears)

    left = remaining(look(), opposite, NAMES, "control", FRAMES)
    assert max(one.at_keys.amount for one in left) < 1e-12


def test_of_equals_the_first_is_told():
    far = look(moved=0.5, at=(1, 1))

    def both(frames):
        seen = far(frames)
        places = seen.places.copy()
        places[frames == 3.0, 1] = [0.5, 0.0, 0.0]
        return Sight(places, seen.turns, seen.linears)

    place = remaining(look(), both, NAMES, "joint", FRAMES)[0]
    assert (place.at_keys.node, place.at_keys.frame) == ("high", 2.0)
