"""Writes the parse tables of the grammar beside it: `python -m somite.grammar [FOLDER]`."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from somite import grammar
from somite.parse import Indentation


def main(arguments: list[str]) -> int:
    """Write `tables.py` into a folder, by default the installed package's own.

    States are numbered as sets happen to be ordered, so this runs with the hash seed fixed.
    """
    if os.environ.get("PYTHONHASHSEED") != "0":
        command = [sys.executable, "-m", "somite.grammar", *arguments]
        return subprocess.run(command, env={**os.environ, "PYTHONHASHSEED": "0"}).returncode
    folder = Path(arguments[0]) if arguments else grammar.FOLDER
    (folder / "tables.py").write_text(grammar.tables_text(Indentation()), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
