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
from somite.spatial.rotation import ORDERS
from somite.spatial.rotation import product as product_of_parts

Array: TypeAlias = NDArray[np.float64]
Index: TypeAlias = NDArray[np.int64]


def planes(array: Array) -> tuple[Any, ...]:
    """The components of an array as a tuple of views, for `somite.spatial`."""
    return tuple([array[..., k, :] for k in range(array.shape[-2])])


def stack(parts: Sequence[Any], shape: tuple[int, ...], out: Array | None = None) -> Array:
    """Components put back into one array of a shape (..., components, poses)."""
    if out is None:
        out = np.empty(shape)
    for k, part in enumerate(parts):
        out[..., k, :] = part
    return out


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


def product(a: Array, b: Array, out: Array) -> Array:
    """a · b of quaternions (..., 4, poses), written to `out`, which may be either of them."""
    parts = product_of_parts(planes(a), planes(b))  # type: ignore[arg-type]
    return stack(parts, out.shape, out)


def rotation(q: Array, out: Array | None = None) -> Array:
    """Rotation matrices (..., 3, 3, poses) of unit quaternions (..., 4, poses)."""
    if out is None:
        out = np.empty((*q.shape[:-2], 3, 3, q.shape[-1]))
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


def turns_from_angles(angles: Array, order: str, out: Array) -> Array:
    """Quaternions (..., 4, poses) of three turns (..., 3, poses) about x, y and z, in an order.

    As `somite.spatial.rotation.quaternion_from_euler`, with the platform's trigonometry.
    """
    axes = ORDERS[order]
    first, second, third = axes[:3]
    half = angles * 0.5
    sines, cosines = np.sin(half), np.cos(half)
    si, sj, sk = sines[..., first, :], sines[..., second, :], sines[..., third, :] * axes[3]
    ci, cj, ck = cosines[..., first, :], cosines[..., second, :], cosines[..., third, :]
    cc, cs, sc, ss = ci * ck, ci * sk, si * ck, si * sk
    out[..., first, :] = cj * sc - sj * cs
    out[..., second, :] = sj * cc + cj * ss
    out[..., third, :] = (cj * cs - sj * sc) * axes[3]
    out[..., 3, :] = cj * cc + sj * ss
    return out


def about(axis: Any, angle: Array) -> tuple[Any, Any, Any, Any]:
    """Quaternion components of turns by an angle about unit axes (components)."""
    half = angle * 0.5
    s = np.sin(half)
    return axis[0] * s, axis[1] * s, axis[2] * s, np.cos(half)


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
