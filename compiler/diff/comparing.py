"""Two rigs to the records of what is other between them.

In come two rigs, out goes a `Difference`. Every field of every record is compared, as the records
of the IR have them, in the names of the new rig and within a tolerance; where a thing stands in a
file is not. Nothing here knows how a change reads, or what it does to clips.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from somite.axes import Axes
from somite.diff.matching import Matching, Pair, matched
from somite.diff.meaning import (
    KEYS,
    PLACE,
    Renaming,
    Tolerance,
    collections,
    header,
    key_of,
    keyed,
    meant,
    name_in,
    renamed,
    same,
)
from somite.diff.records import Change, Difference, Reversal
from somite.ir import (
    Amount,
    Dial,
    Frame,
    Mirror,
    Node,
    Rename,
    Rig,
    Shape,
    Shown,
    Twist,
    TwistEnd,
)
from somite.order import node_edges

WITHIN: tuple[type, ...] = (Frame, Shape, Amount, Mirror, TwistEnd)
"""Records inside records that are told field by field."""


def difference(
    old: Rig,
    new: Rig,
    matching: Matching | None = None,
    *,
    within: Tolerance | None = None,
    unheld: Collection[str] = (),
) -> Difference:
    """All that is other between two rigs.

    `unheld` are facts that a side does not hold, as `Record.field`: they are left out.
    """
    matching = matching or matched(old, new)
    changes = changes_of(old, new, matching, within=within, unheld=unheld)
    return Difference(old, new, changes, reversals(old, new, matching), tuple(sorted(unheld)))


def changes_of(
    old: Rig,
    new: Rig,
    matching: Matching,
    *,
    within: Tolerance | None = None,
    unheld: Collection[str] = (),
) -> tuple[Change, ...]:
    """The changes alone, of rigs whose names need not even lead anywhere."""
    within = within or Tolerance(PLACE * max(old.height, new.height))
    return tuple(_Comparing(old, new, matching, within, frozenset(unheld)).run())


@dataclass(frozen=True, slots=True)
class _Owner:
    """The thing that a change is of."""

    collection: str
    kind: str
    old: Any
    new: Any

    def change(self, what: Any, path: tuple[str, ...], before: Any, after: Any) -> Change:
        """A change of this thing, or of something of it."""
        return Change(
            what,
            self.kind,
            key_of(self.old),
            key_of(self.new),
            self.collection,
            path,
            before,
            after,
            old_origin=getattr(before, "origin", ()) or self.old.origin,
            new_origin=getattr(after, "origin", ()) or self.new.origin,
        )


class _Comparing:
    """A comparison under way."""

    def __init__(
        self,
        old: Rig,
        new: Rig,
        matching: Matching,
        within: Tolerance,
        unheld: frozenset[str],
    ) -> None:
        self.old, self.new = old, new
        self.matching, self.within, self.unheld = matching, within, unheld
        self.dials: dict[tuple[str, str], str] = {}
        for before, after, _, _ in matching.dials:
            node, _, dial = before.rpartition(".")
            self.dials[node, dial] = after.rpartition(".")[2]

    def run(self) -> Iterator[Change]:
        """Every change: of the whole, then by collection in the order of the new rig."""
        for name in header():
            if f"Rig.{name}" in self.unheld:
                continue
            before, after = getattr(self.old, name), getattr(self.new, name)
            if not same(before, after, self.within, name):
                yield Change(
                    "changed",
                    "recipe",
                    self.old.recipe,
                    self.new.recipe,
                    "",
                    (name,),
                    before,
                    after,
                    implied=name == "height",
                )
        for collection in collections():
            if f"Rig.{collection}" not in self.unheld:
                yield from self._collection(collection)

    def _collection(self, collection: str) -> Iterator[Change]:
        pairs = {id(pair.new): pair for pair in self.matching.pairs_of(collection)}
        for record in getattr(self.new, collection):
            pair = pairs.get(id(record))
            if pair is None:
                yield self._alone("added", collection, record)
            else:
                yield from self._pair(pair)
        for record in self.matching.removed.get(collection, ()):
            yield self._alone("removed", collection, record)

    def _alone(self, what: Any, collection: str, record: Any) -> Change:
        added = what == "added"
        name = key_of(record)
        return Change(
            what,
            kind_of(record),
            None if added else name,
            name if added else None,
            collection,
            (),
            None if added else record,
            record if added else None,
            implied=isinstance(record, Rename),
            old_origin=() if added else record.origin,
            new_origin=record.origin if added else (),
        )

    def _pair(self, pair: Pair) -> Iterator[Change]:
        owner = _Owner(pair.collection, kind_of(pair.new), pair.old, pair.new)
        before, after = key_of(pair.old), key_of(pair.new)
        if before != after:
            made = owner.change("renamed", (), None, None)
            yield replace(
                made,
                confidence=pair.confidence,
                because=pair.because,
                implied="/" in before or pair.collection in ("renames", "nudges"),
            )
        there = renamed(pair.old, self.matching.names)
        if isinstance(pair.old, Node):
            for (node, dial), called in self.dials.items():
                if node == pair.old.name:
                    yield self._dial_renamed(pair, dial, called)
            there = self._with_dials(pair.old, there)
        for change in self._fields(owner, pair.old, there, pair.new, ()):
            yield replace(change, implied=True) if self._follows(change, pair) else change

    def _dial_renamed(self, pair: Pair, dial: str, called: str) -> Change:
        before, after = f"{pair.old.name}.{dial}", f"{pair.new.name}.{called}"
        sure, because = next(
            (sure, because) for old, _, sure, because in self.matching.dials if old == before
        )
        origins = (
            next((one.origin for one in node.dials if one.name == name), ())
            for node, name in ((pair.old, dial), (pair.new, called))
        )
        old_origin, new_origin = origins
        return Change(
            "renamed",
            "dial",
            before,
            after,
            "nodes",
            (),
            None,
            None,
            sure,
            because,
            False,
            old_origin,
            new_origin,
        )

    def _with_dials(self, old: Node, there: Any) -> Any:
        """The old node with its dials called as the new rig calls them."""
        if not any(node == old.name for node, _ in self.dials):
            return there
        dials = [
            replace(dial, name=self.dials.get((old.name, dial.name), dial.name))
            for dial in there.dials
        ]
        return replace(there, dials=tuple(dials))

    def _follows(self, change: Change, pair: Pair) -> bool:
        """Whether a change follows from one that is told: of a name, a dial, a chain, a tree."""
        old, new, path = pair.old, pair.new, change.path
        if path[-1] in ("spelled", "was"):
            return key_of(old) != key_of(new)
        if path[-1] == "default" and path[0] == "dials":
            # A choice is its word, whatever place it has among the others.
            called = {
                after: before for (node, before), after in self.dials.items() if node == old.name
            }
            was = _start(old.dials, called.get(path[1], path[1]))
            return was is not None and was == _start(new.dials, path[1])
        if path[0] in ("settings", "sweeps") and len(path) == 3:
            return self._same_word(path[1], change)
        if path == ("rest", "place"):
            return self._same_place(change)
        if path == ("shown",):
            return self._same_showing(change)
        if path[-1] == "value" and len(path) == 2:
            amount = getattr(new, path[0])
            return isinstance(amount, Amount) and amount.channel is not None
        if isinstance(new, Twist):
            # What an even spread comes to is of the chain, and the way between two nodes of the
            # tree that they stand in.
            stated = new.stated != "listed" and path == ("spread",)
            return stated or path[-1] == "path"
        return path == ("fractions",) and len(old.joints) != len(new.joints)

    def _same_place(self, change: Change) -> bool:
        """Whether a place only has other numbers, since the recipe counts along other axes."""
        old, new = self.old, self.new
        if (old.up, old.front) == (new.up, new.front):
            return False
        before = Axes(old.up, old.front).to_neutral(change.before)
        return same(before, Axes(new.up, new.front).to_neutral(change.after), self.within, "place")

    def _same_word(self, channel: str, change: Change) -> bool:
        """Whether a pose sets a choice to the word that it set it to before."""
        back = {after: before for before, after in self.matching.names.items()}
        before = _words(self.old, back.get(channel, channel))
        after = _words(self.new, channel)
        values = change.before, change.after
        if not before or not after or not all(isinstance(one, float) for one in values):
            return False
        return before[int(values[0])] == after[int(values[1])]

    def _same_showing(self, change: Change) -> bool:
        """Whether a control is shown at the same words of the same choices as before."""

        def said(shown: Iterable[Shown], rig: Rig, names: Renaming) -> list[str]:
            found = []
            for one in shown:
                words = _words(rig, one.dial)
                told = [words[at] for at in one.options if at < len(words)]
                found.append(repr((name_in(one.dial, names), one.above, one.below, sorted(told))))
            return sorted(found)

        before = said(change.before, self.old, self.matching.names)
        return before == said(change.after, self.new, {})

    # ---- fields ------------------------------------------------------------------------------

    def _fields(
        self, owner: _Owner, old: Any, there: Any, new: Any, path: tuple[str, ...]
    ) -> Iterator[Change]:
        """Changes of the fields of a record: `old` as it is, `there` in the new rig's names."""
        kind: Any = type(new)
        own = KEYS.get(kind)
        for name in meant(kind):
            if name == own or f"{kind.__name__}.{name}" in self.unheld:
                continue
            if not path and name == "name":
                continue
            a, b = getattr(there, name), getattr(new, name)
            if self._same(a, b, name):
                continue
            before, at = getattr(old, name), (*path, name)
            if keyed(a) or keyed(b):
                yield from self._keyed(owner, before, a, b, at)
            elif type(a) is type(b) and isinstance(b, WITHIN):
                yield from self._fields(owner, before, a, b, at)
            else:
                yield owner.change("changed", at, before, b)

    def _same(self, a: Any, b: Any, name: str) -> bool:
        if name == "turn" and isinstance(a, tuple) and len(a) == 4:
            zero = (0.0, 0.0, 0.0)
            return same(Frame(zero, a), Frame(zero, b), self.within)
        return same(a, b, self.within, name)

    def _keyed(
        self, owner: _Owner, old: Any, there: Any, new: Any, path: tuple[str, ...]
    ) -> Iterator[Change]:
        """Changes of records inside a record, each told apart by its key."""
        olds = {_key(b): (a, b) for a, b in zip(old, there, strict=True)}
        for record in new:
            key = _key(record)
            if key not in olds:
                yield owner.change("added", (*path, key), None, record)
                continue
            before, called = olds.pop(key)
            yield from self._fields(owner, before, called, record, (*path, key))
        for key, (before, _) in olds.items():
            yield owner.change("removed", (*path, key), before, None)


