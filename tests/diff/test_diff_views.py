"""The views of a review: Markdown for a comment, and a page that needs nothing but itself."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from puppet import RECIPE, SHEET, built, made

from somite.diff.review import Review, reviewed
from somite.evaluate import Evaluator
from somite.pipeline import Compiled
from somite.report.review_changes import Line, Section
from somite.report.review_markdown import MOST_LINES, code, plain, review_markdown
from somite.report.review_outline import Outline, outline
from somite.report.review_page import Character, review_page
from somite.report.review_pictures import (
    FRAMES,
    marks_of,
    motion_pictures,
    rest_picture,
    worst_pose,
)

CHANGED = ("rename with was", "limit", "order", "parent", "joint more", "joint under another")
SVG = "{http://www.w3.org/2000/svg}"
VOID = {"meta", "link", "br", "input", "path"}
"""Elements without an end: of HTML (HTML Living Standard, 13.1.2), and the paths that we close."""


@cache
def review(*names: str) -> Review:
    return between(made(), made(*names))


def between(first: Compiled, second: Compiled) -> Review:
    assert first.rig is not None and second.rig is not None
    assert first.settled is not None and second.settled is not None
    return reviewed(first.rig, second.rig, (first.settled, second.settled))


def settled(*names: str) -> tuple[object, object]:
    return made().settled, made(*names).settled


@cache
def drawn(*names: str, name: str = "bram") -> Character:
    """A character with all its drawings."""
    held = review(*names)
    both = made().settled, made(*names).settled
    assert both[0] is not None and both[1] is not None
    worst = worst_pose(held)
    assert worst is not None
    motion = motion_pictures(held, worst, (Evaluator(both[0]), Evaluator(both[1])), name)
    rest = rest_picture(held, (both[0], both[1]), name)
    return Character(name, outline([(name, held)]), rest, motion, "under bow: far off")


@cache
def page(*names: str) -> str:
    one = drawn(*names)
    return review_page(one.outline, [one], "main:porter.somite", "porter.somite")


def strokes(svg: str) -> dict[tuple[str, str, str], ElementTree.Element]:
    """The first stroke of each (whether of the old rig, its role, its name) in the front view."""
    root = ElementTree.fromstring(svg)
    view = root.find(f"{SVG}g[@data-view='front']")
    assert view is not None
    before = view.find(f"{SVG}g[@class='before']")
    old = set(before.iter(f"{SVG}path")) if before is not None else set()
    found: dict[tuple[str, str, str], ElementTree.Element] = {}
    for path in view.iter(f"{SVG}path"):
        if "data-name" in path.attrib:
            role = path.attrib["class"].split()[0]
            side = "old" if path in old else "new"
            found.setdefault((side, role, path.attrib["data-name"]), path)
    return found


def marked(path: ElementTree.Element) -> bool:
    return "marked" in path.attrib["class"].split()


# ---- pictures ------------------------------------------------------------------------------------


def test_both_rigs_are_in_the_picture_of_rest() -> None:
    rest = drawn(*CHANGED).rest
    assert rest is not None
    found = strokes(rest.svg)
    joints = {name for side, role, name in found if role == "joint" and side == "old"}
    first, second = made().rig, made(*CHANGED).rig
    assert first is not None and second is not None
    assert joints == {node.name for node in first.nodes if node.kind == "joint"}
    joints = {name for side, role, name in found if role == "joint" and side == "new"}
    assert joints == {node.name for node in second.nodes if node.kind == "joint"}


def test_what_changed_is_heavy_and_named_and_nothing_else_is() -> None:
    rest = drawn(*CHANGED).rest
    assert rest is not None
    heavy = {name for (_, _, name), path in strokes(rest.svg).items() if marked(path)}
    assert heavy == {"hips", "high", "bow", "comb", "crest"}
    words = {text.text for text in ElementTree.fromstring(rest.svg).iter(f"{SVG}text")}
    assert words >= {"hips (was low)", "high", "bow", "comb (new)", "crest"}


def test_what_is_gone_is_heavy_where_it_was() -> None:
    gone = rest_picture(review("joint fewer"), settled("joint fewer"), "gone")  # type: ignore[arg-type]
    found = strokes(gone.svg)
    assert marked(found["old", "joint", "crest"])
    assert ("new", "joint", "crest") not in found
    assert "crest (gone)" in gone.svg


def test_an_arrow_leads_from_where_a_joint_stood_to_where_it_stands() -> None:
    rest = rest_picture(review("elsewhere"), settled("elsewhere"), "elsewhere")  # type: ignore[arg-type]
    found = strokes(rest.svg)
    arrow = found["new", "shift", "head"]
    ends = re.match(r"M(\S+) (\S+)L(\S+) (\S+)M", arrow.attrib["d"])
    assert ends is not None
    x, y, to_x, to_y = map(float, ends.groups())

    def spot(side: str) -> tuple[float, float]:
        dot = re.match(r"M(\S+) (\S+)a(\S+) ", found[side, "joint", "head"].attrib["d"])
        assert dot is not None
        return float(dot[1]) + float(dot[3]), float(dot[2])

    assert (x, y) == pytest.approx(spot("old"), abs=0.02)
    assert (to_x, to_y) == pytest.approx(spot("new"), abs=0.02)
    # Two centimetres up, in a picture of which a metre is so many pixels tall.
    (bar,) = re.findall(r'class="scale" d="M14 \S+v4H(\S+)v-4"/>\n<text [^>]*>(\d+) cm', rest.svg)
    pixels = (float(bar[0]) - 14.0) / float(bar[1])
    assert y - to_y == pytest.approx(2.0 * pixels, abs=0.05)
    assert rest.shifted == 1


def test_a_longer_arm_has_arrows_and_nothing_heavy() -> None:
    longer = built(RECIPE, SHEET.replace("wrist = [28, 52, 2]", "wrist = [30, 40, 4]"))
    held = between(made(), longer)
    assert longer.settled is not None and made().settled is not None
    rest = rest_picture(held, (made().settled, longer.settled), "longer")  # type: ignore[arg-type]
    assert rest.shifted >= 2
    assert rest.marked == 0


def test_marks_name_constraints_by_what_they_hold() -> None:
    assert set(marks_of(review("spread")).new) == {f"back.{k}" for k in range(1, 6)}
    assert set(marks_of(review("leader")).new) == {"path.above"}
    assert set(marks_of(review("feed")).new) == {"lid"}
    assert set(marks_of(review("dial renamed")).new) == {"hand.left", "hand.right"}


def test_the_way_to_the_worst_pose_begins_at_rest_and_ends_in_it() -> None:
    held = review(*CHANGED)
    motion = drawn(*CHANGED).motion
    worst = worst_pose(held)
    assert motion is not None and worst is not None
    assert len(motion.frames) == FRAMES
    first, last = strokes(motion.frames[0]), strokes(motion.frames[-1])
    joint = worst.joint
    assert ("new", "shift", joint) not in first
    assert ("new", "shift", joint) in last
    assert marked(last["new", "joint", joint]) and marked(last["old", "joint", joint])
    assert first["old", "joint", joint].attrib["d"] == first["new", "joint", joint].attrib["d"]
    assert ", 0% of the way" in motion.frames[0] and "100% of the way" in motion.frames[-1]
    assert last["old", "joint", joint].attrib["d"] != last["new", "joint", joint].attrib["d"]


def test_all_pictures_of_a_way_have_one_size() -> None:
    motion = drawn(*CHANGED).motion
    assert motion is not None
    heads = {re.match(r"<svg [^>]*>", frame)[0] for frame in motion.frames}  # type: ignore[index]
    assert len(heads) == 1
    still = {strokes(frame)["new", "bone", "leg.left.thigh"].attrib["d"] for frame in motion.frames}
    assert len(still) == 1


def test_rigs_with_other_axes_lie_over_one_another() -> None:
    turned = built(
        RECIPE.replace("axes up +Y front +Z", "axes up +Z front -Y")
        .replace("lean +Y toward -Z", "lean +Z toward +Y")
        .replace("(0, 0, -30 cm)", "(0, 30 cm, 0)")
    )
    assert turned.settled is not None and made().settled is not None
    held = between(made(), turned)
    rest = rest_picture(held, (made().settled, turned.settled), "turned")  # type: ignore[arg-type]
    assert rest.shifted == 0
    found = strokes(rest.svg)
    for (side, role, name), path in found.items():
        if role == "joint" and side == "old":
            assert path.attrib["d"] == found["new", "joint", name].attrib["d"], name


def test_nothing_is_drawn_of_rigs_that_move_alike() -> None:
    assert worst_pose(review("about")) is None


# ---- the page ------------------------------------------------------------------------------------


class Reader(HTMLParser):
    """Reads a page strictly: every element is closed in its order, no attribute comes twice."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.ids: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        assert len(held) == len(attrs), (tag, attrs)
        self.tags.append((tag, held))
        if held.get("id"):
            self.ids.append(str(held["id"]))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag, (tag, self.getpos())

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("style", "script"):
            self.text.append(data)


