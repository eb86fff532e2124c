"""What a terminal can take: colours, and a line that shows how far a long run has come.

What comes in is a stream and the environment; what goes out is whether to colour, and text. A
stream that is no terminal gets plain lines only.
"""

from __future__ import annotations

from collections.abc import Mapping

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import TextIO


def is_terminal(stream: TextIO, environment: Mapping[str, str]) -> bool:
    """Whether a person watches a stream on a terminal that can rewrite a line."""
    try:
        watched = stream.isatty()
    except ValueError:
        # The stream was closed by whoever started us.
        return False
    return watched and environment.get("TERM", "") not in ("dumb", "")


def takes_colour(stream: TextIO, environment: Mapping[str, str]) -> bool:
    """Whether to colour: on a terminal, unless `NO_COLOR` is set to anything (no-color.org)."""
    return is_terminal(stream, environment) and not environment.get("NO_COLOR")


def forgiving(stream: TextIO) -> None:
    """Has a stream replace what its encoding cannot write, instead of failing."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")


class Progress:
    """A line on a terminal that says how far a run has come; elsewhere, nothing."""

    def __init__(self, stream: TextIO, *, shown: bool) -> None:
        """A progress line on a stream, if it is to be shown."""
        self._stream = stream
        self._shown = shown
        self._width = 0

    @property
    def is_shown(self) -> bool:
        """Whether somebody watches the line."""
        return self._shown

    def say(self, text: str) -> None:
        """Replaces the line."""
        if self._shown:
            text = text[:79]
            # Known before it is there, so that an interruption at any moment clears it.
            before, self._width = self._width, max(self._width, len(text))
            self._stream.write(f"\r{text:<{before}}")
            self._stream.flush()
            self._width = len(text)

    def clear(self) -> None:
        """Takes the line away, so that lasting lines can be written."""
        if self._shown and self._width:
            self._stream.write(f"\r{'':<{self._width}}\r")
            self._stream.flush()
            self._width = 0
