"""The records of the instructions: what is done, in which order, with which numbers."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
import rigs
from heron import heron, settled
from hypothesis import given
from hypothesis import strategies as st

from somite.ir import Frame, Rig
from somite.spatial.rotation import quaternion_from_euler
from somite.target import Context
from somite.targets import steps
from somite.targets.steps.figures import figures_for, rounded
from somite.targets.steps.guide import guide
from somite.targets.steps.phrases import Voice, own_phrases
from somite.targets.steps.records import PHASES, Guide, Name, Phase, Saying, Step, steps_of
from somite.units import PI

RIGS = (heron, rigs.furnished, rigs.lantern, rigs.arm, rigs.spine)


def guide_of(rig: Rig) -> Guide:
    return guide(settled(rig), Context())


def all_steps(made: Guide) -> list[Step]:
    return [
        step
        for section in made.sections
        for phase in section.phases
        for entry in phase.entries
        for step in steps_of(entry)
    ]


def phases_of(made: Guide) -> dict[str, Phase]:
    """The phases of a rig without parts, of all its sections."""
    return {phase.key: phase for section in made.sections for phase in section.phases}


def steps_in(phase: Phase) -> list[Step]:
    return [step for entry in phase.entries for step in steps_of(entry)]


def said(value: object) -> str:
    text = Voice(own_phrases()).say(value)  # type: ignore[arg-type]
    return text.replace("\ue000", "").replace("\ue001", "")


def step_doing(made: Guide, action: str) -> Step:
    return next(step for step in all_steps(made) if said(step.action) == action)


def fact(step: Step, label: str) -> str:
    return next(said(fact.value) for fact in step.facts if fact.label == f"label.{label}")


@pytest.mark.parametrize("build", RIGS)
def test_nothing_is_referred_to_before_it_exists(build):
    made: set[str] = set()
    for step in all_steps(guide_of(build())):
        missing = [name for name in step.used() if name.identity not in made]
        assert missing == [], said(step.action)
        made.update(name.identity for name in step.made)


@pytest.mark.parametrize("build", RIGS)
def test_everything_of_the_rig_is_made_exactly_once(build):
    rig = build()
    made = [name.identity for step in all_steps(guide_of(rig)) for name in step.made]
    assert len(made) == len(set(made))
    dials = [f"{node.name}.{dial.name}" for node in rig.nodes for dial in node.dials]
    things = (*rig.nodes, *rig.chains, *rig.curves, *rig.gauges, *rig.lists, *rig.poses)
    assert {thing.name for thing in things}.union(dials) <= set(made)


@pytest.mark.parametrize("build", RIGS)
def test_a_name_is_always_spelled_as_in_the_step_that_made_it(build):
    spelled: dict[str, str] = {}
    for step in all_steps(guide_of(build())):
        for name in (*step.made, *step.mentioned()):
            assert spelled.setdefault(name.identity, name.spelled) == name.spelled


def test_every_constraint_feed_and_check_has_a_step_of_its_own():
    rig = heron()
    phases = phases_of(guide_of(rig))
    twists = [one for one in rig.constraints if one.name.endswith("/twist")]
    tied = len(rig.constraints) - len(twists) + len(rig.feeds) + len(rig.gauges)
    assert len(steps_in(phases["constraints"])) == tied
    assert len(steps_in(phases["twist"])) == 3, "a start, an end and a spread"
    trials = steps_in(phases["trials"])
    assert [said(step.action.values["check"]) for step in trials] == [c.name for c in rig.checks]


def test_phases_come_in_the_order_of_building():
    assert " ".join(PHASES) == (
        "groups skeleton curve grips controls hierarchy constraints twist limits lists"
    )
    made = guide_of(heron())
    kinds = [section.kind for section in made.sections]
    assert kinds == ["prepare", "part", "scale", "tidy", "prove", "trials"]
    # The lists and poses of the recipe itself hold things of every part, and come with the tidying.
    assert [phase.key for phase in made.sections[1].phases] == list(PHASES[:-1])


def test_steps_are_numbered_through_each_section_from_one():
    for section in guide_of(heron()).sections:
        numbers = [number for phase in section.phases for number, _ in phase.numbered()]
        assert numbers == list(range(1, section.count + 1))


def test_every_step_says_what_to_see():
    assert [said(step.action) for step in all_steps(guide_of(heron())) if not step.sees] == []


def test_a_joint_is_told_by_place_turns_axes_and_parent():
    # A bone straight up from (0, 1, 0) m: its +X points up, so that is a turn of 90 about Z alone.
    rig = straight_up()
    step = step_doing(guide_of(rig), "Make a joint named pole_1.")
    assert fact(step, "place") == "(0, 100, 0) cm"
    assert fact(step, "turns") == "X 0°, Y 0°, Z 90° (X first, then Y, then Z)"
    assert fact(step, "bone-axis") == "+X, pointing straight up: (0, 1, 0)"
    assert fact(step, "second-axis") == "+Y, pointing straight to the right: (-1, 0, 0)"
    assert fact(step, "parent") == "foot"


def straight_up() -> Rig:
    """Two bones of 50 and 25 cm straight up from a control at a metre's height."""
    turn = quaternion_from_euler((0.0, 0.0, PI / 2))
    places = [(0.0, 1.0, 0.0), (0.0, 1.5, 0.0)]
    joints = [
        rigs.node("pole.1", places[0], "foot", kind="joint", turn=turn, line=4, chain="pole"),
        rigs.node("pole.2", places[1], "pole.1", kind="joint", turn=turn, line=4, chain="pole"),
    ]
    foot = rigs.node("foot", (0.0, 0.25, 0.0), kind="group", line=3)
    from somite.ir import Chain

    chain = Chain("pole", ("pole.1", "pole.2"), (0.0, 1.75, 0.0), "+X", origin=rigs.at(4))
    return rigs.rig([foot, *joints], chains=(chain,))


