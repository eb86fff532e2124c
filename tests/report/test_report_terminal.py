"""What a terminal gets and a pipe does not."""

from __future__ import annotations

import io

import pytest

from somite.findings import Code
from somite.report.delivery import Delivery, status_of
from somite.report.terminal import Progress, takes_colour
from somite.text import Site

WRONG = Code("unknown-joint").at(Site("a.somite", 1, 1), "expected a joint")


class Terminal(io.StringIO):
    """A stream that says it is watched."""

    def isatty(self) -> bool:
        return True


def test_a_terminal_takes_colour() -> None:
    assert takes_colour(Terminal(), {"TERM": "xterm"})


def test_a_pipe_takes_no_colour() -> None:
    assert not takes_colour(io.StringIO(), {"TERM": "xterm"})


@pytest.mark.parametrize("environment", [{"TERM": "dumb"}, {}, {"TERM": "xterm", "NO_COLOR": "1"}])
def test_a_terminal_can_decline_colour(environment: dict[str, str]) -> None:
    assert not takes_colour(Terminal(), environment)


def test_an_empty_no_color_declines_nothing() -> None:
    assert takes_colour(Terminal(), {"TERM": "xterm", "NO_COLOR": ""})


def test_progress_that_is_not_shown_writes_nothing() -> None:
    stream = io.StringIO()
    progress = Progress(stream, shown=False)
    progress.say("[1/2] heron")
    progress.clear()
    assert stream.getvalue() == ""


def test_progress_leaves_an_empty_line_behind() -> None:
    stream = Terminal()
    progress = Progress(stream, shown=True)
    progress.say("[1/2] heron")
    progress.say("[2/2] otter")
    progress.clear()
    last = stream.getvalue().split("\r")
    assert last[-1] == "" and last[-2].strip() == ""
    assert "\n" not in stream.getvalue()


def test_a_finding_is_delivered_once() -> None:
    stream = io.StringIO()
    delivery = Delivery("human", None, stream, {})
    delivery.take([WRONG], lambda file, line: None)
    delivery.take([WRONG, WRONG], lambda file, line: None)
    assert delivery.close() == 1
    assert stream.getvalue().count("expected a joint") == 1
    assert stream.getvalue().endswith("\n1 error\n")


def test_nothing_found_is_nothing_said() -> None:
    stream = io.StringIO()
    assert Delivery("human", None, stream, {}).close() == 0
    assert stream.getvalue() == ""


def test_a_warning_alone_is_clean() -> None:
    from somite.findings import Severity

    assert status_of([Code("unused-point", Severity.WARNING).at(None, "x")]) == 0


def test_input_that_cannot_be_read_outweighs_other_errors() -> None:
    missing = Code("file-missing").at(None, "expected a file")
    assert status_of([WRONG, missing]) == 2


def test_a_file_missing_for_a_line_of_another_is_an_ordinary_error() -> None:
    assert status_of([Code("file-missing").at(Site("a.somite", 2, 1), "expected a file")]) == 1
