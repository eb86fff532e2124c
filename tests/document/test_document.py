"""The IR's document: it reads back as the same rig, and its schema is kept current."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
import rigs
from hypothesis import given, settings
from hypothesis import strategies as st

import somite
from somite.document import read_rig, rig_text
from somite.ir import Rig
from somite.schema_files import schema_texts
from somite.text import Site, Source

SCHEMAS = Path(somite.__file__).parent / "schemas"


def read(text: str) -> Rig:
    made, findings = read_rig(Source("clerk.rig.json", text))
    assert findings == ()
    assert made is not None
    return made


@pytest.mark.parametrize("made", [rigs.spine(), rigs.arm(), rigs.lantern(), rigs.furnished()])
def test_a_rig_reads_back_as_the_same_rig(made: Rig) -> None:
    assert read(rig_text(made)) == made


FINITE = st.floats(allow_nan=False, allow_infinity=False)


@given(st.tuples(FINITE, FINITE, FINITE), st.text(st.characters(codec="utf-8")), st.integers(1))
@settings(max_examples=50, deadline=None)
def test_any_finite_place_and_any_text_read_back_the_same(
    place: tuple[float, float, float], about: str, line: int
) -> None:
    origin = (Site("parts/limb.somite", line, 3, 5), Site("heron.somite", 9, 1))
    node = replace(rigs.node("tip", place), about=about, origin=origin)
    made = rigs.rig([node])
    assert read(rig_text(made)) == made


def test_a_rig_document_is_its_own_canonical_form() -> None:
    text = rig_text(rigs.furnished())
    assert rig_text(read(text)) == text


def test_a_rig_document_validates_against_the_published_schema() -> None:
    import jsonschema

    schema = json.loads((SCHEMAS / "ir.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    assert list(validator.iter_errors(json.loads(rig_text(rigs.furnished())))) == []


def test_the_published_schemas_are_current(request: pytest.FixtureRequest) -> None:
    made = schema_texts()
    if request.config.getoption("--update", default=False):
        for name, text in made.items():
            (SCHEMAS / name).write_text(text, encoding="utf-8")
    published = {path.name: path.read_text(encoding="utf-8") for path in SCHEMAS.iterdir()}
    assert published == made


@pytest.mark.parametrize(
    ("found", "put"),
    [
        ('"revision": 4', '"revision": "four"'),
        ('"revision": 4', '"revision": 4, "colour": "red"'),
        ('"height": 1.7', '"height": NaN'),
        ('"kind": "control"', '"kind": "lever"'),
        ("somite-rig 1", "somite-rig 99"),
        ('"nodes": [', '"nodes": '),
    ],
)
def test_a_document_that_is_not_a_rig_is_a_finding(found: str, put: str) -> None:
    text = rig_text(rigs.lantern())
    assert found in text
    made, findings = read_rig(Source("clerk.rig.json", text.replace(found, put, 1)))
    assert made is None
    assert {finding.code for finding in findings} == {"document-invalid"}


def test_a_name_that_nothing_bears_is_a_finding_with_the_nearest() -> None:
    text = rig_text(rigs.spine()).replace('"parent": "body"', '"parent": "bady"', 1)
    made, (finding,) = read_rig(Source("clerk.rig.json", text))
    assert made is None
    assert finding.code == "document-name-unknown"
    assert finding.help is not None
    assert '"body"' in finding.help
