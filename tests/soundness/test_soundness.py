"""Static findings: each mistake is reported once, at its own line; sound rigs are left alone."""

from __future__ import annotations

from dataclasses import replace

import pytest
import rigs
from rigs import at, follow, node, rig

from somite.findings import Finding
from somite.ir import (
    Axis,
    Constant,
    Constraint,
    Curve,
    Dial,
    Excuse,
    Face,
    Feed,
    Limit,
    Node,
    Ride,
    Rig,
    Share,
)
from somite.soundness import CHECKS, EXCUSED_BY, examine


def codes(made: Rig) -> list[str]:
    return [finding.code for finding in examine(made)]


def only(made: Rig) -> Finding:
    (finding,) = examine(made)
    return finding


def line(finding: Finding) -> int:
    assert finding.site is not None
    return finding.site.line


def shared(*shares: Share, excuses: tuple[Excuse, ...] = ()) -> Rig:
    made = rigs.spine()
    curve = replace(made.curves[0], shares=shares, excuses=excuses)
    return replace(made, curves=(curve,))


def own(point: int, grip: str = "path.below", share: float = 1.0) -> Share:
    return Share(point, grip, share, at(13 if grip == "path.below" else 14))


def with_curve(made: Rig, curve: Curve) -> Rig:
    return replace(made, curves=(curve,))


@pytest.mark.parametrize("made", [rigs.spine(), rigs.arm(), rigs.lantern()])
def test_a_sound_rig_has_no_findings(made: Rig) -> None:
    assert examine(made) == ()


def test_two_whole_owners_of_a_point_are_reported_at_the_second() -> None:
    finding = only(shared(*[own(k) for k in range(4)], own(2, "path.above")))
    assert (finding.code, line(finding)) == ("point-owned-twice", 14)
    assert "point 3" in finding.message


def test_points_that_no_grip_owns_are_one_finding() -> None:
    finding = only(shared(own(0), own(1)))
    assert (finding.code, line(finding)) == ("point-unowned", 12)
    assert "points 3, 4" in finding.message


def test_a_curve_without_grips_may_be_carried_by_a_parent() -> None:
    made = rigs.spine()
    curve = replace(made.curves[0], shares=(), parent="body")
    assert codes(with_curve(made, curve)) == []


def test_shares_that_do_not_sum_to_one_are_reported() -> None:
    finding = only(shared(own(0), own(1), own(2, share=0.5), own(2, "path.above", 0.3), own(3)))
    assert finding.code == "shares-not-one"
    assert "80%" in finding.message


def test_shares_that_sum_to_one_are_sound() -> None:
    thirds = [own(2, share=1 / 3), own(2, "path.above", 2 / 3)]
    assert codes(shared(own(0), own(1), *thirds, own(3))) == []


@pytest.mark.parametrize("law", ["ownership", "once"])
def test_an_excuse_for_ownership_silences_the_point_findings_and_no_other_does(law: str) -> None:
    made = shared(own(0), own(1), excuses=(Excuse(law, "a whip with a loose end"),))
    assert codes(made) == ([] if law == "ownership" else ["point-unowned"])


def test_an_excuse_on_the_grip_counts_for_its_points() -> None:
    made = shared(*[own(k) for k in range(4)], own(2, "path.above"))
    excuse = Excuse("ownership", "it is meant")
    nodes = tuple(
        replace(one, excuses=(excuse,)) if one.name == "path.above" else one for one in made.nodes
    )
    assert codes(replace(made, nodes=nodes)) == []


def test_a_curve_under_a_control_that_leads_its_grips_is_moved_twice() -> None:
    made = rigs.spine()
    finding = only(with_curve(made, replace(made.curves[0], parent="low")))
    assert (finding.code, line(finding)) == ("curve-moved-twice", 12)
    assert [related.site.line for related in finding.related] == [13]


def test_a_curve_under_what_carries_its_grips_is_moved_twice() -> None:
    made = rigs.spine()
    assert codes(with_curve(made, replace(made.curves[0], parent="master"))) == [
        "curve-moved-twice"
    ]


