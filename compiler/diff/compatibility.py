"""What a change of a rig does to clips that were made on the old one.

In come two rigs and what is which in them; out goes a `ChannelMap`, which says of every channel
that an animator can set whether it keeps, is carried by an invertible map, or breaks, and why. It
is decided from the two rigs alone, so it holds for every clip that could exist; a `Clip` can be
asked apart. Nothing here poses a rig.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from somite.axes import Axes
from somite.diff.matching import Matching
from somite.diff.meaning import PLACE, Tolerance, bare, renamed
from somite.diff.seeing import read, seen
from somite.ir import CHANNELS, Dial, Follow, Node, Rig, TurnOrder, Unit
from somite.order import channel_node, written
from somite.spatial.rotation import matrix_from_quaternion
from somite.units import metres_per

if TYPE_CHECKING:
    from somite.clip import Clip

Verdict: TypeAlias = Literal["keeps", "carries", "breaks"]
VERDICTS: tuple[Verdict, ...] = ("keeps", "carries", "breaks")
"""From best to worst."""

UNSOLVED = "; it can not be solved again, since "
"""What stands in a reason between the other space of a control and why that breaks it."""

SQUARE = 1e-6
"""A turn is one of right angles where its matrix is within this of whole numbers."""


@dataclass(frozen=True, slots=True)
class ChannelLink:
    """What becomes of one channel or dial that an animator could set in the old rig.

    Inside, values are metres, radians, one and indices of choices: a carried value is
    `sign` · old. As a clip file writes them, in the recipe's unit, it is `sign` · `written` · old.
    `default` is the old rig's: where it is `pinned`, a clip without a key here needs one with it.
    `options` has the new index of each old choice (-1: it is gone). `also` are channels that take
    the same value, where one size became three. `low` and `high` are the new
    bounds, None where there is none; `narrowed`: all that breaks it is that they hold less.
    `reasons` are why it does not simply keep.
    """

    old: str
    new: str | None
    verdict: Verdict
    unit: Unit
    sign: int = 1
    written: float = 1.0
    default: float = 0.0
    pinned: bool = False
    options: tuple[int, ...] = ()
    also: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    narrowed: bool = False
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ControlLink:
    """What becomes of a control: its turn order, and the space that its channels are in.

    `reordered`: the three turns are to be worked out again together, from `old_order` to
    `new_order`: exact at keys, measured between. `resolved`: the control hangs in another space,
    so that its channels are to be solved again at each frame for the world that it had: `solving`
    are the parts that could be set, or that something looks at.
    """

    old: str
    new: str | None
    verdict: Verdict
    old_order: TurnOrder = "xyz"
    new_order: TurnOrder = "xyz"
    reordered: bool = False
    resolved: bool = False
    turned_by: float = 0.0
    solving: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ChannelMap:
    """The map from clips of the old rig to clips of the new, and whether it is one."""

    verdict: Verdict
    controls: tuple[ControlLink, ...]
    channels: tuple[ChannelLink, ...]

    def channel(self, name: str) -> ChannelLink | None:
        """The link of a channel of the old rig; None where no animator could set it."""
        return next((one for one in self.channels if one.old == name), None)

    def control(self, name: str) -> ControlLink | None:
        """The link of a control of the old rig."""
        return next((one for one in self.controls if one.old == name), None)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Every reason, the worst verdict's first, each once."""
        links: list[ControlLink | ChannelLink] = [*self.controls, *self.channels]
        worst = [one for one in links if one.verdict == "breaks"]
        rest = [one for one in links if one.verdict == "carries"]
        return tuple(dict.fromkeys(reason for one in (*worst, *rest) for reason in one.reasons))


@dataclass(frozen=True, slots=True)
class ClipVerdict:
    """The same question asked for one clip: what of it keeps, is carried, or breaks."""

    clip: str
    verdict: Verdict
    reasons: tuple[str, ...]


# ---- channels ------------------------------------------------------------------------------------


