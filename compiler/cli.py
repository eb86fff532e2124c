"""The command line: arguments in, an exit status out.

Each command is a function that imports what it needs, so that a start costs little. Findings go to
the error stream, results to the output; nothing here decides what either of them says.

Exit status: 0 clean, 1 findings of error severity, 2 wrong usage or input that cannot be read, 70 a
mistake of Somite's own, 130 interrupted, 141 nobody reads the output any more.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Callable, Iterable, Sequence

from somite.report import FORMS
from somite.report.delivery import (
    BUG,
    CLEAN,
    FOUND,
    INTERRUPTED,
    PIPE_CLOSED,
    USAGE,
    Delivery,
    put_exactly,
)
from somite.report.terminal import Progress, forgiving, is_terminal
from somite.version import VERSION

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import TextIO

    from somite.builds.build import Outcome
    from somite.builds.job import Job
    from somite.tidy import Tidied


class Refused(Exception):
    """A command that cannot be carried out as it was asked for; says what was expected."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs a command and returns the exit status. Never raises for what a user can bring about."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # It was closed before the start.
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
        forgiving(getattr(sys, name))
    try:
        options = parser().parse_args(arguments)
        status = _carried_out(options)
        sys.stdout.flush()
        return status
    except BrokenPipeError:
        _silence()
        return PIPE_CLOSED
    except OSError as error:
        _silence()
        print(f"somite: the output could not be written: {error.strerror}", file=sys.stderr)
        return USAGE
    except KeyboardInterrupt:
        return INTERRUPTED


def _carried_out(options: argparse.Namespace) -> int:
    command: Callable[[argparse.Namespace], int] = options.command
    collecting = gc.isenabled()
    # Imports and one build make many objects and hardly any garbage: looking for it is wasted.
    gc.disable()
    try:
        return command(options)
    except Refused as refusal:
        print(f"somite {options.name}: {refusal}", file=sys.stderr)
        return USAGE
    except BrokenPipeError:
        raise
    except OSError as error:
        place = f": {error.filename}" if error.filename else ""
        print(f"somite {options.name}: {error.strerror or error}{place}", file=sys.stderr)
        return USAGE
    except Exception as error:
        from somite.report.bug import bug, details
        from somite.report.human import human_text

        print(details(error, os.environ), file=sys.stderr, end="")
        text = human_text([bug(f'carried out "somite {options.name}"')], lambda file, line: None)
        print(text, file=sys.stderr, end="")
        return BUG
    finally:
        if collecting:
            _collecting_again()


def _collecting_again() -> None:
    """Has garbage collected from here on, except among what is there already.

    That is modules, which stay; what little else there is goes when the process ends, which would
    otherwise begin with a search through all of it.
    """
    if not gc.isenabled():
        gc.freeze()
        gc.enable()


def _silence() -> None:
    """Points the streams at nothing, so that Python has no closed pipe to complain about."""
    nothing = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            os.dup2(nothing, stream.fileno())


def parser() -> argparse.ArgumentParser:
    """The arguments of every command."""
    top = argparse.ArgumentParser(
        prog="somite",
        description="Compiles rig recipes: one recipe and a sheet of measurements a character in,"
        " a scene graph and build instructions out.",
        epilog="Start with: somite new heron",
        allow_abbrev=False,
        formatter_class=_formatter,
    )
    top.add_argument("--version", action="version", version=f"somite {VERSION}")
    commands = top.add_subparsers(title="commands", metavar="COMMAND", dest="name", required=True)
    _add_new(commands)
    _add_build(commands)
    _add_check(commands)
    _add_explain(commands)
    _add_fmt(commands)
    _add_schema(commands)
    return top


Commands = argparse._SubParsersAction  # the type has no public name


def _formatter(prog: str) -> argparse.HelpFormatter:
    """Help as wide as the terminal, within reason; told its width, it imports nothing to ask."""
    try:
        columns = os.get_terminal_size(sys.stdout.fileno()).columns
    except (OSError, ValueError, AttributeError):
        columns = 80
    return argparse.HelpFormatter(prog, width=min(max(columns - 2, 40), 100))


