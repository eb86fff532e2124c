"""Rest: at defaults, and at every value of a neutral dial, everything is where it was placed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from somite.evaluate import Channel, Posed
from somite.findings import Code
from somite.ir import Face, Follow
from somite.laws.law import Breach, Law, Statement
from somite.laws.motion import angle_words, angles, distances, length_words, value_words
from somite.laws.trial import Trial

LAW_REST = Code("law-rest")

CLOSE = 1e-9
"""In heights of the rig; and in radians, with what one pass of the mathematics loses."""
TURNED = 1e-8
SHARES = (0.0, 0.25, 0.5, 1.0)
"""Where, in its range, a neutral dial that is a number is tried."""


def breaches(trial: Trial) -> Iterator[Breach]:
    """Defaults first; a dial is blamed only for what it moves itself."""
    poses = trial.poses()
    poses.add({})
    tried: list[tuple[Channel, float]] = []
    for name, dial in trial.dials.items():
        channel = trial.channels[name]
        if not dial.neutral or channel.driven:
            continue
        for value in _values(trial, channel):
            poses.add({name: value})
            tried.append((channel, value))
    posed = poses.posed()
    places, turns = _off(trial, posed)
    at_rest = _bad(posed, places[0], turns[0])
    yield from _at_defaults(trial, posed, at_rest, places[0], turns[0])
    told: set[str] = set()
    for row, (channel, value) in enumerate(tried, 1):
        bad = _bad(posed, places[row], turns[row]) - at_rest
        if bad and channel.name not in told:
            told.add(channel.name)
            first = trial.upstream(bad)[0]
            yield _by_dial(trial, channel, value, first, posed, places[row], turns[row])


def _values(trial: Trial, channel: Channel) -> list[float]:
    if channel.options:
        return [float(k) for k in range(len(channel.options))]
    low, high = trial.span(channel)
    return [low + (high - low) * share for share in SHARES]


def _off(trial: Trial, posed: Posed) -> tuple[np.ndarray, np.ndarray]:
    """How far each node is from where it was placed, as far as it is no landing: (poses, nodes)."""
    rest = [trial.nodes[name].rest for name in posed.names]
    places = distances(posed.places, np.array([one.place for one in rest])) / trial.far
    turns = angles(posed.turns, np.array([one.turn for one in rest]))
    for constraint in trial.rig.constraints:
        if isinstance(constraint, Follow) and constraint.landing:
            at = posed.index[constraint.node]
            places[:, at] = 0.0 if "move" in constraint.takes else places[:, at]
            turns[:, at] = 0.0 if "turn" in constraint.takes else turns[:, at]
        elif isinstance(constraint, Face) and constraint.exact:
            turns[:, posed.index[constraint.node]] = 0.0
    return places, turns


def _bad(posed: Posed, places: np.ndarray, turns: np.ndarray) -> set[str]:
    wrong = (places > CLOSE) | (turns > TURNED)
    return {posed.names[at] for at in np.flatnonzero(wrong)}


def _landed(trial: Trial, node: str) -> Statement | None:
    """The landing that a node hangs on, if any."""
    landings = {
        constraint.name
        for constraint in trial.rig.constraints
        if (isinstance(constraint, Follow) and constraint.landing)
        or (isinstance(constraint, Face) and constraint.exact)
    }
    found = next((name for name in trial.above(node) if name in landings), None)
    return None if found is None else trial.statements[found]


def _at_defaults(
    trial: Trial, posed: Posed, bad: set[str], places: np.ndarray, turns: np.ndarray
) -> Iterator[Breach]:
    if not bad:
        return
    for node in trial.upstream(bad):
        away = _away(trial, posed, node, places, turns)
        feed = next((one for one in trial.rig.feeds if one.target.startswith(f"{node}.")), None)
        landing = _landed(trial, node)
        if feed is not None:
            blamed = trial.statements[feed.name]
            mend = f'take away what the feed gives "{feed.target}" at rest'
        elif landing is not None:
            blamed = landing
            mend = "keep the rest offset (follow instead of land on, face without exactly)"
        else:
            part = "move" if places[posed.index[node]] > CLOSE else "turn"
            blamed = trial.explaining(node, part)
            mend = "place it where its constraints put it, or let them keep their rest offsets"
        yield Breach(
            blamed,
            f'expected "{node}" where the recipe placed it while every channel is at its default,'
            f" found it {away}",
            mend,
            trial.excusers(node),
        )


def _away(trial: Trial, posed: Posed, node: str, places: np.ndarray, turns: np.ndarray) -> str:
    at = posed.index[node]
    if places[at] > CLOSE:
        return f"{length_words(trial.rig, float(places[at]) * trial.far)} away"
    return f"turned by {angle_words(float(turns[at]))}"


def _by_dial(
    trial: Trial,
    channel: Channel,
    value: float,
    node: str,
    posed: Posed,
    places: np.ndarray,
    turns: np.ndarray,
) -> Breach:
    dial = trial.dials[channel.name]
    given = (
        channel.options[int(value)]
        if channel.options
        else value_words(trial.rig, channel.unit, value)
    )
    control = trial.statements[channel.node]
    return Breach(
        Statement(channel.name, dial.origin or control.origin, control.excuses),
        f'expected the neutral dial "{channel.name}" to move nothing at rest, found "{node}"'
        f" {_away(trial, posed, node, places, turns)} at {given}",
        "keep rest offsets in what the dial blends, or take away its neutral",
        (control, *trial.excusers(node)),
    )


LAW = Law(
    1,
    "rest",
    "at defaults, and at every value of a neutral dial, everything is where it was placed",
    LAW_REST,
    breaches,
)
