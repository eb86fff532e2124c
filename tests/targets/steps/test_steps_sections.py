"""Sections by part: in an order that can be followed, both sides told once, changes kept local."""

from __future__ import annotations

import cProfile
import pstats
import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from itertools import pairwise
from pathlib import Path

import hawker
import pytest

import somite
from somite.settle import Settled
from somite.target import Context
from somite.targets import steps
from somite.targets.steps.guide import guide
from somite.targets.steps.phrases import Voice, own_phrases
from somite.targets.steps.records import Both, Guide, Section, Step, steps_of
from somite.targets.steps.views import page

HERE = Path(__file__).parent
RECIPES = HERE.parents[2] / "recipes"
TROUPE = (
    ("upright", "tansy_heron.toml"),
    ("upright", "juniper_fox.toml"),
    ("four_legged", "four_legged/dapple_mule.toml"),
    ("long_necked", "long_necked/thistle_goose.json"),
    ("limbless", "limbless/lisle_snake.toml"),
    ("many_armed", "many_armed/ambrosia_spider.toml"),
)
HAWKERS = ("hawker", "uneven hawker")


@cache
def rig_of(name: str) -> Settled:
    """A settled rig: a hawker, or one of the troupe by its recipe and sheet."""
    if name in HAWKERS:
        return hawker.settled(hawker.SHEET if name == "hawker" else hawker.UNEVEN)
    recipe, _, sheet = name.partition(" of ")
    made = somite.compile(RECIPES / f"{recipe}.somite", RECIPES / "sheets" / sheet)
    assert made.settled is not None
    return made.settled


EVERYONE = (*HAWKERS, *(f"{recipe} of {sheet}" for recipe, sheet in TROUPE))


def done(made: Guide) -> Iterator[Step]:
    """Every step as it is done, those of both sides one after the other."""
    for section in made.sections:
        for phase in section.phases:
            for entry in phase.entries:
                yield from steps_of(entry)


def titled(made: Guide) -> dict[str, Section]:
    return {section.key: section for section in made.sections}


def said(value: object) -> str:
    text = Voice(own_phrases()).say(value)  # type: ignore[arg-type]
    return text.replace("\ue000", "").replace("\ue001", "")


@pytest.mark.parametrize("name", EVERYONE)
def test_whole_characters_can_be_followed_in_order(name: str) -> None:
    made: set[str] = set()
    there: set[str] = set()
    for step in done(guide(rig_of(name), Context())):
        assert [one for one in step.used() if one.identity not in made] == [], said(step.action)
        assert set(step.after) <= there, said(step.action)
        made.update(one.identity for one in step.made)
        there.update(step.puts)
    nodes = {node.name for node in rig_of(name).rig.nodes}
    assert nodes <= made and nodes <= there, "everything is made, and ends under its parent"


@pytest.mark.parametrize("name", EVERYONE)
def test_telling_both_sides_once_leaves_nothing_out_and_adds_nothing(name: str) -> None:
    # Which of two parents comes first may differ with the order, so that orders are not compared.
    once = Counter(told(step) for step in done(guide(rig_of(name), Context())))
    alone = Counter(told(step) for step in done(guide(rig_of(name), Context(), together=False)))
    assert sum(once.values()) == sum(alone.values())
    assert once == alone


def told(step: Step) -> tuple[object, ...]:
    """All that a step says, as something that can be counted."""
    rows = [tuple(said(cell) for cell in row) for row in step.table.rows] if step.table else []
    facts = [(fact.label, said(fact.value)) for fact in step.facts]
    sayings = [said(one) for one in (*step.notes, *step.sees)]
    return said(step.action), *facts, *rows, *sayings, *(name.spelled for name in step.made)


def test_sections_are_the_parts_of_the_recipe_with_what_they_hold() -> None:
    made = titled(guide(rig_of("hawker"), Context()))
    assert list(made) == [
        *("prepare", "hawker", "trunk", "sleeve", "arm"),
        *("scale", "tidy", "prove", "trials arm"),
    ]
    assert made["arm"].parts == ("arm_left", "arm_right")
    assert made["arm"].counts == {"joint": 6, "control": 4, "constraint": 4, "feed": 2}
    assert made["hawker"].counts == {"joint": 1, "control": 1, "constraint": 1, "feed": 0}


