"""The three files of instructions: what they hold, and that the page works in a browser."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
import rigs
from heron import heron, settled

from somite.ir import Chain, Shape
from somite.spatial.rotation import quaternion_from_euler
from somite.target import Context
from somite.targets import steps
from somite.targets.steps import views
from somite.units import PI

HERE = Path(__file__).parent
CONTEXT = Context("0123456789abcdef", "fedcba9876543210", "0.1.0")


def files(rig=None, context=CONTEXT) -> dict[str, str]:
    outputs, findings = steps.emit(settled(rig if rig is not None else heron()), context)
    assert findings == ()
    return {output.suffix: output.text for output in outputs}


@pytest.fixture(scope="module")
def made() -> dict[str, str]:
    return files()


def lamp():
    """A lamp on a pole of two bones, small enough to check by eye and in the head."""
    turn = quaternion_from_euler((0.0, 0.0, PI / 2))
    nodes = [
        replace(
            rigs.node("master", line=5),
            carries_all=True,
            shape=Shape("ring", 0.4, "+Y"),
            locks=("size.x", "size.y", "size.z"),
        ),
        rigs.node("skeleton", kind="group", line=6),
        rigs.node("pole.1", (0, 1.0, 0), "skeleton", kind="joint", turn=turn, line=7, chain="pole"),
        rigs.node("pole.2", (0, 1.5, 0), "pole.1", kind="joint", turn=turn, line=7, chain="pole"),
        rigs.node("flame", (0.1, 1.75, 0.0), "master", line=9),
    ]
    chain = Chain("pole", ("pole.1", "pole.2"), (0.0, 1.75, 0.0), "+X", origin=rigs.at(7))
    follows = [rigs.follow("skeleton", "master", line=6)]
    made = rigs.rig(nodes, follows, chains=(chain,), height=2.0)
    return replace(made, recipe="lamp", character="lamp of the noodle stall", revision=1)


def test_the_steps_of_a_lamp_are_what_a_person_would_write():
    """The golden steps of a small rig, reviewed by eye.

    They are right because: the bones point straight up, so that +X is turned onto up by 90 degrees
    about Z; the second joint stands 50 cm above the first and the end 25 cm above that; the flame
    stands 10 cm to the left (+X) of the middle; the skeleton is a group of its own that follows the
    master; sizes are locked on the master, so that no trial of scale is asked for.
    """
    text = files(lamp())[".steps.txt"]
    body = text[text.index("Prepare\n=====") : text.index("Words\n=====")]
    assert body == (HERE / "lamp.steps.txt").read_text("utf-8")


def test_the_same_rig_gives_the_same_bytes_in_any_process(made):
    program = (
        "import sys; sys.path[:0] = sys.argv[1:]; import hashlib, heron;"
        "from somite.target import Context; from somite.targets import steps;"
        "outputs, _ = steps.emit(heron.settled(heron.heron()),"
        " Context('0123456789abcdef', 'fedcba9876543210', '0.1.0'));"
        "print(hashlib.sha256(''.join(o.text for o in outputs).encode()).hexdigest())"
    )
    paths = [str(HERE), str(HERE.parents[1])]
    found = set()
    for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo")):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "LC_ALL": "C"}
        run = subprocess.run(
            [sys.executable, "-c", program, *paths],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        found.add(run.stdout)
    assert len(found) == 1


def test_all_three_files_hold_every_step_with_its_number(made):
    page = views.page(steps_guide(), voice())
    for section in page["sections"]:
        for step in (step for phase in section["phases"] for step in phase["steps"]):
            assert f"\n#### {step['label']}. " in made[".steps.md"]
            assert re.search(rf"^{step['number']}\. ", made[".steps.txt"], re.M)
            assert f'id="step-{step["id"]}"' in made[".steps.html"]


def steps_guide():
    from somite.targets.steps.guide import guide

    return guide(settled(heron()), CONTEXT)


def voice():
    from somite.targets.steps.phrases import Voice, own_phrases

    return Voice(own_phrases())


def test_no_line_of_the_plain_text_is_wider_than_88_columns(made):
    assert [line for line in made[".steps.txt"].splitlines() if len(line) > 88] == []


def test_no_mark_of_a_name_is_left_in_any_file(made):
    for text in made.values():
        assert not re.search("[\ue000-\uf8ff]", text)


@pytest.mark.parametrize("suffix", [".steps.md", ".steps.txt", ".steps.html"])
def test_lines_end_without_blanks_and_the_file_with_one_line_end(made, suffix):
    text = made[suffix]
    assert text.endswith("\n") and not text.endswith("\n\n")
    assert [line for line in text.splitlines() if line != line.rstrip()] == []


def test_texts_of_a_recipe_are_words_and_not_markup():
    strange = "a <b>bold</b> & *starred* `about` | line\n# second \ue000"
    told = files(replace(heron(), about=strange))
    assert "<b>bold</b>" not in told[".steps.html"]
    assert "&lt;b&gt;bold&lt;/b&gt; &amp; *starred*" in told[".steps.html"]
    assert r"a \<b\>bold\</b\> & \*starred\* \`about\` \| line \# second" in told[".steps.md"]


class Page(HTMLParser):
    """What a page is made of: its tags with their attributes, and what each label holds."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.labelled = 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag == "input" and "label" in self.open:
            self.labelled += 1
        if tag not in {"meta", "link", "input"}:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag, f"</{tag}> closes nothing"


