"""Findings on their way out: to the error stream or a file, for a person or a machine.

What comes in is findings as they are made; what goes out is text on a stream, and the exit status
that they call for. A finding that several builds share is delivered once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping

from somite.report.terminal import takes_colour

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import TextIO

    from somite.findings import Finding
    from somite.report import Lines

CLEAN = 0
FOUND = 1
USAGE = 2
BUG = 70
INTERRUPTED = 130
PIPE_CLOSED = 141
ENDED = 143


class Delivery:
    """Takes findings of a run. `close` must be called once, after the last."""

    def __init__(
        self, form: str, file: str | None, stream: TextIO, environment: Mapping[str, str]
    ) -> None:
        """A delivery in one of `report.FORMS`, to a file, or to a stream where it is None."""
        self._form = form
        self._file = file
        self._stream = stream
        self._coloured = file is None and takes_colour(stream, environment)
        self._seen: dict[Finding, None] = {}
        self._text: list[str] = []
        self.status = CLEAN

    def take(self, findings: Iterable[Finding], lines: Lines, root: str | None = None) -> None:
        """Delivers findings; those for a person at once, so that they stand where they arose.

        `root` is the folder that their files are named from, where that is not the current one.
        """
        new = [finding for finding in dict.fromkeys(findings) if finding not in self._seen]
        if not new:
            return
        self._seen.update(dict.fromkeys(new))
        self.status = max(self.status, status_of(new))
        if self._form == "human":
            from somite.report.human import human_text

            if root is not None:
                from somite.report.standpoint import seen_from_here

                shown, lines = seen_from_here(new, lines, root)
                new = list(shown)
            self._put(human_text(new, lines, coloured=self._coloured))

    def close(self) -> int:
        """Delivers what is left, and returns the exit status. Raises OSError for the file."""
        if self._form != "human":
            from somite.report import document

            self._put(document(self._seen, self._form))
        elif self._seen:
            from somite.report.human import closing

            self._put(closing(self._seen, coloured=self._coloured))
        if self._file is not None:
            put_file(self._file, "".join(self._text))
        return self.status

    def _put(self, text: str) -> None:
        if self._file is not None:
            self._text.append(text)
        elif self._form == "human":
            self._stream.write(text)
        else:
            put_exactly(self._stream, text)


def put_file(path: str, text: str) -> None:
    """Writes a text as UTF-8 to a file, whole or not at all, or to a device. Raises OSError."""
    from somite.builds.write import is_special, write_all

    data = text.encode("utf-8", "replace")
    if is_special(path) or path.startswith("/dev/"):
        with open(path, "ab") as file:  # Such as /dev/stdout, whatever it leads to.
            file.write(data)
    else:
        write_all({os.path.realpath(path): data})


def put_result(path: str | None, text: str) -> None:
    """Puts a result in the file that was asked for, and says so, or on the output."""
    if path is None:
        put_exactly(sys.stdout, text)
    else:
        put_file(path, text)
        print(f"wrote {path}")


def put_exactly(stream: TextIO, text: str) -> None:
    """Writes a text as UTF-8 with its own line ends, whatever the encoding of the stream."""
    binary = getattr(stream, "buffer", None)
    if binary is None:
        stream.write(text)
        return
    stream.flush()
    binary.write(text.encode("utf-8", "replace"))
    binary.flush()


def status_of(findings: Iterable[Finding]) -> int:
    """The exit status that findings call for; the gravest counts."""
    from somite.findings import Severity
    from somite.project import FILE_MISSING, FILE_TOO_BIG, FILE_UNREADABLE
    from somite.report.bug import INTERNAL_ERROR

    unread = {FILE_MISSING.slug, FILE_TOO_BIG.slug, FILE_UNREADABLE.slug}
    status = CLEAN
    for finding in findings:
        if finding.code == INTERNAL_ERROR.slug:
            status = max(status, BUG)
        elif finding.code in unread and _is_input(finding):
            status = max(status, USAGE)
        elif finding.severity is Severity.ERROR:
            status = max(status, FOUND)
    return status


def _is_input(finding: Finding) -> bool:
    """Whether a file that cannot be read was named by the user, not by a line of another file."""
    return finding.site is None or finding.code == "file-unreadable"
