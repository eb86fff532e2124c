"""Live numbers: arithmetic, maps, gauges, and what has no answer."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from posed_rigs import text
from scipy.interpolate import PchipInterpolator

from somite.evaluate.live import smooth, straight

SHEET = "[points]\na = [0, 100, 0]\nb = [40, 100, 0]\n"
HEAD = """sheet
  point a, b
control lamp at a
  ring 9 cm
  dial roll = 0 deg
  dial scale = 0
  dial space of near, far = near
control bell at b
  ring 9 cm
"""


def gauge(expression, channels, kind="gauge"):
    rig = text(f"{HEAD}{kind} found = live {expression}\n", SHEET)
    return rig.pose(channels).gauge("found")


@pytest.mark.parametrize(
    ("expression", "expected"),
    [
        ("lamp.scale * 3 - 1", 5.0),
        ("lamp.scale / 4", 0.5),
        ("lamp.scale / (lamp.scale - 2)", 0.0),
        ("clamp(lamp.scale, 3, 5)", 3.0),
        ("modulo(0 - lamp.scale, 3)", 1.0),
        ("modulo(lamp.scale, lamp.scale - 2)", 0.0),
        ("sqrt(0 - lamp.scale)", 0.0),
        ("max(lamp.scale, 1) + min(lamp.scale, 1) + abs(0 - lamp.scale)", 5.0),
        ("cos(lamp.scale * 60 deg)", -0.5),
        ("lamp.space is far", 1.0),
    ],
)
def test_an_expression_is_worked_out(expression, expected):
    found = gauge(expression, {"lamp.scale": 2.0, "lamp.space": 1.0})
    assert found == pytest.approx([expected])


def test_measures_are_read_from_results():
    pose = {"bell.move.y": 0.3, "bell.turn.y": [0.5, 3.5], "lamp.turn.y": -0.1}
    assert gauge("distance(lamp, bell)", pose) == pytest.approx([0.5, 0.5])
    assert gauge("angle(lamp, bell)", pose) == pytest.approx([0.6, 2 * np.pi - 3.6])
    assert gauge("twist(bell, +Y, lamp)", pose) == pytest.approx([0.6, 3.6 - 2 * np.pi])


def test_an_output_leaves_the_rig():
    rig = text(HEAD + "output flare = live lamp.scale * 2\n", SHEET)
    assert rig.pose({"lamp.scale": 4.0}).outputs["flare"].tolist() == [8.0]


def test_a_feed_drives_a_channel_and_holds_within_its_limit():
    feed = "  limit turn.x -90 deg..10 deg\nfeed bell.turn.x = live lamp.roll * 2\n"
    rig = text(HEAD + feed, SHEET)
    posed = rig.pose({"lamp.roll": [-0.3, 0.3], "bell.turn.x": 5.0})
    assert posed.channel("bell.turn.x") == pytest.approx([-0.6, np.radians(10.0)])
    assert [(note.channel, note.why) for note in posed.notes] == [("bell.turn.x", "driven")]


RISING = st.lists(st.integers(-1000, 1000), min_size=2, max_size=6, unique=True).map(
    lambda values: sorted(value / 10 for value in values)
)


@given(RISING, st.data())
def test_a_straight_map_is_piecewise_linear_and_flat_outside(starts, data):
    values = data.draw(st.lists(st.floats(-10, 10), min_size=len(starts), max_size=len(starts)))
    x = np.linspace(starts[0] - 5.0, starts[-1] + 5.0, 101)
    assert straight(x, starts, values) == pytest.approx(np.interp(x, starts, values), abs=1e-9)


@given(RISING, st.data())
def test_a_smooth_map_is_monotone_between_its_pairs_and_level_at_its_ends(starts, data):
    values = data.draw(st.lists(st.floats(-10, 10), min_size=len(starts), max_size=len(starts)))
    assert smooth(np.array(starts), starts, values) == pytest.approx(np.array(values), abs=1e-9)
    for k in range(len(starts) - 1):
        found = smooth(np.linspace(starts[k], starts[k + 1], 40), starts, values)
        steps = np.diff(found) * np.sign(values[k + 1] - values[k])
        assert (steps >= -1e-9).all()


def test_a_smooth_map_agrees_with_scipy_between_inner_pairs():
    starts, values = [0.0, 1.0, 2.5, 3.0, 5.0, 6.0], [0.0, 1.0, 1.5, 4.0, 4.5, 7.0]
    x = np.linspace(1.0, 5.0, 50)
    assert smooth(x, starts, values) == pytest.approx(PchipInterpolator(starts, values)(x))


def test_breakpoints_that_cross_make_a_step_and_nothing_worse():
    x = np.array([-1.0, 0.5, 2.0])
    assert straight(x, [0.0, 1.0, 0.5], [0.0, 1.0, 3.0]).tolist() == [0.0, 2.5, 3.0]
