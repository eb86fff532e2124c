"""`somite log`: who changed what of a rig, and when, through real repositories."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from stall import RECIPE, SHEET, Stall, edited

from somite.cli import main
from somite.history import kept

LIMIT = ("-80 deg..80 deg", "-70 deg..80 deg")
EASED = ("spread even", "spread eased")
WIDE = ("length girth = 30 cm", "length girth = 33 cm")
BROKEN = ("follow low", "follow lew")
SLOPPY = ("  ring girth\n  lock size\n", "  # for a paw\n  lock   size\n  ring girth\n")
BONES = ("bones 4", "bones 5")
HIPS = (
    ("control low at pelvis  under master\n", "control hips at pelvis  under master\n  was low\n"),
    ("under low", "under hips"),
    ("follow low", "follow hips"),
    ("by low", "by hips"),
    ("relative to low", "relative to hips"),
)


def log(
    stall: Stall, capsys: pytest.CaptureFixture[str], *more: str, recipe: str | None = None
) -> list[dict[str, Any]]:
    """The revisions that are told, from the JSON."""
    capsys.readouterr()
    status = main(["log", recipe or str(stall.recipe), *more, "--format", "json"])
    told = capsys.readouterr()
    assert (status, told.err) == (0, "")
    return list(json.loads(told.out)["revisions"])


def said(revisions: list[dict[str, Any]]) -> list[tuple[str, list[str]]]:
    """Of each revision its subject line, and what changed."""
    return [
        (one["subject"], [f"{c['subject']} {c['text']}".strip() for c in one["changes"]])
        for one in revisions
    ]


def subjects(revisions: list[dict[str, Any]]) -> list[str]:
    return [one["subject"] for one in revisions]


def told_text(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    capsys.readouterr()
    assert main(["log", *arguments]) == 0
    return capsys.readouterr().out


# ---- what is told --------------------------------------------------------------------------------


def test_who_changed_the_twist_of_the_back_and_when(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    stall.commit("Let it turn less", edited(RECIPE, LIMIT), who="Bram")
    revision = stall.commit("Ease the twist", edited(RECIPE, LIMIT, EASED), who="Tansy")
    stall.commit("Wider", edited(RECIPE, LIMIT, EASED, WIDE))
    text = told_text(capsys, str(stall.recipe), "back/twist")
    first, second = text.split("\n\n")
    line = RECIPE.splitlines().index("twist back") + 1
    assert first.splitlines() == [
        f"{revision[:8]} 2026-01-04 Tansy: Ease the twist",
        f"  the twist of back spreads eased, it spread even  (lamp.somite:{line})",
    ]
    assert "there since the recipe began" in second
    assert "Bram" not in text


def test_the_whole_rig_newest_first(stall: Stall, capsys: pytest.CaptureFixture[str]) -> None:
    stall.commit("Let it turn less", edited(RECIPE, LIMIT), who="Bram")
    stall.commit("Only words", edited(RECIPE, LIMIT, SLOPPY))
    stall.commit("More bones", edited(RECIPE, LIMIT, SLOPPY, BONES))
    told = log(stall, capsys)
    assert subjects(told) == ["More bones", "Let it turn less", "The lamp bearer"]
    assert [one["what"] for one in told] == ["changed", "changed", "first"]
    assert [one["author"] for one in told] == ["Pip", "Bram", "Pip"]
    assert told[1]["when"] == "2026-01-03T11:00:00+01:00"
    assert said(told)[1][1] == [
        "high turn.y is limited to -70..80 deg, it was -80..80 deg (tighter)"
    ]
    whole = " ".join(told_text(capsys, str(stall.recipe)).split())
    assert "the recipe begins here: 1 chain" in whole
    assert "3 controls" in whole and "2 grips" in whole and "4 joints" in whole


def test_a_sheet_and_a_part_have_a_history_as_well(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    part = "part knob\n  needs point spot\n  joint knob at spot\n"
    stall.write("parts/knob.somite", part)
    used = edited(
        RECIPE,
        ("sheet\n", 'import knob from "parts/knob.somite"\n\nsheet\n'),
        ("list skin", "use knob as knob\n  with spot = ribs\n\nlist skin"),
    )
    stall.commit("Use a part", used)
    stall.write("parts/knob.somite", part.replace("at spot", "at spot + 2 cm * +Z"))
    stall.commit("The part stands out")
    stall.write("sheets/lumen.toml", SHEET.replace("[0, 92, 1]", "[0, 97, 1]"))
    stall.commit("A longer neck")
    (stall.top / "README").write_text("nothing of the rig\n")
    stall.commit("Words")
    told = log(stall, capsys)
    assert subjects(told)[:3] == ["A longer neck", "The part stands out", "Use a part"]
    knob = log(stall, capsys, "knob")
    assert subjects(knob) == ["The part stands out", "Use a part"]
    assert said(knob)[0][1] == ["knob.knob stands 2 cm away at rest"]


# ---- following -----------------------------------------------------------------------------------


def test_a_name_is_followed_through_was_and_the_file_through_a_rename(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    ring = ("  ring girth\n  lock size\ncontrol high", "  ring 40 cm\n  lock size\ncontrol high")
    stall.commit("Wider hips", edited(RECIPE, ring))
    stall.rename("Lampenträgerin.somite")
    stall.write(
        "cast.toml", (stall.project / "cast.toml").read_text().replace("lamp.", "Lampenträgerin.")
    )
    stall.commit("Another file")
    stall.commit("Call them hips", edited(RECIPE, ring, *HIPS))
    later = edited(RECIPE, ring, *HIPS).replace("ring 40 cm", "ring 44 cm")
    stall.commit("Wider still", later, who="Juniper")
    told = log(stall, capsys, "hips")
    assert subjects(told) == ["Wider still", "Call them hips", "Wider hips", "The lamp bearer"]
    assert [one["names"] for one in told] == [["hips"], ["hips"], ["low"], ["low"]]
    assert told[3]["what"] == "first"


def test_a_rename_that_nobody_stated_is_followed_where_it_is_likely(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    stall.commit("Turn less", edited(RECIPE, LIMIT))
    renamed = edited(
        RECIPE,
        LIMIT,
        ("control high", "control chest"),
        ("follow high", "follow chest"),
        ("meets high", "meets chest"),
        ("live high.glow", "live chest.glow"),
    )
    stall.commit("Call it chest", renamed)
    told = log(stall, capsys, "chest")
    assert subjects(told) == ["Call it chest", "Turn less", "The lamp bearer"]
    assert 'is now "chest" (likely' in said(told)[0][1][0]


def test_a_part_is_followed_by_what_is_in_it(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    part = "\npart knob\n  needs point spot\n  control grasp at spot\n    ring 3 cm\n"
    used = RECIPE + part + "use knob as handle\n  with spot = ribs\n"
    stall.commit("A handle", used)
    stall.commit("A wider one", used.replace("ring 3 cm", "ring 4 cm"))
    stall.commit(
        "Call it a lever",
        used.replace("use knob as handle", "use knob as lever\n  was handle").replace(
            "ring 3 cm", "ring 4 cm"
        ),
    )
    assert subjects(log(stall, capsys, "lever")) == ["Call it a lever", "A wider one", "A handle"]


def test_a_dial_and_a_limit_are_asked_for_by_their_channels(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    dial = ("dial glow = 0 in 0..1", "dial glow = 0 in 0..2")
    stall.commit("Turn less", edited(RECIPE, LIMIT))
    stall.commit("Glow more", edited(RECIPE, LIMIT, dial))
    assert subjects(log(stall, capsys, "high.glow"))[0] == "Glow more"
    assert subjects(log(stall, capsys, "high.glow"))[1:] == ["The lamp bearer"]
    assert subjects(log(stall, capsys, "high.turn.y")) == ["Turn less"]
    assert len(log(stall, capsys, "high")) == 3


def test_what_is_gone_has_a_history_too(stall: Stall, capsys: pytest.CaptureFixture[str]) -> None:
    joint = "joint lamp at nape  under back.last\n\n"
    stall.commit("No lamp", edited(RECIPE, (joint, ""), ("back, lamp", "back")))
    told = log(stall, capsys, "lamp")
    assert subjects(told) == ["No lamp", "The lamp bearer"]


def test_the_end_of_a_name_is_enough_where_nothing_else_has_it(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    assert log(stall, capsys, "above")[0]["names"] == ["path.above"]


# ---- history of all shapes -----------------------------------------------------------------------


def test_a_revision_that_does_not_compile_is_said_and_passed_over(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    stall.commit("A slip", edited(RECIPE, BROKEN))
    stall.commit("Another", edited(RECIPE, BROKEN, EASED))
    stall.commit("Mended, and turns less", edited(RECIPE, LIMIT))
    told = log(stall, capsys)
    assert [one["what"] for one in told] == ["changed", "broken", "broken", "first"]
    assert said(told)[0][1] == [
        "high turn.y is limited to -70..80 deg, it was -80..80 deg (tighter)"
    ]
    assert "lew" in told[1]["why"] and "lamp.somite:" in told[1]["why"]
    assert "does not compile, passed over" in told_text(capsys, str(stall.recipe))


def test_a_recipe_that_begins_broken(stall: Stall, capsys: pytest.CaptureFixture[str]) -> None:
    stall.write("moth.somite", "recipe (\n")
    stall.write("cast.toml", '[[build]]\nrecipe = "moth.somite"\nsheets = ["sheets/*.toml"]\n')
    stall.commit("A moth to come")
    moth = RECIPE.replace("recipe lamp_bearer", "recipe moth")
    stall.write("moth.somite", moth)
    stall.commit("A moth")
    told = log(stall, capsys, recipe=str(stall.project / "moth.somite"))
    assert [(one["subject"], one["what"]) for one in told] == [
        ("A moth", "first"),
        ("A moth to come", "broken"),
    ]


def test_changes_of_branches_are_told_where_they_were_made_and_not_again_at_the_merge(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    stall.git("checkout", "-q", "-b", "topic")
    stall.commit("Ease", edited(RECIPE, EASED), who="Bram")
    stall.git("checkout", "-q", "main")
    stall.commit("Turn less", edited(RECIPE, LIMIT))
    stall.git("merge", "-q", "--no-edit", "topic")
    assert sorted(subjects(log(stall, capsys))) == ["Ease", "The lamp bearer", "Turn less"]


def test_what_a_merge_itself_changed_is_told_of_it(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    stall.git("checkout", "-q", "-b", "topic")
    stall.commit("Ease", edited(RECIPE, EASED))
    stall.git("checkout", "-q", "main")
    stall.commit("Turn less", edited(RECIPE, LIMIT))
    stall.git("merge", "-q", "--no-commit", "topic")
    stall.commit("Merge, and more bones", edited(RECIPE, EASED, LIMIT, BONES))
    told = log(stall, capsys, "back")
    assert subjects(told) == ["Merge, and more bones", "Ease", "The lamp bearer"]
    assert "back has 5 bones, it had 4" in said(told)[0][1]
    assert not any("spread" in one for one in said(told)[0][1])


def test_a_sheet_that_came_later_measures_what_was_before(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    stall.commit("Turn less", edited(RECIPE, LIMIT))
    stall.write("sheets/brolly.toml", SHEET.replace('"lumen"', '"brolly"'))
    stall.commit("Measure Brolly")
    stall.commit("Ease", edited(RECIPE, LIMIT, EASED))
    sheet = str(stall.project / "sheets/brolly.toml")
    told = log(stall, capsys, "--sheet", sheet)
    assert subjects(told) == ["Ease", "Turn less", "The lamp bearer"]
    assert [one["sheet_of_later"] for one in told] == [False, True, True]


def test_from_another_revision_from_a_detached_head_and_from_a_folder_below(
    stall: Stall, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    first = stall.commit("Turn less", edited(RECIPE, LIMIT))
    stall.commit("Ease", edited(RECIPE, LIMIT, EASED))
    path = stall.recipe.relative_to(stall.top).as_posix()
    assert subjects(log(stall, capsys, recipe=f"{first}:{path}")) == [
        "Turn less",
        "The lamp bearer",
    ]
    stall.git("checkout", "-q", "--detach", first)
    assert subjects(log(stall, capsys)) == ["Turn less", "The lamp bearer"]
    monkeypatch.chdir(stall.project)
    assert subjects(log(stall, capsys, recipe="lamp.somite")) == ["Turn less", "The lamp bearer"]
    assert subjects(log(stall, capsys, recipe="main:./lamp.somite"))[0] == "Ease"


def test_a_recipe_in_a_submodule_has_the_history_of_that(
    stall: Stall, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    stall.commit("Turn less", edited(RECIPE, LIMIT))
    outer = Stall(stall.top.parent / "the whole market")
    outer.git("submodule", "add", "-q", str(stall.top), "puppets of Pip")
    outer.commit("Take the lamps in")
    monkeypatch.chdir(outer.top)
    inner = f"puppets of Pip/{stall.project.name}/lamp.somite"
    assert subjects(log(outer, capsys, recipe=inner)) == ["Turn less", "The lamp bearer"]


def test_only_so_many_and_only_since_a_day(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    stall.commit("Turn less", edited(RECIPE, LIMIT))
    stall.commit("Ease", edited(RECIPE, LIMIT, EASED))
    assert subjects(log(stall, capsys, "-n", "1")) == ["Ease"]
    assert subjects(log(stall, capsys, "--since", "2026-01-03")) == ["Ease", "Turn less"]
    assert log(stall, capsys, "--since", "2027-01-01") == []


# ---- what is kept --------------------------------------------------------------------------------


def test_what_was_worked_out_is_not_worked_out_again(
    stall: Stall, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from somite.history import meanings

    stall.commit("Turn less", edited(RECIPE, LIMIT))
    stall.commit("A slip", edited(RECIPE, BROKEN))
    stall.commit("Ease", edited(RECIPE, LIMIT, EASED))
    first = log(stall, capsys)
    assert stall.git("status", "--porcelain").stdout == ""
    compiled: list[object] = []
    real = meanings.compiled

    def counted(*arguments: Any) -> Any:
        compiled.append(arguments)
        return real(*arguments)

    monkeypatch.setattr(meanings, "compiled", counted)
    assert log(stall, capsys) == first
    assert compiled == []
    (stall.top / ".git/somite/log.json").write_text("{")
    assert log(stall, capsys) == first
    assert len(compiled) >= 4
    compiled.clear()
    monkeypatch.setattr(kept, "compiler_digest", lambda: "another")
    assert log(stall, capsys) == first
    assert len(compiled) >= 4


def test_a_state_that_was_before_is_compiled_once(
    stall: Stall, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from somite.history import meanings

    for _ in range(3):
        stall.commit("There", edited(RECIPE, LIMIT))
        (stall.top / "words.txt").write_text(str(stall.day))
        stall.write("other.somite", f"recipe other_{stall.day}\n  units cm\n")
        stall.commit("Something else")
        stall.commit("And back", RECIPE)
    compiled: list[object] = []
    real = meanings.compiled
    monkeypatch.setattr(meanings, "compiled", lambda *a: (compiled.append(a), real(*a))[1])
    told = log(stall, capsys)
    assert subjects(told)[:2] == ["And back", "There"]
    assert len(told) == 7
    assert len(compiled) == 2


def test_many_at_work_find_the_same_as_one_alone(
    stall: Stall, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from somite.builds import crew

    for size in range(21, 61):
        stall.commit(f"Size {size}", edited(RECIPE, ("2 * girth", f"{size / 10} * girth")))
    monkeypatch.setattr(crew, "cores", lambda: 2)
    together = log(stall, capsys)
    (stall.top / ".git/somite/log.json").unlink()
    monkeypatch.setattr(crew, "cores", lambda: 1)
    assert log(stall, capsys) == together
    assert len(together) == 41


def test_each_revision_is_told_as_a_review_of_it_would(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    """The history is that of `somite diff` between each revision and the one before."""
    from somite import sides
    from somite.diff.comparing import difference
    from somite.report.review_outline import changes_outline

    text = RECIPE
    for change in (LIMIT, EASED, WIDE, BONES, *HIPS[:1]):
        text = edited(text, change)
        if change is HIPS[0]:
            text = edited(text, *HIPS[1:])
        stall.commit("A change", text)
    path = stall.recipe.relative_to(stall.top).as_posix()
    told = log(stall, capsys)
    assert len(told) == 6
    for at, one in enumerate(told[:-1]):
        rigs = [sides.load(f"HEAD~{at + k}:{path}").versions[0].rig for k in (1, 0)]
        assert rigs[0] is not None and rigs[1] is not None
        lines = [
            f"{line.subject} {line.text}".strip()
            for section in changes_outline("lumen", difference(*rigs))
            for line in section.lines
        ]
        assert said([one])[0][1] == lines


# ---- what cannot be told -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (("nowhere.somite",), "no-history"),
        (("HEAD:nowhere.somite",), "no-history"),
        (("nothing:lamp.somite",), "revision-unknown"),
        (("sheets/lumen.toml",), "no-history"),
        (("lamp.somite", "hgih"), "no-history"),
        (("lamp.somite", "--sheet", "sheets/nobody.toml"), "no-sheets"),
        (("bare.somite",), "no-sheets"),
    ],
)
def test_what_has_no_history_is_refused(
    stall: Stall,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    code: str,
) -> None:
    stall.write("bare.somite", RECIPE)
    stall.commit("A recipe of no cast")
    monkeypatch.chdir(stall.project)
    assert main(["log", *arguments]) == 2
    told = capsys.readouterr()
    assert f"error[{code}]" in told.err and "help: " in told.err
    assert told.out == ""


def test_a_name_that_never_was_gets_the_nearest(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["log", str(stall.recipe), "hgih"]) == 2
    assert 'did you mean "high"?' in capsys.readouterr().err


def test_the_end_of_several_names_is_refused(
    stall: Stall, capsys: pytest.CaptureFixture[str]
) -> None:
    part = "\npart knob\n  needs point spot\n  control grasp at spot\n    ring 3 cm\n"
    uses = "use knob as a\n  with spot = ribs\nuse knob as b\n  with spot = nape\n"
    stall.commit("Two", RECIPE + part + uses)
    assert main(["log", str(stall.recipe), "grasp"]) == 2
    assert 'found 2: "a.grasp", "b.grasp"' in capsys.readouterr().err


def test_outside_a_repository(
    stall: Stall,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lamp.somite").write_text(RECIPE)
    assert main(["log", "lamp.somite"]) == 2
    assert "error[revision-unknown]" in capsys.readouterr().err


@pytest.mark.parametrize("wrong", [("-n", "0"), ("--since", "yesterday")])
def test_wrong_numbers_and_days_are_refused(stall: Stall, wrong: tuple[str, str]) -> None:
    assert main(["log", str(stall.recipe), *wrong]) == 2
