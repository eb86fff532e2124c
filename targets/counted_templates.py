"""The template engine's environment with every door shut and every step counted.

It narrows jinja2's sandbox: attributes only of dictionaries (their items) and of the few objects
that the engine itself hands to templates, filters from a list, and a budget that loops, calls,
joins and output are charged to. It is a module of its own so that jinja2 is imported only where
something is rendered.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sized
from functools import wraps
from typing import Any, TypeVar

from jinja2 import BaseLoader, Environment, StrictUndefined, Template, TemplateNotFound, nodes
from jinja2.exceptions import SecurityError
from jinja2.filters import FILTERS
from jinja2.runtime import BlockReference, Context, LoopContext, Macro, TemplateReference, Undefined
from jinja2.sandbox import SandboxedEnvironment
from jinja2.utils import Namespace, pass_context
from jinja2.visitor import NodeTransformer
from markupsafe import Markup

from somite.findings import nearest
from somite.targets.template_sets import LIMITS, Filters, Limits, Templates, compiled

_Template = TypeVar("_Template", bound=nodes.Node)

OF_ONE_TEXT = (
    *("abs", "capitalize", "e", "escape", "float", "int", "lower", "safe", "string"),
    *("title", "trim", "upper", "wordcount"),
)
"""Filters of one text or number."""

OF_MANY = (
    *("count", "d", "default", "dictsort", "first", "groupby", "items", "last", "length", "list"),
    *("map", "max", "min", "reject", "rejectattr", "reverse", "select", "selectattr", "sort"),
    *("tojson", "unique"),
)
"""Filters that may be given lists and dictionaries; `join` and `replace` are ours."""

_LOOP = frozenset(
    {"index", "index0", "revindex", "revindex0", "first", "last", "length", "depth", "depth0"}
    | {"previtem", "nextitem", "changed", "cycle"}
)
_PLAIN = (str, int, float, bool, type(None), Undefined)


class Spent(SecurityError):
    """The budget of a rendering is used up; the message says by what."""


class Missing(StrictUndefined):
    """A name that is not there: using it is a mistake that names what is."""

    __slots__ = ()

    @property
    def _undefined_message(self) -> str:
        if self._undefined_hint:
            return self._undefined_hint
        name = str(self._undefined_name)
        holder = self._undefined_obj
        close = nearest(name, [str(key) for key in holder]) if isinstance(holder, dict) else None
        return f'there is no "{name}" here' + (f'; did you mean "{close}"?' if close else "")


class _Loader(BaseLoader):
    """Finds templates by name among those given; there are no files behind it."""

    def load(self, environment: Environment, name: str, globals: Any = None) -> Template:
        assert isinstance(environment, CountedEnvironment)
        text = environment.templates.text(name)
        if text is None:
            raise TemplateNotFound(name)
        if len(text) > environment.limits.template:
            raise Spent(f"a template of more than {environment.limits.template} characters")
        environment.spend(len(text))
        code = compiled(text, name, _compiling, environment.extra)
        return Template.from_code(environment, code, globals or {}, None)


class CountedEnvironment(SandboxedEnvironment):
    """An environment for one rendering: its templates, its filters and what is left to spend."""

    intercepted_binops = frozenset({"*", "**", "%", "+"})

    def __init__(self, templates: Templates, filters: Filters, limits: Limits) -> None:
        self.templates = templates
        self.extra = filters
        self.limits = limits
        self.left = limits.work
        super().__init__(
            loader=_Loader(),
            undefined=Missing,
            autoescape=_is_html,
            trim_blocks=True,
            lstrip_blocks=True,
            keep_trailing_newline=True,
            auto_reload=False,
            finalize=self.shown,
        )
        self.filters = {**_FILTERS, **dict(filters)}
        self.globals = {"range": self.range, "namespace": Namespace}

    def spend(self, amount: int) -> None:
        """Take from the budget; Spent when it is used up."""
        self.left -= amount
        if self.left < 0:
            raise Spent("more work than a template may do")

    def bounded(self, length: int) -> None:
        """Spend for a text or list about to be made; Spent where it would be too long."""
        if length > self.limits.text:
            raise Spent(f"one text of more than {self.limits.text} characters")
        self.spend(length)

    def range(self, *bounds: int) -> range:
        """Python's range, as far as the budget goes."""
        numbers = range(*bounds)
        if numbers and (numbers[-1] - numbers[0]) // numbers.step >= self.limits.work:
            raise Spent("a range of more turns than a template may do")
        return numbers

    def shown(self, value: object) -> object:
        """What `{{ value }}` writes: texts and numbers; None writes nothing."""
        if value is None:
            return ""
        if isinstance(value, str):
            self.left -= len(value)
            if self.left < 0:
                raise Spent("more work than a template may do")
            return value
        _one(value)
        self.spend(32)
        return value

    def getattr(self, obj: Any, attribute: str) -> Any:
        """The item of a dictionary; beside it only what the engine's own objects are for."""
        if isinstance(obj, dict):
            if attribute in obj:
                return obj[attribute]
            if attribute in ("items", "keys", "values", "get"):
                return getattr(obj, attribute)
            return self.undefined(obj=obj, name=attribute)
        if isinstance(obj, LoopContext):
            allowed = attribute in _LOOP
        elif isinstance(obj, TemplateReference | BlockReference | Namespace):
            return super().getattr(obj, attribute)
        elif isinstance(obj, tuple):
            allowed = attribute in ("grouper", "list")
        else:
            allowed = _is_module(obj) and not attribute.startswith("_")
        if allowed and hasattr(obj, attribute):
            return getattr(obj, attribute)
        return self.refused(obj, attribute)

    def getitem(self, obj: Any, argument: Any) -> Any:
        """`obj[argument]` of dictionaries, lists and texts; never an attribute by another way."""
        if isinstance(obj, dict | list | tuple | str | range):
            if isinstance(argument, slice) and isinstance(obj, Sized):
                self.spend(len(obj))
            try:
                return obj[argument]
            except (TypeError, LookupError):
                if isinstance(obj, tuple) and argument in ("grouper", "list"):
                    return self.getattr(obj, argument)
                return self.undefined(obj=obj, name=str(argument)[:80])
        return self.refused(obj, str(argument)[:80])

    def refused(self, obj: object, attribute: str) -> Undefined:
        """An undefined value that says what was asked for."""
        if isinstance(obj, Undefined):
            return self.undefined(obj._undefined_message)
        kind = _kind(obj)
        hint = f'{kind} has no "{attribute}" that a template may use'
        return self.undefined(hint, obj=obj, name=attribute, exc=SecurityError)

    def call(__self, __context: Context, __obj: Any, *args: Any, **kwargs: Any) -> Any:
        """Calls of macros, blocks, and the few functions that templates are given."""
        __self.spend(8)
        if not _may_be_called(__obj):
            raise SecurityError(f"{_kind(__obj)} can not be called")
        return __context.call(__obj, *args, **kwargs)

    def call_binop(self, context: Context, operator: str, left: Any, right: Any) -> Any:
        """`+`, `*` and `%` within bounds; `**` and the formatting of texts by `%` never."""
        if operator == "**" or (operator == "%" and not _is_number(left)):
            raise SecurityError(f'"{operator}" can not be used here')
        if _is_number(left) and _is_number(right):
            if operator == "*" and isinstance(left, int) and isinstance(right, int):
                self.bounded((left.bit_length() + right.bit_length()) // 8)
                if left.bit_length() + right.bit_length() > 4096:
                    raise Spent("a number of more than a thousand digits")
        elif operator == "+":
            self.bounded(_size(left) + _size(right))
        else:
            times, many = (left, right) if isinstance(left, int) else (right, left)
            self.bounded(_size(many) * max(0, times) if isinstance(times, int) else 0)
        return super().call_binop(context, operator, left, right)

    def _generate(
        self,
        source: nodes.Template,
        name: str | None,
        filename: str | None,
        defer_init: bool = False,
    ) -> str:
        return super()._generate(_Counting(self).visit(source), name, filename, defer_init)


def _compiling(filters: Filters) -> Environment:
    return CountedEnvironment(Templates({}, {}), filters, LIMITS)


def _is_html(name: str | None) -> bool:
    return name is not None and name.endswith(".html.j2")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float)


