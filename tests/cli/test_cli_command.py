"""The command as a person runs it: what it prints where, and how it ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from somite import explain

PUPPET = ["-m", "somite"]


def run(
    folder: Path, *arguments: str, environment: dict[str, str] | None = None, stdin: bytes = b""
) -> subprocess.CompletedProcess[bytes]:
    plain = {key: value for key, value in os.environ.items() if key != "SOMITE_DEBUG"}
    return subprocess.run(
        [sys.executable, *PUPPET, *arguments],
        cwd=folder,
        env={**plain, **(environment or {})},
        input=stdin,
        capture_output=True,
        timeout=120,
        check=False,
    )


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A project fresh from `somite new`. Tests that change it copy it first."""
    folder = tmp_path_factory.mktemp("troupe")
    done = run(folder, "new", "lantern")
    assert done.returncode == 0, done.stderr
    return folder / "lantern"


@pytest.fixture
def project(started: Path, tmp_path: Path) -> Path:
    from shutil import copytree

    return Path(copytree(started, tmp_path / "lantern"))


def test_a_new_project_has_a_recipe_a_sheet_and_a_cast(started: Path) -> None:
    files = sorted(path.relative_to(started).as_posix() for path in started.rglob("*.*"))
    assert files == ["cast.toml", "lantern.somite", "sheets/first.toml"]


def test_a_new_project_builds_without_findings(project: Path) -> None:
    done = run(project, "build")
    assert (done.returncode, done.stderr) == (0, b"")
    names = [line.split("/")[-1] for line in done.stdout.decode().splitlines()]
    assert "lantern.first.scene.json" in names
    assert "lantern.first.steps.md" in names


def test_a_new_project_is_in_canonical_form(started: Path) -> None:
    done = run(started, "fmt", "--check")
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def test_a_new_project_takes_the_name_of_its_folder_as_the_language_allows(tmp_path: Path) -> None:
    assert run(tmp_path, "new", "inner/Moth & Lamp 2").returncode == 0
    recipe = (tmp_path / "inner/Moth & Lamp 2/moth_lamp_2.somite").read_text()
    assert "recipe moth_lamp_2\n" in recipe


def test_new_does_not_write_into_a_folder_with_something_in_it(project: Path) -> None:
    before = (project / "cast.toml").read_bytes()
    (project / "cast.toml").write_bytes(before + b"# mine\n")
    done = run(project.parent, "new", "lantern")
    assert done.returncode == 2
    assert b"expected a folder that is new or empty" in done.stderr
    assert (project / "cast.toml").read_bytes() == before + b"# mine\n"


def test_new_refuses_a_name_that_no_recipe_can_have(tmp_path: Path) -> None:
    done = run(tmp_path, "new", "123")
    assert done.returncode == 2
    assert os.listdir(tmp_path) == []


def test_a_build_names_each_file_it_wrote(project: Path) -> None:
    done = run(project, "build", "lantern.somite", "--sheet", "sheets/first.toml", "-o", "out")
    assert done.returncode == 0, done.stderr
    for line in done.stdout.decode().splitlines():
        word, path = line.split(" ", 1)
        assert word == "wrote"
        assert (project / path).is_file() and path.startswith("out/")


def test_a_second_build_is_up_to_date(project: Path) -> None:
    run(project, "build")
    done = run(project, "build")
    assert (done.returncode, done.stdout) == (0, b"up to date: sheets/first.toml\n")


def test_one_target_can_be_asked_for(project: Path) -> None:
    run(project, "build", "--target", "scene", "-o", "out")
    assert [path.name for path in (project / "out").glob("[!.]*")] == ["lantern.first.scene.json"]


def test_a_build_from_a_folder_below_builds_the_cast_above(project: Path) -> None:
    done = run(project / "sheets", "build")
    assert done.returncode == 0, done.stderr
    assert (project / "build" / "lantern.first.scene.json").is_file()


