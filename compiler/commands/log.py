"""`somite log`: what each revision changed of a rig, or of one thing in it."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands.arguments import Commands, Refused, command
from somite.report.delivery import CLEAN, USAGE, put_exactly

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from somite.findings import Finding
    from somite.history import Question, Told
    from somite.history.kept import Known
    from somite.history.meanings import Compared, Piece


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    log = command(
        commands,
        "log",
        help="tell what each revision changed of a rig, or of one thing in it",
        description="Goes back through git and tells what each revision changed, by meaning and"
        " newest first: of the whole rig, or of one control, joint, chain, constraint, dial or"
        " part, whatever it was called. Each revision is compiled with the parts and the sheet"
        " that it has.",
    )
    log.add_argument("recipe", metavar="RECIPE", help="a .somite file, or REV:path to begin there")
    log.add_argument("thing", metavar="NAME", nargs="?", help="what is asked for: spine.high")
    log.add_argument("--sheet", metavar="SHEET", help="whose (default: the first of its cast)")
    log.add_argument("--since", metavar="DATE", help="no revisions before a day: 2026-03-01")
    log.add_argument(
        "-n", "--most", type=int, metavar="N", help="stop after so many revisions that are told"
    )
    log.add_argument("--format", choices=("human", "json"), default="human", help="how it is told")
    log.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    _checked(options)
    from somite.history import HistoryError, asked

    try:
        question = asked(options.recipe, options.sheet, options.thing, options.since)
        return _tell(question, options)
    except HistoryError as error:
        return _refused(error.finding)


def _checked(options: argparse.Namespace) -> None:
    from datetime import date

    if options.most is not None and options.most < 1:
        raise Refused(f"expected a count from 1 for -n, found {options.most}")
    if options.since is not None:
        try:
            options.since = date.fromisoformat(options.since).isoformat()
        except ValueError:
            raise Refused(
                f'expected a day such as 2026-03-01 for --since, found "{options.since}"'
            ) from None


def _tell(question: Question, options: argparse.Namespace) -> int:
    from somite.history import kept
    from somite.history.telling import never, told
    from somite.report.log_form import log_document

    path = _kept_in(question)
    known = kept.load(path)
    gang = _Gang()
    shown: list[Told] = []
    left = options.most
    try:
        for one in told(question, known, gang, gang.count):
            shown.append(one)
            if options.format == "human":
                _put(one, question, first=len(shown) == 1)
            if left is not None and one.what != "broken":
                left -= 1
                if left == 0:
                    break
    finally:
        gang.close()
        kept.save(path, known)
    nothing = all(one.what == "broken" for one in shown)
    if question.name is not None and nothing and not _ever(known, question.name):
        return _refused(never(known, question.name))
    if options.format == "json":
        put_exactly(sys.stdout, log_document(question, shown))
    elif not shown:
        print("no revision changed it" if question.name else "no revision changed anything")
    return CLEAN


def _ever(known: Known, name: str) -> bool:
    """Whether anything that is known has a name, or one that ends so."""
    there = (one for names in known.names.values() for one, _ in names)
    return any(f".{one}".endswith(f".{name}") or one.startswith(f"{name}.") for one in there)


def _put(one: Told, question: Question, *, first: bool) -> None:
    from somite.report.log_form import told_text

    blank = "" if first else "\n"
    put_exactly(sys.stdout, blank + told_text(one, question.name))


def _kept_in(question: Question) -> Path:
    """The file in the repository's own folder that keeps what was worked out."""
    from pathlib import Path

    from somite.history.kept import FOLDER

    repository = question.repository
    found = repository.git("rev-parse", "--git-path", f"{FOLDER}/log.json").stdout
    return Path(os.path.join(repository.folder, os.fsdecode(found.rstrip(b"\n"))))


class _Gang:
    """Whoever works pieces out: this process, and others where there is enough to do."""

    def __init__(self) -> None:
        from somite.builds.crew import cores

        self.count = cores()
        self._crew: object | None = None

    def __call__(self, pieces: Sequence[Piece]) -> Iterator[tuple[Compared, ...] | None]:
        from somite.builds.crew import Processes
        from somite.history.meanings import worked_out

        if len(pieces) == 1:
            yield worked_out(pieces[0])
            return
        crew: Processes[Piece, tuple[Compared, ...]] = Processes(self.count)
        self._crew = crew
        yield from crew.each(worked_out, pieces)

    def close(self) -> None:
        """Sends the others home."""
        from somite.builds.crew import Processes

        if isinstance(self._crew, Processes):
            self._crew.close()


def _refused(finding: Finding) -> int:
    from somite.report import lines_of
    from somite.report.delivery import Delivery

    delivery = Delivery("human", None, sys.stderr, os.environ)
    delivery.take([finding], lines_of({}))
    return max(delivery.close(), USAGE)