def _is_module(value: object) -> bool:
    from jinja2.environment import TemplateModule

    return isinstance(value, TemplateModule)


def _may_be_called(value: object) -> bool:
    if isinstance(value, Macro | BlockReference | LoopContext | Undefined) or value is Namespace:
        return True
    owner = getattr(value, "__self__", None)
    return isinstance(owner, dict | LoopContext | CountedEnvironment)


def _kind(value: object) -> str:
    names = {str: "a text", Markup: "a text", int: "a number", float: "a number", list: "a list"}
    found = names.get(type(value))
    if found is not None:
        return found
    return "a dictionary" if isinstance(value, dict) else f"a value of kind {type(value).__name__}"


def _size(value: object) -> int:
    return len(value) if isinstance(value, Sized) and not isinstance(value, Undefined) else 1


def _one(value: object) -> None:
    """Refuse lists and dictionaries where one text or number is expected."""
    if not isinstance(value, _PLAIN):
        raise SecurityError(
            f"expected one text or number, found {_kind(value)}; write a loop or join"
        )


class _Counting(NodeTransformer):
    """Rewrites a template so that loops, macros and joins go through the budget.

    A loop or macro is charged for the characters it holds at every turn, since those can be
    captured by a `set` block where no output is seen.
    """

    def __init__(self, environment: Environment) -> None:
        self.environment = environment

    def visit_For(self, node: nodes.For) -> nodes.Node:
        if node.recursive:
            raise_at(node, "a loop can not call itself")
        node.iter = self.filtered(_expression(node.iter), "turns_counted", 1 + _weight(node.body))
        return self.generic_visit(node)

    def visit_Macro(self, node: nodes.Macro) -> nodes.Node:
        return self.charged(node)

    def visit_CallBlock(self, node: nodes.CallBlock) -> nodes.Node:
        return self.charged(node)

    def visit_Block(self, node: nodes.Block) -> nodes.Node:
        return self.charged(node)

    def charged(self, node: nodes.Macro | nodes.CallBlock | nodes.Block) -> nodes.Node:
        weight = 1 + _weight(node.body)
        paid = nodes.ExprStmt(self.filtered(nodes.Const(0), "charged", weight))
        self.placed(paid, node)
        self.generic_visit(node)
        node.body = [paid, *node.body]
        return node

    def visit_Concat(self, node: nodes.Concat) -> nodes.Node:
        self.generic_visit(node)
        return self.placed(self.filtered(nodes.List(list(node.nodes)), "concatenated"), node)

    def visit_List(self, node: nodes.List) -> nodes.Node:
        self.generic_visit(node)
        node.items = [self.single(item) for item in node.items]
        return node

    def visit_Tuple(self, node: nodes.Tuple) -> nodes.Node:
        self.generic_visit(node)
        if node.ctx == "load":
            node.items = [self.single(item) for item in node.items]
        return node

    def visit_Pair(self, node: nodes.Pair) -> nodes.Node:
        self.generic_visit(node)
        node.value = self.single(node.value)
        return node

    def single(self, item: nodes.Expr) -> nodes.Expr:
        # Lists that hold lists by name can double at every line, until comparing two never ends.
        return item if isinstance(item, nodes.Const) else self.filtered(item, "single")

    def filtered(self, value: nodes.Expr, name: str, *arguments: int) -> nodes.Expr:
        constants: list[nodes.Expr] = [nodes.Const(argument) for argument in arguments]
        made = nodes.Filter(value, name, constants, [], None, None)
        return self.placed(made, value)

    def placed(self, made: _Template, like: nodes.Node) -> _Template:
        made.set_lineno(getattr(like, "lineno", None) or 1)
        made.set_environment(self.environment)
        return made


