"""`somite check`: findings, laws and checks of a recipe for each of its sheets; no outputs."""

from __future__ import annotations

import argparse
import sys

from somite.commands import crews, inputs
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
    from collections.abc import Iterator, Sequence

    from somite.builds.proving import Judged, Proof
    from somite.report.delivery import Delivery
    from somite.report.terminal import Progress
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
    crews.add_crew(check)
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
    crews.refuse_unfit(options)
    laws = _laws(options)
    findings = delivery(options)
    pairs = inputs.pairs(options, findings)
    from somite.builds.proving import together, without_excuses

    progress = inputs.progress_of(len(pairs))
    done: list[Judged] = []

    def so_far() -> str:
        progress.clear()
        return f"after {len(done)} of {len(pairs)} characters"

    with crews.Stoppable("check", so_far) as stoppable:
        proofs = _proofs(pairs, laws, options)
        for one in _judged(proofs, options, progress, findings):
            progress.clear()
            if one.trace:
                print(one.trace, file=sys.stderr, end="")
            _deliver(proofs[len(done)], without_excuses(one.verdict), findings)
            done.append(one)
            collect_again()
        progress.clear()
        verdicts = together(done, whole=inputs.whole_cast(options))
        for proof, verdict in zip(proofs, verdicts, strict=True):
            _deliver(proof, verdict, findings)
        return _told(pairs, verdicts, options, findings)
    return stoppable.status


def _laws(options: argparse.Namespace) -> tuple[str, ...] | None:
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


def _proofs(
    pairs: Sequence[inputs.Pair], laws: tuple[str, ...] | None, options: argparse.Namespace
) -> list[Proof]:
    from somite.builds.proving import Proof

    posing = not options.findings_only
    return [Proof(recipe, sheet, laws, options.seed, posing) for recipe, sheet in pairs]


def _judged(
    proofs: Sequence[Proof],
    options: argparse.Namespace,
    progress: Progress,
    findings: Delivery,
) -> Iterator[Judged]:
    """What is found of each character, in order, whoever finds it."""
    crew = crews.crew_for(options, len(proofs), crews.PROVING)
    try:
        results = crews.judged_by(crew, proofs)
        for number, proof in enumerate(proofs):
            progress.say(f"[{number}/{len(proofs)}] {proof.sheet or proof.recipe}")
            yield next(results)
        progress.clear()
        crews.tell_of(crew, options, findings)
    finally:
        crew.close()


def _deliver(proof: Proof, verdict: Verdict, findings: Delivery) -> None:
    findings.take(verdict.everything, verdict.lines, inputs.root_of(proof.recipe))


def _told(
    pairs: Sequence[inputs.Pair],
    verdicts: Sequence[Verdict],
    options: argparse.Namespace,
    findings: Delivery,
) -> int:
    """Prints and writes what was found, and returns the exit status that it calls for."""
    _print(pairs, verdicts, options)
    if options.junit is not None:
        from somite.report.junit import junit_text

        put_file(options.junit, junit_text(verdicts))
    unsound = any(one.broken or one.unmet for one in verdicts)
    return max(findings.close(), FOUND if unsound else CLEAN)


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
