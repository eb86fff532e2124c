"""Names files: their form, how runs are laid, and where rig and standard contradict each other."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import somite
from somite.findings import Finding
from somite.humanoid.named import NamedJoints
from somite.naming import named, read
from somite.naming.naming import laid
from somite.settle import Settled
from somite.text import Source

DOLL = """\
recipe doll
  axes up +Z front -Y
sheet
  point seat
control master at ground  ring 30 cm  carries all
joint pelvis at seat  under master
repeat k in 1..5
  joint bone[k] at seat + (0, 0, k * 5 cm)  under bone[k - 1], first under pelvis
joint head at seat + (0, 0, 40 cm)  under bone.last
mirror
  joint hip at seat + (8 cm, 0, 0)  under pelvis
  joint knee at seat + (8 cm, 0, -30 cm)  under hip
gauge far = live distance(head, pelvis)
"""

SHEET = 'character = "doll"\nunit = "cm"\nup = "+Y"\nfront = "+Z"\n[points]\nseat = [0, 65, 2]\n'


def doll(recipe: str = DOLL) -> Settled:
    made = somite.compile_text(recipe, SHEET)
    assert made.settled is not None, made.findings
    return made.settled


def names_of(entries: str, head: str = 'standard = "H-Anim"\n') -> tuple[object, list[Finding]]:
    names, findings = read(Source("names.toml", head + entries))
    return names, list(findings)


def applied(
    entries: str, level: int | None = None, recipe: str = DOLL
) -> tuple[Settled | None, NamedJoints | None, list[Finding]]:
    names, findings = read(Source("names.toml", 'standard = "H-Anim"\n' + entries))
    assert names is not None, findings
    settled, joints, found = named(doll(recipe), names, level)
    return settled, joints, list(found)


def codes(findings: list[Finding]) -> list[str]:
    return [finding.code for finding in findings]


# ---- the form of a names file --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('standard = "H-Anim"\n[joints\n', "not TOML"),
        ('[joints]\nhead = "skullbase"\n', "found none"),
        ('standard = "other"\n', 'found "other"'),
        ('standard = "H-Anim"\nloa = 4\n', "found 4"),
        ('standard = "H-Anim"\nloa = true\n', "found True"),
        ('standard = "H-Anim"\n[joint]\n', 'found "joint"'),
        ('standard = "H-Anim"\njoints = 3\n', "a section of names"),
        ('standard = "H-Anim"\n[joints]\nhead = 3\n', '"head"'),
        ('standard = "H-Anim"\n[joints]\nbone = { over = "vl5..vt1", from = "end" }\n', '"bone"'),
        ('standard = "H-Anim"\n[both_sides]\nhead = "skullbase"\n', "a joint of the left"),
        ('standard = "H-Anim"\n[both_sides]\n"hip.left" = "r_hip"\n', "a joint of the left"),
    ],
)
def test_what_has_no_meaning_in_a_names_file_is_told(text: str, told: str) -> None:
    names, findings = read(Source("names.toml", text))
    assert names is None
    assert codes(list(findings)) == ["names-form"]
    message = findings[0].message
    assert told in message or (told == "not TOML" and "expected TOML" in message)


@pytest.mark.parametrize(
    ("name", "help"),
    [("l_hipp", "l_hip"), ("r_ankle", "r_talocrural"), ("vl5..l_hip", "down the hierarchy")],
)
def test_names_that_the_standard_does_not_have_are_told(name: str, help: str) -> None:
    names, findings = names_of(f'[joints]\nhead = "{name}"\n')
    assert names is None
    assert codes(findings) == ["names-joint"]
    assert help in (findings[0].help or "")
    assert findings[0].site is not None and findings[0].site.line == 3


@pytest.mark.parametrize(
    "entries",
    [
        '[joints]\nhead = "skullbase"\npelvis = "skullbase"\n',
        '[joints]\nbone = "vl5..vt1"\npelvis = "vl3"\n',
        '[joints]\n"hip.left" = "l_hip"\n[both_sides]\n"hip.left" = "l_knee"\n',
    ],
    ids=["name", "name in a run", "joint"],
)
def test_names_and_joints_that_are_written_twice_are_told(entries: str) -> None:
    _, findings = names_of(entries)
    assert codes(findings) and set(codes(findings)) == {"names-twice"}
    assert findings[0].related


def test_a_key_that_is_written_twice_is_a_mistake_of_form() -> None:
    _, findings = names_of('[joints]\nhead = "skullbase"\nhead = "vl5"\n')
    assert codes(findings) == ["names-form"]


def test_dotted_keys_need_no_quotes() -> None:
    _, joints, findings = applied('[both_sides]\nhip.left = "l_hip"\n')
    assert findings == [] and joints is not None
    assert {joint.name: joint.node for joint in joints.joints} == {
        "l_hip": "hip.left",
        "r_hip": "hip.right",
    }


# ---- runs ----------------------------------------------------------------------------------------

NAMES = ("a", "b", "c", "d", "e", "f")


@pytest.mark.parametrize(
    ("count", "way", "expected"),
    [
        # k · 5 / 2 rounded half up: 0, 3 (of 2.5), 5.
        (3, "spread", {0: "a", 1: "d", 2: "f"}),
        (6, "spread", dict(enumerate(NAMES))),
        # k · 10 / 5: every second joint of eleven.
        (11, "spread", {0: "a", 2: "b", 4: "c", 6: "d", 8: "e", 10: "f"}),
        (1, "spread", {0: "a"}),
        (2, "first", {0: "a", 1: "b"}),
        (2, "last", {0: "e", 1: "f"}),
        (8, "first", dict(enumerate(NAMES))),
        (8, "last", {2: "a", 3: "b", 4: "c", 5: "d", 6: "e", 7: "f"}),
        (0, "spread", {}),
    ],
)
def test_a_run_is_laid_as_it_says(count: int, way: str, expected: dict[int, str]) -> None:
    assert dict(laid(count, NAMES, way)) == expected


@given(st.integers(0, 60), st.integers(0, 30), st.sampled_from(["spread", "first", "last"]))
def test_a_run_names_as_many_as_there_are_of_both_in_order(count: int, many: int, way: str) -> None:
    names = [f"n{number}" for number in range(many)]
    pairs = list(laid(count, names, way))
    assert len(pairs) == min(count, many)
    joints = [joint for joint, _ in pairs]
    places = [names.index(name) for _, name in pairs]
    assert joints == sorted(set(joints)) and all(0 <= joint < count for joint in joints)
    assert places == sorted(set(places))
    if way == "spread" and min(count, many) > 1:
        assert (joints[0], joints[-1]) == (0, count - 1)
        assert (places[0], places[-1]) == (0, many - 1)


def test_a_run_follows_the_level_of_articulation() -> None:
    for level, expected in ((1, ["vl5"]), (2, ["vl5", "vl3", "vt10", "vt6", "vt1"])):
        _, joints, _ = applied('[joints]\nbone = "vl5..vt1"\n', level)
        assert joints is not None
        # Level 2 has six there: 0, 1, 3, 4, 5 are k · 5 / 4 rounded half up.
        assert [joint.name for joint in joints.joints] == expected


# ---- rig and standard ----------------------------------------------------------------------------


def test_a_joint_that_the_rig_lacks_is_told_and_the_others_are_named() -> None:
    settled, joints, findings = applied('[joints]\nhead = "skullbase"\npelvi = "sacroiliac"\n')
    assert codes(findings) == ["names-node"]
    assert findings[0].help == 'did you mean "pelvis"?'
    assert settled is not None and joints is not None
    assert [joint.name for joint in joints.joints] == ["skullbase"]


def test_what_is_no_joint_is_told() -> None:
    _, _, findings = applied('[joints]\nmaster = "humanoid_root"\n')
    assert codes(findings) == ["names-node"]
    assert "a control" in findings[0].message


def test_joints_in_another_order_than_the_standards_are_told() -> None:
    entries = '[joints]\n"hip.left" = "l_knee"\n"knee.left" = "l_hip"\n'
    settled, joints, findings = applied(entries)
    assert settled is None and joints is None
    assert codes(findings) == ["names-order"]


def test_a_joint_under_another_branch_than_the_standards_is_told() -> None:
    entries = '[joints]\n"hip.left" = "l_shoulder"\n"knee.left" = "l_knee"\n'
    assert codes(applied(entries)[2]) == ["names-order"]


def test_a_joint_of_the_left_named_for_the_right_is_told() -> None:
    _, _, findings = applied('[joints]\n"hip.left" = "r_hip"\n')
    assert codes(findings) == ["names-order"]
    assert "own side" in findings[0].message


@pytest.mark.parametrize(
    ("stands", "instead"),
    [("gauge far", "gauge vl5"), ("joint head at", "joint vl5 at")],
    ids=["gauge", "joint"],
)
def test_a_name_that_something_else_is_spelled_like_is_told(stands: str, instead: str) -> None:
    recipe = DOLL.replace(stands, instead).replace("distance(head", "distance(bone.last")
    _, _, findings = applied('[joints]\nbone = "vl5..vl1"\n', recipe=recipe)
    assert codes(findings) == ["names-twice"]


def test_names_change_spelling_only() -> None:
    settled, _, _ = applied('[joints]\nhead = "skullbase"\n')
    assert settled is not None
    before = doll()
    assert [node.name for node in settled.rig.nodes] == [node.name for node in before.rig.nodes]
    assert settled.locals == before.locals
    changed = {
        node.name: node.spelled
        for node, was in zip(settled.rig.nodes, before.rig.nodes, strict=True)
        if node != was
    }
    assert changed == {"head": "skullbase"}


def test_centres_are_in_the_standards_own_space() -> None:
    _, joints, _ = applied('[joints]\nhead = "skullbase"\n')
    assert joints is not None
    # The seat is 65 cm up and 2 cm ahead; the recipe counts up in +Z and ahead in -Y.
    assert joints.joints[0].centre == pytest.approx((0, 1.05, 0.02), abs=1e-12)


def test_a_parent_that_is_left_out_is_skipped_to_the_next_above() -> None:
    _, joints, _ = applied('[joints]\npelvis = "humanoid_root"\nhead = "skullbase"\n', 1)
    assert joints is not None
    skull = joints.joints[1]
    assert (skull.name, skull.parent, skull.skipped) == ("skullbase", "humanoid_root", ("vl5",))
    assert "sacroiliac" in joints.absent