@pytest.mark.parametrize("name", EVERYONE)
def test_the_counts_of_sections_are_those_of_the_whole_rig(name: str) -> None:
    rig = rig_of(name).rig
    found: Counter[str] = Counter()
    for section in guide(rig_of(name), Context()).sections:
        found.update(section.counts)
    kinds = Counter(node.kind for node in rig.nodes)
    assert (found["joint"], found["control"]) == (kinds["joint"], kinds["control"])
    assert (found["constraint"], found["feed"]) == (len(rig.constraints), len(rig.feeds))


def test_what_waits_for_a_later_part_is_a_join_that_names_who_waited() -> None:
    made = titled(guide(rig_of("hawker"), Context()))
    joins = {
        key: (
            phase.parts,
            [said(step.action) for entry in phase.entries for step in steps_of(entry)],
        )
        for key, section in made.items()
        for phase in section.phases
        if phase.key == "join"
    }
    assert joins == {
        "trunk": (
            ("hawker",),
            [
                "Put lantern_left under trunk_chest without moving it.",
                "Put lantern_right under trunk_chest without moving it.",
            ],
        ),
        "arm": (
            ("hawker", "sleeve_left", "sleeve_right"),
            [
                "Put tray under arm_left_bone_fore without moving it.",
                "Put sleeve_left_hem under arm_left_bone_fore without moving it.",
                "Put sleeve_right_hem under arm_right_bone_fore without moving it.",
            ],
        ),
    }


def test_a_section_names_what_it_takes_from_earlier_ones() -> None:
    sleeve = titled(guide(rig_of("hawker"), Context()))["sleeve"]
    (need,) = sleeve.needs
    assert (need.section, [name.spelled for name in need.names]) == ("trunk", ["trunk_sway"])
    at = titled(guide(rig_of("hawker"), Context()))["trunk"]
    steps_by_number = dict(pair for phase in at.phases for pair in phase.numbered())
    assert said(steps_by_number[need.step].action) == "Make a control named trunk_sway."


def test_what_is_alike_on_both_sides_is_told_once() -> None:
    made = titled(guide(rig_of("hawker"), Context()))
    entries = [entry for phase in made["arm"].phases for entry in phase.entries]
    alone = [said(entry.action) for entry in entries if not isinstance(entry, Both)]
    assert alone == ["Put tray under arm_left_bone_fore without moving it."]
    assert made["arm"].work == 2 * len(entries) - 1
    lanterns = [
        entry
        for phase in made["hawker"].phases
        for entry in phase.entries
        if "lantern" in said(steps_of(entry)[0].action)
    ]
    assert isinstance(lanterns[0], Both), "also where the recipe itself has a mirror block"


def test_where_the_sheet_gives_other_numbers_both_sides_are_written_out() -> None:
    made = titled(guide(rig_of("uneven hawker"), Context()))
    entries = [entry for phase in made["arm"].phases for entry in phase.entries]
    alone = [entry for entry in entries if not isinstance(entry, Both)]
    fores = [step for step in alone if said(step.action).endswith("_bone_fore.")]
    assert [said(step.action) for step in fores] == [
        "Make a joint named arm_left_bone_fore.",
        "Make a joint named arm_right_bone_fore.",
    ]
    places = [said(fact.value) for step in fores for fact in step.facts][::5]
    assert places == ["(40, 130, -4) cm", "(-38, 121, -6) cm"], "as the sheet says"
    assert alone.index(fores[1]) == alone.index(fores[0]) + 1
    assert isinstance(made["sleeve"].phases[0].entries[0], Both), "the sleeves are still alike"


