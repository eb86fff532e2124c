"""Where the joints of a chain sit, as fractions of its arc length.

For n bones there are n + 1 fractions, from exactly 0.0 to exactly 1.0, always rising.
"""

from __future__ import annotations

from collections.abc import Sequence


def even(bones: int) -> tuple[float, ...]:
    """Return the fractions for bones of one length. Raises ValueError for fewer than one bone."""
    _at_least_one(bones)
    return tuple([k / bones for k in range(bones + 1)])


def graded(bones: int, density: float, toward_start: bool = True) -> tuple[float, ...]:
    """Return the fractions for bones whose lengths change by equal steps along the chain.

    With density g in [0, 1), denser toward the start: the first bone has (1 - g) and the last
    (1 + g) times the mean length; toward the end, the other way round. One bone takes all. The
    sums are those of an arithmetic progression, in closed form. Raises ValueError for fewer
    than one bone or a density outside [0, 1).
    """
    _at_least_one(bones)
    if not 0.0 <= density < 1.0:
        raise ValueError(f"a density lies in 0 to 1 and under 1, not {density}")
    if bones == 1:
        return 0.0, 1.0
    slope = density if toward_start else -density
    inner = [k * ((1.0 - slope) + slope * (k - 1) / (bones - 1)) / bones for k in range(1, bones)]
    return (0.0, *inner, 1.0)


def listed(weights: Sequence[float]) -> tuple[float, ...]:
    """Return the fractions for bones whose lengths stand in the ratio of the weights.

    Raises ValueError for no weights, or one that is not above zero.
    """
    _at_least_one(len(weights))
    total = 0.0
    sums = [total]
    for weight in weights:
        if not weight > 0.0:
            raise ValueError(f"a bone's weight is above zero, not {weight}")
        total = total + weight
        sums.append(total)
    return (*[part / total for part in sums[:-1]], 1.0)


def _at_least_one(bones: int) -> None:
    if bones < 1:
        raise ValueError(f"a chain has at least one bone, not {bones}")
