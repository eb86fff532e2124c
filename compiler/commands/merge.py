"""`somite merge`: two revisions of a recipe brought together by meaning, as git's merge driver."""

from __future__ import annotations

import argparse
import sys

from somite.commands.arguments import Commands, Refused, command
from somite.report.delivery import CLEAN, FOUND, put_exactly, put_file

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from somite.merge import Labels

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

    labels = Labels(size=options.marker_size)
    contents = [_content(path) for path in (options.base, options.ours, options.theirs)]
    text, status = _merge(contents, options.path or options.ours, labels)
    if options.out is None:
        put_exactly(sys.stdout, text)
    else:
        put_file(options.out, text)
    return status


def _content(path: str) -> bytes:
    with open(path, "rb") as file:
        return file.read()


def _merge(contents: list[bytes], name: str, labels: Labels) -> tuple[str, int]:
    """The merged text and the exit status; what there is to say goes to the error stream."""
    from somite import project
    from somite.merge import merged
    from somite.merge.lines import merged_by_lines

    base, ours, theirs = (project.decoded(content, name)[0] for content in contents)
    by_lines = merged_by_lines(contents[0], contents[1], contents[2], labels)
    line_text = None if by_lines is None else by_lines[0].decode("utf-8", "replace")
    if base is not None and ours is not None and theirs is not None:
        clean = line_text if by_lines is not None and by_lines[1] else None
        made = merged(base, ours, theirs, by_lines=clean, labels=labels)
        if made is not None:
            for one in made.conflicts:
                _say(f"{name}:{one.ours or one.theirs}: conflict: {one.what}")
            return made.text, FOUND if made.conflicts else CLEAN
    return _lines_only(line_text, by_lines is not None and by_lines[1], name)


def _lines_only(text: str | None, clean: bool, name: str) -> tuple[str, int]:
    """A merge of lines, where one by meaning cannot be made."""
    from somite import parse
    from somite.text import Source

    if text is None:
        raise Refused(f'expected recipes that can be read, or git; "{name}" cannot be merged')
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
