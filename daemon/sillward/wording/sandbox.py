"""The sandbox that macros run in: no files, no Python attributes, bounded time and memory.

Jinja2's own sandbox keeps a template away from the machine. This one also keeps a template from
running for ever or filling memory, because a template may come from somebody else and it runs while
notices are sent. Steps and characters are counted against a `Budget`, which also checks the time at
each step. No single step can take long, because the sizes of texts and lists are bounded.

This module imports Jinja2, which takes a while: import it only where a template is about to be
used.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import wraps
from typing import Any

from jinja2 import StrictUndefined, TemplateSyntaxError, nodes
from jinja2.filters import do_round
from jinja2.sandbox import ImmutableSandboxedEnvironment
from markupsafe import Markup

from sillward.wording.budget import Budget

MAX_CHARACTERS = 10_000
"""Longest text that a template may put together, and largest number it may multiply up to."""

MAX_ITEMS = 500
"""Longest list, and most turns of a loop."""

MAX_DECIMALS = 10
"""Decimal places that a number may be rounded to."""

_EXPANDING_METHODS = frozenset(
    {
        "center", "expandtabs", "format", "format_map", "join", "ljust", "replace", "rjust",
        "to_bytes", "translate", "zfill",
    }
)  # fmt: skip
"""Methods whose result, a text or bytes, can be as large as memory."""

_JINJA_FILTERS = (
    "abs", "default", "first", "int", "last", "length", "list", "lower", "map", "reverse", "round",
    "sort", "trim", "unique", "upper",
)  # fmt: skip
"""Jinja2's own filters that a template may use, besides the bounded ones of this module."""

_LOOP, _CONCAT, _COLLECTION, _DATA = "rows of a loop", "pieces together", "a list", "plain text"
"""Names of internal filters, with blanks so that no template can spell them."""


