"""Inputs that nobody would write: whatever they are, findings with a place, and never a traceback.

The normal run is the same every time; the nightly one (`pytest -m nightly`) looks elsewhere each
time. What holds of every input is said in `fuzz_trial`.
"""

from __future__ import annotations

from pathlib import Path

import fuzz_grammar
import fuzz_mutations
import fuzz_seeds
import pytest
from fuzz_trial import tried
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

LENIENT = list(HealthCheck)


def normal(examples: int) -> settings:
    """The same inputs every time, so that nobody's change fails for another's luck."""
    return settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=LENIENT,
        phases=[Phase.explicit, Phase.generate, Phase.shrink],
    )


def nightly(examples: int) -> settings:
    """New inputs every time."""
    return settings(max_examples=examples, deadline=None, suppress_health_check=LENIENT)


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project folder with a part, beside which the inputs seem to lie."""
    folder = tmp_path_factory.mktemp("project")
    (folder / "cast.toml").touch()
    (folder / "parts").mkdir()
    (folder / "parts/limb.somite").write_text("part limb\n  needs point a\n  joint b at a\n")
    return folder


SEEDS = st.sampled_from(fuzz_seeds.recipes())
SHEETS = st.sampled_from(fuzz_seeds.sheets())
PLAIN = fuzz_seeds.PLAIN_SHEET.encode()


def try_grammatical(text: str, root: Path) -> None:
    tried(text.encode(), PLAIN, root)


def try_damaged_recipe(seed: tuple[str, str, str], change: int, root: Path) -> None:
    _, recipe, sheet = seed
    tried(fuzz_mutations.damaged(recipe, change).encode(), sheet.encode(), root)


def try_damaged_sheet(sheet: tuple[str, bytes], change: int, root: Path) -> None:
    name, content = sheet
    damaged = fuzz_mutations.damaged(content.decode(), change).encode()
    tried(fuzz_seeds.two_legged().encode(), damaged, root, name)


def try_bytes(content: bytes, root: Path) -> None:
    tried(content, PLAIN, root)
    tried(fuzz_seeds.two_legged().encode(), content, root)


def try_damaged_bytes(seed: tuple[str, str, str], at: int, piece: bytes, root: Path) -> None:
    _, recipe, sheet = seed
    content = recipe.encode()
    at %= len(content) + 1
    tried(content[:at] + piece + content[at + len(piece) // 2 :], sheet.encode(), root)


GRAMMATICAL = fuzz_grammar.recipes()
BYTES = st.binary(max_size=300) | st.text(max_size=300).map(lambda t: t.encode("utf-8", "replace"))
PLACES = st.integers(0, 2**20)


@normal(220)
@given(text=GRAMMATICAL)
def test_a_recipe_that_the_grammar_allows_is_built_or_refused(text: str, root: Path) -> None:
    try_grammatical(text, root)


@normal(450)
@given(seed=SEEDS, change=fuzz_mutations.seeds)
def test_a_damaged_recipe_is_built_or_refused(
    seed: tuple[str, str, str], change: int, root: Path
) -> None:
    try_damaged_recipe(seed, change, root)


@normal(120)
@given(sheet=SHEETS, change=fuzz_mutations.seeds)
def test_a_damaged_sheet_is_built_or_refused(
    sheet: tuple[str, bytes], change: int, root: Path
) -> None:
    try_damaged_sheet(sheet, change, root)


@normal(120)
@given(content=BYTES)
def test_arbitrary_bytes_are_refused_as_recipe_and_as_sheet(content: bytes, root: Path) -> None:
    try_bytes(content, root)


@normal(150)
@given(seed=SEEDS, at=PLACES, piece=st.binary(min_size=1, max_size=6))
def test_stray_bytes_in_a_recipe_are_built_or_refused(
    seed: tuple[str, str, str], at: int, piece: bytes, root: Path
) -> None:
    try_damaged_bytes(seed, at, piece, root)


@pytest.mark.nightly
@nightly(6_000)
@given(text=GRAMMATICAL)
def test_thousands_of_grammatical_recipes(text: str, root: Path) -> None:
    try_grammatical(text, root)


@pytest.mark.nightly
@nightly(9_000)
@given(seed=SEEDS, change=fuzz_mutations.seeds)
def test_thousands_of_damaged_recipes(seed: tuple[str, str, str], change: int, root: Path) -> None:
    try_damaged_recipe(seed, change, root)


@pytest.mark.nightly
@nightly(2_500)
@given(sheet=SHEETS, change=fuzz_mutations.seeds)
def test_thousands_of_damaged_sheets(sheet: tuple[str, bytes], change: int, root: Path) -> None:
    try_damaged_sheet(sheet, change, root)


@pytest.mark.nightly
@nightly(2_500)
@given(content=BYTES)
def test_thousands_of_arbitrary_bytes(content: bytes, root: Path) -> None:
    try_bytes(content, root)


@pytest.mark.nightly
@nightly(2_500)
@given(seed=SEEDS, at=PLACES, piece=st.binary(min_size=1, max_size=6))
def test_thousands_of_stray_bytes(
    seed: tuple[str, str, str], at: int, piece: bytes, root: Path
) -> None:
    try_damaged_bytes(seed, at, piece, root)
