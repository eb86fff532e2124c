"""Writes the parse tables of the grammar beside it: `python -m somite.grammar [FOLDER]`."""

from __future__ import annotations

import sys
from pathlib import Path

from somite import grammar
from somite.parse import Indentation


def main(arguments: list[str]) -> int:
    """Write `tables.py` into a folder, by default the installed package's own."""
    folder = Path(arguments[0]) if arguments else grammar.FOLDER
    (folder / "tables.py").write_text(grammar.tables_text(Indentation()), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