def test_the_next_joint_of_a_chain_is_seen_from_the_one_before():
    made = guide_of(straight_up())
    (see,) = step_doing(made, "Make a joint named pole_2.").sees
    assert said(see) == "It stands 50 cm from pole_1, whose +X points straight at it."
    (see,) = step_doing(
        made, "Mark the end of the chain pole with a plain place named pole_end."
    ).sees
    assert said(see) == "It stands 25 cm from pole_2, whose +X points straight at it."


def test_a_first_joint_is_seen_from_its_parent():
    (see,) = step_doing(guide_of(straight_up()), "Make a joint named pole_1.").sees
    assert said(see) == "From foot it stands 75 cm up."


def test_a_parent_that_comes_later_is_given_in_the_hierarchy_phase():
    made = guide_of(heron())
    step = step_doing(made, "Make a joint named arm_1.")
    assert fact(step, "parent") == "none for now: its parent is still to come"
    assert step_doing(made, "Put arm_1 under high without moving it.")


def test_control_points_are_listed_exactly_and_counted_from_one():
    rig = heron()
    step = step_doing(
        guide_of(rig), "Draw a curve named path from 4 control points, exactly as listed."
    )
    assert step.table is not None
    first, *_, last = step.table.rows
    assert first == ("1", "0", "96", "1")
    assert last == ("4", "0", "146", "-4")
    assert fact(step, "knots") == "0, 0, 0, 0, 1, 1, 1, 1"


def test_shares_of_points_are_told_when_they_are_not_whole():
    made = rigs.spine()
    (path,) = made.curves
    shares = [replace(share, share=0.25) if share.point == 1 else share for share in path.shares]
    shares.append(replace(path.shares[3], point=1, share=0.75))
    rig = replace(made, curves=(replace(path, shares=tuple(shares)),))
    step = step_doing(guide_of(rig), "Let path_below move control points 1 and 2 of path.")
    assert step.table is not None
    assert step.table.rows == (("1", "100%"), ("2", "25%"))


