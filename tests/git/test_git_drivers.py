"""Git at work in real repositories once it was set up: comparing, merging, and what goes wrong."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from stall import RECIPE, Stall, edited

from somite.cli import main
from somite.text import Source, clean

WIDE = ("length girth = 30 cm", "length girth = 33 cm")
LOCKED = (
    "  ring girth\n  lock size\ncontrol high",
    "  ring girth\n  lock size, move\ncontrol high",
)
RINGED = ("  ring girth\n  lock size\ncontrol high", "  ring 40 cm\n  lock size\ncontrol high")
"""Two facts of one control on lines side by side: git alone could not merge these."""


@pytest.fixture
def ready(stall: Stall, capsys: pytest.CaptureFixture[str]) -> Stall:
    """A repository that was set up."""
    assert main(["git-setup"]) == 0
    capsys.readouterr()
    return stall


def text_of(stall: Stall) -> str:
    return stall.recipe.read_text(encoding="utf-8")


def lines(text: str, sign: str) -> list[str]:
    """The lines of a difference that begin with a sign, without the names of files."""
    return [one[1:] for one in text.splitlines() if one[:1] == sign and one[:3] != sign * 3]


def compiles(text: str) -> bool:
    from somite import parse

    return not parse.parse(Source("merged.somite", clean(text)))[1]


# ---- comparing -----------------------------------------------------------------------------------


def test_git_diff_shows_facts_and_not_how_they_are_written(ready: Stall) -> None:
    moved = edited(
        RECIPE,
        WIDE,
        ("  ring girth\n  lock size\n", "  # wide enough for a paw\n  lock size\n  ring   girth\n"),
    )
    ready.recipe.write_text(moved, encoding="utf-8")
    told = ready.git("diff").stdout
    assert lines(told, "-") == ["  length girth = 30 cm"]
    assert lines(told, "+") == ["  length girth = 33 cm"]


def test_the_statement_of_a_change_stands_above_it(ready: Stall) -> None:
    ready.recipe.write_text(edited(RECIPE, ("-80 deg..80 deg", "-70 deg..80 deg")))
    told = ready.git("diff", "-U0").stdout
    assert "@@ control high" in told


def test_another_order_of_lines_is_no_difference(ready: Stall) -> None:
    first, second = "joint lamp at nape  under back.last\n\n", "group skeleton at ground\n"
    ready.recipe.write_text(RECIPE.replace(first, "").replace(second, first + second))
    told = ready.git("diff").stdout
    assert lines(told, "+") == lines(told, "-") == []


def test_without_the_setup_git_compares_lines_again(ready: Stall) -> None:
    ready.recipe.write_text(RECIPE + "# a word\n")
    assert lines(ready.git("diff").stdout, "+") == []
    assert lines(ready.git("diff", "--no-textconv").stdout, "+") == ["# a word"]
    main(["git-setup", "--undo"])
    assert lines(ready.git("diff").stdout, "+") == ["# a word"]


def test_git_log_shows_outlines_through_a_rename_and_from_a_detached_head(ready: Stall) -> None:
    first = ready.git("rev-parse", "HEAD").stdout.strip()
    ready.rename("Lampenträger.somite")
    ready.commit("Call it by what it is", edited(RECIPE, WIDE), who="Tansy")
    ready.git("checkout", "-q", "--detach", "HEAD")
    told = ready.git("log", "-p", "-M", "--format=%an", f"{first}..HEAD").stdout
    assert told.startswith("Tansy\n")
    assert lines(told, "+") == ["  length girth = 33 cm"]


@pytest.mark.parametrize(
    "content",
    [
        b"control ((((\n",
        b"recipe \xff\xfe\n",
        b"\x00\x01\x02recipe",
        b"",
        b"\xef\xbb\xbfrecipe a\r\n  units cm\r\n",
        b"<<<<<<< ours\nrecipe a\n=======\nrecipe b\n>>>>>>> theirs\n",
        b"recipe " + b"x" * 200_000,
    ],
    ids=["broken", "latin", "binary", "empty", "marked", "conflict", "long"],
)
def test_whatever_lies_there_git_diff_goes_on(ready: Stall, content: bytes) -> None:
    ready.recipe.write_bytes(content)
    assert ready.git("diff").stdout.startswith("diff --git")
    ready.commit("Whatever it is")
    assert ready.git("log", "-p", "--format=%s").stderr == ""


def test_a_scene_is_compared_by_its_things(
    ready: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    recipe, sheet = str(ready.recipe), str(ready.project / "sheets/lumen.toml")
    build = ["build", recipe, "--sheet", sheet, "--target", "scene", "-o", str(ready.project)]
    assert main(build) == 0
    ready.commit("Keep the scene, too")
    ready.recipe.write_text(edited(RECIPE, ("-80 deg..80 deg", "-70 deg..80 deg")))
    assert main(build) == 0
    told = ready.git("diff", "--", "*.scene.json").stdout
    assert lines(told, "-") == ["  limits: turn.y, low -80 deg, high 80 deg"]
    assert lines(told, "+") == ["  limits: turn.y, low -70 deg, high 80 deg"]


def test_git_diff_goes_on_when_somite_is_gone(
    ready: Stall, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sys

    monkeypatch.setattr(sys, "executable", "/nowhere/at all/python")
    main(["git-setup"])
    ready.recipe.write_text(edited(RECIPE, WIDE) + "# a word\n")
    told = ready.git("diff")
    assert lines(told.stdout, "+") == ["  length girth = 33 cm", "# a word"]


# ---- difftool ------------------------------------------------------------------------------------


def difftool(stall: Stall, *more: str, within: Path | None = None) -> str:
    return stall.git("difftool", "-t", "somite", "--no-prompt", *more, within=within).stdout


def test_the_difftool_says_what_changed_between_two_rigs(ready: Stall) -> None:
    ready.recipe.write_text(edited(RECIPE, ("-80 deg..80 deg", "-70 deg..80 deg")))
    told = difftool(ready)
    assert "high turn.y is limited to -70..80 deg, it was -80..80 deg" in told
    assert "for lumen" in told
    ready.commit("Let it turn less")
    assert "high turn.y is limited" in difftool(ready, "HEAD~1", "HEAD")
    assert "high turn.y is limited" in difftool(ready, "HEAD~1", within=ready.project)


def test_the_difftool_shows_other_files_and_new_ones_as_they_are(ready: Stall) -> None:
    (ready.top / "notes.txt").write_text("the lamps\n")
    ready.write("moth.somite", "recipe moth\n  units cm\n")
    ready.commit("Notes and a moth")
    told = difftool(ready, "HEAD~1", "HEAD")
    assert "+the lamps" in told
    assert "+recipe moth" in told


# ---- merging -------------------------------------------------------------------------------------


def branches(stall: Stall, ours: str, theirs: str) -> None:
    """Two branches of the one recipe; we stand on `main`."""
    stall.git("checkout", "-q", "-b", "topic")
    stall.commit("Theirs", theirs, who="Bram")
    stall.git("checkout", "-q", "main")
    stall.commit("Ours", ours)


BOTH = edited(
    RECIPE,
    ("  ring girth\n  lock size\ncontrol high", "  ring 40 cm\n  lock size, move\ncontrol high"),
)


def test_git_alone_could_not_merge_them(stall: Stall) -> None:
    branches(stall, edited(RECIPE, LOCKED), edited(RECIPE, RINGED))
    stall.git("merge", "-q", "topic", status=1)
    assert "<<<<<<<" in text_of(stall)


@pytest.mark.parametrize("how", ["merge", "rebase", "cherry-pick"])
def test_facts_side_by_side_come_together(ready: Stall, how: str) -> None:
    branches(ready, edited(RECIPE, LOCKED), edited(RECIPE, RINGED))
    if how == "merge":
        ready.git("merge", "-q", "topic")
    elif how == "rebase":
        ready.git("rebase", "-q", "topic")
    else:
        ready.git("cherry-pick", "topic")
    assert text_of(ready) == BOTH
    assert ready.git("status", "--porcelain").stdout == ""


def test_a_revert_and_a_stash_go_through_the_driver_as_well(ready: Stall) -> None:
    ready.commit("Lock it", edited(RECIPE, LOCKED))
    ready.commit("Widen it", BOTH)
    ready.git("revert", "--no-edit", "HEAD~1")
    assert text_of(ready) == edited(RECIPE, RINGED)
    ready.recipe.write_text(BOTH, encoding="utf-8")
    ready.git("stash", "-q")
    ready.commit(
        "Wider",
        edited(
            RECIPE,
            ("  ring girth\n  lock size\ncontrol high", "  ring 50 cm\n  lock size\ncontrol high"),
        ),
    )
    ready.git("stash", "pop", "-q", status=None)
    assert "lock size, move" in text_of(ready)


def test_a_conflict_is_marked_at_its_statement_and_told(ready: Stall) -> None:
    branches(
        ready,
        edited(RECIPE, RINGED),
        edited(
            RECIPE,
            ("  ring girth\n  lock size\ncontrol high", "  ring 50 cm\n  lock size\ncontrol high"),
        ),
    )
    done = ready.git("merge", "-q", "topic", status=1)
    assert 'conflict: both sides change "ring" of "control low' in done.stderr + done.stdout
    marked = text_of(ready)
    assert marked.count("<<<<<<<") == 1
    block = marked.partition("<<<<<<<")[2].partition(">>>>>>>")[0]
    assert block.splitlines()[1:] == ["  ring 40 cm", "=======", "  ring 50 cm"]
    unmerged = ready.git("ls-files", "-u", "-z").stdout
    assert unmerged.count("lamp.somite") == 3


def test_names_that_are_hard_to_write_reach_the_driver_whole(ready: Stall) -> None:
    ready.rename('-it\'s "Ä" $(touch gone) %P.somite')
    ready.commit("A hard name")
    branches(ready, edited(RECIPE, LOCKED), edited(RECIPE, RINGED))
    ready.git("merge", "-q", "topic")
    assert text_of(ready) == BOTH
    assert not (ready.top / "gone").exists()


def test_a_rename_of_the_file_on_one_side_merges_with_a_change_on_the_other(ready: Stall) -> None:
    ready.git("checkout", "-q", "-b", "topic")
    ready.commit("Theirs", edited(RECIPE, RINGED))
    ready.git("checkout", "-q", "main")
    ready.rename("Träger.somite")
    ready.commit("Ours", edited(RECIPE, LOCKED))
    ready.git("merge", "-q", "topic")
    assert text_of(ready) == BOTH


def test_a_name_that_one_side_renamed_is_right_in_new_lines_of_the_other(ready: Stall) -> None:
    renamed = edited(
        RECIPE,
        ("control low at pelvis", "control hips at pelvis"),
        ("under low", "under hips"),
        ("follow low", "follow hips"),
        ("by low", "by hips"),
        ("relative to low", "relative to hips"),
    )
    added = edited(
        RECIPE,
        ("group skeleton", "control tail at pelvis  under low\n  ring girth\n\ngroup skeleton"),
    )
    branches(ready, renamed, added)
    done = ready.git("merge", "-q", "topic")
    assert "control tail at pelvis  under hips\n" in text_of(ready)
    assert 'renamed "low" to "hips"' in done.stdout + done.stderr
    assert main(["check", str(ready.recipe), "--findings-only"]) == 0


@pytest.mark.parametrize(
    "theirs",
    [b"control ((((\n", b"recipe \xff\n", b"\x00\x01\x02\x03"],
    ids=["broken", "latin", "binary"],
)
def test_what_cannot_be_merged_by_meaning_loses_no_side(ready: Stall, theirs: bytes) -> None:
    ours = edited(RECIPE, LOCKED)
    ready.git("checkout", "-q", "-b", "topic")
    ready.recipe.write_bytes(theirs)
    ready.commit("Theirs")
    ready.git("checkout", "-q", "main")
    ready.commit("Ours", ours)
    ready.git("merge", "-q", "topic", status=1)
    assert ready.git("ls-files", "-u", "-z").stdout.count("lamp.somite") == 3
    held = ready.recipe.read_bytes()
    assert ours.encode() in held or b"<<<<<<<" in held
    if b"\x00" not in theirs:
        assert theirs.strip() in held and b"lock size, move" in held
    ready.git("merge", "--abort")
    assert text_of(ready) == ours


def test_lines_that_git_merges_it_still_merges_when_somite_is_gone(
    ready: Stall, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sys

    monkeypatch.setattr(sys, "executable", "/nowhere/at all/python")
    main(["git-setup"])
    branches(ready, edited(RECIPE, LOCKED), edited(RECIPE, WIDE))
    ready.git("merge", "-q", "topic")
    assert text_of(ready) == edited(RECIPE, LOCKED, WIDE)


def test_a_conflict_is_still_marked_when_somite_is_gone(
    ready: Stall, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A status alone, with our side's text, would let somebody commit the loss of the other."""
    import sys

    python = ready.top.parent / "python without it"
    python.write_text('#!/bin/sh\necho "No module named somite" >&2\nexit 1\n')
    python.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(python))
    main(["git-setup"])
    branches(ready, edited(RECIPE, LOCKED), edited(RECIPE, RINGED))
    ready.git("merge", "-q", "topic", status=1)
    marked = text_of(ready)
    assert "lock size, move" in marked and "ring 40 cm" in marked and "<<<<<<<" in marked


