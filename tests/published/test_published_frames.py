"""Rotation-minimising frames against closed forms and a differential equation.

Method and order of error: W. Wang, B. Juettler, D. Zheng and Y. Liu, ACM Transactions on
Graphics 27(1), article 2, 2008. The frame turns against the Frenet frame by minus the integral
of the torsion (R. L. Bishop, The American Mathematical Monthly 82, 1975; H. Guggenheimer, 1989).
"""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.interpolate import BSpline

from somite.spatial import curve as curves
from somite.spatial import frames, vector
from somite.spatial.curve import Curve


def helix_samples(a, b, end, steps):
    """Return samples of (a cos u, a sin u, b u) for u from 0 to ``end``."""
    speed = math.hypot(a, b)
    return [
        (
            (a * math.cos(u), a * math.sin(u), b * u),
            (-a * math.sin(u) / speed, a * math.cos(u) / speed, b / speed),
        )
        for u in (end * k / steps for k in range(steps + 1))
    ]


def helix_reference(a, b, end):
    """Return the reference at the end that started as the normal (-1, 0, 0): closed form."""
    speed = math.hypot(a, b)
    angle = -b / speed * end  # torsion b/(a^2 + b^2) times arc length, with its sign turned
    normal = (-math.cos(end), -math.sin(end), 0.0)
    binormal = (b * math.sin(end) / speed, -b * math.cos(end) / speed, a / speed)
    return [
        math.cos(angle) * n + math.sin(angle) * c for n, c in zip(normal, binormal, strict=True)
    ]


HELICES = [(1.0, 1.0, math.tau), (2.0, 0.5, 2 * math.tau)]
# Reference at the end and errors of 16 and 256 steps, computed once in closed form and with
# another implementation of the same method
HELIX_ENDS = [
    (0.2662553420414163, -0.681582017381037, 0.6815820173810369),
    (0.995603995004806, 0.022716520459620172, -0.09086608183848265),
]
HELIX_ERRORS = [(3.6653817984561e-05, 5.597976839126634e-10),
                (9.031085923253653e-05, 1.3607432856707432e-09)]  # fmt: skip


@pytest.mark.parametrize(("helix", "end"), list(zip(HELICES, HELIX_ENDS, strict=True)))
def test_the_frame_at_the_end_of_a_helix_is_that_of_the_closed_form(helix, end):
    assert helix_reference(*helix) == pytest.approx(end, abs=1e-14)
    found = frames.transport((-1.0, 0.0, 0.0), helix_samples(*helix, 2048))[-1]
    assert found == pytest.approx(end, abs=1e-12)


@pytest.mark.parametrize(("helix", "errors"), list(zip(HELICES, HELIX_ERRORS, strict=True)))
def test_the_error_falls_with_the_fourth_power_of_the_step(helix, errors):
    true = helix_reference(*helix)
    found = []
    for steps in (16, 32, 64, 128, 256):
        last = frames.transport((-1.0, 0.0, 0.0), helix_samples(*helix, steps))[-1]
        found.append(math.dist(last, true))
    assert found[0] == pytest.approx(errors[0], rel=1e-6)
    assert found[-1] == pytest.approx(errors[1], rel=1e-4)
    for coarse, fine in pairwise(found):
        assert coarse / fine == pytest.approx(16.0, rel=0.02)


# The twisted cubic (u, u^2, u^3): total torsion 1.507278500292393, computed by quadrature
def test_the_frame_at_the_end_of_the_twisted_cubic():
    points = ((0.0, 0.0, 0.0), (1 / 3, 0.0, 0.0), (2 / 3, 1 / 3, 0.0), (1.0, 1.0, 1.0))
    cubic = Curve(curves.clamped_knots(4, 3), 3, points)
    end = (-0.7296703022647538, 0.655724020011803, -0.1939259125862841)
    errors = []
    for steps in (16, 32, 256):
        _, side = frames.frames_along(cubic, [0.0, 1.0], vector.Y, steps)[-1]
        errors.append(math.dist(side, end))
    assert errors[0] == pytest.approx(1.6005456727972037e-06, rel=1e-6)
    assert errors[0] / errors[1] == pytest.approx(16.0, rel=0.02)
    assert errors[2] < 1e-10
    assert curves.arc_table(cubic).length == pytest.approx(1.8630229825122513, rel=1e-15)


def test_on_a_sphere_the_outward_normal_is_carried_without_error_at_any_step():
    """Wang et al. 2008, section on spherical curves: exact because reflections keep the sphere."""
    samples = []
    for u in (2.0 * k / 8 for k in range(9)):
        point = (math.cos(u) * math.cos(3 * u), math.cos(u) * math.sin(3 * u), math.sin(u))
        slope = (
            -math.sin(u) * math.cos(3 * u) - 3 * math.cos(u) * math.sin(3 * u),
            -math.sin(u) * math.sin(3 * u) + 3 * math.cos(u) * math.cos(3 * u),
            math.cos(u),
        )
        samples.append((point, vector.unit(slope, vector.X)))
    for found, (point, _) in zip(frames.transport(samples[0][0], samples), samples, strict=True):
        assert found == pytest.approx(point, abs=2e-15)


def test_along_a_plane_curve_the_normal_of_the_plane_stays_at_any_step():
    marks = [(0.0, 0.0, 0.0), (1.0, 2.0, 0.0), (2.0, -1.0, 0.0), (4.0, 0.0, 0.0), (3.0, 3.0, 0.0)]
    for _, side in frames.frames_along(
        curves.fit(marks, 3, 5), [0.0, 0.3, 0.6, 1.0], vector.Z, substeps=2
    ):
        assert side == pytest.approx((0.0, 0.0, 1.0), abs=1e-15)


def test_frames_along_a_spline_solve_their_differential_equation():
    """r' = -(r . t') t, integrated by scipy's eighth-order method (Dormand and Prince)."""
    marks = [(0.0, 0.0, 0.0), (0.4, 0.5, 0.2), (-0.2, 1.0, 0.4), (0.1, 1.5, -0.3), (0.5, 2.0, 0.0)]
    curve = curves.fit(marks, 4, 5)
    reference = BSpline(curve.knots, np.array(curve.points), 4)

    def change(u, side):
        slope, bend = reference(u, 1), reference(u, 2)
        speed = np.linalg.norm(slope)
        tangent = slope / speed
        return -(side @ (bend - (bend @ tangent) * tangent)) / speed * tangent

    at = [k / 8 for k in range(9)]
    found = frames.frames_along(curve, at, vector.X, substeps=64)
    solved = solve_ivp(change, (0.0, 1.0), found[0][1], "DOP853", at, rtol=1e-12, atol=1e-13)
    for (_, side), expected in zip(found, solved.y.T, strict=True):
        assert side == pytest.approx(expected, abs=1e-8)
    coarse = frames.frames_along(curve, at, vector.X)
    worst = max(math.dist(side, y) for (_, side), y in zip(coarse, solved.y.T, strict=True))
    assert worst < 1e-4  # the default number of substeps: about a hundredth of a degree