def test_a_thing_that_only_stands_elsewhere_is_no_mirror_image_either() -> None:
    uneven = "shoulder = { left = [15, 136, 0], right = [-15, 133, 0] }"
    sheet = hawker.SHEET.replace("shoulder = [15, 136, 0]", uneven)
    made = titled(guide(hawker.settled(sheet), Context()))
    lanterns = [
        entry
        for phase in made["hawker"].phases
        for entry in phase.entries
        if said(steps_of(entry)[0].action).startswith("Make an empty group named lantern")
    ]
    assert len(lanterns) == 2 and not any(isinstance(entry, Both) for entry in lanterns)


def test_sides_that_are_hardly_alike_have_a_section_each() -> None:
    # Juniper's right leg is a turned table leg: none of its joints stands where a mirror puts it.
    made = titled(guide(rig_of("upright of juniper_fox.toml"), Context()))
    assert {"leg_left", "leg_right"} <= made.keys()
    assert "arm" in made, "her arms are alike"
    for key in ("leg_left", "leg_right"):
        first = [phase.entries[0] for phase in made[key].phases if phase.key == "skeleton"]
        assert said(steps_of(first[0])[0].action).startswith(f"Make a joint named {key}_")


# Reading as a person reads: the text for the left, turned by the rule of the page for the right.


@pytest.mark.parametrize("name", EVERYONE)
def test_the_words_for_both_sides_read_by_their_rule_are_those_written_out(name: str) -> None:
    settled, voice = rig_of(name), Voice(own_phrases())
    twins = {
        node.spelled: settled.rig.node(node.mirror.twin).spelled
        for node in settled.rig.nodes
        if node.mirror is not None
    }
    written: dict[str, list[dict]] = {}
    for step in steps_in(page(guide(settled, Context(), together=False), voice)):
        written.setdefault(step["action"], []).append(step)
    both = [step for step in steps_in(page(guide(settled, Context()), voice)) if step["other"]]
    assert both or name.startswith("limbless")
    for step in both:
        right = read_for_the_right(step, twins)
        assert any(agrees(right, one) for one in written[right["action"]]), right["action"]


def steps_in(data: dict) -> list[dict]:
    return [
        step
        for section in data["sections"]
        for phase in section["phases"]
        for step in phase["steps"]
    ]


SIDE = {"left": "right", "right": "left"}


def turned(text: str, twins: dict[str, str]) -> str:
    """A text by the rule: other names, left for right, and the other sign of X in every place."""
    pieces = text.replace("\ue001", "\ue000").split("\ue000")
    for index, piece in enumerate(pieces):
        if index % 2:
            swapped = re.sub(r"(?<![a-z])(left|right)(?![a-z])", lambda m: SIDE[m[1]], piece)
            pieces[index] = "<" + twins.get(piece, swapped) + ">"
        else:
            # Directions, and the side that a trial is for; what an author writes else is no side.
            sided = re.sub(r"(to the |“)(left|right)\b", lambda m: m[1] + SIDE[m[2]], piece)
            pieces[index] = re.sub(r"\((-?)([\d.]+)(, [^()]+\) [a-z]+)", other_sign, sided)
    return "".join(pieces)


def other_sign(found: re.Match[str]) -> str:
    sign = "-" if not found[1] and found[2] != "0" else ""
    return f"({sign}{found[2]}{found[3]}"


def read_for_the_right(step: dict, twins: dict[str, str]) -> dict:
    other = step["other"]
    facts = {fact["label"]: turned(fact["value"], twins) for fact in step["facts"]}
    facts.update((fact["label"], marked(fact["value"])) for fact in other["facts"])
    rows = (other["table"] or step["table"] or {"rows": []})["rows"]
    read = marked if other["table"] else lambda cell: turned(cell, twins)
    named = re.findall("\ue000(.*?)\ue001", other["said"])
    action = other["action"] or turned(step["action"], twins)
    right = {
        "facts": facts,
        "rows": [[read(cell) for cell in row] for row in rows],
        "sees": {turned(see, twins) for see in step["sees"]},
        "said": {marked(one) for one in (*other["sees"], *other["notes"])},
        "action": re.sub("<(.*?)>", "\ue000\\1\ue001", action),
    }
    assert set(named) <= set(re.findall("\ue000(.*?)\ue001", right["action"]))
    return right


