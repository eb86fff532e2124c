"""The stored parse tables are those of the grammar as it stands."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from somite import grammar
from somite.grammar import tables

ROOT = Path(__file__).parents[1]


def test_the_tables_were_made_from_this_grammar() -> None:
    assert grammar.digest() == tables.DIGEST


def test_making_the_tables_again_gives_the_same_file(tmp_path: Path) -> None:
    for seed in ("1", "2"):
        subprocess.run(
            [sys.executable, "-m", "somite.grammar", str(tmp_path)],
            check=True,
            env={"PYTHONHASHSEED": seed, "PATH": ""},
        )
        made = (tmp_path / "tables.py").read_text(encoding="utf-8")
        assert made == (Path(grammar.FOLDER) / "tables.py").read_text(encoding="utf-8")


def test_stale_tables_are_not_used(monkeypatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setattr(tables, "DIGEST", "of another grammar")
    lark = grammar.load(transformer=None, postlex=None)
    assert {"start", "alone"} <= set(lark.options.start)
