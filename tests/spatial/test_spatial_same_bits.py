"""The same bits everywhere: floats and arrays agree, and no forbidden operation is in the source.

What the source may not hold is what machines do differently: the platform's mathematics library,
reductions, and linear algebra libraries.
"""

import ast
import os
import random
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import somite.spatial
from somite.spatial import curve as curves
from somite.spatial import frames, reach, rotation, transform, trig, vector

COUNT = 400
SOURCES = sorted(Path(somite.spatial.__file__).parent.glob("*.py"))

ALLOWED = {
    "math": {"sqrt", "fmod"},
    "np": {
        "asarray",
        "bool_",
        "broadcast_arrays",
        "broadcast_shapes",
        "broadcast_to",
        "clip",
        "float64",
        "fmod",
        "int64",
        "searchsorted",
        "shape",
        "sqrt",
        "stack",
        "take_along_axis",
        "where",
        "zeros",
    },
}
IMPORTS = {
    "__future__", "bisect", "collections.abc", "dataclasses", "functools", "itertools", "math",
    "numpy", "numpy.typing", "typing",
}  # fmt: skip


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.stem)
def test_no_operation_is_used_whose_bits_depend_on_the_machine(source):
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute):
            assert node.attr not in {"dot", "sum", "mean", "prod", "matmul", "cumsum"}
            if isinstance(node.value, ast.Name) and node.value.id in ALLOWED:
                assert node.attr in ALLOWED[node.value.id], ast.unparse(node)
        elif isinstance(node, ast.BinOp | ast.AugAssign):
            assert not isinstance(node.op, ast.Pow | ast.MatMult), ast.unparse(node)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in {"sum", "pow", "eval", "hash", "id"}


@pytest.mark.parametrize("source", SOURCES, ids=lambda path: path.stem)
def test_only_this_package_and_the_standard_library_are_imported(source):
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        else:
            continue
        for name in names:
            assert name in IMPORTS or name.startswith("somite.spatial"), name


def test_floats_never_import_numpy():
    code = """
import sys
from somite.spatial import curve, frames, reach, rotation, spacing, transform, trig, vector
a, b = (0.1, 0.2, 0.3), (0.5, -0.2, 0.9)
q = rotation.quaternion_from_euler(a, "zxy")
rotation.euler_from_quaternion(rotation.slerp(q, rotation.shortest_arc(a, b), 0.3))
rotation.quaternion_from_axes(vector.X, a, vector.Y, a)
rotation.swing_twist(rotation.blended([q, q], [1.0, 2.0]), vector.X)
rotation.quaternion_from_matrix(rotation.matrix_from_quaternion(rotation.canonical(q)))
transform.relative((a, q), (b, q))
trig.arc_cosine(trig.sine(1e6))
c = curve.fit([vector.ZERO, a, b], 3, 7)
t = curve.arc_table(c)
at = [curve.parameter_at_length(t, t.length * f) for f in spacing.graded(5, 0.4)]
frames.frames_along(c, at, vector.X)
reach.reach(a, b, 1.0, 1.0, a, b)
curve.fit([vector.ZERO, a, b, (2.0, 1.0, 0.0), (3.0, 1.0, 0.5)], 3, 4)
print("numpy" in sys.modules)
"""
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (ran.stdout.strip(), ran.stderr) == ("False", "")


def _numbers(seed):
    """Return floats of every size with the troublesome ones among them."""
    draw = random.Random(seed)
    special = [0.0, -0.0, 1.0, -1.0, 0.5, trig.PI, -trig.PI / 2.0, trig.PI / 4.0, 1e-200, 7e5]
    usual = [draw.uniform(-1, 1) * 10 ** draw.randint(-9, 2) for _ in range(COUNT)]
    return [draw.choice(special) if draw.random() < 0.25 else number for number in usual]


def _unit(seed, size):
    """Return ``size`` columns of numbers that make unit tuples, coordinate axes among them."""
    draw = random.Random(seed)
    rows = []
    for _ in range(COUNT):
        row = [draw.choice([0.0, -0.0, draw.gauss(0, 1)]) for _ in range(size)]
        square = 0.0
        for value in row:
            square += value * value
        rows.append([v / square**0.5 for v in row] if square > 0.0 else [0.0] * (size - 1) + [1.0])
    return [list(column) for column in zip(*rows, strict=True)]


