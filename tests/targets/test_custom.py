"""Targets of a user's own: folders with a manifest, and entry points of installed packages."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest
import rigs

from somite.findings import Finding, Severity
from somite.order import order
from somite.settle import Settled, settle
from somite.target import KINDS, Context
from somite.targets import BUILT_IN, find
from somite.targets.custom import kinds_in

PROP_TABLE = Path(__file__).parents[2] / "recipes" / "targets" / "prop_table"
MANIFEST = """\
name = "crate_list"
about = "what goes into the crate"
expresses = ["joint", "control"]

[[outputs]]
template = "crate.txt.j2"
suffix = ".crate.txt"
"""


@pytest.fixture(scope="module")
def furnished() -> Settled:
    rig = rigs.furnished()
    plan, _ = order(rig)
    assert plan is not None
    settled, _ = settle(rig, plan)
    assert settled is not None
    return settled


def folder(tmp_path: Path, manifest: str = MANIFEST, template: str = "{{ rig.recipe }}\n") -> Path:
    made = tmp_path / "crate"
    made.mkdir(exist_ok=True)
    (made / "target.toml").write_text(manifest, "utf-8")
    (made / "crate.txt.j2").write_text(template, "utf-8")
    return made


def refused(path: Path) -> tuple[Finding, ...]:
    target, findings = find(str(path))
    assert target is None
    assert findings and all(finding.help for finding in findings)
    return findings


@pytest.mark.parametrize("name", sorted(BUILT_IN))
def test_a_built_in_target_is_found_by_its_name_and_expresses_what_it_is_for(name):
    target, findings = find(name)
    assert findings == ()
    assert target is not None
    # A list of joints is asked for beside a scene; all other targets stand for the whole rig.
    assert (target.name, target.expresses) == (name, {"joint"} if name == "joints" else KINDS)


def test_an_unknown_target_is_a_finding_that_names_the_nearest():
    target, (finding,) = find("scenes")
    assert target is None
    assert finding.code == "unknown-target"
    assert finding.help == 'did you mean "scene"?'


def test_the_prop_table_lists_every_part_with_its_place(furnished):
    target, findings = find(str(PROP_TABLE))
    assert (findings, target is not None) == ((), True)
    (output,), findings = target.emit(furnished, Context())
    assert findings == ()
    assert output.suffix == ".parts.csv"
    head, *rows = csv.reader(io.StringIO(output.text))
    assert head == ["part", "kind", "under", "x (cm)", "y (cm)", "z (cm)", "lists"]
    assert len(rows) == len(furnished.rig.nodes)
    assert ["bow", "control", "body", "0", "112", "3", ""] in rows
    assert ["seat", "joint", "", "0", "96", "1", "skin"] in rows


def test_a_folder_renders_its_templates_with_the_scene_and_the_rig(tmp_path, furnished):
    template = "{{ rig.character }}: {{ nodes|length }} in {{ units.length }}, {{ rig.unit }}\n"
    target, findings = find(str(folder(tmp_path, template=template)))
    assert (findings, target.name) == ((), "crate_list")
    (output,), _ = target.emit(furnished, Context())
    assert output.text == "heron postal clerk: 15 in cm, cm\n"


def test_what_a_target_cannot_express_is_a_warning_for_each_kind_at_the_recipe(tmp_path, furnished):
    target, _ = find(str(folder(tmp_path)))
    _, findings = target.emit(furnished, Context())
    assert {finding.code for finding in findings} == {"not-expressed"}
    assert all(finding.severity is Severity.WARNING for finding in findings)
    kinds = [finding.message.split('"')[1] for finding in findings]
    present = [kind for kind, origins in kinds_in(furnished.rig).items() if origins]
    assert sorted(kinds) == sorted(set(present) - {"joint", "control"})
    grips = next(finding for finding in findings if '"grip"' in finding.message)
    assert grips.site == rigs.at(13)[0]
    assert grips.message == 'the target leaves out every "grip": this rig has 2 of them'


def test_what_a_target_leaves_out_on_purpose_is_not_reported(tmp_path, furnished):
    left = sorted(KINDS - {"joint", "control"})
    manifest = MANIFEST.replace("\n\n", f"\nleaves_out = {left}\n\n".replace("'", '"'), 1)
    target, findings = find(str(folder(tmp_path, manifest)))
    assert findings == ()
    assert target.emit(furnished, Context())[1] == ()


def test_a_team_can_lay_a_template_over_that_of_a_folder(tmp_path, furnished):
    target, _ = find(str(folder(tmp_path)))
    context = Context(templates={"crate.txt.j2": "ours, {% include 'somite/crate.txt.j2' %}"})
    (output,), _ = target.emit(furnished, context)
    assert output.text == "ours, heron\n"


def test_a_mistake_in_a_template_is_found_at_its_line(tmp_path, furnished):
    target, _ = find(str(folder(tmp_path, template="one\n{{ rig.recip }}\n")))
    outputs, findings = target.emit(furnished, Context())
    assert outputs == ()
    (finding,) = [finding for finding in findings if finding.code == "template-error"]
    assert finding.site.file.endswith("crate/crate.txt.j2")
    assert finding.site.line == 2
    assert 'did you mean "recipe"?' in finding.message


@pytest.mark.parametrize(
    ("old", "new", "line", "told"),
    [
        ('name = "crate_list"', 'nmae = "crate_list"', 1, 'found "nmae"'),
        ('name = "crate_list"', 'name = "Crate List"', 1, 'found "Crate List"'),
        ('name = "crate_list"', "name = 3", 1, "found something else"),
        ('about = "what goes into the crate"', 'about = "a\\nb"', 2, "found something else"),
        ('["joint", "control"]', '["joint", "controls"]', 3, 'found "controls"'),
        ('["joint", "control"]', '"joint"', 3, "found something else"),
        ('template = "crate.txt.j2"', 'template = "crates.txt.j2"', 6, 'found no "crates.txt.j2"'),
        ('template = "crate.txt.j2"', 'template = "../own.txt.j2"', 6, 'found no "../own.txt.j2"'),
        ('template = "crate.txt.j2"', "", 5, "found none"),
        ('suffix = ".crate.txt"', 'suffix = "crate.txt"', 7, 'found "crate.txt"'),
        ('suffix = ".crate.txt"', 'suffix = "./../x"', 7, 'found "./../x"'),
        ('suffix = ".crate.txt"', 'sufix = ".crate.txt"', 7, 'found "sufix"'),
        ('suffix = ".crate.txt"', "suffix = ", 7, "expected TOML"),
        ("[[outputs]]", "[outputs]", 5, "expected at least one [[outputs]]"),
    ],
)
def test_a_mistake_in_a_manifest_is_a_finding_at_its_line(tmp_path, old, new, line, told):
    assert old in MANIFEST
    findings = refused(folder(tmp_path, MANIFEST.replace(old, new)))
    assert {finding.code for finding in findings} == {"target-manifest"}
    matching = [finding for finding in findings if told in finding.message]
    assert [finding.site.line for finding in matching] == [line], findings


def test_several_mistakes_are_found_in_one_go(tmp_path):
    manifest = 'nmae = "x"\nexpresses = ["joints", "grips"]\n'
    assert len(refused(folder(tmp_path, manifest))) >= 5


def test_two_outputs_need_two_suffixes(tmp_path):
    again = '\n[[outputs]]\ntemplate = "crate.txt.j2"\nsuffix = ".crate.TXT"\n'
    (finding,) = refused(folder(tmp_path, MANIFEST + again))
    assert finding.site.line == 11


def test_a_folder_without_a_manifest_says_so(tmp_path):
    (finding,) = refused(tmp_path)
    assert "target.toml" in finding.message


def test_a_template_that_is_a_link_out_of_the_folder_is_refused(tmp_path):
    made = folder(tmp_path)
    (tmp_path / "secret.txt").write_text("a secret", "utf-8")
    (made / "crate.txt.j2").unlink()
    (made / "crate.txt.j2").symlink_to(tmp_path / "secret.txt")
    codes = {finding.code for finding in refused(made)}
    assert "path-outside-project" in codes


def package(tmp_path: Path, monkeypatch, code: str, name: str = "lantern_list") -> None:
    """Puts a package with an entry point on the path, as an installer would."""
    (tmp_path / f"{name}_module.py").write_text(code, "utf-8")
    information = tmp_path / f"{name}-1.0.dist-info"
    information.mkdir()
    (information / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n")
    entry = f"[somite.targets]\n{name} = {name}_module:TARGET\n"
    (information / "entry_points.txt").write_text(entry)
    monkeypatch.syspath_prepend(tmp_path)


GOOD = """
from somite.target import Output, Target

