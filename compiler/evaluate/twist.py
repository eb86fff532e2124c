"""Twist: turning about a chain's own axis, read at its ends and spread along it.

An end that meets a node counts whole turns: to the angle that is read, the nearest multiple of
360 degrees is added that brings it to the sum of the turn channels on the node's path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from somite.evaluate.algebra import Array, Parts, about, planes, stack, twist_angle
from somite.evaluate.live import Number
from somite.evaluate.nodes import encode_turns
from somite.evaluate.scalar import twist as scalar
from somite.evaluate.scalar.nodes import turned_by, turned_rest, turned_same
from somite.evaluate.state import TURN, State
from somite.ir import Quaternion, Vector
from somite.spatial.rotation import IDENTITY, conjugate, product
from somite.spatial.trig import TAU

if TYPE_CHECKING:
    from somite.evaluate.scalar.writer import Writer


@dataclass(slots=True)
class TwistedEnd:
    """One end: the leader's slot and offset; `turned` sums the axis turns of its path.

    `turned` is None where whole turns are not counted; `ignored` sums the axis turns that the
    twist is to leave out.
    """

    leader: int
    offset: Quaternion
    turned: Number | None = None
    ignored: Number | None = None

    def angle(self, state: State, untwisted: Parts, axis: Vector) -> Array:
        """The angle (poses) from the untwisted end to the leader, about the axis."""
        met = product(planes(state.world[self.leader, TURN]), self.offset)
        angle = twist_angle(product(conjugate(untwisted), met), axis)
        if self.turned is not None:
            angle = angle + TAU * np.rint((self.turned(state) - angle) / TAU)
        return angle if self.ignored is None else angle - self.ignored(state)

    def encode(self, writer: Writer, untwisted: int, axis: Vector) -> int:
        """The row of a program's memory that has the angle; `untwisted` is a slot's address."""
        sums = [0 if one is None else one.encode(writer) for one in (self.turned, self.ignored)]
        made, fixed = writer.scratch(1), writer.constant(*self.offset, *axis)
        writer.add(scalar.twist_read, [(made, untwisted, writer.slot(self.leader), *sums, fixed)])
        return made


@dataclass(slots=True)
class Untwisted:
    """Where a joint's turn comes from before the twist.

    A slot with an offset; or (slot None) the joint before, with what its channels turn it, at a
    row of local turns.
    """

    slot: int | None
    offset: Quaternion
    before: int | None = None


@dataclass(slots=True)
class Twisted:
    """One twist over a chain's joints.

    `ends` are slots that hold the chain's first and last untwisted frames, where a ride made
    them; else those of the joints are taken.
    """

    target: Sequence[int]
    joints: Sequence[Untwisted]
    axis: Vector
    spread: Array
    start: TwistedEnd | None
    end: TwistedEnd
    ends: tuple[int, int] | None = None

    def run(self, state: State) -> None:
        """Twist the joints."""
        turns = self._untwisted(state)
        first, last = turns[0], turns[-1]
        if self.ends is not None:
            first, last = (planes(state.world[slot, TURN]) for slot in self.ends)
        angles = self.spread[:, None] * self.end.angle(state, last, self.axis)
        if self.start is not None:
            begun = self.start.angle(state, first, self.axis)
            angles = angles + (1.0 - self.spread)[:, None] * begun
        held: Parts = tuple([np.stack([turn[k] for turn in turns]) for k in range(4)])
        made = product(held, about(self.axis, angles))
        slots = slice(self.target[0], self.target[0] + len(turns))
        state.world[slots, TURN] = stack(made, (len(turns), 4, state.poses))

    def encode(self, writer: Writer) -> None:
        """As `Step.encode`."""
        turns = self._encode_untwisted(writer)
        first, last = turns[0], turns[-1]
        if self.ends is not None:
            first, last = (writer.slot(slot) for slot in self.ends)
        end, start = self.end.encode(writer, last, self.axis), writer.fixed(0.0)
        if self.start is not None:
            start = self.start.encode(writer, first, self.axis)
        told = zip(self.target, turns, self.spread, strict=True)
        writer.add(
            scalar.twisted,
            [
                (writer.slot(to), turn, end, start, writer.constant(share, *self.axis))
                for to, turn, share in told
            ],
        )

    def _encode_untwisted(self, writer: Writer) -> list[int]:
        """Slots of scratch with the joints' turns before the twist."""
        found: list[int] = []
        for joint in self.joints:
            made = writer.scratch(7)
            if joint.slot is not None:
                encode_turns(writer, [made], [joint.slot], [joint.offset])
            else:
                writer.add(turned_same, [(made, found[-1])])
                if joint.before is not None:
                    writer.add(turned_by, [(made, writer.local(joint.before))])
                writer.add(turned_rest, [(made, made, writer.constant(*joint.offset))])
            found.append(made)
        return found

    def _untwisted(self, state: State) -> list[Parts]:
        found: list[Parts] = []
        for joint in self.joints:
            if joint.slot is not None:
                turn = planes(state.world[joint.slot, TURN])
            else:
                turn = found[-1]
                if joint.before is not None:
                    turn = product(turn, planes(state.local[joint.before]))
            found.append(turn if joint.offset == IDENTITY else product(turn, joint.offset))
        return found
