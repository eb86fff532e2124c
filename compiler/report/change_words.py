"""A change as a lead would say it: one short sentence.

In comes a `Change` and the two rigs, out goes a `Said`: the subject and what is said of it. Every
field of every record has words: those known here their own, any other its name and its values
(`change_values.py` has how those are read). Nothing here decides what is worth telling.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from somite.diff.meaning import turned_by
from somite.diff.records import Change
from somite.ir import (
    Chain,
    Check,
    Curve,
    Face,
    Feed,
    Follow,
    Frame,
    Gauge,
    Limit,
    NamedList,
    Node,
    Nudge,
    PlacedRig,
    Pose,
    Reach,
    Ride,
    Rig,
    Twist,
    TwistEnd,
)
from somite.report.change_values import Values, figure, listed, live, rough, rough_length
from somite.units import degrees


@dataclass(frozen=True, slots=True)
class Said:
    """What is said of a subject. `key` is the same for the same change of other size."""

    subject: str
    text: str
    key: str
    amount: float = 0.0


class Words:
    """The words of two rigs' changes."""

    def __init__(self, old: Rig, new: Rig) -> None:
        self.values = Values(old, new)
        self.twin = False

    def said_as_twin(self, change: Change) -> Said:
        """A change of a thing on the right in the numbers of the left, to see if they are alike."""
        self.twin = True
        try:
            return self.said(change)
        finally:
            self.twin = False

    def said(self, change: Change) -> Said:
        """A change in words."""
        if not change.path:
            return self._whole(change)
        known = _KNOWN.get((change.collection, change.topic)) or _KNOWN.get(("", change.topic))
        text = known(self, change) if known is not None else ""
        if not text:
            text = self._plainly(change)
        key = f"{change.kind} {'.'.join(change.path)} {change.what}"
        return Said(self.subject(change), text, key, self._amount(change))

    def subject(self, change: Change) -> str:
        """What a change is of, as a sentence begins: a thing's name, with its kind if need be."""
        name = change.name
        if change.collection == "constraints" and change.topic not in ("leaders", "takes"):
            return f"the {change.kind} of {name.partition('/')[0]}"
        if change.collection == "constraints" or change.collection == "feeds":
            return name.partition("/")[0]
        if change.collection in ("checks", "poses", "lists"):
            return f'{change.kind} "{name}"'
        return name

    # ---- whole things ------------------------------------------------------------------------

    def _whole(self, change: Change) -> Said:
        key = f"{change.kind} {change.what} {change.name}"
        if change.what == "renamed" and change.kind == "dial":
            owner, _, after = (change.new or "").rpartition(".")
            before = (change.old or "").rpartition(".")[2]
            how = change.because
            if change.confidence < 1.0:
                how = likely(change.confidence, change.because)
            return Said(owner, f'has its dial "{before}" called "{after}" now ({how})', key)
        if change.what == "renamed":
            if change.confidence >= 1.0 and change.because:
                how = f" ({change.because})"
            else:
                how = f" ({likely(change.confidence, change.because)})"
            return Said(change.old or "", f'is now "{change.new}"{how}', key)
        added = change.what == "added"
        record = change.after if added else change.before
        name = change.name.partition("/")[0]
        if isinstance(record, Follow):
            leaders = ", ".join([f'"{one.node or "world"}"' for one in record.leaders])
            verb = "now follows" if added else "no longer follows"
            return Said(name, f"{verb} {leaders} for {', '.join(record.takes)}", key)
        if isinstance(record, Ride | Reach | Twist | Face):
            verb = f"{_HAS[added]} {change.kind}"
            if isinstance(record, Face):
                verb = "now faces" if added else "no longer faces"
            return Said(name, f"{verb} {self._solver(record)}", key)
        if isinstance(record, Nudge):
            by = self.values.place(record.by, self.values.new if added else self.values.old)
            verb = "is nudged" if added else "is no longer nudged"
            return Said(name, f'{verb} by {by}, because "{record.because}"', key)
        told = self._with(record, change)
        if isinstance(record, Feed):
            verb = "is now driven by" if added else "is no longer driven by"
            return Said(name, f"{verb} {live(record.value)}", key)
        kind = change.kind
        if isinstance(record, Node) and record.socket:
            kind = "socket"
        text = f"is a new {kind}{told}" if added else f"is gone: {_an(kind)}{told}"
        return Said(f'"{name}"' if isinstance(record, Check) else name, text, key)

    def _with(self, record: Any, change: Change) -> str:
        """What is to be known of an added or removed thing beside its name."""
        side = 1 if change.what == "added" else 0
        if isinstance(record, Node):
            return f', under "{record.parent}"' if record.parent else ", at the top"
        if isinstance(record, PlacedRig):
            return f', {_of_whom(record)}, on "{record.socket}"'
        if isinstance(record, Check | Pose | Chain | Curve):
            return ""
        if isinstance(record, Gauge):
            return f": {live(record.value)}"
        if isinstance(record, NamedList):
            return f" of {listed(record.members)}"
        described = self.values.value(record, change, side)
        return f": {described}" if described else ""

    # ---- sentences ---------------------------------------------------------------------------

    def _plainly(self, change: Change) -> str:
        """Any field: its name, its value, and what it was."""
        what = " ".join([word.replace("_", " ") for word in change.path])
        if change.what == "added":
            return f"{what} is new: {self.values.after(change)}"
        if change.what == "removed":
            return f"{what} is gone; it was {self.values.before(change)}"
        if isinstance(change.after, bool):
            return f"is {'now' if change.after else 'no longer'} {what}"
        before, after = self.values.both(change)
        return f"has {what} {after}, it had {before}"

    def _both(self, change: Change) -> str:
        """What is, and what was."""
        before, after = self.values.both(change)
        return f"{after}, it was {before}"

    def _amount(self, change: Change) -> float:
        before, after = change.before, change.after
        if change.path[-1] in ("place", "end") and before and after:
            return self.values.apart(before, after)
        if change.path == ("shape", "width") and before and after:
            return abs(float(after - before))
        if change.path[-1] == "turn" and before and after and len(before) == 4:
            return turned_by(Frame(turn=before), Frame(turn=after))
        return 0.0

    def _parent(self, change: Change) -> str:
        def under(name: str | None) -> str:
            return f'under "{name}"' if name else "at the top"

        return f"is {under(change.after)}, it was {under(change.before)}"

    def _order(self, change: Change) -> str:
        return f"turns in the order {change.after}, it was {change.before}"

    def _stands(self, change: Change) -> str:
        """How far a thing stands from where it stood, or is turned from how it was."""
        amount = self._amount(change)
        if change.path[-1] == "place":
            return f"stands {rough_length(amount, self.values.new.unit)} away at rest"
        return f"is turned by {rough(degrees(amount), 'deg')} at rest"

    def _limits(self, change: Change) -> str:
        channel = change.path[1]
        old, new = (self._limit(change, side) for side in (0, 1))
        if new is None:
            was = self.values.bounds(old.low, old.high, channel) if old is not None else "nothing"
            return f"{channel} is no longer limited, it was to {was}"
        if old is None:
            return f"{channel} is limited to {self.values.bounds(new.low, new.high, channel)}"
        inner = new.low >= old.low and new.high <= old.high
        outer = new.low <= old.low and new.high >= old.high
        how = " (tighter)" if inner else " (wider)" if outer else ""
        return (
            f"{channel} is limited to {self.values.bounds(new.low, new.high, channel)},"
            f" it was {self.values.bounds(old.low, old.high, channel)}{how}"
        )

    def _limit(self, change: Change, side: int) -> Limit | None:
        node = self.values.nodes[side].get((change.old, change.new)[side] or "")
        limits = node.limits if node is not None else ()
        found = next((one for one in limits if one.channel == change.path[1]), None)
        if not self.twin or node is None or node.mirror is None or found is None:
            return found
        part, _, axis = found.channel.partition(".")
        signs = {"move": node.mirror.move, "turn": node.mirror.turn}.get(part, (1, 1, 1))
        if "right" not in node.name.split(".") or signs["xyz".index(axis)] > 0:
            return found
        return Limit(found.channel, -found.high, -found.low)

    def _yes_or_no(self, change: Change) -> str:
        """A property that a node has or has not."""
        return _PROPERTIES[change.topic][bool(change.after)]

    def _of_chain(self, change: Change) -> str:
        def said(chain: str | None) -> str:
            return f'in chain "{chain}"' if chain else "in no chain"

        return f"is {said(change.after)}, it was {said(change.before)}"

    def _solver(self, record: Ride | Reach | Twist | Face) -> str:
        """How a constraint is led, as its added or removed line tells it."""
        if isinstance(record, Twist):
            ends = [_twist_end(one) for one in (record.start, record.end) if one is not None]
            return f"{' and '.join(ends)}, spread {record.stated}"
        if isinstance(record, Reach):
            pole = f', with the pole "{record.pole}"' if record.pole else ""
            return f'for "{record.goal}"{pole}'
        if isinstance(record, Ride):
            return f'on "{record.curve}"'
        up = f', up by "{record.up_node}"' if record.up_node else ""
        return f'"{record.mark}" with {record.axis}{up}'

    def _shown_by(self, change: Change) -> str:
        def said(conditions: Any, side: int) -> str:
            told = [self.values.condition(one, side) for one in conditions]
            return f"while {' and '.join(told)}" if told else "always"

        return f"is shown {said(change.after, 1)}, it was {said(change.before, 0)}"

    def _socket(self, change: Change) -> str:
        return "is a socket now" if change.after else "is no longer a socket"

    def _on_socket(self, change: Change) -> str:
        return f'stands on "{change.after}", it stood on "{change.before}"'

    def _measured(self, change: Change) -> str:
        return f"is measured by {change.after}, it was by {change.before}"

    def _locks(self, change: Change) -> str:
        locked = channels_said([one for one in change.after if one not in change.before])
        free = channels_said([one for one in change.before if one not in change.after])
        told = [
            f"{locked} {_is(locked)} locked" if locked else "",
            f"{free} {_is(free)} free again" if free else "",
        ]
        return "; ".join([one for one in told if one])

    def _dials(self, change: Change) -> str:
        name = change.path[1]
        if change.what == "added":
            return f'has a new dial "{name}": {self.values.after(change)}'
        if change.what == "removed":
            return f'has no dial "{name}" any more; it was {self.values.before(change)}'
        field = change.path[2]
        before, after = self.values.both(change)
        word = {"default": "starts at", "low": "begins at", "high": "ends at", "options": "is of"}
        if field == "unit":
            kinds = {"length": "a length", "angle": "an angle", "number": "a number"}
            return f'dial "{name}" is {kinds[change.after]}, it was {kinds[change.before]}'
        verb = word.get(field, f"{field.replace('_', ' ')} is")
        return f'dial "{name}" {verb} {after}, it was {before}'

    def _shape(self, change: Change) -> str:
        if change.path == ("shape",):
            before, after = (
                self.values.before(change) or "nothing",
                self.values.after(change) or "nothing",
            )
            return f"is drawn as {after}, it was {before}"
        before, after = self.values.both(change)
        told = {
            "width": f"is {after} wide, it was {before}",
            "kind": f"is drawn as {_an(after)}, it was {_an(before)}",
            "axis": f"is drawn across {after}, it was across {before}",
            "offset": f"is drawn shifted by {after}, it was by {before}",
        }
        return told.get(change.path[1], "")

    def _excuses(self, change: Change) -> str:
        law = change.path[1]
        if change.what == "added":
            return f'excuses the law "{law}" because "{change.after.because}"'
        if change.what == "removed":
            return f'no longer excuses the law "{law}"'
        return f'excuses the law "{law}" for another reason: "{change.after}"'

    def _of_recipe(self, change: Change) -> str:
        """What the head of a recipe says; of anything else nothing is known here."""
        before, after = self.values.both(change)
        told = {
            "unit": f"is written in {after}, it was in {before}",
            "up": f"has {after} up, it had {before}",
            "front": f"has {after} in front, it had {before}",
            "revision": f"is revision {after}, it was {before}",
        }
        return told[change.topic] if change.kind == "recipe" else ""

    def _led(self, change: Change) -> str:
        """What leads a ride, a reach, a twist or a face."""
        words = _LED.get((change.kind, change.path))
        if words is None:
            return ""
        before, after = self.values.both(change)
        return words.format(after=after, before=before)

    def _about(self, change: Change) -> str:
        return "is described otherwise" if change.after else "has no description any more"

    def _spelled(self, change: Change) -> str:
        return f'is spelled "{change.after}", it was "{change.before}"'

    def _was(self, change: Change) -> str:
        return (
            f'says that it was "{change.after}"' if change.after else "no longer says what it was"
        )

    def _joints(self, change: Change) -> str:
        before, after = len(change.before), len(change.after)
        if before == after:
            others = [one for one in change.after if one not in change.before]
            return f"is made of other joints: {listed(others)}"
        return f"has {after} bones, it had {before}"

    def _fractions(self, change: Change) -> str:
        return "its bones are spread otherwise along its curve"

    def _points(self, change: Change) -> str:
        before, after = change.before, change.after
        if len(before) != len(after):
            return f"has {len(after)} points, it had {len(before)}"
        by = [math.dist(a, b) for a, b in zip(before, after, strict=True)]
        moved = sum(one > 0.0 for one in by)
        most = rough_length(max(by), self.values.new.unit)
        return f"has {moved} of its {len(after)} points elsewhere, by up to {most}"

    def _shares(self, change: Change) -> str:
        def owned(shares: Any) -> dict[str, list[str]]:
            found: dict[str, list[str]] = {}
            for one in shares:
                part = "" if one.share == 1.0 else f" ({figure(100.0 * one.share)}%)"
                found.setdefault(one.grip, []).append(f"{one.point + 1}{part}")
            return found

        old, new = owned(change.before), owned(change.after)
        told = [
            f'"{grip}" owns {", ".join(new.get(grip, ["nothing"]))},'
            f" it owned {', '.join(old.get(grip, ['nothing']))}"
            for grip in dict.fromkeys([*old, *new])
            if old.get(grip) != new.get(grip)
        ]
        return "; ".join(told)

    def _leaders(self, change: Change) -> str:
        def said(leaders: Any) -> str:
            weighted = len({one.weight for one in leaders}) > 1
            return ", ".join(
                [
                    f'"{one.node or "world"}"' + (f" ({figure(one.weight)})" if weighted else "")
                    for one in leaders
                ]
            )

        return f"follows {said(change.after)}, it followed {said(change.before)}"

    def _takes(self, change: Change) -> str:
        return f"takes {', '.join(change.after)}, it took {', '.join(change.before)}"

    def _stated(self, change: Change) -> str:
        return f"spreads {change.after}, it spread {change.before}"

    def _spread(self, change: Change) -> str:
        return f"is spread by {self.values.after(change)}, it was by {self.values.before(change)}"

    def _live(self, change: Change) -> str:
        return f"is {live(change.after)}, it was {live(change.before)}"

    def _target(self, change: Change) -> str:
        return f"drives {change.after}, it drove {change.before}"

    def _members(self, change: Change) -> str:
        more = [one for one in change.after if one not in change.before]
        fewer = [one for one in change.before if one not in change.after]
        told = [
            f"has {len(more)} more: {listed(more)}" if more else "",
            f"has {len(fewer)} fewer: {listed(fewer)}" if fewer else "",
        ]
        return "; ".join([one for one in told if one])

    def _set(self, change: Change) -> str:
        channel = change.path[1]
        if change.what == "added":
            return f"sets {channel} to {self.values.after(change)} as well"
        if change.what == "removed":
            return f"no longer sets {channel}, it was {self.values.before(change)}"
        return f"sets {channel} to {self._both(change)}"

    def _swept(self, change: Change) -> str:
        channel = change.path[1]
        if change.what == "added":
            return f"takes {channel} from {self.values.after(change)} as well"
        if change.what == "removed":
            return f"no longer takes {channel} from {self.values.before(change)}"
        end = {"start": "from", "stop": "to"}.get(change.path[2], change.path[2])
        return f"takes {channel} {end} {self._both(change)}"

    def _end(self, change: Change) -> str:
        return f"ends {rough_length(self._amount(change), self.values.new.unit)} away at rest"

    def _expectations(self, change: Change) -> str:
        old, new = (
            [one.text.removeprefix("expect ") or f"{one.subject} {one.what}" for one in side]
            for side in (change.before, change.after)
        )
        more = [one for one in new if one not in old]
        fewer = [one for one in old if one not in new]
        if not more and not fewer:
            was = {one.subject for one in change.before}
            now = {one.subject for one in change.after}
            if now - was and was - now:
                there, here = listed(sorted(was - now)), listed(sorted(now - was))
                return f"looks at {here}, it looked at {there}"
            return "measures what it expects otherwise"
        told = [
            f"expects {'; '.join(more)}" if more else "",
            f"no longer expects {'; '.join(fewer)}" if fewer else "",
        ]
        return "; ".join([one for one in told if one])


