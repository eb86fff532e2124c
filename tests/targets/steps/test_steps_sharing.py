"""The order of parts, and sections shared out to several people: nobody waits in a circle."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import hawker
import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from somite.cli import main
from somite.target import Context
from somite.targets import steps
from somite.targets.steps.arranging import Item, laid, ordered
from somite.targets.steps.guide import guide
from somite.targets.steps.records import (
    PART,
    Guide,
    Join,
    Name,
    Need,
    Phase,
    Saying,
    Section,
    Share,
    Step,
    steps_of,
)
from somite.targets.steps.sharing import Piece, shared, shares


@st.composite
def needs_of_parts(draw: st.DrawFn) -> tuple[list[str], dict[str, dict[str, int]]]:
    parts = [f"part_{number}" for number in range(draw(st.integers(1, 8)))]
    needs = {
        part: draw(st.dictionaries(st.sampled_from(parts), st.integers(1, 9), max_size=4))
        for part in parts
    }
    return parts, {
        part: {o: n for o, n in found.items() if o != part} for part, found in needs.items()
    }


@given(needs_of_parts())
def test_a_part_comes_after_all_it_needs_unless_they_need_each_other(case) -> None:
    parts, needs = case
    order = ordered(parts, needs)
    assert sorted(order) == sorted(parts)
    # networkx decides which parts need each other, however far around.
    graph = networkx.DiGraph()
    graph.add_nodes_from(parts)
    graph.add_edges_from((part, other) for part in parts for other in needs[part])
    knots = {
        part: knot
        for knot in map(frozenset, networkx.strongly_connected_components(graph))
        for part in knot
    }
    at = {part: index for index, part in enumerate(order)}
    for part in parts:
        for other in needs[part]:
            assert at[other] < at[part] or knots[part] == knots[other]
    for knot in set(knots.values()):
        places = sorted(at[part] for part in knot)
        first = order[places[0]]
        waiting = {
            part: sum(count for other, count in needs[part].items() if other in knot)
            for part in knot
        }
        assert waiting[first] == min(waiting.values()), "the fewest steps have to wait"


def test_parts_that_need_nothing_of_each_other_keep_the_order_of_the_recipe() -> None:
    assert ordered(["trunk", "arm", "leg"], {}) == ["trunk", "arm", "leg"]
    assert ordered(["arm", "trunk", "leg"], {"arm": {"trunk": 1}}) == ["trunk", "arm", "leg"]


@st.composite
def items_in_runs(draw: st.DrawFn) -> tuple[list[Item], list[list[int]]]:
    """Items that each make one thing and need things of others, of any run, without loops."""
    count = draw(st.integers(1, 14))
    rank = draw(st.permutations(range(count)))
    items = []
    for index in range(count):
        lower = [other for other in range(count) if rank[other] < rank[index]]
        needed = draw(st.sets(st.sampled_from(lower), max_size=3)) if lower else set()
        items.append(Item(frozenset(map(str, needed)), frozenset({str(index)})))
    runs: list[list[int]] = [[] for _ in range(draw(st.integers(1, 4)))]
    for index in range(count):
        runs[draw(st.integers(0, len(runs) - 1))].append(index)
    return items, runs


@given(items_in_runs())
def test_everything_is_done_once_and_after_what_it_needs(case) -> None:
    items, runs = case
    there: set[str] = set()
    done = list(laid(items, runs))
    for one in done:
        assert items[one.index].needs <= there
        there |= items[one.index].makes
    assert sorted(one.index for one in done) == list(range(len(items)))
    own = {index: number for number, run in enumerate(runs) for index in run}
    assert all(one.run == own[one.index] for one in done if not one.late)
    joined = [number for number, _ in enumerate(runs) if own_first_late(done, own, number)]
    assert joined == [], "a join begins with what an earlier run lacked"
    assert [one.run for one in done] == sorted(one.run for one in done)


def own_first_late(done, own: Mapping[int, int], number: int) -> bool:
    """Whether the first thing that is done late in a run is of that run."""
    late = [one for one in done if one.late and one.run == number]
    return bool(late) and own[late[0].index] == number


def test_what_nothing_makes_is_waited_for_no_longer_than_the_end() -> None:
    items = [Item(frozenset({"nowhere"}), frozenset({"a"})), Item(frozenset(), frozenset({"b"}))]
    assert [(one.index, one.late) for one in laid(items, [[0, 1]])] == [(1, False), (0, True)]


@st.composite
def pieces_of_work(draw: st.DrawFn) -> list[Piece]:
    pieces: list[Piece] = []
    for index in range(draw(st.integers(1, 12))):
        needed = draw(st.sets(st.integers(0, index - 1), max_size=3)) if index else set()
        needs = {other: draw(st.integers(1, pieces[other].work)) for other in sorted(needed)}
        pieces.append(Piece(draw(st.integers(1, 20)), needs))
    return pieces


@given(pieces_of_work(), st.integers(1, 4))
def test_work_is_shared_out_whole_in_order_and_about_evenly(pieces, people) -> None:
    turns = shared(pieces, people)
    by_piece = {turn.piece: turn for turn in turns}
    assert sorted(by_piece) == list(range(len(pieces))) and len(turns) == len(pieces)
    assert all(turn.stop - turn.start == pieces[turn.piece].work for turn in turns)
    for turn in turns:
        for other, done in pieces[turn.piece].needs.items():
            assert by_piece[other].start + done <= turn.start, "what it needs is done"
    for person in range(people):
        own = [turn for turn in turns if turn.person == person]
        assert all(one.stop <= other.start for one, other in pairwise(own))
    # R. L. Graham, "Bounds for certain multiprocessing anomalies", Bell System Technical Journal
    # 45(9), 1966 (from memory): no later than total / m + (1 - 1 / m) of the longest run.
    total = sum(piece.work for piece in pieces)
    assert people * max(turn.stop for turn in turns) <= total + (people - 1) * longest(pieces)


def longest(pieces: Sequence[Piece]) -> int:
    """The longest run of pieces that need each other, each counted whole."""
    runs: list[int] = []
    for piece in pieces:
        runs.append(piece.work + max((runs[other] for other in piece.needs), default=0))
    return max(runs)


@given(st.lists(st.integers(1, 30), min_size=1, max_size=12), st.integers(2, 4))
def test_free_pieces_are_shared_as_well_as_by_the_longest_first(work, people) -> None:
    # R. L. Graham, "Bounds on multiprocessing timing anomalies", SIAM Journal on Applied
    # Mathematics 17(2), 1969 (from memory): within 4/3 - 1/(3m) of the best, which is itself no
    # less than the mean and the longest piece, nor two of the m + 1 longest.
    turns = shared([Piece(one, {}) for one in work], people)
    longest_first = sorted(work, reverse=True)
    two = sum(longest_first[people - 1 : people + 1]) if len(work) > people else 0
    least = max(-(-sum(work) // people), longest_first[0], two)
    last = max(turn.stop for turn in turns)
    assert last <= least + longest_first[0]
    if len(work) <= 2 * people and len(work) > people:
        assert 3 * people * last <= (4 * people - 1) * best(work, people)


def best(work: list[int], people: int) -> int:
    """The earliest that free pieces can all be done, by trying every way to deal them."""
    dealt: set[tuple[int, ...]] = {(0,) * people}
    for one in work:
        dealt = {
            tuple(sorted((*hands[:index], hands[index] + one, *hands[index + 1 :])))
            for hands in dealt
            for index in range(people)
        }
    return min(max(hands) for hands in dealt)


@st.composite
def sections_of_steps(draw: st.DrawFn) -> tuple[Section, ...]:
    """Sections whose steps each make a thing, and use things of earlier sections."""
    sections: list[Section] = []
    made: list[tuple[Name, str, int]] = []
    for number in range(draw(st.integers(1, 7))):
        key = f"part_{number}"
        phases: list[Phase] = []
        needs: list[Need] = []
        own: list[tuple[Name, str, int]] = []
        at = 1
        for phase in range(draw(st.integers(1, 3))):
            entries = []
            first = at
            for _ in range(draw(st.integers(1, 3))):
                used = draw(st.lists(st.sampled_from(made), max_size=2)) if made else []
                name = Name(f"{key}.{at}", f"{key}_{at}")
                values = {f"v{index}": one[0] for index, one in enumerate(used)}
                entries.append(Step(Saying("do.any", {**values, "own": name}), made=(name,)))
                needs += [Need(where, there, (one,), first) for one, where, there in used]
                own.append((name, key, at))
                at += 1
            phases.append(Phase(f"phase_{phase}", first, tuple(entries)))
        sections.append(Section(key, PART, tuple(phases), (key,), needs=tuple(needs)))
        made += own
    return tuple(sections)


@settings(max_examples=150, deadline=None)
@given(sections_of_steps(), st.integers(2, 4))
def test_every_need_across_people_is_named_at_a_join_and_nobody_waits_in_a_circle(
    sections, people
) -> None:
    check_shares(sections, shares(sections, people))


@pytest.mark.parametrize("people", [2, 3, 5])
@pytest.mark.parametrize("sheet", [hawker.SHEET, hawker.UNEVEN])
def test_a_hawker_can_be_built_by_several(sheet: str, people: int) -> None:
    made = guide(hawker.settled(sheet), Context(people=people))
    check_shares(made.sections, made.shares)


def check_shares(sections: Sequence[Section], found: Sequence[Share]) -> None:
    """Everybody works on as far as lists and joins allow; whatever they use is surely there.

    What is surely there at a step is what its own list has made, and what joins have waited for,
    with all that those steps had behind them.
    """
    by_key = {section.key: section for section in sections}
    assert sorted(key for share in found for key in share.sections) == sorted(by_key)
    known: dict[tuple[str, int], frozenset[str]] = {}
    queues = [list(list_of(share, by_key)) for share in found]
    sure = [frozenset[str]() for _ in found]
    while any(queues):
        before = sum(map(len, queues))
        for person, queue in enumerate(queues):
            while queue:
                section, number, entry, joins = queue[0]
                waits = [(need.section, need.step) for join in joins for _, need in join.needs]
                if any(wait not in known for wait in waits):
                    break
                sure[person] = sure[person].union(*(known[wait] for wait in waits))
                for step in steps_of(entry):
                    needed = {*(name.identity for name in step.used()), *map(put, step.after)}
                    assert needed - sure[person] == set(), (section, number)
                    sure[person] |= {*(name.identity for name in step.made), *map(put, step.puts)}
                known[section, number] = sure[person]
                queue.pop(0)
        assert sum(map(len, queues)) < before, "somebody can always go on"


def put(name: str) -> str:
    return f"{name} under its last parent"


def list_of(share: Share, by_key: Mapping[str, Section]):
    """The steps of one list in order, each with the joins that stand before it."""
    for key in share.sections:
        for phase in by_key[key].phases:
            for number, entry in phase.numbered():
                yield key, number, entry, joins_at(share.joins, key, number)


def joins_at(joins: Sequence[Join], key: str, number: int) -> list[Join]:
    return [join for join in joins if (join.section, join.before) == (key, number)]


def test_a_forgotten_join_would_be_noticed() -> None:
    made = guide(hawker.settled(), Context(people=2))
    less = [replace(share, joins=()) for share in made.shares]
    with pytest.raises(AssertionError):
        check_shares(made.sections, less)


def test_without_several_people_there_are_no_joins_and_no_person_is_named() -> None:
    alone, one = (guide(hawker.settled(), Context(**said)) for said in ({}, {"people": 1}))
    assert alone == one and alone.shares == ()
    text = text_of(Context())
    assert "Person" not in text and not re.search(r"\bJoin \d", text)


def text_of(context: Context) -> str:
    outputs, findings = steps.emit(hawker.settled(), context)
    assert findings == ()
    return next(output.text for output in outputs if output.suffix == ".steps.txt")


def test_the_text_for_two_says_who_does_what_and_where_they_wait() -> None:
    text = text_of(Context(people=2))
    made: Guide = guide(hawker.settled(), Context(people=2))
    for share, name in zip(made.shares, "AB", strict=True):
        assert re.search(rf"^Person {name}\n#+$", text, re.M)
        for join in share.joins:
            before = f"{join.section} {join.before}"
            assert f"Join {join.number}. Before step {before} Person {name} needs" in text
            assert f"Join {join.number}: Person {name} goes on when step" in text
    assert [join.number for share in made.shares for join in share.joins] != []


def test_more_people_than_sections_leave_some_without_work() -> None:
    made = guide(hawker.settled(), Context(people=26))
    assert {len(share.sections) for share in made.shares} >= {0}
    check_shares(made.sections, made.shares)
    assert "Person Z" not in text_of(Context(people=26))


BUILD = ["build", "lantern.somite", "--sheet", "sheets/first.toml"]


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "lantern"]) == 0
    monkeypatch.chdir(tmp_path / "lantern")
    return tmp_path / "lantern"


def written() -> str:
    return Path("build/lantern.first.steps.txt").read_text("utf-8")


def test_people_on_the_command_line_share_the_steps_and_are_remembered(project, capsys) -> None:
    assert main([*BUILD, "--people", "2"]) == 0
    assert "Person A" in written()
    capsys.readouterr()
    assert main([*BUILD, "--people", "2"]) == 0
    assert "up to date" in capsys.readouterr().out
    assert main(BUILD) == 0
    assert "Person A" not in written(), "it is built again for one"


@pytest.mark.parametrize("people", ["0", "27", "-1", "two"])
def test_as_many_people_as_there_are_not_letters_for_is_wrong_usage(
    project, people, capsys
) -> None:
    try:
        status = main([*BUILD, "--people", people])
    except SystemExit as end:
        status = end.code
    assert status == 2
    assert "--people" in capsys.readouterr().err
    assert not Path("build").exists()


def test_the_cast_says_how_many_build_each(project, capsys) -> None:
    cast = Path("cast.toml")
    plain = cast.read_text("utf-8")
    cast.write_text(plain + "people = 2\n", "utf-8")
    assert main(["build"]) == 0
    assert "Person B" in written() or "Person A" in written()
    cast.write_text("people = 3\n" + plain + "people = 1\n", "utf-8")
    assert main(["build"]) == 0
    assert "Person A" not in written(), "what a build says goes before what stands at the top"
    for wrong in ("0", "27", '"two"', "true", "1.5"):
        cast.write_text(f"people = {wrong}\n" + plain, "utf-8")
        capsys.readouterr()
        assert main(["build"]) == 2 or main(["build"]) == 1
        assert 'for "people", found' in capsys.readouterr().err