def read(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


def test_the_page_is_well_formed_and_needs_nothing_from_outside() -> None:
    text = page(*CHANGED)
    reader = read(text)
    assert text.startswith("<!doctype html>")
    assert len(reader.ids) == len(set(reader.ids))
    for tag, attributes in reader.tags:
        assert tag not in ("img", "iframe", "object", "embed", "base", "form"), tag
        for name in ("src", "href", "data", "action", "srcset", "xlink:href"):
            value = attributes.get(name)
            assert value is None or value.startswith("#") or value == "data:,", (tag, value)
    assert not re.search(r"@import|url\(", text)
    assert set(re.findall(r"https?://[^\"' ]+", text)) == {"http://www.w3.org/2000/svg"}
    policy = next(a["content"] for t, a in reader.tags if a.get("http-equiv"))
    assert policy is not None and policy.startswith("default-src 'none'")


def test_links_lead_somewhere_and_controls_have_names() -> None:
    names = ("bram", "pip", "juniper")
    held = [replace(drawn(*CHANGED), name=name) for name in names]
    whole = outline([(name, review(*CHANGED)) for name in names])
    reader = read(review_page(whole, held, "a", "b"))
    targets = {a["href"] for t, a in reader.tags if t == "a"}
    assert {str(one).removeprefix("#") for one in targets} <= set(reader.ids)
    labels = {a.get("for") for t, a in reader.tags if t == "label"}
    ranges = {a.get("id") for t, a in reader.tags if t == "input"}
    assert ranges and ranges <= labels
    assert {"bram", "pip", "juniper"} <= set(reader.text)
    for tag, attributes in reader.tags:
        assert attributes.get("tabindex") != "0" or attributes.get("aria-label"), tag


def test_verdicts_come_first_and_parts_fold() -> None:
    text = page(*CHANGED)
    assert text.index('id="answers"') < text.index('id="drawings"') < text.index('id="changes"')
    for words in ("channels: breaks", "picture: changes", "skin: breaks"):
        assert f"<h3>{words}</h3>" in text
    assert re.search(r"<details open>\s*<summary>the rig ", text)


def test_a_page_without_scripts_shows_the_worst_pose() -> None:
    text = page(*CHANGED)
    frames = re.findall(r'<div class="frame"( hidden)?>', text)
    assert frames == [" hidden"] * (FRAMES - 1) + [""]
    assert '<div class="turn" hidden>' in text


HOSTILE = '<script>alert("x")</script> & `code` ![](x) *a* </style>'


@pytest.mark.parametrize("view", ["page", "markdown"])
def test_whatever_a_recipe_or_path_says_is_only_shown(view: str) -> None:
    told = Outline(
        (HOSTILE,),
        (Section(HOSTILE, (Line(HOSTILE, HOSTILE),)),),
        outline([("bram", review(*CHANGED))]).questions[:1],
        (),
        3,
        0,
        1,
    )
    question = replace(told.questions[0], reasons=(HOSTILE,) * 12)
    told = replace(told, questions=(question,))
    if view == "page":
        reader = read(review_page(told, [Character(HOSTILE, told)], HOSTILE, HOSTILE))
        assert sum(tag == "script" for tag, _ in reader.tags) == 1
        assert sum(HOSTILE in one for one in reader.text) >= 4
        return
    text = review_markdown(told, HOSTILE, HOSTILE)
    # Outside of code, every sign that could mark anything up is escaped.
    bare = re.sub(r"(`+)(?!`).*?(?<!`)\1(?!`)", "", text)
    # What stands in a summary is HTML: CommonMark 0.31.2, 4.6.
    summary = re.search(r"<summary>(.*)</summary>", bare)
    assert summary is not None and not re.search(r"[<>]", summary[1])
    bare = bare.replace(summary[0], "")
    assert not re.search(r"(?<!\\)<(?!/?details>|/?summary>)", bare)
    assert not re.search(r"(?<!\\)\[", bare)


def test_a_recipe_with_such_words_reads_as_it_is_written(tmp_path: Path) -> None:
    hostile = "<script>alert(1)</script>"
    old = built(RECIPE)
    new = built(
        RECIPE.replace(
            "control nod at nape  under high\n",
            f'control nod at nape  under high\n  excuse calm because "{hostile}"\n',
        )
    )
    held = between(old, new)
    assert old.settled is not None and new.settled is not None
    rest = rest_picture(held, (old.settled, new.settled), hostile)
    one = Character("bram", outline([("bram", held)]), rest)
    text = review_page(one.outline, [one], f"main:{hostile}.somite", f"{hostile}.somite")
    reader = read(text)
    assert sum(tag == "script" for tag, _ in reader.tags) == 1
    assert any(hostile in part for part in reader.text)
    ElementTree.fromstring(rest.svg)


def test_a_big_cast_has_a_table_of_all() -> None:
    names = [f"lantern_{k}" for k in range(40)]
    told = outline([(name, review("limit")) for name in names])
    alone = outline([("bram", review("limit"))])
    held = [Character(name, alone, left_out="not drawn") for name in names]
    text = review_page(told, held, "a", "b", only_old=["morel"])
    rows = re.findall(r'<tr><th scope="row">', text)
    assert len(rows) == 40
    assert "Only before: morel" in text
    assert len(text) < 300_000


def test_nothing_changed_is_a_page_too() -> None:
    same = outline([("bram", review())])
    held = Character("bram", same, left_out="Nothing changed, so nothing is drawn.")
    text = review_page(same, [held], "a", "b")
    read(text)
    assert "No change of meaning, for bram" in text
    assert 'id="changes"' not in text


# ---- contrast ------------------------------------------------------------------------------------


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2)."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, success criteria 1.4.3 and 1.4.11)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_text_and_lines_stand_out_in_the_light_and_in_the_dark() -> None:
    themes = re.findall(r":root \{(.*?)\}", page(*CHANGED), re.S)
    assert len(themes) == 3
    for theme in themes[:2]:
        colours = dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", theme))
        for ink in ("ink", "soft", "accent"):
            for paper in ("paper", "card"):
                assert contrast(colours[ink], colours[paper]) >= 4.5, (ink, paper)
        assert contrast(colours["ink"], colours["name"]) >= 4.5
        for line in ("edge", "curve", "grip", "was", "ink"):
            assert contrast(colours[line], colours["card"]) >= 3.0, line


