"""What the README shows works, and so do the examples in the package's docstrings."""

from __future__ import annotations

import doctest
from pathlib import Path

import somite
from somite.format import formatted
from somite.text import Source

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def fence(kind: str) -> str:
    """The first block of a kind."""
    return README.split(f"```{kind}\n")[1].split("```")[0]


def test_the_lantern_of_the_readme_builds_without_a_finding() -> None:
    made = somite.compile_text(fence("somite"), fence("toml"))
    assert made.findings == ()
    assert made.settled is not None
    assert [joint.name for joint in made.rig.nodes if joint.kind == "joint"] == [
        f"stem.{k}" for k in range(1, 6)
    ]


def test_the_lantern_of_the_readme_is_in_canonical_form() -> None:
    text, _ = formatted(Source("lantern.somite", fence("somite")))
    assert text == fence("somite")


def test_the_first_paragraph_of_the_readme_states_the_job() -> None:
    paragraph = README.split("\n\n")[1]
    for word in ("recipe", "joints", "curve", "controls", "constraints", "twist", "sheet"):
        assert word in paragraph


def test_the_examples_of_the_public_face_run() -> None:
    assert doctest.testmod(somite).failed == 0


def test_every_public_name_is_there() -> None:
    for name in somite.__all__:
        assert getattr(somite, name) is not None
