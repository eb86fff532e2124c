"""Which thing of the old rig is which of the new: by name, by `was`, and by likeness.

In come two rigs, out goes a one-to-one `Matching`. A name that both rigs have is the same thing,
unless the new recipe says otherwise; a rename that a `was` states is certain; what is left over is
paired by likeness, with a stated confidence, from the most alike down. The pairs are the same
whichever rig is called the old one. Nothing here says what changed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from difflib import SequenceMatcher
from typing import Any

from somite.axes import Axes
from somite.diff.meaning import (
    PLACE,
    Renaming,
    Tolerance,
    bare,
    collections,
    key_of,
    meant,
    name_in,
    renamed,
    same,
)
from somite.ir import Chain, Dial, Node, Rig
from somite.order import channel_node, written

LIKELY = 0.6
"""The least likeness at which what is left over is taken for one thing with another name."""

FAR = 0.05
"""Places further apart than this share of the height say nothing for being the same thing."""

ROUNDS = 4
"""Times that likeness is looked at again, with the neighbours that were paired before."""

STATED = "stated by was"


@dataclass(frozen=True, slots=True)
class Pair:
    """Two records that are one thing; `confidence` 1 unless it was inferred, from `because`."""

    collection: str
    old: Any
    new: Any
    confidence: float = 1.0
    because: str = ""


@dataclass(frozen=True, slots=True)
class Matching:
    """Everything paired, and what has no partner, by the field of the rig that holds it."""

    pairs: tuple[Pair, ...]
    removed: Mapping[str, tuple[Any, ...]]
    added: Mapping[str, tuple[Any, ...]]
    dials: tuple[tuple[str, str, float, str], ...]
    """Dials with other names: (old full name, new full name, confidence, evidence)."""
    names: Renaming = field(default_factory=dict)
    """New names by old ones, of whatever has another name now; dials by their full names."""

    def pairs_of(self, collection: str) -> Iterator[Pair]:
        """The pairs of one collection."""
        return (pair for pair in self.pairs if pair.collection == collection)


def matched(old: Rig, new: Rig) -> Matching:
    """The one-to-one matching of two rigs' records. Deterministic, and alike both ways."""
    return _Matching(old, new).run()