def emit(settled, context):
    return (Output(".lanterns.txt", settled.rig.recipe + "\\n"),), ()

TARGET = Target("lantern_list", "a list of lanterns", frozenset({"joint"}), emit)
"""


def test_an_installed_package_can_offer_a_target(tmp_path, monkeypatch, furnished):
    package(tmp_path, monkeypatch, GOOD)
    target, findings = find("lantern_list")
    assert findings == ()
    (output,), said = target.emit(furnished, Context())
    assert output.text == "heron\n"
    assert {finding.code for finding in said} == {"not-expressed"}
    assert target.emit.__module__ == "lantern_list_module", "a build looks there for changes"


@pytest.mark.parametrize(
    ("name", "code", "told"),
    [
        ("torn_one", "raise RuntimeError('no paper')", "RuntimeError: no paper"),
        ("torn_two", "x = 1", "AttributeError"),
        ("torn_three", "TARGET = 3", "expected a Target"),
    ],
)
def test_an_entry_point_that_cannot_be_used_is_a_finding(tmp_path, monkeypatch, name, code, told):
    package(tmp_path, monkeypatch, code, name)
    target, (finding,) = find(name)
    assert target is None
    assert finding.code == "target-entry"
    assert told in finding.message


def test_a_target_of_a_package_that_fails_is_a_finding_and_not_a_traceback(
    tmp_path, monkeypatch, furnished
):
    code = GOOD.replace("return (Output", "raise ValueError('out of ink')\n    return (Output")
    package(tmp_path, monkeypatch, code.replace("lantern_list", "inkless"), "inkless")
    target, _ = find("inkless")
    outputs, findings = target.emit(furnished, Context())
    assert outputs == ()
    (finding,) = [finding for finding in findings if finding.code == "target-entry"]
    assert finding.message == 'the target "inkless" stopped: ValueError: out of ink'


def test_every_kind_of_the_ir_is_counted(furnished):
    rig = furnished.rig
    more = replace(rig, nodes=(*rig.nodes, rigs.node("crate", kind="group")))
    missing = KINDS - set(kinds_in(more)) - {"face", "reach"}
    assert missing == set(), "the rig has neither a face nor a reach"