def channel_map(old: Rig, new: Rig, matching: Matching) -> ChannelMap:
    """Whether clips of the old rig are clips of the new, decided for every clip at once."""
    return _Mapping(old, new, matching).run()


class _Mapping:
    """A channel map under way."""

    def __init__(self, old: Rig, new: Rig, matching: Matching) -> None:
        self.old, self.new, self.matching = old, new, matching
        self.partner: dict[str, Node] = {
            pair.old.name: pair.new for pair in matching.pairs_of("nodes")
        }
        self.sides = _Wires(old, matching.names), _Wires(new, {})
        self.within = Tolerance(PLACE * max(old.height, new.height))
        self.axes = Axes(old.up, old.front), Axes(new.up, new.front)
        self.written = metres_per(old.unit) / metres_per(new.unit)

    def run(self) -> ChannelMap:
        controls: list[ControlLink] = []
        channels: list[ChannelLink] = []
        for node in self.old.nodes:
            if node.kind == "control" or node.dials:
                control, links = self._control(node)
                controls.append(control)
                channels.extend(links)
        verdict = worst([one.verdict for one in controls] + [one.verdict for one in channels])
        return ChannelMap(verdict, tuple(controls), tuple(channels))

    def _control(self, node: Node) -> tuple[ControlLink, list[ChannelLink]]:
        partner = self.partner.get(node.name)
        if partner is None:
            reason = self._gone(node)
            lost = [
                ChannelLink(f"{node.name}.{short}", None, "breaks", _unit(short), reasons=(reason,))
                for short in self._settable(node, self.sides[0])
            ]
            lost += [
                self._lost_dial(node, dial, reason)
                for dial in node.dials
                if f"{node.name}.{dial.name}" not in self.sides[0].fed
            ]
            verdict: Verdict = "breaks" if lost else "keeps"
            order = node.order
            return ControlLink(node.name, None, verdict, order, order, reasons=(reason,)), lost
        onto, turned = self._axes_of(node, partner)
        control = self._space(node, partner, self._order(node, partner, onto, turned))
        links = [
            self._channel(node, partner, short, onto)
            for short in self._settable(node, self.sides[0])
        ]
        links += [
            self._dial(node, partner, dial)
            for dial in node.dials
            if f"{node.name}.{dial.name}" not in self.sides[0].fed
        ]
        if not links:
            control = replace(control, verdict="keeps", resolved=False, reordered=False, reasons=())
        return control, links

    def _gone(self, node: Node) -> str:
        there = self.sides[1].nodes.get(node.name)
        if there is not None and there.kind != node.kind:
            return f'"{node.name}" is a {there.kind} now, no control'
        return f'"{node.name}" is gone'

    def _settable(self, node: Node, wires: _Wires) -> list[str]:
        """The channels of a control that an animator may set."""
        if node.kind != "control":
            return []
        return [
            short
            for short in CHANNELS
            if short not in node.locks
            and f"{node.name}.{short}" not in wires.fed
            and not (node.size_even and short in ("size.y", "size.z"))
        ]

    # Axes and order.

    def _axes_of(self, node: Node, partner: Node) -> tuple[dict[str, tuple[str, int]], float]:
        """For each old axis the new one that lies along it, with its sign; and the turn between.

        Where the two frames are not at right angles the axes are taken as they are.
        """
        same_axes = {axis: (axis, 1) for axis in "xyz"}
        between = [
            [
                sum(a * b for a, b in zip(one, other, strict=True))
                for other in axes_of(partner, self.axes[1])
            ]
            for one in axes_of(node, self.axes[0])
        ]
        trace = between[0][0] + between[1][1] + between[2][2]
        angle = math.acos(max(-1.0, min(1.0, 0.5 * (trace - 1.0))))
        square = all(abs(part - round(part)) <= SQUARE for row in between for part in row)
        if not square:
            return same_axes, angle
        found: dict[str, tuple[str, int]] = {}
        for axis, row in zip("xyz", between, strict=True):
            at = max(range(3), key=lambda k: abs(row[k]))
            found[axis] = ("xyz"[at], 1 if row[at] > 0.0 else -1)
        return found, 0.0

    def _order(
        self, node: Node, partner: Node, onto: Mapping[str, tuple[str, int]], turned: float
    ) -> ControlLink:
        """Whether the turns mean the same in the new order, or are to be worked out again."""
        wanted = "".join([onto[axis][0] for axis in node.order])
        link = ControlLink(
            node.name, partner.name, "keeps", node.order, partner.order, turned_by=turned
        )
        free = [axis for axis in "xyz" if f"turn.{axis}" in self._settable(node, self.sides[0])]
        used = [onto[axis][0] for axis in free]
        if [a for a in wanted if a in used] == [a for a in partner.order if a in used]:
            return link
        if not self._looked_at(node, partner):
            return link
        was = node.order if wanted == node.order else f"{node.order} ({wanted} about its new axes)"
        reason = f'"{partner.name}" turns in the order {partner.order}, it was {was}'
        held = self._held(partner, ("turn",), solved=True)
        if held:
            return replace(
                link, verdict="breaks", reordered=True, reasons=(f"{reason}, and {held}",)
            )
        return replace(link, verdict="carries", reordered=True, reasons=(reason,))

    def _held(self, node: Node, parts: Collection[str], *, solved: bool = False) -> str:
        """Why channels of these parts can not take any value; empty where they can."""
        for part in parts:
            for axis in "xyz":
                short = f"{part}.{axis}"
                if short in node.locks:
                    return f"{short} is locked"
                if f"{node.name}.{short}" in self.sides[1].fed:
                    return f"{short} is driven by a feed"
                if solved and f"{node.name}.{short}" in self.sides[1].read:
                    return f"{short} drives something else"
                if any(limit.channel == short for limit in node.limits):
                    return f"{short} is limited"
        return ""

    # Space.

    def _space(self, node: Node, partner: Node, link: ControlLink) -> ControlLink:
        """Whether the control hangs on the same things as before."""
        if not self._settable(node, self.sides[0]):
            return link
        why = self._other_space(node, partner) if self._looked_at(node, partner) else ""
        if not why:
            return link
        parts = self._solving(node, partner)
        link = replace(link, solving=parts)
        held = self._held(partner, [part for part in parts if part != "size"], solved=True)
        if held:
            told = f"{why}{UNSOLVED}{held}"
            if held.endswith("limited"):
                told += " (somite carry says whether one clip stays within)"
            return replace(link, verdict="breaks", resolved=True, reasons=(*link.reasons, told))
        verdict = worst((link.verdict, "carries"))
        return replace(link, verdict=verdict, resolved=True, reasons=(*link.reasons, why))

    def _looked_at(self, node: Node, partner: Node) -> bool:
        """Whether it matters where a control is; else its channels are all that counts."""
        return node.name in self.sides[0].seen or partner.name in self.sides[1].seen

    def _solving(self, node: Node, partner: Node) -> tuple[str, ...]:
        """The parts that must be solved again: those that could be set, or that are looked at."""
        free = {short.partition(".")[0] for short in self._settable(node, self.sides[0])}
        wanted = free | self.sides[1].seen.get(partner.name, frozenset())
        return tuple([part for part in ("move", "turn", "size") if part in wanted])

    def _other_space(self, node: Node | None, partner: Node | None) -> str:
        """How what a control hangs on is other than before: its parents as far as a control."""
        called = partner.name if partner is not None else ""
        while node is not None and partner is not None:
            first, second = self.sides
            if not _leads_alike(first.leading(node.name), second.leading(partner.name)):
                who = "it" if partner.name == called else f'"{partner.name}"'
                return f'"{called}" hangs in another space: {who} follows otherwise'
            up, other = self.old_parent(node), second.nodes.get(partner.parent or "")
            if (up is None) != (other is None) or (
                up is not None and other is not None and self.partner.get(up.name) is not other
            ):
                whose = (
                    f'"{called}"'
                    if partner.name == called
                    else f'"{partner.name}", on which "{called}" hangs,'
                )
                was, now = up.name if up else "nothing", other.name if other else "nothing"
                return f'{whose} is under "{now}", it was under "{was}"'
            if up is None or up.kind == "control":
                return ""
            node, partner = up, other
        return ""

    def old_parent(self, node: Node) -> Node | None:
        """The node that an old node is under."""
        return self.sides[0].nodes.get(node.parent or "")

    # One channel.

    def _channel(
        self, node: Node, partner: Node, short: str, onto: Mapping[str, tuple[str, int]]
    ) -> ChannelLink:
        part, axis = short.split(".")
        to, sign = onto[axis]
        if part == "size":
            to, sign = ("x", 1) if partner.size_even else (to, 1)
        new_short = f"{part}.{to}"
        old, new = f"{node.name}.{short}", f"{partner.name}.{new_short}"
        unit = _unit(short)
        default = 1.0 if part == "size" else 0.0
        bounds, allowed = _bounds(node, short), _bounds(partner, new_short)
        link = ChannelLink(
            old, new, "keeps", unit, sign, 1.0, default, low=allowed[0], high=allowed[1]
        )
        reasons: list[str] = []
        if unit == "length" and self.written != 1.0:
            link = replace(link, written=self.written)
            reasons.append(f"lengths are written in {self.new.unit}, they were in {self.old.unit}")
        if node.name != partner.name:
            reasons.append(f'"{node.name}" is called "{partner.name}"')
        if to != axis and part != "size":
            reasons.append(f'"{old}" lies along {new_short}')
        if sign < 0:
            reasons.append(f'"{new}" counts the other way')
        broken = self._broken(partner, new_short, new)
        if part == "size" and node.size_even and not partner.size_even:
            link = replace(link, also=tuple([f"{partner.name}.size.{axis}" for axis in "yz"]))
            reasons.append(f'"{partner.name}" has three sizes, it had one')
        elif short in ("size.y", "size.z") and partner.size_even and not node.size_even:
            link = replace(link, new=None)
            broken = f'"{partner.name}" has one size, it had three'
        narrowed = not broken and not _holds(bounds, allowed, sign)
        if narrowed:
            broken = f'"{new}" is limited to less than "{old}" was'
        return _decided(link, reasons, broken, narrowed)

    def _broken(self, partner: Node, short: str, name: str) -> str:
        if short in partner.locks:
            return f'"{name}" is locked'
        if name in self.sides[1].fed:
            return f'"{name}" is driven by a feed'
        return ""

    # One dial.

    def _lost_dial(self, node: Node, dial: Dial, reason: str) -> ChannelLink:
        name = f"{node.name}.{dial.name}"
        return ChannelLink(name, None, "breaks", dial.unit, default=dial.default, reasons=(reason,))

    def _dial(self, node: Node, partner: Node, dial: Dial) -> ChannelLink:
        name = f"{node.name}.{dial.name}"
        wanted = self.matching.names.get(name, name)
        there = {f"{partner.name}.{one.name}": one for one in partner.dials}
        if wanted not in there:
            return self._lost_dial(node, dial, f'dial "{name}" is gone')
        held = there[wanted]
        link = ChannelLink(
            name, wanted, "keeps", dial.unit, default=dial.default, low=held.low, high=held.high
        )
        reasons: list[str] = []
        if node.name != partner.name:
            reasons.append(f'"{node.name}" is called "{partner.name}"')
        if wanted.rpartition(".")[2] != dial.name:
            reasons.append(f'dial "{name}" is called "{wanted}"')
        if dial.unit == "length" and self.written != 1.0:
            link = replace(link, written=self.written)
            reasons.append(f"lengths are written in {self.new.unit}, they were in {self.old.unit}")
        broken, narrowed = "", False
        if wanted in self.sides[1].fed:
            broken = f'dial "{wanted}" is driven by a feed'
        elif bool(dial.options) != bool(held.options):
            broken = f'dial "{wanted}" is {_dial_kind(held)}, it was {_dial_kind(dial)}'
        elif dial.options:
            link, broken, narrowed = _choice(link, dial, held, wanted)
        elif dial.unit != held.unit:
            broken = f'dial "{wanted}" is {_dial_kind(held)}, it was {_dial_kind(dial)}'
        elif not _holds((dial.low, dial.high), (held.low, held.high), 1):
            broken, narrowed = f'dial "{wanted}" has a narrower range', True
        if (not broken or narrowed) and _word(dial) != _word(held):
            link = replace(link, pinned=True)
            reasons.append(f'dial "{wanted}" has another default')
        return _decided(link, reasons, broken, narrowed)


