"""Verdicts as a table for a person and as JUnit XML for a build server."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree import ElementTree

from hypothesis import given, settings
from hypothesis import strategies as st

from somite.findings import Code, Finding, Severity
from somite.report import lines_of
from somite.report.junit import junit_text
from somite.report.table import character_table, table
from somite.report.verdict import Verdict
from somite.text import Site, Source

LEFT = Code("law-travel").at(Site("stall.somite", 2, 1, 5), "expected <all> to travel, found & one")
UNMET = Code("check-unmet").at(Site("stall.somite", 1, 1), "expected 40 deg, found 3 deg")
SPARE = Code("unused-let", Severity.WARNING).at(Site("stall.somite", 1, 1), "never read")
LINES = lines_of({"stall.somite": Source("stall.somite", "recipe stall\njoint lamp\n")})


@dataclass(frozen=True)
class Law:
    """A law's result as `somite.laws` gives it."""

    law: str
    number: int
    held: bool = True
    excused: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    sentence: str = "everything goes along"
    seconds: float = 0.25


@dataclass(frozen=True)
class Tried:
    """A check's result as `somite.checks` gives it."""

    name: str
    met: bool = True
    findings: tuple[Finding, ...] = ()
    answers: tuple[object, ...] = ()


def verdict(
    character: str = "otter",
    findings: Sequence[Finding] = (),
    laws: Sequence[Law] | None = (Law("rest", 1), Law("travel", 2)),
    checks: Sequence[Tried] | None = (Tried("the lamp hangs still"),),
    recipe: str = "stall",
) -> Verdict:
    return Verdict(
        recipe,
        character,
        f"{character}.toml",
        tuple(findings),
        LINES,
        None if laws is None else tuple(laws),  # type: ignore[arg-type]
        None if checks is None else tuple(checks),  # type: ignore[arg-type]
    )


BAD = verdict(
    "badger",
    laws=(Law("rest", 1, excused=("x",)), Law("travel", 2, held=False, findings=(LEFT,))),
    checks=(Tried("the lamp hangs still"), Tried('so "far"', met=False, findings=(UNMET,))),
)
FAILED = verdict("toad", findings=(UNMET,), laws=None, checks=None)


def test_the_table_has_a_line_a_character_and_a_column_a_law() -> None:
    lines = character_table([verdict(), BAD, FAILED]).splitlines()
    assert [line.split() for line in lines] == [
        ["character", "findings", "rest", "travel", "checks"],
        ["otter", "none", "held", "held", "1/1"],
        ["badger", "2", "errors", "excused", "broken", "1/2"],
        ["toad", "1", "error", "-", "-", "-"],
        [],
        ["3", "characters,", "2", "with", "something", "wrong"],
    ]


def test_columns_stand_under_their_heads() -> None:
    head, *rows = character_table([verdict(), BAD]).splitlines()[:3]
    for word in ("findings", "rest", "travel", "checks"):
        at = head.index(word)
        assert all(row[at] != " " and row[at - 1] == " " for row in rows)


def test_the_recipe_has_a_column_where_there_are_several() -> None:
    lines = character_table([verdict(), verdict(recipe="ferry")]).splitlines()
    assert [line.split()[0] for line in lines[:3]] == ["recipe", "stall", "ferry"]


def test_the_closing_line_says_when_all_is_sound() -> None:
    assert character_table([verdict(findings=[SPARE])]).endswith("\n\n1 character, all sound\n")


def test_numbers_are_set_right() -> None:
    assert table(("a", "b"), [("x", "5"), ("yy", "10")], numbers=[1]) == "a    b\nx    5\nyy  10\n"


def suites(*verdicts: Verdict) -> list[ElementTree.Element]:
    return list(ElementTree.fromstring(junit_text(verdicts).encode("utf-8")))


def test_there_is_a_suite_a_character_with_a_case_for_each_thing_tried() -> None:
    (suite,) = suites(verdict())
    assert (suite.tag, suite.get("name")) == ("testsuite", "stall.otter")
    assert [case.get("name") for case in suite] == [
        "findings",
        "1 rest: everything goes along",
        "2 travel: everything goes along",
        "the lamp hangs still",
    ]
    assert {case.get("classname") for case in suite} == {
        *("stall.otter", "stall.otter.laws", "stall.otter.checks")
    }


def test_what_is_broken_fails_with_its_finding_and_the_line() -> None:
    (suite,) = suites(BAD)
    failures = {case.get("name"): case.find("failure") for case in suite}
    broken = failures["2 travel: everything goes along"]
    assert broken is not None
    assert broken.get("message") == "expected <all> to travel, found & one"
    assert broken.get("type") == "law-travel"
    assert "stall.somite:2:1: error[law-travel]" in (broken.text or "")
    assert "joint lamp" in (broken.text or "")
    unmet = failures['so "far"']
    assert unmet is not None and unmet.get("type") == "check-unmet"


def test_what_is_excused_is_skipped() -> None:
    (suite,) = suites(BAD)
    skipped = [case.get("name") for case in suite if case.find("skipped") is not None]
    assert skipped == ["1 rest: everything goes along"]


def test_counts_are_those_of_the_cases() -> None:
    top = ElementTree.fromstring(junit_text([verdict(), BAD, FAILED]).encode("utf-8"))
    counts = ("tests", "failures", "errors", "skipped")
    assert [top.get(count) for count in counts] == ["10", "3", "0", "1"]
    assert [[suite.get(count) for count in counts] for suite in top] == [
        ["4", "0", "0", "0"],
        ["5", "2", "0", "1"],
        ["1", "1", "0", "0"],
    ]


def test_a_rig_that_did_not_compile_fails_its_findings() -> None:
    (suite,) = suites(FAILED)
    (case,) = suite
    assert case.get("name") == "findings"
    assert case.find("failure") is not None


def test_warnings_fail_nothing_and_are_told() -> None:
    (suite,) = suites(verdict(findings=[SPARE]))
    case = suite[0]
    assert case.find("failure") is None
    assert "warning[unused-let]" in (case.findtext("system-out") or "")


def test_a_mistake_of_our_own_is_an_error_and_no_failure() -> None:
    from somite.report.bug import bug

    (suite,) = suites(verdict(findings=[bug("posed")], laws=None, checks=None))
    assert suite.get("errors") == "1" and suite.get("failures") == "0"


def test_times_are_left_out_so_that_bytes_stay() -> None:
    assert "time" not in junit_text([verdict(laws=(Law("rest", 1, seconds=1.5),))])


texts = st.text(max_size=12)


@settings(max_examples=200, deadline=None)
@given(texts, texts, texts)
def test_no_text_breaks_the_document(character: str, check: str, message: str) -> None:
    finding = Code("check-unmet").at(Site("a.somite", 1, 1), message)
    made = verdict(character, checks=(Tried(check, met=False, findings=(finding,)),))
    (suite,) = suites(made)
    assert len(suite) == 4 and suite.get("failures") == "1"
