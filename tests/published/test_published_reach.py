"""Two bones against whole-number triangles and a measured leg.

Law of cosines: Euclid, Elements II.12 and II.13. The triangles 3-4-5 and 5-12-13 have a right
angle, 3-5-7 an angle of exactly 120 degrees and 5-8-7 one of exactly 60.
"""

import math

import pytest

from somite.spatial import vector
from somite.spatial.reach import reach


def angle(at, a, b):
    u, v = vector.subtract(a, at), vector.subtract(b, at)
    return math.degrees(math.atan2(vector.length(vector.cross(u, v)), vector.dot(u, v)))


@pytest.mark.parametrize(
    ("upper", "lower", "apart", "at_root", "at_elbow"),
    [
        (3.0, 4.0, 5.0, 53.13010235415599, 90.0),
        (1.0, 1.0, 1.4142135623730951, 45.0, 90.0),
        (5.0, 12.0, 13.0, 67.38013505195957, 90.0),
        (3.0, 5.0, 7.0, 38.21321070173819, 120.0),
        (5.0, 8.0, 7.0, 81.7867892982618, 60.0),
        # left leg of the H-Anim humanoid at rest (ISO/IEC 19774, level of articulation 3), metres
        (0.426893, 0.433891, 0.850099, 9.11146748451056, 161.92523997347095),
    ],
)
def test_angles_of_known_triangles(upper, lower, apart, at_root, at_elbow):
    root, goal = (0.2, -0.1, 0.4), (0.2, -0.1 - apart, 0.4)
    found = reach(root, goal, upper, lower, vector.Z, vector.X)
    assert found.end == pytest.approx(goal, abs=1e-15)
    assert angle(root, found.elbow, goal) == pytest.approx(at_root, abs=1e-6)
    assert angle(found.elbow, root, goal) == pytest.approx(at_elbow, abs=1e-6)
    assert found.elbow[2] > root[2]


# Worked by hand from the 3-4-5 triangle: 9/5 along the line and 12/5 off it
@pytest.mark.parametrize(
    ("goal", "pole", "elbow"),
    [
        ((5.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.8, 2.4, 0.0)),
        ((0.0, -5.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.8, 2.4)),
    ],
)
def test_places_of_the_elbow(goal, pole, elbow):
    found = reach((0.0, 0.0, 0.0), goal, 3.0, 4.0, pole, vector.X)
    assert found.elbow == pytest.approx(elbow, abs=1e-15)


def test_the_elbow_of_a_5_8_7_triangle_lies_five_sevenths_along():
    root, goal = (1.0, 2.0, 3.0), (1.0 + 14 / 3, 2.0 + 14 / 3, 3.0 + 7 / 3)
    found = reach(root, goal, 5.0, 8.0, vector.Z, vector.X)
    ahead = vector.unit(vector.subtract(goal, root), vector.X)
    forward = vector.dot(vector.subtract(found.elbow, root), ahead)
    assert forward == pytest.approx(5 / 7, abs=1e-14)
