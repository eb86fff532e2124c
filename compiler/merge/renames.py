"""Names that one side renamed and new lines of the other side still use.

In come the three revisions and a merge of them without conflicts, out goes the merge with the new
names in those lines, where a rename is certain; where it only seems to be one, both ways of writing
the lines are marked; and what uses something that is gone is told. What a side left dangling by
itself is its own affair, and stays. Nothing here decides what the merge says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

from somite import parse
from somite.merge.edits import Edits, Labels
from somite.merge.items import Item, items_of, line_end
from somite.merge.matching import former_name, matched
from somite.syntax import Document, Reference, Statement, Word
from somite.text import Source

Path = tuple[str, ...]
"""The words of a name in its scope: `low`, or a grip's `path`, `below`."""


@dataclass(frozen=True, slots=True)
class Rename:
    """What something is called now; None where it is gone. `sure`: stated, or nothing else fits."""

    now: Path | None
    sure: bool


@dataclass(frozen=True, slots=True)
class Use:
    """A use of a name in the merged text that leads nowhere, and which side wrote it."""

    old: Path
    rename: Rename
    start: int
    ours: bool


@dataclass(frozen=True, slots=True)
class Carried:
    """A merge with renames carried on: what was done, and what is left to a person, by line."""

    text: str
    done: tuple[str, ...] = ()
    left: tuple[tuple[str, int, bool], ...] = ()


def carried(base: Source, ours: Source, theirs: Source, text: str, labels: Labels) -> Carried:
    """The merged text with what one side renamed called so in the other's new lines.

    All four can be read. `left` says of each line left to a person why, and whether it is ours.
    """
    merged = Source(ours.name, text)
    documents = [parse.parse(one)[0] for one in (base, ours, theirs, merged)]
    uses = list(_uses(*documents))
    if not uses:
        return Carried(text)
    sure = [use for use in uses if use.rename.sure and use.rename.now is not None]
    edits = Edits(text, labels)
    for use in sure:
        edits.replace(*_run(use), _written(use))
    done = tuple(dict.fromkeys([_done(use) for use in sure]))
    left: list[tuple[str, int, bool]] = []
    for use in uses:
        if use not in sure:
            left.append((_left(use), merged.site(use.start, use.start).line, use.ours))
    doubtful = [use for use in uses if not use.rename.sure and use.rename.now is not None]
    for start, end in dict.fromkeys(_line(text, use) for use in doubtful):
        _mark(edits, text, start, end, [use for use in doubtful if start <= use.start < end])
    return Carried(edits.applied(), done, tuple(left))


def with_names(base: Source, changed: Source, writer: Source) -> tuple[Source, tuple[str, ...]]:
    """A side's text with what the other side surely renamed called so in its new lines.

    For where both cannot be put together without conflicts, so that these have the new names, too.
    All three can be read. The second value says what was done, as `changed` did it.
    """
    before, after, own = (parse.parse(one)[0] for one in (base, changed, writer))
    scopes, olds, news = _scopes(own.statements), _items(before), _items(own)
    edits = Edits(writer.text, Labels())
    done: dict[str, None] = {}
    for name, renames in _renames(olds, _items(after)).items():
        runs = list(_new_runs(olds[name], news.get(name, ())))
        for path, start in _references(scopes.get(name, ())):
            if not any(first <= start < last for first, last in runs):
                continue
            for old, rename in renames.items():
                if path[: len(old)] == old and rename.sure and rename.now is not None:
                    use = Use(old, rename, start, False)
                    edits.replace(*_run(use), _written(use))
                    done[f'"{".".join(old)}" to "{_written(use)}"'] = None
                    break
    return Source(writer.name, edits.applied()), tuple(done)


def _new_runs(before: Sequence[Item], after: Sequence[Item]) -> Iterator[tuple[int, int]]:
    """Where the words of a side stand that were not there before."""
    known = {id(new): old for old, new in matched(before, after)}
    for new in after:
        old = known.get(id(new))
        if old is None:
            yield new.start, new.last
        elif old.meaning != new.meaning:
            if old.value != new.value:
                yield new.start, new.end
            yield from _new_runs(old.children, new.children)


def _run(use: Use) -> tuple[int, int]:
    return use.start, use.start + len(".".join(use.old))


def _written(use: Use) -> str:
    assert use.rename.now is not None
    return ".".join(use.rename.now)


def _line(text: str, use: Use) -> tuple[int, int]:
    return text.rfind("\n", 0, use.start) + 1, line_end(text, use.start)


def _mark(edits: Edits, text: str, start: int, end: int, uses: Sequence[Use]) -> None:
    """Mark a line as it is written against the same with what seems to be the new name."""
    other = text[start:end]
    for use in sorted(uses, key=lambda one: -one.start):
        first, last = _run(use)
        other = other[: first - start] + _written(use) + other[last - start :]
    if uses[0].ours:
        edits.mark(start, end, other)
    else:
        # Our side's way of writing it stands above: the renamed one.
        edits.mark_other(start, end, other)


def _done(use: Use) -> str:
    one, other = ("theirs", "ours") if use.ours else ("ours", "theirs")
    old, new = ".".join(use.old), _written(use)
    return f'{one} renamed "{old}" to "{new}": new lines of {other} say so, too'


def _left(use: Use) -> str:
    one, other = ("their side", "ours") if use.ours else ("our side", "theirs")
    old = ".".join(use.old)
    if use.rename.now is None:
        return f'{one} takes out "{old}", which new lines of {other} use'
    return f'{one} seems to call "{old}" "{_written(use)}" now, and new lines of {other} use it'


