"""The pose that a command is to show: poses the recipe names, and channels set by hand over them.

What comes in is options, what goes out is channels in the rig's units, or a posed rig; mistakes are
delivered as findings, and then there is none.
"""

from __future__ import annotations

import argparse

from somite.commands.arguments import Refused

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from typing import Any

    from somite.evaluate import Evaluator, Posed
    from somite.findings import Finding
    from somite.report.delivery import Delivery


def add(command: argparse.ArgumentParser) -> None:
    """The arguments that choose a pose."""
    command.add_argument(
        "--set",
        metavar="CONTROL.CHANNEL=VALUE",
        dest="settings",
        action="append",
        default=[],
        help="set a channel or a dial, such as high.turn.y=40 or hand.space=body (repeat it)",
    )
    command.add_argument(
        "--pose",
        metavar="NAME",
        dest="poses",
        action="append",
        default=[],
        help="take a pose that the recipe names (repeat it: a later one comes over)",
    )


def refuse_ill(options: argparse.Namespace) -> None:
    """Refused where a setting has no value at all."""
    for one in options.settings:
        if "=" not in one:
            raise Refused(f'expected CONTROL.CHANNEL=VALUE, found "{one}"')


def channels(
    options: argparse.Namespace, evaluator: Evaluator, delivery: Delivery
) -> tuple[dict[str, float], dict[str, float]] | None:
    """Channels of the named poses, and those set by hand; None where something is wrong."""
    from somite.evaluate import PoseError
    from somite.posing import named_pose, settings_from

    wrong: list[Finding] = []
    named: dict[str, float] = {}
    settings: dict[str, float] = {}
    for name in options.poses:
        try:
            named.update(named_pose(name, evaluator.settled.rig))
        except PoseError as error:
            wrong += error.findings
    try:
        settings = settings_from(options.settings, evaluator)
    except PoseError as error:
        wrong += error.findings
    if wrong:
        _deliver(wrong, delivery)
        return None
    return named, settings


def posed(channels: Mapping[str, Any], evaluator: Evaluator, delivery: Delivery) -> Posed | None:
    """The rig with these channels, and notes of what it could not take; None where it cannot."""
    from somite.evaluate import PoseError
    from somite.posing import told_notes

    try:
        found = evaluator.pose(channels)
    except PoseError as error:
        _deliver(error.findings, delivery)
        return None
    _deliver(told_notes(found.notes, evaluator, found.poses), delivery)
    return found


def _deliver(findings: Iterable[Finding], delivery: Delivery) -> None:
    from somite.report import lines_of

    delivery.take(tuple(findings), lines_of({}))
