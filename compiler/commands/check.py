"""`somite check`: findings, laws and checks of a recipe for each of its sheets; no outputs."""

from __future__ import annotations

import argparse
import os
import sys

from somite.commands import inputs
from somite.commands.arguments import (
    Commands,
    Refused,
    add_findings,
    add_inputs,
    command,
    delivery,
    unknown,
)
from somite.commands.collecting import collect_again
from somite.report.delivery import CLEAN, FOUND, put_file

# What the typing module would say, without the time that importing it takes.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from somite.builds.compiling import Desk
    from somite.findings import Finding
    from somite.pipeline import Compiled
    from somite.report.verdict import Verdict

MOST_SEED = 2**63 - 1


def add(commands: Commands[argparse.ArgumentParser]) -> None:
    """The command's arguments."""
    check = command(
        commands,
        "check",
        help="prove that a rig behaves, and report findings",
        description="Reports what is wrong with a recipe for each sheet, proves the laws by posing"
        " the rig, and runs the recipe's own checks. Without sheets: those that the project's"
        " cast.toml lists the recipe with. Without a recipe: all that it lists. Prints a line a"
        " character; writes no outputs.",
    )
    add_inputs(check)
    check.add_argument(
        "--laws", metavar="WORD[,WORD]", help="prove these laws only, such as travel,mirror"
    )
    check.add_argument(
        "--seed", metavar="N", type=_seed, default=0, help="choose other random poses (default: 0)"
    )
    check.add_argument(
        "--findings-only", action="store_true", help="pose nothing: leave laws and checks out"
    )
    check.add_argument("--junit", metavar="FILE", help="write the outcome as JUnit XML, too")
    add_findings(check)
    check.set_defaults(command=run)


def _seed(text: str) -> int:
    try:
        value = int(text)
    except ValueError:
        value = -1
    if not 0 <= value <= MOST_SEED:
        raise argparse.ArgumentTypeError(f'expected a whole number from 0 up, found "{text}"')
    return value


def run(options: argparse.Namespace) -> int:
    """Carries the command out and returns the exit status."""
    laws = _laws(options)
    findings = delivery(options)
    pairs = inputs.pairs(options, findings)
    from somite.builds.compiling import Desk

    desk = Desk()
    progress = inputs.progress_of(len(pairs))
    verdicts: list[Verdict] = []
    for number, (recipe, sheet) in enumerate(pairs, 1):
        progress.say(f"[{number}/{len(pairs)}] {sheet or recipe}")
        one = _judged(recipe, sheet, desk, laws, options)
        progress.clear()
        findings.take(one.everything, one.lines, inputs.root_of(recipe))
        verdicts.append(one)
        collect_again()
    _print(pairs, verdicts, options)
    if options.junit is not None:
        from somite.report.junit import junit_text

        put_file(options.junit, junit_text(verdicts))
    unsound = any(one.broken or one.unmet for one in verdicts)
    return max(findings.close(), FOUND if unsound else CLEAN)


def _laws(options: argparse.Namespace) -> Collection[str] | None:
    """The laws that were asked for by their words; None where all are meant."""
    if options.laws is None:
        return None
    if options.findings_only:
        raise Refused("expected --laws or --findings-only, found both")
    from somite.laws import LAWS

    known = [law.word for law in LAWS]
    words = [word.strip() for word in options.laws.split(",")]
    for word in words:
        if word not in known:
            raise unknown("the word of a law", word, known)
    return tuple(dict.fromkeys(words))


def _judged(
    recipe: str,
    sheet: str | None,
    desk: Desk,
    laws: Collection[str] | None,
    options: argparse.Namespace,
) -> Verdict:
    """What is found of one character. A mistake of ours in one stops no other."""
    from pathlib import Path

    from somite.findings import in_order
    from somite.report import lines_of
    from somite.report.verdict import Verdict

    name, character = Path(recipe).stem, Path(sheet).stem if sheet is not None else "-"
    try:
        compiled = desk.compile(Path(recipe), Path(sheet) if sheet is not None else None)
    except Exception as error:
        return Verdict(name, character, sheet, (_mistake(error, "compiled", sheet),), lines_of({}))
    if compiled.rig is not None:
        name, character = compiled.rig.recipe, compiled.rig.character
    lines = lines_of(compiled.sources)
    one = Verdict(name, character, sheet, in_order(compiled.findings), lines)
    if options.findings_only or compiled.settled is None:
        return one
    try:
        return _posed(one, compiled, laws, options.seed)
    except Exception as error:
        mistake = _mistake(error, "proved", sheet)
        return Verdict(name, character, sheet, (mistake, *one.findings), lines)


def _posed(one: Verdict, compiled: Compiled, laws: Collection[str] | None, seed: int) -> Verdict:
    from dataclasses import replace

    from somite import checks
    from somite.evaluate import Evaluator
    from somite.laws import prove

    assert compiled.settled is not None
    rig = Evaluator(compiled.settled)
    proved = prove(compiled.settled, seed=seed, laws=laws, evaluator=rig)
    return replace(one, laws=proved, checks=checks.run(compiled.settled, rig))


def _mistake(error: Exception, did: str, sheet: str | None) -> Finding:
    from pathlib import Path

    from somite.project import shown
    from somite.report.bug import bug, details

    print(details(error, os.environ), file=sys.stderr, end="")
    return bug(f"{did} {shown(Path(sheet)) if sheet is not None else 'the recipe'}")


def _print(
    pairs: Sequence[inputs.Pair], verdicts: Sequence[Verdict], options: argparse.Namespace
) -> None:
    """The table of characters, and how to see again what was broken."""
    if options.findings_only or all(one.sheet is None for one in verdicts):
        return
    from somite.report.table import character_table

    print(character_table([one for one in verdicts if one.sheet is not None]), end="")
    for (recipe, sheet), one in zip(pairs, verdicts, strict=True):
        if one.broken and sheet is not None:
            words = ",".join(result.law for result in one.broken)
            print(f"to see it again: {_again(recipe, sheet, words, options.seed)}")
    sys.stdout.flush()


def _again(recipe: str, sheet: str, laws: str, seed: int) -> str:
    from shlex import join

    return join(["somite", "check", recipe, "--sheet", sheet, "--laws", laws, "--seed", str(seed)])