def test_the_folder_it_is_run_from_does_not_change_the_outputs(project: Path) -> None:
    build = ("--target", "scene", "-o")
    run(project, "build", *build, "here")
    run(project / "sheets", "build", *build, "../there")
    run(
        project.parent,
        "build",
        "lantern/lantern.somite",
        "--sheet",
        "lantern/sheets/first.toml",
        *build,
        "lantern/elsewhere",
    )
    made = [
        (project / name / "lantern.first.scene.json").read_bytes()
        for name in ("here", "there", "elsewhere")
    ]
    assert made[0] == made[1] == made[2]


def test_a_mistake_in_a_recipe_is_shown_at_its_line_and_gives_status_1(project: Path) -> None:
    recipe = project / "lantern.somite"
    recipe.write_text(recipe.read_text().replace("follow low", "follow lew"), encoding="utf-8")
    done = run(project, "build")
    text = done.stderr.decode()
    assert done.returncode == 1
    assert text.startswith("lantern.somite:")
    assert "follow lew" in text and "^" in text
    assert text.splitlines()[-1].endswith("error") or text.splitlines()[-1].endswith("errors")
    assert not (project / "build").exists()


def test_check_writes_nothing(project: Path) -> None:
    before = sorted(project.rglob("*"))
    assert run(project, "check").returncode == 0
    assert run(project, "check", "lantern.somite").returncode == 0
    assert sorted(project.rglob("*")) == before


def test_check_finds_what_build_finds(project: Path) -> None:
    recipe = project / "lantern.somite"
    recipe.write_text(recipe.read_text().replace("follow low", "follow lew"), encoding="utf-8")
    checked = run(project, "check", "lantern.somite", "--sheet", "sheets/first.toml")
    built = run(project, "build", "lantern.somite", "--sheet", "sheets/first.toml")
    assert checked.returncode == 1
    assert checked.stderr == built.stderr


@pytest.mark.parametrize("missing", ["lantern.somite", "sheets/first.toml"])
def test_input_that_is_not_there_gives_status_2(project: Path, missing: str) -> None:
    (project / missing).unlink()
    done = run(project, "build", "lantern.somite", "--sheet", "sheets/first.toml")
    assert done.returncode == 2
    assert b"error[file-missing]" in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("dance",),
        ("build", "lantern.somite"),
        ("build", "--sheet", "sheets/first.toml"),
        ("build", "--format", "xml"),
        ("check", "--sheet", "sheets/first.toml"),
        ("explain", "no-such-code"),
        ("schema", "no-such-document"),
    ],
)
def test_wrong_usage_gives_status_2(started: Path, arguments: tuple[str, ...]) -> None:
    done = run(started, *arguments)
    assert done.returncode == 2
    assert done.stderr and b"Traceback" not in done.stderr


def test_a_build_without_a_cast_says_what_was_expected(tmp_path: Path) -> None:
    (tmp_path / ".git").mkdir()
    done = run(tmp_path, "build")
    assert done.returncode == 2
    assert b"cast.toml" in done.stderr and b"somite new" in done.stderr


def test_a_mistake_in_the_cast_is_shown_at_its_line(project: Path) -> None:
    cast = project / "cast.toml"
    cast.write_text(cast.read_text().replace("sheets =", "sheet ="), encoding="utf-8")
    done = run(project, "build")
    assert done.returncode == 1
    assert b"cast.toml:6:1: error[cast-key]" in done.stderr


def test_findings_as_json_stand_alone_on_the_error_stream(project: Path) -> None:
    done = run(project, "build", "--format", "json")
    assert json.loads(done.stderr)["findings"] == []
    assert json.loads(run(project, "build", "--format", "json").stderr)["counts"]["error"] == 0