def test_a_choice_of_leader_is_a_table_of_options():
    step = step_doing(
        guide_of(heron()),
        "Make satchel follow the world, body and high: place, turn and size, "
        "keeping the present offset.",
    )
    assert step.table is not None
    rows = [tuple(said(cell) for cell in row) for row in step.table.rows]
    assert rows == [("world", "the world"), ("body", "body"), ("high", "high")]


def test_weights_are_told_as_shares_of_the_whole():
    step = step_doing(
        guide_of(heron()),
        "Make strap follow low and high: place, turn and size, keeping the present offset.",
    )
    assert step.table is not None
    assert [said(row[1]) for row in step.table.rows] == ["25%", "75%"], "1 to 3"


def test_a_landing_says_where_the_follower_goes():
    rig = rigs.rig([
        rigs.node("crate", (0.0, 0.2, 0.0)),
        rigs.node("loaf", (0.5, 0.9, 0.1)),
    ], [replace(rigs.follow("loaf", "crate"), landing=True)])  # fmt: skip
    step = step_doing(
        guide_of(rig), "Make loaf land on crate: place, turn and size, with no offset."
    )
    assert "loaf now stands at (0, 20, 0) cm." in [said(see) for see in step.sees]


def test_a_formula_is_told_with_units_and_a_value_to_try():
    step = step_doing(guide_of(heron()), "Drive turn X of seat_tail by a formula.")
    formula = "turn X of seat_tail = roll of hand × 0.5, held between 0° and 30°"
    assert fact(step, "formula") == formula
    sees = [said(see) for see in step.sees]
    # Half of 90 is 45, which the formula holds at 30.
    assert "With roll of hand at 90°, turn X of seat_tail comes to 30°. Put it back." in sees


def test_a_map_is_a_small_table():
    step = step_doing(guide_of(heron()), "Drive move Z of seat_tail by a formula.")
    assert step.table is not None
    rows = [tuple(said(cell) for cell in row) for row in step.table.rows]
    assert rows == [("0°", "0 cm"), ("45°", "2 cm"), ("90°", "3 cm")]


def test_at_twice_its_size_every_place_is_twice_as_far_from_the_master():
    step = step_doing(guide_of(heron()), "Set size X, Y and Z of master to 2.")
    assert step.table is not None
    places = {said(row[0]): row[1:] for row in step.table.rows}
    assert places["seat"] == ("0", "192", "2"), "it stands at (0, 96, 1)"
    assert places["arm_end"] == ("140", "244", "10"), "it stands at (70, 122, 5)"
    assert "lantern" not in places, "it stays in the world"


def test_three_locks_of_a_part_are_told_as_one():
    step = step_doing(guide_of(heron()), "Lock these channels of low: size X, Y, Z and move X.")
    assert step.origin == rigs.at(7)


def test_an_excuse_is_told_beside_its_law():
    made = guide_of(heron())
    calm = next(step for step in all_steps(made) if step.action.key == "do.law-calm")
    (note,) = calm.notes
    assert said(note) == "An exception is declared for feather_left: it is blown by the wind"


def test_a_pair_is_tried_once_with_the_signs_that_its_mirror_states():
    made = guide_of(heron())
    mirror = next(step for step in all_steps(made) if step.action.key == "do.law-mirror")
    assert mirror.table is not None
    rows = [tuple(said(cell) for cell in row) for row in mirror.table.rows]
    assert rows == [("feather_left", "feather_right", "move X, turn Y and turn Z")]


def test_corrections_of_the_sheet_are_among_the_materials():
    rows = guide_of(heron()).materials.nudges.rows
    told = [tuple(said(cell) for cell in row) for row in rows]
    assert told == [("arm_2", "(0, 0, -0.3) cm", "the sleeve is thick")]


def test_materials_count_every_kind():
    rig = heron()
    counts = dict(guide_of(rig).materials.counts)
    assert counts["joint"] == len([node for node in rig.nodes if node.kind == "joint"])
    assert counts["follow"] == 6


