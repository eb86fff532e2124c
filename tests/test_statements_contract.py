"""One statement is one rule of the grammar, one module, one page and one folder of cases."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from cases_runner import FOLDER

from somite import grammar
from somite.findings import Code
from somite.statements import MODULES, STATEMENTS

NOT_STATEMENTS = {"exercises", "laws", "names", "orders", "sound", "syntax"}
"""Folders of cases that are about no one statement."""

INNER = {"request": "sheet", "needs": "part", "offers": "part"}
"""Lines of another statement's block, told on its page and in its folder."""


def module_names() -> set[str]:
    return {module.__name__.rpartition(".")[2].rstrip("_") for module in MODULES}


def grammar_heads() -> set[str]:
    """The alternatives of `head` in the grammar, with the aliases of their rules."""
    text = grammar.text()
    found = re.search(r"^\?head:(.*?)\n\n", text, re.DOTALL | re.MULTILINE)
    assert found is not None
    heads: set[str] = set()
    for rule in re.findall(r"\w+", found[1]):
        body = re.search(rf"^{rule}:(.*?)(?=^\S+:|\Z)", text, re.DOTALL | re.MULTILINE)
        assert body is not None, rule
        heads |= set(re.findall(r"->\s*(\w+)", body[1])) or {rule.rstrip("_")}
    return heads


def test_every_head_of_the_grammar_has_a_module_and_every_module_a_head() -> None:
    assert grammar_heads() == set(STATEMENTS)


def test_no_word_heads_two_statements() -> None:
    words = [word for module in MODULES for word in module.WORDS]
    assert len(words) == len(set(words))


def test_every_statement_has_a_folder_of_cases_and_every_folder_a_statement() -> None:
    folders = {path.name for path in FOLDER.iterdir() if path.is_dir()}
    assert folders - NOT_STATEMENTS == module_names()


@pytest.mark.parametrize("name", sorted(module_names()))
def test_every_statement_has_a_case_that_passes_and_one_that_fails(name: str) -> None:
    paths = list((FOLDER / name).glob("*.somite"))
    assert any(path.with_suffix(".golden").exists() for path in paths)
    assert any("#! error[" in path.read_text(encoding="utf-8") for path in paths)


def test_every_statement_has_a_page_of_the_reference_and_every_page_of_one_a_statement() -> None:
    folder = grammar.FOLDER / "reference"
    words = {word for word in STATEMENTS if word not in INNER}
    pages = {path.stem for path in folder.glob("*.md")}
    missing = module_names() - pages
    assert not missing, f"no page for {sorted(missing)}, of {sorted(words)}"


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_a_statement_s_module_says_what_it_takes(module: object) -> None:
    assert getattr(module, "WORDS", ()), "it heads no line"
    assert hasattr(module, "CLAUSES") and hasattr(module, "BLOCK")
    assert callable(getattr(module, "declare", None))


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_the_clauses_that_a_statement_takes_are_those_of_the_grammar(module: object) -> None:
    text = grammar.text()
    aliases = set(re.findall(r"->\s*(\w+)", text))
    rules = set(re.findall(r"^\??(\w+):", text, re.MULTILINE)) | aliases
    assert set(getattr(module, "CLAUSES", None) or ()) <= rules


def test_codes_of_statements_are_declared_at_the_top_of_their_modules() -> None:
    for module in MODULES:
        path = Path(str(module.__file__))
        declared = re.findall(r"^([A-Z_]+) = Code\(", path.read_text(encoding="utf-8"), re.M)
        assert all(isinstance(getattr(module, name), Code) for name in declared)
