"""Channels that keep nodes where they are wanted: closed forms in the rig's order, then a search.

In comes a task: channels pose by pose, the world transforms that nodes are to have, and who may be
moved for that. Out come the channels, and what kept them from being exact. Nothing here knows
clips, dials or an older rig.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from somite.matching.reaching import Aim, aim
from somite.matching.routes import Carried, Led, Own, Reached, Routes
from somite.matching.search import Quarry, errors, searched
from somite.matching.worlds import (
    SAME,
    Held,
    World,
    applied,
    back,
    free_channels,
    matrices,
    mount_for,
    solved,
    turned_by,
    world_of,
)

if TYPE_CHECKING:
    from somite.evaluate import Evaluator, Posed
    from somite.evaluate.algebra import Array
    from somite.ir import Reach

ROUNDS = 5
"""Rounds of closed forms: one is enough unless what answers for a node depends on another."""
EXACT = 1e-11
"""Errors, in heights and radians, below which a pose is as it was."""
NEAR = 1e-9
"""Errors, in heights and radians, above which a search is worth its while."""
MOST_CHANNELS = 48
"""Channels that a search changes at most."""


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be solved. Arrays have poses first; `channels` are (poses,) each.

    `keep` are controls that stay where `wanted` has them by channels of their own; `seeds` are
    nodes whose leaders answer for them, by `routes`. A search may move the controls of `loose`, and
    goes by the nodes of `seen`. `sooner` says what a node depends on. `fixed` are channels that
    nothing here may set.
    """

    evaluator: Evaluator
    channels: Mapping[str, Array]
    wanted: Mapping[str, World]
    keep: tuple[str, ...]
    seeds: tuple[str, ...]
    routes: Routes
    loose: tuple[str, ...]
    seen: tuple[str, ...]
    sooner: Callable[[str], frozenset[str]]
    fixed: frozenset[str] = frozenset()


@dataclass(slots=True)
class Solution:
    """The channels that were found, and what stood in the way.

    `held` are channels kept from their values; `flat` are reaches that had to bend in one plane;
    `levelled` are stretch dials that were set to nothing; `searched` says whether a search was
    needed.
    """

    channels: dict[str, Array]
    held: tuple[Held, ...] = ()
    flat: tuple[str, ...] = ()
    levelled: tuple[str, ...] = ()
    searched: bool = False
    because: tuple[str, ...] = field(default_factory=tuple)


def solve(task: Task) -> Solution:
    """Solve a task: what has a closed form exactly, the rest as near as a search comes."""
    solving = _Solving(task)
    for _ in range(ROUNDS):
        if not solving.round():
            break
    solving.search()
    return solving.solution()


