"""Turns and matrices of many things in many poses: the operations whose speed matters.

Arrays hold components on the last axis but one and poses on the last, so that each component is a
plane of (things, poses). Conventions are those of `somite.spatial`: quaternions xyzw, column
vectors, `product(a, b)` turns by b first. Rare operations use `somite.spatial` itself, whose
component form takes the planes of such arrays.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from somite.spatial.component import Quaternion, Vector
from somite.spatial.rotation import ORDERS, shortest_arc
from somite.spatial.rotation import product as product_of_parts
from somite.spatial.vector import cross, dot

Array: TypeAlias = NDArray[np.float64]
Index: TypeAlias = NDArray[np.int64]
Condition: TypeAlias = NDArray[np.bool_]
Parts: TypeAlias = Any
"""Components of vectors or quaternions as a tuple, the form that `somite.spatial` takes."""


def planes(array: Array) -> Parts:
    """The components of an array as a tuple of views, for `somite.spatial`."""
    return tuple([array[..., k, :] for k in range(array.shape[-2])])


def stack(parts: Sequence[Any], shape: tuple[int, ...], out: Array | None = None) -> Array:
    """Components put back into one array of a shape (..., components, poses)."""
    if out is None:
        out = np.empty(shape)
    for k, part in enumerate(parts):
        out[..., k, :] = part
    return out


def dotted(a: Array, b: Array) -> Array:
    """Scalar products of vectors whose components are on the first axis."""
    found: Array = a[0] * b[0]
    found += a[1] * b[1]
    found += a[2] * b[2]
    return found


def squared(a: Array) -> Array:
    """Squares of lengths of vectors whose components are on the first axis."""
    return dotted(a, a)


def right_product(turn: Quaternion[float]) -> Array:
    """The matrix (4, 4) that takes a quaternion q, as a column, to q · turn."""
    x, y, z, w = turn
    return np.array([[w, z, -y, x], [-z, w, x, y], [y, -x, w, z], [-x, -y, -z, w]])


def affine(place: Vector[float], turn: Quaternion[float]) -> Array:
    """The matrix (4, 4) of a rigid frame."""
    found = np.eye(4)
    found[:3, :3] = rotation(np.array(turn)[:, None])[..., 0]
    found[:3, 3] = place
    return found


def _product_table() -> Array:
    """The product as a matrix (4, 16): from all products of two components to the result's."""
    units = np.eye(4)
    found = np.zeros((4, 16))
    for i, a in enumerate(units):
        for j, b in enumerate(units):
            found[:, 4 * i + j] = product_of_parts(tuple(a), tuple(b))
    return found


def _rotation_table() -> Array:
    """The rotation matrix less the identity as a matrix (9, 16), from products of components."""
    found = np.zeros((3, 3, 4, 4))
    for i in range(3):
        for j in range(3):
            found[i, j, i, j] += 2.0
        others = [k for k in range(3) if k != i]
        found[i, i] = 0.0
        for k in others:
            found[i, i, k, k] = -2.0
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        found[i, j, k, 3] = -2.0
        found[j, i, k, 3] = 2.0
    return found.reshape(9, 16)


FEW = 48
"""Below so many poses, calls cost more than arithmetic: products are then made in three calls."""
_PRODUCT, _ROTATION = _product_table(), _rotation_table()
_EYE = np.eye(3).reshape(9, 1)


def _outer(a: Array, b: Array) -> Array:
    """All products of components (..., 16, poses) of two quaternions."""
    every = a[..., :, None, :] * b[..., None, :, :]
    return every.reshape(*every.shape[:-3], 16, every.shape[-1])


def product(a: Array, b: Array, out: Array) -> Array:
    """a · b of quaternions (..., 4, poses), written to `out`, which may be either of them."""
    if a.shape[-1] < FEW:
        out[...] = np.matmul(_PRODUCT, _outer(a, b))
        return out
    return stack(product_of_parts(planes(a), planes(b)), out.shape, out)


