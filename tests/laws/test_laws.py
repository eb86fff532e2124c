"""The laws as a whole: sound rigs keep them, a cause is told once, excuses are heeded.

What each law finds is in `tests/cases/laws/`, what none complains about in `tests/cases/sound/`.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
import rigs
from posed_rigs import EXERCISES, NAMES, TREE, exercise
from rigs import at, follow, node, rig

from somite import order, pipeline, settle
from somite.expansion.clauses import LAWS as WORDS
from somite.findings import Finding, Severity
from somite.ir import Excuse, Rig
from somite.laws import LAWS, Result, prove
from somite.settle import Settled


def settled(made: Rig) -> Settled:
    plan, findings = order.order(made)
    assert plan is not None, findings
    found, findings = settle.settle(made, plan)
    assert found is not None, findings
    return found


def text(recipe: str) -> Settled:
    head = "recipe stall\n  units cm\n  axes up +Y front +Z\ncontrol master at ground\n"
    sheet = 'character = "pip"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
    made = pipeline.compile_text(head + "  ring 60 cm\n  carries all\n" + recipe, sheet)
    assert made.settled is not None, made.findings
    return made.settled


def findings(results: tuple[Result, ...]) -> list[Finding]:
    return [finding for result in results for finding in result.findings]


def of(results: tuple[Result, ...], word: str) -> Result:
    return next(result for result in results if result.law == word)


# ---- sound rigs ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", [0, 12])
def test_the_exercises_keep_every_law(name: str, seed: int) -> None:
    assert findings(prove(exercise(name).settled, seed=seed)) == []


def test_thirty_legs_keep_every_law_with_twelve() -> None:
    made = pipeline.compile(EXERCISES / "thirty_legs.somite", EXERCISES / "thirty_legs_twelve.toml")
    assert made.settled is not None
    assert findings(prove(made.settled)) == []


def test_a_rig_of_nothing_keeps_every_law() -> None:
    assert all(result.held for result in prove(settled(rig([]))))


# ---- results -------------------------------------------------------------------------------------


def test_there_are_nine_laws_in_order_with_the_words_that_excuses_name_them_by() -> None:
    assert [law.number for law in LAWS] == list(range(1, 10))
    assert tuple(law.word for law in LAWS) == WORDS


def test_some_laws_are_tried_alone() -> None:
    results = prove(exercise("eyes").settled, laws=["twist", "rest"])
    assert [result.law for result in results] == ["rest", "twist"]


def test_a_law_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="gravity"):
        prove(exercise("eyes").settled, laws=["gravity"])


LEFT = (
    "joint base at ground  under master\njoint post at (0, 50 cm, 0)\n"
    "joint cap at (0, 60 cm, 0)  under post\n"
)


def test_one_seed_gives_the_same_findings_again_and_another_other_evidence() -> None:
    first, again, other = (findings(prove(text(LEFT), seed=seed)) for seed in (3, 3, 4))
    assert first == again
    assert first != other
    assert [one.site for one in first] == [one.site for one in other]
    assert "seed 3" in first[0].message


def test_what_hangs_on_a_cause_is_not_told_again() -> None:
    (found,) = findings(prove(text(LEFT)))
    assert found.code == "law-travel"
    assert '"post"' in found.message and "1 more with it" in found.message


def test_a_later_law_folds_under_an_earlier_one_that_blames_the_same_statement() -> None:
    recipe = LEFT + "control hand at (0, 20 cm, 0)  under master\n  ball 5 cm\n  only move\n"
    results = prove(text(recipe + "joint palm at (0, 20 cm, 0)  under hand\n"))
    (found,) = findings(results)
    assert found.code == "law-travel"
    assert [one.label.split(":")[0] for one in found.related] == ["the law of use also"]
    assert not of(results, "use").held


# ---- excuses -------------------------------------------------------------------------------------


def test_an_excuse_silences_its_law_for_what_the_statement_moves_too() -> None:
    excused = LEFT.replace(
        "joint cap", '  excuse travel because "it stays in the market square"\njoint cap'
    )
    results = prove(text(excused), laws=["travel"])
    assert findings(results) == []
    assert of(results, "travel").held
    assert [one.because for one in of(results, "travel").excused] == [
        "it stays in the market square"
    ]


def test_an_excuse_that_is_not_needed_is_a_warning_where_it_stands() -> None:
    recipe = "joint post at (0, 50 cm, 0)  under master\n"
    (found,) = findings(prove(text(recipe + '  excuse calm because "it used to flip"\n')))
    assert (found.code, found.severity) == ("unneeded-excuse", Severity.WARNING)
    assert found.site is not None and found.site.line == 8


def test_an_excuse_of_an_early_sign_of_a_law_is_needed() -> None:
    recipe = (
        "control kite at (0, 50 cm, 0)  under master\n  ball 5 cm\n  only turn\n"
        '  limit turn.x 5 deg..40 deg\n  excuse rest because "the kite is never level"\n'
        "joint sail at (0, 50 cm, 0)  under kite\n"
    )
    assert "unneeded-excuse" not in [one.code for one in findings(prove(text(recipe)))]


# ---- what no recipe can break --------------------------------------------------------------------


def carried_twice() -> Rig:
    made = rigs.spine()
    return replace(made, curves=(replace(made.curves[0], parent="body"),))


def test_a_curve_carried_by_what_leads_its_grips_is_moved_twice() -> None:
    (result,) = prove(settled(carried_twice()), laws=["once"])
    (found,) = result.findings
    assert found.code == "law-once"
    assert '"path"' in found.message and "6.8 cm for 3.4 cm" in found.message
    assert found.site is not None and found.site.line == 12


def test_a_curve_outside_what_leads_its_grips_is_moved_once() -> None:
    (result,) = prove(settled(rigs.spine()), laws=["once"])
    assert result.held


def test_a_curve_moved_twice_is_excused_on_the_curve() -> None:
    made = carried_twice()
    curve = replace(made.curves[0], excuses=(Excuse("once", "a whip", at(12)),))
    (result,) = prove(settled(replace(made, curves=(curve,))), laws=["once"])
    assert result.held and result.excused == curve.excuses


def test_names_that_only_capitals_tell_apart_are_one_name_to_some_output() -> None:
    made = rig([node("lamp"), replace(node("Lamp", line=2), spelled="LAMP")])
    (result,) = prove(settled(made), laws=["names"])
    (found,) = result.findings
    assert (found.code, found.site) == ("law-names", at(2)[0])


def test_a_name_of_other_characters_is_told() -> None:
    made = rig([replace(node("lamp"), name="lamp post")])
    (result,) = prove(settled(made), laws=["names"])
    assert [one.code for one in result.findings] == ["law-names"]


def test_a_follower_of_an_untied_leader_is_not_blamed() -> None:
    nodes = [
        replace(node("master"), carries_all=True),
        node("hand", (0.1, 0.5, 0.0), line=2),
        node("palm", (0.1, 0.5, 0.0), "master", kind="joint", line=3),
    ]
    (result,) = prove(settled(rig(nodes, [follow("palm", "hand", line=3)])), laws=["travel"])
    assert [one.site for one in result.findings] == [at(2)[0]]


# ---- mirror: characters that are measured, and so never quite symmetric --------------------------


def uneven(recipe: str) -> Settled:
    """The shipped recipe's text with a sheet whose middle and sides are a little off."""
    sheet = (TREE / "recipes" / "sheets" / "tansy_heron.toml").read_text(encoding="utf-8")
    sheet = sheet.replace("ribs = [0, ", "ribs = [0.4, ")
    assert "0.4" in sheet
    made = pipeline.compile_text(recipe, sheet)
    assert made.settled is not None, made.findings
    return made.settled


def test_a_middle_that_is_measured_a_little_off_is_put_into_the_plane() -> None:
    recipe = (TREE / "recipes" / "upright.somite").read_text(encoding="utf-8")
    assert findings(prove(uneven(recipe), laws=["mirror"])) == []


def test_a_break_of_the_mirror_is_found_on_a_sheet_that_is_a_little_off() -> None:
    recipe = (TREE / "recipes" / "upright.somite").read_text(encoding="utf-8")
    recipe += "feed belt.left.move.y = live spine.body.stretch * 1 cm\n"
    (result,) = prove(uneven(recipe), laws=["mirror"])
    assert [one.code for one in result.findings] == ["law-mirror"]
