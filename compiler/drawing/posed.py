"""Where a rig's nodes and curves are in one pose, in the form that strokes are drawn from, and what
of them nobody sees there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from somite.drawing.strokes import Transform
from somite.ir import Reach, Ride, Rig, Vector

if TYPE_CHECKING:
    from somite.evaluate import Posed


def at_pose(
    posed: Posed, row: int = 0
) -> tuple[Mapping[str, Transform], Mapping[str, tuple[Vector, ...]]]:
    """Transforms by node and control points by curve, of one of the poses (from 0)."""
    places, linears = posed.places[row].tolist(), posed.linears[row].tolist()
    transforms = {
        name: Transform(
            (place[0], place[1], place[2]),
            tuple([(rows[0][k], rows[1][k], rows[2][k]) for k in range(3)]),  # type: ignore[arg-type]
        )
        for name, place, rows in zip(posed.names, places, linears, strict=True)
    }
    points = {
        curve.name: tuple([(p[0], p[1], p[2]) for p in posed.points(curve.name)[row].tolist()])
        for curve in posed.settled.rig.curves
    }
    return transforms, points


def unseen(posed: Posed, row: int = 0) -> frozenset[str]:
    """What an animator does not see in one of the poses (from 0), by name.

    It is the controls that a dial hides, and the joints that are only solved for others to follow.
    """
    rig = posed.settled.rig
    hidden = [node.name for node in rig.nodes if node.shown and not posed.shown(node.name)[row]]
    return solved_only(rig) | frozenset(hidden)


def solved_only(rig: Rig) -> frozenset[str]:
    """The joints of chains that are only solved, for others to follow.

    They are known by this, that no mesh is bound to them: a rig says to which one is by lists
    called `skin`. Of a rig that says nothing of it, there are none.
    """
    skins = [one.members for one in rig.lists if one.name.rpartition(".")[2] == "skin"]
    bound = {name for members in skins for name in members}
    solved = {one.chain for one in rig.constraints if isinstance(one, Reach | Ride)}
    joints: set[str] = set()
    for chain in rig.chains:
        if bound and chain.name in solved and bound.isdisjoint(chain.joints):
            joints.update(chain.joints)
    return frozenset(joints)
