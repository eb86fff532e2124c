"""Sheets made by nobody: whatever the bytes, findings and never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_sheet_shipped import REQUESTS, SHEETS

from somite import project
from somite.findings import Finding
from somite.markers import read_gltf, read_table
from somite.sheet import load, measure, read
from somite.text import Source

SHIPPED = sorted(path for path in SHEETS.iterdir() if path.is_file())
NORMAL = settings(max_examples=150, deadline=None)
NIGHTLY = settings(max_examples=4000, deadline=None, suppress_health_check=[HealthCheck.too_slow])

PIECES = (
    *(b"[", b"]", b"{", b"}", b"=", b'"', b'"""', b"'", b",", b".", b"\n", b"-", b"#", b"nan"),
    *(b"1e999999999999", b"[[nudge]]", b"[points]", b"hip.left", b"null", b"\\u", b"\xff", b"\0"),
    *(b"9" * 24, b'"3 cm"', b"true", b"1979-05-27", b"\xef\xbb\xbf", b"\r"),
)
pieces = st.sampled_from(PIECES)
edits = st.lists(
    st.tuples(st.floats(0, 1), st.integers(0, 12), pieces | st.binary(max_size=4)),
    min_size=1,
    max_size=6,
)


def mutated(content: bytes, changes: list[tuple[float, int, bytes]]) -> bytes:
    """The content with runs of bytes at some places replaced by others."""
    for place, length, piece in changes:
        at = int(place * len(content))
        content = content[:at] + piece + content[at + length :]
    return content


def check(findings: tuple[Finding, ...], lines: int) -> None:
    """Every finding can be shown: a place inside the text, and words that any terminal takes."""
    for finding in findings:
        assert finding.site is not None
        assert finding.message.encode() and finding.message.isprintable()
        assert (finding.help or "").isprintable()
        if not finding.site.file.startswith("upright"):
            assert 1 <= finding.site.line <= lines


def read_bytes(content: bytes, name: str) -> None:
    source, findings = project.decoded(content, name)
    if source is None:
        check(findings, content.count(b"\n") + content.count(b"\r") + 1)
        return
    lines = len(source.starts)
    if name.endswith(".csv"):
        file, findings = read_table(source, unit="cm")
        assert (file is None) == bool(findings)
        return check(findings, lines)
    sheet, findings = read(source)
    check(findings, lines)
    if sheet is None:
        assert findings
        return None
    measures, findings = measure(sheet, REQUESTS)
    check(findings, lines)
    answered = (
        *(*measures.points, *measures.pairs, *measures.pair_rows, *measures.rows),
        *(*measures.numbers, *measures.choices),
    )
    names = sorted((*answered, *measures.missing, *measures.refused))
    assert names == sorted(request.name for request in REQUESTS)
    return None


@NORMAL
@given(st.sampled_from([path for path in SHIPPED if path.suffix != ".glb"]), edits)
def test_a_mutated_sheet_never_makes_a_traceback(
    path: Path, changes: list[tuple[float, int, bytes]]
) -> None:
    read_bytes(mutated(path.read_bytes(), changes), path.name)


@NORMAL
@given(st.binary(max_size=200), st.sampled_from(["x.toml", "x.json", "x.csv"]))
def test_arbitrary_bytes_never_make_a_traceback(content: bytes, name: str) -> None:
    read_bytes(content, name)


@NORMAL
@given(edits)
def test_a_mutated_glb_never_makes_a_traceback(changes: list[tuple[float, int, bytes]]) -> None:
    content = (SHEETS / "lumen_moth.glb").read_bytes()
    file, findings = read_gltf(mutated(content[20:], changes), "x.glb")
    assert (file is None) == bool(findings)
    check(findings, 1)


@pytest.mark.parametrize("suffix", [".toml", ".json", ".csv", ".glb", ".gltf"])
@settings(max_examples=20, deadline=None)
@given(changes=edits)
def test_a_mutated_file_never_makes_a_traceback(
    tmp_path_factory: pytest.TempPathFactory,
    suffix: str,
    changes: list[tuple[float, int, bytes]],
) -> None:
    sample = {".toml": "tansy_heron.toml", ".json": "pip_otter.json", ".csv": "brolly_gecko.csv"}
    content = (SHEETS / sample.get(suffix, "lumen_moth.glb")).read_bytes()
    if suffix == ".gltf":
        content = content[20:]
    path = tmp_path_factory.mktemp("sheet") / f"x{suffix}"
    path.write_bytes(mutated(content, changes))
    sheet, findings = load(path)
    assert sheet is not None or findings


@pytest.mark.nightly
@NIGHTLY
@given(st.sampled_from([path for path in SHIPPED if path.suffix != ".glb"]), edits)
def test_thousands_of_mutated_sheets_never_make_a_traceback(
    path: Path, changes: list[tuple[float, int, bytes]]
) -> None:
    read_bytes(mutated(path.read_bytes(), changes), path.name)


@NORMAL
@given(st.text(max_size=120))
def test_any_text_under_a_good_header_never_makes_a_traceback(text: str) -> None:
    header = 'character = "t"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n'
    source = Source("x.toml", header + text.replace("\r", "\n"))
    sheet, findings = read(source)
    check(findings, len(source.starts))
    assert sheet is not None or findings
