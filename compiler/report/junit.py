"""Verdicts as JUnit XML, the form in which build servers read tests.

What comes in is verdicts; what goes out is one document: a suite a character, in it a case for its
findings, one for each law and one for each check. Times are left out, so that what does not change
has the same bytes. Source of the form: the schema that the Ant project's JUnit task writes by, in
the common reading of it (testsuites, testsuite, testcase, failure, error, skipped, system-out).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from somite.findings import Finding, Severity, has_errors
from somite.report import Lines
from somite.report.bug import INTERNAL_ERROR
from somite.report.human import count_line, human_text
from somite.report.verdict import Verdict, standing

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from somite.checks import CheckResult
    from somite.laws import Result

_UNFIT = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What no XML 1.0 document can hold, not even escaped (production 2, Char)."""


def junit_text(verdicts: Iterable[Verdict]) -> str:
    """Verdicts as a JUnit document, two spaces a level, with a trailing newline."""
    top = ElementTree.Element("testsuites", {"name": "somite"})
    for one in verdicts:
        _add_suite(top, one)
    _count(top, top.iter("testcase"))
    ElementTree.indent(top)
    text = ElementTree.tostring(top, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'


def _add_suite(top: Element, one: Verdict) -> None:
    name = _fit(f"{one.recipe}.{one.character}")
    suite = ElementTree.SubElement(top, "testsuite", {"name": name})
    case = _case(suite, name, "findings")
    if has_errors(one.findings):
        broken = any(finding.code == INTERNAL_ERROR.slug for finding in one.findings)
        _add_reason(case, "error" if broken else "failure", one.findings, one.lines)
    elif one.findings:
        ElementTree.SubElement(case, "system-out").text = _said(one.findings, one.lines)
    for law in one.laws or ():
        _add_law(suite, name, law, one.lines)
    for check in one.checks or ():
        _add_check(suite, name, check, one.lines)
    _count(suite, suite.iter("testcase"))


def _add_law(suite: Element, name: str, law: Result, lines: Lines) -> None:
    case = _case(suite, f"{name}.laws", f"{law.number} {law.law}: {law.sentence}")
    stood = standing(law)
    if stood == "broken":
        _add_reason(case, "failure", law.findings, lines)
    elif stood == "excused":
        ElementTree.SubElement(case, "skipped", {"message": "excused by the recipe"})
    if stood != "broken" and law.findings:
        ElementTree.SubElement(case, "system-out").text = _said(law.findings, lines)


def _add_check(suite: Element, name: str, check: CheckResult, lines: Lines) -> None:
    case = _case(suite, f"{name}.checks", check.name)
    if not check.met:
        _add_reason(case, "failure", check.findings, lines)


def _case(suite: Element, owner: str, name: str) -> Element:
    return ElementTree.SubElement(suite, "testcase", {"classname": owner, "name": _fit(name)})


def _add_reason(case: Element, tag: str, findings: Sequence[Finding], lines: Lines) -> None:
    worst = [finding for finding in findings if finding.severity is Severity.ERROR] or findings
    # A law that only breaks where another does is told with the other.
    message = worst[0].message if worst else "broken by what another law tells"
    kind = worst[0].code if worst else "broken"
    if len(worst) > 1:
        message = f"{message} ({count_line(worst)})"
    reason = ElementTree.SubElement(case, tag, {"message": _fit(message), "type": kind})
    reason.text = _said(findings, lines)


def _count(element: Element, cases: Iterable[Element]) -> None:
    found = list(cases)
    element.set("tests", str(len(found)))
    for tag, plural in (("failure", "failures"), ("error", "errors"), ("skipped", "skipped")):
        element.set(plural, str(sum(case.find(tag) is not None for case in found)))


def _said(findings: Iterable[Finding], lines: Lines) -> str:
    return _fit(human_text(findings, lines))


def _fit(text: str) -> str:
    return _UNFIT.sub("\ufffd", text)
