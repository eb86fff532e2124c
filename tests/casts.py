"""Whole casts to build: a lantern for each of any number of puppets, and the command, run."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from somite import start

COMMAND = (sys.executable, "-m", "somite")


def lanterns(folder: Path, count: int) -> Path:
    """A project whose cast lists a lantern for so many puppets, each of another height."""
    files = start.files("lantern")
    sheet = files.pop("sheets/first.toml")
    for number in range(count):
        text = sheet.replace('"first"', f'"puppet_{number:02}"')
        files[f"sheets/puppet_{number:02}.toml"] = text.replace(
            "crown = [0, 90,", f"crown = [0, {90 + number / 4},"
        )
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def environment() -> dict[str, str]:
    """The environment of a command that is watched by nobody."""
    plain = {key: value for key, value in os.environ.items() if key != "SOMITE_DEBUG"}
    return {**plain, "NO_COLOR": "1"}


def somite(
    folder: Path,
    *arguments: str,
    command: Sequence[str] = COMMAND,
    more: Mapping[str, str] | None = None,
    **rest: object,
) -> subprocess.CompletedProcess[str]:
    """A command carried out in a folder, to its end."""
    return subprocess.run(  # type: ignore[call-overload, no-any-return]
        [*command, *arguments],
        cwd=folder,
        env={**environment(), **(more or {})},
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        **rest,
    )


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file of a folder of outputs by its path there, stamps and hidden files too."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def outputs_of(folder: Path) -> dict[str, bytes]:
    """The outputs in a folder by name, without stamps."""
    return {name: data for name, data in files_of(folder).items() if not name.startswith(".")}
