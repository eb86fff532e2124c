"""Templates, rendered where they can do no harm.

What comes in is the text of templates by name and plain data: dictionaries, lists, texts and
numbers. What goes out is text, or a finding at the template's own line. A template reaches no
attribute of any Python object, no file and no network, and all that it does is counted, so that it
ends. Nothing here knows what the data mean.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import TracebackType
from typing import TYPE_CHECKING

from somite.findings import Code, Finding, nearest
from somite.targets.template_sets import LIMITS, MARK, Filters, Limits, Templates
from somite.targets.written import site_of
from somite.text import Site

if TYPE_CHECKING:
    from somite.targets.counted_templates import CountedEnvironment

TEMPLATE_ERROR = Code("template-error")


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
        text.encode()  # It is to be a file: half a character can not be written.
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
    elif isinstance(mistake, UnicodeEncodeError):
        message = "expected text of whole characters, found half of one"
        help = "write the character itself, not one half of it by its number"
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
