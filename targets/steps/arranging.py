"""In which order parts are built, so that nothing is used before it is made.

In comes which part needs how much of which other; out goes an order in which as little as possible
has to wait for a part that comes later, and things laid along an order, where what must wait goes
behind what it waited for. Nothing here knows what a part or a step is about.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from heapq import heapify, heappop, heappush

Needs = Mapping[str, Mapping[str, int]]
"""For each part, the parts that it needs and how many of its steps do."""


def ordered(parts: Sequence[str], needs: Needs) -> list[str]:
    """The parts, each after those that it needs; otherwise in the order given.

    Where parts need each other, the one goes first that has the fewest steps waiting then.
    """
    rank = {part: index for index, part in enumerate(parts)}
    knots = _Search(needs).knots(parts)
    knot_of = {part: index for index, knot in enumerate(knots) for part in knot}
    waits: list[set[int]] = [set() for _ in knots]
    for part in parts:
        for other in needs.get(part, {}):
            if knot_of[other] != knot_of[part]:
                waits[knot_of[part]].add(knot_of[other])
    first = [min(rank[part] for part in knot) for knot in knots]
    return [part for index in _after(waits, first) for part in _untied(knots[index], needs, rank)]


def _after(waits: Sequence[set[int]], first: Sequence[int]) -> Iterator[int]:
    """Indices, each after those that it waits for, the lowest `first` before others."""
    left = [len(one) for one in waits]
    freed: list[list[int]] = [[] for _ in waits]
    for index, others in enumerate(waits):
        for other in others:
            freed[other].append(index)
    ready = [(first[index], index) for index, count in enumerate(left) if count == 0]
    heapify(ready)
    while ready:
        _, index = heappop(ready)
        yield index
        for other in freed[index]:
            left[other] -= 1
            if left[other] == 0:
                heappush(ready, (first[other], other))


def _untied(knot: Sequence[str], needs: Needs, rank: Mapping[str, int]) -> list[str]:
    """Parts that need each other: always the one next of which the fewest steps must wait."""
    inner = set(knot)
    waiting = dict.fromkeys(knot, 0)
    users: dict[str, list[tuple[str, int]]] = {}
    for part in knot:
        for other, count in needs.get(part, {}).items():
            if other in inner:
                waiting[part] += count
                users.setdefault(other, []).append((part, count))
    heap = [(count, rank[part], part) for part, count in waiting.items()]
    heapify(heap)
    found: dict[str, None] = {}
    while heap:
        count, _, part = heappop(heap)
        if part in found or count != waiting[part]:
            continue
        found[part] = None
        for user, fewer in users.get(part, ()):
            waiting[user] -= fewer
            heappush(heap, (waiting[user], rank[user], user))
    return list(found)


@dataclass(slots=True)
class _Search:
    """A search in depth for the sets of parts that need each other, however far around.

    Source: R. Tarjan, "Depth-first search and linear graph algorithms", SIAM Journal on Computing
    1(2), 1972 (from memory), here without recursion.
    """

    needs: Needs
    index: dict[str, int] = field(default_factory=dict)
    low: dict[str, int] = field(default_factory=dict)
    stack: list[str] = field(default_factory=list)
    on_stack: set[str] = field(default_factory=set)
    path: list[tuple[str, Iterator[str]]] = field(default_factory=list)

    def knots(self, parts: Iterable[str]) -> list[list[str]]:
        """The sets, each part in one."""
        found: list[list[str]] = []
        for root in parts:
            if root not in self.index:
                self._enter(root)
            while self.path:
                knot = self._step()
                if knot:
                    found.append(knot)
        return found

    def _enter(self, part: str) -> None:
        self.index[part] = self.low[part] = len(self.index)
        self.stack.append(part)
        self.on_stack.add(part)
        self.path.append((part, iter(self.needs.get(part, {}))))

    def _step(self) -> list[str]:
        """Goes one part further, or back with the set that is found then, if any."""
        part, others = self.path[-1]
        for other in others:
            if other not in self.index:
                self._enter(other)
                return []
            if other in self.on_stack:
                self.low[part] = min(self.low[part], self.index[other])
        self.path.pop()
        if self.path:
            above = self.path[-1][0]
            self.low[above] = min(self.low[above], self.low[part])
        if self.low[part] < self.index[part]:
            return []
        at = len(self.stack) - 1
        while self.stack[at] != part:
            at -= 1
        knot = self.stack[at:]
        del self.stack[at:]
        self.on_stack.difference_update(knot)
        return knot


@dataclass(frozen=True, slots=True)
class Item:
    """Something to be done: what must be there before it, and what is there after it."""

    needs: frozenset[str]
    makes: frozenset[str]


@dataclass(frozen=True, slots=True)
class Laid:
    """An item by its index, and the run in which it is done; `late` says that it had to wait."""

    index: int
    run: int
    late: bool


def laid(items: Sequence[Item], runs: Sequence[Sequence[int]]) -> Iterator[Laid]:
    """Every item of the runs once, in an order in which what it needs is there.

    An item that lacks something goes directly behind what makes the last of it, if that is of its
    own run, and else behind that one's run. What nothing makes is waited for until the end, and
    then no longer.
    """
    there = _There()
    for number, run in enumerate(runs):
        own = set(run)
        freed: list[int] = []
        for first in run:
            ready = [first] if there.is_ready(first, items[first].needs) else []
            while ready:
                index = heappop(ready)
                yield Laid(index, number, late=False)
                for other in there.add(items[index].makes):
                    heappush(ready if other in own else freed, other)
        while freed:
            index = heappop(freed)
            yield Laid(index, number, late=True)
            for other in there.add(items[index].makes):
                heappush(freed, other)
    for index in sorted(there.lacking):
        yield Laid(index, len(runs) - 1, late=True)


@dataclass(slots=True)
class _There:
    """What is there, and what waits for what is not."""

    names: set[str] = field(default_factory=set)
    lacking: dict[int, int] = field(default_factory=dict)
    waiting: dict[str, list[int]] = field(default_factory=dict)

    def is_ready(self, index: int, needs: frozenset[str]) -> bool:
        """Whether all that an item needs is there; if not, it waits."""
        missing = needs - self.names
        for name in missing:
            self.waiting.setdefault(name, []).append(index)
        if missing:
            self.lacking[index] = len(missing)
        return not missing

    def add(self, names: frozenset[str]) -> list[int]:
        """The items that wait for nothing more once these are there."""
        freed: list[int] = []
        for name in names - self.names:
            self.names.add(name)
            for index in self.waiting.pop(name, ()):
                self.lacking[index] -= 1
                if self.lacking[index] == 0:
                    del self.lacking[index]
                    freed.append(index)
        return freed