# ---- uses that lead nowhere ----------------------------------------------------------------------


def _uses(base: Document, ours: Document, theirs: Document, merged: Document) -> Iterator[Use]:
    there = {name: (scope, _dangling(scope)) for name, scope in _scopes(merged.statements).items()}
    before, mine, others = (_items(one) for one in (base, ours, theirs))
    scopes = [_scopes(one.statements) for one in (ours, theirs)]
    for by_ours, changed in ((False, mine), (True, others)):
        for name, renames in _renames(before, changed).items():
            if name not in there:
                continue
            # What leads nowhere on a side that wrote it did so before the merge.
            known = {path for side in scopes for path, _ in _dangling(side.get(name, ()))}
            for path, start in there[name][1]:
                for old, rename in renames.items():
                    if path[: len(old)] == old and not any(one[: len(old)] == old for one in known):
                        yield Use(old, rename, start, by_ours)
                        break


def _scopes(statements: Sequence[Statement]) -> dict[str, tuple[Statement, ...]]:
    """The scopes of a file: each part, and the rest under the empty name."""
    parts = [one for one in statements if one.word == "part"]
    rest = tuple([one for one in statements if one.word != "part"])
    found = {"": rest}
    for one in parts:
        name = one.arguments[0]
        found[name.text if isinstance(name, Word) else ""] = one.block
    return found


def _dangling(statements: Sequence[Statement]) -> list[tuple[Path, int]]:
    """References of a scope whose names nothing in it declares."""
    names = set(_declared(statements))
    return [
        (path, start)
        for path, start in _references(statements)
        if path[0] not in _words(names) or (len(path) > 1 and _owner_lacks(path, names))
    ]


def _words(names: set[Path]) -> set[str]:
    return {name[0] for name in names}


def _owner_lacks(path: Path, names: set[Path]) -> bool:
    """Whether something is named that a curve declares by grips, and this curve does not."""
    inner = {name[1] for name in names if len(name) == 2 and name[0] == path[0]}
    return bool(inner) and path[1] not in inner


def _declared(statements: Sequence[Statement], owner: str = "") -> Iterator[Path]:
    """Every name that a scope declares, those in blocks of it as well."""
    for one in statements:
        own = owner
        for name in _names_of(one):
            yield (owner, name) if owner and one.word == "grip" else (name,)
            own = name if one.word == "curve" else owner
        yield from _declared(one.block, own)


def _names_of(one: Statement) -> Iterator[str]:
    """The words that a statement declares."""
    for argument in one.arguments:
        if isinstance(argument, Word):
            yield argument.text
        elif is_dataclass(argument) and not isinstance(argument, Reference):
            yield from [
                word.text for word in getattr(argument, "arguments", ()) if isinstance(word, Word)
            ]


def _references(node: Any) -> Iterator[tuple[Path, int]]:
    """Names as they are used anywhere in syntax, up to what is not a plain word of them."""
    if isinstance(node, tuple | list):
        for one in node:
            yield from _references(one)
    elif isinstance(node, Reference):
        plain: list[str] = []
        for part in node.path:
            if not isinstance(part, str):
                break
            plain.append(part)
        if plain:
            yield tuple(plain), node.start
        yield from _references([part for part in node.path if not isinstance(part, str | int)])
    elif is_dataclass(node) and not isinstance(node, Word):
        for one in fields(node):
            if one.name not in ("start", "end"):
                yield from _references(getattr(node, one.name))


# ---- renames -------------------------------------------------------------------------------------


def _items(document: Document) -> dict[str, tuple[Item, ...]]:
    """The items of each scope of a file."""
    children = items_of(document).children
    found = {"": tuple([one for one in children if one.word != "part"])}
    for one in children:
        if one.word == "part":
            found[str(one.key[-1])] = one.children
    return found


def _renames(
    before: Mapping[str, tuple[Item, ...]], after: Mapping[str, tuple[Item, ...]]
) -> dict[str, dict[Path, Rename]]:
    """By scope, what a side calls otherwise or took out."""
    found: dict[str, dict[Path, Rename]] = {}
    for name, items in before.items():
        if name in after:
            found[name] = dict(_renamed(items, after[name], ()))
    return found


def _renamed(
    before: Sequence[Item], after: Sequence[Item], owner: Path
) -> Iterator[tuple[Path, Rename]]:
    pairs = {id(old): new for old, new in matched(before, after)}
    for old in before:
        new = pairs.get(id(old))
        name = _name(old)
        if name is not None and (owner == () or old.word == "grip"):
            if new is None:
                yield (*owner, name), Rename(None, True)
            elif _name(new) not in (None, name):
                yield (*owner, name), Rename((*owner, str(_name(new))), _is_sure(old, new))
        if new is not None and old.kind == "statement":
            inner = (name,) if old.word == "curve" and name is not None else owner
            yield from _renamed(old.children, new.children, inner)


def _name(item: Item) -> str | None:
    """The word by which an item is named; of a numbered one, without the number."""
    if item.key[:1] != ("name",):
        return None
    name = item.key[1]
    return str(name[0]) if isinstance(name, tuple) else str(name)


def _is_sure(old: Item, new: Item) -> bool:
    """Whether a rename is stated, or only the name is other."""
    if former_name(new) == _name(old):
        return True
    return bool(old.children) and old.meaning[1] == new.meaning[1]
