"""Landmarks from glTF, GLB and tables: places in the world, and what is refused."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moth_scene import EXPECTED, GLB, glb, scene

from somite.axes import Axes
from somite.findings import Finding
from somite.markers import MarkerFile, load_markers, read_gltf, read_table
from somite.sheet import Measures, Request, load, measure
from somite.text import Site, Source

ASKED = Site("upright.somite", 8, 9, 6)
HEADER = 'character = "t"\nunit = "cm"\nup = "+Z"\nfront = "-Y"\n'


def gltf(*nodes: dict[str, Any]) -> bytes:
    return json.dumps({"asset": {"version": "2.0"}, "nodes": list(nodes)}).encode()


def places(content: bytes) -> dict[str, tuple[float, float, float]]:
    file, findings = read_gltf(content, "x.gltf")
    assert findings == ()
    assert file is not None
    return {marker.name: marker.place for marker in file.markers}


def refusal(read: tuple[MarkerFile | None, tuple[Finding, ...]]) -> Finding:
    file, findings = read
    assert file is None
    assert len(findings) == 1
    assert findings[0].help
    return findings[0]


def test_a_node_without_a_transform_stands_at_its_parents_place() -> None:
    nodes = gltf({"name": "a", "translation": [1, 2, 3], "children": [1]}, {"name": "b"})
    assert places(nodes)["b"] == (1.0, 2.0, 3.0)


def test_a_matrix_is_read_column_by_column() -> None:
    # glTF 2.0, clause "Transformations": matrices are stored in column-major order.
    nodes = gltf({"name": "a", "matrix": [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 4, 5, 6, 1]})
    assert places(nodes)["a"] == (4.0, 5.0, 6.0)


def test_a_parents_size_and_turn_carry_its_children() -> None:
    parent = {"rotation": [0, 0, 1, 0], "scale": [2, 2, 2], "children": [1]}
    assert places(gltf(parent, {"name": "a", "translation": [1, 2, 3]}))["a"] == (-2.0, -4.0, 6.0)


def test_a_quaternion_of_single_precision_still_turns_without_scaling() -> None:
    half = 0.7071067690849304  # sqrt(1/2) rounded to single precision, as files hold it
    parent = {"rotation": [0, half, 0, half], "children": [1]}
    place = places(gltf(parent, {"name": "a", "translation": [0, 0, 1]}))["a"]
    assert place == pytest.approx((1.0, 0.0, 0.0), abs=1e-15)


unit = st.floats(-1, 1)


@settings(deadline=None)  # the first example imports scipy
@given(st.lists(st.tuples(st.integers(0, 2**32 - 1), unit, unit, unit), min_size=1, max_size=5))
def test_a_chain_of_nodes_stands_where_numpy_and_scipy_put_it(
    chain: list[tuple[int, float, float, float]],
) -> None:
    import numpy
    from scipy.spatial.transform import Rotation

    nodes, world = [], numpy.eye(4)
    for index, (seed, x, y, z) in enumerate(chain):
        turn = Rotation.random(random_state=numpy.random.default_rng(seed))
        local = numpy.eye(4)
        local[:3, :3] = turn.as_matrix() @ numpy.diag([1 + x / 2, 1 + y / 2, 1 + z / 2])
        local[:3, 3] = [x, y, z]
        world = world @ local
        parts = {
            "translation": [x, y, z],
            "rotation": turn.as_quat().tolist(),
            "scale": [1 + x / 2, 1 + y / 2, 1 + z / 2],
        }
        one: dict[str, Any] = {"matrix": local.T.ravel().tolist()} if seed % 2 else parts
        nodes.append({"name": f"n{index}", "children": [index + 1], **one})
    del nodes[-1]["children"]
    assert places(gltf(*nodes))[f"n{len(chain) - 1}"] == pytest.approx(world[:3, 3], abs=1e-12)


def test_the_shipped_moth_is_what_its_maker_makes() -> None:
    assert GLB.read_bytes() == glb(scene())


def test_the_shipped_moth_stands_where_its_landmarks_were_put() -> None:
    file, findings = load_markers(GLB, "lumen_moth.glb")
    assert findings == ()
    assert file is not None
    found = {marker.name: marker.place for marker in file.markers}
    assert set(EXPECTED) <= set(found)
    for name, place in EXPECTED.items():
        assert found[name] == pytest.approx(place, abs=1e-12)


@pytest.mark.parametrize(
    ("node", "code"),
    [
        ({"name": "a", "translation": [1, 2]}, "marker-number"),
        ({"name": "a", "translation": [1, 2, "3"]}, "marker-number"),
        ({"name": "a", "translation": [1, 2, True]}, "marker-number"),
        ({"name": "a", "translation": [1, 2, 10**400]}, "marker-number"),
        ({"name": "a", "translation": [1, 2, 1e10]}, "marker-number"),
        ({"name": "a", "rotation": [0, 0, 0, 2]}, "marker-number"),
        ({"name": "a", "rotation": [0, 0, 0, 0]}, "marker-number"),
        ({"name": "a", "scale": 2}, "marker-number"),
        ({"name": "a", "matrix": [1] * 16}, "marker-number"),
        ({"name": "a", "matrix": [], "scale": [1, 1, 1]}, "marker-number"),
        ({"name": "a", "children": [0]}, "marker-broken"),
        ({"name": "a", "children": [7]}, "marker-broken"),
        ({"name": "a", "children": [-1]}, "marker-broken"),
        ({"name": "a", "children": [0.0]}, "marker-broken"),
        ({"name": "a", "children": 3}, "marker-broken"),
        ({"translation": [1, 2, 3]}, "marker-unnamed"),
        ({"name": 3}, "marker-unnamed"),
    ],
)
def test_a_node_that_is_not_of_the_form_is_refused(node: dict[str, Any], code: str) -> None:
    assert refusal(read_gltf(gltf(node), "x.gltf")).code == code


def test_nodes_that_are_their_own_ancestors_are_refused() -> None:
    nodes = gltf({"name": "a", "children": [1]}, {"name": "b", "children": [2]}, {"children": [1]})
    assert refusal(read_gltf(nodes, "x.gltf")).code == "marker-broken"
    ring = gltf({"name": "a", "children": [1]}, {"name": "b", "children": [0]})
    assert "loop" in refusal(read_gltf(ring, "x.gltf")).message


def test_a_long_chain_of_nodes_needs_no_recursion() -> None:
    nodes: list[dict[str, Any]] = [
        {"translation": [0, 0.5, 0], "children": [index + 1]} for index in range(20_000)
    ]
    assert places(gltf(*nodes, {"name": "tip"}))["tip"] == (0.0, 10_000.0, 0.0)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"[]",
        b"{}",
        b'{"asset": {"version": "1.0"}}',
        b'{"asset": {"version": "2.0"}, "nodes": {}}',
        b'{"asset": {"version": "2.0"}, "nodes": [3]}',
        b'{"asset": {"version": "2.0"}, "nodes": [{"scale": [NaN, 1, 1]}]}',
        b"[" * 100_000,
        b'{"nodes": ' + b"9" * 10_000 + b"}",
        b"\xff",
    ],
)
def test_what_is_no_gltf_is_refused(content: bytes) -> None:
    assert refusal(read_gltf(content, "x.gltf")).code == "marker-broken"


def words(*numbers: int) -> bytes:
    return struct.pack(f"<{len(numbers)}I", *numbers)


GOOD = glb(scene())


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "marker-broken"),
        (GOOD[:19], "marker-broken"),
        (GOOD[:-1], "marker-broken"),
        (b"glTx" + GOOD[4:], "marker-broken"),
        (GOOD[:4] + words(1) + GOOD[8:], "marker-broken"),
        (GOOD[:16] + words(0x004E4942) + GOOD[20:], "marker-broken"),
        (GOOD[:12] + words(len(GOOD)) + GOOD[16:], "marker-broken"),
        (GOOD[:12] + words(40) + GOOD[16:], "marker-broken"),
    ],
)
def test_a_glb_that_is_cut_short_or_disordered_is_refused(
    tmp_path: Path, content: bytes, code: str
) -> None:
    # glTF 2.0, clause "GLB File Format Specification": header, then the JSON chunk first.
    (tmp_path / "x.glb").write_bytes(content)
    assert refusal(load_markers(tmp_path / "x.glb", "x.glb")).code == code


def test_what_follows_the_json_of_a_glb_is_not_read(tmp_path: Path) -> None:
    size = len(GOOD) + 8 + 100 * 1024 * 1024
    path = tmp_path / "big.glb"
    with path.open("wb") as stream:
        stream.write(GOOD[:8] + words(size) + GOOD[12:] + words(100 * 1024 * 1024, 0x004E4942))
        stream.truncate(size)
    file, findings = load_markers(path, "big.glb")
    small, _ = load_markers(GLB, "x.glb")
    assert findings == ()
    assert file is not None and small is not None
    assert file.digest == small.digest


def test_a_huge_json_chunk_is_refused_unread(tmp_path: Path) -> None:
    size = 60 * 1024 * 1024
    path = tmp_path / "big.glb"
    with path.open("wb") as stream:
        stream.write(GOOD[:8] + words(size, size - 20) + GOOD[16:20])
        stream.truncate(size)
    assert refusal(load_markers(path, "big.glb")).code == "file-too-big"


def test_buffers_that_lie_elsewhere_are_never_opened(tmp_path: Path) -> None:
    document = {
        **scene(),
        "buffers": [{"uri": "../../etc/passwd", "byteLength": 4}, {"uri": "/dev/zero"}],
    }
    (tmp_path / "x.gltf").write_text(json.dumps(document))
    file, findings = load_markers(tmp_path / "x.gltf", "x.gltf")
    assert findings == ()
    assert file is not None


def table(
    text: str, unit: str | None = "cm", axes: Axes | None = None
) -> tuple[MarkerFile | None, tuple[Finding, ...]]:
    return read_table(Source("x.csv", text), unit=unit, axes=axes or Axes("+Y", "+Z"))


@pytest.mark.parametrize(
    "text",
    [
        "name,x,y,z\npelvis,1,96.5,-2\n",
        "name,x,y,z\n\n  pelvis , 1, 96.5, -2\n\n",
        'name,x,y,z\n"pelvis",1,96.5,-2',
        "name;x;y;z\npelvis;1;96.5;-2\n",
        "name\tx\ty\tz\npelvis\t1\t96.5\t-2\n",
        "Z,Y,X,Name\n-2,96.5,1,pelvis\n",
        "name,x,y,z,unit\npelvis,10,965,-20,mm\n",
        "name,x,y,z,unit\npelvis,1,96.5,-2,\n",
    ],
)
def test_a_table_is_read_in_any_of_its_forms(text: str) -> None:
    file, findings = table(text)
    assert findings == ()
    assert file is not None
    assert [(m.name, m.place) for m in file.markers] == [("pelvis", (0.01, 0.965, -0.02))]


def test_a_table_is_in_the_axes_of_its_sheet() -> None:
    file, _ = table("name,x,y,z\npelvis,1,2,96\n", axes=Axes("+Z", "-Y"))
    assert file is not None
    assert file.markers[0].place == (0.01, 0.96, -0.02)
    assert file.markers[0].site == Site("x.csv", 2, 1, 13)


@pytest.mark.parametrize(
    ("text", "line", "code"),
    [
        ("", 1, "marker-column"),
        ("pelvis,1,2,3\n", 1, "marker-column"),
        ("name,x,y\npelvis,1,2\n", 1, "marker-column"),
        ("name,x,y,z,colour\n", 1, "marker-column"),
        ("name,x,y,z,x\n", 1, "marker-column"),
        ("name,x,y,z\npelvis,1,2\n", 2, "marker-column"),
        ('name,x,y,z\n"pelvis,1,2,3\n', 2, "marker-column"),
        ("name;x;y;z\npelvis;1,5;2;3\n", 2, "marker-number"),
        ("name,x,y,z\npelvis,1,5,2,3\n", 2, "marker-column"),
        ("name,x,y,z\npelvis,1,nan,3\n", 2, "marker-number"),
        ("name,x,y,z\npelvis,1,inf,3\n", 2, "marker-number"),
        ("name,x,y,z\npelvis,1,1e99,3\n", 2, "marker-number"),
        ("name,x,y,z\npelvis,1,,3\n", 2, "marker-number"),
        ("name,x,y,z\npelvis,1,2 cm,3\n", 2, "marker-number"),
        ("name,x,y,z\npelvis,1,٣,3\n", 2, "marker-number"),
        ("name,x,y,z,unit\npelvis,1,2,3,metres\n", 2, "marker-unit"),
        ("name,x,y,z\n\n,1,2,3\n", 3, "marker-unnamed"),
        ("name,x,y,z\na,1,2,3\nb,1,2,3\na,1,2,3\n", 4, "marker-twice"),
    ],
)
def test_a_line_that_is_not_of_the_form_is_refused_at_its_place(
    text: str, line: int, code: str
) -> None:
    finding = refusal(table(text))
    assert (finding.code, finding.site.line if finding.site else 0) == (code, line)


def test_a_table_that_stands_alone_needs_units() -> None:
    assert refusal(table("name,x,y,z\npelvis,1,2,3\n", unit=None)).code == "marker-column"
    alone = table("name,x,y,z,unit\npelvis,1,2,3,\n", unit=None)
    assert refusal(alone).code == "marker-unit"


def test_one_run_reports_every_line_of_a_table() -> None:
    _, findings = table("name,x,y,z\n,1,2,3\na,b,2,3\nc,1\n")
    assert [f.code for f in findings] == ["marker-unnamed", "marker-number", "marker-column"]


@pytest.fixture
def matched(
    tmp_path: Path,
) -> Callable[..., tuple[Measures | None, tuple[Finding, ...]]]:
    """Loads a sheet with its landmark file beside it, and matches requests against it."""

    def run(
        landmarks: str, markers: str | bytes, *requests: tuple[str, str], file: str = "m.csv"
    ) -> tuple[Measures | None, tuple[Finding, ...]]:
        content = markers if isinstance(markers, bytes) else markers.encode()
        (tmp_path / file).write_bytes(content)
        (tmp_path / "t.toml").write_text(HEADER + landmarks)
        sheet, findings = load(tmp_path / "t.toml")
        assert sheet is not None
        asked = [Request(kind, name, ASKED) for kind, name in requests]  # type: ignore[arg-type]
        measures, more = measure(sheet, asked)
        return measures, findings + more

    return run


Match = Callable[..., tuple[Measures | None, tuple[Finding, ...]]]


@pytest.mark.parametrize("name", ["hip.left", "hip_left", "hip left", "hip"])
def test_a_side_may_be_called_in_several_ways(matched: Match, name: str) -> None:
    rows = f"name,x,y,z\n{name},9,0,92\n"
    measures, findings = matched('landmarks = "m.csv"', rows, ("pair", "hip"))
    assert findings == ()
    assert measures is not None
    assert measures.pairs["hip"] == ((0.09, 0.92, 0.0), (-0.09, 0.92, 0.0))


def test_both_sides_may_be_marked(matched: Match) -> None:
    rows = "name,x,y,z\nhip left,9,0,92\nhip right,-8,0,90\n"
    measures, _ = matched('landmarks = "m.csv"', rows, ("pair", "hip"))
    assert measures is not None
    assert measures.pairs["hip"] == ((0.09, 0.92, 0.0), (-0.08, 0.9, 0.0))


def test_a_row_is_marked_by_numbers(matched: Match) -> None:
    rows = "name,x,y,z\nfin.2,0,0,2\nfin.1,0,0,1\nfin.4,0,0,4\n"
    measures, _ = matched('landmarks = "m.csv"', rows, ("row", "fin"))
    assert measures is not None
    assert measures.rows["fin"] == ((0.0, 0.01, 0.0), (0.0, 0.02, 0.0))


def test_a_table_of_names_says_which_marker_is_meant(matched: Match) -> None:
    landmarks = 'landmarks = { file = "m.csv", names = { pelvis = "M 1", "hip.left" = "M 2" } }'
    rows = "name,x,y,z\nM 1,0,0,96\nM 2,9,0,92\n"
    measures, findings = matched(landmarks, rows, ("point", "pelvis"), ("pair", "hip"))
    assert findings == ()
    assert measures is not None
    assert measures.points["pelvis"] == (0.0, 0.96, 0.0)
    assert measures.pairs["hip"][0] == (0.09, 0.92, 0.0)


def test_a_marker_that_is_meant_and_not_there_is_named_with_its_nearest(matched: Match) -> None:
    landmarks = 'landmarks = { file = "m.csv", names = { pelvis = "M 2" } }'
    _, findings = matched(landmarks, "name,x,y,z\nM 1,0,0,96\n", ("point", "pelvis"))
    assert [f.code for f in findings] == ["marker-missing"]
    assert findings[0].site is not None and findings[0].site.line == 5
    assert findings[0].help == 'did you mean "M 1"?'


def test_markers_that_nothing_asks_for_are_no_finding(matched: Match) -> None:
    rows = "name,x,y,z\npelvis,0,0,96\nlamp,0,0,9\n"
    assert matched('landmarks = "m.csv"', rows, ("point", "pelvis"))[1] == ()


def test_a_missing_measure_is_told_the_nearest_marker(matched: Match) -> None:
    _, findings = matched('landmarks = "m.csv"', "name,x,y,z\npelvs,0,0,9\n", ("point", "pelvis"))
    assert [f.code for f in findings] == ["missing-measure"]
    assert '"pelvs"' in str(findings[0].help)


def test_the_sheets_own_line_goes_before_a_marker_and_says_so(matched: Match) -> None:
    text = 'landmarks = "m.csv"\n[points]\npelvis = [0, 0, 50]\n'
    rows = "name,x,y,z\npelvis,0,0,96\n"
    measures, findings = matched(text, rows, ("point", "pelvis"))
    assert [(f.code, f.severity) for f in findings] == [("marker-overridden", "note")]
    assert measures is not None
    assert measures.points["pelvis"] == (0.0, 0.5, 0.0)


def test_a_line_beside_a_marker_that_is_named_for_it_is_a_duplicate(matched: Match) -> None:
    text = (
        'landmarks = { file = "m.csv", names = { pelvis = "M" } }\n[points]\npelvis = [0, 0, 50]\n'
    )
    _, findings = matched(text, "name,x,y,z\nM,0,0,96\n", ("point", "pelvis"))
    assert [f.code for f in findings] == ["duplicate-measure"]


def test_two_nodes_of_one_name_matter_only_when_asked_for(matched: Match) -> None:
    nodes = gltf({"name": "a"}, {"name": "a"}, {"name": "b"})
    text = 'landmarks = "m.gltf"'
    assert matched(text, nodes, ("point", "b"), file="m.gltf")[1] == ()
    _, findings = matched(text, nodes, ("point", "a"), file="m.gltf")
    assert [f.code for f in findings] == ["marker-twice"]


def test_two_spellings_of_one_side_are_refused(matched: Match) -> None:
    rows = "name,x,y,z\nhip.left,9,0,92\nhip_left,8,0,92\n"
    measures, findings = matched('landmarks = "m.csv"', rows, ("pair", "hip"))
    assert [f.code for f in findings] == ["marker-twice"]
    assert measures is not None
    assert measures.refused == ("hip",)


def test_a_gltf_keeps_its_own_axes_and_unit_whatever_the_sheets(matched: Match) -> None:
    nodes = gltf({"name": "pelvis", "translation": [0.1, 0.9, 0.2]})
    measures, _ = matched('landmarks = "m.gltf"', nodes, ("point", "pelvis"), file="m.gltf")
    assert measures is not None
    assert measures.points["pelvis"] == (0.1, 0.9, 0.2)


def test_marked_sides_that_lie_across_the_middle_are_a_warning(matched: Match) -> None:
    _, findings = matched('landmarks = "m.csv"', "name,x,y,z\nhip.left,-9,0,92\n", ("pair", "hip"))
    assert [f.code for f in findings] == ["left-on-right"]


def test_landmarks_outside_the_project_are_refused(matched: Match) -> None:
    _, findings = matched('landmarks = "../m.csv"', "name,x,y,z\n")
    assert [f.code for f in findings] == ["path-outside-project"]


def test_landmarks_of_another_kind_are_refused(matched: Match) -> None:
    _, findings = matched('landmarks = "m.obj"', "v 1 2 3", file="m.obj")
    assert [f.code for f in findings] == ["marker-kind"]


def test_a_change_of_the_landmarks_changes_the_sheets_digest(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text(HEADER + 'landmarks = "m.csv"')
    digests = set()
    for height in (96, 97):
        (tmp_path / "m.csv").write_text(f"name,x,y,z\npelvis,0,0,{height}\n")
        sheet, _ = load(tmp_path / "t.toml")
        assert sheet is not None
        assert [source.name.rpartition("/")[2] for source in sheet.sources] == ["t.toml", "m.csv"]
        digests.add(sheet.digest)
    assert len(digests) == 2


@pytest.mark.parametrize("suffix", [".glb", ".gltf", ".csv"])
def test_a_file_of_landmarks_is_a_sheet_by_itself(tmp_path: Path, suffix: str) -> None:
    content = {
        ".glb": glb({"asset": {"version": "2.0"}, "nodes": [{"name": "pelvis"}]}),
        ".gltf": gltf({"name": "pelvis"}),
        ".csv": b"name,x,y,z,unit\npelvis,0,0,0,cm\n",
    }[suffix]
    path = tmp_path / f"Bram the badger{suffix}"
    path.write_bytes(content)
    sheet, findings = load(path)
    assert findings == ()
    assert sheet is not None
    assert (sheet.character, sheet.up, sheet.front) == ("Bram_the_badger", "+Y", "+Z")
    measures, _ = measure(sheet, [Request("point", "pelvis", ASKED)])
    assert measures.points["pelvis"] == (0.0, 0.0, 0.0)


def test_a_file_of_landmarks_must_be_named_after_its_character(tmp_path: Path) -> None:
    (tmp_path / "7.csv").write_text("name,x,y,z,unit\npelvis,0,0,0,cm\n")
    sheet, findings = load(tmp_path / "7.csv")
    assert sheet is None
    assert [f.code for f in findings] == ["sheet-header"]
