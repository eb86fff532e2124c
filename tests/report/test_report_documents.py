"""Findings as documents for machines."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from somite.findings import Code, Finding, Related, Severity
from somite.report import document
from somite.report.json_form import json_text, read, schema_text
from somite.report.sarif import relative_uri, sarif_text
from somite.text import Site

DATA = Path(__file__).parent / "data"

LOST = Code("unknown-joint").at(
    Site("recipes/heron.somite", 5, 10, 6),
    'expected a joint of "back", found "back.9"',
    help="its joints are back.1 to back.7",
    related=[(Site("recipes/parts/tail.somite", 2, 7, 4), "chain declared here")],
)
UNUSED = Code("unused-point", Severity.WARNING).at(Site("sheets/dachsböck 1.toml", 3, 1), "x")
MISSING = Code("file-missing").at(None, "expected a file")

texts = st.text(st.characters(codec="utf-8"), max_size=20)
places = st.builds(Site, texts, st.integers(1, 10**6), st.integers(1, 10**6), st.integers(1, 10**6))
findings = st.lists(
    st.builds(
        Finding,
        st.from_regex("[a-z]+(-[a-z]+)*", fullmatch=True),
        st.sampled_from(Severity),
        texts,
        st.none() | places,
        st.none() | texts,
        st.lists(st.builds(Related, places, texts), max_size=2).map(tuple),
    ),
    max_size=4,
)


@pytest.fixture(scope="module")
def sarif_schema() -> jsonschema.protocols.Validator:
    schema = json.loads((DATA / "sarif-2.1.0-rtm.4.json").read_text(encoding="utf-8"))
    return jsonschema.Draft4Validator(schema)


def run_of(*found: Finding) -> dict[str, Any]:
    run: dict[str, Any] = json.loads(sarif_text(found))["runs"][0]
    return run


@given(findings)
@settings(max_examples=30)
def test_the_json_document_follows_its_published_schema(found: list[Finding]) -> None:
    jsonschema.validate(json.loads(json_text(found)), json.loads(schema_text()))


@given(findings)
@settings(max_examples=30)
def test_findings_are_read_back_as_they_were(found: list[Finding]) -> None:
    assert list(read(json_text(found)).findings) == found


def test_the_json_document_counts_each_severity() -> None:
    counts = json.loads(json_text([LOST, UNUSED, MISSING]))["counts"]
    assert counts == {"error": 2, "warning": 1, "note": 0}


def test_a_document_of_another_form_is_refused() -> None:
    with pytest.raises(ValueError):
        document([], "xml")


@given(found=findings)
@settings(max_examples=30)
def test_the_log_follows_the_schema_of_sarif(
    sarif_schema: jsonschema.protocols.Validator, found: list[Finding]
) -> None:
    sarif_schema.validate(json.loads(sarif_text(found)))


def test_the_schema_of_sarif_refuses_a_log_with_a_column_of_zero(
    sarif_schema: jsonschema.protocols.Validator,
) -> None:
    log = json.loads(sarif_text([LOST]))
    log["runs"][0]["results"][0]["locations"][0]["physicalLocation"]["region"]["startColumn"] = 0
    with pytest.raises(jsonschema.ValidationError):
        sarif_schema.validate(log)


def test_columns_of_the_log_count_code_points_from_one() -> None:
    run = run_of(LOST)
    assert run["columnKind"] == "unicodeCodePoints"
    region = run["results"][0]["locations"][0]["physicalLocation"]["region"]
    assert region == {"startLine": 5, "startColumn": 10, "endColumn": 16}


def test_each_result_points_to_the_rule_of_its_code() -> None:
    run = run_of(UNUSED, LOST, UNUSED)
    rules = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
    assert [rules[result["ruleIndex"]] for result in run["results"]] == [
        "unused-point",
        "unknown-joint",
        "unused-point",
    ]
    assert [result["level"] for result in run["results"]] == ["warning", "error", "warning"]


def test_related_places_carry_their_label() -> None:
    related = run_of(LOST)["results"][0]["relatedLocations"][0]
    assert related["message"]["text"] == "chain declared here"
    place = related["physicalLocation"]["artifactLocation"]
    assert place == {"uri": "recipes/parts/tail.somite"}


def test_the_help_goes_with_the_message() -> None:
    text = run_of(LOST)["results"][0]["message"]["text"]
    assert text.splitlines() == [LOST.message, f"help: {LOST.help}"]


def test_a_finding_without_a_place_has_no_location() -> None:
    assert "locations" not in run_of(MISSING)["results"][0]


def test_uris_are_quoted_as_utf_8() -> None:
    assert relative_uri("sheets/dachsböck 1.toml") == "sheets/dachsb%C3%B6ck%201.toml"


def test_an_absolute_name_becomes_relative(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert relative_uri(str(tmp_path / "heron.somite")) == "heron.somite"
    assert relative_uri(str(tmp_path.parent / "heron.somite")) == "../heron.somite"


def test_a_colon_in_a_name_is_no_scheme() -> None:
    assert relative_uri("c:heron.somite") == "c%3Aheron.somite"