def _words(rig: Rig, channel: str) -> tuple[str, ...]:
    """The words of a choice by its full name; none for anything else."""
    owner, _, name = channel.rpartition(".")
    dials = (dial for node in rig.nodes if node.name == owner for dial in node.dials)
    return next((dial.options for dial in dials if dial.name == name), ())


def _start(dials: Iterable[Dial], name: str) -> str | None:
    """The word at which a choice starts; None for a number."""
    held = next((dial for dial in dials if dial.name == name), None)
    return held.options[int(held.default)] if held is not None and held.options else None


def _key(record: Any) -> str:
    return str(getattr(record, KEYS[type(record)]))


def kind_of(record: Any) -> str:
    """What a record is, as people call it: a control, a chain, a follow."""
    if isinstance(record, Node):
        return record.kind
    word = type(record).__name__.lower()
    return {"namedlist": "list", "placedrig": "rig"}.get(word, word)


# ---- the order in which things are worked out ----------------------------------------------------


def reversals(old: Rig, new: Rig, matching: Matching) -> tuple[Reversal, ...]:
    """Nodes of which one was worked out from the other, and now it is the other way round."""
    before = _leads(old, matching.names)
    after = _leads(new, {})
    found: dict[tuple[str, str], Reversal] = {}
    for first, seconds in before.items():
        for second in seconds - after.get(first, set()):
            way = _way(after, second, first)
            if way:
                found[first, second] = Reversal(first, second, (first, second), way)
    for second, firsts in after.items():
        for first in firsts - before.get(second, set()):
            way = _way(before, first, second)
            if way and (first, second) not in found:
                found[first, second] = Reversal(first, second, way, (second, first))
    return tuple([found[key] for key in sorted(found)])


