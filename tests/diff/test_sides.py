"""What can be compared: files, scene files, casts, and these at revisions of real repositories."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest
from puppet import EDITS, RECIPE, SHEET, edited, made

from somite import sides
from somite.diff.comparing import difference
from somite.diff.records import Difference
from somite.revisions import asked_in
from somite.target import Context
from somite.targets.scene import TARGET
from somite.targets.scene_reading import UNHELD, held, read_scene_rig
from somite.text import Source

CAST = '[[build]]\nrecipe = "porter.somite"\nsheets = ["sheets/*.toml"]\n'
ENVIRONMENT = {
    "GIT_AUTHOR_NAME": "Pip",
    "GIT_AUTHOR_EMAIL": "pip@market.example",
    "GIT_COMMITTER_NAME": "Pip",
    "GIT_COMMITTER_EMAIL": "pip@market.example",
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_CONFIG_SYSTEM": os.devnull,
}


def git(folder: Path, *arguments: str) -> str:
    done = subprocess.run(
        ["git", "-c", "protocol.file.allow=always", *arguments],
        cwd=folder,
        env={**os.environ, **ENVIRONMENT},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def lay_out(folder: Path) -> Path:
    """A project of the puppet in a folder."""
    (folder / "sheets").mkdir(parents=True)
    (folder / "cast.toml").write_text(CAST, encoding="utf-8")
    (folder / "porter.somite").write_text(RECIPE, encoding="utf-8")
    (folder / "sheets/bram.toml").write_text(SHEET, encoding="utf-8")
    (folder / "sheets/pip.toml").write_text(
        SHEET.replace('"bram"', '"pip"').replace("110, 4", "104, 4"), encoding="utf-8"
    )
    return folder


@pytest.fixture
def repository(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A repository with a project in a folder whose name is hard to write."""
    top = tmp_path / "night market"
    lay_out(top / "Puppen für Bram")
    git(top, "init", "-q", "-b", "main")
    git(top, "add", "-A")
    git(top, "commit", "-q", "-m", "The puppets as they were")
    monkeypatch.chdir(top)
    return top


def compared(old: sides.Side, new: sides.Side) -> dict[str, Difference]:
    """The differences of two sides, by character."""
    found = {}
    for first, second in sides.paired(old, new).pairs:
        one, other, unheld = sides.alike(first, second)
        assert one is not None and other is not None, (first.findings, second.findings)
        found[second.character] = difference(one, other, unheld=unheld)
    return found


def codes(side: sides.Side) -> list[str]:
    return [finding.code for finding in sides.findings_of(side)]


# ---- files ---------------------------------------------------------------------------------------


def test_a_recipe_has_the_characters_of_its_cast(tmp_path: Path) -> None:
    side = sides.load(str(lay_out(tmp_path / "a") / "porter.somite"))
    assert [version.character for version in side.versions] == ["bram", "pip"]
    assert not sides.broken(side)


def test_a_folder_and_its_cast_file_are_one_side(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "a")
    both = [sides.load(str(folder)), sides.load(str(folder / "cast.toml"))]
    assert not any(compared(*both).values())


def test_named_sheets_are_the_ones_compared(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "a")
    side = sides.load(str(folder / "porter.somite"), [str(folder / "sheets/pip.toml")])
    assert [version.character for version in side.versions] == ["pip"]


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("sheets", "side-kind"),
        ("sheets/bram.toml", "side-kind"),
        ("porter.somit", "file-missing"),
        ("bare/porter.somite", "no-sheets"),
        ("broken.json", "scene-invalid"),
        ("cut.json", "scene-invalid"),
    ],
)
def test_what_is_no_side_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: str, code: str
) -> None:
    folder = lay_out(tmp_path / "a")
    (folder / "bare").mkdir()
    (folder / "bare/porter.somite").write_text(RECIPE, encoding="utf-8")
    (folder / "broken.json").write_text("{}", encoding="utf-8")
    (folder / "cut.json").write_text('{"format": "somite-scene 1", "nodes": [', encoding="utf-8")
    (folder / "cast.toml").unlink() if code == "no-sheets" else None
    monkeypatch.chdir(folder)
    side = sides.load(written)
    assert side.versions == ()
    assert code in codes(side)


