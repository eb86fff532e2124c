"""Names of a standard on the command line of builds and in the cast."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from somite.cli import main

NAMES = 'standard = "H-Anim"\n[joints]\nstalk = "vl5..vt1"\n'
BUILD = ["build", "lantern.somite", "--sheet", "sheets/first.toml"]


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "lantern"]) == 0
    monkeypatch.chdir(tmp_path / "lantern")
    Path("names").mkdir()
    Path("names/h_anim.toml").write_text(NAMES)
    return tmp_path / "lantern"


def spelled() -> list[str]:
    """The names of the built scene's joints."""
    scene = json.loads(Path("build/lantern.first.scene.json").read_text())
    return [node["name"] for node in scene["nodes"] if node["kind"] == "joint"]


def test_names_on_the_command_line_spell_the_scenes_joints(project: Path) -> None:
    assert main(BUILD) == 0
    assert spelled() == [f"stalk_{bone}" for bone in range(1, 7)]
    assert main([*BUILD, "--names", "names/h_anim.toml"]) == 0
    # Six bones over seventeen vertebrae: k · 16 / 5 rounded half up is 0, 3, 6, 10, 13, 16.
    assert spelled() == ["vl5", "vl2", "vt11", "vt7", "vt4", "vt1"]
    assert main([*BUILD, "--names", "names/h_anim.toml", "--loa", "2"]) == 0
    assert spelled() == ["vl5", "vl3", "vl1", "vt10", "vt6", "vt1"]


def test_the_cast_can_name_them_for_all_builds_or_for_one(project: Path) -> None:
    cast = Path("cast.toml").read_text()
    Path("cast.toml").write_text('names = "names/h_anim.toml"\nloa = 2\n' + cast)
    assert main(["build"]) == 0
    assert spelled()[1] == "vl3"
    Path("cast.toml").write_text(cast + 'names = "names/h_anim.toml"\nloa = 1\n')
    assert main(["build"]) == 0
    assert spelled() == ["vl5", *(f"stalk_{bone}" for bone in range(2, 7))]


def test_a_change_of_the_names_file_builds_again_and_nothing_else_does(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = [*BUILD, "--names", "names/h_anim.toml"]
    assert main(command) == 0
    capsys.readouterr()
    assert main(command) == 0
    assert "up to date" in capsys.readouterr().out
    Path("names/h_anim.toml").write_text(NAMES.replace("vt1", "vl1"))
    assert main([*command, "--explain"]) == 0
    assert 'the names file "names/h_anim.toml" changed' in capsys.readouterr().out
    assert spelled()[-1] == "vl1"


def test_mistakes_in_a_names_file_write_nothing(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("names/h_anim.toml").write_text(NAMES.replace("vt1", "l_ankle"))
    capsys.readouterr()
    assert main([*BUILD, "--names", "names/h_anim.toml"]) == 1
    errors = capsys.readouterr().err
    assert "names/h_anim.toml:3:1: error[names-joint]" in errors and "l_talocrural" in errors
    assert not Path("build/lantern.first.scene.json").exists()


@pytest.mark.parametrize(
    ("added", "told"),
    [
        ("names = 3\n", '"names"'),
        ('names = "../h_anim.toml"\n', "inside the project folder"),
        ('names = "names/other.toml"\n', "names/other.toml"),
        ('names = "names/h_anim.toml"\nloa = 4\n', '"loa"'),
        ("loa = 2\n", 'expected "names" beside "loa"'),
    ],
)
def test_mistakes_in_the_casts_keys_are_told_at_their_line(
    project: Path, capsys: pytest.CaptureFixture[str], added: str, told: str
) -> None:
    Path("cast.toml").write_text(added + Path("cast.toml").read_text())
    capsys.readouterr()
    assert main(["build"]) != 0
    errors = capsys.readouterr().err
    assert told in errors and f"cast.toml:{added.count(chr(10))}:" in errors


def test_a_level_without_names_is_refused(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main([*BUILD, "--loa", "2"]) == 2
    assert "beside --loa" in capsys.readouterr().err
