"""The steps target: a settled rig as numbered build instructions for a person.

In comes a settled rig; out go three files with the same content: Markdown, plain text, and one HTML
page that needs nothing else. What is to be done is worked out as records, said in phrases and laid
out by templates; a team can lay its own phrases and templates over ours.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from somite.findings import Code, Finding, Severity, nearest
from somite.target import KINDS, Context, Output, Target
from somite.targets.written import site_of
from somite.text import Site

if TYPE_CHECKING:
    from somite.settle import Settled

STEPS_CHANNEL_LOOP = Code("steps-channel-loop", Severity.WARNING)
TEMPLATE_UNKNOWN = Code("template-unknown", Severity.WARNING)

FILES = (
    (".steps.md", "steps.md.j2"),
    (".steps.txt", "steps.txt.j2"),
    (".steps.html", "steps.html.j2"),
)
"""The files of the target, each with the template that lays it out."""


@cache
def own_templates() -> Mapping[str, str]:
    """The target's own templates by name."""
    folder = Path(__file__).with_name("templates")
    files = sorted(folder.iterdir())
    return {file.name: file.read_text(encoding="utf-8") for file in files if file.suffix == ".j2"}


def emit(settled: Settled, context: Context) -> tuple[tuple[Output, ...], tuple[Finding, ...]]:
    """The three files of instructions; a file whose template is at fault is left out."""
    from somite.targets.steps.guide import guide
    from somite.targets.steps.marked import FILTERS
    from somite.targets.steps.phrases import Voice, overlaid
    from somite.targets.steps.views import page
    from somite.targets.template_sets import Templates, limits_for
    from somite.targets.templates_sandbox import render

    phrases, findings = overlaid(context.phrases)
    said = [*findings, *_channel_loops(settled), *_unknown_templates(context.templates)]
    data = page(guide(settled, context), Voice(phrases))
    templates = Templates(own_templates(), context.templates)
    limits = limits_for(data["total"])
    outputs: list[Output] = []
    for suffix, name in FILES:
        text, found = render(name, templates, data, filters=FILTERS, limits=limits)
        said.extend(found)
        if text is not None:
            outputs.append(Output(suffix, text.rstrip("\n") + "\n"))
    return tuple(outputs), tuple(said)


def _channel_loops(settled: Settled) -> Iterator[Finding]:
    nodes = {node.name: node for node in settled.rig.nodes}
    for name in settled.plan.split:
        node = nodes[name]
        message = f'"{node.spelled}" is part of a loop when nodes are taken whole'
        help = (
            "an application that works out a whole node at a time can not build this: there, lead"
            " one of the channels in the loop from a node outside it"
        )
        site = node.origin[0] if node.origin else None
        yield STEPS_CHANNEL_LOOP.at(site, message, help=help)


def _unknown_templates(templates: Mapping[str, str]) -> Iterator[Finding]:
    """Templates of a team's own that nothing here uses by name, and that look meant to be.

    A template that another one of the team's includes may have any name, but not beside ours.
    """
    known = own_templates()
    texts = "\n".join(templates.values())
    for name, text in templates.items():
        if name not in known and name not in texts:
            close = nearest(name, known)
            message = f'expected the name of a template of the steps, found "{name}"'
            help = f'did you mean "{close}"?' if close else f"the names are {', '.join(known)}"
            yield TEMPLATE_UNKNOWN.at(site_of(text) or Site(name, 1, 1), message, help=help)


TARGET = Target(
    name="steps",
    about="numbered build instructions for a person, as Markdown, plain text and HTML",
    expresses=KINDS,
    emit=emit,
)
"""The steps target."""