def test_a_recipe_that_does_not_compile_has_findings_and_no_rig(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "a")
    (folder / "porter.somite").write_text(
        RECIPE.replace("under bow", "under bough"), encoding="utf-8"
    )
    side = sides.load(str(folder / "porter.somite"))
    assert all(version.rig is None for version in side.versions)
    assert "unknown-name" in codes(side)
    assert sides.broken(side)


# ---- scene files ---------------------------------------------------------------------------------


def scene_file(folder: Path, *names: str) -> str:
    settled = made(*names).settled
    assert settled is not None
    outputs, _ = TARGET.emit(settled, Context())
    path = folder / f"{'-'.join(names) or 'plain'}.scene.json"
    path.write_text(outputs[0].text, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("name", sorted(EDITS))
def test_a_scene_file_says_what_its_recipe_says(tmp_path: Path, name: str) -> None:
    """Against the file of the plain puppet, each edit is told as against the recipe itself."""
    folder = lay_out(tmp_path / "a")
    recipe = folder / "porter.somite"
    recipe.write_text(edited(name), encoding="utf-8")
    new = sides.load(str(recipe), [str(folder / "sheets/bram.toml")])
    told = compared(sides.load(scene_file(tmp_path)), new)["bram"].changes
    plain = difference(made().rig, made(name).rig).changes

    def said(changes: object) -> set[tuple[object, ...]]:
        return {
            (one.what, one.kind, one.old, one.new, one.path)
            for one in changes  # type: ignore[attr-defined]
            if not one.implied and one.topic != "renames"
        }

    assert said(told) == said(plain)


@pytest.mark.parametrize("name", sorted(EDITS))
def test_a_scene_file_of_a_recipe_is_no_difference_from_it(tmp_path: Path, name: str) -> None:
    folder = lay_out(tmp_path / "a")
    (folder / "porter.somite").write_text(edited(name), encoding="utf-8")
    new = sides.load(str(folder / "porter.somite"), [str(folder / "sheets/bram.toml")])
    assert not compared(sides.load(scene_file(tmp_path, name)), new)["bram"]


def test_a_scene_read_back_is_the_rig_to_within_the_files_rounding() -> None:
    made_of = made("choice more", "units")
    assert made_of.settled is not None and made_of.rig is not None
    changes = difference(made_of.rig, held(made_of.settled), unheld=UNHELD).changes
    # The carrier of a ride stands in the file as the node that it comes to.
    assert [one for one in changes if one.path != ("carrier",)] == []


@pytest.mark.parametrize(
    ("before", "after", "code"),
    [
        ('"parent": "back_5"', '"parent": "back_9"', "document-name-unknown"),
        ('"chain": "arm.left",\n      "goal"', '"chain": "arm",\n      "goal"', "scene-invalid"),
        ('"value": "high"', '"value": "low"', "scene-invalid"),
        ('"default": "high"', '"default": "low"', "scene-invalid"),
    ],
)
def test_a_scene_that_names_what_it_does_not_have_is_refused(
    tmp_path: Path, before: str, after: str, code: str
) -> None:
    text = Path(scene_file(tmp_path)).read_text(encoding="utf-8")
    if before not in text:
        text = text.replace(
            '"settings": [', '"settings": [{"channel": "nod.space", "value": "high"},', 1
        )
    assert before in text
    rig, findings = read_scene_rig(Source("a.json", text.replace(before, after)))
    assert rig is None
    assert [finding.code for finding in findings][:1] == [code]


# ---- revisions -----------------------------------------------------------------------------------

PLACE = "Puppen für Bram"


def change(repository: Path, name: str, sheet: bool = False) -> None:
    (repository / PLACE / "porter.somite").write_text(edited(name), encoding="utf-8")
    if sheet:
        path = repository / PLACE / "sheets/bram.toml"
        path.write_text(SHEET.replace("110, 4", "111, 4"), encoding="utf-8")


def test_a_revision_against_the_work_tree(repository: Path) -> None:
    change(repository, "limit")
    found = compared(
        sides.load(f"HEAD:{PLACE}/porter.somite"), sides.load(f"{PLACE}/porter.somite")
    )
    assert set(found) == {"bram", "pip"}
    assert {one.path[:2] for made_of in found.values() for one in made_of.changes} == {
        ("limits", "turn.y")
    }
    assert found["bram"].changes[0].old_origin[0].file == "porter.somite"


@pytest.mark.parametrize("path", ["{}/porter.somite", "./{}/porter.somite", "{}", "{}/cast.toml"])
def test_paths_of_a_revision_from_the_top(repository: Path, path: str) -> None:
    side = sides.load(f"HEAD:{path.format(PLACE)}")
    assert [version.character for version in side.versions] == ["bram", "pip"]


@pytest.mark.parametrize("path", ["./porter.somite", "porter.somite", "../Puppen für Bram", "."])
def test_paths_of_a_revision_from_a_folder_inside(
    repository: Path, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    monkeypatch.chdir(repository / PLACE)
    assert len(sides.load(f"main:{path}").versions) == 2


def test_the_sheets_are_those_of_the_revision(repository: Path) -> None:
    change(repository, "limit", sheet=True)
    sheet = f"{PLACE}/sheets/bram.toml"
    old = sides.load(f"HEAD:{PLACE}/porter.somite", [sheet])
    new = sides.load(f"{PLACE}/porter.somite", [sheet])
    assert old.versions[0].rig is not None and new.versions[0].rig is not None
    assert new.versions[0].rig.height - old.versions[0].rig.height == pytest.approx(0.01)


def test_a_sheet_that_the_revision_does_not_have_is_taken_as_it_is_now(repository: Path) -> None:
    sheet = repository / PLACE / "sheets/juniper.toml"
    sheet.write_text(SHEET.replace('"bram"', '"juniper"'), encoding="utf-8")
    side = sides.load(f"HEAD:{PLACE}/porter.somite", [f"{PLACE}/sheets/juniper.toml"])
    assert [version.character for version in side.versions] == ["juniper"]
    assert codes(side) == ["sheet-of-now"]


def test_two_revisions_a_tag_and_a_detached_head(repository: Path) -> None:
    git(repository, "tag", "first")
    change(repository, "order")
    git(repository, "commit", "-q", "-a", "-m", "Another order")
    git(repository, "checkout", "-q", "--detach", "HEAD")
    found = compared(sides.load(f"first:{PLACE}"), sides.load(f"HEAD:{PLACE}"))
    assert {one.path for made_of in found.values() for one in made_of.changes} == {("order",)}
    back = compared(sides.load(f"HEAD~1:{PLACE}"), sides.load(f"first:{PLACE}"))
    assert not any(back.values())


def test_the_work_tree_and_the_index_are_not_touched(repository: Path) -> None:
    change(repository, "order")
    git(repository, "add", "-A")
    change(repository, "limit")
    before = git(repository, "status", "--porcelain=v2")
    index = (repository / ".git/index").read_bytes()
    sides.load(f"HEAD:{PLACE}")
    assert git(repository, "status", "--porcelain=v2") == before
    assert (repository / ".git/index").read_bytes() == index


def test_imported_files_are_those_of_the_revision(repository: Path) -> None:
    folder = repository / PLACE
    text = RECIPE.replace(
        "sheet\n  point pelvis", 'import lamp from "parts/lamp.somite"\n\nsheet\n  point pelvis', 1
    )
    text += "\nuse lamp as lamp\n  with holder = nod\n"
    part = "part lamp\n  needs control holder\n  joint wick at holder  under holder\n"
    (folder / "parts").mkdir()
    (folder / "parts/lamp.somite").write_text(part, encoding="utf-8")
    (folder / "porter.somite").write_text(text, encoding="utf-8")
    git(repository, "add", "-A")
    git(repository, "commit", "-q", "-m", "A lamp")
    (folder / "parts/lamp.somite").write_text(part.replace("wick", "flame"), encoding="utf-8")
    found = compared(sides.load(f"HEAD:{PLACE}"), sides.load(PLACE))
    told = {(one.what, one.old, one.new) for one in found["bram"].changes if not one.implied}
    assert told == {("renamed", "lamp.wick", "lamp.flame")}


def test_submodules_links_and_files_that_are_no_text_do_no_harm(
    repository: Path, tmp_path: Path
) -> None:
    other = tmp_path / "props"
    lay_out(other)
    git(other, "init", "-q")
    git(other, "add", "-A")
    git(other, "commit", "-q", "-m", "Props")
    git(repository, "submodule", "add", "-q", str(other), f"{PLACE}/props")
    folder = repository / PLACE
    (folder / "outside.toml").symlink_to("/etc/hostname")
    (folder / "alias.somite").symlink_to("porter.somite")
    (folder / "noise.json").write_bytes(bytes(range(256)))
    git(repository, "add", "-A")
    git(repository, "commit", "-q", "-m", "Odds and ends")
    assert not any(compared(sides.load(f"HEAD:{PLACE}"), sides.load(f"HEAD~1:{PLACE}")).values())
    sheet = [f"{PLACE}/sheets/bram.toml"]
    alias = sides.load(f"HEAD:{PLACE}/alias.somite", sheet)
    assert alias.versions[0].rig is not None
    assert codes(sides.load(f"HEAD:{PLACE}/noise.json")) == ["file-unreadable"]
    assert sides.load(f"HEAD:{PLACE}/outside.toml").versions == ()


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("nowhere:porter.somite", "revision-unknown"),
        ("--all:porter.somite", "revision-unknown"),
        ("HEAD^{tree}:porter.somite", "revision-unknown"),
        ("HEAD:porter.somite", "side-kind"),
        ("HEAD:../../etc/passwd", "side-kind"),
        ("HEAD:Puppen für Bram/sheets", "side-kind"),
    ],
)
def test_what_a_revision_does_not_have_is_refused(
    repository: Path, written: str, code: str
) -> None:
    side = sides.load(written)
    assert side.versions == ()
    assert codes(side) == [code]


