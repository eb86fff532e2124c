"""A target of a user's own: a folder with a manifest and templates, or a Python entry point.

What comes in is a folder or the name of an entry point; what goes out is a `Target` like the
built-in ones, or findings at the lines of its manifest. A template sees the scene as plain data
and nothing else. What a target says it cannot express is reported at the recipe's own lines.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING

from somite import project
from somite.findings import Code, Finding, Severity, has_errors, listed, nearest
from somite.target import KINDS, Context, Emitter, Output, Target
from somite.targets.written import Tables, Written, read_tables
from somite.text import Origin, Site

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

    from somite.ir import Rig
    from somite.settle import Settled

TARGET_MANIFEST = Code("target-manifest")
TARGET_ENTRY = Code("target-entry")
NOT_EXPRESSED = Code("not-expressed", Severity.WARNING)

MANIFEST = "target.toml"
GROUP = "somite.targets"
"""The group of entry points by which installed packages offer targets."""

TEMPLATES = 100
"""The most templates that a target's folder may hold."""

_ALL_KINDS = f"choose from {', '.join(sorted(KINDS))}"
_SUFFIX = re.compile(r"\.[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)*")
_KEYS = ("name", "about", "expresses", "leaves_out", "outputs")
_OUTPUT_KEYS = ("template", "suffix")

