"""Templates do no harm: they reach nothing but their data, and they always end."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from somite.targets.template_sets import Limits, Templates, limits_for
from somite.targets.templates_sandbox import render
from somite.targets.written import Written
from somite.text import Site

SMALL = Limits(work=200_000, text=20_000)


def rendered(template: str, limits: Limits = SMALL, **data: object):
    return render("own.txt.j2", Templates({}, {"own.txt.j2": template}), data, limits=limits)


def text_of(template: str, **data: object) -> str:
    text, findings = rendered(template, **data)
    assert findings == ()
    assert text is not None
    return text


def finding_of(template: str, **data: object):
    text, findings = rendered(template, **data)
    assert text is None
    (finding,) = findings
    assert finding.code == "template-error"
    assert finding.help
    return finding


def test_a_template_reads_dictionaries_lists_texts_and_numbers():
    data = {"puppets": [{"name": "badger", "height": 41.5}, {"name": "otter", "height": None}]}
    template = "{% for p in puppets %}{{ loop.index }} {{ p.name }} {{ p['height'] }};{% endfor %}"
    assert text_of(template, **data) == "1 badger 41.5;2 otter ;"


def test_the_usual_filters_are_there():
    data = {"names": ["otter", "heron", "otter"]}
    template = "{{ names|unique|sort|join(', ')|upper }} {{ names|length }} {{ gone|default('-') }}"
    assert text_of(template, **data) == "HERON, OTTER 3 -"
    assert text_of("{{ names|unique|sort|join('+') }}", **data) == "heron+otter"
    assert text_of("{{ names|groupby(0)|length }}", names=[["a"], ["b"]]) == "2"
    assert text_of("{{ 'a, \"b\"'|csv }},{{ 'plain'|csv }}") == '"a, ""b""",plain'
    assert text_of("{{ 1.23456|number(2) }} {{ '-0.0001'|number(3) }}") == "1.23 0"
    assert text_of("{{ 'a-b'|replace('-', '+') }}") == "a+b"


@pytest.mark.parametrize(
    "template",
    [
        "{{ ''.__class__ }}",
        "{{ ''['__class__'] }}",
        "{{ ''|attr('__class__') }}",
        "{{ [].__class__.__base__.__subclasses__() }}",
        "{{ thing.__init__ }}",
        "{{ thing.keys.__self__ }}",
        "{{ thing|map(attribute='__class__')|list|first }}",
        "{{ names|map(attribute='__class__')|list|first }}",
        "{{ '{0.__class__}'.format(3) }}",
        "{{ '{0.__class__}'.format_map(thing) }}",
        "{{ '%s'|format(3) }}",
        "{{ '%100000000d' % 1 }}",
        "{{ self.__init__ }}",
        "{{ self._TemplateReference__context }}",
        "{{ namespace.__init__ }}",
        "{{ range.__self__ }}",
        "{{ range.__func__.__globals__ }}",
        "{{ loop }}",
        "{{ cycler.__init__ }}",
        "{{ lipsum() }}",
        "{{ joiner.__init__.__globals__ }}",
        "{% for a in names %}{{ loop._iterator }}{% endfor %}",
        "{% macro m() %}{% endmacro %}{{ m.__globals__ }}",
        "{% macro m() %}{% endmacro %}{{ m._func }}",
        "{% set n = namespace() %}{{ n.__class__ }}",
        "{{ thing.pop('a') }}",
        "{{ thing.update({}) }}",
        "{{ names.append('x') }}",
        "{{ names.sort() }}",
        "{% include '/etc/passwd' %}",
        "{% include '../own.txt.j2' %}",
        "{% extends 'file:///etc/passwd' %}",
        "{% import 'os' as os %}",
    ],
)
def test_a_template_reaches_no_attribute_and_no_file(template):
    finding_of(template, thing={"a": 1}, names=["a", "b"])