class _Matching:
    """A matching under way."""

    def __init__(self, old: Rig, new: Rig) -> None:
        self.old, self.new = old, new
        self.pairs: list[Pair] = []
        self.names: dict[str, str] = {}
        self.dials: list[tuple[str, str, float, str]] = []
        self.left: dict[str, tuple[list[Any], list[Any]]] = {}
        self.stated = _stated(old, new)

    def run(self) -> Matching:
        for collection in ("nodes", *(name for name in collections() if name != "nodes")):
            self._by_name(collection)
        self._alike_nodes()
        self._match_dials()
        for _ in range(2):  # A chain is known by its curve, and a node's ride by its chain.
            for collection in ("curves", *collections()):
                if collection != "nodes":
                    self._again_by_name(collection)
                    self._by_what_is_in_it(collection)
                    self._alike(collection)
        return Matching(
            tuple(self.pairs),
            {name: tuple(sides[0]) for name, sides in self.left.items()},
            {name: tuple(sides[1]) for name, sides in self.left.items()},
            tuple(self.dials),
            self.names,
        )

    def _pair(
        self, collection: str, old: Any, new: Any, confidence: float = 1.0, because: str = ""
    ) -> None:
        self.pairs.append(Pair(collection, old, new, confidence, because))
        before, after = key_of(old), key_of(new)
        if before != after:
            self.names[before] = after

    # ---- by name -----------------------------------------------------------------------------

    def _by_name(self, collection: str) -> None:
        """Things of one name, and those that a `was` renames."""
        olds = _numbered(getattr(self.old, collection))
        news = _numbered(getattr(self.new, collection))
        for before, after in self.stated.items():
            old, new = (before, 0), (after, 0)
            if old in olds and new in news:
                self._pair(collection, olds.pop(old), news.pop(new), 1.0, STATED)
        for key in [key for key in olds if key in news]:
            old, new = olds[key], news[key]
            if type(old) is type(new) and (collection != "nodes" or _may_be(old, new)):
                self._pair(collection, olds.pop(key), news.pop(key))
        self.left[collection] = list(olds.values()), list(news.values())

    def _again_by_name(self, collection: str) -> None:
        """Things whose names are made of nodes' names (`head/follow`), now that those are known."""
        olds, news = self.left[collection]
        there = {key_of(record): record for record in news}
        for old in list(olds):
            name = key_of(old)
            made = _made_of(name, self.names)
            if made != name and made in there:
                new = there.pop(made)
                self._pair(collection, old, new, *self._sureness(name))
                olds.remove(old)
                news.remove(new)

    def _by_what_is_in_it(self, collection: str) -> None:
        """Placed rigs with other names: the beginnings of the names of what is in them."""
        olds, news = self.left[collection]
        if collection != "placed" or not olds or not news:
            return
        held: dict[tuple[str, str], list[Pair]] = {}
        for pair in (pair for pair in self.pairs if pair.collection == "nodes"):
            for key in _beginnings(pair.old.name, pair.new.name):
                held.setdefault(key, []).append(pair)
        both = [(old, new) for old in olds for new in news if (old.name, new.name) in held]

        def rank(one: tuple[Any, Any]) -> tuple[int, list[str]]:
            names = one[0].name, one[1].name
            return -len(held[names]), sorted(names)

        for old, new in sorted(both, key=rank):
            if any(one is old for one in olds) and any(one is new for one in news):
                surest = max(held[old.name, new.name], key=lambda pair: pair.confidence)
                self._pair(collection, old, new, surest.confidence, surest.because)
                olds[:] = [one for one in olds if one is not old]
                news[:] = [one for one in news if one is not new]

    def _sureness(self, name: str) -> tuple[float, str]:
        """How sure the rename is of the thing that another's name is made of."""
        head = name.partition("/")[0]
        for pair in self.pairs:
            if key_of(pair.old) in (head, channel_node(head)) and pair.because:
                return pair.confidence, pair.because
        return 1.0, "named after what was renamed"

    # ---- by likeness -------------------------------------------------------------------------

    def _alike_nodes(self) -> None:
        olds, news = self.left["nodes"]
        if not olds or not news:
            return
        likeness = _Likeness(self.old, self.new)
        for _ in range(ROUNDS):
            partners = {p.old.name: p.new.name for p in self.pairs if p.collection == "nodes"}
            scored = [
                (*likeness.of(old, new, partners), old, new)
                for old in olds
                for new in news
                if _may_be(old, new)
            ]
            if not self._take("nodes", scored):
                break
        self._look_again(likeness)

    def _look_again(self, likeness: _Likeness) -> None:
        """The confidence of what was inferred, now that all its neighbours are known."""
        partners = {p.old.name: p.new.name for p in self.pairs if p.collection == "nodes"}
        for at, pair in enumerate(self.pairs):
            if pair.collection == "nodes" and pair.because and pair.because != STATED:
                score, because = likeness.of(pair.old, pair.new, partners)
                self.pairs[at] = replace(pair, confidence=round(score, 2), because=because)

    def _alike(self, collection: str) -> None:
        olds, news = self.left[collection]
        if not olds or not news:
            return
        scored = [
            (*self._likeness(old, new), old, new)
            for old in olds
            for new in news
            if type(old) is type(new)
        ]
        self._take(collection, scored)

    def _take(self, collection: str, scored: list[tuple[float, str, Any, Any]]) -> bool:
        """Pair what is most alike, then what is left; whether anything was paired."""
        olds, news = self.left[collection]
        taken = False

        def rank(one: tuple[float, str, Any, Any]) -> tuple[float, list[str]]:
            return -round(one[0], 9), sorted([key_of(one[2]), key_of(one[3])])

        for score, because, old, new in sorted(scored, key=rank):
            if score < LIKELY:
                break
            if any(one is old for one in olds) and any(one is new for one in news):
                self._pair(collection, old, new, round(score, 2), because)
                olds[:] = [one for one in olds if one is not old]
                news[:] = [one for one in news if one is not new]
                taken = True
        return taken

    def _likeness(self, old: Any, new: Any) -> tuple[float, str]:
        """Likeness of records that are not nodes: what they are of, what they say, their names."""
        there = renamed(old, self.names)
        if isinstance(old, Chain):
            return _chain_likeness(there, new)
        subject = _subject(there)
        of = 1.0 if subject is not None and subject == _subject(new) else 0.0
        kind: Any = type(new)
        names = [name for name in meant(kind) if name not in ("name", "spelled")]
        within = Tolerance(PLACE * max(self.old.height, self.new.height))
        said = [same(getattr(there, one), getattr(new, one), within, one) for one in names]
        alike = sum(said) / max(1, len(said))
        name = _name_likeness(key_of(there), key_of(new))
        evidence = [
            word
            for word, is_so in (("of the same thing", of), ("says the same", alike == 1))
            if is_so
        ]
        if subject is not None:
            # A constraint is of its node or chain: two of one kind there are hardly told apart.
            return 0.55 * of + 0.3 * alike + 0.15 * name, ", ".join(evidence)
        return 0.7 * (alike == 1) + 0.3 * name, ", ".join(evidence)

    # ---- dials -------------------------------------------------------------------------------

    def _match_dials(self) -> None:
        """Dials of paired nodes: all names of them that are other than before."""
        for pair in [pair for pair in self.pairs if pair.collection == "nodes"]:
            olds = {dial.name: dial for dial in pair.old.dials}
            news = {dial.name: dial for dial in pair.new.dials}
            for before, after in self.stated.items():
                owner, _, dial = before.rpartition(".")
                to, _, called = after.rpartition(".")
                here = owner == pair.old.name and to == pair.new.name
                if here and dial in olds and called in news and called != dial:
                    self._dial(pair, olds.pop(dial), news.pop(called), 1.0, STATED)
            for name in [name for name in olds if name in news]:
                self._dial(pair, olds.pop(name), news.pop(name), 1.0, "")
            self._alike_dials(pair, list(olds.values()), list(news.values()))

    def _alike_dials(self, pair: Pair, olds: list[Dial], news: list[Dial]) -> None:
        scored = [(*_dial_likeness(old, new), old, new) for old in olds for new in news]
        scored.sort(key=lambda one: (-one[0], sorted([one[2].name, one[3].name])))
        for score, because, old, new in scored:
            if score >= LIKELY and old in olds and new in news:
                self._dial(pair, old, new, round(score, 2), because)
                olds.remove(old)
                news.remove(new)

    def _dial(self, pair: Pair, old: Dial, new: Dial, sure: float, because: str) -> None:
        before, after = f"{pair.old.name}.{old.name}", f"{pair.new.name}.{new.name}"
        if before != after:
            self.names[before] = after
        if old.name != new.name:
            self.dials.append((before, after, sure, because))


