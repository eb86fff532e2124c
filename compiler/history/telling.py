"""What each revision changed, newest first, with names followed back through renames.

In comes a question and whoever can work out what states mean; out go revisions with what is told
of them, as soon as it is known. A revision is compared with the nearest before it that compiles; a
merge is told only for what none of the merged sides had. Nothing here words or prints anything.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Literal

from somite.findings import Finding, nearest
from somite.history.asking import NO_HISTORY, HistoryError, Question
from somite.history.kept import Known
from somite.history.meanings import Change, Compared, Meaning, Pair, Piece, Said, State, Works
from somite.history.walking import Commit, Trees, commits, former_path, trees
from somite.report.change_words import many
from somite.revisions import Entry, GitError

BATCHES = (8, 32, 128, 512)
"""Revisions that are worked out at once: few at first, so that the newest are told soon."""

What = Literal["changed", "first", "broken"]


@dataclass(frozen=True, slots=True)
class Told:
    """What is told of one revision.

    changed: `changes`, of things called `names` there. first: the recipe begins with it, or was
    there in its first revision. broken: it does not compile, and `why`. `sheet_of_later`: there is
    no such sheet yet, and the oldest there is was taken.
    """

    commit: Commit
    what: What
    changes: tuple[Said, ...] = ()
    names: tuple[str, ...] = ()
    why: str = ""
    sheet_of_later: bool = False


@dataclass(frozen=True, slots=True)
class _Place:
    """Where the recipe and the sheet lie at a revision; `sheet_of` is a later one's sheet."""

    recipe: str
    sheet: str
    sheet_of: Entry | None = None


def told(question: Question, known: Known, works: Works, workers: int = 1) -> Iterator[Told]:
    """Every revision of which there is anything to tell. Raises HistoryError."""
    try:
        every = commits(question.repository, question.revision, question.since)
        if not every:
            return
        history = _History(question, known, works, workers, every)
        yield from history.run()
    except GitError as error:
        raise HistoryError(error.finding) from None