# ---- in a browser --------------------------------------------------------------------------------

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--virtual-time-budget=5000", "--dump-dom"),
)
SLIDING = """
<script>
  const range = document.querySelector("input[type=range]");
  const seen = () => Array.from(document.querySelectorAll(".frame"),
    (frame) => frame.getBoundingClientRect().height > 0 ? 1 : 0).join("");
  const found = [seen()];
  for (const at of ["0", "4", "10"]) {
    range.value = at;
    range.dispatchEvent(new Event("input"));
    found.push(seen() + "/" + range.getAttribute("aria-valuetext"));
  }
  document.documentElement.dataset.seen = found.join(" ");
  const box = document.querySelector(".drawing svg").getBoundingClientRect();
  document.documentElement.dataset.drawn = box.width > 200 && box.height > 200;
</script>
"""


def shown_by_chromium(text: str, folder: Path) -> str:
    assert CHROMIUM is not None
    path = folder / "review.html"
    path.write_text(text, "utf-8")
    command = [CHROMIUM, *FLAGS, f"--user-data-dir={folder / 'profile'}", path.as_uri()]
    run = subprocess.run(command, capture_output=True, text=True, timeout=90, check=True)
    return run.stdout


@needs_chromium
def test_the_slider_shows_one_picture_at_a_time(tmp_path: Path) -> None:
    shown = shown_by_chromium(page(*CHANGED).replace("</body>", SLIDING + "</body>"), tmp_path)
    seen = re.search(r'data-seen="([^"]*)"', shown)
    assert seen is not None
    assert seen[1] == (
        "00000000001 10000000000/at rest 00001000000/40% of the way 00000000001/the worst pose"
    )
    assert 'data-drawn="true"' in shown


