"""The worked examples of `targets/README.md` do what the page says."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import rigs

from somite.order import order
from somite.settle import settle
from somite.target import Context
from somite.targets import counted_templates, find, steps
from somite.targets.steps.phrases import flattened

README = (Path(__file__).parents[2] / "targets" / "README.md").read_text("utf-8")
BLOCKS = dict(
    (head.strip("#{} "), language + "\n" + body)
    for language, head, body in re.findall(r"```(\w+)\n(.*?)\n(.*?)```", README, re.S)
)


def block(head: str) -> str:
    return BLOCKS[head].partition("\n")[2]


def settled():
    rig = rigs.furnished()
    plan, _ = order(rig)
    assert plan is not None
    return settle(rig, plan)[0]


def test_the_phrases_of_the_page_are_said():
    phrases = flattened(tomllib.loads(block("phrases.toml")))
    outputs, findings = steps.emit(settled(), Context(phrases=phrases))
    assert findings == ()
    assert "Drop a peg and call it `seat`." in outputs[0].text
    assert "## Sweep up" in outputs[0].text


def test_the_template_of_the_page_builds_on_ours():
    templates = {"steps.txt.j2": block("steps.txt.j2")}
    outputs, findings = steps.emit(settled(), Context(templates=templates))
    assert findings == ()
    assert outputs[1].text.startswith("THE NIGHT MARKET TROUPE: BUILD SHEET\n\nBuild instructions")


def test_the_folder_of_the_page_is_a_target(tmp_path):
    (tmp_path / "target.toml").write_text(block("target.toml"), "utf-8")
    template = "part,kind,under\n" + block("part,kind,under")
    (tmp_path / "parts.csv.j2").write_text(template, "utf-8")
    target, findings = find(str(tmp_path))
    assert findings == ()
    (output,), findings = target.emit(settled(), Context())
    assert findings == ()
    assert output.text.splitlines()[:3] == [
        "part,kind,under",
        "master,control,",
        "body,control,master",
    ]


def test_the_function_of_the_page_is_a_target():
    namespace: dict[str, object] = {}
    exec(block("troupe_targets.py"), namespace)
    target = namespace["TARGET"]
    (output,), _ = target.emit(settled(), Context())
    assert output.text.splitlines()[0] == "seat 0.960"


def test_the_filters_of_the_page_are_those_that_templates_have():
    told = re.search(r"and the\nfilters `([a-z \n]*)`\.", README)
    assert told is not None
    inner = {"charged", "concatenated", "single", "turns_counted", "d", "e"}
    assert set(told[1].split()) == set(counted_templates._FILTERS) - inner
