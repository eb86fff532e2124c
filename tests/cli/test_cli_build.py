"""Builds: what is written, what is left alone, and what a failure leaves behind."""

from __future__ import annotations

import json
import os
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from somite.builds import build
from somite.builds.build import Outcome
from somite.builds.rendering import file_name


def states(workshop: Any, *jobs: Any, force: bool = False) -> list[str]:
    return [outcome.state for outcome in outcomes(workshop, *jobs, force=force)]


def outcomes(workshop: Any, *jobs: Any, force: bool = False) -> list[Outcome]:
    return list(build.run(jobs or (workshop.job(),), workshop.tools, force=force))


def codes(outcome: Outcome) -> list[str]:
    return [finding.code for finding in outcome.findings]


def test_outputs_are_named_by_recipe_character_and_target(workshop: Any) -> None:
    assert states(workshop) == ["built"]
    assert list(workshop.outputs()) == ["upright.heron.list.txt"]


def test_a_build_whose_inputs_are_the_same_is_not_done_again(workshop: Any) -> None:
    states(workshop)
    assert states(workshop) == ["unchanged"]
    assert len(workshop.compiled) == 1


def test_force_builds_all_the_same(workshop: Any) -> None:
    states(workshop)
    assert states(workshop, force=True) == ["built"]


@pytest.mark.parametrize("name", ["upright.somite", "heron.toml"])
def test_a_changed_input_is_built_again(workshop: Any, name: str) -> None:
    states(workshop)
    path = workshop.folder / name
    path.write_text(path.read_text() + "# a word more\n")
    assert states(workshop) == ["built"]
    assert states(workshop) == ["unchanged"]


def test_an_input_touched_but_not_changed_is_not_built_again(workshop: Any) -> None:
    states(workshop)
    os.utime(workshop.folder / "heron.toml", (1, 1))
    assert states(workshop) == ["unchanged"]


def test_a_changed_output_is_made_anew(workshop: Any) -> None:
    states(workshop)
    before = workshop.outputs()
    workshop.write("build/upright.heron.list.txt", "somebody wrote here\n")
    assert states(workshop) == ["built"]
    assert workshop.outputs() == before


def test_a_missing_output_is_made_anew(workshop: Any) -> None:
    states(workshop)
    (workshop.folder / "build/upright.heron.list.txt").unlink()
    assert states(workshop) == ["built"]


def test_another_compiler_builds_again(workshop: Any) -> None:
    states(workshop)
    path = workshop.folder / "build" / ".somite" / "upright.heron.json"
    made = json.loads(path.read_text())
    path.write_text(json.dumps({**made, "compiler": "an older one"}))
    assert states(workshop) == ["built"]


def test_an_input_that_changes_while_it_is_built_is_built_again(workshop: Any) -> None:
    workshop.between = lambda: workshop.write("heron.toml", "heron\n# measured again\n")
    assert states(workshop) == ["built"]
    workshop.between = lambda: None
    assert states(workshop) == ["built"]
    assert states(workshop) == ["unchanged"]