def test_outside_of_a_repository_there_is_no_revision(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(lay_out(tmp_path / "a"))
    monkeypatch.setenv("GIT_CEILING_DIRECTORIES", str(tmp_path))
    assert codes(sides.load("HEAD:porter.somite")) == ["revision-unknown"]


def test_without_git_there_is_a_finding(repository: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    assert codes(sides.load(f"HEAD:{PLACE}")) == ["git-missing"]


def test_a_file_whose_name_has_a_colon_is_that_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(lay_out(tmp_path / "a"))
    (tmp_path / "a/HEAD:porter.somite").write_text(RECIPE, encoding="utf-8")
    assert asked_in("HEAD:porter.somite") is None
    assert asked_in("C:porter.somite") is None
    assert sides.load("HEAD:porter.somite", ["sheets/bram.toml"]).versions[0].rig is not None


# ---- pairing -------------------------------------------------------------------------------------


def test_a_character_of_one_side_only_is_told(tmp_path: Path) -> None:
    old, new = lay_out(tmp_path / "a"), lay_out(tmp_path / "b")
    (new / "sheets/pip.toml").rename(new / "sheets/juniper.toml")
    text = (new / "sheets/juniper.toml").read_text(encoding="utf-8")
    (new / "sheets/juniper.toml").write_text(text.replace('"pip"', '"juniper"'), encoding="utf-8")
    pairing = sides.paired(sides.load(str(old)), sides.load(str(new)))
    assert [one.character for one in pairing.only_old] == ["pip"]
    assert [one.character for one in pairing.only_new] == ["juniper"]
    assert [(a.character, b.character) for a, b in pairing.pairs] == [("bram", "bram")]


def test_a_scene_is_paired_with_its_own_character(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "a")
    pairing = sides.paired(
        sides.load(scene_file(tmp_path)), sides.load(str(folder / "porter.somite"))
    )
    assert [(a.character, b.character) for a, b in pairing.pairs] == [("bram", "bram")]
    assert pairing.only_new == ()
