"""A picture of strokes: parallel views side by side, in one SVG file that needs nothing else.

In come strokes and how the rig's axes lie, out comes text. Views share one scale and stand on one
ground. Names stand in columns beside a view, each with a line to what it names. Parts that are
marked are drawn heavy and named, an earlier rig beneath is drawn dashed: neither needs colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeAlias
from xml.sax.saxutils import escape, quoteattr

from somite.axes import Axes
from somite.drawing.strokes import Stroke
from somite.ir import Vector
from somite.settle import AXES
from somite.spatial.vector import dot, negated

View: TypeAlias = Literal["front", "side", "top"]
Spot: TypeAlias = tuple[float, float]

TITLES: dict[View, str] = {"front": "from the front", "side": "from its left", "top": "from above"}
MARGIN, TITLE, LABEL_SIZE, LABEL_GAP, COLUMN = 14.0, 22.0, 11.0, 14.0, 8.0
LETTER = 0.56
"""How wide a letter is, on average, as a share of its size."""
WIDEST = 2.5
"""How many heights wide a view may be, so that pages can show it."""
LENGTHS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
"""Lengths of the bar that tells the scale, in metres."""

STYLE = """
text { font: 11px system-ui, "DejaVu Sans", sans-serif; fill: #1d2433 }
.title { font-size: 12px; font-weight: 600 }
.ground { stroke: #1d2433; stroke-width: .6; stroke-dasharray: 1 4; fill: none }
.scale { stroke: #1d2433; stroke-width: 1.4; fill: none }
.bone { fill: #e9e3d6; stroke: #3d3a34; stroke-width: .9; stroke-linejoin: round }
.link { fill: none; stroke: #3d3a34; stroke-width: .7; stroke-dasharray: 3 2 }
.joint { fill: #3d3a34; stroke: none }
.curve { fill: none; stroke: #5a3d7a; stroke-width: 1.1; stroke-dasharray: 6 3 }
.point { fill: #fff; stroke: #5a3d7a; stroke-width: .9 }
.control { fill: none; stroke: #9a4a12; stroke-width: 1.1 }
.socket { fill: none; stroke: #1d2433; stroke-width: 1.2 }
.lead { fill: none; stroke: #1d2433; stroke-width: .4 }
.around * { stroke-width: .5; fill: none; stroke: #c3c7cf; stroke-dasharray: none }
.before * { stroke-dasharray: 2 2; stroke-width: .7; fill: none; stroke: #6b7280 }
.marked { stroke-width: 2.6 }
.joint.marked { stroke: #3d3a34; stroke-width: 2 }
""".strip()

SHIFT_STYLE = ".shift { fill: none; stroke: #1d2433; stroke-width: .8 }"
"""The rule that pictures with shifts have besides."""


def picture(
    strokes: Sequence[Stroke],
    axes: Axes,
    *,
    title: str,
    views: Sequence[View] = ("front", "side"),
    height: float = 420.0,
    names: Mapping[str, str] | None = None,
    marked: frozenset[str] = frozenset(),
    before: Sequence[Stroke] = (),
    around: Sequence[Stroke] = (),
    room: Sequence[Stroke] = (),
    styled: bool = True,
) -> str:
    """Strokes as SVG text, `height` pixels from the lowest to the highest of them, or less where a
    view would be wider than `WIDEST` times that.

    `names` are words to stand beside nodes and curves; `marked` are drawn heavy; `before` are
    strokes of an earlier state, drawn beneath, dashed; `around` is what stands about the subject,
    drawn faintly as far as it comes into the picture; `room` is left for strokes that are not drawn
    here, so that pictures of one motion lie exactly over one another. `title` says what it is, for
    those who cannot see it. Without `styled`, the page that the picture is put in states `STYLE`.
    Strokes without any extent are drawn as if they were a metre tall.
    """
    seen = [_Seen.of(view, strokes, before, around, axes, room) for view in views]
    tall = max([*(one.top - one.bottom for one in seen), 0.0]) or 1.0
    wide = max([*(one.right - one.left for one in seen), 0.0])
    scale = height / max(tall, wide / WIDEST)
    pen = _Pen(scale, marked, names or {})
    left, parts = MARGIN, []
    for one in seen:
        drawn, left = pen.view(one, left)
        parts.extend(drawn)
    whole = max(MARGIN + TITLE + tall * scale, pen.lowest - LABEL_GAP) + MARGIN + 2 * LABEL_GAP
    bar = pen.scale_bar(whole - MARGIN)
    shifts = any(one.role == "shift" for one in strokes)
    style = f"{STYLE}\n{SHIFT_STYLE}" if shifts else STYLE
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(left)}" height="{_n(whole)}"'
            f' viewBox="0 0 {_n(left)} {_n(whole)}" role="img">',
            f"<title>{escape(title)}</title>",
            *([f"<style>{style}</style>"] if styled else []),
            *parts,
            *bar,
            "</svg>",
            "",
        ]
    )


@dataclass(frozen=True, slots=True)
class _Seen:
    """Strokes as seen in a view: two coordinates in metres, to the right and up, and the depth."""

    view: View
    strokes: tuple[_Flat, ...]
    before: tuple[_Flat, ...]
    around: tuple[_Flat, ...]
    left: float
    right: float
    bottom: float
    top: float

    @classmethod
    def of(
        cls,
        view: View,
        now: Sequence[Stroke],
        before: Sequence[Stroke],
        around: Sequence[Stroke],
        axes: Axes,
        room: Sequence[Stroke] = (),
    ) -> _Seen:
        flat, flat_before, flat_around, flat_room = (
            tuple([_flattened(stroke, view, axes) for stroke in some])
            for some in (now, before, around, room)
        )
        fitted = (*flat, *flat_before, *flat_room)
        spots = [spot for stroke in fitted for line in stroke.lines for spot in line]
        xs, ys = [x for x, _ in spots] or [0.0], [y for _, y in spots] or [0.0]
        standing = view != "top" and not around
        low = min(0.0, *ys) if standing else min(ys)
        return cls(view, flat, flat_before, flat_around, min(xs), max(xs), low, max(ys))


@dataclass(frozen=True, slots=True)
class _Flat:
    """One stroke in a view."""

    stroke: Stroke
    lines: tuple[tuple[Spot, ...], ...]
    depth: float


def _flattened(stroke: Stroke, view: View, axes: Axes) -> _Flat:
    right, up, toward = _directions(view, axes)
    lines = tuple([tuple([(dot(p, right), dot(p, up)) for p in line]) for line in stroke.lines])
    depths = [dot(p, toward) for line in stroke.lines for p in line]
    return _Flat(stroke, lines, sum(depths) / len(depths) if depths else 0.0)


def _directions(view: View, axes: Axes) -> tuple[Vector, Vector, Vector]:
    """What lies to the right, up and toward who looks."""
    left, up, front = (AXES[axis] for axis in (axes.left, axes.up, axes.front))
    back = negated(front)
    if view == "front":
        return left, up, front
    if view == "side":
        return back, up, left
    return left, back, up


@dataclass(slots=True)
class _Pen:
    """Draws views one beside the other."""

    scale: float
    marked: frozenset[str]
    names: Mapping[str, str]
    origin: Spot = field(default=(0.0, 0.0))
    lowest: float = 0.0

    def view(self, seen: _Seen, left: float) -> tuple[list[str], float]:
        """The elements of a view that begins at `left`, and where the next one begins."""
        width = (seen.right - seen.left) * self.scale
        labels = self._labels(seen)
        sides = [self._column(labels, side) for side in (0, 1)]
        start = left + sides[0]
        self.origin = (start - seen.left * self.scale, MARGIN + TITLE + seen.top * self.scale)
        end = start + width + sides[1] + 2 * MARGIN
        bottom = self._at((0.0, seen.bottom))[1]
        found = [
            f'<g class="view" data-view="{seen.view}">',
            f'<text class="title" x="{_n(start)}" y="{_n(MARGIN + 8)}">{TITLES[seen.view]}</text>',
        ]
        if seen.view != "top" and seen.bottom <= 0.0:
            ground = self._at((0.0, 0.0))[1]
            found.append(
                f'<path class="ground" d="M{_n(start - 6)} {_n(ground)}H{_n(start + width + 6)}"/>'
            )
        if seen.around:
            found.extend(self._around(seen, (start, MARGIN + TITLE, width, bottom)))
        if seen.before:
            found.extend(['<g class="before">', *self._strokes(seen.before), "</g>"])
        found.extend(self._strokes(seen.strokes))
        found.extend(self._named(labels, start, width, bottom))
        found.append("</g>")
        return found, end

    def _at(self, spot: Spot) -> Spot:
        return (self.origin[0] + spot[0] * self.scale, self.origin[1] - spot[1] * self.scale)

    def _strokes(self, flat: Iterable[_Flat]) -> Iterator[str]:
        """Far things first, of each role; roles keep their order."""
        roles = ("bone", "link", "curve", "joint", "point", "socket", "control", "shift")
        ordered = sorted(
            flat, key=lambda one: (roles.index(one.stroke.role), one.depth, one.stroke.name)
        )
        for one in ordered:
            d = "".join(self._path(one))
            if d:
                mark = " marked" if one.stroke.name in self.marked else ""
                name = quoteattr(one.stroke.name)
                yield f'<path class="{one.stroke.role}{mark}" data-name={name} d="{d}"/>'

    def _around(self, seen: _Seen, box: tuple[float, float, float, float]) -> Iterator[str]:
        """What stands about the subject, cut off where the view ends."""
        x, y, w, h = box[0] - MARGIN, box[1] - MARGIN, box[2] + 2 * MARGIN, box[3] - box[1]
        frame = f"{_n(x)} {_n(y)} {_n(w)} {_n(h + 2 * MARGIN)}"
        left, top, width, height = frame.split()
        yield (
            f'<svg class="around" x="{left}" y="{top}" width="{width}" height="{height}"'
            f' viewBox="{frame}">'
        )
        yield from self._strokes(seen.around)
        yield "</svg>"

    def _path(self, one: _Flat) -> Iterator[str]:
        role = one.stroke.role
        for line in one.lines:
            spots = [self._at(spot) for spot in line]
            if role == "bone":
                yield _bone(spots[0], spots[-1])
            elif role == "joint":
                yield _circle(spots[0], 1.9)
            elif role == "socket":
                yield _circle(spots[0], 4.5) + _plus(spots[0], 2.5)
            elif role == "point":
                yield _small_square(spots[0], 2.2)
            elif role == "shift":
                yield _arrow(spots[0], spots[-1])
            else:
                yield _polyline(spots)

    # ---- names -----------------------------------------------------------------------------------

    def _labels(self, seen: _Seen) -> tuple[list[_Label], list[_Label]]:
        """Names with where they point, in a column on either side, highest first."""
        middle = (seen.left + seen.right) / 2
        sides: tuple[list[_Label], list[_Label]] = ([], [])
        told: set[str] = set()
        for one in (*seen.strokes, *seen.before):
            text = self.names.get(one.stroke.name)
            spots = [spot for line in one.lines for spot in line]
            if text is None or one.stroke.name in told or not spots:
                continue
            told.add(one.stroke.name)
            right = sum(x for x, _ in spots) / len(spots) >= middle
            spot = max(spots) if right else min(spots)
            sides[right].append(_Label(text, spot))
        for side in sides:
            side.sort(key=lambda label: (-label.spot[1], label.spot[0], label.text))
        return sides

    def _column(self, labels: tuple[list[_Label], list[_Label]], side: int) -> float:
        widest = max([len(label.text) for label in labels[side]], default=0)
        return widest * LABEL_SIZE * LETTER + (2 * COLUMN if widest else 0.0)

    def _named(
        self,
        labels: tuple[list[_Label], list[_Label]],
        start: float,
        width: float,
        bottom: float,
    ) -> Iterator[str]:
        for side, column in enumerate(labels):
            x = start + width + 2 * COLUMN if side else start - 2 * COLUMN
            wanted = [self._at(label.spot)[1] for label in column]
            heights = _apart(wanted, LABEL_GAP, MARGIN + TITLE, bottom + LABEL_GAP)
            self.lowest = max([self.lowest, *heights[-1:]])
            for label, y in zip(column, heights, strict=True):
                to = self._at(label.spot)
                near = x - COLUMN / 2 if side else x + COLUMN / 2
                yield f'<path class="lead" d="M{_n(near)} {_n(y)}L{_n(to[0])} {_n(to[1])}"/>'
                anchor = "start" if side else "end"
                yield (
                    f'<text x="{_n(x)}" y="{_n(y + 3.5)}" text-anchor="{anchor}">'
                    f"{escape(label.text)}</text>"
                )

    def scale_bar(self, y: float) -> Iterator[str]:
        """A bar of a round length, with its length in words."""
        metres = max([one for one in LENGTHS if one * self.scale <= 120.0], default=LENGTHS[0])
        end = MARGIN + metres * self.scale
        told = f"{metres:g} m" if metres >= 1.0 else f"{metres * 100:g} cm"
        yield f'<path class="scale" d="M{_n(MARGIN)} {_n(y - 4)}v4H{_n(end)}v-4"/>'
        yield f'<text x="{_n(end + 6)}" y="{_n(y)}">{told}</text>'


@dataclass(frozen=True, slots=True)
class _Label:
    """A name, and the spot in its view that it belongs to."""

    text: str
    spot: Spot


def _apart(wanted: Sequence[float], gap: float, top: float, bottom: float) -> list[float]:
    """Heights near those wanted (which rise), at least a gap apart and within, if there is room.

    Heights that crowd share the room about their middle; where there is no room they go on below.
    """
    lowest = max(bottom, top + gap * (len(wanted) - 1))
    groups: list[list[float]] = []
    for height in wanted:
        groups.append([height])
        while len(groups) > 1 and (
            _first(groups[-1], gap, top, lowest)
            < _first(groups[-2], gap, top, lowest) + gap * len(groups[-2])
        ):
            groups[-2].extend(groups.pop())
    return [
        _first(group, gap, top, lowest) + gap * k for group in groups for k in range(len(group))
    ]


def _first(group: Sequence[float], gap: float, top: float, bottom: float) -> float:
    """The first height of names that share the room about their middle."""
    tall = gap * (len(group) - 1)
    return min(max(top, sum(group) / len(group) - tall / 2), bottom - tall)


# ---- paths ---------------------------------------------------------------------------------------


def _bone(start: Spot, stop: Spot) -> str:
    """A drop: round at the joint and pointed at its far end."""
    dx, dy = stop[0] - start[0], stop[1] - start[1]
    length = (dx * dx + dy * dy) ** 0.5
    radius = min(5.0, max(1.6, length * 0.11))
    if length <= radius * 1.01:
        return _circle(start, radius)
    sine = radius / length
    cosine = (1.0 - sine * sine) ** 0.5
    ux, uy = dx / length, dy / length
    ahead, aside = radius * sine, radius * cosine
    a = (start[0] + ux * ahead - uy * aside, start[1] + uy * ahead + ux * aside)
    b = (start[0] + ux * ahead + uy * aside, start[1] + uy * ahead - ux * aside)
    r = _n(radius)
    return (
        f"M{_n(stop[0])} {_n(stop[1])}L{_n(a[0])} {_n(a[1])}A{r} {r} 0 1 1 {_n(b[0])} {_n(b[1])}Z"
    )


def _arrow(start: Spot, stop: Spot) -> str:
    """A line with a head at its end, as small as the line is short."""
    dx, dy = stop[0] - start[0], stop[1] - start[1]
    length = (dx * dx + dy * dy) ** 0.5
    line = f"M{_n(start[0])} {_n(start[1])}L{_n(stop[0])} {_n(stop[1])}"
    if length < 2.0:
        return line
    head = min(9.0, 0.5 * length)
    ux, uy = dx / length * head, dy / length * head
    (ax, ay), (bx, by) = (
        (stop[0] - 0.9 * ux - side * 0.45 * uy, stop[1] - 0.9 * uy + side * 0.45 * ux)
        for side in (1, -1)
    )
    return f"{line}M{_n(ax)} {_n(ay)}L{_n(stop[0])} {_n(stop[1])}L{_n(bx)} {_n(by)}"


def _circle(spot: Spot, radius: float) -> str:
    x, y, r = _n(spot[0] - radius), _n(spot[1]), _n(radius)
    across = _n(2 * radius)
    return f"M{x} {y}a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 -{across} 0Z"


def _plus(spot: Spot, arm: float) -> str:
    x, y, a = spot[0], spot[1], _n(2 * arm)
    return f"M{_n(x - arm)} {_n(y)}h{a}M{_n(x)} {_n(y - arm)}v{a}"


def _small_square(spot: Spot, half: float) -> str:
    side = _n(2 * half)
    return f"M{_n(spot[0] - half)} {_n(spot[1] - half)}h{side}v{side}h-{side}Z"


def _polyline(spots: Sequence[Spot]) -> str:
    closed = len(spots) > 2 and spots[0] == spots[-1]
    kept = spots[:-1] if closed else spots
    return "M" + "L".join([f"{_n(x)} {_n(y)}" for x, y in kept]) + ("Z" if closed else "")


def _n(value: float) -> str:
    """A number of pixels to a hundredth, without needless zeros or a minus before zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