def raise_at(node: nodes.Node, message: str) -> None:
    """Raise the engine's own mistake at a node's line."""
    from jinja2 import TemplateSyntaxError

    raise TemplateSyntaxError(message, node.lineno)


def _expression(node: nodes.Node) -> nodes.Expr:
    assert isinstance(node, nodes.Expr)
    return node


def _weight(body: Iterable[nodes.Node]) -> int:
    """Characters of template text in a body, without those of inner loops and macros."""
    total = 0
    for node in body:
        if isinstance(node, nodes.TemplateData):
            total += len(node.data)
        elif not isinstance(node, nodes.For | nodes.Macro | nodes.CallBlock | nodes.Block):
            total += _weight(node.iter_child_nodes())
    return total


def _environment(context: Context) -> CountedEnvironment:
    environment = context.environment
    assert isinstance(environment, CountedEnvironment)
    return environment


@pass_context
def _turns_counted(context: Context, value: Any, weight: int) -> Any:
    environment = _environment(context)
    if isinstance(value, Undefined):
        return value
    if not isinstance(value, Sized):
        value = list(value)
    environment.spend(len(value) * weight)
    return value


@pass_context
def _charged(context: Context, value: int, weight: int) -> int:
    _environment(context).spend(weight)
    return value


@pass_context
def _concatenated(context: Context, parts: list[object]) -> str:
    texts: list[Any] = [part if isinstance(part, str) else str(part) for part in parts]
    total = 0
    for text in texts:
        total += len(text)
    _environment(context).bounded(total)
    if context.eval_ctx.autoescape or any(isinstance(text, Markup) for text in texts):
        return Markup("").join(texts)
    return "".join(texts)


