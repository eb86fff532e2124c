"""The last sections: proving the build by hand.

In comes a settled rig; out go trials, one for each check of its recipe and one for each law that
has something to say about it, with the numbers to expect. Excuses are told beside the law that
they are an exception to.
"""

from __future__ import annotations

from collections.abc import Iterator

from somite.ir import Check, Expectation, Twist
from somite.targets.steps.figures import rounded
from somite.targets.steps.lookup import Lookup
from somite.targets.steps.parts import SIDES
from somite.targets.steps.records import Names, Saying, Step, Table, Value
from somite.units import ANGLE, LENGTH, NUMBER, Dimension

TRIAL_TURN = 30.0
"""Degrees by which a control on a twist's path is turned in its trial."""

_WITHIN: dict[str, Dimension] = {
    "at": LENGTH,
    "points": ANGLE,
    "turns": ANGLE,
    "twists": ANGLE,
    "apart": LENGTH,
    "keeps": LENGTH,
    "still": LENGTH,
    "mirrors": LENGTH,
    "ground": LENGTH,
}


def laws(lookup: Lookup) -> Iterator[Step]:
    """The trials of the laws, in their order."""
    for law, table in _laws(lookup):
        told = f"{law}-firm" if law == "travel" and not _can_grow(lookup) else law
        yield Step(
            Saying(f"do.law-{told}", _law_values(lookup)),
            table=table,
            notes=tuple(_excused(lookup, law)),
            sees=(Saying(f"see.law-{told}", _law_values(lookup)),),
        )


def checks(lookup: Lookup) -> Iterator[tuple[str, Step]]:
    """The recipe's own checks as trials, by part, whose name is then not said again."""
    for check in lookup.rig.checks:
        part = lookup.parts.of_check(check.name, check.origin)
        yield part, _trial(lookup, check, _told(check.name, part))


def _told(name: str, part: str) -> Value:
    """What a check says, after the side that it is for; its part is known already."""
    stem, colon, text = name.partition(": ")
    where = stem.removeprefix(part).removeprefix(".").split(".") if colon else [name]
    if not colon or not all(word.replace("_", "a").isalnum() for word in "".join(where)):
        return name
    sides = [word for word in where if word in SIDES]
    inner = " ".join(word for word in where if word and word not in SIDES)
    told: Value = f"{inner}: {text}" if inner else text
    for side in reversed(sides):
        told = Saying("value.sided", {"side": Saying(f"side.{side}"), "text": told})
    return told


def _can_grow(lookup: Lookup) -> bool:
    return lookup.master is not None and lookup.is_free(lookup.master, "size")


def _law_values(lookup: Lookup) -> dict[str, Value]:
    master = lookup.master
    values: dict[str, Value] = {"length": lookup.figures.length(lookup.rig.height / 4.0)}
    if master is not None:
        values["master"] = lookup.name(master.name)
    return values


def _laws(lookup: Lookup) -> Iterator[tuple[str, Table | None]]:
    rig = lookup.rig
    controls = [node for node in rig.nodes if node.kind == "control"]
    twists = [constraint for constraint in rig.constraints if isinstance(constraint, Twist)]
    neutral = [
        (lookup.channel(channel), _options(lookup, channel))
        for channel, dial in lookup.dials.items()
        if dial.neutral
    ]
    tried = Table(("column.neutral-dial", "column.values"), tuple(neutral))
    yield "rest", tried if neutral else None
    if lookup.master is not None:
        yield "travel", None
    if controls:
        yield "use", None
    if rig.curves:
        yield "ownership", None
    if controls:
        yield "once", None
    pairs = tuple(_pairs(lookup))
    if pairs:
        yield "mirror", Table(("column.one", "column.twin", "column.flips"), pairs)
    if controls:
        yield "calm", None
    if twists:
        rows = tuple(row for twist in twists for row in _twist_rows(lookup, twist))
        columns = ("column.turn-this", "column.about", "column.watch", "column.it-turns")
        yield "twist", Table(columns, rows, (False, False, False, True))
    yield "names", None


def _options(lookup: Lookup, channel: str) -> Value:
    dial = lookup.dials[channel]
    if dial.options:
        return Names(dial.options)
    low = lookup.setting(channel, dial.low if dial.low is not None else dial.default)
    high = lookup.setting(channel, dial.high if dial.high is not None else dial.default)
    return Saying("value.from-to", {"first": low, "second": high})