def rotation(q: Array, out: Array | None = None) -> Array:
    """Rotation matrices (..., 3, 3, poses) of unit quaternions (..., 4, poses)."""
    if out is None:
        out = np.empty((*q.shape[:-2], 3, 3, q.shape[-1]))
    if q.shape[-1] < FEW:
        found = np.matmul(_ROTATION, _outer(q, q))
        found += _EYE
        out[...] = found.reshape(out.shape)
        return out
    x, y, z, w = planes(q)
    x2, y2, z2 = x + x, y + y, z + z
    xx, yy, zz = x * x2, y * y2, z * z2
    a, b = x * y2, w * z2
    np.subtract(a, b, out=out[..., 0, 1, :])
    np.add(a, b, out=out[..., 1, 0, :])
    a, b = x * z2, w * y2
    np.add(a, b, out=out[..., 0, 2, :])
    np.subtract(a, b, out=out[..., 2, 0, :])
    a, b = y * z2, w * x2
    np.subtract(a, b, out=out[..., 1, 2, :])
    np.add(a, b, out=out[..., 2, 1, :])
    np.subtract(1.0, yy + zz, out=out[..., 0, 0, :])
    np.subtract(1.0, xx + zz, out=out[..., 1, 1, :])
    np.subtract(1.0, xx + yy, out=out[..., 2, 2, :])
    return out


def transformed(matrix: Array, vector: Array) -> Array:
    """Vectors (..., 3, poses) through matrices (..., 3, 3, poses)."""
    found = matrix[..., 0, :] * vector[..., 0:1, :]
    found += matrix[..., 1, :] * vector[..., 1:2, :]
    found += matrix[..., 2, :] * vector[..., 2:3, :]
    return found


def composed(a: Array, b: Array) -> Array:
    """Products of matrices (..., 3, 3, poses)."""
    found = a[..., :, 0:1, :] * b[..., 0:1, :, :]
    found += a[..., :, 1:2, :] * b[..., 1:2, :, :]
    found += a[..., :, 2:3, :] * b[..., 2:3, :, :]
    return found


def determinant(m: Array) -> Array:
    """Determinants (..., poses) of matrices (..., 3, 3, poses)."""
    a, b, c = (planes(m[..., k, :, :]) for k in range(3))
    found: Array = (
        a[0] * (b[1] * c[2] - b[2] * c[1])
        - a[1] * (b[0] * c[2] - b[2] * c[0])
        + a[2] * (b[0] * c[1] - b[1] * c[0])
    )
    return found


_SINE = (
    1.58969099521155010221e-10,
    -2.50507602534068634195e-08,
    2.75573137070700676789e-06,
    -1.98412698298579493134e-04,
    8.33333333332248946124e-03,
    -1.66666666666666324348e-01,
)
"""The sine from -pi/4 to pi/4, as `somite.spatial.trig` has it."""
_TAU_HIGH, _TAU_LOW = 6.283185005187988, 3.019915981956753e-07
"""tau in two parts, the first with so few bits that its multiples are exact."""


def half_turns(angles: Array) -> tuple[Array, Array]:
    """Sines and cosines of half the angles, both with the same sign as is, or both turned over.

    An angle is first brought to within half a turn, which may turn over both: as parts of a
    quaternion they mean the same. Within 1e-15 up to `TURNED` radians.
    """
    quarter = angles * 0.25
    if quarter.size and max(quarter.max(), -quarter.min()) > 0.7853981633974483:
        whole = np.rint(angles * (1.0 / 6.283185307179586))
        quarter = angles - whole * _TAU_HIGH
        whole *= _TAU_LOW
        quarter -= whole
        quarter *= 0.25
    square = quarter * quarter
    sine = square * _SINE[0]
    for term in _SINE[1:]:
        sine += term
        sine *= square
    sine *= quarter
    sine += quarter
    np.multiply(sine, sine, out=square)
    cosine = np.sqrt(1.0 - square)
    cosine *= sine
    cosine += cosine
    square *= -2.0
    square += 1.0
    return cosine, square


