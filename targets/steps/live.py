"""Live expressions in words, and what they come to at a test value.

In comes the expression of a feed or gauge; out goes a phrase that can be read aloud, with every
number in the unit that its place asks for, and where it is simple enough the number it gives.
Nothing here knows what the result drives.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise

from somite.ir import Apply, Constant, Live, Map, Measure, Read
from somite.spatial.component import sqrt
from somite.spatial.trig import cosine, sine
from somite.targets.steps.lookup import Lookup, option
from somite.targets.steps.records import Names, Saying, Value
from somite.units import ANGLE, LENGTH, NUMBER, Dimension

_SAME = frozenset(
    {"add", "subtract", "negate", "minimum", "maximum", "clamp", "absolute", "modulo"}
)
_INFIX = frozenset({"add", "subtract", "multiply", "divide"})
_MEASURED = {"distance": LENGTH, "angle": ANGLE, "twist": ANGLE, "stretch": NUMBER}


def told(
    lookup: Lookup, live: Live, wanted: Dimension | None, *, tabled: Map | None = None
) -> Value:
    """An expression in words. `wanted` is the dimension of its result; constants take theirs
    from what they meet. The map `tabled` is said to be a table that stands nearby."""
    if isinstance(live, Constant):
        return lookup.figures.value(live.value, wanted)
    if isinstance(live, Read):
        return lookup.channel(live.channel)
    if isinstance(live, Measure):
        return measure_told(lookup, live)
    if isinstance(live, Map):
        return _map_told(lookup, live, wanted, tabled)
    return _apply_told(lookup, live, wanted, tabled)


def _apply_told(lookup: Lookup, live: Apply, wanted: Dimension | None, tabled: Map | None) -> Value:
    if live.operation == "is":
        return _is_told(lookup, live)
    dimensions = operand_dimensions(lookup, live, wanted)
    parts = [
        told(lookup, operand, dimension, tabled=tabled)
        for operand, dimension in zip(live.operands, dimensions, strict=True)
    ]
    if live.operation in _INFIX:
        parts = [
            Saying("live.bracketed", {"value": part}) if _is_infix(operand) else part
            for operand, part in zip(live.operands, parts, strict=True)
        ]
    if live.operation in ("minimum", "maximum"):
        return Saying(f"live.{live.operation}", {"values": Names(tuple(parts))})
    if live.operation in _INFIX and len(parts) != 2:
        return _run_told(live.operation, parts)
    names = ("first", "second", "third")
    return Saying(f"live.{live.operation}", dict(zip(names, parts, strict=False)))


def _run_told(operation: str, parts: list[Value]) -> Value:
    said = parts[0]
    for part in parts[1:]:
        said = Saying(f"live.{operation}", {"first": said, "second": part})
    return said


def _is_infix(live: Live) -> bool:
    return isinstance(live, Apply) and live.operation in (*_INFIX, "clamp")


def _is_told(lookup: Lookup, live: Apply) -> Saying:
    read, index = live.operands
    value: Value = told(lookup, index, NUMBER)
    if isinstance(read, Read) and isinstance(index, Constant):
        dial = lookup.dials.get(read.channel)
        if dial is not None and dial.options:
            value = option(dial, index.value)
    return Saying("live.is", {"first": told(lookup, read, NUMBER), "second": value})


def _map_told(lookup: Lookup, live: Map, wanted: Dimension | None, tabled: Map | None) -> Saying:
    dimension = dimension_of(lookup, live.value)
    value = told(lookup, live.value, dimension, tabled=tabled)
    if _is_infix(live.value):
        value = Saying("live.bracketed", {"value": value})
    if live is tabled:
        return Saying("live.map-table", {"value": value})
    pairs: list[Value] = [
        Saying("live.pair", {"first": first, "second": second})
        for first, second in map_rows(lookup, live, wanted)
    ]
    key = "live.map-smooth" if live.smooth else "live.map-straight"
    return Saying(key, {"value": value, "pairs": Names(tuple(pairs))})


def map_rows(
    lookup: Lookup, live: Map, wanted: Dimension | None
) -> tuple[tuple[Value, Value], ...]:
    """The pairs of a map in words."""
    dimension = dimension_of(lookup, live.value)
    return tuple(
        (told(lookup, first, dimension), told(lookup, second, wanted))
        for first, second in live.pairs
    )


def measure_told(lookup: Lookup, live: Measure) -> Saying:
    """A measure of results in words."""
    names = [lookup.name(name) for name in live.of]
    values: dict[str, Value] = dict(zip(("first", "second"), names, strict=False))
    if live.what == "twist":
        values["axis"] = live.axis or "+X"
    return Saying(f"measure.{live.what}", values)


def operand_dimensions(
    lookup: Lookup, live: Apply, wanted: Dimension | None
) -> tuple[Dimension | None, ...]:
    """The dimension of each operand: its own where it has one, else what the result asks for."""
    known = [dimension_of(lookup, operand) for operand in live.operands]
    if live.operation in _SAME:
        shared = next((found for found in known if found is not None), wanted)
        return tuple(shared if found is None else found for found in known)
    if live.operation in ("sine", "cosine"):
        return tuple(ANGLE for _ in known)
    if live.operation == "root" and wanted is not None:
        return ((wanted[0] * 2, wanted[1] * 2),)
    if live.operation in ("multiply", "divide"):
        return _factors(live.operation, known, wanted)
    return tuple(known)


def _factors(
    operation: str, known: list[Dimension | None], wanted: Dimension | None
) -> tuple[Dimension | None, ...]:
    """One unknown factor takes what the result lacks; of several, all but the last are numbers."""
    unknown = [index for index, found in enumerate(known) if found is None]
    result: list[Dimension | None] = [NUMBER if found is None else found for found in known]
    if unknown and wanted is not None:
        last = unknown[-1]
        lacks = wanted
        for index, found in enumerate(result):
            if index != last and found is not None:
                sign = -1 if operation == "multiply" or index == 0 else 1
                lacks = (lacks[0] + sign * found[0], lacks[1] + sign * found[1])
        flip = operation == "divide" and last > 0
        result[last] = (0 - lacks[0], 0 - lacks[1]) if flip else lacks
    return tuple(result)


def dimension_of(lookup: Lookup, live: Live) -> Dimension | None:
    """The dimension of an expression from what it reads; None where only constants speak."""
    if isinstance(live, Read):
        return lookup.dimension(live.channel)
    if isinstance(live, Measure):
        return _MEASURED[live.what]
    if isinstance(live, Map):
        seconds = (dimension_of(lookup, second) for _, second in live.pairs)
        return next((found for found in seconds if found is not None), None)
    if isinstance(live, Constant):
        return None
    known = [dimension_of(lookup, operand) for operand in live.operands]
    if live.operation in _SAME:
        return next((found for found in known if found is not None), None)
    if live.operation in ("sine", "cosine", "is"):
        return NUMBER
    if None in known:
        return None
    sign = -1 if live.operation == "divide" else 1
    total = known[0] or NUMBER
    for found in known[1:]:
        length, angle = found or NUMBER
        total = (total[0] + sign * length, total[1] + sign * angle)
    return (total[0] / 2, total[1] / 2) if live.operation == "root" else total


def only_map(live: Live) -> Map | None:
    """The one map of an expression; None where there is none, or more than one."""
    found = list(_maps(live))
    return found[0] if len(found) == 1 else None


def _maps(live: Live) -> Iterator[Map]:
    if isinstance(live, Map):
        yield live
        yield from _maps(live.value)
        for first, second in live.pairs:
            yield from _maps(first)
            yield from _maps(second)
    elif isinstance(live, Apply):
        for operand in live.operands:
            yield from _maps(operand)


def reads(live: Live) -> Iterator[str]:
    """Every channel, dial and gauge that an expression reads, in its own order."""
    if isinstance(live, Read):
        yield live.channel
    elif isinstance(live, Apply):
        for operand in live.operands:
            yield from reads(operand)
    elif isinstance(live, Map):
        yield from reads(live.value)
        for first, second in live.pairs:
            yield from reads(first)
            yield from reads(second)


def result(live: Live, values: Mapping[str, float]) -> float | None:
    """What an expression gives at values of what it reads; None where it needs more than those.

    Smooth maps and measures of results are not worked out here.
    """
    if isinstance(live, Constant):
        return live.value
    if isinstance(live, Read):
        return values.get(live.channel)
    if isinstance(live, Map):
        return _mapped(live, values)
    if isinstance(live, Measure):
        return None
    operands = [result(operand, values) for operand in live.operands]
    numbers = [number for number in operands if number is not None]
    if len(numbers) < len(operands):
        return None
    work = _WORK.get(live.operation)
    return work(numbers) if work is not None else None


def _mapped(live: Map, values: Mapping[str, float]) -> float | None:
    value = result(live.value, values)
    pairs = [(result(first, values), result(second, values)) for first, second in live.pairs]
    if live.smooth or value is None:
        return None
    known = [(a, b) for a, b in pairs if a is not None and b is not None]
    if len(known) < len(pairs) or not known:
        return None
    if value <= known[0][0]:
        return known[0][1]
    for (a, low), (b, high) in pairwise(known):
        if value <= b:
            return high if b == a else low + (high - low) * ((value - a) / (b - a))
    return known[-1][1]


def total(numbers: list[float]) -> float:
    """The sum of numbers, added one by one in their order."""
    found = numbers[0]
    for number in numbers[1:]:
        found = found + number
    return found


def _less(numbers: list[float]) -> float:
    found = numbers[0]
    for number in numbers[1:]:
        found = found - number
    return found


def _times(numbers: list[float]) -> float:
    found = numbers[0]
    for number in numbers[1:]:
        found = found * number
    return found


def _over(numbers: list[float]) -> float | None:
    found = numbers[0]
    for number in numbers[1:]:
        if number == 0.0:
            return None
        found = found / number
    return found


_WORK: dict[str, Callable[[list[float]], float | None]] = {
    "add": total,
    "subtract": _less,
    "multiply": _times,
    "divide": _over,
    "negate": lambda numbers: -numbers[0],
    "minimum": min,
    "maximum": max,
    "clamp": lambda numbers: max(numbers[1], min(numbers[2], numbers[0])),
    "absolute": lambda numbers: abs(numbers[0]),
    "root": lambda numbers: sqrt(numbers[0]) if numbers[0] >= 0.0 else None,
    "sine": lambda numbers: sine(numbers[0]),
    "cosine": lambda numbers: cosine(numbers[0]),
    "is": lambda numbers: 1.0 if numbers[0] == numbers[1] else 0.0,
}