def _decided(
    link: ChannelLink, reasons: list[str], broken: str, narrowed: bool = False
) -> ChannelLink:
    if broken:
        return replace(link, verdict="breaks", narrowed=narrowed, reasons=(broken, *reasons))
    return replace(link, verdict="carries" if reasons else "keeps", reasons=tuple(reasons))


def _choice(link: ChannelLink, dial: Dial, held: Dial, name: str) -> tuple[ChannelLink, str, bool]:
    """A choice is its word: clips write words, so another order of them changes nothing."""
    options = tuple(
        [held.options.index(word) if word in held.options else -1 for word in dial.options]
    )
    gone = [word for word, index in zip(dial.options, options, strict=True) if index < 0]
    link = replace(link, options=options)
    if gone:
        words = ", ".join(f'"{word}"' for word in gone)
        return link, f'dial "{name}" has no choice {words}', True
    return link, "", False


def _word(dial: Dial) -> object:
    return dial.options[int(dial.default)] if dial.options else dial.default


def _dial_kind(dial: Dial) -> str:
    if dial.options:
        return "a choice"
    return {"length": "a length", "angle": "an angle", "number": "a number"}[dial.unit]


def _unit(short: str) -> Unit:
    units: dict[str, Unit] = {"move": "length", "turn": "angle", "size": "number"}
    return units[short.partition(".")[0]]


