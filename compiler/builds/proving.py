"""A character proved: compiled, its laws tried and its checks run, as one value.

What comes in is a proof that was asked for; what goes out is a verdict with the lines it shows, and
the excuses that were needed: plain values, so that another process can do it. An excuse is judged
over all the characters together, because one that needs it is enough. Who proves is not known here.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from somite import project
from somite.builds.stamp_findings import lines_shown
from somite.findings import Finding, in_order
from somite.report import Kept
from somite.report.bug import bug, details
from somite.report.verdict import Verdict
from somite.text import Site

if TYPE_CHECKING:
    from somite.ir import Rig
    from somite.pipeline import Compiled

UNNEEDED = "unneeded-excuse"
"""The code of the finding that is judged over all characters: see `somite.laws`."""


class Proof(NamedTuple):
    """What is to be proved of a character. Paths are as the user would write them.

    `laws` are the words of those to try, all where it is None; `posing` is off where nothing is to
    be posed.
    """

    recipe: str
    sheet: str | None
    laws: tuple[str, ...] | None = None
    seed: int = 0
    posing: bool = True


ExcuseAt = tuple[str, Site]
"""An excuse by the word of its law and where it is written."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What came of a proof. `needed` are the excuses that silenced something.

    `complete` says whether the laws were tried, so that it is known which excuses are needed.
    """

    verdict: Verdict
    needed: frozenset[ExcuseAt] = frozenset()
    complete: bool = False
    trace: str = ""


def judged(proof: Proof, compile: Callable[[Path, Path | None], Compiled]) -> Judged:
    """A proof carried out. A mistake of Somite's own becomes a finding, and stops no other."""
    try:
        compiled = compile(
            Path(proof.recipe), Path(proof.sheet) if proof.sheet is not None else None
        )
    except Exception as error:
        return unjudged(proof, _mistake("compiled", proof), details(error, os.environ))
    one = _compiled_only(proof, compiled)
    if not proof.posing or compiled.settled is None:
        return Judged(one)
    try:
        return _posed(one, compiled, proof)
    except Exception as error:
        found = (_mistake("proved", proof), *one.findings)
        return Judged(replace(one, findings=found), trace=details(error, os.environ))


def unjudged(proof: Proof, finding: Finding, trace: str = "") -> Judged:
    """What is said of a character of which nothing could be found out."""
    return Judged(Verdict(*_names(proof), proof.sheet, (finding,), Kept({})), trace=trace)


def _names(proof: Proof) -> tuple[str, str]:
    return Path(proof.recipe).stem, Path(proof.sheet).stem if proof.sheet is not None else "-"


def _mistake(did: str, proof: Proof) -> Finding:
    return bug(f"{did} {project.shown(Path(proof.sheet)) if proof.sheet else 'the recipe'}")


def _compiled_only(proof: Proof, compiled: Compiled) -> Verdict:
    names = _names(proof)
    if compiled.rig is not None:
        names = compiled.rig.recipe, compiled.rig.character
    findings = in_order(compiled.findings)
    return Verdict(*names, proof.sheet, findings, Kept(lines_shown(findings, compiled.sources)))


def _posed(one: Verdict, compiled: Compiled, proof: Proof) -> Judged:
    from somite import checks
    from somite.evaluate import Evaluator
    from somite.laws import prove

    assert compiled.settled is not None
    rig = Evaluator(compiled.settled)
    proved = prove(compiled.settled, seed=proof.seed, laws=proof.laws, evaluator=rig)
    verdict = replace(one, laws=proved, checks=checks.run(compiled.settled, rig))
    verdict = replace(verdict, lines=Kept(lines_shown(verdict.everything, compiled.sources)))
    unneeded = {
        (result.law, finding.site)
        for result in proved
        for finding in result.findings
        if finding.code == UNNEEDED and finding.site is not None
    }
    return Judged(verdict, frozenset(_excuses(compiled.settled.rig)) - unneeded, complete=True)


def _excuses(rig: Rig) -> Iterator[ExcuseAt]:
    for record in (*rig.nodes, *rig.chains, *rig.curves, *rig.constraints, *rig.feeds):
        for excuse in record.excuses:
            if excuse.origin:
                yield excuse.law, excuse.origin[0]


# ---- excuses of a whole cast ---------------------------------------------------------------------


def without_excuses(one: Verdict) -> Verdict:
    """A verdict that says nothing of excuses, for as long as not all characters are judged."""
    return _filtered(one, lambda law, finding: finding.code != UNNEEDED)


def together(all_judged: Sequence[Judged], *, whole: bool = True) -> tuple[Verdict, ...]:
    """The verdicts, in which an excuse is unneeded only where no character needs it.

    That can be known only if the laws were tried on every character: where one did not compile, or
    where the cast is not `whole`, nothing is said of excuses.
    """
    tried = [one for one in all_judged if one.verdict.sheet is not None]
    known = whole and all(one.complete for one in tried)
    needed = frozenset[ExcuseAt]().union(*(one.needed for one in all_judged))

    def told(law: str, finding: Finding) -> bool:
        if finding.code != UNNEEDED:
            return True
        return known and (finding.site is None or (law, finding.site) not in needed)

    return tuple(_filtered(one.verdict, told) for one in all_judged)


def _filtered(one: Verdict, told: Callable[[str, Finding], bool]) -> Verdict:
    if one.laws is None:
        return one
    laws = tuple(
        replace(result, findings=tuple(f for f in result.findings if told(result.law, f)))
        for result in one.laws
    )
    return replace(one, laws=laws)
