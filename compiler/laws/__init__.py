"""The laws: what every rig must hold to, tried by moving it.

In comes a settled rig, out goes a result a law, in order of number, with findings that point at the
statement to blame. A law is one file; `LAWS` lists them.
"""

from __future__ import annotations

from somite.laws import calm, mirror, names, once, ownership, rest, travel, twist, use
from somite.laws.prove import UNNEEDED_EXCUSE, Result, proved
from somite.settle import Settled

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable

    from somite.evaluate import Evaluator

LAWS = (
    rest.LAW,
    travel.LAW,
    use.LAW,
    ownership.LAW,
    once.LAW,
    mirror.LAW,
    calm.LAW,
    twist.LAW,
    names.LAW,
)
"""Every law, in order of number."""

__all__ = ["LAWS", "UNNEEDED_EXCUSE", "Result", "prove"]


def prove(
    settled: Settled,
    *,
    seed: int = 0,
    laws: Iterable[str] | None = None,
    evaluator: Evaluator | None = None,
) -> tuple[Result, ...]:
    """The laws tried on a rig, in order of number.

    `laws` chooses some by their words. Everything random comes from `seed`, so that a failure can
    be had again. Raises ValueError for a word that names no law.
    """
    chosen = None if laws is None else set(laws)
    unknown = sorted((chosen or set()) - {law.word for law in LAWS})
    if unknown:
        raise ValueError(f"there is no law named {unknown[0]!r}")
    picked = [law for law in LAWS if chosen is None or law.word in chosen]
    return proved(settled, picked, seed, evaluator)