def _flat(result):
    if isinstance(result, tuple | list):
        for item in result:
            yield from _flat(item)
    else:
        yield result


U, V, W = _unit(1, 3), _unit(2, 3), [_numbers(k) for k in (3, 4, 5)]
OWN, OTHER = _unit(6, 4), _unit(7, 4)
N, M = _numbers(8), _numbers(9)
SHARE = [abs(n) % 1.0 for n in N]
SQUARE = [abs(n) for n in N]


CASES = {
    "sqrt": (trig.sqrt, [SQUARE]),
    "sine_cosine": (trig.sine_cosine, [N]),
    "arc_tangent": (trig.arc_tangent, [N, M]),
    "arc_sine": (trig.arc_sine, [N]),
    "arc_cosine": (trig.arc_cosine, [N]),
    "wrapped": (trig.wrapped, [N]),
    "degrees_from_radians": (trig.degrees_from_radians, [N]),
    "radians_from_degrees": (trig.radians_from_degrees, [N]),
    "unit": (vector.unit, [W, V]),
    "cross": (vector.cross, [W, V]),
    "dot": (vector.dot, [W, V]),
    "distance": (vector.distance, [W, V]),
    "lerp": (vector.lerp, [W, V, N]),
    "reflected": (vector.reflected, [W, V]),
    "perpendicular": (vector.perpendicular, [W]),
    "perpendicular to an axis": (vector.perpendicular, [U]),
    "product": (rotation.product, [OWN, OTHER]),
    "rotated": (rotation.rotated, [OWN, W]),
    "normalised": (rotation.normalised, [[*W, N]]),
    "canonical": (rotation.canonical, [OWN]),
    "quaternion_from_axis_angle": (rotation.quaternion_from_axis_angle, [U, N]),
    "matrix_from_quaternion": (rotation.matrix_from_quaternion, [OWN]),
    "quaternion_from_matrix": (
        lambda q: rotation.quaternion_from_matrix(rotation.matrix_from_quaternion(q)),
        [OWN],
    ),
    "quaternion_from_axes": (
        lambda a, d, e: rotation.quaternion_from_axes(a, d, vector.perpendicular(a), e),
        [U, V, W],
    ),
    "shortest_arc": (rotation.shortest_arc, [U, V]),
    "shortest_arc to the opposite": (lambda a: rotation.shortest_arc(a, vector.negated(a)), [U]),
    "swing_twist": (rotation.swing_twist, [OWN, U]),
    "twist_angle": (rotation.twist_angle, [OWN, U]),
    "slerp": (rotation.slerp, [OWN, OTHER, SHARE]),
    "blended": (
        lambda a, b, c, r, s, t: rotation.blended([a, b, c], [r, s, t]),
        [OWN, OTHER, OWN, SHARE, SQUARE, SHARE],
    ),
    "composed": (lambda a, p, b, q: transform.composed((p, a), (q, b)), [OWN, W, OTHER, V]),
    "relative": (lambda a, p, b, q: transform.relative((p, a), (q, b)), [OWN, W, OTHER, V]),
    "inverse": (lambda a, p: transform.inverse((p, a)), [OWN, W]),
    "matrix_from_frame": (lambda a, p, s: transform.matrix_from_frame((p, a), s), [OWN, W, V]),
    "transport": (
        lambda r, p, t, q, u: frames.transport(r, [(p, t), (q, u), (q, t), (p, u)]),
        [W, V, U, U, V],
    ),
    "reach": (reach.reach, [V, U, SQUARE, SHARE, W, U]),
    "reach of equal bones": (
        lambda r, g, b, p, f: reach.reach(r, g, b, b, p, f),
        [V, U, SQUARE, W, U],
    ),
    **{
        f"quaternion_from_euler {order}": (
            lambda a, order=order: rotation.quaternion_from_euler(a, order), [W],
        )
        for order in rotation.ORDERS
    },
    **{
        f"euler_from_quaternion {order}": (
            lambda q, order=order: rotation.euler_from_quaternion(q, order), [OWN],
        )
        for order in rotation.ORDERS
    },
}  # fmt: skip


def _one(argument, k):
    return argument[k] if isinstance(argument[0], float) else tuple(c[k] for c in argument)


def _all(argument):
    if isinstance(argument[0], float):
        return np.array(argument)
    return tuple(np.array(column) for column in argument)


