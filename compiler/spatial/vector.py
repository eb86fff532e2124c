"""Vectors of three components, floats or arrays: sums, products, lengths and directions.

A vector too short to have a direction (square of its length under 1e-300) counts as zero, and
every function that needs a direction then says what it uses instead.
"""

from __future__ import annotations

from somite.spatial.component import T, Vector, absolute, choose, choose_all, sqrt

X: Vector[float] = (1.0, 0.0, 0.0)
Y: Vector[float] = (0.0, 1.0, 0.0)
Z: Vector[float] = (0.0, 0.0, 1.0)
ZERO: Vector[float] = (0.0, 0.0, 0.0)

TINY = 1e-300
"""Squares of lengths below this count as zero: their roots no longer carry full precision."""


def add(a: Vector[T], b: Vector[T]) -> Vector[T]:
    """Return a + b."""
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def subtract(a: Vector[T], b: Vector[T]) -> Vector[T]:
    """Return a - b."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def negated(v: Vector[T]) -> Vector[T]:
    """Return -v."""
    return -v[0], -v[1], -v[2]


def scaled(v: Vector[T], factor: T) -> Vector[T]:
    """Return v times a number."""
    return v[0] * factor, v[1] * factor, v[2] * factor


def along(start: Vector[T], direction: Vector[T], distance: T) -> Vector[T]:
    """Return start + direction * distance."""
    return (
        start[0] + direction[0] * distance,
        start[1] + direction[1] * distance,
        start[2] + direction[2] * distance,
    )


def dot(a: Vector[T], b: Vector[T]) -> T:
    """Return the scalar product, summed in the order x, y, z."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vector[T], b: Vector[T]) -> Vector[T]:
    """Return the right-handed vector product a x b."""
    ax, ay, az = a
    bx, by, bz = b
    return ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx


def length(v: Vector[T]) -> T:
    """Return the length of v (components up to about 1e150, or the squares overflow)."""
    x, y, z = v
    return sqrt(x * x + y * y + z * z)


def distance(a: Vector[T], b: Vector[T]) -> T:
    """Return the distance between two points."""
    x = b[0] - a[0]
    y = b[1] - a[1]
    z = b[2] - a[2]
    return sqrt(x * x + y * y + z * z)


def unit(v: Vector[T], fallback: Vector[T] | Vector[float]) -> Vector[T]:
    """Return the direction of v, or ``fallback`` (as given) where v is too short to have one."""
    x, y, z = v
    square = x * x + y * y + z * z
    short = square < TINY
    if short is True:
        return fallback
    if short is False:
        size = sqrt(square)
        return x / size, y / size, z / size
    size = sqrt(choose(short, 1.0, square))
    return choose_all(short, fallback, (x / size, y / size, z / size))


def lerp(a: Vector[T], b: Vector[T], t: T) -> Vector[T]:
    """Return the point a fraction t of the way from a to b; exactly a at 0 and b at 1."""
    s = 1.0 - t
    return a[0] * s + b[0] * t, a[1] * s + b[1] * t, a[2] * s + b[2] * t


def midpoint(a: Vector[T], b: Vector[T]) -> Vector[T]:
    """Return the point halfway between a and b."""
    return (a[0] + b[0]) * 0.5, (a[1] + b[1]) * 0.5, (a[2] + b[2]) * 0.5


def reflected(v: Vector[T], normal: Vector[T]) -> Vector[T]:
    """Return v reflected in the plane through the origin with this unit normal.

    Along a coordinate axis the result is exact: one component changes sign.
    """
    return along(v, normal, -2.0 * dot(v, normal))


def rejected(v: Vector[T], direction: Vector[T]) -> Vector[T]:
    """Return the part of v at right angles to a unit direction."""
    return along(v, direction, -dot(v, direction))


def perpendicular(v: Vector[T]) -> Vector[T]:
    """Return a unit vector at right angles to v: v x (the axis v leans on least, ties first).

    A zero vector gives +X. Small changes of v can change the answer abruptly, as they must: no
    continuous choice exists (Milnor, The American Mathematical Monthly 85, 1978).
    """
    x, y, z = v
    ax, ay, az = absolute(x), absolute(y), absolute(z)
    nothing = x * 0.0
    across_x = (nothing, z, -y)
    across_y = (-z, nothing, x)
    across_z = (y, -x, nothing)
    candidate = choose_all(
        (ax <= ay) & (ax <= az), across_x, choose_all(ay <= az, across_y, across_z)
    )
    return unit(candidate, X)
