"""What a start of the command line imports: a process of its own, asked at its end."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

LISTS_MODULES = """
import json, sys
from somite.cli import main
try:
    main(sys.argv[1:])
finally:
    sys.__stderr__.write("\\n" + json.dumps(sorted(sys.modules)))
"""


def imported(folder: Path, *arguments: str) -> set[str]:
    """The modules that are loaded when a command with these arguments has ended."""
    done = subprocess.run(
        [sys.executable, "-c", LISTS_MODULES, *arguments],
        cwd=folder,
        capture_output=True,
        timeout=120,
        check=False,
    )
    return set(json.loads(done.stderr.splitlines()[-1]))
