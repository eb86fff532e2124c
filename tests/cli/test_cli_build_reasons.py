"""`--explain`: why a character is built, or need not be, in words."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from somite.builds import build, reasons, stamp
from somite.builds.install import compiler_digest


def built(workshop: Any, job: Any) -> None:
    for outcome in build.run((job,), workshop.tools):
        assert outcome.state == "built"


def why(workshop: Any, job: Any) -> tuple[str, ...]:
    plan = build.planned((job,))
    last = plan.stamps.get(job)
    is_fresh = last is not None and stamp.fresh(last, job.targets, compiler_digest())
    # What the quick look says and what is told must never differ.
    assert is_fresh == (not plan.reasons[job])
    return plan.reasons[job]


def test_what_was_never_built_says_so(workshop: Any) -> None:
    (reason,) = why(workshop, workshop.job())
    assert reason.endswith("holds no finished build of it")


def test_what_is_up_to_date_says_what_was_compared(workshop: Any) -> None:
    phrases = workshop.write("phrases.toml", '[joint]\nmake = "put a joint"\n')
    job = workshop.job(phrases=phrases)
    built(workshop, job)
    assert why(workshop, job) == ()
    told = reasons.to_rest(job, stamp.latest((job,))[job])
    assert told == "nothing changed (recipe, sheet, phrase file, target's module, outputs, Somite)"


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("upright.somite", 'the recipe "{}" changed'),
        ("heron.toml", 'the sheet "{}" changed'),
        ("phrases.toml", 'the phrase file "{}" changed'),
        ("ours/page.md", 'the templates in "{}" changed'),
    ],
)
def test_a_changed_input_is_named_by_what_it_is(
    workshop: Any, name: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(workshop.folder)
    phrases = workshop.write("phrases.toml", '[joint]\nmake = "put a joint"\n')
    page = Path(workshop.write("ours/page.md", "hello\n"))
    job = workshop.job(phrases=phrases, templates=str(page.parent))
    built(workshop, job)
    path = workshop.folder / name
    path.write_text(path.read_text() + "# a word more\n")
    assert why(workshop, job) == (said.format(name.partition("/")[0]),)


def test_an_input_that_is_gone_says_so(workshop: Any) -> None:
    job = workshop.job()
    built(workshop, job)
    (workshop.folder / "heron.toml").unlink()
    (reason,) = why(workshop, job)
    assert reason.startswith("the sheet ") and reason.endswith("can not be read any more")


def test_every_reason_is_told(workshop: Any) -> None:
    job = workshop.job()
    built(workshop, job)
    workshop.write("heron.toml", "heron\n# longer legs\n")
    workshop.write("upright.somite", "recipe upright\n# stronger\n")
    workshop.write("build/upright.heron.list.txt", "notes of mine\n")
    said = why(workshop, job._replace(targets=("list", "table")))
    assert len(said) == 4
    assert said[2:] == (
        'the output "upright.heron.list.txt" is not as it was written',
        'the target "table" is new',
    )


def test_a_missing_output_is_named(workshop: Any) -> None:
    built(workshop, workshop.job())
    (workshop.folder / "build" / "upright.heron.list.txt").unlink()
    assert why(workshop, workshop.job()) == ('the output "upright.heron.list.txt" is missing',)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda made: made["maker"].update(somite="0.0.1"), "was 0.0.1"),
        (lambda made: made["maker"].update(python="3.9.0"), "was 3.9.0"),
        (lambda made: None, "Somite's own files, or its library of parts, changed"),
        (lambda made: made.pop("maker"), "Somite's own files, or its library of parts, changed"),
        (lambda made: made.update(maker="?"), "Somite's own files, or its library of parts, chang"),
    ],
)
def test_another_compiler_is_told_in_words(
    workshop: Any, change: Callable[[dict[str, Any]], Any], said: str
) -> None:
    built(workshop, workshop.job())
    path = workshop.folder / "build" / ".somite" / "upright.heron.json"
    made = json.loads(path.read_text())
    change(made)
    path.write_text(json.dumps({**made, "compiler": "another"}))
    (reason,) = why(workshop, workshop.job())
    assert said in reason


def test_force_is_the_only_reason_that_is_told(workshop: Any) -> None:
    built(workshop, workshop.job())
    plan = build.planned((workshop.job(),), force=True)
    assert plan.reasons[workshop.job()] == ("it was asked for with --force",)