def test_a_node_taken_channel_by_channel_is_a_warning_at_its_line():
    made = settled(heron())
    split = replace(made, plan=replace(made.plan, split=("hand",)))
    _, findings = steps.emit(split, Context())
    (finding,) = findings
    assert (finding.code, finding.severity) == ("steps-channel-loop", "warning")
    assert finding.site == rigs.at(40)[0]


def test_names_that_no_node_has_are_spelled_as_nodes_are():
    rig = heron()
    upper = replace(rig, nodes=tuple(replace(n, spelled=n.spelled.upper()) for n in rig.nodes))
    dashed = replace(
        rig, nodes=tuple(replace(n, spelled=n.name.replace(".", "-")) for n in rig.nodes)
    )
    for changed, expected in ((upper, "ARM_END"), (dashed, "arm-end"), (rig, "arm_end")):
        made = [name for step in all_steps(guide_of(changed)) for name in step.made]
        assert Name("arm.end", expected) in made


@pytest.mark.parametrize(
    ("direction", "words"),
    [
        ((0.0, 1.0, 0.0), "straight up"),
        ((0.0, 0.0, -1.0), "straight to the back"),
        ((-1.0, 0.0, 0.0), "straight to the right"),
        ((0.0, 0.99, 0.14), "nearly up"),
        ((0.0, 0.9, 0.4359), "up and somewhat to the front"),
        ((0.0, 0.7071, 0.7071), "up and to the front alike"),
    ],
)
def test_directions_are_told_by_the_bodys_own_sides(direction, words):
    assert said(figures_for("cm", "+Y", "+Z").way(direction)) == words


def test_sides_follow_the_axes_of_the_recipe():
    # Up +Z and front -Y: left is up × front = Z × -Y = +X.
    figures = figures_for("m", "+Z", "-Y")
    assert figures.left_axis == "+X"
    assert said(figures.way((0.0, -1.0, 0.0))) == "straight to the front"


@pytest.mark.parametrize(
    ("unit", "told"), [("mm", "1234.568 mm"), ("cm", "123.457 cm"), ("m", "1.23457 m")]
)
def test_lengths_are_rounded_to_what_a_hand_can_use(unit, told):
    assert figures_for(unit, "+Y", "+Z").length(1.2345678) == told


@given(st.floats(-1e6, 1e6), st.integers(0, 6))
def test_a_rounded_number_is_near_and_has_no_needless_figures(value, places):
    text = rounded(value, places)
    assert re.fullmatch(r"-?\d+(\.\d*[1-9])?", text)
    assert text != "-0"
    assert abs(float(text) - value) <= 0.5000001 * 10**-places


def test_every_phrase_that_the_code_names_exists():
    folder = Path(steps.__file__).parent
    code = "".join(path.read_text("utf-8") for path in sorted(folder.glob("*.py")))
    sections = {key.partition(".")[0] for key in own_phrases()}
    named = set(re.findall(r'"((?:' + "|".join(sections) + r')\.[a-z][a-z-]*)"', code))
    named.discard("phrases.toml")
    assert len(named) > 150
    assert named <= set(own_phrases())


def test_every_kind_of_thing_that_is_turned_keeps_its_turn():
    # A place alone must not hide a turn: the same rig with one control turned gives other steps.
    plain = heron()
    nodes = tuple(
        replace(n, rest=Frame(n.rest.place, quaternion_from_euler((0.0, 0.5, 0.0))))
        if n.name == "guide"
        else n
        for n in plain.nodes
    )
    step = step_doing(guide_of(replace(plain, nodes=nodes)), "Make a control named guide.")
    assert fact(step, "turns") == "X 0°, Y 28.65°, Z 0° (X first, then Y, then Z)"


def test_a_saying_knows_the_names_in_it():
    inner = Saying("channel.turn-x", {"node": Name("seat", "seat")})
    step = Step(Saying("do.feed", {"target": inner}))
    assert step.used() == (Name("seat", "seat"),)
