"""What an expansion has made so far: IR records, and work to be done once every name is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from somite.ir import (
    Chain,
    Check,
    Constraint,
    Curve,
    Feed,
    Gauge,
    NamedList,
    Node,
    Nudge,
    PlacedRig,
    Pose,
)

if TYPE_CHECKING:
    from somite.expansion.entities import CurveEntity, Entity, NodeEntity
    from somite.expansion.scope import Scope
    from somite.syntax import Clause


@dataclass(slots=True, eq=False)
class Records:
    """The IR of a rig in the making, and the emissions that wait for all declarations."""

    nodes: list[Node] = field(default_factory=list)
    chains: list[Chain] = field(default_factory=list)
    curves: list[Curve] = field(default_factory=list)
    constraints: list[Constraint] = field(default_factory=list)
    feeds: list[Feed] = field(default_factory=list)
    gauges: list[Gauge] = field(default_factory=list)
    lists: list[NamedList] = field(default_factory=list)
    poses: list[Pose] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)
    nudges: list[Nudge] = field(default_factory=list)
    placed: list[PlacedRig] = field(default_factory=list)
    owned: dict[str, list[tuple[NodeEntity, Clause]]] = field(default_factory=dict)
    curve_of: dict[int, CurveEntity] = field(default_factory=dict)
    waiting: list[tuple[Entity | None, Callable[[], None]]] = field(default_factory=list)

    def later(self, entity: Entity | None, emit: Callable[[], None]) -> None:
        """Do this when every name is declared; a failure marks the entity as failed."""
        self.waiting.append((entity, emit))


def records_of(scope: Scope) -> Records:
    """The records of the build that a scope belongs to."""
    return scope.build.records