class Sandbox(ImmutableSandboxedEnvironment):
    """A Jinja2 environment that bounds the work and the results of its templates.

    filters: the filters of the caller, by name.
    budget: what every step is counted against.
    """

    intercepted_binops = frozenset({"+", "*", "**", "%"})

    def __init__(self, filters: Mapping[str, Callable[..., Any]], budget: Budget) -> None:
        self._spend = budget.spend
        super().__init__(
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            optimized=False,  # a template is compiled before its filters have their final meaning
            finalize=self._finalized,
        )
        bounded: dict[str, Any] = {
            "join": _join,
            "replace": _replace,
            "round": _round,
            _CONCAT: _join,
        }
        builtin: dict[str, Any] = {name: self.filters[name] for name in _JINJA_FILTERS}
        self.filters = {name: self._counted(filter_) for name, filter_ in builtin.items()}
        self.filters |= filters
        self.filters |= {name: self._counted(filter_) for name, filter_ in bounded.items()}
        self.filters |= {_LOOP: self._turns, _COLLECTION: _without_lists, _DATA: self._data}
        self.globals = {}

    # -- what a template is made of

    def _parse(self, source: str, name: str | None, filename: str | None) -> nodes.Template:
        tree = super()._parse(source, name, filename)
        for loop in list(tree.find_all(nodes.For)):
            if loop.recursive:
                msg = "a loop of loops is not for templates"
                raise TemplateSyntaxError(msg, loop.lineno, name, filename)
            loop.iter = _filtered(loop.iter, _LOOP)
        for parent in list(tree.find_all(nodes.Node)):
            _bound_children(parent)
        tree.set_environment(self)
        return tree

    # -- what a template may do

    def is_safe_attribute(self, obj: Any, attr: str, value: Any) -> bool:
        """Refuse the methods whose results have no bound."""
        return attr not in _EXPANDING_METHODS and super().is_safe_attribute(obj, attr, value)

    def wrap_str_format(self, value: Any) -> None:
        """Have `str.format` refused like the other expanding methods, rather than made safe."""

    def call(self, *args: Any, **kwargs: Any) -> Any:
        """Count a call, and refuse the one that could write without a bound."""
        self._spend()
        _refuse_strftime_width(*args[1:])
        return super().call(*args, **kwargs)

    def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
        """Count an operation, and refuse it if its result would be too large."""
        self._spend()
        _refuse_large_result(operator, left, right)
        return super().call_binop(context, operator, left, right)

    # -- what is counted

    def _counted(self, filter_: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(filter_)
        def counting(*args: Any, **kwargs: Any) -> Any:
            self._spend()
            return filter_(*args, **kwargs)

        return counting

    def _turns(self, values: Any) -> Iterator[Any]:
        """Yield what a loop goes over, each turn counted."""
        for item in _loop_items(values):
            self._spend()
            yield item

    def _data(self, text: str) -> Markup:
        """Return the template's own text, counted; it needs no escaping."""
        self._spend(len(text))
        return Markup(text)

    def _finalized(self, value: Any) -> Any:
        """Return the value of an expression as it is written out, counted."""
        text = value if isinstance(value, str) else _as_text(value)
        self._spend(len(text))
        return text


# -- changes to the parsed template


def _bound_children(parent: nodes.Node) -> None:
    """Wrap the children of a node whose results can grow in filters that check their sizes."""
    for name, value in list(parent.iter_fields()):
        if isinstance(value, nodes.Node):
            setattr(parent, name, _bounded_node(value))
        elif isinstance(value, list):
            setattr(parent, name, [_bounded_node(item) for item in value])


def _bounded_node(node: Any) -> Any:
    if isinstance(node, nodes.Concat):  # a ~ b
        return _filtered(nodes.List(list(node.nodes)), _CONCAT)
    if isinstance(node, nodes.TemplateData):
        return _filtered(nodes.Const(node.data), _DATA)
    makes_collection = isinstance(node, (nodes.List, nodes.Dict)) or (
        isinstance(node, nodes.Tuple) and node.ctx == "load"
    )
    return _filtered(node, _COLLECTION) if makes_collection else node


def _filtered(node: Any, name: str) -> nodes.Filter:
    return nodes.Filter(node, name, [], [], None, None, lineno=node.lineno)


# -- bounds on values


def _refuse_large_result(operator: str, left: Any, right: Any) -> None:
    """Raise ArithmeticError if a sum or product would be too large, or cannot be bounded."""
    if operator == "**" or (operator == "%" and isinstance(left, str)):
        msg = f"{operator} is not for templates"
        raise ArithmeticError(msg)
    operands = (left, right)
    sizes = [len(value) if hasattr(value, "__len__") else abs(value) for value in operands]
    lists = any(hasattr(value, "__len__") and not isinstance(value, str) for value in operands)
    largest = MAX_ITEMS if lists else MAX_CHARACTERS
    if (operator == "*" and sizes[0] * sizes[1] > largest) or sum(sizes) > 2 * largest:
        msg = f"more than {largest}"
        raise ArithmeticError(msg)


def _refuse_strftime_width(function: Any, *args: Any) -> None:
    """Raise ArithmeticError for a `strftime` format with a width, which may fill memory."""
    if getattr(function, "__name__", "") == "strftime" and re.search("[0-9]", str(args)):
        msg = "strftime takes no numbers here"
        raise ArithmeticError(msg)


def _bounded_text(text: str) -> str:
    if len(text) > MAX_CHARACTERS:
        msg = f"more than {MAX_CHARACTERS} characters"
        raise ArithmeticError(msg)
    return text


def _as_text(value: Any) -> str:
    """Return the value as text. Raise TypeError for a collection: its text could be very long."""
    if isinstance(value, (list, tuple, dict, set)):
        msg = "a list is not text; use join, or names"
        raise TypeError(msg)
    return str(value)


def _without_lists(values: Any) -> Any:
    """Return a collection that a template makes. Raise TypeError if it holds another one.

    Lists of lists could double in size with each level.
    """
    items = values.values() if isinstance(values, dict) else values
    if any(isinstance(item, (list, tuple, dict)) for item in items):
        msg = "a list holds no lists"
        raise TypeError(msg)
    return values


def _loop_items(values: Any) -> list[Any]:
    """Return what a loop goes over: a short list, and not the characters of a text."""
    if isinstance(values, str):
        msg = "a loop goes over a list, not over a text"
        raise TypeError(msg)
    items = list(values)
    if len(items) > MAX_ITEMS:
        msg = f"more than {MAX_ITEMS} turns of a loop"
        raise ArithmeticError(msg)
    return items


# -- Jinja2's filters, with bounds


def _join(values: Iterable[Any], between: str = "") -> str:
    pieces, length = [], 0
    for value in values:
        pieces.append(_as_text(value))
        length += len(pieces[-1]) + len(str(between))
        if length > MAX_CHARACTERS + len(str(between)):
            break
    return _bounded_text(str(between).join(pieces))


def _replace(value: Any, old: str, new: str) -> str:
    text = _as_text(value)
    if text.count(old) * len(new) > MAX_CHARACTERS:
        msg = f"more than {MAX_CHARACTERS} characters"
        raise ArithmeticError(msg)
    return text.replace(old, new)


def _round(value: Any, precision: int = 0, method: str = "common") -> Any:
    if abs(precision) > MAX_DECIMALS:
        msg = f"more than {MAX_DECIMALS} places"
        raise ArithmeticError(msg)
    return do_round(value, precision, method)  # type: ignore[arg-type]