def _numbered(records: Iterable[Any]) -> dict[tuple[str, int], Any]:
    """Records by name and by which of that name they are: a node may be nudged twice."""
    found: dict[tuple[str, int], Any] = {}
    for record in records:
        key, number = key_of(record), 0
        while (key, number) in found:
            number += 1
        found[key, number] = record
    return found


def _stated(old: Rig, new: Rig) -> dict[str, str]:
    """Renames that a `was` states, as far as they apply: the old name before, and not after.

    Read backwards, from a newer rig to an older one, the renames of the newer hold as well.
    """
    there, here = _names(old), _names(new)
    found: dict[str, str] = {}
    for rename in new.renames:
        if rename.old in there and rename.old not in here and rename.new in here:
            found.setdefault(rename.old, rename.new)
    for rename in old.renames:
        back = rename.old in here and rename.old not in there and rename.new in there
        if back and rename.old not in found.values():
            found.setdefault(rename.new, rename.old)
    return found


def _names(rig: Rig) -> set[str]:
    found = {
        key_of(record)
        for name in collections()
        for record in getattr(rig, name)
        if name not in ("renames", "nudges")
    }
    return found | {f"{node.name}.{dial.name}" for node in rig.nodes for dial in node.dials}


def _beginnings(old: str, new: str) -> Iterator[tuple[str, str]]:
    """How two names that end alike begin: `rider.arm.hand` and `page.arm.hand` in two ways."""
    first, second = old.split("."), new.split(".")
    for tail in range(1, min(len(first), len(second))):
        if first[-tail] != second[-tail]:
            return
        yield ".".join(first[:-tail]), ".".join(second[:-tail])


def _made_of(name: str, names: Renaming) -> str:
    """A name with the renamed thing that it begins with: `head/follow`, `hand.space/feed`."""
    head, slash, rest = name.partition("/")
    return f"{name_in(head, names)}/{rest}" if slash else name


def _may_be(old: Node, new: Node) -> bool:
    """Whether two nodes can be one thing at all: of one kind, on one side."""
    return old.kind == new.kind and _side(old.name) == _side(new.name)


def _side(name: str) -> tuple[str, ...]:
    return tuple([one for one in name.split(".") if one in ("left", "right")])


def _chain_likeness(there: Chain, new: Chain) -> tuple[float, str]:
    """A chain is its joints."""
    mine, other = set(there.joints), set(new.joints)
    share = len(mine & other) / max(1, len(mine | other))
    name = _name_likeness(there.name, new.name)
    return 0.8 * share + 0.2 * name, "of the same joints" if share == 1.0 else ""


def _subject(record: Any) -> str | None:
    for name in ("node", "chain", "target"):
        value = getattr(record, name, None)
        if value is not None:
            return f"{type(record).__name__} {value}"
    return None


def _name_likeness(old: str, new: str) -> float:
    """How alike two names are: their last words, then all of them."""
    if old == new:
        return 1.0
    last_old, last_new = (_unsided(name).split(".")[-1] for name in (old, new))
    last = 1.0 if last_old == last_new else _ratio(last_old, last_new)
    return 0.7 * last + 0.3 * _ratio(old, new)


