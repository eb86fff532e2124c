"""The pages of the findings: one for each code, with examples that trigger and mend it.

An example in ```somite is laid over the frame of the reference; one in ```toml sheet is a sheet for
the recipe that `sheets.md` prints; one in ```files is a small project, laid over the one that
`somite new` makes, with the command to run.
"""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest
from reference_examples import (
    FINDINGS,
    REFERENCE,
    TREE,
    Example,
    as_written,
    compiled,
    examples,
    pages,
    ran,
)

from somite.explain import listing, meaning
from somite.explain import pages as explained
from somite.findings import Severity


@cache
def measured() -> str:
    """The recipe that the sheets on the pages answer to, as the reference prints it."""
    fences = examples(REFERENCE / "sheets.md")
    return next(one.text for one in fences if one.words == ("somite", "measured"))


@cache
def declared() -> dict[str, str]:
    """Every code that the compiler and the targets declare, with its severity."""
    found: dict[str, str] = {}
    for folder in ("compiler", "targets"):
        for path in sorted((TREE / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Code":
                    words = [ast.unparse(argument) for argument in node.args]
                    severity = words[1].rpartition(".")[2].lower() if len(words) > 1 else "error"
                    found[ast.literal_eval(words[0])] = severity
    return found


def _of(role: str) -> list[Example]:
    return [
        one
        for page in pages(FINDINGS)
        for one in examples(page)
        if role in one.words and one.words[0] != "none"
    ]


def _found(example: Example, folder: Path) -> list[tuple[str, str]]:
    if example.words[0] == "files":
        return ran(example, folder)
    if example.words[0] == "toml":
        findings = as_written(measured(), example.text)
    elif "whole" in example.words:
        findings = as_written(example.text, 'character = "a"\nunit = "cm"\nup = "+Y"\nfront = "+Z"')
    else:
        findings = compiled(example.text)[1]
    return [(finding.code, finding.severity.value) for finding in findings]


@pytest.mark.parametrize("example", _of("triggers"), ids=str)
def test_an_example_that_triggers_a_finding_gives_it(example: Example, tmp_path: Path) -> None:
    found = _found(example, tmp_path)
    code = example.page.stem
    assert (code, declared()[code]) in found
    # What stands beside it would make the example hard to read.
    assert {other for other, _ in found} == {code} | set(_beside(example))


def _beside(example: Example) -> list[str]:
    return [word.removeprefix("with:") for word in example.words if word.startswith("with:")]


@pytest.mark.parametrize("example", _of("mends"), ids=str)
def test_an_example_that_mends_has_no_finding_at_all(example: Example, tmp_path: Path) -> None:
    assert _found(example, tmp_path) == []


def test_there_is_a_page_for_every_code_and_no_other() -> None:
    there = {page.stem for page in pages(FINDINGS)}
    codes = set(declared())
    assert {"missing": codes - there, "superfluous": there - codes} == {
        "missing": set(),
        "superfluous": set(),
    }


@pytest.mark.parametrize("page", pages(FINDINGS), ids=lambda page: page.stem)
def test_a_page_has_its_heading_a_meaning_a_severity_and_both_examples(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    lines = text.split("\n")
    assert lines[0] == f"# {page.stem}"
    assert re.fullmatch(r"[A-Z].{20,150}\.", lines[2]), "one sentence on one line"
    assert lines[4].startswith(f"*{declared().get(page.stem, '')}*. ")
    roles = {word for one in examples(page) for word in one.words}
    assert {"triggers", "mends"} <= roles or "none" in roles
    assert text.isascii() or page.stem == "bad-character"


def test_explain_lists_every_code_with_one_sentence() -> None:
    known = explained(str(FINDINGS))
    assert set(known) == {page.stem for page in pages(FINDINGS)}
    assert all(meaning(page).endswith(".") for page in known.values())
    assert listing(known).count("\n") == len(known)


def test_severities_are_those_that_there_are() -> None:
    assert set(declared().values()) <= {severity.value for severity in Severity}
