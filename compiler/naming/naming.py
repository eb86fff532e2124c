"""A settled rig with the names of ISO/IEC 19774 for its joints, as a names file says.

What comes in is the rig, the names and a level of articulation; what goes out is the rig with those
names as its spelling, which joints they are in the standard's hierarchy, and findings where the two
do not agree. Nothing here reads a file.

A run of n joints is laid over the m joints of the standard that are there at the level. Spread:
the shorter run is laid evenly over the longer, first on first and last on last; of n and m joints,
the k-th of the shorter (from 0) meets the longer's at k (longer - 1) / (shorter - 1), rounded half
up; a single one is the first. From the first or from the last: one by one from that end. So a name
never depends on where a joint lies, only on how many there are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from somite.axes import Axes
from somite.findings import Code, Finding, Severity, has_errors, nearest
from somite.humanoid import standard
from somite.humanoid.named import NamedJoint, NamedJoints
from somite.ir import Node, Rig
from somite.naming.names_file import NAMES_TWICE, Entry, Names
from somite.settle import Settled
from somite.text import Site

NAMES_NODE = Code("names-node", Severity.WARNING)
NAMES_ORDER = Code("names-order")

Pairs = dict[str, tuple[str, Entry]]
"""The dotted name of a node of the rig by the standard's name, and the line that says so."""


def named(
    settled: Settled, names: Names, level: int | None = None
) -> tuple[Settled | None, NamedJoints | None, tuple[Finding, ...]]:
    """The rig spelled with the standard's names, and its joints in the standard's hierarchy.

    `level` is the level of articulation, by default the file's own: joints that the standard does
    not have at it keep the recipe's spelling. None where names and rig contradict each other.
    """
    level = names.level if level is None else level
    rig = settled.rig
    findings: list[Finding] = []
    pairs = _pairs(rig, names, level, findings)
    findings += _taken(rig, pairs)
    findings += _order(rig, pairs)
    if has_errors(findings):
        return None, None, tuple(findings)
    spelled = {node: name for name, (node, _) in pairs.items()}
    nodes = tuple(replace(node, spelled=spelled.get(node.name, node.spelled)) for node in rig.nodes)
    joints = _joints(rig, pairs, level, Site(names.source.name, 1, 1))
    return replace(settled, rig=replace(rig, nodes=nodes)), joints, tuple(findings)


# ---- which joint bears which name ----------------------------------------------------------------


def _pairs(rig: Rig, names: Names, level: int, findings: list[Finding]) -> Pairs:
    joints = {node.name for node in rig.nodes if node.kind == "joint"}
    pairs: Pairs = {}
    told: set[str] = set()
    for entry in names.entries:
        ours: tuple[str, ...] = (entry.node,)
        theirs: tuple[str, ...] = (entry.name,) if standard.is_at(entry.name, level) else ()
        if entry.last is not None:
            ours = _members(rig, entry.node)
            theirs = standard.run(entry.name, entry.last, level)
        missing = not ours if entry.last is not None else entry.node not in joints
        if missing and entry.node not in told:
            told.add(entry.node)
            findings.append(_no_node(entry, rig))
        if not missing:
            pairs.update({name: (ours[n], entry) for n, name in laid(len(ours), theirs, entry.way)})
    return pairs


def laid(count: int, names: Sequence[str], way: str) -> Iterator[tuple[int, str]]:
    """Which of so many joints bears which of these names, as the module says."""
    if not names or not count:
        return
    fewer, more = min(count, len(names)), max(count, len(names))
    for k in range(fewer):
        if way == "spread":
            # k (more - 1) / (fewer - 1), rounded half up, in whole numbers.
            far = (2 * k * (more - 1) + fewer - 1) // (2 * (fewer - 1)) if fewer > 1 else 0
            yield (k, names[far]) if count <= len(names) else (far, names[k])
        elif way == "first":
            yield k, names[k]
        else:
            yield count - fewer + k, names[len(names) - fewer + k]


def _members(rig: Rig, name: str) -> tuple[str, ...]:
    """The joints of a chain, or those that bear one word and a number: `digit.bone.1`."""
    for chain in rig.chains:
        if chain.name == name:
            return chain.joints
    known = {node.name for node in rig.nodes if node.kind == "joint"}
    found: list[str] = []
    while f"{name}.{len(found) + 1}" in known:
        found.append(f"{name}.{len(found) + 1}")
    return tuple(found)