def _bounds(node: Node, short: str) -> tuple[float | None, float | None]:
    for limit in node.limits:
        if limit.channel == short:
            return limit.low, limit.high
    return None, None


Bounds: TypeAlias = tuple[float | None, float | None]


def _holds(old: Bounds, new: Bounds, sign: int) -> bool:
    """Whether the new bounds hold all that the old ones did, once signs are changed."""
    low, high = old if sign > 0 else tuple(None if one is None else -one for one in old[::-1])
    slack = 1e-9
    if new[0] is not None and (low is None or low < new[0] - slack):
        return False
    return not (new[1] is not None and (high is None or high > new[1] + slack))


def axes_of(node: Node, axes: Axes) -> list[tuple[float, float, float]]:
    """The axes of a node's rest frame, in neutral space."""
    rows = matrix_from_quaternion(node.rest.turn)
    return [axes.to_neutral((rows[0][k], rows[1][k], rows[2][k])) for k in range(3)]


class _Wires:
    """What leads, drives and holds each node of a rig, with names as the new rig has them."""

    def __init__(self, rig: Rig, names: Mapping[str, str]) -> None:
        self.names = names
        self.nodes = {node.name: node for node in rig.nodes}
        self.fed = {feed.target for feed in rig.feeds}
        self.seen = seen(rig)
        self.read = read(rig)
        chains = {chain.name: chain for chain in rig.chains}
        self.constraints: dict[str, list[Any]] = {}
        for constraint in rig.constraints:
            for node, _ in written(constraint, chains):
                self.constraints.setdefault(node, []).append(constraint)

    def leading(self, node: str) -> list[tuple[Any, dict[str, str | None]]]:
        """The constraints that write a node's mount, without names, reasons and lines.

        Leaders that a choice chooses from stand apart, by its words: their order means nothing.
        """
        found: list[tuple[Any, dict[str, str | None]]] = []
        for one in self.constraints.get(node, ()):
            plain = replace(renamed(one, self.names), name="", excuses=())
            words = self.words(one.dial) if isinstance(one, Follow) else ()
            chosen: dict[str, str | None] = {}
            if isinstance(plain, Follow) and words:
                chosen = {
                    word: leader.node for word, leader in zip(words, plain.leaders, strict=False)
                }
                plain = replace(plain, leaders=())
            found.append((bare(plain), chosen))
        return sorted(found, key=lambda one: repr(one[0]))

    def words(self, dial: str | None) -> tuple[str, ...]:
        """The words of a choice; none for a number."""
        owner, _, name = (dial or "").rpartition(".")
        dials = self.nodes[owner].dials if owner in self.nodes else ()
        return next((one.options for one in dials if one.name == name), ())


