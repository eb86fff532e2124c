"""A merge of lines, as git makes it, asked of git itself.

In come the texts of three revisions, out comes git's merged text and whether it has conflicts.
Where git is not there, there is no answer, and none is made up.
"""

from __future__ import annotations

import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory

from somite.merge.edits import Labels


def merged_by_lines(base: str, ours: str, theirs: str, labels: Labels) -> tuple[str, bool] | None:
    """Git's merge and whether it is clean; None where git cannot be run or will not merge."""
    with TemporaryDirectory() as folder:
        paths = []
        for name, text in (("ours", ours), ("base", base), ("theirs", theirs)):
            path = Path(folder, name)
            path.write_bytes(text.encode("utf-8"))
            paths.append(str(path))
        command = ["git", "merge-file", "--stdout", f"--marker-size={labels.size}"]
        for label in (labels.ours, "base", labels.theirs):
            command += ["-L", label]
        try:
            done = subprocess.run([*command, *paths], capture_output=True, check=False)
        except OSError:
            return None
    # Beyond 127 git could not merge at all: a file that is not text, say.
    return (
        (done.stdout.decode("utf-8"), done.returncode == 0) if 0 <= done.returncode <= 127 else None
    )
