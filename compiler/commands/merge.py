"""`somite merge`: two revisions of a recipe brought together by meaning, as git's merge driver."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands.arguments import Commands, Refused, command
from somite.report.delivery import CLEAN, FOUND, Delivery, put_exactly, put_file

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence

    from somite.merge import Labels
    from somite.text import Source

LONGEST_MARK = 200


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    merge = command(
        commands,
        "merge",
        help="merge two revisions of a recipe by meaning",
        description="Brings two revisions of a recipe together: a fact that one side changed is"
        " that side's, and a fact that both changed differently is marked as a conflict. A recipe"
        " that cannot be read is merged by lines. The exit status is 1 where a conflict is left.",
    )
    merge.add_argument("base", metavar="BASE", help="the revision that both come from")
    merge.add_argument("ours", metavar="OURS", help="our side, whose text is kept where it can be")
    merge.add_argument("theirs", metavar="THEIRS", help="their side")
    merge.add_argument("--path", metavar="NAME", help="what messages call the recipe")
    merge.add_argument(
        "--marker-size", type=int, default=7, metavar="N", help="signs of a mark (default: 7)"
    )
    merge.add_argument(
        "-o", "--out", metavar="FILE", help="where the merge goes (default: the output)"
    )
    merge.set_defaults(command=run)


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    if not 1 <= options.marker_size <= LONGEST_MARK:
        raise Refused(f"expected a marker size from 1 to {LONGEST_MARK}")
    from somite.merge import Labels

    delivery = Delivery("human", None, sys.stderr, os.environ)
    revisions = [_read(path, delivery) for path in (options.base, options.ours, options.theirs)]
    if delivery.close() != CLEAN:
        return delivery.status
    text, status = _merge(
        [source for source, _ in revisions if source is not None],
        options.path or options.ours,
        Labels(size=options.marker_size),
    )
    text = text.replace("\n", revisions[1][1])  # Our side's line ends stay.
    if options.out is None:
        put_exactly(sys.stdout, text)
    else:
        put_file(options.out, text)  # Without a word: git calls this for every file.
    return status


def _read(path: str, delivery: Delivery) -> tuple[Source | None, str]:
    """A revision and the line ends it has; None, and findings, where it is no text."""
    from pathlib import Path

    from somite import project
    from somite.report import lines_of

    content, findings = project.read_bytes(Path(path), path)
    source = None
    if content is not None:
        source, findings = project.decoded(content, path)
    delivery.take(findings, lines_of({}))
    return source, "\r\n" if content is not None and b"\r\n" in content else "\n"


def _merge(revisions: Sequence[Source], name: str, labels: Labels) -> tuple[str, int]:
    """The merged text and the exit status; what there is to say goes to the error stream."""
    from somite.merge import merged
    from somite.merge.lines import merged_by_lines

    base, ours, theirs = revisions
    by_lines = merged_by_lines(base.text, ours.text, theirs.text, labels)
    clean = by_lines[0] if by_lines is not None and by_lines[1] else None
    made = merged(base, ours, theirs, by_lines=clean, labels=labels)
    if made is not None:
        for note in made.notes:
            _say(f"{name}: {note}")
        for one in made.conflicts:
            _say(f"{name}:{one.ours or one.theirs}: conflict: {one.what}")
        return made.text, FOUND if made.conflicts else CLEAN
    if by_lines is None:
        raise Refused(f'expected recipes that can be read, or git; "{name}" cannot be merged')
    return _lines_only(*by_lines, name)


def _lines_only(text: str, clean: bool, name: str) -> tuple[str, int]:
    """A merge of lines, where one by meaning cannot be made."""
    from somite import parse
    from somite.text import Source

    if not clean:
        _say(f"{name}: merged by lines, since a revision cannot be read as a recipe; see the marks")
        return text, FOUND
    if parse.parse(Source(name, text))[1]:
        _say(
            f"{name}: merged by lines, and the merged recipe cannot be read: somite check says why"
        )
        return text, FOUND
    _say(f"{name}: merged by lines, since a revision cannot be read as a recipe")
    return text, CLEAN


def _say(text: str) -> None:
    print(f"somite merge: {text}", file=sys.stderr)