def _unsided(name: str) -> str:
    """A name without its side, which says nothing of what it is."""
    return ".".join([one for one in name.split(".") if one not in ("left", "right")]) or name


def _ratio(a: str, b: str) -> float:
    # The matcher is not even-handed: the order of its arguments must not count.
    first, second = sorted((a, b))
    return SequenceMatcher(None, first, second, autojunk=False).ratio()


def _dial_likeness(old: Dial, new: Dial) -> tuple[float, str]:
    if old.unit != new.unit or bool(old.options) != bool(new.options):
        return 0.0, ""
    range_is = (old.low, old.high, old.options) == (new.low, new.high, new.options)
    parts = [
        (0.35, range_is, "its options" if old.options else "its range"),
        (0.2, old.default == new.default, "its default"),
        (0.15, (old.neutral, old.flips) == (new.neutral, new.flips), ""),
        (0.1, old.about == new.about, ""),
    ]
    score = sum(weight for weight, is_so, _ in parts if is_so) + 0.2 * _ratio(old.name, new.name)
    return score, ", ".join(word for _, is_so, word in parts if is_so and word)


class _Likeness:
    """How alike nodes of two rigs are: by place, parent, neighbours, channels, name and lines."""

    def __init__(self, old: Rig, new: Rig) -> None:
        self.height = max(old.height, new.height, 1e-9)
        self.sides = (_Around(old), _Around(new))

    def of(self, old: Node, new: Node, partners: Mapping[str, str]) -> tuple[float, str]:
        """A likeness from 0 to 1, and what speaks for it."""
        first, second = self.sides
        parent = _paired(old.parent, new.parent, partners)
        parts: list[tuple[float, float | None, str]] = [
            (0.3, self._place(old, new), "same place"),
            (0.2, _name_likeness(old.name, new.name), "like name"),
            (0.15, parent, "same parent"),
            (0.15, _overlap(first.near[old.name], second.near[new.name], partners), "same ties"),
            (0.1, 1.0 if _channels(old) == _channels(new) else 0.0, "same channels"),
            (0.05, _origin(old, new), "same line"),
            (0.05, 1.0 if old.about == new.about else 0.0, ""),
        ]
        known = [(weight, value, word) for weight, value, word in parts if value is not None]
        total = sum(weight for weight, _, _ in known)
        score = sum(weight * value for weight, value, _ in known) / total
        said = [word for _, value, word in known if value > 0.99 and word]
        return score, ", ".join(said)

    def _place(self, old: Node, new: Node) -> float:
        first, second = self.sides
        apart = math.dist(
            first.axes.to_neutral(old.rest.place), second.axes.to_neutral(new.rest.place)
        )
        return max(0.0, 1.0 - apart / self.height / FAR)


class _Around:
    """What each node of a rig is tied to: children, leaders and followers, chains and curves."""

    def __init__(self, rig: Rig) -> None:
        self.axes = Axes(rig.up, rig.front)
        self.near: dict[str, set[str]] = {node.name: set() for node in rig.nodes}
        for node in rig.nodes:
            if node.parent in self.near:
                self.near[str(node.parent)].add(node.name)
        chains = {chain.name: chain for chain in rig.chains}
        for constraint in rig.constraints:
            self._tie(constraint, [node for node, _ in written(constraint, chains)])
        for feed in rig.feeds:
            self._tie(feed.value, [channel_node(feed.target)])

    def _tie(self, read: Any, nodes: Iterable[str]) -> None:
        named = [name for name in _strings(bare(read)) if name in self.near]
        for node in nodes:
            for name in named:
                if name != node:
                    self.near[node].add(name)
                    self.near[name].add(node)


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
        yield channel_node(value)
    elif isinstance(value, tuple):
        for one in value:
            yield from _strings(one)


def _paired(old: str | None, new: str | None, partners: Mapping[str, str]) -> float:
    if old is None or new is None:
        return 1.0 if old is new else 0.0
    return 1.0 if partners.get(old) == new else 0.0


def _overlap(old: set[str], new: set[str], partners: Mapping[str, str]) -> float | None:
    """The share of neighbours that are the same; None where neither has any."""
    if not old and not new:
        return None
    common = sum(partners.get(name) in new for name in old)
    return common / (len(old) + len(new) - common)


def _origin(old: Node, new: Node) -> float | None:
    if not old.origin or not new.origin:
        return None
    a, b = old.origin[0], new.origin[0]
    return (
        1.0 if (a.file.rpartition("/")[2], a.line) == (b.file.rpartition("/")[2], b.line) else 0.0
    )


def _channels(node: Node) -> Any:
    dials = tuple([(dial.name, dial.unit, dial.options) for dial in node.dials])
    return (
        node.order,
        node.locks,
        node.limits,
        dials,
        node.size_even,
        node.shape and node.shape.kind,
    )