def _command(
    commands: Commands[argparse.ArgumentParser],
    name: str,
    help: str,
    description: str | None = None,
) -> argparse.ArgumentParser:
    return commands.add_parser(
        name,
        help=help,
        description=description or f"{help[0].upper()}{help[1:]}.",
        allow_abbrev=False,
        formatter_class=_formatter,
    )


def _add_new(commands: Commands[argparse.ArgumentParser]) -> None:
    new = _command(commands, "new", help="start a project: a recipe, a sheet and a cast")
    new.add_argument("folder", metavar="NAME", help="the folder to make; the recipe is called so")
    new.set_defaults(command=_new)


def _add_build(commands: Commands[argparse.ArgumentParser]) -> None:
    build = _command(
        commands,
        "build",
        help="compile a recipe for sheets, or the whole cast",
        description="Compiles a recipe for each sheet. Without a recipe, builds what the cast.toml"
        " of the project lists. What has not changed is not built again.",
    )
    _add_inputs(build)
    build.add_argument(
        "--target",
        metavar="NAME",
        action="append",
        help="an output form by name, or a folder that holds one (default: scene and steps)",
    )
    build.add_argument("-o", "--out", metavar="FOLDER", help="where outputs go (default: build)")
    build.add_argument("--phrases", metavar="FILE", help="your own phrases for the build steps")
    build.add_argument("--templates", metavar="FOLDER", help="your own templates over a target's")
    build.add_argument("--force", action="store_true", help="build what has not changed, too")
    _add_findings(build)
    build.set_defaults(command=_build)


def _add_check(commands: Commands[argparse.ArgumentParser]) -> None:
    check = _command(
        commands,
        "check",
        help="report findings, and write nothing",
        description="Reports what is wrong with a recipe, for each sheet or alone. Without a"
        " recipe, checks what the cast.toml of the project lists.",
    )
    _add_inputs(check)
    _add_findings(check)
    check.set_defaults(command=_check)


def _add_explain(commands: Commands[argparse.ArgumentParser]) -> None:
    explain = _command(commands, "explain", help="say what a finding means, with examples")
    explain.add_argument(
        "code", metavar="CODE", nargs="?", help="as in error[CODE]; none: list all"
    )
    explain.set_defaults(command=_explain)


def _add_fmt(commands: Commands[argparse.ArgumentParser]) -> None:
    fmt = _command(
        commands,
        "fmt",
        help="rewrite recipes in their canonical form",
        description="Rewrites recipes in their canonical form. Comments stay, the meaning does not"
        " change. Without files: every recipe below the current folder.",
    )
    fmt.add_argument("files", metavar="FILE", nargs="*", help="recipes or folders; - is the input")
    fmt.add_argument("--check", action="store_true", help="write nothing; status 1 if any changes")
    fmt.add_argument("--diff", action="store_true", help="write nothing; show what would change")
    _add_findings(fmt)
    fmt.set_defaults(command=_fmt)


def _add_schema(commands: Commands[argparse.ArgumentParser]) -> None:
    schema = _command(commands, "schema", help="print the JSON Schema of a document")
    schema.add_argument("document", metavar="NAME", nargs="?", help="such as scene; none: list all")
    schema.set_defaults(command=_schema)


def _add_inputs(command: argparse.ArgumentParser) -> None:
    command.add_argument("recipe", metavar="RECIPE", nargs="?", help="a .somite file")
    command.add_argument(
        "--sheet",
        metavar="SHEET",
        action="append",
        default=[],
        help="a character's measurements (repeat it for more)",
    )


def _add_findings(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--format", choices=FORMS, default="human", help="how findings are written"
    )
    command.add_argument(
        "--findings", metavar="FILE", help="where findings go (default: the error stream)"
    )


def _delivery(options: argparse.Namespace) -> Delivery:
    return Delivery(options.format, options.findings, sys.stderr, os.environ)


def _new(options: argparse.Namespace) -> int:
    from somite import start
    from somite.builds.write import write_all

    folder = os.path.normpath(options.folder)
    name = start.recipe_name(os.path.basename(os.path.abspath(folder)))
    if name is None:
        raise Refused(f'expected a name that starts with a letter, found "{options.folder}"')
    if os.path.lexists(folder) and (not os.path.isdir(folder) or os.listdir(folder)):
        raise Refused(f'expected a folder that is new or empty, found "{options.folder}"')
    files = {os.path.join(folder, path): text for path, text in start.files(name).items()}
    for path in write_all({path: text.encode("utf-8") for path, text in files.items()}):
        print(f"wrote {path}")
    print(f"next: cd {folder}, then: somite build")
    return CLEAN