Leading: TypeAlias = list[tuple[Any, dict[str, str | None]]]


def _leads_alike(old: Leading, new: Leading) -> bool:
    """Whether a mount is written alike: with a choice, for every word that both have."""
    return len(old) == len(new) and all(
        a == b and all(chosen[word] == other[word] for word in chosen.keys() & other.keys())
        for (a, chosen), (b, other) in zip(old, new, strict=True)
    )


# ---- one clip ------------------------------------------------------------------------------------


def clip_verdict(whole: ChannelMap, clip: Clip, old: Rig) -> ClipVerdict:
    """Whether one clip of the old rig is one of the new: a narrower range may still hold it.

    The clip is looked at by its keys and at every whole frame. A changed default counts only where
    it has no key, a changed turn order only where it turns a control about two axes, and a changed
    space only where it sets the control, or something that its space hangs on.
    """
    values = clip.sampled()
    keyed = {
        track.channel: [key.value for key in track.keys] + values[track.channel].tolist()
        for track in clip.tracks
    }
    links = {link.old: link for link in whole.channels}
    found: list[tuple[Verdict, tuple[str, ...]]] = []
    for name, held in keyed.items():
        link = links.get(name)
        if link is not None:
            found.append(_of_clip(link, held))
    found += [
        ("carries", link.reasons)
        for link in whole.channels
        if link.pinned and link.old not in keyed
    ]
    moved = _moved_by(old, {channel_node(name) for name in keyed})
    for control in whole.controls:
        # One turn alone is the same turn in every order.
        turns = [keyed.get(f"{control.old}.turn.{axis}", []) for axis in "xyz"]
        turned = sum(any(value != 0.0 for value in held) for held in turns) > 1
        if (control.resolved and control.old in moved) or (control.reordered and turned):
            found.append((control.verdict, control.reasons))
    reasons = dict.fromkeys(
        reason
        for verdict in ("breaks", "carries")
        for one, told in found
        if one == verdict
        for reason in told
    )
    return ClipVerdict(clip.name, worst(one for one, _ in found), tuple(reasons))


