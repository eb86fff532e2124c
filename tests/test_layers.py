"""The layers of the house: imports point downward only."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).parents[1]
FOLDERS = {"": "compiler", "grammar": "grammar", "targets": "targets", "recipes": "recipes"}

LAYERS = (
    {"version", "text", "spatial", "recipes"},
    {"findings", "units"},
    {"ir", "syntax", "canonical", "project", "grammar", "written"},
    {"axes", "document", "syntax_messages", "humanoid"},
    {"markers", "sheet"},
    {"parse"},
    {"expansion"},
    {"statements"},
    {"opening", "placing", "library", "expand", "format", "soundness", "order", "merge"},
    {"settle", "at_rest"},
    {"target", "pipeline", "evaluate", "clip", "clip_text", "posing"},
    {"laws", "checks", "touches", "matching", "drawing", "diff"},
    {"assistant", "carry", "targets"},
    {"naming", "revisions", "start"},
    {"builds", "report", "explain", "schema_files", "tidy"},
    {"guide", "sides", "outline", "git_setup"},
    {"history"},
    {"commands"},
    {"cli"},
    {"", "__main__"},
)
"""From the ground up: what a row holds may import from its own row and from those before it."""


def modules() -> Iterator[tuple[str, Path]]:
    """Every module by its dotted name below somite."""
    for prefix, folder in FOLDERS.items():
        for path in sorted((ROOT / folder).rglob("*.py")):
            if "targets" in path.parts and folder == "recipes":
                continue
            parts = [part for part in path.relative_to(ROOT / folder).with_suffix("").parts]
            if parts[-1] == "__init__":
                parts.pop()
            yield ".".join([prefix, *parts] if prefix else parts), path


def imported(path: Path) -> Iterator[str]:
    """The modules of somite that a file imports when it runs, wherever in it."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test):
            waiting.extend(node.orelse)
            continue
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "somite":
            for alias in node.names:
                yield f"{node.module}.{alias.name}".removeprefix("somite").lstrip(".")
        elif isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.split(".")[0] == "somite":
                    yield alias.name.removeprefix("somite").lstrip(".")
        waiting.extend(ast.iter_child_nodes(node))


def edges() -> dict[str, set[str]]:
    known = dict(modules())
    found: dict[str, set[str]] = {}
    for name, path in known.items():
        targets = found.setdefault(name, set())
        for target in imported(path):
            while target not in known:
                target = target.rpartition(".")[0]
            if target != name:
                targets.add(target)
    return found


def row(module: str) -> int:
    top = "__main__" if module.endswith("__main__") else module.split(".")[0]
    return next(at for at, layer in enumerate(LAYERS) if top in layer)


def test_every_module_has_its_layer() -> None:
    placed = set().union(*LAYERS)
    assert {name.split(".")[0] for name, _ in modules()} <= placed


def test_imports_point_downward_only() -> None:
    upward = [
        f"{name} -> {target}"
        for name, targets in edges().items()
        for target in sorted(targets)
        if row(target) > row(name)
    ]
    assert upward == []


def test_no_modules_import_each_other_in_a_loop() -> None:
    graph = {name: {t for t in targets if t} for name, targets in edges().items()}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as loop:
        raise AssertionError(" -> ".join(map(str, loop.args[1]))) from None


def test_targets_know_no_syntax() -> None:
    for name, targets in edges().items():
        if name.split(".")[0] == "targets":
            assert not {t for t in targets if t.split(".")[0] in ("syntax", "parse", "statements")}


def test_the_parser_library_and_the_graph_library_have_one_user_each() -> None:
    users: dict[str, set[str]] = {"lark": set(), "networkx": set()}
    for name, path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            heads = []
            if isinstance(node, ast.Import):
                heads = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                heads = [node.module or ""]
            for head in heads:
                if head.split(".")[0] in users:
                    users[head.split(".")[0]].add(name.split(".")[0])
    assert users == {"lark": {"parse", "grammar"}, "networkx": {"order"}}
