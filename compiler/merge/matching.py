"""Which items of two revisions are about the same thing.

Items match by key, by members of lists, by a recorded rename (`was`), and where none of these
tells, by how much of what they hold is the same. Every item has one partner at most, and the
answer depends on nothing but the two.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Sequence

from somite.merge.items import Item

ALIKE = 0.5
"""The share of facts that two statements must have in common to be one that was renamed."""


def matched(old: Sequence[Item], new: Sequence[Item]) -> list[tuple[Item, Item]]:
    """Pairs of items, in the order of the old ones."""
    pairs: dict[int, Item] = {}
    left = list(old)
    free = list(new)

    def pair(a: Item, b: Item) -> None:
        pairs[id(a)] = b
        left.remove(a)
        free.remove(b)

    for a, b in _by_key(left, free):
        pair(a, b)
    for a, b in _by_members(left, free):
        pair(a, b)
    for a, b in _by_rename(left, free):
        pair(a, b)
    for a, b in _alike(left, free):
        pair(a, b)
    return [(one, pairs[id(one)]) for one in old if id(one) in pairs]


def _by_key(old: Sequence[Item], new: Sequence[Item]) -> Iterable[tuple[Item, Item]]:
    groups: dict[Hashable, tuple[list[Item], list[Item]]] = defaultdict(lambda: ([], []))
    for side, items in enumerate((old, new)):
        for one in items:
            groups[one.key][side].append(one)
    found: list[tuple[Item, Item]] = []
    for mine, others in groups.values():
        found.extend(_best(mine, others, 0.0))
    return found


def _by_members(old: Sequence[Item], new: Sequence[Item]) -> Iterable[tuple[Item, Item]]:
    """Lists that have a member in common; those with most first."""
    ranked = sorted(
        (-len(_members(a) & _members(b)), abs(i - j), i, j)
        for i, a in enumerate(old)
        for j, b in enumerate(new)
        if (a.kind, a.word) == (b.kind, b.word) and _members(a) & _members(b)
    )
    return _taken_once(ranked, old, new)


def _members(item: Item) -> set[Hashable]:
    return {one.key for one in item.elements}


def _by_rename(old: Sequence[Item], new: Sequence[Item]) -> Iterable[tuple[Item, Item]]:
    by_name = {one.key[1]: one for one in old if one.key[:1] == ("name",)}
    found = []
    for one in new:
        before = by_name.pop(former_name(one), None)
        if before is not None:
            found.append((before, one))
    return found


def former_name(item: Item) -> str | None:
    """The name that an item says it had before."""
    for child in item.children:
        if child.kind == "fact" and child.word == "was":
            value = child.value
            assert isinstance(value, tuple)
            return str(value[1][0][1])
    return None


def _alike(old: Sequence[Item], new: Sequence[Item]) -> Iterable[tuple[Item, Item]]:
    groups: dict[tuple[str, str], tuple[list[Item], list[Item]]] = defaultdict(lambda: ([], []))
    for side, items in enumerate((old, new)):
        for one in items:
            groups[one.kind, one.word][side].append(one)
    found: list[tuple[Item, Item]] = []
    for (kind, _), (mine, others) in groups.items():
        if kind == "fact" and len(mine) == len(others) == 1:
            found.append((mine[0], others[0]))
        elif kind == "statement":
            found.extend(_best(mine, others, ALIKE))
    return found


def _best(old: Sequence[Item], new: Sequence[Item], least: float) -> Iterable[tuple[Item, Item]]:
    """The likest pairs first; of pairs as like, those that stand in the same order."""
    if len(old) == len(new) == 1 and least == 0.0:
        return [(old[0], new[0])]
    ranked = sorted(
        (-likeness(a, b), abs(i - j), i, j) for i, a in enumerate(old) for j, b in enumerate(new)
    )
    return _taken_once([one for one in ranked if -one[0] >= least], old, new)


def _taken_once(
    ranked: Iterable[tuple[float, int, int, int]], old: Sequence[Item], new: Sequence[Item]
) -> list[tuple[Item, Item]]:
    """Pairs by their places, best first, none of which is in two pairs."""
    mine: set[int] = set()
    others: set[int] = set()
    found = []
    for _, _, i, j in ranked:
        if i not in mine and j not in others:
            mine.add(i)
            others.add(j)
            found.append((old[i], new[j]))
    return found


def likeness(a: Item, b: Item) -> float:
    """The share of what two items hold that is in both: 0 to 1, and 0 where neither holds any."""
    if a.meaning == b.meaning:
        return 1.0
    mine, others = Counter(a.leaves()), Counter(b.leaves())
    every = sum((mine | others).values())
    return sum((mine & others).values()) / every if every else 0.0