def test_a_curve_under_a_node_that_its_grips_do_not_know_is_sound() -> None:
    made = rigs.spine()
    made = replace(made, nodes=(*made.nodes, node("stage")))
    assert codes(with_curve(made, replace(made.curves[0], parent="stage"))) == []


def test_an_excuse_for_once_silences_a_curve_moved_twice() -> None:
    made = rigs.spine()
    excused = replace(made.curves[0], parent="low", excuses=(Excuse("once", "it doubles"),))
    assert codes(with_curve(made, excused)) == []


def test_a_channel_with_two_constraints_is_reported_with_both_lines() -> None:
    first = follow("prop", "hand", takes=("move", "turn"), line=7)
    second = replace(follow("prop", "head", takes=("turn",), line=8), name="prop/follow-turn")
    finding = only(rig([node("hand"), node("head"), node("prop")], [first, second]))
    assert (finding.code, line(finding)) == ("driven-twice", 8)
    assert [related.site.line for related in finding.related] == [7]
    assert 'the turn of "prop"' in finding.message


def test_constraints_on_different_channels_of_a_node_are_sound() -> None:
    made = rig(
        [node("hand"), node("head"), node("prop")],
        [
            follow("prop", "hand", takes=("move",)),
            replace(follow("prop", "head", takes=("turn", "size")), name="prop/follow-turn-size"),
        ],
    )
    assert codes(made) == []


def test_a_chain_ridden_twice_is_one_finding_for_all_its_joints() -> None:
    made = rigs.spine()
    again = Ride("back/ride-2", "back", "path", "seat", origin=at(19))
    finding = only(replace(made, constraints=(*made.constraints, again)))
    assert finding.code == "driven-twice"
    assert "6 more" in finding.message


def test_a_twist_goes_on_from_a_ride_and_does_not_clash_with_it() -> None:
    assert codes(rigs.spine(twisted=True)) == []


def test_a_chain_twisted_twice_is_reported() -> None:
    made = rigs.spine()
    again = replace(made.constraints[-1], name="back/twist-2", origin=at(21))
    constraints: tuple[Constraint, ...] = (*made.constraints, again)
    assert codes(replace(made, constraints=constraints)) == ["driven-twice"]


@pytest.mark.parametrize("leader", ["body", "hand", "ring"])
def test_a_leader_that_the_node_itself_carries_is_reported(leader: str) -> None:
    nodes = [node("body", line=3), node("hand", under="body"), node("ring", under="hand")]
    finding = only(rig(nodes, [follow("body", leader, line=9)]))
    assert (finding.code, line(finding)) == ("leader-in-subtree", 9)
    assert f'"{leader}"' in finding.message


def test_a_leader_beside_the_node_is_sound() -> None:
    nodes = [node("body"), node("hand", under="body"), node("ring", under="body")]
    assert codes(rig(nodes, [follow("hand", "ring")])) == []


def test_a_goal_under_the_chain_that_reaches_for_it_is_reported() -> None:
    made = rigs.arm()
    nodes = tuple(replace(one, parent="arm.2") if one.name == "hand" else one for one in made.nodes)
    assert codes(replace(made, nodes=nodes)) == ["leader-in-subtree"]


def test_a_chain_as_deep_as_a_thousand_nodes_is_looked_through_without_recursion() -> None:
    nodes = [node("n0")] + [node(f"n{k}", under=f"n{k - 1}") for k in range(1, 5000)]
    assert codes(rig(nodes, [follow("n1", "n4999")])) == ["leader-in-subtree"]


def test_a_point_that_the_curve_does_not_have_is_reported_at_its_grip() -> None:
    finding = only(shared(*[own(k) for k in range(4)], own(4, "path.above")))
    assert (finding.code, line(finding)) == ("point-missing", 14)
    assert "point 5" in finding.message


