"""A repository of the night market's puppets: its recipe, and git as tests call it."""

from __future__ import annotations

import os
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

RECIPE = """\
recipe lamp_bearer
  about "Lumen carries the market's lamps"
  units cm
  axes up +Y front +Z

sheet
  point pelvis, waist, ribs, nape
  length girth = 30 cm

control master at ground
  ring 2 * girth
  carries all
control low at pelvis  under master
  ring girth
  lock size
control high at nape  under low
  ring girth
  limit turn.y -80 deg..80 deg
  lock size
  dial glow = 0 in 0..1

group skeleton at ground
  follow master

curve path through pelvis, waist, ribs, nape
  grip below owns 1..2
    follow low
  grip above owns 3..4
    follow high

chain back along path  under skeleton
  bones 4
  axis +X
  lean +Y toward -Z
  ride path
  carried by low

twist back
  end meets high relative to low
  spread even

joint lamp at nape  under back.last

output brightness = live high.glow

list skin of back, lamp
"""

SHEET = """\
character = "lumen"
unit = "cm"
up = "+Y"
front = "+Z"

[points]
pelvis = [0, 60, -2]
waist = [0, 70, -3]
ribs = [0, 80, -2]
nape = [0, 92, 1]
"""

CAST = '[[build]]\nrecipe = "lamp.somite"\nsheets = ["sheets/*.toml"]\n'

ENVIRONMENT = {
    "GIT_CONFIG_GLOBAL": os.devnull,
    "GIT_CONFIG_SYSTEM": os.devnull,
    "GIT_CONFIG_NOSYSTEM": "1",
    "GIT_EDITOR": "true",
    "GIT_PAGER": "cat",
    "GIT_TERMINAL_PROMPT": "0",
    # What git says to people is in another language, where it has one: nothing may depend on it.
    "LANG": "de_DE.UTF-8",
    "LANGUAGE": "de",
}


def edited(text: str, *changes: tuple[str, str]) -> str:
    """A text with words replaced, each of which must be there."""
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after)
    return text


@dataclass(slots=True)
class Stall:
    """A repository with a project in a folder of it. Commits are a day apart."""

    top: Path
    project: Path = field(init=False)
    day: int = 0
    name: str = "lamp.somite"

    def __post_init__(self) -> None:
        self.project = self.top / "Pips Bude für Lampen"
        self.top.mkdir(parents=True)
        self.git("init", "-q", "-b", "main")
        self.write("cast.toml", CAST)
        self.write("sheets/lumen.toml", SHEET)
        self.write("lamp.somite", RECIPE)

    @property
    def recipe(self) -> Path:
        """The recipe's file."""
        return self.project / self.name

    def rename(self, name: str) -> None:
        """Call the recipe's file otherwise."""
        before = self.recipe
        self.name = name
        before.rename(self.recipe)

    def write(self, name: str, content: str | bytes) -> Path:
        """Write a file of the project."""
        path = self.project / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    def git(
        self, *arguments: str, status: int | None = 0, within: Path | None = None, who: str = "Pip"
    ) -> subprocess.CompletedProcess[str]:
        """Git with nothing of this machine's settings, by the clock of the market."""
        when = f"{1767261600 + 86400 * self.day} +0100"
        person = {
            f"GIT_{role}_{part}": value
            for role in ("AUTHOR", "COMMITTER")
            for part, value in (
                ("NAME", who),
                ("EMAIL", f"{who.lower()}@market.example"),
                ("DATE", when),
            )
        }
        done = subprocess.run(
            ["git", "-c", "protocol.file.allow=always", *arguments],
            cwd=within or self.top,
            env={**os.environ, **ENVIRONMENT, **person},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            timeout=120,
            check=False,
        )
        assert status is None or done.returncode == status, (done.stdout, done.stderr)
        return done

    def commit(self, message: str, text: str | None = None, who: str = "Pip") -> str:
        """Commit everything, with another text of the recipe if one is given."""
        if text is not None:
            self.recipe.write_text(text, encoding="utf-8")
        self.day += 1
        self.git("add", "-A")
        self.git("commit", "-q", "-m", message, who=who)
        return self.git("rev-parse", "HEAD").stdout.strip()
