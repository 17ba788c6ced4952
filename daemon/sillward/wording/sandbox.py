"""What macros run in: without files, without attributes of Python, and never for long or at length.

Jinja2's own sandbox keeps a template from the machine. This one also keeps it from taking for ever
or filling memory: it may come from somebody else, and it runs where notices must go out. What a
template does is counted in steps and in characters, and its time is looked at with each step; no
single step can take long, for texts and lists are bounded.
"""

import re
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import wraps
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment

MOST_SIGNS = 10_000
"""Longest text that a template may put together, and largest number it may multiply up to."""

MOST_ROWS = 500
"""Most turns of a loop, and most of a list."""

MOST_STEPS = 20_000
"""Turns of loops, calls, filters, pieces of text for one line. Judgement: ours take a hundred."""

MOST_WRITTEN = 100_000
"""Characters that are put together for one line, on the way to it included. Judgement."""

MOST_S = 0.2
"""Time of the processor for one line [s]: what else the machine does is not counted. Judgement:
ours take a thousandth."""

MOST_PLACES = 10
"""Decimal places that a number is rounded to."""

_ROOMY = frozenset(
    {
        "center", "expandtabs", "format", "format_map", "join", "ljust", "replace", "rjust",
        "to_bytes", "translate", "zfill",
    }
)  # fmt: skip
"""Methods that can make a text, or bytes, as wide as memory."""

_FILTERS = (
    "abs", "default", "first", "int", "last", "length", "list", "lower", "map", "reverse", "round",
    "sort", "trim", "unique", "upper",
)  # fmt: skip
"""Jinja2's own that a template may use, beside those that are bounded here, and ours."""

_ROWS, _TOGETHER, _FLAT, _TEXT = "rows of a loop", "pieces together", "a list", "plain text"
"""Names of filters that no template can spell."""


class BudgetError(ArithmeticError):
    """A template did more than a line needs."""


@dataclass(slots=True)
class Budget:
    """What a template of the grower's may still do. Nothing is counted until it is renewed.

    clock: seconds of this thread's work.
    """

    clock: Callable[[], float] = time.thread_time
    _steps: int | None = None
    _written: int = field(default=0)
    _until: float = field(default=0.0)

    def renew(self, times: int = 1) -> None:
        """Begin a line, or a page of so many lines."""
        self._steps, self._written = times * MOST_STEPS, times * MOST_WRITTEN
        self._until = self.clock() + times * MOST_S

    def rest(self) -> None:
        """Count no more."""
        self._steps = None

    def spend(self, written: int = 0) -> None:
        """Count a step, and what it wrote. Raise BudgetError if it was one too many."""
        if self._steps is None:
            return
        self._steps -= 1
        self._written -= written
        if self._steps < 0:
            msg = f"more than {MOST_STEPS:,} steps for one line"
        elif self._written < 0:
            msg = f"more than {MOST_WRITTEN:,} signs written for one line"
        elif self.clock() > self._until:
            msg = f"more than {MOST_S:g} s for one line"
        else:
            return
        raise BudgetError(msg)


def _bounded(text: str) -> str:
    if len(text) > MOST_SIGNS:
        msg = f"more than {MOST_SIGNS} signs"
        raise ArithmeticError(msg)
    return text


def _as_text(value: Any) -> str:
    """A value as text: a list is none, and might be longer than it looks."""
    if isinstance(value, (list, tuple, dict, set)):
        msg = "a list is not text; use join, or names"
        raise TypeError(msg)
    return str(value)


def _join(values: Iterable[Any], between: str = "") -> str:
    pieces, length = [], 0
    for value in values:
        pieces.append(_as_text(value))
        length += len(pieces[-1]) + len(str(between))
        if length > MOST_SIGNS + len(str(between)):
            break
    return _bounded(str(between).join(pieces))


def _replace(text: Any, old: str, new: str) -> str:
    whole = _as_text(text)
    if whole.count(old) * len(new) > MOST_SIGNS:
        msg = f"more than {MOST_SIGNS} signs"
        raise ArithmeticError(msg)
    return whole.replace(old, new)


def _round(value: Any, precision: int = 0, method: str = "common") -> Any:
    from jinja2.filters import do_round

    if abs(precision) > MOST_PLACES:
        msg = f"more than {MOST_PLACES} places"
        raise ArithmeticError(msg)
    return do_round(value, precision, method)  # type: ignore[arg-type]


def _flat(values: Any) -> Any:
    """A list that a template makes: a list of lists could be as long as 2 to their number."""
    held = values.values() if isinstance(values, dict) else values
    if any(isinstance(one, (list, tuple, dict)) for one in held):
        msg = "a list holds no lists"
        raise TypeError(msg)
    return values