Sentence = Callable[[Words, Change], str]

_KNOWN: Mapping[tuple[str, str], Sentence] = {
    ("nodes", "parent"): Words._parent,
    ("curves", "parent"): Words._parent,
    ("nodes", "order"): Words._order,
    ("nodes", "rest"): Words._stands,
    ("nodes", "limits"): Words._limits,
    ("nodes", "locks"): Words._locks,
    ("nodes", "shown"): Words._shown_by,
    ("nodes", "passes_size"): Words._yes_or_no,
    ("nodes", "size_even"): Words._yes_or_no,
    ("nodes", "carries_all"): Words._yes_or_no,
    ("nodes", "stays_in_world"): Words._yes_or_no,
    ("nodes", "one_sided"): Words._yes_or_no,
    ("nodes", "chain"): Words._of_chain,
    ("nodes", "socket"): Words._socket,
    ("nodes", "dials"): Words._dials,
    ("nodes", "shape"): Words._shape,
    ("", "excuses"): Words._excuses,
    ("", "unit"): Words._of_recipe,
    ("", "up"): Words._of_recipe,
    ("", "front"): Words._of_recipe,
    ("", "revision"): Words._of_recipe,
    ("constraints", "carrier"): Words._led,
    ("constraints", "curve"): Words._led,
    ("constraints", "stretch"): Words._led,
    ("constraints", "goal"): Words._led,
    ("constraints", "pole"): Words._led,
    ("constraints", "start"): Words._led,
    ("constraints", "end"): Words._led,
    ("constraints", "mark"): Words._led,
    ("constraints", "up_node"): Words._led,
    ("", "about"): Words._about,
    ("", "spelled"): Words._spelled,
    ("nodes", "was"): Words._was,
    ("chains", "joints"): Words._joints,
    ("chains", "fractions"): Words._fractions,
    ("chains", "end"): Words._end,
    ("curves", "points"): Words._points,
    ("curves", "shares"): Words._shares,
    ("constraints", "leaders"): Words._leaders,
    ("constraints", "takes"): Words._takes,
    ("constraints", "stated"): Words._stated,
    ("constraints", "spread"): Words._spread,
    ("feeds", "value"): Words._live,
    ("feeds", "target"): Words._target,
    ("gauges", "value"): Words._live,
    ("lists", "members"): Words._members,
    ("poses", "settings"): Words._set,
    ("checks", "settings"): Words._set,
    ("checks", "sweeps"): Words._swept,
    ("checks", "expectations"): Words._expectations,
    ("placed", "socket"): Words._on_socket,
    ("placed", "character"): Words._measured,
    ("placed", "ground"): Words._stands,
}

