"""The sheets of other rigs, which a sheet names under [rigs]."""

from __future__ import annotations

from pathlib import Path

import pytest

from somite.sheet import load, read
from somite.text import Source

HEAD = 'character = "{name}"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'


def sheet(folder: Path, name: str, rigs: str = "") -> Path:
    path = folder / f"{name}.toml"
    path.write_text(HEAD.format(name=name) + (f"[rigs]\n{rigs}\n" if rigs else ""))
    return path


def test_a_sheet_holds_the_sheets_that_it_names(tmp_path: Path) -> None:
    sheet(tmp_path, "pip")
    sheet(tmp_path, "bram", 'page = "pip.toml"')
    loaded, findings = load(sheet(tmp_path, "mule", 'rider = "bram.toml"\npage = "pip.toml"'))
    assert findings == () and loaded is not None
    assert {name: rig.value.character for name, rig in loaded.rigs.items()} == {
        "rider": "bram",
        "page": "pip",
    }
    assert loaded.rigs["rider"].value.rigs["page"].value is loaded.rigs["page"].value


def test_its_sources_and_its_digest_are_those_of_all_of_them(tmp_path: Path) -> None:
    sheet(tmp_path, "pip")
    path = sheet(tmp_path, "mule", 'rider = "pip.toml"\npage = "pip.toml"')
    loaded, _ = load(path)
    assert loaded is not None
    assert [Path(source.path).name for source in loaded.sources] == ["mule.toml", "pip.toml"]
    sheet(tmp_path, "pip", 'bird = "bird.toml"')
    sheet(tmp_path, "bird")
    again, _ = load(path)
    assert again is not None and again.digest != loaded.digest


def test_what_a_json_sheet_and_a_file_of_markers_say_is_read_too(tmp_path: Path) -> None:
    (tmp_path / "pip.json").write_text(
        '{"character": "pip", "unit": "cm", "up": "+Y", "front": "+Z", "rigs": {"m": "moth.csv"}}'
    )
    (tmp_path / "moth.csv").write_text("name,x,y,z,unit\nhook,0,1,0,m\n")
    loaded, findings = load(sheet(tmp_path, "mule", 'rider = "pip.json"'))
    assert findings == () and loaded is not None
    assert loaded.rigs["rider"].value.rigs["m"].value.character == "moth"


@pytest.mark.parametrize("way", ["mule", "pip"])
def test_a_sheet_that_names_itself_is_told_where_it_does(tmp_path: Path, way: str) -> None:
    sheet(tmp_path, "pip", 'mount = "mule.toml"')
    loaded, (finding,) = load(sheet(tmp_path, "mule", f'rider = "{way}.toml"'))
    assert (finding.code, finding.severity.value) == ("sheet-in-itself", "error")
    assert finding.site is not None and finding.site.file == f"{way}.toml"
    assert loaded is not None


def test_a_row_of_sheets_is_bounded(tmp_path: Path) -> None:
    for number in range(60):
        sheet(tmp_path, f"s{number}", f'next = "s{number + 1}.toml"')
    _, findings = load(tmp_path / "s0.toml")
    assert [finding.code for finding in findings] == ["sheet-in-itself"]
    assert "at most 40" in findings[0].message


@pytest.mark.parametrize(
    ("rigs", "code"),
    [
        ('rider = "nobody.toml"', "file-missing"),
        ('rider = "../mule.toml"', "path-outside-project"),
        ("rider = 3", "wrong-kind"),
        ('rider = "mule.txt"', "sheet-kind"),
    ],
)
def test_what_can_not_be_read_is_told_and_not_missing_too(
    tmp_path: Path, rigs: str, code: str
) -> None:
    (tmp_path / "mule.txt").write_text("")
    loaded, findings = load(sheet(tmp_path, "mule", rigs))
    assert [finding.code for finding in findings] == [code]
    assert loaded is not None and "rider" in loaded.refused


def test_a_text_without_a_place_says_that_it_has_none() -> None:
    loaded, (finding,) = read(
        Source("sheet.toml", HEAD.format(name="mule") + '[rigs]\nrider = "pip.toml"\n')
    )
    assert finding.code == "file-missing" and loaded is not None