def marked(text: str) -> str:
    return text.replace("\ue000", "<").replace("\ue001", ">")


def agrees(right: dict, step: dict) -> bool:
    facts = {fact["label"]: marked(fact["value"]) for fact in step["facts"]}
    rows = step["table"]["rows"] if step["table"] else []
    sees = {marked(see) for see in step["sees"]}
    return (
        right["facts"] == facts
        and right["rows"] == [[marked(cell) for cell in row] for row in rows]
        and sees <= right["sees"] | right["said"]
        and right["said"] <= sees | {marked(note) for note in step["notes"]}
    )


# Building from the text alone, as a person would, and comparing with the rig.


@pytest.mark.parametrize("name", EVERYONE)
def test_who_builds_from_the_text_gets_the_rig(name: str) -> None:
    rotation = pytest.importorskip("scipy.spatial.transform").Rotation
    rig = rig_of(name).rig
    built = built_from(text_of(name))
    metres = {"cm": 0.01, "mm": 0.001, "m": 1.0}[rig.unit]
    spelled = {node.name: node.spelled for node in rig.nodes}
    for node in rig.nodes:
        thing = built[node.spelled]
        assert thing["kind"] == ("socket" if node.socket else node.kind), node.name
        assert thing["parent"] == (spelled[node.parent] if node.parent else None), node.name
        place = [number * metres for number in thing["place"]]
        assert place == pytest.approx(node.rest.place, abs=0.51e-5), node.name
        # "X first, then Y, then Z", about fixed axes: extrinsic turns, in scipy's words.
        turn = rotation.from_euler(thing["order"], thing["turns"], degrees=True)
        off = (turn.inv() * rotation.from_quat(node.rest.turn)).magnitude()
        # Angles are told to 0.01°; near straight up the three of them add their roundings.
        assert off < 3e-4, node.name
    joints = [node.name for node in rig.nodes if node.kind == "joint"]
    assert len(joints) == len([thing for thing in built.values() if thing["kind"] == "joint"])


@pytest.mark.parametrize("name", EVERYONE)
def test_who_ties_from_the_text_ties_what_the_rig_ties(name: str) -> None:
    rig = rig_of(name).rig
    spelled = {node.name: node.spelled for node in rig.nodes}
    wanted = Counter(
        (spelled[one.node], tuple(spelled.get(leader.node or "", "") for leader in one.leaders))
        for one in rig.constraints
        if type(one).__name__ == "Follow"
    )
    assert Counter(follows_in(text_of(name))) == wanted


@cache
def text_of(name: str) -> str:
    outputs, findings = steps.emit(rig_of(name), Context())
    assert findings == ()
    return next(output.text for output in outputs if output.suffix == ".steps.md")


def told_steps(text: str) -> Iterator[tuple[str, str]]:
    """Each step of the Markdown text as its action and what is told below; the right one apart.

    What is said of the right is read over what is said of the left, with sides exchanged.
    """
    for piece in re.split(r"^#### ", text, flags=re.M)[1:]:
        head, _, body = piece.partition("\n")
        action = unescaped(head.partition(". ")[2])
        body = re.split(r"^#", body, flags=re.M)[0]
        left, both, right = body.partition("\nThen the same on the right")
        yield action, unescaped(left)
        if both:
            own = unescaped(right)
            told = re.search(r"but for this:\n\n([A-Z][^\n]*\.)\n", own)
            action = re.sub(r"`[^`]*`", lambda name: exchanged(name[0]), action)
            action = told[1] if told and not told[1].startswith("*") else action
            read = re.sub(r"`[^`]*`", lambda name: exchanged(name[0]), unescaped(left))
            labels = dict(re.findall(r"^- ([^:]+): (.*)$", own, re.M))
            for label, value in labels.items():
                read = re.sub(rf"^- {label}: .*$", f"- {label}: {value}", read, flags=re.M)
            yield action, read