def _build(options: argparse.Namespace) -> int:
    delivery = _delivery(options)
    if not options.force and _all_unchanged(_jobs(options, _quick_cast_jobs)):
        return delivery.close()
    jobs = _jobs(options, lambda: _cast_jobs(delivery))
    if not jobs:
        return delivery.close()
    from somite.builds import build

    counts = {"built": 0, "unchanged": 0, "failed": 0}
    progress = _progress(len(jobs))
    runs = build.run(jobs, build.usual_tools(), force=options.force)
    for number, outcome in enumerate(runs, 1):
        progress.clear()
        _say(outcome, delivery)
        counts[outcome.state] += 1
        _collecting_again()
        if number < len(jobs):
            progress.say(f"[{number}/{len(jobs)}] {jobs[number].sheet}")
    progress.clear()
    if len(jobs) > 1:
        print(
            f"{counts['built']} built, {counts['unchanged']} up to date, {counts['failed']} failed"
        )
    sys.stdout.flush()
    return delivery.close()


def _all_unchanged(jobs: Sequence[Job]) -> bool:
    """Whether nothing is to be done and nothing to be repeated; says so. Imports nothing slow."""
    from somite.builds import stamp
    from somite.builds.install import compiler_digest

    stamps = stamp.latest(jobs)
    if not jobs or len(stamps) < len(jobs):
        return False
    compiler = compiler_digest()
    for job in jobs:
        last = stamps[job]
        if last["findings"] or not stamp.fresh(last, job.targets, compiler):
            return False
    for job in jobs:
        print(f"up to date: {job.sheet}")
    return True


def _root(recipe: str) -> str:
    """The project folder of a recipe, from which its findings name files."""
    from pathlib import Path

    from somite.project import find_root

    return str(find_root(Path(recipe)))


def _say(outcome: Outcome, delivery: Delivery) -> None:
    """What became of a job: results on the output, findings to their own place."""
    if outcome.trace:
        print(outcome.trace, file=sys.stderr, end="")
    delivery.take(outcome.findings, outcome.lines, _root(outcome.job.recipe))
    if outcome.state == "unchanged":
        print(f"up to date: {outcome.job.sheet}")
    elif outcome.state == "failed":
        left = len(outcome.files)
        still = f" ({left} files of an earlier build are left as they were)" if left else ""
        print(f"failed: {outcome.job.sheet}{still}")
    for path in outcome.files if outcome.state == "built" else ():
        print(f"wrote {path}")
    for path in outcome.removed:
        print(f"removed {path}, which is not true any more")
    sys.stdout.flush()


def _progress(jobs: int) -> Progress:
    return Progress(sys.stderr, shown=jobs > 1 and is_terminal(sys.stderr, os.environ))


def _jobs(options: argparse.Namespace, cast_jobs: Callable[[], tuple[Job, ...]]) -> tuple[Job, ...]:
    """The builds that were asked for on the command line, or else those of the cast."""
    if options.recipe is None:
        if options.sheet:
            raise Refused("expected a recipe for the sheets, found none")
        return tuple(_laid_over(job, options) for job in cast_jobs())
    if not options.sheet:
        raise Refused("expected a sheet: somite build RECIPE --sheet SHEET")
    from somite.builds.job import Job

    jobs = (Job(options.recipe, sheet) for sheet in options.sheet)
    return tuple(dict.fromkeys(_laid_over(job, options) for job in jobs))


def _laid_over(job: Job, options: argparse.Namespace) -> Job:
    """A job with what the command line says of targets, folder and wording."""
    if options.target:
        job = job._replace(targets=tuple(dict.fromkeys(options.target)))
    if options.out is not None:
        job = job._replace(folder=os.path.normpath(options.out))
    if options.phrases is not None:
        job = job._replace(phrases=options.phrases)
    if options.templates is not None:
        job = job._replace(templates=options.templates)
    return job


def _quick_cast_jobs() -> tuple[Job, ...]:
    """The builds of the project's cast if nothing strikes the eye, without importing much."""
    from somite.builds import cast_file

    return cast_file.jobs_at(_cast_path())


