"""The hooks that others can have run before a commit: their form, and what they call, called."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from stall import RECIPE, Stall, edited

ROOT = Path(__file__).parents[2]


def hooks() -> dict[str, dict[str, str]]:
    """The hooks by their ids. The file is flat, so that no reader of YAML is needed here."""
    text = (ROOT / ".pre-commit-hooks.yaml").read_text(encoding="utf-8")
    found: dict[str, dict[str, str]] = {}
    for block in re.split(r"^- ", text, flags=re.MULTILINE)[1:]:
        pairs = (line.strip().partition(": ") for line in block.strip().splitlines())
        hook = {key: value for key, _, value in pairs}
        found[hook.pop("id")] = hook
    return found


def run(stall: Stall, hook: str, *more: str) -> subprocess.CompletedProcess[str]:
    """What a hook calls, called as it is called: from the top, with the staged files it is for."""
    wanted = hooks()[hook]
    names = stall.git("diff", "--cached", "--name-only", "-z").stdout.split("\0")
    staged = [name for name in names if name and re.search(wanted["files"], name)]
    program, *arguments = shlex.split(wanted["entry"])
    assert program == "somite"
    given = staged if wanted.get("pass_filenames") != "false" else []
    return subprocess.run(
        [sys.executable, "-P", "-m", "somite", *arguments, *more, *given],
        cwd=stall.top,
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


def test_there_is_a_hook_for_the_form_and_one_for_the_meaning() -> None:
    assert sorted(hooks()) == ["somite-check", "somite-fmt"]


@pytest.mark.parametrize("hook", ["somite-check", "somite-fmt"])
def test_a_hook_says_what_it_must(hook: str) -> None:
    """The keys that a hook has to have, by the published documentation of pre-commit (from memory:
    id, name, entry, language)."""
    assert {"name", "entry", "language", "files"} <= set(hooks()[hook])
    assert hooks()[hook]["language"] == "python"
    assert re.search(hooks()[hook]["files"], "rigs/a b.somite")
    assert not re.search(hooks()[hook]["files"], "rigs/somite.txt")


def test_the_form_of_a_staged_recipe_is_put_right(stall: Stall) -> None:
    stall.recipe.write_text(RECIPE.replace("  lock size\n", "  lock    size\n"), encoding="utf-8")
    stall.git("add", "-A")
    done = run(stall, "somite-fmt")
    assert done.returncode == 0
    assert stall.recipe.read_text(encoding="utf-8") == RECIPE
    # A file that a hook changes stops the commit: git sees that it is not what was staged.
    assert "lamp.somite" in stall.git("diff", "--name-only", "-z").stdout


def test_a_staged_recipe_that_cannot_be_read_stops_both(stall: Stall) -> None:
    stall.recipe.write_text(edited(RECIPE, ("control low at", "control low att")), encoding="utf-8")
    stall.git("add", "-A")
    assert run(stall, "somite-fmt").returncode == 1
    recipe = stall.recipe.relative_to(stall.top).as_posix()
    done = run(stall, "somite-check", recipe)
    assert done.returncode == 1
    assert "lamp.somite:13:" in done.stderr


def test_a_whole_cast_is_checked_from_the_top(stall: Stall) -> None:
    for name in ("cast.toml", "lamp.somite", "sheets"):
        (stall.project / name).rename(stall.top / name)
    stall.git("add", "-A")
    assert run(stall, "somite-check").returncode == 0
    recipe = stall.top / "lamp.somite"
    recipe.write_text(edited(RECIPE, ("follow low", "follow lew")), encoding="utf-8")
    stall.git("add", "-A")
    done = run(stall, "somite-check", "--findings-only")
    assert done.returncode == 1 and "lew" in done.stderr