@pytest.mark.parametrize("stamp", ["", "[]", '{"stamp": 1}', '{"stamp": 1, "job": 3}', "[" * 9999])
def test_a_stamp_that_makes_no_sense_counts_as_none(workshop: Any, stamp: str) -> None:
    states(workshop)
    workshop.write("build/.somite/upright.heron.json", stamp)
    assert states(workshop) == ["built"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_an_input_that_became_a_pipe_is_not_waited_for(workshop: Any) -> None:
    states(workshop)
    (workshop.folder / "heron.toml").unlink()
    os.mkfifo(workshop.folder / "heron.toml")
    assert states(workshop) == ["failed"]


def test_a_moved_project_need_not_be_built_again(workshop: Any, tmp_path: Path) -> None:
    workshop.folder = tmp_path / "here"
    for name, text in (("upright.somite", "recipe upright\n"), ("heron.toml", "heron\n")):
        workshop.write(name, text)
    states(workshop)
    workshop.folder = (tmp_path / "here").rename(tmp_path / "there")
    assert states(workshop) == ["unchanged"]


def test_an_error_writes_nothing(workshop: Any) -> None:
    workshop.write("heron.toml", "heron wrong\n")
    (outcome,) = outcomes(workshop)
    assert outcome.state == "failed"
    assert codes(outcome) == ["wrong-word"]
    assert not (workshop.folder / "build").exists()


def test_an_error_leaves_what_an_earlier_build_wrote(workshop: Any) -> None:
    states(workshop)
    before = workshop.outputs()
    workshop.write("heron.toml", "heron wrong\n")
    (outcome,) = outcomes(workshop)
    assert outcome.state == "failed"
    assert [Path(path).name for path in outcome.files] == list(before)
    assert workshop.outputs() == before


def test_an_error_is_never_up_to_date(workshop: Any) -> None:
    states(workshop)
    workshop.write("heron.toml", "heron wrong\n")
    assert states(workshop) == ["failed"]
    assert states(workshop) == ["failed"]


def test_a_target_that_refuses_keeps_the_others_from_being_written(workshop: Any) -> None:
    assert states(workshop, workshop.job(targets=("list", "refusing"))) == ["failed"]
    assert not (workshop.folder / "build").exists()


def test_an_unknown_target_is_a_finding(workshop: Any) -> None:
    (outcome,) = outcomes(workshop, workshop.job(targets=("none",)))
    assert (outcome.state, codes(outcome)) == ("failed", ["unknown-target"])


def test_a_target_cannot_write_outside_the_folder(workshop: Any) -> None:
    (outcome,) = outcomes(workshop, workshop.job(targets=("climbing",)))
    assert (outcome.state, codes(outcome)) == ("failed", ["output-name"])


def test_one_that_fails_stops_no_other(workshop: Any) -> None:
    workshop.write("badger.toml", "badger wrong\n")
    workshop.write("otter.toml", "otter broken\n")
    workshop.write("stoat.toml", "stoat\n")
    jobs = [workshop.job(f"{name}.toml") for name in ("badger", "otter", "stoat")]
    assert states(workshop, *jobs) == ["failed", "failed", "built"]


def test_an_unexpected_exception_is_a_finding_about_somite(
    workshop: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SOMITE_DEBUG", raising=False)
    workshop.write("heron.toml", "heron broken\n")
    (outcome,) = outcomes(workshop)
    assert codes(outcome) == ["internal-error"]
    assert outcome.trace == ""
    assert "something it does not know" not in outcome.findings[0].message


def test_details_of_an_unexpected_exception_are_given_when_asked_for(
    workshop: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOMITE_DEBUG", "1")
    workshop.write("heron.toml", "heron broken\n")
    (outcome,) = outcomes(workshop)
    assert "something it does not know" in outcome.trace


def test_warnings_are_said_again_when_nothing_is_to_be_done(workshop: Any) -> None:
    workshop.write("heron.toml", "heron doubtful\n")
    (first,) = outcomes(workshop)
    (second,) = outcomes(workshop)
    assert (first.state, second.state) == ("built", "unchanged")
    assert second.findings == first.findings != ()
    site = second.findings[0].site
    assert site is not None
    assert second.lines(site.file, site.line) == "heron doubtful"


def test_two_sheets_of_one_character_are_told_apart(workshop: Any) -> None:
    workshop.write("again.toml", "heron\n# another day\n")
    first, second = outcomes(workshop, workshop.job(), workshop.job("again.toml"))
    assert (first.state, second.state) == ("built", "failed")
    assert codes(second) == ["same-output"]


def test_two_sheets_of_one_character_clash_when_one_is_up_to_date(workshop: Any) -> None:
    workshop.write("again.toml", "heron\n# another day\n")
    states(workshop)
    assert states(workshop, workshop.job("again.toml"), workshop.job()) == ["failed", "unchanged"]


def test_characters_that_differ_in_case_only_clash(workshop: Any) -> None:
    workshop.write("again.toml", "Heron\n")
    assert states(workshop, workshop.job(), workshop.job("again.toml")) == ["built", "failed"]


def test_another_target_leaves_the_first_one_alone_while_it_is_true(workshop: Any) -> None:
    states(workshop)
    assert states(workshop, workshop.job(targets=("table",))) == ["built"]
    assert list(workshop.outputs()) == ["upright.heron.list.txt", "upright.heron.table.txt"]
    assert states(workshop, workshop.job(targets=("list", "table"))) == ["unchanged"]


def test_an_output_that_is_not_true_any_more_is_removed(workshop: Any) -> None:
    states(workshop)
    workshop.write("heron.toml", "heron\n# longer legs\n")
    (outcome,) = outcomes(workshop, workshop.job(targets=("table",)))
    assert [Path(path).name for path in outcome.removed] == ["upright.heron.list.txt"]
    assert list(workshop.outputs()) == ["upright.heron.table.txt"]


def test_an_output_that_somebody_changed_is_not_removed(workshop: Any) -> None:
    states(workshop)
    workshop.write("build/upright.heron.list.txt", "notes of mine\n")
    workshop.write("heron.toml", "heron\n# longer legs\n")
    states(workshop, workshop.job(targets=("table",)))
    assert workshop.outputs()["upright.heron.list.txt"] == "notes of mine\n"


def test_a_renamed_character_leaves_no_output_behind(workshop: Any) -> None:
    states(workshop)
    workshop.write("heron.toml", "crane\n")
    (outcome,) = outcomes(workshop)
    assert [Path(path).name for path in outcome.removed] == ["upright.heron.list.txt"]
    assert list(workshop.outputs()) == ["upright.crane.list.txt"]
    assert states(workshop) == ["unchanged"]


def test_two_characters_can_trade_names(workshop: Any) -> None:
    workshop.write("otter.toml", "otter\n")
    jobs = workshop.job(), workshop.job("otter.toml")
    states(workshop, *jobs)
    workshop.write("heron.toml", "otter\n")
    workshop.write("otter.toml", "heron\n")
    assert states(workshop, *jobs) == ["built", "built"]
    assert list(workshop.outputs()) == ["upright.heron.list.txt", "upright.otter.list.txt"]
    assert states(workshop, *jobs) == ["unchanged", "unchanged"]


def test_a_phrase_file_is_an_input(workshop: Any) -> None:
    phrases = workshop.write("phrases.toml", '[joint]\nmake = "put a joint"\n')
    job = workshop.job(phrases=phrases)
    states(workshop, job)
    assert "'joint.make': 'put a joint'" in workshop.outputs()["upright.heron.list.txt"]
    assert states(workshop, job) == ["unchanged"]
    workshop.write("phrases.toml", '[joint]\nmake = "set a joint"\n')
    assert states(workshop, job) == ["built"]


def test_a_new_file_among_the_templates_is_a_changed_input(workshop: Any) -> None:
    workshop.write("ours/page.md", "hello\n")
    job = workshop.job(templates=str(workshop.folder / "ours"))
    states(workshop, job)
    assert states(workshop, job) == ["unchanged"]
    workshop.write("ours/deeper/foot.md", "goodbye\n")
    assert states(workshop, job) == ["built"]
    assert "'deeper/foot.md': 'goodbye" in workshop.outputs()["upright.heron.list.txt"]


def test_wording_that_cannot_be_read_is_a_finding(workshop: Any) -> None:
    phrases = workshop.write("phrases.toml", "[joint]\nmake = 3\n")
    (outcome,) = outcomes(workshop, workshop.job(phrases=phrases))
    assert (outcome.state, codes(outcome)) == ("failed", ["phrases-syntax"])
    site = outcome.findings[0].site
    assert site is not None and site.line == 2


def test_a_folder_of_templates_that_is_not_there_is_a_finding(workshop: Any) -> None:
    (outcome,) = outcomes(workshop, workshop.job(templates=str(workshop.folder / "none")))
    assert (outcome.state, codes(outcome)) == ("failed", ["templates-missing"])


def test_targets_are_told_the_digests_of_their_sources(workshop: Any) -> None:
    states(workshop)
    (text,) = workshop.outputs().values()
    assert sha256(b"recipe upright\n").hexdigest() in text
    assert sha256(b"heron\n").hexdigest() in text


def test_a_folder_that_cannot_be_written_to_is_a_finding(workshop: Any) -> None:
    workshop.write("build", "a file where the folder should be\n")
    (outcome,) = outcomes(workshop)
    assert (outcome.state, codes(outcome)) == ("failed", ["output-unwritable"])


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("tansy_heron", "tansy_heron"),
        ("Tansy Heron", "Tansy_Heron"),
        ("../escape", "_escape"),
        ("dachs\u00e4tzchen", "dachs\u00e4tzchen"),
        ("a\u0308hre", "\u00e4hre"),
        ("", "_"),
    ],
)
def test_a_name_becomes_part_of_a_file_name(name: str, file: str) -> None:
    assert file_name(name) == file


def test_every_module_of_the_compiler_counts_as_part_of_the_installation() -> None:
    import somite
    from somite.builds import install

    assert Path(install.OWN).samefile(Path(str(somite.__file__)).parent)
    facts = {fact.split()[0] for fact in install._facts(install.OWN, "")}
    assert {"settle.py", "builds/install.py", "evaluate/ride.py"} <= facts