def unescaped(text: str) -> str:
    return re.sub(r"\\([\\`*_{}\[\]<>#|~])", r"\1", text)


def exchanged(name: str) -> str:
    return re.sub(r"(?<![a-z])(left|right)(?![a-z])", lambda found: SIDE[found[1]], name)


KINDS = {
    "Make a joint": "joint",
    "Make a control": "control",
    "Make a grip": "grip",
    "Make an empty group": "group",
    "Make a socket": "socket",
}


def built_from(text: str) -> dict[str, dict]:
    """The nodes that somebody has who does what the text says, parents as they are in the end."""
    built: dict[str, dict] = {}
    for action, body in told_steps(text):
        facts = dict(re.findall(r"^- ([^:]+): (.*)$", body, re.M))
        kind = next((kind for start, kind in KINDS.items() if action.startswith(start)), None)
        if kind is not None:
            name = re.findall(r"`([^`]*)`", action)[0]
            assert name not in built, f"{name} is made twice"
            parent = re.match(r"`(.*)`", facts["Parent"])
            assert parent is None or parent[1] in built, f"{name} is made before its parent"
            place = re.match(r"\((.*), (.*), (.*)\) ", facts["Place"])
            assert place is not None
            turns = re.match(
                r"X (.*)°, Y (.*)°, Z (.*)° \((.) first, then (.), then (.)\)", facts["Turns"]
            )
            angles = dict(zip("xyz", map(float, turns.groups()[:3]), strict=True)) if turns else {}
            order = "".join(turns.groups()[3:]).lower() if turns else "xyz"
            built[name] = {
                "kind": kind,
                "parent": parent[1] if parent else None,
                "place": [float(number) for number in place.groups()],
                "order": order,
                "turns": [angles.get(axis, 0.0) for axis in order],
            }
        put = re.fullmatch(r"Put `(.*)` under `(.*)` without moving it\.", action)
        if put and put[1] in built:
            assert put[2] in built and built[put[1]]["parent"] is None
            built[put[1]]["parent"] = put[2]
    return built


