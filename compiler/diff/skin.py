"""What a change of a rig does to a mesh that is bound to it.

In come two rigs and what is which in them, out goes a `Skin`: the bound joints that were added,
removed, renamed, put under another parent or moved at rest. Weights are not known, and nothing is
posed: it is decided from the two rigs alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from somite.axes import Axes
from somite.diff.compatibility import Verdict, axes_of
from somite.diff.matching import Matching
from somite.diff.meaning import PLACE, Tolerance, same, turned_by
from somite.ir import Frame, Node, Rig
from somite.spatial.rotation import quaternion_from_matrix


@dataclass(frozen=True, slots=True)
class BoundMove:
    """A bound joint that is elsewhere at rest: by how far (metres) and how much turned."""

    old: str
    new: str
    by: float
    turned: float


@dataclass(frozen=True, slots=True)
class Skin:
    """What happened to the joints that a mesh is bound to.

    They are those of the lists called `skin` at the top of the recipe; else of all lists called so
    (`spine.skin`); else all joints: `bound_by` says which. keeps: the same joints, parents and rest
    pose. carries: some of them only have other names. breaks: anything more.
    """

    verdict: Verdict
    bound_by: str
    added: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    renamed: tuple[tuple[str, str], ...] = ()
    reparented: tuple[tuple[str, str | None, str | None], ...] = ()
    moved: tuple[BoundMove, ...] = ()
    bound: int = 0


def skin(old: Rig, new: Rig, matching: Matching) -> Skin:
    """What happened to the joints that a mesh is bound to."""
    before, by_old = bound_joints(old)
    after, by_new = bound_joints(new)
    partner = {pair.old.name: pair.new for pair in matching.pairs_of("nodes")}
    nodes = {node.name: node for node in old.nodes}
    kept = [
        (nodes[name], partner[name])
        for name in before
        if name in partner and partner[name].name in after
    ]
    kept_new = {node.name for _, node in kept}
    names = tuple([(a.name, b.name) for a, b in kept if a.name != b.name])
    reparented = tuple(
        [(b.name, a.parent, b.parent) for a, b in kept if _parent_name(a, partner) != b.parent]
    )
    moved = tuple(_moves(old, new, kept))
    added = tuple([name for name in after if name not in kept_new])
    removed = tuple(
        [name for name in before if name not in partner or partner[name].name not in after]
    )
    verdict: Verdict = "keeps"
    if added or removed or reparented or moved:
        verdict = "breaks"
    elif names:
        verdict = "carries"
    by = by_new if by_old == by_new else f"{by_old}; now {by_new}"
    return Skin(verdict, by, added, removed, names, reparented, moved, len(after))


def bound_joints(rig: Rig) -> tuple[tuple[str, ...], str]:
    """The joints that a mesh is bound to, in the rig's order, and what says so."""
    joints = [node.name for node in rig.nodes if node.kind == "joint"]
    for lists, by in (
        ([one for one in rig.lists if one.name == "skin"], 'the list "skin"'),
        ([one for one in rig.lists if one.name.endswith(".skin")], 'the lists called "skin"'),
    ):
        if lists:
            held = {name for one in lists for name in one.members}
            return tuple([name for name in joints if name in held]), by
    return tuple(joints), 'all joints, since no list is called "skin"'


def _parent_name(node: Node, partner: Mapping[str, Node]) -> str | None:
    if node.parent is None or node.parent not in partner:
        return node.parent
    return partner[node.parent].name


def _moves(old: Rig, new: Rig, kept: Iterable[tuple[Node, Node]]) -> Iterator[BoundMove]:
    spaces = Axes(old.up, old.front), Axes(new.up, new.front)
    within = Tolerance(PLACE * max(old.height, new.height))
    for a, b in kept:
        first, second = (_neutral(node, axes) for node, axes in zip((a, b), spaces, strict=True))
        if not same(first, second, within):
            yield BoundMove(
                a.name, b.name, math.dist(first.place, second.place), turned_by(first, second)
            )


def _neutral(node: Node, axes: Axes) -> Frame:
    """A rest frame in neutral space, with its own axes as they are."""
    if (axes.up, axes.front) == ("+Y", "+Z"):
        return node.rest
    a, b, c = axes_of(node, axes)
    first, second, third = ((a[k], b[k], c[k]) for k in range(3))
    turn = quaternion_from_matrix((first, second, third))
    return Frame(axes.to_neutral(node.rest.place), turn)
