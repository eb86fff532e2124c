"""`twist CHAIN`: how turning about a chain's own axis is spread along it."""

from __future__ import annotations

from itertools import pairwise

from somite.expansion.clauses import excuses_of, gather, only
from somite.expansion.entities import ChainEntity, NodeEntity
from somite.expansion.nodes import parent_of
from somite.expansion.records import records_of
from somite.expansion.scope import Scope
from somite.findings import Code
from somite.ir import Twist, TwistEnd
from somite.spatial import vector
from somite.statements.chain import chain_frames
from somite.syntax import Clause, Reference, Statement, Word
from somite.units import NUMBER

TWIST_SHAPE = Code("twist-shape")

WORDS = ("twist",)
CLAUSES = frozenset({"starts", "ends", "spread", "ignores", "excuse"})
BLOCK = frozenset({"when"})


def declare(statement: Statement, scope: Scope) -> None:
    """Make the twist when every name is known."""
    records_of(scope).later(None, lambda: _emit(statement, scope))


def _emit(statement: Statement, scope: Scope) -> None:
    clauses = gather(statement, scope, CLAUSES)
    chain = scope.chain(statement.arguments[0])
    start, end = only(clauses, "starts"), only(clauses, "ends")
    if end is None:
        raise scope.stop(
            TWIST_SHAPE,
            statement,
            f'the twist of "{chain.dotted}" does not say where its end comes from',
            help="write: end meets high relative to low, or: end from hand",
        )
    spread, stated = _spread(chain, only(clauses, "spread"), scope)
    ignored = tuple(
        sorted(scope.node(a).dotted for line in clauses.get("ignores", ()) for a in line.arguments)
    )
    records_of(scope).constraints.append(
        Twist(
            name=f"{chain.dotted}/twist",
            chain=chain.dotted,
            start=_end(start, scope) if start else None,
            end=_end(end, scope),
            spread=spread,
            stated=stated,  # type: ignore[arg-type]
            ignores=ignored,
            excuses=excuses_of(clauses, scope),
            origin=(scope.site(statement), *scope.trail),
        )
    )


def _end(clause: Clause, scope: Scope) -> TwistEnd:
    mode = clause.arguments[0]
    references = [argument for argument in clause.arguments if isinstance(argument, Reference)]
    node = scope.node(references[0])
    if isinstance(mode, Word) and mode.text == "from":
        return TwistEnd("from", node.dotted)
    relative = scope.node_or_world(references[1]) if len(references) > 1 else None
    path = _path(node, relative)
    return TwistEnd(
        "meets",
        node.dotted,
        relative.dotted if relative else None,
        tuple([mover.dotted for mover in path]),
    )


def _mover(node: NodeEntity) -> NodeEntity | None:
    """What turns a node: its one leader for turns, else its parent."""
    scope = node.scope
    for clause in node.clauses.get("follow", ()):
        leaders = [a for a in clause.arguments if isinstance(a, Clause) and a.word == "leader"]
        if len(leaders) == 1:
            return scope.node_or_world(leaders[0].arguments[0])
    if node.chain is not None and node is not node.chain.joints[0]:
        return node.chain.joints[node.chain.joints.index(node) - 1]
    return parent_of(node, scope)


def _path(node: NodeEntity, relative: NodeEntity | None) -> list[NodeEntity]:
    """The nodes from what carries both (excluded) to the leader, outermost first."""
    above: list[NodeEntity] = []
    current = relative
    while current is not None and current not in above:
        above.append(current)
        current = _mover(current)
    path: list[NodeEntity] = []
    current = node
    while current is not None and current not in above and current not in path:
        path.append(current)
        current = _mover(current)
    return list(reversed(path))


def _spread(
    chain: ChainEntity, clause: Clause | None, scope: Scope
) -> tuple[tuple[float, ...], str]:
    """Each joint's share of the end's twist: by length, eased, or by listed weights."""
    joints = len(chain.joints)
    if clause is not None and not isinstance(clause.arguments[0], Word):
        return _listed(clause, joints, scope), "listed"
    frames, _ = chain_frames(chain)
    reached = [0.0]
    for before, after in pairwise(frames):
        reached.append(reached[-1] + vector.distance(before.place, after.place))
    if chain.fractions:
        reached = list(chain.fractions[:-1])
    total = reached[-1]
    shares = [at / total if total > 0.0 else 1.0 for at in reached]
    shares[-1] = 1.0
    if clause is None or clause.arguments[0].text == "even":  # type: ignore[union-attr]
        return tuple(shares), "even"
    return tuple([s * s * (3.0 - 2.0 * s) for s in shares]), "eased"


def _listed(clause: Clause, joints: int, scope: Scope) -> tuple[float, ...]:
    weights = [scope.number(argument, NUMBER) for argument in clause.arguments]
    if len(weights) != joints:
        raise scope.stop(
            TWIST_SHAPE,
            clause,
            f"expected {joints} weights for {joints} joints, found {len(weights)}",
            help="each is what its joint adds to the twist of the one before",
        )
    total = 0.0
    reached = []
    for weight, argument in zip(weights, clause.arguments, strict=True):
        if weight < 0.0:
            raise scope.stop(
                TWIST_SHAPE, argument, f"expected a weight from 0 up, found {weight:g}"
            )
        total += weight
        reached.append(total)
    if total <= 0.0:
        raise scope.stop(TWIST_SHAPE, clause, "expected a weight above 0, found none")
    shares = [at / total for at in reached]
    shares[-1] = 1.0
    return tuple(shares)
