"""Light dataclasses behave as those of the standard library."""

import copy
import dataclasses
import inspect
import pickle
from collections.abc import Callable
from dataclasses import FrozenInstanceError, field
from math import nan
from typing import Any

import pytest

from sillward_rules.light_dataclass import dataclass

Decorator = Callable[..., Any]


def spot(decorator: Decorator, **options: bool) -> Any:
    """A class with fields of every kind."""

    @decorator(**options)
    class Spot:
        name: str
        light: float = 0.5
        notes: list[str] = field(default_factory=list)
        secret: str = field(default="key", repr=False)
        seen: int = field(default=0, compare=False)
        double: float = field(init=False)
        kept: dict[str, int] = field(default_factory=dict, init=False)
        word: str = field(default="wall", init=False)

        def __post_init__(self) -> None:
            object.__setattr__(self, "double", 2 * self.light)

    return Spot


@dataclass(frozen=True, slots=True)
class Pot:
    litres: float
    name: str = "clay"


@dataclass(frozen=True, slots=True)
class Basket(Pot):
    lined: bool = False


@pytest.fixture(
    params=[{}, {"slots": True}, {"frozen": True}, {"frozen": True, "slots": True}], ids=str
)
def both(request: pytest.FixtureRequest) -> tuple[Any, Any]:
    """The class as it is here, and by the standard library."""
    return spot(dataclass, **request.param), spot(dataclasses.dataclass, **request.param)


@pytest.mark.parametrize(
    ("args", "kwargs"),
    [(("wall",), {}), (("wall", 0.2, ["a"], "b", 3), {}), ((), {"name": "wall", "seen": 2})],
)
def test_instances_are_made_and_shown_alike(
    both: tuple[Any, Any], args: tuple[Any, ...], kwargs: dict[str, Any]
) -> None:
    light, standard = (kind(*args, **kwargs) for kind in both)

    assert repr(light) == repr(standard)
    assert dataclasses.asdict(light) == dataclasses.asdict(standard)
    assert hasattr(light, "__dict__") == hasattr(standard, "__dict__")
    assert light == copy.deepcopy(light)
    assert light.notes is not both[0](*args[:1] or ("",)).notes


@pytest.mark.parametrize("args", [(), ("a",) * 6])
def test_wrong_arguments_are_the_same_error(both: tuple[Any, Any], args: tuple[str, ...]) -> None:
    light, standard = both

    with pytest.raises(TypeError) as expected:
        standard(*args)
    for _ in range(2):  # before the first instance and after it
        with pytest.raises(TypeError) as error:
            light(*args)
        assert str(error.value) == str(expected.value)


def test_what_inspection_finds_is_alike(both: tuple[Any, Any]) -> None:
    light, standard = (inspect.signature(kind) for kind in both)

    assert list(light.parameters) == list(standard.parameters)
    assert [each.annotation for each in light.parameters.values()] == [
        each.annotation for each in standard.parameters.values()
    ]
    assert both[0].__match_args__ == both[1].__match_args__


def test_equality_and_hashes_are_those_of_the_fields_that_are_compared() -> None:
    assert Pot(3) == Pot(3.0, "clay")
    assert hash(Pot(3)) == hash(Pot(3.0, "clay")) == hash((3, "clay"))
    assert Pot(3) != Pot(4)
    assert Pot(3) != Basket(3)
    assert Pot(nan) == Pot(nan)  # the same object, as in a tuple
    light, standard = (spot(each, frozen=True) for each in (dataclass, dataclasses.dataclass))
    assert light("wall", seen=1) == light("wall", seen=2)
    assert (light("wall") == standard("wall")) is False


@pytest.mark.parametrize("options", [{}, {"eq": False}, {"frozen": True, "eq": False}], ids=str)
def test_whether_there_is_a_hash_is_alike(options: dict[str, bool]) -> None:
    light, standard = (spot(each, **options) for each in (dataclass, dataclasses.dataclass))

    assert (light.__hash__ is None) == (standard.__hash__ is None)
    assert (light("wall") == light("wall")) == (standard("wall") == standard("wall"))


def test_frozen_instances_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'litres'"):
        Pot(3).litres = 4  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError, match="cannot delete field 'name'"):
        del Pot(3).name


def test_frozen_instances_are_copied_pickled_and_replaced() -> None:
    basket = Basket(3, lined=True)

    assert copy.copy(basket) == pickle.loads(pickle.dumps(basket)) == basket
    assert dataclasses.replace(basket, litres=5) == Basket(5, "clay", True)
    assert basket == Basket(litres=3, name="clay", lined=True)


def test_an_order_is_that_of_the_fields() -> None:
    @dataclass(frozen=True, order=True)
    class Day:
        month: int
        day: int

    assert sorted([Day(2, 1), Day(1, 9)]) == [Day(1, 9), Day(2, 1)]
    assert Day(1, 1) <= Day(1, 1) < Day(1, 2)
    with pytest.raises(TypeError):
        assert Day(1, 1) < (1, 2)  # type: ignore[operator]


def test_methods_that_a_class_has_are_kept() -> None:
    @dataclass(frozen=True)
    class Named:
        name: str

        def __eq__(self, other: object) -> bool:
            return isinstance(other, Named) and self.name.lower() == other.name.lower()

        def __repr__(self) -> str:
            return self.name

    assert Named("Wall") == Named("wall")
    assert repr(Named("Wall")) == "Wall"
    assert isinstance(hash(Named("Wall")), int)


def test_nothing_is_compiled_before_the_first_instance() -> None:
    @dataclass(slots=True)
    class Late:
        name: str

    before = Late.__init__
    Late("a")

    assert before is not Late.__init__
    assert Late.__init__.__code__.co_varnames == ("self", "name")