def _leads(rig: Rig, names: Renaming) -> dict[str, set[str]]:
    """For each node, the nodes that are worked out from it, constraints and feeds left out."""
    nodes = {node.name for node in rig.nodes}
    after: dict[str, set[str]] = {}
    for first, second in node_edges(rig):
        after.setdefault(first, set()).add(second)
    found: dict[str, set[str]] = {}
    for node in nodes & after.keys():
        reached: set[str] = set()
        waiting = list(after[node])
        seen = set(waiting)
        while waiting:
            one = waiting.pop()
            if one in nodes:
                reached.add(names.get(one, one))
                continue
            for other in after.get(one, ()):
                if other not in seen:
                    seen.add(other)
                    waiting.append(other)
        found[names.get(node, node)] = reached
    return found


def _way(leads: Mapping[str, set[str]], start: str, stop: str) -> tuple[str, ...]:
    """The shortest way from one node to another, the first by name; empty where there is none."""
    came: dict[str, str] = {}
    edge = [start]
    while edge and stop not in came:
        onward = []
        for name in edge:
            for other in sorted(leads.get(name, ())):
                if other not in came:
                    came[other] = name
                    onward.append(other)
        edge = onward
    if stop not in came:
        return ()
    way = [stop]
    while way[-1] != start or len(way) == 1:
        way.append(came[way[-1]])
    return tuple(way[::-1])


# ---- mirroring -----------------------------------------------------------------------------------


def mirrored(changes: Iterable[Change]) -> tuple[Change, ...]:
    """The changes that lead back."""
    taken = tuple(changes)
    back = {
        one.new: one.old.rpartition(".")[2]
        for one in taken
        if one.kind == "dial" and one.old is not None
    }
    names = {
        one.new: one.old
        for one in taken
        if one.what == "renamed" and one.new is not None and one.old is not None
    }
    return tuple([_mirrored(one, back, names) for one in taken])


def _mirrored(one: Change, dials: Mapping[str | None, str], names: Renaming) -> Change:
    turned = {"added": "removed", "removed": "added"}
    path = one.path
    if len(path) > 1 and path[0] == "dials":
        path = (path[0], dials.get(f"{one.new}.{path[1]}", path[1]), *path[2:])
    elif len(path) > 1:
        path = (path[0], name_in(path[1], names), *path[2:])
    return replace(
        one,
        what=turned.get(one.what, one.what),  # type: ignore[arg-type]
        old=one.new,
        new=one.old,
        path=path,
        before=one.after,
        after=one.before,
        old_origin=one.new_origin,
        new_origin=one.old_origin,
    )
