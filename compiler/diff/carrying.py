"""Values of an old rig's channels as values of a new rig's, by their channel map.

In come a `ChannelMap` and arrays of values, out go arrays by the new channels' names. Nothing here
judges what is lost, and nothing is solved: a control in another space keeps its values.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from somite.diff.compatibility import ChannelLink, ChannelMap, ControlLink
from somite.evaluate.algebra import Array
from somite.spatial.rotation import euler_from_quaternion, quaternion_from_euler


def carried(
    whole: ChannelMap,
    values: Mapping[str, Array],
    *,
    pinned: bool = True,
    reordered: bool = True,
) -> dict[str, Array]:
    """Values of old channels, (poses,) each, as values of the new rig's channels.

    Names, signs and choices are carried; `pinned`: old defaults, where they changed and are not
    given; `reordered`: turns are worked out again, pose by pose, which is exact at each. What
    breaks for want of a channel is left out, and nothing is solved: a control in another space
    keeps its values.
    """
    links = {link.old: link for link in whole.channels}
    shape = next((np.shape(value) for value in values.values()), ())
    found: dict[str, Array] = {}
    for name, value in values.items():
        link = links.get(name)
        if link is None or link.new is None:
            continue
        held = np.asarray(value, dtype=np.float64)
        if link.options:
            index = np.array(link.options, dtype=np.float64)
            held = index[np.rint(held).astype(int)]
            held = np.where(held < 0.0, 0.0, held)
        for new in (link.new, *link.also):
            found[new] = link.sign * held
    for link in whole.channels if pinned else ():
        if link.pinned and link.new is not None and link.new not in found:
            default = float(link.options[int(link.default)]) if link.options else link.default
            if default >= 0.0 or not link.options:
                found[link.new] = np.full(shape, default)
    if reordered:
        for control in whole.controls:
            if control.reordered and control.new is not None:
                _reorder(control, links, found, shape)
    return found


def _reorder(
    control: ControlLink,
    links: Mapping[str, ChannelLink],
    found: dict[str, Array],
    shape: tuple[int, ...],
) -> None:
    """The turns of a control worked out again, in place."""
    names = [f"{control.new}.turn.{axis}" for axis in "xyz"]
    if not any(name in found for name in names):
        return
    onto = {axis: axis for axis in "xyz"}
    for axis in "xyz":
        link = links.get(f"{control.old}.turn.{axis}")
        if link is not None and link.new is not None:
            onto[axis] = link.new[-1]
    order = "".join([onto[axis] for axis in control.old_order])
    parts = [found.get(name, np.zeros(shape)) for name in names]
    turn = quaternion_from_euler((parts[0], parts[1], parts[2]), order)
    for name, part in zip(names, euler_from_quaternion(turn, control.new_order), strict=True):
        found[name] = np.broadcast_to(np.asarray(part), shape).copy() if shape else np.asarray(part)
