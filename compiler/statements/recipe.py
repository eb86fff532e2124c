"""`recipe NAME`: the head of a recipe: about, revision, units, axes and how names are spelled."""

from __future__ import annotations

from dataclasses import dataclass

from somite.axes import axes_problem
from somite.expansion.clauses import gather, only, text_of
from somite.expansion.nodes import axis_of
from somite.expansion.scope import Scope
from somite.findings import Code, nearest
from somite.ir import Axis
from somite.syntax import Clause, Statement, Word
from somite.units import LENGTH_UNITS

RECIPE_HEAD = Code("recipe-head")

WORDS = ("recipe",)
CLAUSES = frozenset({"about", "revision", "units", "axes", "spelling"})
BLOCK: frozenset[str] = frozenset()

CASES = ("lower", "upper", "capitals")


@dataclass(slots=True)
class Head:
    """What a recipe's head states, with its defaults."""

    name: str = "untitled"
    about: str = ""
    revision: int = 1
    unit: str = "cm"
    up: Axis = "+Y"
    front: Axis = "+Z"
    case: str = "lower"
    joiner: str = "_"


def declare(statement: Statement, scope: Scope) -> None:
    """The head is read before everything else, by `expand`."""


def head_of(statement: Statement, scope: Scope) -> Head:
    """Read a recipe's head; mistakes are reported and defaults stand in."""
    head = Head()
    word = statement.arguments[0]
    assert isinstance(word, Word)
    scope.check_word(word)
    head.name = word.text
    clauses = gather(statement, scope, CLAUSES)
    head.about = text_of(only(clauses, "about")) or ""
    revision, units = only(clauses, "revision"), only(clauses, "units")
    axes, spelling = only(clauses, "axes"), only(clauses, "spelling")
    if revision is not None:
        number = revision.arguments[0]
        assert isinstance(number, Word)
        if not number.text.isdigit() or len(number.text) > 9:
            scope.report(RECIPE_HEAD, number, f'expected a whole number, found "{number.text}"')
        else:
            head.revision = int(number.text)
    if units is not None:
        unit = units.arguments[0]
        assert isinstance(unit, Word)
        if unit.text not in LENGTH_UNITS:
            scope.report(
                RECIPE_HEAD,
                unit,
                f'expected a unit of length, found "{unit.text}"',
                help="units are " + ", ".join(LENGTH_UNITS),
            )
        else:
            head.unit = unit.text
    if axes is not None:
        _axes(axes, head, scope)
    if spelling is not None:
        _spelling(spelling, head, scope)
    return head


def _axes(clause: Clause, head: Head, scope: Scope) -> None:
    up, front = clause.arguments
    stated_up, stated_front = axis_of(up), axis_of(front)
    problem = axes_problem(stated_up, stated_front)
    if problem is None and stated_up not in ("+Y", "+Z"):
        problem = f"expected up +Y or +Z, found {stated_up}"
    if problem is not None:
        scope.report(
            RECIPE_HEAD,
            clause,
            problem,
            help="write: axes up +Y front +Z",
        )
        return
    head.up, head.front = stated_up, stated_front


def _spelling(clause: Clause, head: Head, scope: Scope) -> None:
    words = [word for word in clause.arguments if isinstance(word, Word)]
    case = words[0].text
    if case not in CASES:
        near = nearest(case, CASES)
        scope.report(
            RECIPE_HEAD,
            words[0],
            f'expected lower, upper or capitals, found "{case}"',
            help=f'did you mean "{near}"?' if near else 'write: spelling lower joined by "_"',
        )
    else:
        head.case = case
    if len(words) > 1:
        joiner = words[1].text[1:-1]
        if joiner not in ("_", "-", ".", ":", "", "__"):
            scope.report(
                RECIPE_HEAD,
                words[1],
                f'expected names to be joined by "_", "-", ".", ":" or nothing, found "{joiner}"',
            )
        else:
            head.joiner = joiner


def spelled(name: str, head: Head) -> str:
    """A dotted name as the recipe spells it in outputs."""
    words = [word for segment in name.split(".") for word in segment.split("_")]
    if head.case == "upper":
        words = [word.upper() for word in words]
    elif head.case == "capitals":
        words = [word[:1].upper() + word[1:] for word in words]
    return head.joiner.join(words)
