"""`dataclass` as in the standard library, at a tenth of what that costs when a class is made.

For each class the standard library writes the source of up to eight methods and compiles it: half a
millisecond and 7 kB for a frozen one. There are hundreds of them, and `sillward done` spent a third
of its time on that, for classes of most of which it makes no instance. Here `__init__` is compiled
when the first instance is made, and the other methods are shared, or closures over the fields.

Classes and instances behave alike, and type checkers see `dataclasses.dataclass` itself: nobody but
the line that imports it knows the difference, and once the standard library is quick this module
can go. What nothing here uses is left out: InitVar, fields by keyword only, and some options.
"""

import dataclasses
import inspect
import operator
from collections.abc import Callable
from dataclasses import MISSING, Field, FrozenInstanceError, fields
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass"]

Values = Callable[[Any], tuple[Any, ...]]
"""What gives the values of the fields that are compared."""

_ORDER = {
    "__lt__": operator.lt,
    "__le__": operator.le,
    "__gt__": operator.gt,
    "__ge__": operator.ge,
}


def _light_dataclass(
    cls: type[Any] | None = None,
    /,
    *,
    frozen: bool = False,
    slots: bool = False,
    eq: bool = True,
    order: bool = False,
) -> Any:
    """Make a class a dataclass, or return a decorator that does; see the standard library's."""

    def decorate(given: type[Any]) -> type[Any]:
        if given.__doc__ is None:
            given.__doc__ = given.__name__  # else the standard library works out a signature
        # It collects the fields and makes the slots; without methods that is soon done.
        made = dataclasses.dataclass(init=False, repr=False, eq=False, slots=slots)(given)
        methods: dict[str, Any] = {"__init__": _first_init(made, frozen), "__repr__": _repr}
        if eq:
            methods |= _comparisons(_compared_values(made), frozen=frozen, order=order)
        if frozen:
            methods |= {"__setattr__": _refuse_to_set, "__delattr__": _refuse_to_delete}
        if frozen and slots:
            methods |= {"__getstate__": _state, "__setstate__": _set_state}
        for name, method in methods.items():
            if vars(given).get(name) is None:  # not written by hand
                setattr(made, name, method)
        made.__signature__ = _Signature()
        return made

    return decorate if cls is None else decorate(cls)


if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    dataclass = _light_dataclass


# -- __init__


def _first_init(cls: type[Any], frozen: bool) -> Callable[..., None]:
    """Return an `__init__` that puts the real one in its place, and calls that."""

    def __init__(self: Any, *args: Any, **kwargs: Any) -> None:  # noqa: N807
        init = cls.__init__ = _compiled_init(cls, frozen)
        init(self, *args, **kwargs)

    return __init__


def _compiled_init(cls: type[Any], frozen: bool) -> Callable[..., None]:
    """Return the `__init__` of a class, compiled from source as in the standard library."""
    scope: dict[str, Any] = {"_set": object.__setattr__, "_MISSING": MISSING}
    parameters, lines = ["self"], list[str]()
    for each in fields(cls):
        parameter, value = _parameter_and_value(each, scope)
        if parameter is not None:
            parameters.append(parameter)
        if value is not None:
            setting = (
                f"_set(self, {each.name!r}, {value})" if frozen else f"self.{each.name}={value}"
            )
            lines.append(setting)
    if hasattr(cls, "__post_init__"):
        lines.append("self.__post_init__()")
    body = "; ".join(lines or ["pass"])
    exec(f"def __init__({', '.join(parameters)}): {body}", scope)
    init: Callable[..., None] = scope["__init__"]
    init.__module__, init.__qualname__ = cls.__module__, f"{cls.__qualname__}.__init__"
    init.__annotations__ = {each.name: each.type for each in fields(cls) if each.init}
    return init


def _parameter_and_value(
    each: "Field[Any]", scope: dict[str, Any]
) -> tuple[str | None, str | None]:
    """Return the parameter for a field, and the value that it is set to, as source; None for none.

    scope: gets the default, or what makes it, by a name of its own.
    """
    name, default = each.name, f"_default_{each.name}"
    if each.default_factory is not MISSING:
        scope[default] = each.default_factory
        if not each.init:
            return None, f"{default}()"
        return f"{name}=_MISSING", f"{default}() if {name} is _MISSING else {name}"
    if each.default is not MISSING:
        scope[default] = each.default
        return (f"{name}={default}", name) if each.init else (None, default)
    return (name, name) if each.init else (None, None)


class _Signature:
    """The signature of a class whose `__init__` need not be compiled yet."""

    def __get__(self, instance: object, cls: type[Any]) -> inspect.Signature:
        signature = inspect.signature(_compiled_init(cls, frozen=False))
        return signature.replace(parameters=list(signature.parameters.values())[1:])


# -- what is compared


def _compared_values(cls: type[Any]) -> Values:
    """Return what gives the values of the fields that are compared."""
    names = [each.name for each in fields(cls) if each.compare]
    if len(names) > 1:
        return operator.attrgetter(*names)
    return lambda self: tuple([getattr(self, name) for name in names])


def _comparisons(values: Values, *, frozen: bool, order: bool) -> dict[str, Any]:
    """Return the methods that compare instances of one class."""

    def __hash__(self: Any) -> int:  # noqa: N807
        return hash(values(self))

    methods = {"__eq__": _comparison(operator.eq, values), "__hash__": __hash__ if frozen else None}
    if order:
        methods |= {name: _comparison(how, values) for name, how in _ORDER.items()}
    return methods


def _comparison(how: Callable[[Any, Any], Any], values: Values) -> Callable[[Any, Any], Any]:
    def compare(self: Any, other: Any) -> Any:
        if other.__class__ is not self.__class__:
            return NotImplemented
        return how(values(self), values(other))

    return compare


# -- shared by all classes


@recursive_repr()
def _repr(self: Any) -> str:
    shown = (f"{each.name}={getattr(self, each.name)!r}" for each in fields(self) if each.repr)
    return f"{self.__class__.__qualname__}({', '.join(shown)})"


def _refuse_to_set(self: Any, name: str, value: Any) -> None:
    msg = f"cannot assign to field {name!r}"
    raise FrozenInstanceError(msg)


def _refuse_to_delete(self: Any, name: str) -> None:
    msg = f"cannot delete field {name!r}"
    raise FrozenInstanceError(msg)


def _state(self: Any) -> list[Any]:
    return [getattr(self, each.name) for each in fields(self)]


def _set_state(self: Any, state: list[Any]) -> None:
    for each, value in zip(fields(self), state, strict=True):
        object.__setattr__(self, each.name, value)
