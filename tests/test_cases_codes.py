"""Every kind of finding has a case that shows it, or a test elsewhere that does."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest
from cases_runner import FOLDER

TREE = Path(__file__).parent.parent

ELSEWHERE: dict[str, tuple[str, ...]] = {
    # The sheet's own form, its markers, and what it answers.
    "tests/sheet/test_sheet_form.py": (
        *("left-on-right", "not-finite", "nudge-form", "sheet-header", "sheet-key", "sheet-kind"),
    ),
    "tests/sheet/test_sheet_text.py": ("duplicate-measure", "sheet-syntax"),
    "tests/sheet/test_sheet_matching.py": ("not-whole", "unknown-choice"),
    "tests/sheet/test_sheet_markers.py": (
        *("marker-broken", "marker-column", "marker-kind", "marker-missing", "marker-number"),
        *("marker-overridden", "marker-twice", "marker-unit", "marker-unnamed"),
    ),
    "tests/sheet/test_sheet_rigs.py": ("sheet-in-itself",),
    "tests/published/test_sheet_proportions.py": ("landmark-unknown", "stature-outside"),
    "tests/sheet/test_sheet_variants.py": ("recipe-needed", "sheets-differ"),
    "tests/naming/test_naming.py": (
        *("names-form", "names-joint", "names-node", "names-order", "names-twice"),
    ),
    "tests/sheet/test_sheet_project.py": ("file-too-big", "file-unreadable"),
    # The command line, casts and team wording.
    "tests/cli/test_cli_cast.py": ("cast-key", "cast-missing", "cast-syntax", "cast-value"),
    "tests/cli/test_cli_build.py": (
        *("internal-error", "output-name", "output-unwritable", "phrases-syntax", "same-output"),
        "templates-missing",
    ),
    "tests/builds/test_builds_errand.py": ("cluster-lost", "worker-lost", "worker-unlike"),
    "tests/cli/test_cli_pose.py": ("channel-held", "channel-value"),
    "tests/cli/test_cli_match.py": (
        *("carry-lost", "carry-sides", "match-apart", "match-dial", "match-frames", "match-same"),
    ),
    "tests/evaluate/test_clip.py": ("clip-channel", "clip-keys", "clip-syntax", "clip-value"),
    "tests/diff/test_sides.py": (
        *("git-missing", "no-sheets", "revision-unknown", "sheet-of-now", "side-kind"),
    ),
    "tests/diff/test_diff_command.py": ("requirement-unmet",),
    "tests/git/test_git_setup.py": ("bare-repository", "no-repository", "setup-unwritable"),
    "tests/git/test_log.py": ("no-history",),
    "tests/document/test_document.py": ("document-invalid", "document-name-unknown"),
    # What a recipe is refused for before it is posed.
    "tests/laws/test_laws.py": ("law-names", "law-once"),
    # Texts too long to be read as a case.
    "tests/expand/test_text_forms.py": ("line-too-long", "too-deep", "too-many-mistakes"),
    # Rigs that no recipe makes, since a statement refuses them first, but a document may hold.
    "tests/soundness/test_soundness.py": ("face-axes-alike", "point-missing"),
    "tests/settle/test_settle.py": ("curve-without-length", "ride-off-curve"),
}
"""Who shows the codes that have no case."""


@cache
def declared() -> dict[str, list[str]]:
    """Every code of the compiler, with the modules that declare it."""
    found: dict[str, list[str]] = {}
    for path in sorted((TREE / "compiler").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Code":
                slug = ast.literal_eval(node.args[0])
                found.setdefault(slug, []).append(str(path.relative_to(TREE)))
    return found


@cache
def in_cases() -> frozenset[str]:
    texts = [path.read_text(encoding="utf-8") for path in FOLDER.rglob("*.somite")]
    return frozenset(code for text in texts for code in re.findall(r"#!\s*\w+\[([a-z-]+)\]", text))


@pytest.mark.parametrize("code", sorted(declared()))
def test_a_code_has_a_case_or_a_test_elsewhere(code: str) -> None:
    elsewhere = [path for path, codes in ELSEWHERE.items() if code in codes]
    assert code in in_cases() or elsewhere
    for path in elsewhere:
        assert f'"{code}"' in (TREE / path).read_text(encoding="utf-8")


def test_cases_and_the_list_name_only_codes_that_exist() -> None:
    listed = {code for codes in ELSEWHERE.values() for code in codes}
    assert (in_cases() | listed) - set(declared()) == set()


def test_what_has_a_case_is_not_listed_as_shown_elsewhere() -> None:
    listed = {code for codes in ELSEWHERE.values() for code in codes}
    assert listed & in_cases() == set()


def test_a_code_is_declared_once() -> None:
    assert {code: paths for code, paths in declared().items() if len(paths) > 1} == {}


def test_codes_are_kebab_case() -> None:
    assert [code for code in declared() if not re.fullmatch(r"[a-z]+(-[a-z]+)*", code)] == []
