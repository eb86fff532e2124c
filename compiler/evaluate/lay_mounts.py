"""Following and facing, laid into a plan.

One leader needs no operation: the follower's mount is simply read from it. Several leaders, an
axis or a mark need one, whose result mounts read from a slot of its own.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from somite.evaluate.algebra import rows
from somite.evaluate.face import Faced
from somite.evaluate.follow import (
    BlendedPlaces,
    BlendedSize,
    BlendedTurns,
    TurnsAbout,
    Weighting,
    Weights,
)
from somite.evaluate.laying import Key, Laying, Mounted, Source, mount_of, offsets_of, turnings_of
from somite.evaluate.state import Step
from somite.ir import Face, Follow
from somite.settle import AXES
from somite.spatial.vector import ZERO

NEAR = 1e-9
"""A mark is in the same place within so many heights of the rig."""


def follow(laying: Laying, follow: Follow) -> None:
    """Have a node's mount follow; weights that sum to nothing leave it with its parent."""
    weights = laying.inherited.weights.get(follow.name)
    if weights is None:
        return
    offsets = laying.settled.follows[follow.name]
    sources = [
        Source(laying.slot(leader.node), offset.place, offset.turn)
        for leader, offset in zip(follow.leaders, offsets, strict=True)
    ]
    chosen = [k for k, share in enumerate(weights.stated) if share > 0.0]
    single = weights.row is None and len(chosen) == 1
    if single or len(sources) == 1:
        only = sources[chosen[0] if single else 0]
        if "move" in follow.takes:
            laying.places_written[follow.node] = only
        if "turn" in follow.takes and follow.about is None:
            laying.turns_written[follow.node] = only
    else:
        _between(laying, follow, weights, sources)
    if "turn" in follow.takes and follow.about is not None:
        _about(laying, follow, weights, sources)
    if "size" in follow.takes:
        _sizes(laying, follow, weights)


def _dial_needs(laying: Laying, follow: Follow) -> list[Key]:
    return [] if follow.dial is None else list(laying.channel_needs(follow.dial))


def _between(laying: Laying, follow: Follow, weights: Weights, sources: list[Source]) -> None:
    needs = _dial_needs(laying, follow)
    slot = laying.spare()
    member = (slot, sources, weights)
    if "move" in follow.takes:
        # With an offset to any leader, the linear parts of all are read: only a landing, which has
        # no offsets, may come before these.
        beside = any(one.place != ZERO for one in sources)
        parts = ("place", "linear") if beside else ("place",)
        operation = laying.operation(
            [*needs, *[(part, one.slot) for one in sources for part in parts]]
        )
        form = (len(sources), weights.kind, beside)
        laying.add(operation, "blend place", form, member, _blended_places)
        laying.provide(operation, ("place", slot))
        laying.places_written[follow.node] = Source(slot)
    if "turn" in follow.takes and follow.about is None:
        operation = laying.operation([*needs, *[("turn", one.slot) for one in sources]])
        laying.add(operation, "blend turn", (len(sources), weights.kind), member, _blended_turns)
        laying.provide(operation, ("turn", slot))
        laying.turns_written[follow.node] = Source(slot)


def _blended_places(held: list[Any]) -> Step:
    sources = [one for _, group, _ in held for one in group]
    return BlendedPlaces(
        rows([slot for slot, _, _ in held]),
        rows([one.slot for one in sources]),
        offsets_of(sources),
        Weighting([weights for _, _, weights in held]),
    )


def _blended_turns(held: list[Any]) -> Step:
    sources = [one for _, group, _ in held for one in group]
    turnings = turnings_of(sources)
    if turnings is None:
        turnings = np.repeat(np.eye(4)[None], len(sources), axis=0)
    return BlendedTurns(
        rows([slot for slot, _, _ in held]),
        rows([one.slot for one in sources]),
        turnings,
        Weighting([weights for _, _, weights in held]),
    )


def _about(laying: Laying, follow: Follow, weights: Weights, sources: list[Source]) -> None:
    assert follow.about is not None
    slot, parent = laying.spare(), laying.slot(laying.nodes[follow.node].parent)
    step = TurnsAbout(
        slot,
        parent,
        AXES[follow.about],
        [one.slot for one in sources],
        laying.settled.abouts[follow.name],
        [one.turn for one in sources],
        Weighting([weights]),
    )
    needs: list[Key] = [("turn", parent), *[("turn", one.slot) for one in sources]]
    operation = laying.operation([*needs, *_dial_needs(laying, follow)])
    laying.alone(operation, "turn about", step)
    laying.provide(operation, ("turn", slot))
    laying.turns_written[follow.node] = Source(slot)


def _sizes(laying: Laying, follow: Follow, weights: Weights) -> None:
    laying.inherited.mount(follow.node)
    blend = laying.inherited.blends.get(follow.name)
    if blend is None:
        return
    sources, made = blend
    laying.asked.update(sources)
    needs: list[Key] = [("size", size) for size in sources]
    operation = laying.operation([*needs, *_dial_needs(laying, follow)])
    laying.alone(operation, "blend size", BlendedSize(sources, Weighting([weights]), made))
    laying.provide(operation, ("size", made))


def face(laying: Laying, face: Face) -> None:
    """Have a node's mount face a mark."""
    place, turn = laying.place_source(face.node), laying.turn_source(face.node)
    mounted = Mounted(place, turn, laying.inherited.mount(face.node), False)
    mark, up, slot = laying.slot(face.mark), laying.slot(face.up_node), laying.spare()
    needs: list[Key] = [("place", mark), ("turn", up), ("turn", turn.slot)]
    operation = laying.operation([*needs, *laying.place_needs(place)])
    form = (face.axis, face.up, face.up_axis, mounted.form)
    member = (slot, mounted, mark, up, face)
    laying.add(operation, "face", form, member, lambda held: _faced(laying, held))
    laying.provide(operation, ("turn", slot))
    laying.turns_written[face.node] = Source(slot)


def _faced(laying: Laying, held: list[Any]) -> Step:
    first: Face = held[0][-1]
    offsets = [laying.settled.faces[face.name].offset for *_, face in held]
    return Faced(
        rows([slot for slot, *_ in held]),
        mount_of([mounted for _, mounted, *_ in held]),
        rows([mark for _, _, mark, _, _ in held]),
        rows([up for *_, up, _ in held]),
        AXES[first.axis],
        AXES[first.up],
        AXES[first.up_axis],
        tuple(np.array(offsets).T[:, :, None]),
        NEAR * max(laying.settled.rig.height, 1e-9),
    )
