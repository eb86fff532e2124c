"""The plan: everything read comes first, whatever the order in which a rig lists its records."""

from __future__ import annotations

from dataclasses import replace

import rigs
from effort import lines_run
from hypothesis import given, settings
from hypothesis import strategies as st
from rigs import follow, node, rig

from somite.findings import Finding, Severity
from somite.ir import Apply, Constant, Feed, Gauge, Measure, Read, Rig
from somite.order import Plan, node_edges, order

RIGS = [rigs.spine(), rigs.arm(), rigs.lantern()]


def planned(made: Rig) -> Plan:
    plan, findings = order(made)
    assert findings == ()
    assert plan is not None
    return plan


def loops(made: Rig) -> tuple[Finding, ...]:
    plan, findings = order(made)
    assert plan is None
    return findings


@given(st.data())
@settings(max_examples=40, deadline=None)
def test_the_plan_is_the_same_however_the_records_are_shuffled(data: st.DataObject) -> None:
    made = data.draw(st.sampled_from(RIGS))
    shuffled = replace(
        made,
        nodes=tuple(data.draw(st.permutations(made.nodes))),
        constraints=tuple(data.draw(st.permutations(made.constraints))),
    )
    assert order(shuffled) == order(made)


def test_each_step_comes_after_what_it_reads() -> None:
    for made in RIGS:
        place = {step: k for k, step in enumerate(planned(made).steps)}
        assert all(place[before] < place[after] for before, after in node_edges(made))


def test_each_node_and_constraint_is_one_step() -> None:
    made = rigs.spine()
    names = [record.name for record in (*made.nodes, *made.constraints)]
    assert sorted(planned(made).steps) == sorted(names)


def test_a_chain_is_ridden_then_twisted_then_placed() -> None:
    steps = planned(rigs.spine()).steps
    ridden, twisted = steps.index("back/ride"), steps.index("back/twist")
    assert steps.index("path.above") < ridden < twisted < steps.index("back.1")
    assert steps.index("high") < twisted


def test_steps_that_do_not_depend_on_each_other_go_by_name() -> None:
    made = rig([node("b"), node("c"), node("a"), node("d", under="b")])
    assert planned(made).steps == ("a", "b", "c", "d")


def test_two_controls_may_drive_each_others_different_channels() -> None:
    made = rig(
        [node("otter"), node("badger")],
        [follow("otter", "badger", takes=("turn",)), follow("badger", "otter", takes=("move",))],
    )
    plan = planned(made)
    assert plan.split == ("badger", "otter")
    assert {"otter.place", "otter.turn", "otter.size"} < set(plan.steps)
    assert "otter" not in plan.steps
    place = {step: k for k, step in enumerate(plan.steps)}
    assert place["badger.turn"] < place["otter/follow"] < place["otter.turn"]
    assert place["otter.place"] < place["badger/follow"] < place["badger.place"]


def test_two_controls_may_feed_each_others_different_channels() -> None:
    half = Constant(0.5)
    feeds = (
        Feed("b.move.x/feed", "b.move.x", Apply("multiply", (Read("a.turn.y"), half))),
        Feed("a.turn.x/feed", "a.turn.x", Apply("multiply", (Read("b.move.y"), half))),
    )
    plan = planned(replace(rig([node("a"), node("b")]), feeds=feeds))
    assert plan.split == ("a", "b")


def test_a_feed_of_a_channel_comes_before_a_feed_that_reads_it() -> None:
    feeds = (
        Feed("a.turn.x/feed", "a.turn.x", Read("b.move.x")),
        Feed("b.move.x/feed", "b.move.x", Read("c.move.x")),
    )
    steps = planned(replace(rig([node("a"), node("b"), node("c")]), feeds=feeds)).steps
    assert steps.index("b.move.x/feed") < steps.index("a.turn.x/feed") < steps.index("a")


def test_a_gauge_comes_after_what_it_measures_and_before_what_reads_it() -> None:
    gauge = Gauge("spread", "spread", "length", Measure("distance", ("y", "z")))
    made = replace(
        rig([node("a"), node("y"), node("z")]),
        gauges=(gauge,),
        feeds=(Feed("a.move.x/feed", "a.move.x", Read("spread")),),
    )
    steps = planned(made).steps
    assert steps.index("z") < steps.index("spread") < steps.index("a.move.x/feed")
    assert steps.index("a.move.x/feed") < steps.index("a")


def test_a_true_loop_is_reported_with_each_of_its_lines() -> None:
    made = rig(
        [node("lamp", line=3), node("pole", line=4), node("sign", under="pole", line=5)],
        [follow("lamp", "sign", line=7), follow("pole", "lamp", line=8)],
    )
    (finding,) = loops(made)
    assert finding.code == "cycle"
    assert finding.severity is Severity.ERROR
    assert sorted(related.site.line for related in finding.related) == [5, 7, 8]
    for name in ("lamp", "lamp/follow", "pole", "pole/follow", "sign"):
        assert f'"{name}' in finding.message


def test_a_loop_of_one_statement_is_reported() -> None:
    made = replace(rig([node("a")]), feeds=(Feed("a.x/feed", "a.move.x", Read("a.move.x")),))
    (finding,) = loops(made)
    assert [related.site.line for related in finding.related] == []
    assert "a.x/feed" in finding.message


def test_two_loops_apart_are_two_findings() -> None:
    made = rig(
        [node(name) for name in "abcd"],
        [follow("a", "b"), follow("b", "a"), follow("c", "d"), follow("d", "c")],
    )
    assert len(loops(made)) == 2


def test_of_two_loops_through_a_name_the_shorter_is_told() -> None:
    made = rig(
        [node(name) for name in "abc"],
        [follow("a", "b", "c"), follow("b", "a"), follow("c", "b")],
    )
    (finding,) = loops(made)
    assert '"c' not in finding.message


def test_a_parent_loop_is_reported_with_both_lines() -> None:
    made = rig([node("a", under="b", line=4), node("b", under="a", line=9)])
    (finding,) = loops(made)
    assert sorted(related.site.line for related in finding.related) == [4, 9]


def test_a_grip_that_hangs_on_its_own_chain_is_a_loop() -> None:
    made = rigs.spine()
    nodes = tuple(
        replace(one, parent="back.7") if one.name == "high" else one for one in made.nodes
    )
    (finding,) = loops(replace(made, nodes=nodes))
    assert "back/ride" in finding.message


def test_a_loop_is_the_same_however_the_records_are_shuffled() -> None:
    made = rig(
        [node(name) for name in "abcd"],
        [follow("a", "b"), follow("b", "c"), follow("c", "a"), follow("d", "c")],
    )
    turned = replace(made, nodes=made.nodes[::-1], constraints=made.constraints[::-1])
    assert loops(turned) == loops(made)


def test_the_work_of_ordering_grows_with_the_size_of_the_rig() -> None:
    def work(count: int) -> int:
        nodes = [node("n0")]
        nodes += [node(f"n{k}", under=f"n{k - 1}") for k in range(1, count)]
        made = rig(nodes, [follow(f"n{k}", "n0") for k in range(1, count, 5)])
        return lines_run(lambda: planned(made))

    short = work(300)
    assert short > 10_000 and work(3_000) < 13 * short  # A queue adds a logarithm.
