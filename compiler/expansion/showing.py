"""`shown by DIAL`: when an animator sees a control.

In comes a clause and the scope that it stands in, out comes the condition as the IR has it. It may
stand on a control, on a use (for every control in it) and on a list (for every control of it).
Whether a condition holds in a pose is for who poses the rig.
"""

from __future__ import annotations

from collections.abc import Iterable

from somite.expansion.clauses import check_terms
from somite.expansion.entities import NodeEntity
from somite.expansion.live import UNIT_DIMENSIONS
from somite.expansion.nodes import dial_named
from somite.expansion.scope import Scope
from somite.findings import Code, nearest
from somite.ir import Dial, Shown
from somite.syntax import Clause, Word

SHOWN_FORM = Code("shown-form")


def shown_of(entity: NodeEntity) -> tuple[Shown, ...]:
    """The conditions of a control: its own, and those of the uses that it stands in."""
    scope = entity.scope
    found = [shown_from(clause, around, None) for clause, around in scope.shown]
    found += [shown_from(clause, scope, entity) for clause in entity.clauses.get("shown", ())]
    return in_order(found)


def in_order(conditions: Iterable[Shown]) -> tuple[Shown, ...]:
    """Conditions each once, by dial, so that the order of lines does not matter."""
    found = dict.fromkeys(conditions)
    return tuple(sorted(found, key=lambda one: (one.dial, str(one))))


def shown_from(clause: Clause, scope: Scope, entity: NodeEntity | None) -> Shown:
    """The condition that a clause states; a control's own dials are looked at first."""
    check_terms(clause.arguments, scope)
    owner, name = dial_named(clause.arguments[0], entity, scope)
    dial = owner.dials[name]
    terms = {piece.word: piece for piece in clause.arguments[1:] if isinstance(piece, Clause)}
    if dial.options:
        options = _by_choice(clause, dial, terms, scope)
        return Shown(f"{owner.dotted}.{name}", options=options)
    above, below = _by_number(clause, dial, terms, scope)
    return Shown(f"{owner.dotted}.{name}", above, below)


def _by_choice(
    clause: Clause, dial: Dial, terms: dict[str, Clause], scope: Scope
) -> tuple[int, ...]:
    first = dial.options[0]
    if "shown_is" not in terms or len(terms) > 1:
        raise scope.stop(
            SHOWN_FORM,
            clause,
            f'expected which of the choices of "{dial.name}" show it, found '
            + ("a number" if terms else "none"),
            help=f"write: shown by {dial.name} is {first}",
            related=[(dial.origin[0], "dial declared here")],
        )
    chosen: set[int] = set()
    for word in terms["shown_is"].arguments:
        assert isinstance(word, Word)
        text = word.text.strip('"')
        if text not in dial.options:
            near = nearest(text, dial.options)
            raise scope.stop(
                SHOWN_FORM,
                word,
                f'expected one of the choices, found "{text}"',
                help=f'did you mean "{near}"?'
                if near
                else "the choices are " + ", ".join(dial.options),
            )
        chosen.add(dial.options.index(text))
    if len(chosen) == len(dial.options):
        raise scope.stop(
            SHOWN_FORM,
            clause,
            f'it is shown at every choice of "{dial.name}"',
            help="leave one of the choices out, or the whole line",
        )
    return tuple(sorted(chosen))


def _by_number(
    clause: Clause, dial: Dial, terms: dict[str, Clause], scope: Scope
) -> tuple[float | None, float | None]:
    if "shown_is" in terms:
        raise scope.stop(
            SHOWN_FORM,
            terms["shown_is"],
            f'"{dial.name}" is a number, and has no choices',
            help="write above or below which value it is shown: shown by mix above 0.5",
            related=[(dial.origin[0], "dial declared here")],
        )
    dimension = UNIT_DIMENSIONS[dial.unit]
    bounds = {
        word: scope.number(terms[word].arguments[0], dimension) + 0.0
        for word in ("shown_above", "shown_below")
        if word in terms
    }
    above = bounds.get("shown_above")
    below = bounds.get("shown_below")
    if above is None and below is None:
        above = 0.0
    if dial.flips and scope.mirrored:
        above, below = (
            None if below is None else -below + 0.0,
            None if above is None else -above + 0.0,
        )
    never = above is not None and dial.high is not None and dial.high <= above
    never = never or (below is not None and dial.low is not None and dial.low >= below)
    if never or (above is not None and below is not None and above >= below):
        raise scope.stop(
            SHOWN_FORM,
            clause,
            f'no value of "{dial.name}" shows it',
            help="the dial's range must go beyond the value: dial mix = 0 in 0..1",
            related=[(dial.origin[0], "dial declared here")],
        )
    return above, below