def test_the_merge_in_a_submodule_is_by_meaning_where_that_was_set_up(
    stall: Stall, monkeypatch: pytest.MonkeyPatch
) -> None:
    outer = Stall(stall.top.parent / "the whole market")
    outer.git("submodule", "add", "-q", str(stall.top), "puppets of Pip")
    outer.commit("Take the lamps in")
    inner = outer.top / "puppets of Pip"
    monkeypatch.chdir(inner)
    main(["git-setup"])
    recipe = inner / stall.recipe.relative_to(stall.top)
    for branch, change in (("theirs", RINGED), ("ours", LOCKED)):
        outer.git("checkout", "-q", "-b", branch, "main", within=inner)
        recipe.write_text(edited(RECIPE, change), encoding="utf-8")
        outer.git("commit", "-q", "-a", "-m", branch, within=inner)
    outer.git("merge", "-q", "theirs", within=inner)
    assert recipe.read_text(encoding="utf-8") == BOTH


def test_marks_are_as_long_as_the_attributes_say(ready: Stall) -> None:
    (ready.top / ".gitattributes").write_text("*.somite conflict-marker-size=11\n")
    ready.commit("Longer marks")
    branches(
        ready, edited(RECIPE, RINGED), edited(RECIPE, (RINGED[0], RINGED[1].replace("40", "50")))
    )
    ready.git("merge", "-q", "topic", status=1)
    assert f"{'<' * 11} " in text_of(ready)


def test_the_merged_recipe_is_one(ready: Stall) -> None:
    branches(ready, edited(RECIPE, LOCKED, WIDE), edited(RECIPE, RINGED))
    ready.git("merge", "-q", "topic")
    assert compiles(text_of(ready))
    assert os.listdir(ready.top) == [
        name for name in os.listdir(ready.top) if "merge_file" not in name
    ]