def _cast_jobs(delivery: Delivery) -> tuple[Job, ...]:
    """The builds of the project's cast; its mistakes are delivered."""
    from pathlib import Path

    from somite.builds import cast
    from somite.report import lines_of

    jobs, findings, source = cast.load(Path(_cast_path()))
    delivery.take(findings, lines_of({source.name: source} if source is not None else {}))
    return jobs


def _cast_path() -> str:
    from somite.builds import cast_file

    path = cast_file.found_from(os.curdir)
    if path is None:
        raise Refused(
            "expected a recipe and a sheet, or a cast.toml here or in the project's folder"
            " (somite new NAME starts one)"
        )
    return path


def _check(options: argparse.Namespace) -> int:
    delivery = _delivery(options)
    pairs = _pairs(options, delivery)
    from somite.builds import build

    tools = build.usual_tools()
    progress = _progress(len(pairs))
    for number, (recipe, sheet) in enumerate(pairs, 1):
        progress.say(f"[{number}/{len(pairs)}] {sheet}")
        findings, lines = build.checked(recipe, sheet, tools)
        progress.clear()
        delivery.take(findings, lines, _root(recipe))
        _collecting_again()
    return delivery.close()


def _pairs(options: argparse.Namespace, delivery: Delivery) -> list[tuple[str, str | None]]:
    """The recipes to check, each with a sheet or alone."""
    if options.recipe is not None:
        return [(options.recipe, sheet) for sheet in dict.fromkeys(options.sheet) or (None,)]
    if options.sheet:
        raise Refused("expected a recipe for the sheets, found none")
    return [(job.recipe, job.sheet) for job in _cast_jobs(delivery)]


def _explain(options: argparse.Namespace) -> int:
    from somite import explain

    pages = explain.pages()
    if options.code is None:
        put_exactly(sys.stdout, explain.listing(pages))
        return CLEAN
    page = pages.get(options.code)
    if page is None:
        raise Refused(_unknown("the code of a finding", options.code, pages))
    put_exactly(sys.stdout, page)
    return CLEAN


def _schema(options: argparse.Namespace) -> int:
    folder, ending = os.path.join(os.path.dirname(__file__), "schemas"), ".schema.json"
    names = sorted(n.removesuffix(ending) for n in os.listdir(folder) if n.endswith(ending))
    if options.document is None:
        print("\n".join(names))
        return CLEAN
    if options.document not in names:
        raise Refused(_unknown("the name of a document", options.document, names))
    with open(os.path.join(folder, options.document + ending), encoding="utf-8") as file:
        put_exactly(sys.stdout, file.read())
    return CLEAN


def _unknown(what: str, name: str, known: Iterable[str]) -> str:
    from somite.findings import nearest

    close = nearest(name, known)
    return f'expected {what}, found "{name}"' + (f'; did you mean "{close}"?' if close else "")


def _fmt(options: argparse.Namespace) -> int:
    from somite import tidy
    from somite.format import formatted
    from somite.report import lines_of

    delivery = _delivery(options)
    changes = False
    for path in tidy.recipes(options.files or [os.curdir]):
        if path == "-":
            done = tidy.tidied_bytes(path, "<input>", sys.stdin.buffer.read(), formatted)
        else:
            done = tidy.tidied(path, formatted)
        delivery.take(
            done.findings, lines_of({done.source.name: done.source} if done.source else {})
        )
        changes = changes or done.changed
        _put_tidied(done, options, sys.stdout)
        _collecting_again()
    sys.stdout.flush()
    return max(delivery.close(), FOUND if options.check and changes else CLEAN)


def _put_tidied(done: Tidied, options: argparse.Namespace, stream: TextIO) -> None:
    """Writes a formatted recipe to where it belongs, or says what would be written."""
    from somite import tidy
    from somite.builds.write import write_all

    if options.diff:
        put_exactly(stream, tidy.difference(done))
    elif options.check:
        if done.changed:
            print(f"would rewrite {done.path}", file=stream)
    elif done.text is not None and done.path == "-":
        put_exactly(stream, done.text)
    elif done.text is not None and done.changed:
        write_all({done.path: done.text.encode("utf-8")})
        print(f"rewrote {done.path}", file=stream)
