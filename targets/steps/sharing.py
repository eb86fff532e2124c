"""Sections shared out to several people, so that each has about as much to do.

In come sections, which are pieces of work that need others done before; out goes who does which,
in which order, and where they wait for each other. Whoever is free takes the piece that most of the
remaining work hangs on. Nothing here knows what a section is about.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from heapq import heapify, heappop, heappush
from itertools import accumulate

from somite.targets.steps.records import (
    PART,
    PREPARE,
    SCALE,
    TIDY,
    Join,
    Name,
    Need,
    Section,
    Share,
    steps_of,
)

WHOLE = (PREPARE, PART, SCALE, TIDY)
"""The kinds of section that are wholly done, all of one kind, before a later kind begins."""

EARLY = (PREPARE, PART)
"""The kinds of section that wait for single things; later ones wait for all of these."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Work that one person does in one go: how much it is, and what must be done before it.

    `needs` gives for other pieces, by index, how much of their work must be done.
    """

    work: int
    needs: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Turn:
    """A piece as somebody does it, with the times at which they begin and end, in units of work."""

    piece: int
    person: int
    start: int
    stop: int


def shared(pieces: Sequence[Piece], people: int) -> list[Turn]:
    """Every piece once, in the order of their starts. Each need must have a lower index.

    Nobody waits while a piece is ready, and of those that are the one goes first behind which the
    longest run of work hangs; so the last ends no later than total / people + (1 - 1 / people) of
    the longest run. Source: R. L. Graham, "Bounds for certain multiprocessing anomalies", Bell
    System Technical Journal 45(9), 1966 (from memory). Whatever a piece needs is done before it
    starts, so that nobody waits for somebody who waits for them.
    """
    behind = _behind(pieces)
    users: list[list[int]] = [[] for _ in pieces]
    for index, piece in enumerate(pieces):
        for other in piece.needs:
            users[other].append(index)
    lacking = [len(piece.needs) for piece in pieces]
    released = [0] * len(pieces)
    coming = [(0, index) for index, count in enumerate(lacking) if count == 0]
    heapify(coming)
    ready: list[tuple[int, int]] = []
    free = set(range(people))
    busy: list[tuple[int, int]] = []
    done_by: dict[int, int] = {}
    turns: list[Turn] = []
    while coming or busy:
        now = min(heap[0][0] for heap in (coming, busy) if heap)
        while busy and busy[0][0] == now:
            free.add(heappop(busy)[1])
        while _released(coming, ready, behind, now) and free:
            index = heappop(ready)[1]
            person = _nearest(free, pieces[index], done_by)
            free.remove(person)
            done_by[index] = person
            turns.append(Turn(index, person, now, now + pieces[index].work))
            heappush(busy, (now + pieces[index].work, person))
            for user in users[index]:
                released[user] = max(released[user], now + pieces[user].needs[index])
                lacking[user] -= 1
                if lacking[user] == 0:
                    heappush(coming, (released[user], user))
    return turns


def _released(
    coming: list[tuple[int, int]], ready: list[tuple[int, int]], behind: Sequence[int], now: int
) -> bool:
    """Whether anything is ready now, after all that comes until now was made so."""
    while coming and coming[0][0] <= now:
        index = heappop(coming)[1]
        heappush(ready, (-behind[index], index))
    return bool(ready)


def _nearest(free: set[int], piece: Piece, done_by: Mapping[int, int]) -> int:
    """Of those who are free, the one who did most of what the piece needs; then the first."""
    counts = Counter(done_by[other] for other in piece.needs)
    return min(free, key=lambda person: (-counts[person], person))


def _behind(pieces: Sequence[Piece]) -> list[int]:
    """For each piece the longest run of work that begins with it."""
    behind = [piece.work for piece in pieces]
    for index in range(len(pieces) - 1, -1, -1):
        for other, done in pieces[index].needs.items():
            behind[other] = max(behind[other], done + behind[index])
    return behind


def shares(sections: Sequence[Section], people: int) -> tuple[Share, ...]:
    """What each of several people does, in order, and where they wait for what others make."""
    at = {section.key: index for index, section in enumerate(sections)}
    whole = _whole_needs(sections)
    turns = shared(list(_pieces(sections, at, whole)), people)
    done_by = {sections[turn.piece].key: turn.person for turn in turns}
    lists: list[list[str]] = [[] for _ in range(people)]
    joins: list[list[Join]] = [[] for _ in range(people)]
    met = [_Met() for _ in range(people)]
    number = 1
    for turn in turns:
        section = sections[turn.piece]
        needs = [Need(sections[other].key, sections[other].count) for other in whole[turn.piece]]
        foreign: dict[int, list[tuple[int, Need]]] = {}
        for need in (*needs, *(section.needs if section.kind in EARLY else ())):
            other = done_by[need.section]
            left = met[turn.person].unmet(need) if other != turn.person else None
            if left is not None:
                foreign.setdefault(left.before, []).append((other, left))
        for before, found in sorted(foreign.items()):
            joins[turn.person].append(Join(number, turn.person, section.key, before, tuple(found)))
            number += 1
        lists[turn.person].append(section.key)
    return tuple(
        Share(person, tuple(lists[person]), tuple(joins[person])) for person in range(people)
    )


def _pieces(
    sections: Sequence[Section], at: Mapping[str, int], whole: Sequence[Sequence[int]]
) -> Iterator[Piece]:
    """The sections as pieces of work."""
    done = [_work_done(section) for section in sections]
    for index, section in enumerate(sections):
        needs = {other: done[other][-1] for other in whole[index]}
        for need in section.needs if section.kind in EARLY else ():
            other = at[need.section]
            needs[other] = max(needs.get(other, 0), done[other][need.step])
        yield Piece(done[index][-1], needs)


def _work_done(section: Section) -> list[int]:
    """How much of a section's work is done after so many numbered steps."""
    entries = (entry for phase in section.phases for entry in phase.entries)
    return list(accumulate((len(steps_of(entry)) for entry in entries), initial=0))


def _whole_needs(sections: Sequence[Section]) -> list[tuple[int, ...]]:
    """The sections that must be wholly done before each, for what it does to the whole rig."""
    found: list[tuple[int, ...]] = []
    latest: dict[str, list[int]] = {}
    for index, section in enumerate(sections):
        rank = WHOLE.index(section.kind) if section.kind in WHOLE else len(WHOLE)
        before = next((latest[kind] for kind in reversed(WHOLE[:rank]) if kind in latest), [])
        found.append(tuple(before))
        latest.setdefault(section.kind, []).append(index)
    return found


@dataclass(slots=True)
class _Met:
    """What somebody has waited for already."""

    names: set[Name] = field(default_factory=set)
    sections: set[str] = field(default_factory=set)

    def unmet(self, need: Need) -> Need | None:
        """What is new of a need, which then is met; None where nothing is."""
        if need.section in self.sections:
            return None
        if not need.names:
            self.sections.add(need.section)
            return need
        names = tuple(name for name in need.names if name not in self.names)
        self.names.update(names)
        return replace(need, names=names) if names else None
