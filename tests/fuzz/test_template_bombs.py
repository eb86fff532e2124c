"""Templates of a user's own that would never end, or would make what can not be written."""

from __future__ import annotations

import pytest
from fuzz_trial import watchdog

from somite.targets.template_sets import Templates
from somite.targets.templates_sandbox import render

BOMBS = {
    "a loop of a thousand million turns": "{% for a in range(1000000000) %}{% endfor %}",
    "loops that multiply": "{% for a in d %}" * 8 + "x" + "{% endfor %}" * 8,
    "a text times ten thousand million": "{{ 'x' * 10000000000 }}",
    "a list times ten thousand million": "{{ [1] * 10000000000 }}",
    "a text that doubles": "{% set n = namespace(x='a') %}{% for a in d %}"
    "{% set n.x = n.x ~ n.x %}{% endfor %}",
    "a template in itself": "{% include 'a.j2' %}",
    "a template over itself": "{% extends 'a.j2' %}",
    "a macro that calls itself": "{% macro m() %}{{ m() }}{{ m() }}{% endmacro %}{{ m() }}",
    "five thousand brackets": "{{ " + "(" * 5_000 + "1" + ")" * 5_000 + " }}",
    "two thousand blocks": "{% if 1 %}" * 2_000 + "{% endif %}" * 2_000,
    "fifty thousand additions": "{{ " + "+".join(["1"] * 50_000) + " }}",
    "half a character": "{{ '\\ud800' }}",
    "the way out of a value": "{{ ''.__class__.__mro__ }}",
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_of_a_template_is_refused_at_its_line(name: str) -> None:
    with watchdog(20.0):
        text, findings = render("a.j2", Templates({}, {"a.j2": BOMBS[name]}), {"d": [1] * 200})
    assert text is None
    assert [finding.code for finding in findings] == ["template-error"]
    assert findings[0].site is not None and findings[0].site.line == 1
