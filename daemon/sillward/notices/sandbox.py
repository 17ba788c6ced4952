"""What macros run in: without files, without attributes of Python, and never for long or at length.

Jinja2's own sandbox keeps a template from the machine. This one also keeps it from taking for ever
or filling memory: it may come from somebody else, and it runs where notices must go out.
"""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment

MOST_SIGNS = 10_000
"""Longest text that a template may put together, and largest number it may multiply up to."""

MOST_ROWS = 500
"""Most turns of a loop, and most of a list."""

_ROOMY = frozenset(
    {
        "center", "expandtabs", "format", "format_map", "join", "ljust", "replace", "rjust",
        "translate", "zfill",
    }
)  # fmt: skip
"""Methods of a text that can make it as wide as memory."""

_FILTERS = (
    "abs", "default", "first", "int", "last", "length", "list", "lower", "map", "reverse", "round",
    "sort", "trim", "unique", "upper",
)  # fmt: skip
"""Jinja2's own that a template may use, beside those that are bounded here, and ours."""

_ROWS, _TOGETHER = "rows of a loop", "pieces together"
"""Names of filters that no template can spell."""


def _bounded(text: str) -> str:
    if len(text) > MOST_SIGNS:
        msg = f"more than {MOST_SIGNS} signs"
        raise ArithmeticError(msg)
    return text


def _join(values: Iterable[Any], between: str = "") -> str:
    return _bounded(str(between).join(str(value) for value in values))


def _replace(text: Any, old: str, new: str) -> str:
    whole = str(text)
    if whole.count(old) * len(new) > MOST_SIGNS:
        msg = f"more than {MOST_SIGNS} signs"
        raise ArithmeticError(msg)
    return whole.replace(old, new)


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


def environment(ours: Iterable[str]) -> "Environment":
    """An empty sandbox. ours: names of filters that come later.

    Jinja2 is read when first needed: not every command tells something.
    """
    from jinja2 import StrictUndefined, nodes
    from jinja2.sandbox import ImmutableSandboxedEnvironment

    class Sandbox(ImmutableSandboxedEnvironment):
        """Jinja2's, with bounds on what is put together and gone over."""

        intercepted_binops = frozenset({"+", "*", "**", "%"})

        def _parse(self, source: str, name: str | None, filename: str | None) -> nodes.Template:
            tree = super()._parse(source, name, filename)
            for loop in tree.find_all(nodes.For):
                loop.iter = nodes.Filter(loop.iter, _ROWS, [], [], None, None)
            for parent in list(tree.find_all(nodes.Node)):
                _replace_concats(parent)
            tree.set_environment(self)
            return tree

        def is_safe_attribute(self, obj: Any, attr: str, value: Any) -> bool:
            return attr not in _ROOMY and super().is_safe_attribute(obj, attr, value)

        def wrap_str_format(self, value: Any) -> None:
            """Have str.format refused like the other roomy methods, rather than made safe."""

        def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
            if operator == "**" or (operator == "%" and isinstance(left, str)):
                msg = f"{operator} is not for templates"
                raise ArithmeticError(msg)
            one, two = (len(of) if hasattr(of, "__len__") else abs(of) for of in (left, right))
            if (operator == "*" and one * two > MOST_SIGNS) or one + two > 2 * MOST_SIGNS:
                msg = f"more than {MOST_SIGNS}"
                raise ArithmeticError(msg)
            return super().call_binop(context, operator, left, right)

    def _replace_concats(parent: Any) -> None:
        """`a ~ b` by a filter that looks at the length."""
        for field, value in list(parent.iter_fields()):
            if isinstance(value, nodes.Concat):
                setattr(parent, field, _together(value))
            elif isinstance(value, list):
                parts = [_together(one) if isinstance(one, nodes.Concat) else one for one in value]
                setattr(parent, field, parts)

    def _together(concat: nodes.Concat) -> nodes.Filter:
        pieces = nodes.List(list(concat.nodes))
        return nodes.Filter(pieces, _TOGETHER, [], [], None, None, lineno=concat.lineno)

    # Unoptimized: a text is compiled before it is known what our filters do.
    made = Sandbox(undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, optimized=False)
    made.filters = {name: made.filters[name] for name in _FILTERS} | dict.fromkeys(ours, str)
    made.filters |= {"join": _join, "replace": _replace, _ROWS: _rows, _TOGETHER: _join}
    made.globals = {}
    return made