def turns_from_angles(angles: Array, order: str, out: Array) -> Array:
    """Quaternions (..., 4, poses) of three turns (..., 3, poses) about x, y and z, in an order.

    As `somite.spatial.rotation.quaternion_from_euler`, of either sign.
    """
    axes = ORDERS[order]
    first, second, third = axes[:3]
    sines, cosines = half_turns(angles)
    si, sj, sk = sines[..., first, :], sines[..., second, :], sines[..., third, :] * axes[3]
    ci, cj, ck = cosines[..., first, :], cosines[..., second, :], cosines[..., third, :]
    cc, cs, sc, ss = ci * ck, ci * sk, si * ck, si * sk
    np.subtract(cj * sc, sj * cs, out=out[..., first, :])
    np.add(sj * cc, cj * ss, out=out[..., second, :])
    np.multiply(cj * cs - sj * sc, axes[3], out=out[..., third, :])
    np.add(cj * cc, sj * ss, out=out[..., 3, :])
    return out


def about(axis: Any, angle: Array) -> tuple[Any, Any, Any, Any]:
    """Quaternion components, of either sign, of turns by an angle about unit axes (components)."""
    sine, cosine = half_turns(angle)
    return axis[0] * sine, axis[1] * sine, axis[2] * sine, cosine


def half_of(cosine: Array, sine: Array) -> tuple[Array, Array]:
    """Cosine and sine of half an angle from those of the angle, exact at every angle.

    They may be any multiple of cosine and sine; both zero is no angle.
    """
    size = np.sqrt(cosine * cosine + sine * sine)
    nothing = size <= 0.0
    if nothing.any():
        size, cosine = np.where(nothing, 1.0, size), np.where(nothing, 1.0, cosine)
    large = np.sqrt((size + np.abs(cosine)) / (size + size))
    small = sine / (size * large * 2.0)
    behind = cosine < 0.0
    if not behind.any():
        return large, small
    return np.where(behind, np.abs(small), large), np.where(behind, np.copysign(large, sine), small)


def arc(a: Any, b: Any) -> tuple[Any, Any, Any, Any]:
    """The smallest turn that takes a unit vector to another, as `shortest_arc` of `spatial`."""
    x, y, z = cross(a, b)
    cosine = dot(a, b)
    size = np.sqrt(np.maximum(cosine + 1.0, 0.25) * 2.0)
    found = (x / size, y / size, z / size, size * 0.5)
    behind = cosine < -0.7
    if not behind.any():
        return found
    some = [np.broadcast_to(one, behind.shape)[behind] for one in (*a, *b)]
    exact = shortest_arc(tuple(some[:3]), tuple(some[3:]))
    for part, one in zip(found, exact, strict=True):
        part[behind] = one
    return found


def twist_angle(q: Any, axis: Vector[float]) -> Array:
    """As `somite.spatial.rotation.twist_angle`, with the platform's arc tangent."""
    x, y, z, w = q
    p = x * axis[0] + y * axis[1] + z * axis[2]
    lost = w * w + p * p < 1e-24
    p = np.where(lost, 0.0, np.where(w < 0.0, -p, p))
    return np.asarray(2.0 * np.arctan2(p, np.where(lost, 1.0, np.abs(w))))


def rows(numbers: Sequence[int]) -> slice | Index:
    """Row numbers as a slice where they run in order, so that they index without a copy."""
    first = numbers[0]
    if list(numbers) == list(range(first, first + len(numbers))):
        return slice(first, first + len(numbers))
    return np.array(numbers, dtype=np.int64)


def numbers(held: slice | Index) -> list[int]:
    """Row numbers that `rows` made."""
    if isinstance(held, slice):
        return list(range(held.start, held.stop))
    return [int(number) for number in held]
