"""Three revisions of a recipe brought together by what they say.

In come the texts of the common ancestor and of both sides, out comes one text: ours, with what
they changed put into it, and the conflicts. A fact that one side changed is that side's; a fact
that both changed, differently, is a conflict, and is marked at its line. The result is read again:
a merge without conflicts says exactly what was decided, or there is none.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from somite import parse
from somite.merge.edits import Edits, Labels
from somite.merge.items import Element, Item, Meaning, items_of, line_end, list_value
from somite.merge.matching import matched
from somite.merge.renames import carried, with_names
from somite.text import Source

STEP = 2
"""Blanks for a step of indentation where a block has no lines yet."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """What both sides changed: in words, and the lines of both (0 where a side has none)."""

    what: str
    ours: int
    theirs: int


@dataclass(frozen=True, slots=True)
class Merged:
    """The text, the conflicts marked in it, and whether it is a merge of lines or of meaning."""

    text: str
    conflicts: tuple[Conflict, ...]
    how: Literal["lines", "meaning"]
    notes: tuple[str, ...] = ()
    """What was done that neither side wrote: a rename carried into new lines."""


def merged(
    base: Source,
    ours: Source,
    theirs: Source,
    *,
    by_lines: str | None = None,
    labels: Labels | None = None,
) -> Merged | None:
    """The merge of two revisions; None where one cannot be read, or the result would not be.

    `by_lines` is a merge by lines without conflicts, if there is one: it is taken where it says the
    same, since it keeps what both sides wrote, comments and order included.
    """
    read = [parse.parse(source) for source in (base, ours, theirs)]
    if any(findings for _, findings in read):
        return None
    before, mine, others = (items_of(document) for document, _ in read)
    work = _Merge(base, ours, theirs, Edits(ours.text, labels or Labels()))
    meaning = work.item(before, mine, others)
    if work.conflicts:
        return _with_conflicts(base, ours, theirs, work)
    if by_lines is not None and _meaning_of(by_lines, ours.name) == meaning:
        return _with_renames(base, ours, theirs, Merged(by_lines, (), "lines"), work.edits.labels)
    text = work.edits.applied()
    if _meaning_of(text, ours.name) != meaning:
        return None
    return _with_renames(base, ours, theirs, Merged(text, (), "meaning"), work.edits.labels)


def _with_conflicts(base: Source, ours: Source, theirs: Source, work: _Merge) -> Merged:
    """A merge with conflicts, in which new lines have the names that the other side gave."""
    mine, by_theirs = with_names(base, theirs, ours)
    others, by_ours = with_names(base, ours, theirs)
    if by_theirs or by_ours:
        items = [items_of(parse.parse(one)[0]) for one in (base, mine, others)]
        again = _Merge(base, mine, others, Edits(mine.text, work.edits.labels))
        again.item(*items)
        work = again if again.conflicts else work
    notes = [
        f"{one} renamed {what}: new lines of {other} say so, too"
        for one, other, names in (("theirs", "ours", by_theirs), ("ours", "theirs", by_ours))
        for what in names
    ]
    return Merged(work.edits.applied(), tuple(work.conflicts), "meaning", tuple(notes))


def _with_renames(
    base: Source, ours: Source, theirs: Source, made: Merged, labels: Labels
) -> Merged:
    """A merge with what one side renamed carried into new lines of the other."""
    done = carried(base, ours, theirs, made.text, labels)
    conflicts = [
        Conflict(what, line if mine else 0, 0 if mine else line) for what, line, mine in done.left
    ]
    if not conflicts and _meaning_of(done.text, ours.name) is None:
        return made
    return Merged(done.text, tuple(conflicts), made.how, done.done)


def _meaning_of(text: str, name: str) -> Meaning | None:
    """What a text says; None where it cannot be read."""
    document, findings = parse.parse(Source(name, text))
    return None if findings else items_of(document).meaning


def _together(value: Hashable, children: Sequence[Meaning]) -> Meaning:
    return (value, frozenset(Counter(children).items()))


@dataclass(slots=True)
class _Merge:
    """One merge under way. Every method gives what the merged item says."""

    base: Source
    ours: Source
    theirs: Source
    edits: Edits
    conflicts: list[Conflict] = field(default_factory=list)
    within: list[Item] = field(default_factory=list)

    def item(self, before: Item, mine: Item, others: Item) -> Meaning:
        """An item that all three have."""
        if mine.meaning == others.meaning and before.meaning == mine.meaning:
            self.comments(before, mine, others)
            self._deep_comments(before, mine, others)
            return mine.meaning
        value = self.own(before, mine, others)
        self.comments(before, mine, others)
        self.within.append(mine)
        children = self.children(before, mine, others)
        self.within.pop()
        return _together(value, children)

    def _deep_comments(self, before: Item, mine: Item, others: Item) -> None:
        """Comments of the children of an item of which nothing else changed."""
        partner = {id(a): b for a, b in matched(before.children, mine.children)}
        for old, new in matched(before.children, others.children):
            if id(old) in partner:
                self.comments(old, partner[id(old)], new)
                self._deep_comments(old, partner[id(old)], new)

    # ---- an item's own words ---------------------------------------------------------------------

    def own(self, before: Item, mine: Item, others: Item) -> Hashable:
        """The words of an item itself: a statement's head, or a fact."""
        if mine.value == others.value or before.value == others.value:
            return mine.value
        if before.value == mine.value:
            self.edits.replace(mine.start, mine.end, self.words(others))
            return others.value
        together = self.lists(before, mine, others)
        if together is not None:
            return together
        self.conflict(f"both sides change {self.called(before, self.base)}", mine, others)
        return mine.value

    def lists(self, before: Item, mine: Item, others: Item) -> Hashable | None:
        """A list of which both sides changed members; None where they changed the same one."""
        if not (before.elements and mine.elements and others.elements):
            return None
        if not (before.rest == mine.rest == others.rest and before.word == mine.word):
            return None
        old, ours, theirs = (
            {one.key: one for one in item.elements} for item in (before, mine, others)
        )
        kept = {key: one.value for key, one in ours.items()}
        changes: list[tuple[Element | None, Element | None]] = []
        for key in dict.fromkeys([*old, *theirs]):
            was, here, there = (one.get(key) for one in (old, ours, theirs))
            values = [None if one is None else one.value for one in (was, here, there)]
            if values[1] == values[2] or values[0] == values[2]:
                continue
            if values[0] != values[1]:
                return None
            changes.append((here, there))
            if there is None:
                del kept[key]
            else:
                kept[key] = there.value
        if not kept:
            return None
        self.edits.replace(mine.start, mine.end, self.relisted(mine, changes))
        return list_value(mine.word, mine.rest, list(kept.values()))

    def relisted(self, mine: Item, changes: Sequence[tuple[Element | None, Element | None]]) -> str:
        """The words of a list of ours with members changed, taken out and added at its end."""
        text = self.ours.text
        by = {here.key: there for here, there in changes if here is not None}
        members = [
            text[one.start : one.end] if by.get(one.key, one) is one else self.element(by[one.key])
            for one in mine.elements
        ]
        members += [self.element(there) for here, there in changes if here is None]
        first, last = mine.elements[0].start, mine.elements[-1].end
        listed = ", ".join([one for one in members if one])
        return text[mine.start : first] + listed + text[last : mine.end]

    def element(self, one: Element | None) -> str:
        return "" if one is None else self.theirs.text[one.start : one.end]

    # ---- children --------------------------------------------------------------------------------

    def children(self, before: Item, mine: Item, others: Item) -> list[Meaning]:
        """The children of an item that all three have."""
        in_ours = {id(a): b for a, b in matched(before.children, mine.children)}
        in_theirs = {id(a): b for a, b in matched(before.children, others.children)}
        partners = {id(b): in_ours[a] for a, b in in_theirs.items() if a in in_ours}
        found = self.from_before(before, mine, in_ours, in_theirs)
        known = {id(one) for one in in_ours.values()}
        added = [one for one in mine.children if id(one) not in known]
        kept = [one for one in mine.children if id(one) in known]
        for one in added:
            found.append(one.meaning)
        came = {id(one) for one in in_theirs.values()}
        for at, one in enumerate(others.children):
            if id(one) in came:
                continue
            rival = self.rival(one, added, kept)
            if rival in added:
                added.remove(rival)
            if rival is None:
                found.append(one.meaning)
                self.add(one, others.children[:at], partners, mine)
            else:
                partners[id(one)] = rival
                if rival.meaning != one.meaning:
                    what = f"both sides add {self.called(one, self.theirs)}, and not the same"
                    self.conflict(what, rival, one, whole=True)
        return found

    def rival(self, one: Item, added: Sequence[Item], kept: Sequence[Item]) -> Item | None:
        """What our side added that is about the same thing, or renamed to the same name."""
        led = ("follow", "land")
        for other in added:
            if other.key == one.key or (
                one.word in led
                and other.word in led
                and (one.word != other.word or _overlap(one.key, other.key))
            ):
                return other
        named = kept if one.key[:1] == ("name",) else ()
        return next((other for other in named if other.key == one.key), None)

    def from_before(
        self,
        before: Item,
        mine: Item,
        in_ours: dict[int, Item],
        in_theirs: dict[int, Item],
    ) -> list[Meaning]:
        """What is left of the items that there were before."""
        found = []
        for old in before.children:
            here, there = in_ours.get(id(old)), in_theirs.get(id(old))
            if here is not None and there is not None:
                found.append(self.item(old, here, there))
            elif here is not None:
                if here.meaning == old.meaning:
                    self.remove(here)
                else:
                    found.append(here.meaning)
                    what = f"our side changes {self.called(old, self.base)}, theirs takes it out"
                    self.conflict(what, here, None, whole=True)
            elif there is not None and there.meaning != old.meaning:
                what = f"their side changes {self.called(old, self.base)}, ours takes it out"
                self.conflict_without(what, there, before, mine, in_ours, old)
        return found

    # ---- changes to our text ---------------------------------------------------------------------

    def words(self, item: Item) -> str:
        return self.theirs.text[item.start : item.end]

    def lines(self, item: Item, indent: int, *, above: bool) -> str:
        """The whole lines of an item of theirs, moved to an indentation."""
        text = self.theirs.text
        if not item.alone:
            return " " * indent + self.words(item) + "\n"
        start = item.above if above else item.first
        own = _width(text[item.first : item.start])
        return "".join(
            [_moved(line, indent - own) for line in text[start : item.last].splitlines(True)]
        )

    def inner_indent(self, mine: Item) -> int:
        """How far the lines of a block of ours are indented."""
        for child in mine.children:
            if child.first >= mine.head_last or mine.word == "":
                return _width(self.ours.text[child.first : child.start])
        if mine.word == "":
            return 0
        return _width(self.ours.text[mine.first : mine.start]) + STEP

    def add(self, one: Item, before: Sequence[Item], partners: dict[int, Item], mine: Item) -> None:
        """Put an item of theirs behind what it stands behind there."""
        self.edits.insert(
            self.behind(before, partners, mine),
            self.lines(one, self.inner_indent(mine), above=True),
        )

    def behind(self, before: Sequence[Item], partners: dict[int, Item], mine: Item) -> int:
        """Behind the last of some items of theirs that our side has, too."""
        for item in reversed(before):
            partner = partners.get(id(item))
            if partner is not None:
                return max(partner.last, mine.head_last)
        return mine.head_last

    def remove(self, item: Item) -> None:
        """Take an item of ours out, with its comments; its line too, if nothing else is on it."""
        if item.alone:
            self.edits.replace(item.above, item.last, "")
            return
        text = self.ours.text
        start = item.start
        while start > 0 and text[start - 1] in " \t":
            start -= 1
        begins_line = start == item.first
        end = item.end
        if begins_line:
            start = item.start
            while end < len(text) and text[end] in " \t":
                end += 1
        self.edits.replace(start, end, "")

    def comments(self, before: Item, mine: Item, others: Item) -> None:
        """What is said beside an item: a change of theirs is taken, and added to one of ours."""
        if others.comments not in (before.comments, mine.comments):
            said = others.comments
            if mine.comments != before.comments:
                new = [line for line in said if line not in (*before.comments, *mine.comments)]
                said = (*mine.comments, *new)
            indent = self.ours.text[mine.first : mine.start]
            blank = re.match(r"(?:[ \t]*\n)*", self.ours.text[mine.above : mine.first])
            gap = blank[0] if blank is not None else ""
            if indent.strip() == "":
                text = gap + "".join([f"{indent}{line}\n" for line in said])
                self.edits.replace(mine.above, mine.first, text)
        if others.aside not in (before.aside, mine.aside) and mine.aside == before.aside:
            end = mine.head_last if mine.kind == "statement" else mine.last
            line = self.ours.text[:end].rstrip("\n")
            stop = len(line)
            start = stop - len(mine.aside) if mine.aside else stop
            if self.ours.text[start:stop] == mine.aside:
                kept = len(self.ours.text[:start].rstrip(" \t"))
                said_aside = f"  {others.aside}" if others.aside else ""
                self.edits.replace(kept, stop, said_aside)

    # ---- conflicts -------------------------------------------------------------------------------

    def conflict(self, what: str, mine: Item, others: Item | None, *, whole: bool = False) -> None:
        """Mark the lines of an item against theirs; of a statement those of its head, or all."""
        indent = _width(_blank(self.ours.text[mine.first : mine.start]))
        shown = ""
        if mine.alone and mine.kind == "fact":
            start, end = mine.first, mine.last
        elif mine.kind == "statement" and (whole or mine.children != ()):
            start, end = mine.first, mine.last if whole else mine.head_last
        else:
            start, end = mine.first, line_end(self.ours.text, mine.end)
        if others is not None:
            text = self.theirs.text
            if others.kind == "statement":
                stop = others.last if whole else others.head_last
                shown = text[others.first : stop]
            elif others.alone or not mine.alone:
                shown = text[others.first : others.last]
            else:
                shown = self.words(others) + "\n"
            own = _width(_blank(text[others.first : others.start]))
            if not others.alone and mine.alone:
                own = 0
            shown = "".join([_moved(line, indent - own) for line in shown.splitlines(True)])
        self.edits.mark(start, end, shown)
        self.tell(what, mine, others)

    def conflict_without(
        self,
        what: str,
        others: Item,
        before: Item,
        mine: Item,
        in_ours: dict[int, Item],
        old: Item,
    ) -> None:
        """Mark where an item stood that our side took out and theirs changed."""
        earlier = before.children[: before.children.index(old)]
        place = self.behind(earlier, in_ours, mine)
        self.edits.mark(place, place, self.lines(others, self.inner_indent(mine), above=False))
        self.tell(what, None, others)

    def called(self, item: Item, source: Source) -> str:
        """An item as a message calls it: its first words, and what it belongs to."""
        words = source.text[item.start : item.end].split("\n")[0]
        if item.kind == "statement":
            return f'"{words}"'
        around = self.within[-1] if self.within else None
        head = "" if around is None else self.ours.text[around.start : around.end]
        of = f' of "{head}"' if head else ""
        return f'"{words.split(maxsplit=1)[0]}"{of}'

    def tell(self, what: str, mine: Item | None, others: Item | None) -> None:
        lines = [
            0 if item is None else source.site(item.start, item.end).line
            for item, source in ((mine, self.ours), (others, self.theirs))
        ]
        self.conflicts.append(Conflict(what, *lines))


def _overlap(a: Sequence[Hashable], b: Sequence[Hashable]) -> bool:
    """Whether two follows take a part of the same: one that names no part takes all."""
    if len(a) == 1 or len(b) == 1:
        return True
    mine, others = (str(key[1:]) for key in (a, b))
    return any(f"'{part}'" in mine and f"'{part}'" in others for part in ("move", "turn", "size"))


def _blank(text: str) -> str:
    return text[: len(text) - len(text.lstrip(" \t"))]


def _width(blank: str) -> int:
    return len(_blank(blank).expandtabs(parse.TAB))


def _moved(line: str, by: int) -> str:
    """A line further in, or further out as far as it has blanks."""
    bare = line.lstrip(" \t")
    if not bare.strip():
        return "\n" if line.endswith("\n") else ""
    return " " * max(0, _width(line) + by) + bare
