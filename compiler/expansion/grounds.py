"""The grounds of rigs within rigs: from the space of a placed rig to that of the rig around it.

A rig that stands on a socket is built in a space of its own, as if it stood alone; its ground, a
frame in the space of the rig around it, carries what it holds there. Grounds are rigid: a mirrored
placing has its reflection in the scope (see `entities`), never here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from somite.ir import Frame, Vector
from somite.spatial import rotation, vector

if TYPE_CHECKING:
    from somite.expansion.scope import Scope
    from somite.expansion.state import Build


def carried(ground: Frame, frame: Frame) -> Frame:
    """A frame of a placed rig in the space of the rig around it."""
    return Frame(place_on(ground, frame.place), rotation.product(ground.turn, frame.turn))


def place_on(ground: Frame, place: Vector) -> Vector:
    """A position of a placed rig in the space of the rig around it."""
    return vector.add(ground.place, rotation.rotated(ground.turn, place))


def frame_above(frame: Frame, source: Build, reader: Build) -> Frame:
    """A frame in the space of one rig, in that of a rig around it."""
    for ground in _grounds(source, reader):
        frame = carried(ground, frame)
    return frame


def vector_between(xyz: Vector, source: Scope, reader: Scope, *, point: bool) -> Vector:
    """A position or a direction from one scope's own space to another's."""
    if source.build is reader.build:
        return xyz if source.mirrored == reader.mirrored else reader.build.reflected(xyz)
    if source.mirrored:
        xyz = source.build.reflected(xyz)
    for ground in _grounds(source.build, reader.build):
        xyz = place_on(ground, xyz) if point else rotation.rotated(ground.turn, xyz)
    return reader.build.reflected(xyz) if reader.mirrored else xyz


def _grounds(source: Build, reader: Build) -> list[Frame]:
    """The grounds to climb, innermost first."""
    found: list[Frame] = []
    while source is not reader:
        assert source.around is not None and source.ground is not None
        found.append(source.ground())
        source = source.around
    return found
