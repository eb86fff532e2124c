"""`somite diff`: its report, its JSON, its exit status, and how it reads."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from puppet import RECIPE, SHEET, built, edited, made
from starting import imported

from somite.cli import main
from somite.diff.requirements import requirements_in
from somite.diff.review import Review, reviewed
from somite.report.review_json import document, json_text, read
from somite.report.review_outline import outline
from somite.report.review_terminal import review_text

SCHEMA = Path(__file__).parents[2] / "compiler" / "schemas" / "diff.schema.json"


@pytest.fixture
def market(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the puppet before and after a change, and a clip."""
    (tmp_path / "before.somite").write_text(RECIPE, encoding="utf-8")
    (tmp_path / "bram.toml").write_text(SHEET, encoding="utf-8")
    (tmp_path / "walk.csv").write_text("frame, high.turn.y\n1, 0\n9, 39\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def compare(market: Path, *names: str, options: tuple[str, ...] = ()) -> int:
    (market / "after.somite").write_text(edited(*names), encoding="utf-8")
    return main(["diff", "before.somite", "after.somite", "--sheet", "bram.toml", *options])


def review(*names: str, old: tuple[str, ...] = ()) -> Review:
    first, second = made(*old), made(*names)
    assert first.rig is not None and second.rig is not None
    assert first.settled is not None and second.settled is not None
    return reviewed(first.rig, second.rig, (first.settled, second.settled))


def told(*names: str, old: tuple[str, ...] = ()) -> str:
    """The report of some edits, as one line of words."""
    text = review_text(outline([("bram", review(*names, old=old))]), "a", "b")
    return " ".join(text.split())


def line_of(words: str, recipe: str) -> int:
    """The line of a recipe that begins so."""
    return next(k for k, line in enumerate(recipe.split("\n"), 1) if line.startswith(words))


# ---- sentences -----------------------------------------------------------------------------------

SENTENCES = {
    "parent": 'high is under "body", it was under "bow"',
    "rename with was": 'low is now "hips" (stated by was)',
    "limit": "high turn.y is limited to -40..40 deg, it was -80..80 deg (tighter)",
    "wider limit": "it was -80..80 deg (wider)",
    "no limit": "high turn.y is no longer limited, it was to -80..80 deg",
    "mirrored limit": "hand (left and right) move.x is limited to -20..60 cm, it was -60..60 cm",
    "lock": "body turn.z is locked",
    "free": "guide (left and right) turn and size are free again",
    "order": "bow turns in the order yzx, it was xyz",
    "bones": "back has 6 bones, it had 5",
    "spread": "the twist of back spreads eased, it spread even",
    "dial default": 'body dial "stretch" starts at 1, it was 0',
    "dial range": 'body dial "lean" begins at -5 deg, it was -20 deg',
    "dial kind": 'body dial "lean" is a number, it was an angle',
    "dial renamed": 'hand (left and right) has its dial "mix" called "blend" now (stated by was)',
    "dial gone": 'body has no dial "lean" any more',
    "choice fewer": 'nod dial "space" is of high, body, it was high, body, world',
    "choice default": 'nod dial "space" starts at body, it was high',
    "leader": 'path.above follows "bow", it followed "high"',
    "carrier": "the ride of back is carried by body, it was by low",
    "shares": '"path.below" owns 1, 2, 3, it owned 1, 2',
    "feed": "lid.turn.x is (kettle.turn.y * 0.75), it was (kettle.turn.y * 0.5)",
    "gauge": "strain is distance(head, hand.right), it was distance(head, hand.left)",
    "list": 'list "skin" has 1 fewer: crest',
    "pose": 'pose "bow_down" sets high.turn.x to 25 deg, it was 20 deg',
    "check": "expects head apart from nod by 0 cm within 0.2 mm",
    "check more": "expects back keeps length within 0.5%",
    "shape": "nod is 21 cm wide, it was 24 cm",
    "about": "high is described otherwise",
    "revision": "the recipe is revision 4, it was 3",
    "units": "the recipe is written in mm, it was in cm",
    "joint more": 'comb is a new joint, under "crest"',
    "joint fewer": "crest is gone: a joint",
    "joint under another": 'crest is under "back.5", it was under "head"',
    "elsewhere": "head stands 2 cm away at rest",
    "excuse": 'nod excuses the law "calm" because "the puppet nods in steps"',
    "size": "master can be sized along each axis",
    "shown": "kettle is shown while body.stretch is below 0.5, it was while body.stretch is below",
    "shown always": "kettle is shown always, it was while body.stretch is below 1",
    "shown by a choice": "kettle is shown while nod.space is high or body, it was while body",
    "no socket": "perch is no longer a socket",
    "socket more": 'saddle is a new socket, under "back.3"',
}


@pytest.mark.parametrize("name", sorted(SENTENCES))
def test_a_change_is_said_as_a_lead_would_say_it(name: str) -> None:
    assert SENTENCES[name] in told(name)


def test_a_picture_that_is_kept_by_carrying_says_so() -> None:
    assert "no joint is off once clips are carried" in told("order")
    assert "no joint is off;" in told("shape")


def test_what_the_old_rig_alone_has_is_told_with_its_pose() -> None:
    assert "under nod.space (nod.space=world in the old rig): crest" in told("choice fewer")


def test_many_reasons_of_one_kind_are_counted() -> None:
    turned = RECIPE.replace("axes up +Y front +Z", "axes up +Y front -Z")
    old, new = made(), built(turned)
    assert old.rig is not None and new.rig is not None
    found = outline([("bram", reviewed(old.rig, new.rig, None))])
    channels, _ = found.questions
    assert any(one.startswith("axes point another way of") for one in channels.reasons)
    assert len(channels.reasons) < 12


def test_a_joint_that_is_only_turned_is_told_by_its_turn() -> None:
    other = RECIPE.replace("  axis +X\n  lean +Y toward -Z", "  axis -X\n  lean +Y toward -Z")
    old, new = made(), built(other)
    assert old.rig is not None and new.rig is not None
    (_, skin) = outline([("bram", reviewed(old.rig, new.rig, None))]).questions
    assert skin.reasons == ("5 bound joints stand otherwise at rest, back.1 by a turn of 180 deg",)


def test_a_skin_that_differs_by_character_is_told_once() -> None:
    one, two = made(), made("joint fewer")
    more = built(
        RECIPE.replace("joint crest at crown  under head\n", "").replace(" head, crest,", "")
    )
    assert one.rig is not None and two.rig is not None and more.rig is not None
    reviews = [
        ("bram", reviewed(one.rig, two.rig, None)),
        ("pip", reviewed(one.rig, more.rig, None)),
    ]
    skin = outline(reviews).questions[-1]
    assert skin.reasons == ("2 bound joints fewer: crest, head (most in pip)",)


def test_a_report_fits_a_pull_request() -> None:
    made_of = outline([("bram", review("limit", "order", "bones", "dial default"))])
    lines = review_text(made_of, "main:porter.somite", "porter.somite").splitlines()
    assert len(lines) <= 60
    assert max(map(len, lines)) <= 100
    assert all(line == line.rstrip() for line in lines)


def test_nothing_is_said_where_nothing_changed() -> None:
    text = told()
    assert "no change of meaning" in text
    assert "channels keeps" in text and "skin keeps" in text
    assert "elsewhere" not in text


def test_twins_are_said_once() -> None:
    assert told("mirrored limit").count("move.x is limited") == 1
    assert "1 change " not in told("mirrored limit").split("the rig")[1]


def test_one_side_of_a_pair_is_not_said_of_both() -> None:
    one_sided = told("parent of a locked control")
    assert "left and right" not in one_sided


def test_many_names_that_begin_otherwise_are_one_line() -> None:
    new = built(RECIPE.replace("chain leg", "chain hindleg").replace("arm, leg", "arm, hindleg"))
    assert new.rig is not None and made().rig is not None
    made_of = outline([("bram", reviewed(made().rig, new.rig))])
    text = " ".join(review_text(made_of, "a", "b").split())
    assert "is now" in text
    assert len(made_of.sections) == 1
    assert sum(len(section.lines) for section in made_of.sections) <= 2


def test_what_is_alike_for_all_characters_is_said_once() -> None:
    reviews = [(name, review("limit")) for name in ("bram", "pip", "juniper")]
    made_of = outline(reviews)
    (section,) = made_of.sections
    assert [line.characters for line in section.lines] == [()]
    text = review_text(outline([*reviews, ("morel", review("limit", "order"))]), "a", "b")
    assert "[only in morel]" in text
    assert "for 4 characters: bram, pip, juniper, morel" in text


def test_a_change_that_differs_by_character_is_told_where_it_is_most() -> None:
    further = RECIPE.replace(
        "joint head at nape  under", "joint head at nape + (0, 3 cm, 0)  under"
    )
    old, new = made(), built(further)
    assert old.rig is not None and new.rig is not None
    reviews = [("bram", review("elsewhere")), ("pip", reviewed(old.rig, new.rig))]
    said = [line.text for section in outline(reviews).sections for line in section.lines]
    assert "stands 3 cm away at rest (most in pip)" in said
    said = [line.text for section in outline(reviews[:1] * 2).sections for line in section.lines]
    assert "stands 2 cm away at rest" in said


# ---- the command ---------------------------------------------------------------------------------


def test_the_report_goes_to_the_output_with_commands_that_show_it(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert compare(market, "limit") == 0
    out, errors = capsys.readouterr()
    assert errors == ""
    assert out.startswith("before.somite -> after.somite\nfor bram\n1 change\n")
    assert f"(after.somite:{line_of('control high', RECIPE)}, was before.somite" in out
    (command, *_) = [line.strip() for line in out.splitlines() if "somite pose" in line]
    assert main(command.split()[1:]) == 0
    posed = capsys.readouterr().out
    assert "crest" in posed


@pytest.mark.parametrize(
    ("require", "status"),
    [
        ("channels=keeps", 1),
        ("channels=carries", 1),
        ("skin=keeps", 0),
        ("picture=keeps", 1),
        ("picture=50%", 0),
        ("picture=1mm", 1),
        ("picture=80cm,skin=carries", 0),
        ("clips=keeps", 0),
    ],
)
def test_a_requirement_that_is_not_met_fails(
    market: Path, capsys: pytest.CaptureFixture[str], require: str, status: int
) -> None:
    options = ("--require", require, "--clip", "walk.csv", "--findings-format", "json")
    assert compare(market, "limit", options=options) == status
    errors = capsys.readouterr().err
    assert ("requirement-unmet" in errors) == (status == 1)


@pytest.mark.parametrize(
    "options",
    [
        ("--require", "chanels=keeps"),
        ("--require", "channels=breaks"),
        ("--require", "channels"),
        ("--require", "picture=3"),
        ("--require", "picture=carries"),
        ("--require", "skin=3%"),
        ("--no-poses", "--clip", "walk.csv"),
        ("--no-poses", "--require", "picture=keeps"),
    ],
)
def test_wrong_usage_is_refused(
    market: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...]
) -> None:
    assert compare(market, "limit", options=options) == 2
    out, errors = capsys.readouterr()
    assert out == ""
    assert errors.startswith("somite diff: expected ") and errors.count("\n") == 1


def test_a_requirement_that_nothing_could_show_is_refused(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert compare(market, "limit", options=("--require", "clips=keeps")) == 2
    assert "found no --clip" in capsys.readouterr().err


def test_a_requirement_is_not_met_where_no_character_is_on_both_sides(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for folder, character in (("one", "bram"), ("two", "pip")):
        (market / folder).mkdir()
        (market / folder / "porter.somite").write_text(RECIPE, encoding="utf-8")
        for number in "12":
            text = SHEET.replace('"bram"', f'"{character}{number}"')
            (market / folder / f"pip{number}.toml").write_text(text, encoding="utf-8")
        cast = '[[build]]\nrecipe = "porter.somite"\nsheets = ["pip*.toml"]\ntargets = ["scene"]\n'
        (market / folder / "cast.toml").write_text(f'out = "out"\n{cast}', encoding="utf-8")
    assert main(["diff", "one", "two", "--no-poses"]) == 0
    capsys.readouterr()
    assert main(["diff", "one", "two", "--no-poses", "--require", "skin=keeps"]) == 1
    assert "found no character that could be compared" in capsys.readouterr().err


def test_a_misspelled_requirement_has_a_hint() -> None:
    assert 'did you mean "channels"?' in str(requirements_in(["chanels=keeps"])[1])


def test_without_poses_nothing_is_posed(market: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert compare(market, "limit", options=("--no-poses",)) == 0
    out = capsys.readouterr().out
    assert "channels  breaks" in out
    assert "picture" not in out and "elsewhere" not in out


def test_a_side_that_can_not_be_read_is_status_two(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["diff", "before.somite", "nothing.somite", "--sheet", "bram.toml"]) == 2
    assert capsys.readouterr().out == ""


def test_a_recipe_that_does_not_compile_is_status_one(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "after.somite").write_text(
        RECIPE.replace("under bow", "under bough"), encoding="utf-8"
    )
    assert main(["diff", "before.somite", "after.somite", "--sheet", "bram.toml"]) == 1
    out, errors = capsys.readouterr()
    assert "nothing could be compared" in out
    assert f"after.somite:{line_of('control high', RECIPE)}" in errors and "bough" in errors


def test_a_clip_that_can_not_be_read_is_a_finding(
    market: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (market / "walk.csv").write_text("frame, nobody.turn.y\n1, 0\n", encoding="utf-8")
    assert compare(market, "limit", options=("--clip", "walk.csv")) == 1
    assert "clip-channel" in capsys.readouterr().err


# ---- the document --------------------------------------------------------------------------------


def test_the_document_fits_its_schema(market: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names = ("limit", "order", "bones", "dial renamed", "choice fewer", "rename with was")
    assert compare(market, *names, options=("--json", "-", "--clip", "walk.csv")) == 0
    made_of = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator(json.loads(SCHEMA.read_text(encoding="utf-8"))).validate(
        made_of
    )
    (character,) = made_of["characters"]
    assert character["channels"]["verdict"] == "breaks"
    assert {one["what"] for one in character["changes"]} == {"added", "changed", "renamed"}
    limit = next(one for one in character["changes"] if one["path"] == ["limits", "turn.y", "low"])
    assert (limit["before"], limit["after"]) == ("-80 deg", "-40 deg")
    assert limit["new_lines"] == [f"after.somite:{line_of('control high', edited(*names))}"]


@pytest.mark.parametrize("names", [(), ("shares", "feed"), ("joint fewer", "excuse"), ("units",)])
def test_a_document_can_be_read_back(names: tuple[str, ...]) -> None:
    made_of = document("a", "b", [("bram", review(*names))], ["pip"], [])
    assert read(json_text(made_of)) == made_of


def test_a_document_beside_the_report(market: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert compare(market, "limit", options=("--json", "out.json")) == 0
    assert "1 change" in capsys.readouterr().out
    assert (
        json.loads((market / "out.json").read_text(encoding="utf-8"))["format"] == "somite-diff 1"
    )


# ---- starting ------------------------------------------------------------------------------------


def test_help_does_not_pay_for_comparing(market: Path) -> None:
    slow = {"numpy", "pydantic", "lark", "somite.diff.review", "somite.sides", "somite.pipeline"}
    assert not imported(market, "diff", "--help") & slow


def test_comparing_without_poses_does_not_import_the_evaluator(market: Path) -> None:
    arguments = ("diff", "before.somite", "before.somite", "--sheet", "bram.toml", "--no-poses")
    assert not imported(market, *arguments) & {"numpy", "somite.evaluate", "scipy"}