@dataclass(slots=True)
class _History:
    """A telling under way."""

    question: Question
    known: Known
    works: Works
    workers: int
    every: list[Commit]
    trees: Trees = field(init=False)
    by_revision: dict[str, Commit] = field(init=False)
    places: dict[str, _Place] = field(default_factory=dict)
    names: dict[str, frozenset[str]] = field(default_factory=dict)
    prepared: int = 0

    def __post_init__(self) -> None:
        self.trees = trees(self.question.repository, self.every)
        self.by_revision = {one.revision: one for one in self.every}

    def run(self) -> Iterator[Told]:
        first = self.every[0].revision
        self.trees.begin(first, self.question.revision)
        self.places[first] = _Place(self.question.recipe, self.question.sheet)
        at, size = 0, 0
        while at < len(self.every):
            batch = self.every[at : at + BATCHES[min(size, len(BATCHES) - 1)]]
            self.prepare(at + len(batch))
            self.resolve([one for one in batch if one.revision in self.places])
            for one in batch:
                if one.revision in self.places:
                    if at == 0 and one is batch[0]:
                        self.names[one.revision] = self.asked_names(one)
                    yield from self.tell(one)
                self.trees.forget(one.revision)
            at += len(batch)
            size += 1

    # ---- places ------------------------------------------------------------------------------

    def prepare(self, count: int) -> None:
        """Find out where recipe and sheet lie at the parents of so many revisions."""
        while self.prepared < min(count, len(self.every)):
            one = self.every[self.prepared]
            self.prepared += 1
            place = self.places.get(one.revision)
            self.trees.step(one)
            for parent in one.parents:
                if place is not None and parent not in self.places:
                    found = self.place_before(one, parent, place)
                    if found is not None:
                        self.places[parent] = found

    def place_before(self, child: Commit, parent: str, place: _Place) -> _Place | None:
        """Where the files of a revision lie in its parent; None where the recipe is new."""
        here, there = self.trees.of(child.revision), self.trees.of(parent)
        ask = (self.question.repository, parent, child.revision)
        recipe = former_path(*ask, place.recipe, there, here)
        if recipe is None:
            return None
        if place.sheet_of is None:
            sheet = former_path(*ask, place.sheet, there, here)
            if sheet is not None:
                return _Place(recipe, sheet)
        if place.sheet in there:
            return _Place(recipe, place.sheet)
        return _Place(recipe, place.sheet, place.sheet_of or here[place.sheet])

    def state(self, revision: str) -> State:
        """The state of a revision that has the recipe."""
        place, files = self.places[revision], self.trees.of(revision)
        if place.sheet_of is not None:
            files = {**files, place.sheet: place.sheet_of}
        return State(place.recipe, place.sheet, files)

    # ---- working out -------------------------------------------------------------------------

    def resolve(self, batch: Sequence[Commit]) -> None:
        """Have all that is needed to tell of revisions worked out."""
        wanted: list[tuple[str | None, str]] = []
        while True:
            before = wanted
            wanted = list(dict.fromkeys(pair for one in batch for pair in self.missing(one)))
            if not wanted:
                return
            assert wanted != before, "what was worked out is not known afterwards"
            states = {one: self.state(one) for pair in wanted for one in pair if one is not None}
            pairs = [
                Pair(states[old] if old is not None else None, states[new]) for old, new in wanted
            ]
            for pair, made in zip(pairs, self.worked_out(pairs), strict=True):
                self.known.take([(pair.old, pair.new, made)])

    def worked_out(self, pairs: Sequence[Pair]) -> Iterator[Compared]:
        """What came of pairs, in order."""
        count = min(self.workers, max(1, len(pairs) // 8)) if self.workers > 1 else 1
        length = -(-len(pairs) // count)
        folder = self.question.repository.folder
        pieces = [
            Piece(folder, tuple(pairs[at : at + length])) for at in range(0, len(pairs), length)
        ]
        for piece, made in zip(pieces, self.works(pieces), strict=True):
            if made is None:  # Whoever worked on it ended: it is done here.
                from somite.history.meanings import worked_out

                made = worked_out(piece)
            yield from made

    def missing(self, one: Commit) -> Iterator[tuple[str | None, str]]:
        """Pairs of revisions that are to be worked out before this one can be told."""
        own = self.known.meaning(self.state(one.revision))
        if own is not None and own.broken:
            return
        first = one is self.every[0]
        names_known = own is not None and own.digest in self.known.names
        if first and not names_known:
            yield None, one.revision
        before, unknown = self.before(one)
        for old in unknown:
            yield old, one.revision
        for old in before:
            meaning = self.known.meaning(self.state(old))
            if own is None or meaning is None:
                yield old, one.revision
                continue
            both = meaning.digest, own.digest
            if both[0] != both[1] and both not in self.known.pairs:
                yield old, one.revision
        if not before and not unknown and not names_known:
            yield None, one.revision

    def before(self, one: Commit) -> tuple[list[str], list[str]]:
        """The nearest revisions before one that compile, and those of which that is not known."""
        found: list[str] = []
        unknown: list[str] = []
        for parent in one.parents:
            at: str | None = parent
            while at is not None and at in self.places:
                meaning = self.known.meaning(self.state(at))
                if meaning is None:
                    unknown.append(at)
                    break
                if not meaning.broken:
                    found.append(at)
                    break
                at = self.parent_of(at)
        return list(dict.fromkeys(found)), list(dict.fromkeys(unknown))

    def parent_of(self, revision: str) -> str | None:
        """The first parent of a revision, if it is told of as well."""
        commit = self.by_revision.get(revision)
        if commit is None or not commit.parents:
            return None
        self.prepare(self.every.index(commit) + 1)
        return commit.parents[0]

    # ---- telling -----------------------------------------------------------------------------

    def tell(self, one: Commit) -> Iterator[Told]:
        """What is to be told of one revision, with the names in those before worked out."""
        own = self.known.meaning(self.state(one.revision))
        assert own is not None
        later = self.places[one.revision].sheet_of is not None
        names = self.names.get(one.revision, frozenset())
        if own.broken:
            for parent in one.parents:
                self.pass_on(parent, names)
            yield Told(one, "broken", why=own.broken, sheet_of_later=later)
            return
        before, _ = self.before(one)
        if not before:
            yield from self.tell_first(one, own, names, later)
            return
        changes = [self.change(old, own) for old in before]
        for old, change in zip(before, changes, strict=True):
            self.pass_on(old, former_names(names, change))
        said = _in_all([self.said_of(change, names) for change in changes])
        if said:
            yield Told(one, "changed", said, tuple(sorted(names)), sheet_of_later=later)

    def tell_first(
        self, one: Commit, own: Meaning, names: frozenset[str], later: bool
    ) -> Iterator[Told]:
        there = self.known.names.get(own.digest, ())
        if self.question.name is None:
            count = Counter([kind for _, kind in there])
            told = ", ".join([f"{n} {many(kind, n)}" for kind, n in sorted(count.items())])
            yield Told(one, "first", (Said("", told, ""),), sheet_of_later=later)
        elif any(_is_about(name, names) for name, _ in there):
            yield Told(one, "first", (), tuple(sorted(names)), sheet_of_later=later)

    def pass_on(self, revision: str, names: frozenset[str]) -> None:
        """Names by which a revision has what is asked for, besides those it has by others."""
        self.names[revision] = self.names.get(revision, frozenset()) | names

    def change(self, old: str, own: Meaning) -> Change:
        meaning = self.known.meaning(self.state(old))
        assert meaning is not None
        if meaning.digest == own.digest:
            return Change()
        return self.known.pairs[meaning.digest, own.digest]

    def said_of(self, change: Change, names: frozenset[str]) -> tuple[Said, ...]:
        """What is said of a change: in short of the whole, or all of what is asked for."""
        if self.question.name is None:
            return change.short
        back = {new: old for old, new in change.names.items()}
        both = names | {back[name] for name in names if name in back}
        return tuple([one for one in change.each if any(_is_about(n, both) for n in one.about)])

    # ---- names -------------------------------------------------------------------------------

    def asked_names(self, newest: Commit) -> frozenset[str]:
        """The full name of what is asked for, at the newest revision or as it was written."""
        name = self.question.name
        if name is None:
            return frozenset()
        own = self.known.meaning(self.state(newest.revision))
        there = [one for one, _ in self.known.names.get(own.digest if own else "", ())]
        if any(_is_about(one, frozenset({name})) for one in there):
            return frozenset({name})
        ends = sorted({one for one in there if one.endswith(f".{name}")})
        if len(ends) > 1:
            message = f'expected one thing called "{name}", found {len(ends)}: {_few(ends)}'
            raise HistoryError(NO_HISTORY.at(None, message, help="write the whole name"))
        # What is not there now may have been before; whether it was, the end will show.
        return frozenset({ends[0] if ends else name})


def never(known: Known, name: str) -> Finding:
    """The finding that nothing was ever called so."""
    there = [one for names in known.names.values() for one, _ in names]
    close = nearest(name, there)
    message = f'expected something of the rig, found nothing called "{name}" where it compiles'
    help = f'did you mean "{close}"?' if close else "write the whole name, such as spine.high"
    return NO_HISTORY.at(None, message, help=help)


def _is_about(name: str, asked_for: Iterable[str]) -> bool:
    """Whether a name is that of what is asked for, or of something in it."""
    return any(name == one or name.startswith((f"{one}.", f"{one}/")) for one in asked_for)


def former_names(names: frozenset[str], change: Change) -> frozenset[str]:
    """Names as they were before a change; of a part, by what most of it was in."""
    back = {new: old for old, new in change.names.items()}
    found: set[str] = set()
    for name in names:
        if name in back:
            found.add(back[name])
            continue
        inside = [
            old.removesuffix(new[len(name) :])
            for new, old in back.items()
            if new.startswith(f"{name}.") and old.endswith(new[len(name) :])
        ]
        found.add(Counter(inside).most_common(1)[0][0] if inside else name)
    return frozenset(found)


def _in_all(said: Sequence[tuple[Said, ...]]) -> tuple[Said, ...]:
    """What is said against every side: of a merge, what none of them brought."""
    kept = said[0]
    for other in said[1:]:
        texts = {(one.subject, one.text) for one in other}
        kept = tuple([one for one in kept if (one.subject, one.text) in texts])
    return kept


def _few(names: Sequence[str]) -> str:
    shown = ", ".join([f'"{one}"' for one in names[:4]])
    return shown + (f" and {len(names) - 4} more" if len(names) > 4 else "")
