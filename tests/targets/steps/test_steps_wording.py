"""A team's own phrases and templates over ours, and what is said of those that do not fit."""

from __future__ import annotations

import pytest
from heron import heron, settled
from hypothesis import given, settings
from hypothesis import strategies as st

from somite.findings import Severity
from somite.target import Context
from somite.targets import steps
from somite.targets.steps.phrases import overlaid, own_phrases
from somite.targets.written import Written
from somite.text import Site

HERON = settled(heron())


def emitted(phrases=None, templates=None):
    outputs, findings = steps.emit(HERON, Context(phrases=phrases or {}, templates=templates or {}))
    return {output.suffix: output.text for output in outputs}, findings


def written(text: str, line: int = 7, file: str = "troupe/phrases.toml") -> Written:
    return Written(text, Site(file, line, 1))


def test_a_teams_own_phrase_is_said_in_all_files():
    told, findings = emitted({"do.make-joint": "Hammer in a peg called {node}."})
    assert findings == ()
    assert "Hammer in a peg called `seat`." in told[".steps.md"]
    assert 'Hammer in a peg called "seat".' in told[".steps.txt"]
    assert "Hammer in a peg called <code>seat</code>." in told[".steps.html"]


def test_an_unknown_phrase_is_a_finding_at_its_line_that_names_the_nearest():
    _, (finding,) = emitted({"do.make-joints": written("Make {node}.")})
    assert finding.code == "phrase-unknown"
    assert str(finding.site) == "troupe/phrases.toml:7:1"
    assert finding.help == 'did you mean "do.make-joint"?'


@pytest.mark.parametrize(
    "phrase",
    [
        "Make {nodes}.",
        "Make {node.__class__}.",
        "Make {node!r}.",
        "Make {node:>1000000000}.",
        "Make {0}.",
        "Make {}.",
        "Make {node.",
        "Make node}.",
        "",
        "x" * 3000 + "{node}",
    ],
)
def test_a_phrase_that_does_not_fit_is_a_finding_and_ours_is_kept(phrase):
    told, (finding,) = emitted({"do.make-joint": written(phrase)})
    assert finding.code == "phrase-form"
    assert str(finding.site) == "troupe/phrases.toml:7:1"
    assert "Make a joint named `seat`." in told[".steps.md"]


def test_a_phrase_that_leaves_out_a_name_is_a_warning():
    told, (finding,) = emitted({"do.make-joint": written("Make a peg.")})
    assert (finding.code, finding.severity) == ("phrase-omits", Severity.WARNING)
    assert finding.message == '"do.make-joint" no longer says {node}'
    assert "Make a peg." in told[".steps.md"]


def test_a_phrase_is_words_and_not_markup():
    told, findings = emitted({"phase.prepare.title": "<script>alert(1)</script>"})
    assert findings == ()
    assert "<script>alert(1)" not in told[".steps.html"]
    assert "&lt;script&gt;alert(1)" in told[".steps.html"]


def test_quotes_in_a_phrase_stay_inside_their_attribute():
    told, findings = emitted({"page.progress": '{done} of {total} "done" onclick='})
    assert findings == ()
    assert 'data-said="{done} of {total} &#34;done&#34; onclick="' in told[".steps.html"]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(own_phrases())), st.text(max_size=60))
def test_any_text_as_a_phrase_gives_findings_and_never_a_traceback(key, text):
    phrases, findings = overlaid({key: text})
    assert all(finding.code.startswith("phrase-") for finding in findings)
    assert set(phrases) == set(own_phrases())


def test_a_teams_own_template_goes_before_ours():
    told, findings = emitted(templates={"steps.txt.j2": "{{ total }} steps for {{ character }}"})
    assert findings == ()
    count = told[".steps.html"].count('class="step"')
    assert told[".steps.txt"] == f"{count} steps for heron postal clerk\n"
    assert "Make a joint" in told[".steps.md"]


def test_a_teams_own_template_can_build_on_ours():
    template = "THE NIGHT MARKET TROUPE\n\n{% include 'somite/steps.txt.j2' %}"
    told, findings = emitted(templates={"steps.txt.j2": template})
    assert findings == ()
    assert told[".steps.txt"].startswith("THE NIGHT MARKET TROUPE\n\nBuild instructions: heron")


def test_a_mistake_in_a_template_is_a_finding_at_its_line_and_spares_the_other_files():
    text = written("one\ntwo\n{{ charakter }}\n", 1, "troupe/templates/steps.txt.j2")
    told, (finding,) = emitted(templates={"steps.txt.j2": text})
    assert finding.code == "template-error"
    assert str(finding.site) == "troupe/templates/steps.txt.j2:3:1"
    assert "charakter" in finding.message
    assert sorted(told) == [".steps.html", ".steps.md"]


def test_a_template_that_nothing_uses_is_a_warning_that_names_the_nearest():
    _, (finding,) = emitted(templates={"step.txt.j2": written("x", 1, "troupe/step.txt.j2")})
    assert (finding.code, finding.severity) == ("template-unknown", Severity.WARNING)
    assert finding.help == 'did you mean "steps.txt.j2"?'


def test_a_template_that_another_one_includes_may_have_any_name():
    templates = {"steps.txt.j2": "{% include 'head.j2' %}", "head.j2": "{{ recipe }}"}
    told, findings = emitted(templates=templates)
    assert findings == ()
    assert told[".steps.txt"] == "heron\n"
