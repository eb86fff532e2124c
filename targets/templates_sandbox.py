"""Templates, rendered where they can do no harm.

What comes in is the text of templates by name and plain data: dictionaries, lists, texts and
numbers. What goes out is text, or a finding at the template's own line. A template reaches no
attribute of any Python object, no file and no network, and all that it does is counted, so that it
ends. Nothing here knows what the data mean.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import TracebackType
from typing import TYPE_CHECKING, Any

from somite.findings import Code, Finding, nearest
from somite.targets.written import site_of
from somite.text import Site

if TYPE_CHECKING:
    from jinja2 import Environment

    from somite.targets.counted_templates import CountedEnvironment

TEMPLATE_ERROR = Code("template-error")

OURS = "somite/"
"""Before the name of a built-in template, this reaches it even where a team's own replaces it."""

Filters = tuple[tuple[str, Callable[..., object]], ...]
"""Filters beside the usual ones, by name: functions from a value to a text or a value."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How much one rendering may spend.

    `template`: characters of one template. `work`: turns of loops, calls, and characters handled,
    which bounds the characters of the result too. `text`: characters of one text made by an
    expression.
    """

    template: int = 262_144
    work: int = 40_000_000
    text: int = 4_000_000


LIMITS = Limits()

WORK_FOR_ONE = 10_000
"""How much more may be spent for each thing that there is to write of."""


def limits_for(things: int) -> Limits:
    """The limits for a rendering of so many things: big rigs make long files."""
    return Limits(work=LIMITS.work + WORK_FOR_ONE * things)


@dataclass(frozen=True, slots=True)
class Templates:
    """Templates by name: a team's own go before the built-in ones."""

    built_in: Mapping[str, str]
    own: Mapping[str, str]

    def text(self, name: str) -> str | None:
        """The text of the template of that name, or None."""
        if name.startswith(OURS):
            return self.built_in.get(name.removeprefix(OURS))
        found = self.own.get(name)
        return self.built_in.get(name) if found is None else found

    def names(self) -> tuple[str, ...]:
        """All names, each once, in order."""
        return tuple(sorted({*self.built_in, *self.own}))


def render(
    name: str,
    templates: Templates,
    data: Mapping[str, object],
    *,
    filters: Filters = (),
    limits: Limits = LIMITS,
) -> tuple[str | None, tuple[Finding, ...]]:
    """The text that a template makes of data, or None with a finding at the template's line.

    `data` holds dictionaries, lists, tuples, texts, numbers, truth values and None only. Names that
    end in `.html.j2` have their values escaped for HTML.
    """
    from somite.targets.counted_templates import CountedEnvironment

    environment = CountedEnvironment(templates, filters, limits)
    try:
        template = environment.get_template(name)
        # All that a template writes is charged to its budget as it comes, so the whole is bounded.
        text = "".join(template.generate(data))
    except Exception as mistake:
        # Whatever a template provokes inside the engine is the template's mistake, and a finding.
        return None, (_finding(mistake, name, environment),)
    return text, ()


def _finding(mistake: Exception, name: str, environment: CountedEnvironment) -> Finding:
    from jinja2 import TemplateNotFound, TemplateSyntaxError

    from somite.targets.counted_templates import Spent

    templates = environment.templates
    where, line = _place(mistake, name)
    help = "mend this line of the template"
    if isinstance(mistake, TemplateSyntaxError):
        where, line = mistake.name or where, mistake.lineno
        message = f"expected a template, found a mistake: {_sentence(mistake.message or '')}"
    elif isinstance(mistake, TemplateNotFound):
        wanted = str(mistake.name or "")
        message = f'expected a template of the target, found no "{wanted}"'
        close = nearest(wanted, templates.names())
        help = f'did you mean "{close}"?' if close else "templates reach no file of their own"
    elif isinstance(mistake, Spent):
        message = f"expected a template that ends soon, found {mistake}"
        help = "make the loops smaller; a template only lays out what it is given"
    elif isinstance(mistake, RecursionError):
        message = "expected a template that ends, found one that goes ever deeper into itself"
        help = "look for a template, block or macro that includes or calls itself"
    else:
        message = f"the template asked for what it can not have: {_sentence(str(mistake))}"
    text = templates.text(where) or ""
    return TEMPLATE_ERROR.at(_site(where, text, line), message, help=help)


def _site(name: str, text: str, line: int) -> Site:
    written = site_of(text)
    if written is None:
        return Site(name, max(1, line), 1)
    return Site(written.file, written.line + max(1, line) - 1, 1)


def _sentence(message: str) -> str:
    """A message of the engine's, cut to one short line in lower case without a full stop."""
    line = " ".join(message.split()).rstrip(".")
    line = line.replace("'", '"')
    return line[:1].lower() + line[1:240] if line else "no reason is known"


def _place(mistake: Exception, name: str) -> tuple[str, int]:
    """The template and line where a mistake came up: the innermost frame that a template owns."""
    found = (name, 1)
    trace: TracebackType | None = mistake.__traceback__
    while trace is not None:
        file = trace.tb_frame.f_code.co_filename
        if file.startswith(MARK):
            found = (file.removeprefix(MARK), trace.tb_lineno)
        trace = trace.tb_next
    return found


MARK = "template:"
"""Before a template's name, this is the file name that the engine knows it by."""


Maker = Callable[[Filters], "Environment"]


@lru_cache(maxsize=64)
def compiled(text: str, name: str, maker: Maker, filters: Filters) -> Any:
    """The code of a template; the same text is compiled once in a process.

    `maker` makes the environment that compiles; what it makes is all that the code depends on.
    """
    return maker(filters).compile(text, name, MARK + name)