def _pairs(lookup: Lookup) -> Iterator[tuple[Value, ...]]:
    """Each pair of controls once, with the channels whose sign is the other way on the twin."""
    told: set[str] = set()
    for node in lookup.rig.nodes:
        mirror = node.mirror
        if mirror is None or node.kind != "control" or node.one_sided or mirror.twin in told:
            continue
        if mirror.twin == node.name or mirror.twin not in lookup.nodes:
            continue
        told.add(node.name)
        flips: list[Value] = [
            lookup.own_channel(f"{part}.{axis}")
            for part, signs in (("move", mirror.move), ("turn", mirror.turn))
            for axis, sign in zip("xyz", signs, strict=True)
            if sign < 0
        ]
        flipped: Value = Names(tuple(flips)) if flips else Saying("value.none")
        yield lookup.name(node.name), lookup.name(mirror.twin), flipped


def _twist_rows(lookup: Lookup, twist: Twist) -> Iterator[tuple[Value, ...]]:
    chain = lookup.chains[twist.chain]
    share = twist.spread[-1] if twist.spread else 1.0
    for name in twist.end.path or (twist.end.node,):
        node = lookup.nodes.get(name)
        if node is None or name in twist.ignores or not lookup.is_free(node, "turn"):
            continue
        turned = rounded(TRIAL_TURN * share, 2) + "°"
        axis = Saying("value.axis-of", {"axis": chain.axis, "node": lookup.name(chain.joints[-1])})
        yield lookup.name(name), axis, lookup.name(chain.joints[-1]), turned


def _excused(lookup: Lookup, law: str) -> Iterator[Saying]:
    rig = lookup.rig
    for record in (*rig.nodes, *rig.chains, *rig.curves, *rig.constraints, *rig.feeds):
        for excuse in record.excuses:
            if excuse.law == law:
                yield Saying(
                    "note.excused",
                    {"what": _told_name(lookup, record.name), "because": excuse.because},
                )


def _told_name(lookup: Lookup, name: str) -> Value:
    if name in lookup.nodes or name in lookup.chains or name in lookup.curves:
        return lookup.name(name)
    return name.replace("/", " ")


def _trial(lookup: Lookup, check: Check, told: Value) -> Step:
    rows: list[tuple[Value, ...]] = []
    for pose in check.poses:
        rows.append((Saying("value.pose", {"pose": lookup.name(pose)}), Saying("value.as-kept")))
    for setting in check.settings:
        value = lookup.setting(setting.channel, setting.value)
        rows.append((lookup.channel(setting.channel), value))
    for sweep in check.sweeps:
        first = lookup.setting(sweep.channel, sweep.start)
        second = lookup.setting(sweep.channel, sweep.stop)
        value = Saying("value.sweep", {"first": first, "second": second})
        rows.append((lookup.channel(sweep.channel), value))
    return Step(
        Saying("do.trial" if rows else "do.trial-rest", {"check": told}),
        table=Table(("column.channel", "column.set-to"), tuple(rows)) if rows else None,
        notes=(Saying("note.put-back"),) if rows else (),
        sees=tuple(_expected(lookup, expectation) for expectation in check.expectations),
        origin=check.origin,
    )


def _expected(lookup: Lookup, expectation: Expectation) -> Saying:
    figures = lookup.figures
    gauge = expectation.what == "reads"
    dimension = lookup.dimension(expectation.subject) if gauge else _WITHIN.get(expectation.what)
    values: dict[str, Value] = {
        "subject": _subject(lookup, expectation.subject),
        "within": figures.value(expectation.within, dimension or NUMBER),
        "value": figures.value(expectation.value or 0.0, dimension or NUMBER),
        "axis": expectation.axis or "+X",
    }
    key = f"expect.{expectation.what}"
    if expectation.other is not None:
        values["other"] = _subject(lookup, expectation.other)
        key = f"{key}-other" if expectation.what in ("turns", "twists") else key
    else:
        values["other"] = Saying("value.origin")
    if expectation.rig is not None:
        values["rig"] = expectation.rig
        key += "-rig"
    if expectation.vector is not None:
        told = figures.direction if expectation.what == "points" else figures.place
        values["vector"] = told(expectation.vector)
    else:
        values["vector"] = ""
    return Saying(key, values)


def _subject(lookup: Lookup, name: str) -> Value:
    """What an expectation speaks of: a thing of the rig, or a place by its name alone."""
    stem, _, last = name.rpartition(".")
    chain = lookup.chains.get(stem)
    if chain is not None and name not in lookup.nodes:
        if last == "end":
            return lookup.end_name(chain)
        if last in ("first", "last"):
            return lookup.name(chain.joints[0 if last == "first" else -1])
    known = (lookup.nodes, lookup.curves, lookup.chains, lookup.gauges)
    if any(name in things for things in known):
        return lookup.name(name)
    return Saying("value.place", {"place": lookup.spelled(name)})