def _single(value: Any) -> Any:
    if isinstance(value, list | tuple | dict):
        raise SecurityError(f"expected one text or number in a list, found {_kind(value)}")
    return value


@pass_context
def _join(context: Context, value: Any, between: str = "", attribute: str | None = None) -> str:
    environment = _environment(context)
    if attribute is not None:
        value = [environment.getitem(item, attribute) for item in value]
    items = [_shown(item) for item in value]
    total = len(between) * len(items)
    for item in items:
        total += len(item)
    environment.bounded(total)
    if context.eval_ctx.autoescape or any(isinstance(item, Markup) for item in items):
        return Markup(Markup.escape(between)).join(items)
    return str(between).join(items)


def _shown(value: Any) -> str:
    _one(value)
    return value if isinstance(value, str) else "" if value is None else str(value)


@pass_context
def _replace(context: Context, value: object, old: str, new: str) -> str:
    text = _shown(value)
    old, new = str(old), str(new)
    times = text.count(old)
    _environment(context).bounded(len(text) + times * max(0, len(new) - len(old)))
    return text.replace(old, new)


def _csv(value: object) -> str:
    """A field of a CSV file (RFC 4180): quoted where it must be."""
    text = _shown(value)
    if any(mark in text for mark in ',"\r\n') or text != text.strip():
        return '"' + text.replace('"', '""') + '"'
    return text


def _number(value: object, places: int = 3) -> str:
    """A number with at most so many decimals, half-even, without needless zeros or -0."""
    if isinstance(value, str):
        value = float(value)
    if not isinstance(value, int | float):
        raise SecurityError(f"expected a number, found {_kind(value)}")
    text = f"{value:.{min(12, max(0, int(places)))}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _counted(function: Callable[..., Any], many: bool) -> Callable[..., Any]:
    """A filter of the engine's that pays for what it is given.

    The wrapper keeps the engine's own mark that says what comes before the value.
    """
    position = 1 if hasattr(function, "jinja_pass_arg") else 0

    @wraps(function)
    def counted(context: Context, *args: Any, **kwargs: Any) -> Any:
        environment = _environment(context)
        value = args[0]
        if many:
            if not isinstance(value, Sized | int | float | type(None)):
                value = list(value)
        else:
            _one(value)
        environment.spend(1 + _size(value))
        if kwargs.get("indent") not in (None, 0, 1, 2, 4):
            raise SecurityError("expected an indent of 0, 1, 2 or 4")
        first = (_passed(function, context),) if position else ()
        return function(*first, value, *args[1:], **kwargs)

    return pass_context(counted)


def _passed(function: Any, context: Context) -> object:
    kind = function.jinja_pass_arg.name
    if kind == "environment":
        return context.environment
    return context.eval_ctx if kind == "eval_context" else context


_FILTERS: dict[str, Callable[..., Any]] = {
    **{name: _counted(FILTERS[name], many=False) for name in OF_ONE_TEXT},
    **{name: _counted(FILTERS[name], many=True) for name in OF_MANY},
    "charged": _charged,
    "concatenated": _concatenated,
    "csv": _csv,
    "join": _join,
    "number": _number,
    "replace": _replace,
    "single": _single,
    "turns_counted": _turns_counted,
}
