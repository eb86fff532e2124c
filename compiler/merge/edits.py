"""Changes to a text, gathered and then made at once.

Runs of offsets are replaced, lines are put in, and conflicts are marked over whole lines, in the
form that git writes. What is inside marked lines stays as it was: both sides are shown whole.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Labels:
    """What the two sides are called in marks, and how long a mark is."""

    ours: str = "ours"
    theirs: str = "theirs"
    size: int = 7


@dataclass(slots=True)
class Edits:
    """Changes to one text."""

    text: str
    labels: Labels
    _made: list[tuple[int, int, int, str]] = field(default_factory=list)
    _marks: dict[tuple[int, int], list[str]] = field(default_factory=dict)

    def replace(self, start: int, end: int, by: str) -> None:
        """Put other text in the place of a run; of changes at one offset the first comes first."""
        self._made.append((start, end, len(self._made), by))

    def insert(self, at: int, lines: str) -> None:
        """Put whole lines in at the start of a line, or at the end of the text."""
        if lines and not lines.endswith("\n"):
            lines += "\n"
        if at == len(self.text) and self.text and not self.text.endswith("\n"):
            lines = "\n" + lines
        self.replace(at, at, lines)

    def mark(self, start: int, end: int, theirs: str) -> None:
        """Mark whole lines (or none, at the start of a line) against those of the other side."""
        if theirs and not theirs.endswith("\n"):
            theirs += "\n"
        shown = self._marks.setdefault((start, end), [])
        if theirs not in shown:
            shown.append(theirs)

    def mark_other(self, start: int, end: int, ours: str) -> None:
        """Mark whole lines, which are theirs, against those of our side."""
        theirs = self.text[start:end]
        if not theirs.endswith("\n"):
            theirs += "\n"
        self.replace(start, end, self._between_marks(ours, theirs))

    def applied(self) -> str:
        """The changed text."""
        changes = [one for one in self._made if not self._inside_marks(one[0], one[1])]
        for (start, end), theirs in self._outermost().items():
            changes.append((start, end, -1, self._marked(start, end, "".join(theirs))))
        parts: list[str] = []
        at = 0
        for start, end, _, by in sorted(changes, key=lambda one: one[:3]):
            parts += [self.text[at:start], by]
            at = max(at, end)
        return "".join([*parts, self.text[at:]])

    def _inside_marks(self, start: int, end: int) -> bool:
        return any(
            low <= start and end <= high and (low < high and (start, end) != (high, high))
            for low, high in self._marks
        )

    def _outermost(self) -> dict[tuple[int, int], list[str]]:
        return {
            run: theirs
            for run, theirs in self._marks.items()
            if not any(
                other != run and other[0] <= run[0] and run[1] <= other[1] and other[0] < other[1]
                for other in self._marks
            )
        }

    def _marked(self, start: int, end: int, theirs: str) -> str:
        return self._between_marks(self.text[start:end], theirs)

    def _between_marks(self, ours: str, theirs: str) -> str:
        size = self.labels.size
        if ours and not ours.endswith("\n"):
            ours += "\n"
        return (
            f"{'<' * size} {self.labels.ours}\n{ours}{'=' * size}\n"
            f"{theirs}{'>' * size} {self.labels.theirs}\n"
        )