@pytest.mark.parametrize(
    "template",
    [
        "{% for a in range(1000000000000) %}{% endfor %}",
        "{% for a in range(9999) %}{% for b in range(9999) %}{% endfor %}{% endfor %}",
        "{% for a in range(9999) %}{% for b in range(9999) %}x{% endfor %}{% endfor %}",
        "{% set v = 'aaaaaaaaaa' %}" + "{% set v = v ~ v %}" * 60,
        "{% set v = 'aaaaaaaaaa' %}" + "{% set v = v + v %}" * 60,
        "{% set v = 'aaaaaaaaaa' %}" + "{% set v %}{{ v }}{{ v }}{% endset %}" * 60,
        "{% set v = ['a'] %}" + "{% set v = v + v %}" * 60,
        "{% set v = ['a'] %}" + "{% set v = [v, v] %}" * 60 + "{{ v }}",
        "{% set v = ('a',) %}" + "{% set v = (v, v) %}" * 60 + "{{ v == v }}",
        "{% set v = {} %}" + "{% set v = {'a': v, 'b': v} %}" * 60 + "{{ v|tojson }}",
        "{{ 'a' * 1000000000000 }}",
        "{{ 1000000000000 * 'a' }}",
        "{{ [1] * 1000000000000 }}",
        "{{ 10 ** 10 ** 10 }}",
        "{% set v = 9 %}" + "{% set v = v * v %}" * 60 + "{{ v }}",
        "{{ 'a'|center(1000000000000) }}",
        "{{ 1|round(-1000000000) }}",
        "{{ 'aaaaaaaaaa'|replace('a', 'a' * 9999) }}",
        "{{ (['a'] * 9999)|join('a' * 9999) }}",
        "{{ {}|tojson(indent=1000000000000) }}",
        "{% macro f(n) %}{% if n %}{{ f(n-1) }}{{ f(n-1) }}{% endif %}{% endmacro %}{{ f(50) }}",
        "{% macro f() %}{{ f() }}{% endmacro %}{{ f() }}",
        "{% for a in [1, 2] recursive %}{{ loop([1, 2]) }}{% endfor %}",
        "{% include 'own.txt.j2' %}{% include 'own.txt.j2' %}",
        "{% block a %}{{ self.a() }}{{ self.a() }}{% endblock %}",
        "{% set v %}{% for a in range(9999) %}" + "x" * 9999 + "{% endfor %}{% endset %}",
        "{% macro f() %}" + "x" * 9999 + "{% endmacro %}"
        "{% set v %}{% for a in range(999) %}{{ f() }}{% endfor %}{% endset %}",
        "{{ (range(99999)|map('string')|list|join)|length }}" * 20,
        "{{ ('a' * 9999)[::1] }}" * 99,
        "{{ " + "(" * 5000 + "1" + ")" * 5000 + " }}",
        "{% if 1 %}" * 500 + "{% endif %}" * 500,
        "{{ 1" + " + 1" * 20000 + " }}",
        "x" * 300_000,
    ],
)
def test_a_template_always_ends_soon_and_stays_small(template):
    start = time.perf_counter()
    finding_of(template)
    assert time.perf_counter() - start < 5.0


def test_a_mistake_is_found_at_its_line_in_the_file_that_holds_it():
    own = {
        "own.txt.j2": Written("{% include 'part.j2' %}", Site("troupe/own.txt.j2", 1, 1)),
        "part.j2": Written("one\n\n{{ rig.nmae }}", Site("troupe/part.j2", 1, 1)),
    }
    text, (finding,) = render("own.txt.j2", Templates({}, own), {"rig": {"name": "heron"}})
    assert text is None
    assert str(finding.site) == "troupe/part.j2:3:1"
    assert finding.message.endswith('there is no "nmae" here; did you mean "name"?')


def test_a_mistake_of_form_is_found_at_its_line():
    finding = finding_of("one\n{% for a in %}\n")
    assert finding.site is not None
    assert (finding.site.line, finding.code) == (2, "template-error")


def test_a_list_cannot_be_printed_by_mistake():
    finding = finding_of("{{ names }}", names=["a"])
    assert "expected one text or number, found a list" in finding.message


def test_values_are_escaped_in_pages_and_not_elsewhere():
    own = {"a.html.j2": "{{ x }}", "a.txt.j2": "{{ x }}"}
    for name, expected in (("a.html.j2", "&lt;b&gt;"), ("a.txt.j2", "<b>")):
        assert render(name, Templates({}, own), {"x": "<b>"}) == (expected, ())


def test_joined_texts_are_escaped_in_pages_too():
    own = {"a.html.j2": "{{ x ~ '<i>' }}{{ [x]|join('<i>') }}"}
    text, findings = render("a.html.j2", Templates({}, own), {"x": "<b>"})
    assert (text, findings) == ("&lt;b&gt;&lt;i&gt;&lt;b&gt;", ())


def test_one_rendering_leaves_no_trace_in_the_next():
    # The budget is each rendering's own, though the compiled template is shared.
    for _ in range(5):
        assert text_of("{% for a in range(9000) %}xxxxxxxxxx{% endfor %}") == "x" * 90_000


def test_big_rigs_may_have_long_files():
    assert limits_for(10_000).work > limits_for(10).work


PIECES = (
    *(
        "{{",
        "}}",
        "{%",
        "%}",
        "{#",
        "#}",
        " for a in x ",
        " endfor ",
        " if ",
        " endif ",
        "x",
        "a.b",
    ),
    *("|upper", "|join", "(", ")", "[", "]", "'", "1", "~", "*", " set v = ", "\n", " macro f() "),
    *(" include 'own.txt.j2' ", " raw ", " block b ", "loop.index", "self.b()", "__class__", "é"),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sampled_from(PIECES), max_size=30).map("".join))
def test_any_template_gives_a_text_or_a_finding(template):
    text, findings = rendered(template, x=["a", "b"], a={"b": 1})
    assert (text is None) == bool(findings)