def _of_clip(link: ChannelLink, values: list[float]) -> tuple[Verdict, tuple[str, ...]]:
    if link.pinned:
        # The clip has keys here, so that no default counts: it is the last of the reasons.
        told = link.reasons[:-1]
        kept: Verdict = "keeps" if not told else link.verdict
        link = replace(link, pinned=False, verdict=kept, reasons=told)
    if link.verdict != "breaks" or not link.narrowed:
        return link.verdict, link.reasons
    if link.options:
        fits = all(link.options[round(value)] >= 0 for value in values)
    else:
        carried = [link.sign * value for value in values]
        fits = _holds((min(carried), max(carried)), (link.low, link.high), 1)
    if not fits:
        return "breaks", link.reasons
    rest = link.reasons[1:]
    return ("carries" if rest else "keeps"), rest


def _moved_by(rig: Rig, controls: set[str]) -> set[str]:
    """The nodes that hang on any of these, themselves included, whatever ties them."""
    from somite.order import node_edges

    after: dict[str, set[str]] = {}
    for before, later in node_edges(rig):
        after.setdefault(before, set()).add(later)
    found, waiting = set(controls), list(controls)
    while waiting:
        for name in after.get(waiting.pop(), ()):
            if name not in found:
                found.add(name)
                waiting.append(name)
    return found


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The worst of some verdicts; keeps where there is none."""
    return max(verdicts, key=VERDICTS.index, default="keeps")