def _no_node(entry: Entry, rig: Rig) -> Finding:
    joints = [node.name for node in rig.nodes if node.kind == "joint"]
    kind = next((node.kind for node in rig.nodes if node.name == entry.node), None)
    what = "a run of joints" if entry.last is not None else "a joint"
    found = f", which is a {kind}" if kind is not None and kind != "joint" else ", found none"
    known = joints
    if entry.last is not None:
        known = [chain.name for chain in rig.chains]
        known += [name.rpartition(".")[0] for name in joints if name.endswith(".1")]
    close = nearest(entry.node, known)
    help = f'did you mean "{close}"?' if close else "names are those of the recipe, written in full"
    message = f'expected {what} "{entry.node}" in the rig of "{rig.character}"{found}'
    return NAMES_NODE.at(entry.site, message, help=help)


def _taken(rig: Rig, pairs: Pairs) -> Iterator[Finding]:
    """Findings for names that something else of the rig bears, and joints that bear two."""
    bearers: dict[str, str] = {}
    for name, (node, entry) in pairs.items():
        other = bearers.setdefault(node, name)
        if other != name:
            message = f'expected one name for "{node}", found "{other}" and "{name}"'
            yield NAMES_TWICE.at(entry.site, message, help="keep one of the two")
    others = [(node.name, node.spelled) for node in rig.nodes if node.name not in bearers]
    others += [(curve.name, curve.spelled) for curve in rig.curves]
    others += [(gauge.name, gauge.spelled) for gauge in rig.gauges]
    for name, spelled in others:
        if spelled in pairs:
            message = f'expected "{spelled}" to name one thing, found that "{name}" is spelled so'
            help = "give it another name in the recipe"
            yield NAMES_TWICE.at(pairs[spelled][1].site, message, help=help)


# ---- the hierarchy -------------------------------------------------------------------------------


def _order(rig: Rig, pairs: Pairs) -> Iterator[Finding]:
    """Findings for joints whose order in the rig is not the standard's.

    Whatever named joint a joint hangs under in the rig must be above it in the standard. A joint
    need not hang under all that are: a rig may hang a leg on a pelvis that is no part of its back.
    """
    parents = {node.name: node.parent for node in rig.nodes}
    borne = {node: name for name, (node, _) in pairs.items()}
    for name, (node, entry) in pairs.items():
        above = standard.ancestors(name)
        parent = parents[node]
        while parent is not None:
            other = borne.get(parent)
            if other is not None and other not in above:
                message = (
                    f'expected "{other}" above "{name}" in the standard as "{parent}" is'
                    f' above "{node}" in the rig, found it elsewhere'
                )
                related = [(pairs[other][1].site, f'"{other}" is named here')]
                help = f"above {name} the standard has {', '.join(above[:4]) or 'nothing'}"
                yield NAMES_ORDER.at(entry.site, message, help=help, related=related)
                break
            parent = parents.get(parent)
        side = {"l_": "right", "r_": "left"}.get(name[:2])
        if side in node.split("."):
            message = f'expected "{name}" on its own side, found it on "{node}"'
            help = "l_ is the character's own left"
            yield NAMES_ORDER.at(entry.site, message, help=help)


def _joints(rig: Rig, pairs: Pairs, level: int, site: Site) -> NamedJoints:
    nodes: dict[str, Node] = {node.name: node for node in rig.nodes}
    axes = Axes(rig.up, rig.front)
    found: list[NamedJoint] = []
    absent: list[str] = []
    for name, joint in standard.joints().items():
        if joint.level > level:
            continue
        if name not in pairs:
            absent.append(name)
            continue
        above = standard.ancestors(name, level)
        at = next((n for n, one in enumerate(above) if one in pairs), None)
        found.append(
            NamedJoint(
                name=name,
                node=pairs[name][0],
                parent=None if at is None else above[at],
                skipped=above if at is None else above[:at],
                level=joint.level,
                centre=axes.to_neutral(nodes[pairs[name][0]].rest.place),
            )
        )
    return NamedJoints(standard.STANDARD, level, tuple(found), tuple(absent), site)
