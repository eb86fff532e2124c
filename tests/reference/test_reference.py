"""The reference: its examples compile, its links resolve, nothing of the language is left out."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
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
)

from somite import statements
from somite.cli import main
from somite.expansion.values import HELPERS
from somite.explain import meaning
from somite.explain import pages as explained
from somite.format import formatted
from somite.text import Source

SHARED = (
    *("index", "first_recipe", "expressions", "placing", "following", "mirroring", "names"),
    *("excuses", "sheets", "casts", "evaluating", "matching", "reviewing", "git"),
)
"""Pages that are about no single statement."""

_LINK = re.compile(r"\]\(([^)#\s]+)(?:#([^)\s]+))?\)")
_CODE = re.compile(r"^- `([a-z-]+)`: (.+) \[More\]", re.MULTILINE)
"""A line of a page's errors: the code and its meaning."""


def _all(kind: str) -> list[Example]:
    return [one for page in pages(REFERENCE) for one in examples(page) if one.words[1:2] == (kind,)]


def _with_sheets() -> Iterator[tuple[Example, str | None]]:
    """Every whole recipe with the sheet that follows it on its page, if one does."""
    for page in pages(REFERENCE):
        on_page = examples(page)
        for at, example in enumerate(on_page):
            if example.words == ("somite", "complete"):
                after = on_page[at + 1] if at + 1 < len(on_page) else None
                with_sheet = after is not None and after.words == ("toml", "sheet")
                yield example, after.text if after is not None and with_sheet else None


@pytest.mark.parametrize(("example", "sheet"), list(_with_sheets()), ids=str)
def test_a_complete_example_builds_without_findings(example: Example, sheet: str | None) -> None:
    result, found = compiled(example.text, sheet)
    if sheet is not None:
        found = as_written(example.text, sheet)
    assert found == []
    assert result is not None and result.settled is not None


@pytest.mark.parametrize("example", _all("body"), ids=str)
def test_an_example_in_the_frame_builds_without_findings(example: Example) -> None:
    result, found = compiled(example.text)
    assert found == []
    assert result is not None and result.settled is not None


@pytest.mark.parametrize("example", _all("broken"), ids=str)
def test_a_broken_example_gives_its_code_and_no_other(example: Example) -> None:
    _, found = compiled(example.text)
    assert {finding.code for finding in found} == {example.words[2]}


def _tutorial() -> dict[str, list[str]]:
    """The fences of the tutorial by their second word, in order."""
    found: dict[str, list[str]] = {}
    for example in examples(REFERENCE / "first_recipe.md"):
        found.setdefault(example.words[-1], []).append(example.text)
    return found


def test_each_step_of_the_tutorial_builds_on_those_before() -> None:
    fences = _tutorial()
    for step in range(1, len(fences["grows"]) + 1):
        found = as_written("\n".join(fences["grows"][:step]), fences["sheet"][0])
        assert {finding.code for finding in found} <= {"unused-measure"}


def test_the_tutorial_ends_with_both_outputs_for_both_characters(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    fences = _tutorial()
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "willow.toml").write_text(fences["sheet"][0])
    (tmp_path / "sheets" / "burdock.toml").write_text(fences["next"][0])
    (tmp_path / "cast.toml").write_text(fences["cast"][0])
    (tmp_path / "ferry.somite").write_text("\n".join(fences["grows"]))
    monkeypatch.chdir(tmp_path)
    assert main(["build"]) == 0
    assert capsys.readouterr().err == ""
    built = {path.name for path in (tmp_path / "build").iterdir()}
    for newt in ("willow_newt", "burdock_newt"):
        assert f"ferry.{newt}.scene.json" in built
        assert f"ferry.{newt}.steps.html" in built


@pytest.mark.parametrize("folder", [REFERENCE, FINDINGS], ids=lambda folder: folder.name)
def test_examples_to_be_copied_are_in_canonical_form(folder: Path) -> None:
    kinds = {"complete", "body", "grows", "frame", "measured", "mends"}
    for page in pages(folder):
        for example in examples(page):
            if example.words[0] == "somite" and kinds & set(example.words):
                text, _ = formatted(Source("example.somite", example.text))
                assert text == example.text, example


def test_every_fence_says_what_its_text_is() -> None:
    known = {
        ("somite", "complete"),
        ("somite", "body"),
        ("somite", "form"),
        ("somite", "grows"),
        ("somite", "measured"),
        ("somite", "frame"),
        ("toml", "sheet"),
        ("toml", "frame"),
        ("toml", "form"),
        ("toml", "cast"),
        ("toml", "next"),
        ("json", "form"),
        ("python", "run"),
        ("text",),
        ("sh",),
    }
    strange = [
        str(one)
        for page in pages(REFERENCE)
        for one in examples(page)
        if one.words not in known and one.words[:2] != ("somite", "broken")
    ]
    assert strange == []


# ---- what must be there --------------------------------------------------------------------------


def _statement_names() -> set[str]:
    return {module.__name__.rpartition(".")[2].strip("_") for module in statements.MODULES}