_LED: Mapping[tuple[str, tuple[str, ...]], str] = {
    ("ride", ("carrier",)): "is carried by {after}, it was by {before}",
    ("ride", ("curve",)): "goes along {after}, it went along {before}",
    ("ride", ("stretch", "channel")): "is stretched by {after}, it was by {before}",
    ("reach", ("stretch", "channel")): "is stretched by {after}, it was by {before}",
    ("reach", ("goal",)): "goes to {after}, it went to {before}",
    ("reach", ("pole",)): "bends toward {after}, it bent toward {before}",
    ("twist", ("start", "node")): "takes its start from {after}, it took it from {before}",
    ("twist", ("start", "relative")): "counts its start against {after}, it did against {before}",
    ("twist", ("end", "node")): "takes its end from {after}, it took it from {before}",
    ("twist", ("end", "relative")): "counts its end against {after}, it did against {before}",
    ("face", ("mark",)): "looks at {after}, it looked at {before}",
    ("face", ("up_node",)): "takes its up from {after}, it took it from {before}",
}
"""What is said where something else leads a constraint."""

_HAS = {True: "now has a", False: "no longer has its"}

_PROPERTIES = {
    "passes_size": ("keeps its size to itself", "passes its size on to what it carries"),
    "size_even": ("can be sized along each axis", "is sized alike along all axes"),
    "carries_all": ("no longer carries all of the rig", "carries all of the rig"),
    "stays_in_world": ("no longer stays in the world", "stays in the world"),
    "one_sided": ("is no longer one-sided", "is one-sided"),
}
"""What is said of a property that is lost, and of one that is gained."""


