"""Laws put together: breaches become findings, excuses are heeded, and a cause is told once.

In come a settled rig and laws, out go their results. A statement that several laws blame is
reported by the lowest-numbered; the others fold under it as related. An excuse that silenced
nothing, of a law or of an early sign of one, is a finding.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from somite import soundness
from somite.evaluate import Evaluator
from somite.findings import Code, Finding, Related, Severity
from somite.ir import Excuse, Rig
from somite.laws.law import Breach, Law
from somite.laws.trial import Trial
from somite.settle import Settled
from somite.text import Site

UNNEEDED_EXCUSE = Code("unneeded-excuse", Severity.WARNING)


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one law. `excused` are the excuses that silenced a breach of it.

    A law whose breaches all fold under those of another is not held, and has no findings.
    """

    law: str
    number: int
    sentence: str
    held: bool
    excused: tuple[Excuse, ...]
    findings: tuple[Finding, ...]
    seconds: float


@dataclass(slots=True)
class _Tried:
    """One law while results are put together."""

    law: Law
    breaches: list[Breach]
    excused: list[Excuse]
    findings: list[Finding]
    seconds: float


def proved(
    settled: Settled, laws: Sequence[Law], seed: int, evaluator: Evaluator | None = None
) -> tuple[Result, ...]:
    """Results of some laws, in their order."""
    trial = Trial(settled, seed, evaluator)
    tried = [_try(law, trial) for law in laws]
    _report(tried)
    early = early_signs(settled.rig)
    for one in tried:
        used = {_key(excuse) for excuse in one.excused} | early
        one.findings.extend(_unneeded(settled.rig, one.law, used))
    return tuple(
        Result(
            one.law.word,
            one.law.number,
            one.law.sentence,
            not one.breaches,
            tuple(one.excused),
            tuple(one.findings),
            one.seconds,
        )
        for one in tried
    )


def _try(law: Law, trial: Trial) -> _Tried:
    """Try a law: breaches that are not excused, and the excuses that silenced others."""
    start = time.perf_counter()
    kept: list[Breach] = []
    excused: dict[tuple[str, Site | str], Excuse] = {}
    for breach in law.breaches(trial) if trial.nodes else ():
        held = [
            excuse
            for statement in (breach.blamed, *breach.excusers)
            for excuse in statement.excuses
            if excuse.law == law.word
        ]
        if held:
            excused.setdefault(_key(held[0]), held[0])
        else:
            kept.append(breach)
    return _Tried(law, kept, list(excused.values()), [], time.perf_counter() - start)


def _report(tried: Sequence[_Tried]) -> None:
    """Findings of all laws; one a statement, under the first law that blames it."""
    owners: dict[Site | str, tuple[_Tried, int]] = {}
    for one in tried:
        for breach in one.breaches:
            where = breach.blamed.site or breach.blamed.name
            owner, at = owners.setdefault(where, (one, len(one.findings)))
            if owner is not one:
                owner.findings[at] = _folded(owner.findings[at], one.law, breach)
            elif at == len(one.findings):
                one.findings.append(_finding(one.law, breach))


def _folded(finding: Finding, law: Law, breach: Breach) -> Finding:
    """A finding with what a later law says of the same statement, told once for each law."""
    label = f"the law of {law.word} also: {breach.message}"
    start = label.partition(":")[0]
    told = any(related.label.startswith(start) for related in finding.related)
    if told or breach.blamed.site is None:
        return finding
    return replace(finding, related=(*finding.related, Related(breach.blamed.site, label)))


def _finding(law: Law, breach: Breach) -> Finding:
    trail = [(site, "placed by this use") for site in breach.blamed.origin[1:]]
    return law.code.at(
        breach.blamed.site,
        breach.message,
        help=breach.help,
        related=[*breach.related, *trail],
    )


# ---- excuses -------------------------------------------------------------------------------------


def _key(excuse: Excuse) -> tuple[str, Site | str]:
    """An excuse by where it is written: a part's excuse is one, however often it is used."""
    return excuse.law, excuse.origin[0] if excuse.origin else excuse.because


def _excuses(rig: Rig) -> Iterable[Excuse]:
    for record in (*rig.nodes, *rig.chains, *rig.curves, *rig.constraints, *rig.feeds):
        yield from record.excuses


def early_signs(rig: Rig) -> set[tuple[str, Site | str]]:
    """The excuses that silenced a finding which says the same as a law, earlier."""
    if not any(True for _ in _excuses(rig)):
        return set()
    told = set(soundness.examine(rig))
    silenced = [one for one in soundness.examine(_bare(rig)) if one not in told]
    found: set[tuple[str, Site | str]] = set()
    for record in (*rig.nodes, *rig.chains, *rig.curves, *rig.constraints):
        sites = set(record.origin[:1])
        for finding in silenced:
            places = {finding.site, *(related.site for related in finding.related)}
            if sites & places:
                law = soundness.EXCUSED_BY.get(finding.code)
                found.update(_key(excuse) for excuse in record.excuses if excuse.law == law)
    return found


def _bare(rig: Rig) -> Rig:
    """A rig that excuses nothing."""
    return replace(
        rig,
        nodes=tuple(replace(one, excuses=()) for one in rig.nodes),
        curves=tuple(replace(one, excuses=()) for one in rig.curves),
        chains=tuple(replace(one, excuses=()) for one in rig.chains),
        constraints=tuple(replace(one, excuses=()) for one in rig.constraints),
    )


def _unneeded(rig: Rig, law: Law, used: set[tuple[str, Site | str]]) -> Iterable[Finding]:
    told = set(used)
    for excuse in _excuses(rig):
        if excuse.law == law.word and _key(excuse) not in told:
            told.add(_key(excuse))
            yield UNNEEDED_EXCUSE.at(
                excuse.origin[0] if excuse.origin else None,
                f"expected an excuse for what breaks the law of {law.word}, found nothing here"
                " that breaks it",
                help="take the excuse away",
                related=[(site, "placed by this use") for site in excuse.origin[1:]],
            )