@pytest.mark.parametrize("name", sorted(CASES))
def test_floats_and_arrays_give_the_same_bits(name):
    function, arguments = CASES[name]
    with np.errstate(divide="raise", invalid="raise"):
        together = list(_flat(function(*[_all(argument) for argument in arguments])))
    together = [np.broadcast_to(np.asarray(column, dtype=float), (COUNT,)) for column in together]
    for k in range(COUNT):
        alone = list(_flat(function(*[_one(argument, k) for argument in arguments])))
        assert [struct.pack("<d", value) for value in alone] == [
            struct.pack("<d", column[k]) for column in together
        ], k


def _posed_curves(poses):
    draw = random.Random(11)
    knots = curves.clamped_knots(7, 3)
    columns = [
        tuple([draw.uniform(-0.2, 0.2) + i * up for _ in range(poses)] for up in (0, 1, 0))
        for i in range(7)
    ]
    together = curves.Curve(knots, 3, tuple(tuple(np.array(c) for c in point) for point in columns))
    alone = [
        curves.Curve(knots, 3, tuple(tuple(c[k] for c in point) for point in columns))
        for k in range(poses)
    ]
    return together, alone


def test_a_curve_through_many_poses_gives_the_bits_of_each_pose():
    together, alone = _posed_curves(40)
    many = curves.arc_table(together)
    for fraction in (0.0, 0.05, 0.5, 0.77, 1.0, 1.5):
        at = curves.parameter_at_length(many, many.length * fraction)
        points = np.array(curves.point_and_tangent_at(together, at))
        for k, single in enumerate(alone):
            one = curves.arc_table(single)
            assert one.length == many.length[k]
            u = curves.parameter_at_length(one, one.length * fraction)
            assert u == at[k]
            assert curves.point_and_tangent_at(single, u) == tuple(
                tuple(row) for row in points[:, :, k]
            )


def test_frames_along_a_curve_through_many_poses_are_those_of_each_pose():
    together, alone = _posed_curves(10)
    at = [0.0, 0.2, 0.6, 1.0]
    many = np.array(frames.frames_along(together, at, vector.X))
    for k, single in enumerate(alone):
        assert np.array_equal(np.array(frames.frames_along(single, at, vector.X)), many[..., k])


def test_poses_without_length_are_survived_and_leave_the_others_alone():
    together, alone = _posed_curves(3)
    points = tuple(
        tuple(np.where([True, False, True], c, 0.25) for c in p) for p in together.points
    )
    table = curves.arc_table(together._replace(points=points))
    assert table.length[1] == 0.0
    at = curves.parameter_at_length(table, table.length * 0.5)
    assert 0.0 <= at[1] <= 1.0
    one = curves.arc_table(alone[2])
    assert at[2] == curves.parameter_at_length(one, one.length * 0.5)


def test_constants_meet_arrays():
    q = tuple(np.array(c) for c in OWN)
    turned = rotation.rotated(q, vector.X)
    for k in range(0, COUNT, 50):
        assert tuple(c[k] for c in turned) == rotation.rotated(_one(OWN, k), vector.X)


BITS = """
import hashlib, random
import numpy as np
from somite.spatial import curve, rotation, trig
draw = random.Random(5)
def column(): return np.array([draw.uniform(-3.0, 3.0) for _ in range(1003)])
def columns(size): return tuple(column() for _ in range(size))
q, p = rotation.normalised(columns(4)), rotation.normalised(columns(4))
posed = curve.Curve(curve.clamped_knots(6, 3), 3, tuple(columns(3) for _ in range(6)))
table = curve.arc_table(posed)
at = curve.parameter_at_length(table, table.length * 0.4)
digest = hashlib.sha256()
for result in (
    rotation.slerp(q, p, 0.3), rotation.euler_from_quaternion(q), trig.sine_cosine(column() * 1e3),
    curve.point_and_tangent_at(posed, at), (table.length, at),
):
    digest.update(np.array(result).tobytes())
print(digest.hexdigest())
"""


def test_the_bits_do_not_depend_on_the_vector_features_of_the_processor():
    features = " ".join(np._core._multiarray_umath.__cpu_dispatch__)
    digests = [
        subprocess.run(
            [sys.executable, "-W", "ignore", "-c", BITS],
            env={**os.environ, "NPY_DISABLE_CPU_FEATURES": disabled},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for disabled in ("", features)
    ]
    assert len(digests[0].strip()) == 64
    assert digests[0] == digests[1]