@needs_chromium
def test_a_link_opens_the_section_that_it_leads_to(tmp_path: Path) -> None:
    names = ("bram", "pip")
    held = [replace(drawn(*CHANGED), name=name) for name in names]
    whole = outline([(name, review(*CHANGED)) for name in names])
    click = "<script>document.querySelector('a[href=\"#character-2\"]').click()</script>"
    text = review_page(whole, held, "a", "b").replace("</body>", click + "</body>")
    assert re.search(r'<details id="character-2" open', shown_by_chromium(text, tmp_path))


@needs_chromium
def test_all_parts_are_open_while_the_page_is_printed(tmp_path: Path) -> None:
    lines = tuple([Line(f"peg_{k}", "is new") for k in range(40)])
    told = replace(outline([("bram", review())]), sections=(Section("pegs", lines),), changes=40)
    text = review_page(told, [Character("bram", told)], "a", "b")
    assert "<details>" in text
    opened = (
        "<script>const open = () => document.querySelector('#changes details').open;"
        "const found = [open()];"
        "for (const one of ['beforeprint', 'afterprint'])"
        " { window.dispatchEvent(new Event(one)); found.push(open()); }"
        "document.documentElement.dataset.open = found;</script>"
    )
    shown = shown_by_chromium(text.replace("</body>", opened + "</body>"), tmp_path)
    assert 'data-open="false,true,false"' in shown