def _rows(values: Any) -> list[Any]:
    """What a loop goes over: facts are short lists; a text is none."""
    if isinstance(values, str):
        msg = "a loop goes over a list, not over a text"
        raise TypeError(msg)
    rows = list(values)
    if len(rows) > MOST_ROWS:
        msg = f"more than {MOST_ROWS} turns of a loop"
        raise ArithmeticError(msg)
    return rows


def environment(ours: Iterable[str], budget: Budget | None = None) -> "Environment":
    """An empty sandbox. ours: names of filters that come later.

    Jinja2 is read when first needed: not every command tells something.
    """
    from jinja2 import StrictUndefined, TemplateSyntaxError, nodes
    from jinja2.sandbox import ImmutableSandboxedEnvironment
    from markupsafe import Markup

    spend = (budget or Budget()).spend

    class Sandbox(ImmutableSandboxedEnvironment):
        """Jinja2's, with bounds on what is put together and gone over."""

        intercepted_binops = frozenset({"+", "*", "**", "%"})

        def _parse(self, source: str, name: str | None, filename: str | None) -> nodes.Template:
            tree = super()._parse(source, name, filename)
            for loop in list(tree.find_all(nodes.For)):
                if loop.recursive:
                    msg = "a loop of loops is not for templates"
                    raise TemplateSyntaxError(msg, loop.lineno, name, filename)
                loop.iter = _filtered(loop.iter, _ROWS)
            for parent in list(tree.find_all(nodes.Node)):
                _put_filters(parent)
            tree.set_environment(self)
            return tree

        def is_safe_attribute(self, obj: Any, attr: str, value: Any) -> bool:
            return attr not in _ROOMY and super().is_safe_attribute(obj, attr, value)

        def wrap_str_format(self, value: Any) -> None:
            """Have str.format refused like the other roomy methods, rather than made safe."""

        def call(self, *passed: Any, **named: Any) -> Any:
            spend()
            _refuse_widths(*passed[1:])
            return super().call(*passed, **named)

        def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
            spend()
            if operator == "**" or (operator == "%" and isinstance(left, str)):
                msg = f"{operator} is not for templates"
                raise ArithmeticError(msg)
            one, two = (len(of) if hasattr(of, "__len__") else abs(of) for of in (left, right))
            lists = any(hasattr(of, "__len__") and not isinstance(of, str) for of in (left, right))
            most = MOST_ROWS if lists else MOST_SIGNS
            if (operator == "*" and one * two > most) or one + two > 2 * most:
                msg = f"more than {most}"
                raise ArithmeticError(msg)
            return super().call_binop(context, operator, left, right)

    def _put_filters(parent: Any) -> None:
        """Put filters that look at lengths around what a node holds."""
        for name, value in list(parent.iter_fields()):
            if isinstance(value, nodes.Node):
                setattr(parent, name, _filtered_if_it_grows(value))
            elif isinstance(value, list):
                setattr(parent, name, [_filtered_if_it_grows(one) for one in value])

    def _filtered_if_it_grows(node: Any) -> Any:
        if isinstance(node, nodes.Concat):  # a ~ b
            return _filtered(nodes.List(list(node.nodes)), _TOGETHER)
        if isinstance(node, nodes.TemplateData):
            return _filtered(nodes.Const(node.data), _TEXT)
        makes = isinstance(node, (nodes.List, nodes.Dict)) or (
            isinstance(node, nodes.Tuple) and node.ctx == "load"
        )
        return _filtered(node, _FLAT) if makes else node

    def _filtered(node: Any, name: str) -> nodes.Filter:
        return nodes.Filter(node, name, [], [], None, None, lineno=node.lineno)

    def turns(values: Any) -> Iterator[Any]:
        for row in _rows(values):
            spend()
            yield row

    def written(text: str) -> Markup:
        spend(len(text))
        return Markup(text)  # what the template says itself needs no escaping

    def told(value: Any) -> Any:
        if isinstance(value, str):
            spend(len(value))
            return value
        text = _as_text(value)
        spend(len(text))
        return text

    def counted(filter_: Any) -> Any:
        @wraps(filter_)
        def spending(*passed: Any, **named: Any) -> Any:
            spend()
            return filter_(*passed, **named)

        return spending

    # Unoptimized: a text is compiled before it is known what our filters do.
    made = Sandbox(
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, optimized=False,
        finalize=told,
    )  # fmt: skip
    made.filters = {name: counted(made.filters[name]) for name in _FILTERS} | dict.fromkeys(
        ours, str
    )
    made.filters |= {
        "join": counted(_join), "replace": counted(_replace), "round": counted(_round),
        _ROWS: turns, _TOGETHER: counted(_join), _FLAT: _flat, _TEXT: written,
    }  # fmt: skip
    made.globals = {}
    return made


def _refuse_widths(called: Any, *passed: Any) -> None:
    """A date's own way of telling takes a width, as wide as memory."""
    if getattr(called, "__name__", "") == "strftime" and re.search("[0-9]", str(passed)):
        msg = "strftime takes no numbers here"
        raise ArithmeticError(msg)