def likely(confidence: float, because: str) -> str:
    """How sure an inferred rename is, with the strongest of what speaks for it."""
    evidence = ", ".join(because.split(", ")[:2])
    return f"likely, {confidence:.2f}" + (f": {evidence}" if evidence else "")


def channels_said(channels: Iterable[str]) -> str:
    """Channels as a person lists them: a part with all its axes by its own name."""
    held = list(channels)
    told: list[str] = []
    for part in ("move", "turn", "size"):
        axes = [one for one in held if one.startswith(f"{part}.")]
        told += [part] if len(axes) == 3 else axes
    return " and ".join(told) if len(told) < 3 else ", ".join(told[:-1]) + f" and {told[-1]}"


def many(kind: str, count: int) -> str:
    """A kind of thing as a word for so many of them."""
    if count == 1:
        return kind
    return {"reach": "reaches", "twist": "twists"}.get(kind, f"{kind}s")


def _twist_end(end: TwistEnd) -> str:
    """One end of a twist: what it meets, or what it is told by."""
    how = "meeting" if end.mode == "meets" else "from"
    against = f' against "{end.relative}"' if end.relative else ""
    return f'{how} "{end.node}"{against}'


def _is(words: str) -> str:
    return "are" if " and " in words else "is"


def _of_whom(placed: PlacedRig) -> str:
    return f"{placed.recipe} {placed.revision} for {placed.character}"


def _an(kind: str) -> str:
    return f"{'an' if kind[:1] in 'aeiou' else 'a'} {kind}"
