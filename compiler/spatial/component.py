"""Component form: its types, and the operations that floats and arrays spell differently.

Everything else in the package is written once with + - * / and comparisons, which floats and
numpy arrays share. Only the square root and the choice between two results need to know which
of the two they were given.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeAlias, TypeVar, overload

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array: TypeAlias = NDArray[np.float64]

T = TypeVar("T", float, "Array", "float | Array")
"""One component: a float, an array, or (where constants meet arrays) either."""

Vector: TypeAlias = tuple[T, T, T]
Quaternion: TypeAlias = tuple[T, T, T, T]
Rows: TypeAlias = tuple[Vector[T], Vector[T], Vector[T]]
Condition: TypeAlias = "bool | NDArray[np.bool_]"
Either: TypeAlias = "float | Array"

if TYPE_CHECKING:

    @overload
    def absolute(x: float) -> float: ...
    @overload
    def absolute(x: Array) -> Array: ...
    def absolute(x: Either) -> Either:
        """Return the absolute value of x: the builtin, typed for components."""

else:
    absolute = abs


def sqrt(x: T) -> T:
    """Return the correctly rounded square root of ``x``, which must not be negative."""
    if isinstance(x, (float, int)):
        return math.sqrt(x)
    import numpy as np

    return np.asarray(np.sqrt(x))


@overload
def choose(condition: Condition, yes: float, no: float) -> float: ...  # type: ignore[overload-overlap]
@overload
def choose(condition: Condition, yes: Either, no: Either) -> Array: ...
def choose(condition: Condition, yes: Either, no: Either) -> Either:
    """Return ``yes`` where ``condition`` holds and ``no`` elsewhere, element by element.

    Two floats and an array of conditions give an array, though typed as a float.
    """
    if condition is True:
        return yes
    if condition is False:
        return no
    import numpy as np

    return np.where(condition, yes, no)


@overload
def choose_all(  # type: ignore[overload-overlap]
    condition: Condition, yes: Vector[float], no: Vector[float]
) -> Vector[float]: ...
@overload
def choose_all(  # type: ignore[overload-overlap]
    condition: Condition, yes: Quaternion[float], no: Quaternion[float]
) -> Quaternion[float]: ...
@overload
def choose_all(condition: Condition, yes: Vector[Either], no: Vector[Either]) -> Vector[Array]: ...
@overload
def choose_all(
    condition: Condition, yes: Quaternion[Either], no: Quaternion[Either]
) -> Quaternion[Array]: ...
def choose_all(
    condition: Condition, yes: tuple[Either, ...], no: tuple[Either, ...]
) -> tuple[Either, ...]:
    """Return the tuple ``yes`` where ``condition`` holds and ``no`` elsewhere."""
    if condition is True:
        return yes
    if condition is False:
        return no
    import numpy as np

    return tuple(np.where(condition, a, b) for a, b in zip(yes, no, strict=True))
