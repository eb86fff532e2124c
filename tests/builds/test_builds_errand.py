"""Errands: what a worker must share with whoever asks, and what is said where it does not."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from casts import lanterns

from somite.builds import errand
from somite.builds.errand import Errand, Standpoint
from somite.builds.install import contents_digest
from somite.builds.job import Job
from somite.builds.proving import Proof
from somite.builds.rendering import Rendered, rendered, usual_tools
from somite.commands import crews
from somite.findings import Severity

JOB = Job("lantern.somite", "sheets/puppet_00.toml", targets=("scene",))
PROOF = Proof("lantern.somite", "sheets/puppet_00.toml")


@pytest.fixture
def project(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    lanterns(tmp_path / "project", 1)
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "project")
    return tmp_path / "project"


def standpoint(folder: Path, installation: str | None = None) -> Standpoint:
    return Standpoint("a run", str(folder), installation or contents_digest())


def code_of(made: Rendered) -> str:
    (finding,) = made.findings
    return finding.code


def test_a_worker_that_stands_elsewhere_makes_the_same(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = rendered(JOB, usual_tools())
    monkeypatch.chdir(project.parent / "elsewhere")
    there = errand.render(Errand(JOB, standpoint(project)))
    assert there.files == here.files and there.files
    assert there.findings == here.findings


def test_a_worker_that_stands_elsewhere_says_the_same(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (project / "sheets/puppet_00.toml").write_text("character = 3\n")
    job = JOB._replace(phrases="none.toml", templates="no_such_folder")
    here = rendered(job, usual_tools())
    monkeypatch.chdir(project.parent / "elsewhere")
    there = errand.render(Errand(job, standpoint(project)))
    assert there.findings == here.findings
    assert len(there.findings) > 2
    assert there.lines == here.lines


def test_a_proof_done_elsewhere_says_the_same(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from somite.builds.compiling import Desk
    from somite.builds.proving import judged

    here = judged(PROOF, Desk().compile)
    monkeypatch.chdir(project.parent / "elsewhere")
    there = errand.prove(Errand(PROOF, standpoint(project)))
    assert there.verdict.sheet == PROOF.sheet
    assert [one.law for one in there.verdict.broken] == [one.law for one in here.verdict.broken]
    assert there.verdict.checks == here.verdict.checks and there.verdict.checks


def test_a_worker_with_another_somite_makes_nothing(project: Path) -> None:
    made = errand.render(Errand(JOB, standpoint(project, "another")))
    assert code_of(made) == "worker-unlike"
    assert not made.files
    verdict = errand.prove(Errand(PROOF, standpoint(project, "another"))).verdict
    assert [finding.code for finding in verdict.findings] == ["worker-unlike"]


def test_a_worker_that_does_not_see_the_project_makes_nothing(project: Path) -> None:
    made = errand.render(Errand(JOB, standpoint(project / "unmounted")))
    assert code_of(made) == "worker-unlike"
    assert "unmounted" in made.findings[0].message


def test_a_worker_that_reads_a_copy_of_its_own_is_found_out(project: Path) -> None:
    made = errand.render(Errand(JOB, standpoint(project)))
    assert errand.seen_alike(made) is made
    (project / "sheets/puppet_00.toml").write_text("another\n")
    assert code_of(errand.seen_alike(made)) == "worker-unlike"


def test_a_run_reads_recipes_anew(project: Path) -> None:
    first = errand.render(Errand(JOB, standpoint(project)))
    recipe = project / "lantern.somite"
    recipe.write_text(recipe.read_text().replace("on a stalk", "on a pole"))
    same = errand.render(Errand(JOB, standpoint(project)))
    later = errand.render(Errand(JOB, replace(standpoint(project), run="the next run")))
    assert same.files == first.files
    assert later.files != first.files


class Careless:
    """A crew that loses every second piece."""

    done_here = 0

    def each(self, work: Any, pieces: Any) -> Iterator[Any]:
        return (None if number % 2 else work(piece) for number, piece in enumerate(pieces))


def test_a_character_whose_worker_is_lost_is_a_finding_and_the_others_are_made(
    project: Path,
) -> None:
    crew: Any = Careless()
    first, second = crews.rendered_by(crew, [JOB, JOB])
    assert first.name == "lantern.puppet_00"
    assert code_of(second) == "worker-lost"
    proved, lost = crews.judged_by(crew, [PROOF, PROOF])
    assert proved.complete and not lost.complete
    assert [finding.code for finding in lost.verdict.findings] == ["worker-lost"]


def test_a_cluster_that_went_away_is_told_once_as_a_warning() -> None:
    told: list[Any] = []
    findings: Any = SimpleNamespace(take=lambda found, lines: told.extend(found))
    gone: Any = SimpleNamespace(done_here=3)
    crews.tell_of(gone, SimpleNamespace(scheduler="tcp://127.0.0.1:8786"), findings)  # type: ignore[arg-type]
    (finding,) = told
    assert (finding.code, finding.severity) == ("cluster-lost", Severity.WARNING)
    assert "3 characters" in finding.message


def test_the_mark_of_an_installation_does_not_hang_on_times() -> None:
    import somite

    before = contents_digest()
    file = Path(str(somite.__file__))
    now = file.stat()
    os.utime(file, ns=(now.st_atime_ns, now.st_mtime_ns + 1))
    try:
        assert contents_digest() == before
    finally:
        os.utime(file, ns=(now.st_atime_ns, now.st_mtime_ns))
