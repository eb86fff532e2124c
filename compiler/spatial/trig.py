"""Trigonometry that gives the same bits on every machine, for floats and arrays alike.

Platform libraries differ in the last bits of sine and arc tangent; these functions use only
+ - * / and square root. Polynomials and the three-part pi/2 are those of fdlibm (K. C. Ng, Sun
Microsystems, "Freely Distributable LIBM", 1993: k_sin.c, k_cos.c, s_atan.c, e_rem_pio2.c),
quoted from memory and held to within 2 units in the last place by the tests.
"""

from __future__ import annotations

import math

from somite.spatial.component import T, absolute, choose, sqrt

__all__ = [
    "PI",
    "TAU",
    "arc_cosine",
    "arc_sine",
    "arc_tangent",
    "cosine",
    "degrees_from_radians",
    "radians_from_degrees",
    "sine",
    "sine_cosine",
    "sqrt",
    "wrapped",
]

PI = 3.141592653589793
TAU = 6.283185307179586
_PI_REST = 1.2246467991473532e-16  # pi - PI
_HALF_PI = 1.5707963267948966
_HALF_PI_REST = 6.123233995736766e-17

_QUARTER_PI = 0.785398163397448  # just below pi/4
_FAR = 500000.0  # up to here the products with the parts of pi/2 are exact
_TWO_OVER_PI = 6.36619772367581382433e-01
_ROUNDER = 6755399441055744.0  # 1.5 * 2**52: adding and subtracting it rounds to an integer
_PART_1 = 1.57079632673412561417e00  # 33 bits each of pi/2
_PART_2 = 6.07710050630396597660e-11
_PART_3 = 2.02226624871116645580e-21
_PART_4 = 8.47842766036889956997e-32

_S1 = -1.66666666666666324348e-01
_S2 = 8.33333333332248946124e-03
_S3 = -1.98412698298579493134e-04
_S4 = 2.75573137070700676789e-06
_S5 = -2.50507602534068634195e-08
_S6 = 1.58969099521155010221e-10

_C1 = 4.16666666666666019037e-02
_C2 = -1.38888888888741095749e-03
_C3 = 2.48015872894767294178e-05
_C4 = -2.75573143513906633035e-07
_C5 = 2.08757232129817482790e-09
_C6 = -1.13596475577881948265e-11

_A0 = 3.33333333333329318027e-01
_A1 = -1.99999999998764832476e-01
_A2 = 1.42857142725034663711e-01
_A3 = -1.11111104054623557880e-01
_A4 = 9.09088713343650656196e-02
_A5 = -7.69187620504482999495e-02
_A6 = 6.66107313738753120669e-02
_A7 = -5.83357013379057348645e-02
_A8 = 4.97687799461593236017e-02
_A9 = -3.65315727442169155270e-02
_A10 = 1.62858201153657823623e-02

_ATAN_HALF = 4.63647609000806093515e-01
_ATAN_HALF_REST = 2.26987774529616870924e-17
_ATAN_ONE = 7.85398163397448278999e-01
_ATAN_ONE_REST = 3.06161699786838301793e-17


def radians_from_degrees(angle: T) -> T:
    """Return an angle in radians; binary fractions of a half turn come out exact."""
    return angle / 180.0 * PI


def degrees_from_radians(angle: T) -> T:
    """Return an angle in degrees; PI times a power of two comes out exact."""
    return angle / PI * 180.0


def sine(x: T) -> T:
    """Return the sine of x radians, within 2 units in the last place up to 500000 radians.

    Farther out x is first taken modulo the double TAU, so the phase drifts (by about 4e-17 of
    x) but the result stays a point of the unit circle. x must be finite.
    """
    return sine_cosine(x)[0]


def cosine(x: T) -> T:
    """Return the cosine of x radians; accuracy and range as ``sine``."""
    return sine_cosine(x)[1]


def sine_cosine(x: T) -> tuple[T, T]:
    """Return (sine, cosine) of x radians; accuracy and range as ``sine``."""
    small = absolute(x) <= _QUARTER_PI
    if small is True:
        return _kernels(x, 0.0)
    if small is False:
        quarter, rest, tail = _reduced(x if absolute(x) <= _FAR else math.fmod(x, TAU))
        s, c = _kernels(rest, tail)
        turn = int(quarter) & 3
        if turn == 0:
            return s, c
        if turn == 1:
            return c, -s
        if turn == 2:
            return -s, -c
        return -c, s
    return _sine_cosine_of_array(x)


def _sine_cosine_of_array(x: T) -> tuple[T, T]:
    import numpy as np

    quarter, rest, tail = _reduced(choose(absolute(x) <= _FAR, x, np.fmod(x, TAU)))
    s, c = _kernels(rest, tail)
    turn = np.asarray(quarter).astype(np.int64) & 3
    odd = (turn & 1) == 1
    first = choose(odd, c, s)
    second = choose(odd, s, c)
    return choose(turn >= 2, -first, first), choose((turn == 1) | (turn == 2), -second, second)