def test_there_is_a_page_for_each_statement_and_each_shared_matter() -> None:
    assert {page.stem for page in pages(REFERENCE)} == _statement_names() | set(SHARED)


@pytest.mark.parametrize("page", sorted(_statement_names()))
def test_a_statements_page_has_all_its_sections_and_an_example(page: str) -> None:
    path = REFERENCE / f"{page}.md"
    headings = re.findall(r"^## (.+)$", path.read_text(encoding="utf-8"), re.MULTILINE)
    expected = ["Form", "Clauses", "Example", "What it means exactly", "Errors"]
    assert headings == expected
    kinds = {example.words[:2] for example in examples(path)}
    assert kinds & {("somite", "complete"), ("somite", "body")}


@pytest.mark.parametrize("page", [*sorted(_statement_names()), *SHARED[1:]])
def test_the_index_links_to_each_page(page: str) -> None:
    assert f"]({page}.md)" in (REFERENCE / "index.md").read_text(encoding="utf-8")


def _anchors(page: Path) -> set[str]:
    headings = re.findall(r"^#+ (.+)$", page.read_text(encoding="utf-8"), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("folder", [REFERENCE, FINDINGS], ids=lambda folder: folder.name)
def test_every_link_leads_somewhere(folder: Path) -> None:
    lost = []
    for page in pages(folder):
        for path, anchor in _LINK.findall(page.read_text(encoding="utf-8")):
            target = (page.parent / path).resolve()
            found = target.is_file() and (not anchor or anchor in _anchors(target))
            if "://" not in path and not found:
                lost.append(f"{page.name}: {path}#{anchor}")
    assert lost == []


# ---- nothing of the language is left out ---------------------------------------------------------


def _rules() -> dict[str, str]:
    """The rules of the grammar by name, bodies on one line."""
    text = (TREE / "grammar" / "somite.lark").read_text(encoding="utf-8")
    text = re.sub(r"^\s*//.*$|\s+//[^\n]*", "", text, flags=re.MULTILINE)
    found = re.findall(r"^\??([a-z_]+)\s*: (.*?)(?=^\S|\Z)", text, re.MULTILINE | re.DOTALL)
    return {name: " ".join(body.split()) for name, body in found}


def _keywords() -> set[str]:
    """Every word that the grammar spells out, below a head or a clause."""
    words: set[str] = set()
    for body in _rules().values():
        words.update(re.findall(r'"([a-z-]+)"', body))
    return words | {"one-sided"}


@pytest.mark.parametrize("word", sorted(_keywords()))
def test_each_keyword_of_the_grammar_is_documented(word: str) -> None:
    code = re.compile(rf"`[^`\n]*(?<![\w-]){re.escape(word)}(?![\w-])[^`\n]*`")
    assert any(code.search(page.read_text(encoding="utf-8")) for page in pages(REFERENCE))


@pytest.mark.parametrize("module", statements.MODULES, ids=lambda m: m.__name__)
def test_a_statements_page_names_each_clause_that_it_takes(module: object) -> None:
    name = module.__name__.rpartition(".")[2].strip("_")  # type: ignore[attr-defined]
    text = (REFERENCE / f"{name}.md").read_text(encoding="utf-8")
    clauses = text.partition("## Clauses")[2].partition("## Example")[0]
    firsts = {
        rule: re.findall(r'(?:^|\| )"([a-z-]+)"', body) for rule, body in _rules().items()
    } | {"one_sided": ["one-sided"], "shape": ["ring"]}
    missing = [
        clause
        for clause in sorted(module.CLAUSES or ())  # type: ignore[attr-defined]
        if not any(re.search(rf"`{re.escape(word)}\b", clauses) for word in firsts[clause])
    ]
    assert missing == []


def test_each_helper_is_documented_with_its_count_of_values() -> None:
    text = (REFERENCE / "expressions.md").read_text(encoding="utf-8")
    for helper in (*HELPERS, "reflected", "twist", "stretch"):
        assert f"`{helper}(" in text


@cache
def _codes() -> dict[str, str]:
    found: dict[str, str] = {}
    for folder in ("compiler", "targets"):
        for path in sorted((TREE / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Code":
                    assert isinstance(node.args[0], ast.Constant)
                    found[str(node.args[0].value)] = str(path)
    return found


def test_each_error_that_a_page_lists_is_told_as_its_own_page_tells_it() -> None:
    known = explained(str(FINDINGS))
    for page in pages(REFERENCE):
        for code, told in _CODE.findall(page.read_text(encoding="utf-8")):
            assert code in _codes(), f"{page.name}: {code}"
            assert told == meaning(known[code]), f"{page.name}: {code}"


@pytest.mark.parametrize("module", statements.MODULES, ids=lambda m: m.__name__)
def test_a_statements_page_lists_the_codes_that_the_statement_declares(module: object) -> None:
    path = Path(str(module.__file__))  # type: ignore[attr-defined]
    name = path.stem.strip("_")
    own = {code for code, file in _codes().items() if Path(file).samefile(path)}
    text = (REFERENCE / f"{name}.md").read_text(encoding="utf-8")
    listed = {code for code, _ in _CODE.findall(text)}
    assert own <= listed