@pytest.mark.parametrize("up", ["+Z", "-Z"])
def test_an_axis_that_points_cannot_be_up_as_well(up: Axis) -> None:
    made = rigs.lantern()
    constraints = tuple(
        replace(one, up=up) if isinstance(one, Face) else one for one in made.constraints
    )
    assert codes(replace(made, constraints=constraints)) == ["face-axes-alike"]


def test_names_that_are_spelled_alike_are_reported_at_the_second() -> None:
    second = replace(node("arm_left", line=9), spelled="arm_left")
    finding = only(rig([node("arm.left", line=4), second]))
    assert (finding.code, line(finding)) == ("name-clash", 9)
    assert [related.site.line for related in finding.related] == [4]


def fed(target: Node, *channels: str) -> Rig:
    feeds = tuple(
        Feed(f"{channel}/feed", channel, Constant(0.1), origin=at(20 + k))
        for k, channel in enumerate(channels)
    )
    return replace(rig([target]), feeds=feeds)


def test_a_feed_of_a_locked_channel_is_reported_at_the_feed() -> None:
    finding = only(fed(replace(node("ball", line=5), locks=("turn.x",)), "ball.turn.x"))
    assert (finding.code, line(finding)) == ("locked-and-fed", 20)
    assert [related.site.line for related in finding.related] == [5]


def test_a_feed_beside_a_locked_channel_is_sound() -> None:
    assert codes(fed(replace(node("ball"), locks=("turn.x",)), "ball.turn.y")) == []


def test_two_feeds_of_a_channel_are_reported_at_the_second() -> None:
    finding = only(fed(node("ball"), "ball.turn.x", "ball.turn.x"))
    assert (finding.code, line(finding)) == ("fed-twice", 21)


@pytest.mark.parametrize(
    ("limit", "expected"),
    [
        (Limit("turn.x", 0.1, 0.5), ["limit-excludes-default"]),
        (Limit("turn.x", -0.5, 0.5), []),
        (Limit("turn.x", 0.0, 0.5), []),
        (Limit("size.x", 0.5, 2.0), []),
        (Limit("size.x", 0.1, 0.5), ["limit-excludes-default"]),
        (Limit("move.y", 1.0, -1.0), ["limit-excludes-default"]),
    ],
)
def test_limits_include_the_default(limit: Limit, expected: list[str]) -> None:
    assert codes(rig([replace(node("a"), limits=(limit,))])) == expected


@pytest.mark.parametrize(
    ("dial", "expected"),
    [
        (Dial("roll", "angle", 0.0, -0.5, 0.5), []),
        (Dial("roll", "angle", 0.9, -0.5, 0.5), ["limit-excludes-default"]),
        (Dial("roll", "angle", 7.0, None, None), []),
        (Dial("space", "number", 1.0, options=("world", "body")), []),
        (Dial("space", "number", 2.0, options=("world", "body")), ["limit-excludes-default"]),
    ],
)
def test_the_range_of_a_dial_includes_its_default(dial: Dial, expected: list[str]) -> None:
    assert codes(rig([node("a", dials=(dial,))])) == expected


def test_a_limit_on_a_locked_channel_is_a_warning() -> None:
    limited = replace(node("a"), locks=("turn.x",), limits=(Limit("turn.x", -1.0, 1.0),))
    finding = only(rig([limited]))
    assert (finding.code, finding.severity.value) == ("limit-on-locked", "warning")


def test_every_finding_has_help() -> None:
    made = rig(
        [node("a"), replace(node("b"), spelled="a", locks=("turn.x",))],
        [follow("a", "a"), follow("b", "a"), replace(follow("b", "a"), name="b/follow-2")],
    )
    made = replace(made, feeds=(Feed("f", "b.turn.x", Constant(0.0)),) * 2)
    found = examine(made)
    assert len(found) > 4
    assert all(finding.help for finding in found)


def test_the_excuses_name_laws_and_every_check_is_listed_once() -> None:
    laws = {"rest", "travel", "use", "ownership", "once", "mirror", "calm", "twist", "names"}
    assert set(EXCUSED_BY.values()) <= laws
    assert len(set(CHECKS)) == len(CHECKS)