def _reduced(x: T) -> tuple[T, T, T]:
    """Return (n, r, t) with x = n pi/2 + r + t, r within pi/4, t the part r cannot hold.

    Cody and Waite's reduction with pi/2 in four parts: the first two products and the first
    difference are exact, and the errors of the other two differences are kept (T. J. Dekker,
    Numerische Mathematik 18, 1971; D. E. Knuth, TAOCP 2, 4.2.2).
    """
    n = (x * _TWO_OVER_PI + _ROUNDER) - _ROUNDER
    first = x - n * _PART_1
    product = n * _PART_2
    a = first - product
    back = first - a
    b = (n * _PART_3 - ((first - (a + back)) + (back - product))) + n * _PART_4
    r = a - b
    back = a - r
    return n, r, (a - (r + back)) + (back - b)


def _kernels(x: T, tail: T | float) -> tuple[T, T]:
    """Return (sine, cosine) of x + tail for x within pi/4 (fdlibm, k_sin.c and k_cos.c)."""
    z = x * x
    v = z * x
    r = _S2 + z * (_S3 + z * (_S4 + z * (_S5 + z * _S6)))
    s = x - ((z * (0.5 * tail - v * r) - tail) - v * _S1)
    w = z * z
    r = z * (_C1 + z * (_C2 + z * _C3)) + w * w * (_C4 + z * (_C5 + z * _C6))
    half = 0.5 * z
    w = 1.0 - half
    return s, w + (((1.0 - w) - half) + (z * r - x * tail))


def arc_tangent(y: T, x: T) -> T:
    """Return the angle of the point (x, y) from +x toward +y, in (-PI, PI].

    The origin gives 0. Signed zeros are not told apart: (-0, -1) gives +PI. Finite inputs up to
    1e306; within 2 units in the last place. The ratio is formed after the argument reduction of
    fdlibm's s_atan.c, which saves one rounding.
    """
    across, down = absolute(x), absolute(y)
    steep = down > across
    if steep is True or steep is False:
        small, large = (across, down) if steep else (down, across)
        if large == 0.0:
            return large
        if 16.0 * small < 7.0 * large:
            angle = _arc(small / large, 0.0, 0.0)
        elif 16.0 * small < 11.0 * large:
            angle = _arc((small + small - large) / (large + large + small),
                         _ATAN_HALF, _ATAN_HALF_REST)  # fmt: skip
        else:
            angle = _arc((small - large) / (small + large), _ATAN_ONE, _ATAN_ONE_REST)
        if steep:
            angle = _HALF_PI - ((angle if x >= 0.0 else -angle) - _HALF_PI_REST)
        elif x < 0.0:
            angle = PI - (angle - _PI_REST)
        return -angle if y < 0.0 else angle
    return _arc_tangent_of_array(y, x)


def _arc_tangent_of_array(y: T, x: T) -> T:
    across, down = absolute(x), absolute(y)
    steep = down > across
    small = choose(steep, across, down)
    large = choose(steep, down, across)
    large = choose(large == 0.0, 1.0, large)
    low = 16.0 * small < 7.0 * large
    middle = 16.0 * small < 11.0 * large
    top = choose(low, small, choose(middle, small + small - large, small - large))
    bottom = choose(low, large, choose(middle, large + large + small, small + large))
    main = choose(low, 0.0, choose(middle, _ATAN_HALF, _ATAN_ONE))
    rest = choose(low, 0.0, choose(middle, _ATAN_HALF_REST, _ATAN_ONE_REST))
    angle = _arc(top / bottom, main, rest)
    upright = _HALF_PI - (choose(x >= 0.0, angle, -angle) - _HALF_PI_REST)
    behind = PI - (angle - _PI_REST)
    angle = choose(steep, upright, choose(x < 0.0, behind, angle))
    return choose(y < 0.0, -angle, angle)


def _arc(t: T, main: T | float, rest: T | float) -> T:
    """Return main + rest + the arc tangent of t, for t within 7/16 (fdlibm, s_atan.c)."""
    z = t * t
    w = z * z
    odd = z * (_A0 + w * (_A2 + w * (_A4 + w * (_A6 + w * (_A8 + w * _A10)))))
    even = w * (_A1 + w * (_A3 + w * (_A5 + w * (_A7 + w * _A9))))
    return main - ((t * (odd + even) - rest) - t)


def arc_sine(x: T) -> T:
    """Return the angle in [-PI/2, PI/2] whose sine is x; x is clamped to [-1, 1] first."""
    x = choose(x > 1.0, 1.0, choose(x < -1.0, -1.0, x))
    return arc_tangent(x, sqrt((1.0 - x) * (1.0 + x)))


def arc_cosine(x: T) -> T:
    """Return the angle in [0, PI] whose cosine is x; x is clamped to [-1, 1] first."""
    x = choose(x > 1.0, 1.0, choose(x < -1.0, -1.0, x))
    return arc_tangent(sqrt((1.0 - x) * (1.0 + x)), x)


def wrapped(angle: T) -> T:
    """Return an angle within one turn of zero moved into (-PI, PI]."""
    angle = choose(angle > PI, angle - TAU, angle)
    return choose(angle <= -PI, angle + TAU, angle)
