"""At its defaults an evaluated rig stands where it was placed."""

from __future__ import annotations

import numpy as np
import pytest
import rigs
from posed_rigs import NAMES, evaluator_of, exercise


def away(evaluator) -> tuple[float, float]:
    """The largest distance (heights) and angle (radians) from rest."""
    posed = evaluator.pose()
    rig = evaluator.settled.rig
    far = [np.linalg.norm(posed.place(n.name)[0] - n.rest.place) for n in rig.nodes]
    off = [
        2.0 * np.linalg.norm(q - np.sign(q @ rest) * rest)
        for q, rest in ((posed.turn(n.name)[0], np.array(n.rest.turn)) for n in rig.nodes)
    ]
    return max(far) / rig.height, max(off)


@pytest.mark.parametrize("name", [*NAMES, "upright"])
def test_an_exercise_stands_where_it_was_placed(name):
    far, off = away(exercise(name))
    assert far < 1e-9
    assert off < 1e-9


STRAIGHT = [(0.0, 1.4, 0.0), (0.3, 1.4, 0.0), (0.6, 1.4, 0.0)]
ZIGZAG = [(0.0, 1.0, 0.0), (0.1, 0.7, 0.1), (0.0, 0.4, -0.1), (0.05, 0.1, 0.0), (0.1, 0.0, 0.15)]
LONG_STRAIGHT = [(0.0, 1.0, 0.0), (0.0, 0.7, 0.0), (0.0, 0.4, 0.0), (0.0, 0.2, 0.0)]


@pytest.mark.parametrize(
    "rig",
    [
        rigs.spine(),
        rigs.spine(12),
        rigs.arm(),
        rigs.arm(pole=None),
        rigs.arm(ease=0.05),
        rigs.limb(STRAIGHT, pole=None, bend=(0.0, 0.0, -1.0)),
        rigs.limb(STRAIGHT, pole=(0.3, 1.2, -0.6), bend=(0.0, 0.0, -1.0)),
        rigs.limb(ZIGZAG, pole=(0.3, 0.5, 0.9)),
        rigs.limb(LONG_STRAIGHT, pole=None, bend=(0.0, 0.0, 1.0)),
        rigs.lantern(),
    ],
    ids=lambda rig: f"{rig.nodes[-1].name}-{len(rig.nodes)}-{len(rig.constraints)}",
)
def test_a_rig_made_by_hand_stands_where_it_was_placed(rig):
    far, off = away(evaluator_of(rig))
    assert far < 1e-9
    assert off < 1e-8


def test_a_neutral_dial_moves_nothing_at_any_value():
    evaluator = exercise("tail")
    posed = evaluator.pose({"root.stretch": np.linspace(0.0, 1.0, 9)})
    assert np.abs(posed.places - posed.places[:1]).max() < 1e-9 * evaluator.settled.rig.height


def test_every_choice_of_leader_gives_the_rest():
    evaluator = exercise("space_choice")
    posed = evaluator.pose({"lamp.space": np.arange(4.0)})
    assert np.abs(posed.places - posed.places[:1]).max() < 1e-12