Made = tuple[Target | None, tuple[Finding, ...]]


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a manifest says.

    `leaves_out` are kinds that the target is not about, so that they need no report. `outputs`
    pairs the name of a template with the end of a file name.
    """

    name: str
    about: str
    expresses: frozenset[str]
    leaves_out: frozenset[str]
    outputs: tuple[tuple[str, str], ...]


def load(folder: Path) -> Made:
    """The target of a folder, or None with findings about its manifest or its templates."""
    source, findings = project.read_source(folder / MANIFEST)
    if source is None:
        return None, findings
    tables, findings = read_tables(source, TARGET_MANIFEST)
    if tables is None:
        return None, findings
    manifest, said = read_manifest(tables)
    templates, unread = _templates(folder)
    said = (*said, *unread)
    if manifest is not None:
        said = (*said, *_absent(manifest, templates, tables))
    if manifest is None or has_errors(said):
        return None, said
    told = manifest.expresses | manifest.leaves_out
    emit = _expressing(_emitter(manifest, templates), told)
    return Target(manifest.name, manifest.about, manifest.expresses, emit), said


def read_manifest(tables: Tables) -> tuple[Manifest | None, tuple[Finding, ...]]:
    """What a manifest says, or findings at its lines."""
    findings: list[Finding] = [*_strange(tables, "", tables.values, _KEYS)]
    name = _text(tables, "name", findings)
    about = _text(tables, "about", findings)
    if name is not None and not re.fullmatch(r"[a-z][a-z0-9_-]*", name):
        message = f'expected a name of small letters, digits, "_" and "-", found "{name}"'
        findings.append(_wrong(tables, "name", message, "write a name such as prop_table"))
    expresses = _kinds(tables, "expresses", findings)
    leaves_out = frozenset[str]()
    if "leaves_out" in tables.values:
        leaves_out = _kinds(tables, "leaves_out", findings)
    outputs = _outputs(tables, findings)
    if findings or name is None or about is None:
        return None, tuple(findings)
    return Manifest(name, about, expresses, leaves_out, outputs), ()


def _wrong(tables: Tables, key: str, message: str, help: str) -> Finding:
    return TARGET_MANIFEST.at(tables.site(key), message, help=help)


def _strange(
    tables: Tables, before: str, table: Mapping[str, object], known: tuple[str, ...]
) -> Iterator[Finding]:
    for key in table:
        if key not in known:
            close = nearest(key, known)
            help = f'did you mean "{close}"?' if close else "take it out"
            yield _wrong(tables, before + key, f'expected {listed(known)}, found "{key}"', help)


def _text(tables: Tables, key: str, findings: list[Finding]) -> str | None:
    value = tables.values.get(key)
    if isinstance(value, str) and value.strip() and value.isprintable():
        return value
    if value is None:
        message, help = f'expected "{key}", found none', f'add {key} = "…"'
    else:
        message = f'expected one line of text for "{key}", found something else'
        help = f'write {key} = "…"'
    findings.append(_wrong(tables, key, message, help))
    return None


def _kinds(tables: Tables, key: str, findings: list[Finding]) -> frozenset[str]:
    value = tables.values.get(key)
    if not isinstance(value, list) or not all(isinstance(kind, str) for kind in value):
        found = "none" if value is None else "something else"
        message = f'expected a list of kinds for "{key}", found {found}'
        help = _ALL_KINDS
        findings.append(_wrong(tables, key, message, help))
        return frozenset()
    for kind in value:
        if kind not in KINDS:
            close = nearest(kind, KINDS)
            help = f'did you mean "{close}"?' if close else _ALL_KINDS
            message = f'expected a kind of thing that a rig has, found "{kind}"'
            findings.append(_wrong(tables, key, message, help))
    return frozenset(value)


def _outputs(tables: Tables, findings: list[Finding]) -> tuple[tuple[str, str], ...]:
    value = tables.values.get("outputs")
    if not isinstance(value, list) or not value or not all(isinstance(one, dict) for one in value):
        message = "expected at least one [[outputs]] with a template and a suffix, found none"
        help = 'add [[outputs]] with template = "parts.csv.j2" and suffix = ".parts.csv"'
        findings.append(_wrong(tables, "outputs", message, help))
        return ()
    found: list[tuple[str, str]] = []
    for index, output in enumerate(value):
        before = f"outputs.{index}."
        findings.extend(_strange(tables, before, output, _OUTPUT_KEYS))
        template, suffix = output.get("template"), output.get("suffix")
        if not isinstance(template, str) or not template:
            message = "expected the name of a template in this folder, found none"
            findings.append(
                _wrong(tables, before + "template", message, 'add template = "parts.csv.j2"')
            )
        elif not isinstance(suffix, str) or not _SUFFIX.fullmatch(suffix):
            told = f'"{suffix}"' if isinstance(suffix, str) else "none"
            message = f"expected the end of a file name that begins with a dot, found {told}"
            findings.append(
                _wrong(tables, before + "suffix", message, 'write suffix = ".parts.csv"')
            )
        elif suffix.casefold() in {other.casefold() for _, other in found}:
            message = f'expected a suffix of its own for each output, found "{suffix}" twice'
            findings.append(_wrong(tables, before + "suffix", message, "change one of the two"))
        else:
            found.append((template, suffix))
    return tuple(found)


def _templates(folder: Path) -> tuple[dict[str, str], tuple[Finding, ...]]:
    """The texts of a folder's templates by name; links that lead out of the folder are refused."""
    texts: dict[str, str] = {}
    findings: list[Finding] = []
    names = sorted(path.name for path in folder.iterdir() if path.name.endswith(".j2"))
    for name in names[:TEMPLATES]:
        path, found = project.resolve(folder, folder, name)
        findings.extend(found)
        if path is not None:
            source, found = project.read_source(path, project.shown(folder / name))
            findings.extend(found)
            if source is not None:
                texts[name] = Written(source.text, Site(source.name, 1, 1))
    return texts, tuple(findings)


def _absent(manifest: Manifest, templates: Mapping[str, str], tables: Tables) -> Iterator[Finding]:
    for index, (template, _) in enumerate(manifest.outputs):
        if template not in templates:
            close = nearest(template, templates)
            help = f'did you mean "{close}"?' if close else "its name ends in .j2"
            message = f'expected a template of this folder, found no "{template}"'
            yield _wrong(tables, f"outputs.{index}.template", message, help)


def _emitter(manifest: Manifest, own: Mapping[str, str]) -> Emitter:
    """The emitter of a folder's target: it renders each template with the view of the rig."""

    def emit(settled: Settled, context: Context) -> tuple[tuple[Output, ...], tuple[Finding, ...]]:
        from somite.targets.template_sets import Templates, limits_for
        from somite.targets.templates_sandbox import render

        templates = Templates(own, context.templates)
        data = view(settled, context)
        limits = limits_for(len(settled.rig.nodes))
        outputs: list[Output] = []
        findings: list[Finding] = []
        for template, suffix in manifest.outputs:
            text, found = render(template, templates, data, limits=limits)
            findings.extend(found)
            if text is not None:
                outputs.append(Output(suffix, text))
        return tuple(outputs), tuple(findings)

    return emit