def test_the_page_is_well_formed_and_all_it_asks_for_is_in_it(made):
    text = made[".steps.html"]
    page = Page(text)
    assert page.open == []
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    links = [attributes["href"] for tag, attributes in page.tags if tag == "a"]
    assert links and all(link[1:] in ids for link in links)
    assert [a for tag, a in page.tags if tag in {"img", "iframe"} or "src" in a] == []
    assert not re.search(r"https?:|url\(|@import|fetch\(|XMLHttp", text)
    assert "default-src 'none'" in text


def test_every_box_of_the_page_has_a_label_and_every_column_a_head(made):
    page = Page(made[".steps.html"])
    boxes = [a for tag, a in page.tags if tag == "input"]
    assert page.labelled == len(boxes) > 80
    heads = [a for tag, a in page.tags if tag == "th"]
    assert heads and all(head["scope"] == "col" for head in heads)
    assert ("html", {"lang": "en"}) in page.tags


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition of "relative luminance")."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_texts_of_the_page_have_the_contrast_that_wcag_asks_for():
    style = steps.own_templates()["steps.css.j2"]
    schemes = re.findall(r":root \{(.*?)\}", style, re.S)[:2]
    assert len(schemes) == 2, "light and dark"
    for scheme in schemes:
        colours = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", scheme))
        for ink in ("ink", "soft", "accent"):
            for paper in ("paper", "card"):
                assert contrast(colours[ink], colours[paper]) >= 4.5, (ink, paper)
        assert contrast(colours["right"], colours["right-paper"]) >= 4.5
        assert contrast(colours["ink"], colours["name"]) >= 4.5
        assert contrast(colours["soft"], colours["name"]) >= 4.5


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, success criterion 1.4.3)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed")
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--virtual-time-budget=5000", "--dump-dom"),
)
TICKING = """
<script>
  if (!sessionStorage.getItem("reloaded")) {
    sessionStorage.setItem("reloaded", "yes");
    document.querySelector("#step-1-2 input").click();
    document.querySelector("#step-2-5 input").click();
    document.querySelector("#step-2-5 input").click();
    document.querySelector("#step-2-7 input").click();
    location.reload();
  } else {
    const ticked = Array.from(document.querySelectorAll(".done:checked"), (box) => box.value);
    document.documentElement.dataset.ticked = ticked.join(" ");
  }
</script>
"""


def shown_by_chromium(page: Path, profile: Path) -> str:
    assert CHROMIUM is not None
    command = [CHROMIUM, *FLAGS, f"--user-data-dir={profile}", page.as_uri()]
    run = subprocess.run(command, capture_output=True, text=True, timeout=90, check=True)
    return run.stdout


@needs_chromium
def test_ticks_stay_after_a_reload_and_are_counted(made, tmp_path):
    page = tmp_path / "heron.steps.html"
    page.write_text(made[".steps.html"].replace("</body>", TICKING + "</body>"), "utf-8")
    shown = shown_by_chromium(page, tmp_path / "profile")
    assert 'data-ticked="1-2 2-7"' in shown
    total = made[".steps.html"].count('class="done"')
    assert f"2 of {total} done</output>" in shown
    assert re.search(r'data-section="section-1">1/\d+<', shown)


@needs_chromium
def test_ticks_of_other_steps_are_not_taken_over(tmp_path, made):
    # The key holds a digest of what the steps say: a rig that changed starts without ticks.
    other = files(replace(heron(), revision=5))[".steps.html"]
    keys = [re.search(r'data-keep="([^"]*)"', text) for text in (made[".steps.html"], other)]
    assert keys[0] and keys[1] and keys[0][1] != keys[1][1]
    moved = heron()
    nodes = tuple(
        replace(n, rest=replace(n.rest, place=(0.3, 1.21, -0.6))) if n.name == "guide" else n
        for n in moved.nodes
    )
    changed = files(replace(moved, nodes=nodes))[".steps.html"]
    key = re.search(r'data-keep="([^"]*)"', changed)
    assert key and key[1] != keys[0][1]


@needs_chromium
def test_the_page_runs_without_a_mistake_where_nothing_can_be_kept(made, tmp_path):
    broken = "<script>Object.defineProperty(window, 'localStorage', {get() {throw 1}})</script>"
    click = "<script>document.querySelector('#step-1-1 input').click()</script>"
    text = made[".steps.html"].replace("<head>", "<head>" + broken, 1)
    page = tmp_path / "kept.html"
    page.write_text(text.replace("</body>", click + "</body>"), "utf-8")
    shown = shown_by_chromium(page, tmp_path / "profile")
    total = made[".steps.html"].count('class="done"')
    assert f"1 of {total} done</output>" in shown
    assert '<span id="not-kept" role="status">' in shown