# ---- Markdown ------------------------------------------------------------------------------------


def comment(*names: str) -> str:
    return review_markdown(outline([("bram", review(*names))]), "main:a.somite", "a.somite")


def test_a_comment_begins_with_the_answers() -> None:
    lines = comment(*CHANGED).split("\n")
    assert lines[0] == "### 6 changes: channels **breaks**, picture **changes**, skin **breaks**"
    assert lines[2] == "`main:a.somite` → `a.somite`, for bram"
    assert lines[4] == "- **channels: breaks**"


def test_what_folds_is_markdown_inside() -> None:
    """CommonMark 0.31.2, 4.6: a block of HTML ends at a blank line, so what follows is Markdown."""
    text = comment(*CHANGED)
    assert re.findall(r"<details>\n<summary>(.*)</summary>\n\n- ", text) == ["the rig: 6 lines"]
    assert text.count("<details>") == text.count("\n\n</details>\n") == 1
    assert text.count("```") % 2 == 0
    assert "\n\n\n" not in text and text.endswith("\n") and not text.endswith("\n\n")


def test_the_worst_comes_first_with_its_pose() -> None:
    text = comment(*CHANGED)
    shares = [float(one) for one in re.findall(r"\((\d+(?:\.\d+)?)% of the height\)", text)]
    assert shares and shares[0] == max(shares)
    assert re.search(r"\n1\. under .*\n   at [a-z_.]+\.turn\.x=\S+", text)


def test_a_long_part_is_cut_with_a_count() -> None:
    lines = tuple([Line(f"peg_{k}", "is new") for k in range(MOST_LINES + 5)])
    told = replace(outline([("bram", review())]), sections=(Section("pegs", lines),), changes=35)
    text = review_markdown(told, "a", "b")
    assert text.count("\n- peg") == MOST_LINES
    assert "- and 5 more" in text


@given(st.text(alphabet="`*_[]<>#&|~$\\ab1.-+=)\n\t\u202e", max_size=20))
def test_any_text_stands_as_it_is(words: str) -> None:
    """By CommonMark 0.31.2: 2.4 backslash escapes, 2.5 entities, 6.1 code spans."""
    text = plain(words)
    assert "\n" not in text and "\u202e" not in text
    back = re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", text).replace("&amp;", "&")
    assert back == plain_of(words)
    assert not re.match(r"[-+=]|\d+[.)]", text)
    assert not re.search(r"(?<!\\)(?:\\\\)*[`*_\[\]<>]", text)
    if plain_of(words).strip(" "):
        assert content_of(code(words)) == plain_of(words)


def content_of(span: str) -> str:
    """What stands in a code span: up to the next run of as many backticks, one space off each end
    where both ends have one."""
    ticks, rest = re.fullmatch(r"(`+)(.*)", span).groups()  # type: ignore[union-attr]
    end = next(run for run in re.finditer(r"`+", rest) if run[0] == ticks)
    assert end.end() == len(rest)
    inner = rest[: end.start()]
    return inner[1:-1] if inner[:1] == inner[-1:] == " " else inner


def plain_of(words: str) -> str:
    from somite.report.human import shown

    return shown(words)