def view(settled: Settled, context: Context) -> dict[str, object]:
    """What a template sees: the scene target's document, and the rig's own facts under `rig`."""
    from somite.targets.scene import scene

    rig = settled.rig
    facts = {
        "recipe": rig.recipe,
        "character": rig.character,
        "revision": rig.revision,
        "about": rig.about,
        "unit": rig.unit,
        "up": rig.up,
        "front": rig.front,
        "phrases": dict(context.phrases),
    }
    return {**scene(settled, context), "rig": facts}


def _expressing(emit: Emitter, expresses: frozenset[str]) -> Emitter:
    """The same emitter, with a finding for each kind in the rig that it cannot express."""

    @wraps(emit)
    def reporting(
        settled: Settled, context: Context
    ) -> tuple[tuple[Output, ...], tuple[Finding, ...]]:
        outputs, findings = emit(settled, context)
        return outputs, (*unexpressed(settled.rig, expresses), *findings)

    return reporting


def unexpressed(rig: Rig, expresses: frozenset[str]) -> Iterator[Finding]:
    """A finding for each kind that a rig has and a target cannot express, at the first of it."""
    for kind, origins in kinds_in(rig).items():
        if kind in expresses or not origins:
            continue
        site = next((origin[0] for origin in origins if origin), None)
        count = len(origins)
        many = f"{count} of them" if count > 1 else "one"
        message = f'the target leaves out every "{kind}": this rig has {many}'
        help = f'if the target says them after all, add "{kind}" to what it expresses'
        yield NOT_EXPRESSED.at(site, message, help=help)


def kinds_in(rig: Rig) -> dict[str, list[Origin]]:
    """The origins of everything in a rig by its kind, in the order of the rig."""
    found: dict[str, list[Origin]] = {}
    for node in rig.nodes:
        found.setdefault(node.kind, []).append(node.origin)
        for dial in node.dials:
            found.setdefault("dial", []).append(dial.origin or node.origin)
    for constraint in rig.constraints:
        found.setdefault(type(constraint).__name__.lower(), []).append(constraint.origin)
    for kind, things in (
        ("curve", rig.curves),
        ("chain", rig.chains),
        ("feed", rig.feeds),
        ("gauge", rig.gauges),
        ("list", rig.lists),
        ("pose", rig.poses),
        ("check", rig.checks),
    ):
        found[kind] = [thing.origin for thing in things]
    return found


def installed() -> dict[str, EntryPoint]:
    """The entry points of installed packages that offer targets, by name."""
    from importlib.metadata import entry_points

    return {entry.name: entry for entry in entry_points(group=GROUP)}


def from_entry(entry: EntryPoint) -> Made:
    """The target that an entry point names; whatever goes wrong inside it is a finding."""
    try:
        target = entry.load()
    except Exception as problem:
        # Code of another package runs here: its mistakes are not ours to end the build with.
        return None, (_broken(entry.name, "could not be loaded", problem),)
    if not isinstance(target, Target):
        message = f'expected a Target from "{entry.value}", found {type(target).__name__}'
        return None, (TARGET_ENTRY.at(None, message, help="see targets/README.md"),)
    emit = _expressing(_guarded(target), target.expresses)
    return Target(target.name, target.about, target.expresses, emit), ()


def _guarded(target: Target) -> Emitter:
    @wraps(target.emit)
    def emit(settled: Settled, context: Context) -> tuple[tuple[Output, ...], tuple[Finding, ...]]:
        try:
            outputs, findings = target.emit(settled, context)
            return tuple(outputs), tuple(findings)
        except Exception as problem:
            # As above: a finding that names the package's own target.
            return (), (_broken(target.name, "stopped", problem),)

    return emit


def _broken(name: str, what: str, problem: Exception) -> Finding:
    reason = " ".join(str(problem).split())[:200]
    message = f'the target "{name}" {what}: {type(problem).__name__}: {reason}'.rstrip(": .")
    return TARGET_ENTRY.at(None, message, help="tell whoever wrote the package of that target")