class _Solving:
    """One task under way."""

    def __init__(self, task: Task) -> None:
        self.task, self.evaluator = task, task.evaluator
        self.rig = self.evaluator.settled.rig
        self.height = max(self.rig.height, 1e-9)
        self.channels = {name: np.asarray(value) for name, value in task.channels.items()}
        self.held: dict[str, tuple[Held, ...]] = {}
        self.levelled: list[str] = []
        self.searched = False
        steps = self.evaluator.settled.plan.steps
        self.at = {step: k for k, step in enumerate(steps)}
        for node in self.rig.nodes:
            self.at.setdefault(node.name, self.at.get(f"{node.name}.size", 0))
        self.answering = sorted({*task.keep, *task.routes.controls()}, key=self._position)
        self.posed = self.evaluator.pose(self.channels)

    def _position(self, node: str) -> tuple[int, str]:
        return self.at[node], node

    def round(self, without: Collection[str] = ()) -> bool:
        """Solve every control that answers, in order; says whether another round may better it."""
        targets = self._targets()
        changed = False
        for node in self.answering:
            if node in without:
                continue
            wanted = targets.get(node)
            if wanted is None and node in self.task.keep:
                wanted = self.task.wanted[node]
            if wanted is None or self._is_there(node, wanted):
                self.held.pop(node, None)
                continue
            found = solved(self.evaluator, self.posed, node, wanted, self.task.channels)
            self.held[node] = found.held
            changed |= self._put(found.channels)
        return changed and self._worst() > EXACT

    def _is_there(self, node: str, wanted: World) -> bool:
        error = errors(self.posed, {node: wanted}, self.height)
        if wanted.linear is not None:
            sizes = np.abs(self.posed.linear(node) - wanted.linear).max(initial=0.0)
            if sizes > EXACT:
                return False
        return bool(np.abs(error).max(initial=0.0) <= EXACT)

    def _put(self, found: Mapping[str, Array]) -> bool:
        """Take channels over where they differ, and pose again."""
        changed = {}
        for name, value in found.items():
            if name in self.task.fixed:
                continue
            scale = self.height if self.evaluator.channels[name].part == "move" else 1.0
            now = self.posed.channel(name)
            if np.abs(value - now).max(initial=0.0) > SAME * scale:
                changed[name] = value
        if changed:
            self.channels.update(changed)
            self.posed = self.evaluator.pose(self.channels)
        return bool(changed)

    # ---- from what is asked to who answers -------------------------------------------------------

    def _targets(self) -> dict[str, World]:
        """Where the controls that answer for seeds have to be, from the seeds' worlds upstream."""
        found = {node: self.task.wanted[node] for node in self.task.seeds}
        rules = self.task.routes.rules
        met: set[str] = set()
        for node in sorted(rules, key=self._position, reverse=True):
            world = found.get(node)
            if world is None:
                continue
            match rules[node]:
                case Led() as led:
                    self._ask_leaders(node, led, world, found)
                case Carried(parent):
                    _merge(found, parent, self._carrier(node, parent, world))
                case Reached(reach) if reach.name not in met:
                    joints = self.task.routes.chains[reach.chain].joints
                    if node == min(joints, key=self._position):
                        met.add(reach.name)
                        self._ask_reach(reach, joints, found)
                case _:
                    pass
        return {node: world for node, world in found.items() if isinstance(rules.get(node), Own)}

    def _ask_leaders(self, node: str, led: Led, world: World, found: dict[str, World]) -> None:
        """A mount is leader · offset, for every leader that counts."""
        takes = led.follow.takes
        mount = mount_for(
            self.posed,
            node,
            World(
                world.place if "move" in takes else None, world.turn if "turn" in takes else None
            ),
        )
        for index in led.leaders:
            leader = led.follow.leaders[index].node
            if leader is None:
                continue
            offset = self.evaluator.settled.follows[led.follow.name][index]
            linear = self.posed.linear(leader)
            turn = None
            if mount.turn is not None:
                turn = turned_by(mount.turn, back(np.broadcast_to(offset.turn, mount.turn.shape)))
                linear = matrices(turned_by(turn, back(self.posed.turn(leader)))) @ linear
            place = None
            if mount.place is not None:
                place = mount.place - applied(linear, np.broadcast_to(offset.place, (1, 3)))
            _merge(found, leader, World(place, turn))

    def _carrier(self, node: str, parent: str, world: World) -> World:
        """The parent's world after the rigid motion that brings the node to its own."""
        turn, place = None, None
        away = self.posed.place(parent) - self.posed.place(node)
        if world.turn is not None:
            motion = turned_by(world.turn, back(self.posed.turn(node)))
            turn = turned_by(motion, self.posed.turn(parent))
            away = applied(matrices(motion), away)
        if world.place is not None:
            place = world.place + away
        return World(place, turn)

    def _ask_reach(self, reach: Reach, joints: tuple[str, ...], found: dict[str, World]) -> None:
        """The goal and the pole of a chain whose joints are all wanted somewhere."""
        turns = [found[joint].turn if joint in found else None for joint in joints]
        known = [turn for turn in turns if turn is not None]
        if len(known) != len(joints):
            return
        made: Aim = aim(self.posed, reach, known)
        _merge(found, reach.goal, World(made.goal))
        if reach.pole is not None and made.pole is not None:
            _merge(found, reach.pole, World(made.pole))
        placed = any(joint in found and found[joint].place is not None for joint in joints)
        if placed and made.eased.any():
            self._level(reach)

    def _level(self, reach: Reach) -> None:
        """An eased goal would lengthen bones that are wanted as they are: they may not stretch."""
        name = reach.stretch.channel
        if name is None or name in self.task.fixed or self.evaluator.channels[name].driven:
            return
        if name not in self.levelled and self._put({name: np.zeros(self.posed.poses)}):
            self.levelled.append(name)

    # ---- what is left ----------------------------------------------------------------------------

    def _worst(self) -> float:
        wanted = {node: self.task.wanted[node] for node in self.task.seen}
        return float(np.abs(errors(self.posed, wanted, self.height)).max(initial=0.0))

    def search(self) -> None:
        """Search where closed forms were not enough and something else may be."""
        wanted = {
            node: World(self.task.wanted[node].place, self.task.wanted[node].turn)
            for node in self.task.seen
        }
        off = np.abs(errors(self.posed, wanted, self.height)).max(axis=1, initial=0.0)
        rows = np.flatnonzero(off > NEAR)
        controls = self._searchers() if len(rows) else ()
        channels = [
            channel
            for node in controls
            for channel in free_channels(self.evaluator, node)
            if channel.name not in self.task.fixed
        ][:MOST_CHANNELS]
        quarry = Quarry(tuple(channels), wanted, self.height)
        self.searched = self._put(searched(self.evaluator, self.channels, quarry, rows))
        if self.searched:
            self.round(without=controls)

    def _searchers(self) -> tuple[str, ...]:
        """The controls that a search may move.

        Those that a lock or a limit kept, with the others that answer for the switched side; where
        a value between blends two sides, all that answer; where nobody answers, any that may move.
        A reach that was asked for what it cannot do is left as its closed form has it.
        """
        routes = self.task.routes
        kept = {node for node, held in self._causes().items() if held}
        blended = any(
            isinstance(one, Led) and len(one.leaders) > 1 for one in routes.rules.values()
        )
        if kept or blended:
            return tuple([one for one in self.answering if one in kept or one in routes.controls()])
        if routes.reaches() and not routes.unknown():
            return ()
        return tuple([one for one in self.task.loose if one not in self.task.keep])

    def _causes(self) -> dict[str, tuple[Held, ...]]:
        """What was held of controls that depend on nothing else that is off: where errors begin."""
        off = {
            node
            for node, world in self.task.wanted.items()
            if np.abs(errors(self.posed, {node: world}, self.height)).max(initial=0.0) > NEAR
        }
        return {
            node: held
            for node, held in self.held.items()
            if not (off & self.task.sooner(node)) - {node}
        }

    def solution(self) -> Solution:
        """What was found."""
        flat = []
        if self._worst() > NEAR:
            flat = [reach.chain for reach in self.task.routes.reaches()]
        held = tuple(one for held in self._causes().values() for one in held)
        return Solution(
            self.channels,
            held,
            tuple(flat),
            tuple(self.levelled),
            self.searched,
            self.task.routes.unknown(),
        )


def worlds_of(posed: Posed, nodes: tuple[str, ...]) -> dict[str, World]:
    """The world transforms of nodes in a pose, by name."""
    return {node: world_of(posed, node) for node in nodes}


def _merge(found: dict[str, World], node: str, world: World) -> None:
    """Ask a node for what it is not asked for yet."""
    held = found.get(node, World())
    found[node] = World(
        world.place if held.place is None else held.place,
        world.turn if held.turn is None else held.turn,
    )