def test_findings_as_sarif_name_no_absolute_path(project: Path) -> None:
    (project / "lantern.somite").write_text("recipe\n", encoding="utf-8")
    recipe, sheet = str(project / "lantern.somite"), str(project / "sheets/first.toml")
    done = run(project, "check", recipe, "--sheet", sheet, "--format", "sarif")
    assert done.returncode == 1
    log = json.loads(done.stderr)
    places = [
        location["physicalLocation"]["artifactLocation"]["uri"]
        for result in log["runs"][0]["results"]
        for location in result.get("locations", [])
    ]
    assert places and set(places) == {"lantern.somite"}


def test_findings_can_go_to_a_file(project: Path) -> None:
    (project / "lantern.somite").write_text("recipe\n", encoding="utf-8")
    done = run(project, "check", "--format", "json", "--findings", "found/report.json")
    assert (done.returncode, done.stderr) == (1, b"")
    assert json.loads((project / "found/report.json").read_text())["counts"]["error"] > 0


def test_no_escape_codes_reach_a_pipe(project: Path) -> None:
    (project / "lantern.somite").write_text("recipe\n", encoding="utf-8")
    done = run(project, "check", environment={"TERM": "xterm"})
    assert done.stderr and b"\x1b" not in done.stderr


@pytest.mark.parametrize(
    "environment",
    [
        {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
        {"PYTHONIOENCODING": "ascii"},
        {"PYTHONIOENCODING": "latin-1"},
        {"LANG": "de_DE.ISO-8859-1", "LC_ALL": "de_DE.ISO-8859-1", "PYTHONUTF8": "0"},
    ],
)
def test_no_locale_makes_the_command_fail(project: Path, environment: dict[str, str]) -> None:
    recipe = project / "lantern.somite"
    text = recipe.read_text(encoding="utf-8").replace("follow low", "follow 屋台")
    recipe.write_text(text, encoding="utf-8")
    done = run(project, "build", environment=environment)
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr
    assert b"error[internal-error]" not in done.stderr


def test_documents_are_utf_8_in_every_locale(project: Path) -> None:
    (project / "lantern.somite").write_text("recipe 屋台\n", encoding="utf-8")
    ascii_only = {"PYTHONIOENCODING": "ascii"}
    narrow = run(project, "check", "--format", "json", environment=ascii_only)
    wide = run(project, "check", "--format", "json", environment={"PYTHONIOENCODING": "utf-8"})
    assert narrow.stderr == wide.stderr
    json.loads(narrow.stderr.decode("utf-8"))


def test_explain_prints_the_page_of_a_code(started: Path) -> None:
    code, page = next(iter(explain.pages().items()))
    done = run(started, "explain", code)
    assert (done.returncode, done.stdout.decode("utf-8")) == (0, page)


def test_explain_lists_every_code_with_its_meaning(started: Path) -> None:
    lines = run(started, "explain").stdout.decode("utf-8").splitlines()
    assert [line.split()[0] for line in lines] == list(explain.pages())
    assert all(len(line.split()) > 3 for line in lines)


def test_explain_knows_the_nearest_code(started: Path) -> None:
    code = next(iter(explain.pages()))
    done = run(started, "explain", code + "s")
    assert done.returncode == 2
    assert f'did you mean "{code}"?' in done.stderr.decode()


def test_schema_prints_a_published_schema(started: Path) -> None:
    done = run(started, "schema", "findings")
    assert done.returncode == 0
    assert json.loads(done.stdout)["title"] == "Report"


def test_a_name_that_is_near_to_none_is_told_all_there_are(started: Path) -> None:
    schemas = run(started, "schema").stdout.decode("utf-8").split()
    told = run(started, "schema", "zz").stderr.decode("utf-8")
    assert f"(there are: {', '.join(schemas)})" in told
    listing = run(started, "parts").stdout.decode("utf-8").splitlines()
    told = run(started, "parts", "zz").stderr.decode("utf-8")
    assert f"(there are: {', '.join(line.split()[0] for line in listing)})" in told


def test_schema_lists_what_there_is(started: Path) -> None:
    assert "findings" in run(started, "schema").stdout.decode().split()


def test_fmt_rewrites_what_is_not_canonical_and_nothing_else(project: Path) -> None:
    recipe = project / "lantern.somite"
    canonical = recipe.read_bytes()
    recipe.write_bytes(canonical.replace(b"\n", b"  \r\n"))
    (project / "other.somite").write_bytes(canonical)
    os.utime(project / "other.somite", (1, 1))
    done = run(project, "fmt")
    assert (done.returncode, done.stdout) == (0, b"rewrote lantern.somite\n")
    assert recipe.read_bytes() == canonical
    assert (project / "other.somite").stat().st_mtime == 1


def test_fmt_check_writes_nothing_and_tells_by_its_status(project: Path) -> None:
    recipe = project / "lantern.somite"
    loose = recipe.read_bytes().replace(b"\n", b"  \n")
    recipe.write_bytes(loose)
    done = run(project, "fmt", "--check", "lantern.somite")
    assert (done.returncode, done.stdout) == (1, b"would rewrite lantern.somite\n")
    assert recipe.read_bytes() == loose


def test_fmt_diff_shows_the_lines_that_would_change(project: Path) -> None:
    recipe = project / "lantern.somite"
    loose = recipe.read_text(encoding="utf-8").replace("  revision 1\n", "  revision    1\n")
    recipe.write_text(loose, encoding="utf-8")
    done = run(project, "fmt", "--diff", "lantern.somite")
    assert done.returncode == 0
    assert "-  revision    1\n+  revision 1\n" in done.stdout.decode()
    assert recipe.read_text(encoding="utf-8") == loose


def test_fmt_reads_the_input_and_writes_the_output(started: Path) -> None:
    canonical = (started / "lantern.somite").read_bytes()
    done = run(started, "fmt", "-", stdin=canonical.replace(b"\n", b"\r\n"))
    assert (done.returncode, done.stdout) == (0, canonical)


def test_fmt_leaves_a_recipe_that_cannot_be_read_alone(project: Path) -> None:
    recipe = project / "lantern.somite"
    recipe.write_bytes(b"recipe \xff\n")
    done = run(project, "fmt", "lantern.somite")
    assert done.returncode == 2
    assert recipe.read_bytes() == b"recipe \xff\n"


def test_an_output_that_nobody_reads_is_no_error_message(started: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as pipe:
        done = subprocess.run(
            [sys.executable, *PUPPET, "explain"],
            cwd=started,
            stdout=pipe,
            stderr=subprocess.PIPE,
            timeout=60,
            check=False,
        )
    assert (done.returncode, done.stderr) == (141, b"")


@pytest.mark.skipif(sys.platform == "win32", reason="signals differ")
def test_an_interrupt_ends_quietly(started: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", _WAITS_FOR_INPUT],
        cwd=started,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"waiting\n"
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert (process.returncode, errors) == (130, b"")


_WAITS_FOR_INPUT = """
import sys, time
from types import SimpleNamespace
from somite.cli import main

def read():
    print("waiting", flush=True)
    time.sleep(60)

sys.stdin = SimpleNamespace(buffer=SimpleNamespace(read=read))
sys.exit(main(["fmt", "-"]))
"""


def test_a_mistake_of_our_own_is_reported_as_one(started: Path) -> None:
    program = "import sys; from somite import cli, explain; explain.pages = None\n"
    program += "sys.exit(cli.main(['explain']))"
    arguments = [sys.executable, "-c", program]
    quiet = {key: value for key, value in os.environ.items() if key != "SOMITE_DEBUG"}
    done = subprocess.run(arguments, env=quiet, capture_output=True, timeout=60, check=False)
    assert done.returncode == 70
    assert b"error[internal-error]" in done.stderr and b"please report" in done.stderr
    assert b"Traceback" not in done.stderr
    loud = {**quiet, "SOMITE_DEBUG": "1"}
    done = subprocess.run(arguments, env=loud, capture_output=True, timeout=60, check=False)
    assert done.returncode == 70
    assert b"Traceback" in done.stderr