def follows_in(text: str) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each follower with its leaders, in order; the world is no name."""
    for action, _ in told_steps(text):
        found = re.match(r"Make `(.*?)` (?:follow|land on) (.*): (?:place|turn|size)", action)
        if found:
            leaders = re.split(r", | and ", found[2])
            yield found[1], tuple(one.strip("`") if "`" in one else "" for one in leaders)


def test_the_text_of_a_whole_character_has_no_names_as_they_are_inside_and_no_wide_lines() -> None:
    for name in EVERYONE:
        rig = rig_of(name).rig
        outputs, _ = steps.emit(rig_of(name), Context())
        text = next(output.text for output in outputs if output.suffix == ".steps.txt")
        inner = {node.name for node in rig.nodes if "." in node.name and node.name != node.spelled}
        words = set(re.findall(r"[a-z_0-9]+(?:\.[a-z_0-9]+)+", text))
        assert words & inner == set()
        wide = [line for line in text.splitlines() if len(line) > 88]
        # Names of two rigs and a number side by side can be wider than a line; they are not cut.
        assert [line for line in wide if not re.match(r" {40}|.*\S  +\S", line)] == []
        assert all(len(line) <= 100 for line in wide)
        assert not re.search(r"\d (?:cm|mm|m) (?:cm|mm|m)\b|°°|%%", text)


def test_a_change_in_one_part_leaves_the_steps_of_the_others_as_they_were() -> None:
    before = sections_of(hawker.RECIPE)
    more = "  joint palm at wrist  under bone.fore\n"
    after = sections_of(
        hawker.RECIPE.replace(more, more + "  joint ring at wrist  under bone.fore\n")
    )
    changed = {title for title in before if before[title] != after[title]}
    # The whole rig has one joint more: it is watched when the rig is scaled.
    assert changed == {"arm, left and right", "Scale"}


def sections_of(recipe: str) -> dict[str, str]:
    """The sections of the Markdown text by title, without how far the reader has come.

    Nor with the lines of the recipe that they come from, which an added line moves down.
    """
    outputs, _ = steps.emit(hawker.settled(recipe=recipe), Context())
    text = next(output.text for output in outputs if output.suffix == ".steps.md")
    body = text[text.index("\n## Prepare") :]
    body = re.sub(r"^(?:Steps \d+–\d+ of \d+ .*|\*From .*\*)$", "", body, flags=re.M)
    return dict(piece.split("\n", 1) for piece in re.split(r"^## ", body, flags=re.M)[1:])


def test_headers_say_how_far_one_has_come() -> None:
    text = text_of("hawker")
    told = re.findall(r"^Steps (\d+)–(\d+) of (\d+) · (\d+)% done before$", text, re.M)
    spans = [(int(first), int(last)) for first, last, _, _ in told]
    total = int(told[0][2])
    assert spans[0][0] == 1 and spans[-1][1] == total
    assert all(one[1] + 1 == other[0] for one, other in pairwise(spans))
    assert [int(share) for *_, share in told] == [100 * (one[0] - 1) // total for one in spans]
    assert total == len(re.findall(r"^#### ", text, re.M))


def test_the_contents_list_every_section_and_their_sum() -> None:
    text = text_of("hawker")
    grid = text[text.index("## Contents") :].split("\n\n")[1].splitlines()
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in grid]
    assert rows[0] == ["Section", "Joints", "Controls", "Constraints", "Feeds", "Steps"]
    titles = re.findall(r"^## (.*)$", text[text.index("\n## Prepare") :], re.M)
    assert [row[0] for row in rows[2:-1]] == titles[:-1], "all but the glossary"
    sums = [sum(int(row[column] or 0) for row in rows[2:-1]) for column in range(1, 6)]
    assert rows[-1] == ["In all", *map(str, sums)]


def golden(path: Path, text: str, update: bool) -> None:
    if update:
        path.write_text(text, "utf-8")
    assert text == path.read_text("utf-8")


@pytest.mark.parametrize("people", [1, 2])
def test_the_steps_of_a_hawker_are_what_a_person_would_write(
    people: int, pytestconfig: pytest.Config
) -> None:
    """Goldens, reviewed by eye, from the contents to the last trial.

    They are right because: the master and the skeleton come first, since the trunk hangs on them;
    the lanterns, the tray and the hems are put under their parents where those are made; everything
    of the sheet stands where it says; the right arm is the left one's mirror image, X the other
    way; and of two people each has a list in order and waits for what the other makes.
    """
    outputs, _ = steps.emit(rig_of("hawker"), Context(people=people))
    text = next(output.text for output in outputs if output.suffix == ".steps.txt")
    body = text[text.index("Contents\n=====") : text.index("Words\n=====")]
    path = HERE / f"hawker.{people}.steps.txt"
    golden(path, body, bool(pytestconfig.getoption("--update")))


def test_work_grows_with_the_rig_and_not_with_its_square() -> None:
    """Counted in calls and not timed: four times the parts need about four times as many."""
    calls: list[int] = []
    for arms in (20, 80):
        settled = many(arms)
        profile = cProfile.Profile()
        profile.runcall(guide, settled, Context(people=2))
        calls.append(pstats.Stats(profile).total_calls)  # type: ignore[attr-defined]
    assert calls[1] / calls[0] < 5


def many(arms: int) -> Settled:
    recipe = f"""\
recipe wheel
  about "Spokes"
  units cm
  axes up +Y front +Z
part spoke
  needs number k
  needs node hub
  control pull at (0, 10 cm * k, 0)  under hub  ring 5 cm
  joint rim at (0, 10 cm * k, 5 cm)  under hub
    follow pull
control master at ground  ring 10 cm  carries all
repeat k in 1..{arms}
  use spoke as spoke[k]
    with k = k, hub = master
"""
    return hawker.settled('character = "w"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n', recipe)
